"""What does a rope to the work meet on its way?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from treescan.planning.reach.sightline import Scene
from treescan.planning.settings import PlanningSettings
from treescan.planning.tie_in_point import Work
from treescan.planning.tree_context import TreeContext
from treescan.planning.work.work_points import limb_of_work
from treescan.wood.graph import WoodGraph


@dataclass(frozen=True)
class WorkScene:
    """The tree as ropes meet it, and the work on it.

    graph : WoodGraph; scene : Scene, its wood and what stands beside it; work : Work; work_limb : (w,) int32 limb each work point lies on;
    settings : the rules of planning.
    """

    graph: WoodGraph
    scene: Scene
    work: Work
    work_limb: NDArray[np.int32]
    settings: PlanningSettings

    @classmethod
    def of(cls, context: TreeContext) -> WorkScene:
        """The scene of one tree and its work."""
        graph, work = context.graph, context.work
        return cls(graph, Scene.of(graph, context.beside), work, limb_of_work(graph, work), context.settings)
