"""Can a neighbouring tree carry the anchor, alone or with a line hung between two trees?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from treescan.geometry import angle_between, segment_segment
from treescan.planning.reach import reach
from treescan.planning.settings import PlanningSettings
from treescan.planning.sightline import Scene
from treescan.planning.tie_in_point import Floats, Reach, Work
from treescan.wood.graph import WoodGraph


@dataclass(frozen=True)
class FloatingAnchor:
    """A line between two trees with the climber hanging from a point of it.

    point : (3,) where the climber's rope hangs from [m]; angle : between the two lines [rad]; tension : (2,) in the two lines
    [N]; pull : (2, 3) on the two trees [N]; breach : the angle is over the limit; words : one sentence.
    """

    point: Floats
    angle: float
    tension: Floats
    pull: Floats
    breach: bool
    words: str


def floating_anchor(a: Floats, b: Floats, point: Floats, weight: float, settings: PlanningSettings) -> FloatingAnchor:
    """Forces of a fixed point between two trees.

    Parameters
    ----------
    a, b : (3,) float       Anchors in the two trees. [m, local]
    point : (3,) float      Where the two lines and the climber's rope meet, below the straight line a-b. [m, local]
    weight : float          Of the climber. [N]

    Notes
    -----
    T_a u_a + T_b u_b = (0, 0, W), u the unit vectors from the point to the trees, solved in the plane of the two lines. With
    equal lines this is F = W / (2 sin phi), phi the lines' angle below level.
    """
    to_a, to_b = a - point, b - point
    lines = np.stack([to_a / np.linalg.norm(to_a), to_b / np.linalg.norm(to_b)], axis=1)
    tension, *_ = np.linalg.lstsq(lines, np.array([0.0, 0.0, weight]), rcond=None)
    angle = float(angle_between(to_a, to_b))
    breach = bool(angle >= settings.floating_limit or np.any(tension <= 0))
    text = f"The lines meet at {np.degrees(angle):.0f} degrees and pull with {tension[0] / 1e3:.2f} and {tension[1] / 1e3:.2f} kN"
    more = f": flatter than {settings.floating_limit_deg:.0f} degrees, lower the point." if breach else "."
    return FloatingAnchor(point, angle, tension, -(lines * tension).T, breach, text + more)


def reach_from_neighbour(
    graph: WoodGraph, scene: Scene, anchor: Floats, work: Work, work_limb: NDArray[np.int32], settings: PlanningSettings, weight: float = float("nan")
) -> Reach:
    """Coverage of this tree's work from an anchor in a neighbouring tree: the same rules, and every limb of this tree can foul the rope.

    The neighbour's own wood is not in the scene: its anchor must be judged on its own trace.
    """
    return reach(graph, scene, anchor, (-1, -1), work, work_limb, settings, weight)


def lowest_pull_point(a: Floats, b: Floats, angle: float, share: float = 0.5) -> Floats:
    """The point below the line a-b, at a share of the way in the plan, where the lines meet at `angle`, (3,). [m, local]"""
    at = a + share * (b - a)
    low, high = 0.0, 50.0 * float(np.linalg.norm(b - a)) + 1.0
    for _ in range(80):
        mid = (low + high) / 2
        point = at - np.array([0.0, 0.0, mid])
        if angle_between(a - point, b - point) > angle:
            low = mid
        else:
            high = mid
    return at - np.array([0.0, 0.0, high])


def clear_between(scene: Scene, a: Floats, b: Floats, own: float = 0.5, thinnest: float = 0.02) -> bool:
    """True when no limb of this tree touches the straight line between two anchors.

    own : wood this near an anchor does not count [m]; thinnest : thinner limbs (radius) are pushed aside [m].
    """
    gap, along, at = segment_segment(a, b, scene.start, scene.end)
    radius = scene.r_start + (scene.r_end - scene.r_start) * at
    length = float(np.linalg.norm(b - a))
    counts = (along * length > own) & ((1 - along) * length > own) & (radius >= thinnest)
    return not bool(np.any(counts & (gap < radius)))
