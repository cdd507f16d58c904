"""What does a rope reach that comes from a neighbouring tree, and does a line between two trees run clear?"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from treescan.geometry import segment_segment
from treescan.loads.settings import LoadSettings
from treescan.planning.reach.reach import reach
from treescan.planning.reach.sightline import Scene
from treescan.planning.settings import PlanningSettings
from treescan.planning.tie_in_point import Floats, Reach, Work
from treescan.wood.graph import WoodGraph


def reach_from_neighbour(
    graph: WoodGraph,
    scene: Scene,
    anchor: Floats,
    work: Work,
    work_limb: NDArray[np.int32],
    settings: PlanningSettings,
    loads: LoadSettings = LoadSettings(),
) -> Reach:
    """Coverage of this tree's work from an anchor in a neighbouring tree: the same rules, and every limb of
    this tree can foul the rope.

    The neighbour's own wood is not in the scene: its anchor must be judged on its own trace.
    """
    return reach(graph, scene, anchor, (-1, -1), work, work_limb, settings, loads)


def clear_between(scene: Scene, a: Floats, b: Floats, own: float = 0.5, thinnest: float = 0.02) -> bool:
    """True when no limb of this tree touches the straight line between two anchors.

    own : wood this near an anchor does not count [m]; thinnest : thinner limbs (radius) are pushed aside [m].
    """
    gap, along, at = segment_segment(a, b, scene.start, scene.end)
    radius = scene.r_start + (scene.r_end - scene.r_start) * at
    length = float(np.linalg.norm(b - a))
    counts = (along * length > own) & ((1 - along) * length > own) & (radius >= thinnest)
    return not bool(np.any(counts & (gap < radius)))
