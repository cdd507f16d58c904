"""What does a rope to the work meet on its way?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from treescan.planning.reach.sightline import Scene
from treescan.planning.settings import PlanningSettings
from treescan.planning.tie_in_point import Work
from treescan.planning.tree_context import TreeContext
from treescan.short_repr import ShortRepr
from treescan.wood.graph import WoodGraph


@dataclass(frozen=True, repr=False)
class WorkScene(ShortRepr):
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


def limb_of_work(graph: WoodGraph, work: Work) -> NDArray[np.int32]:
    """The limb each work point lies on (nearest axis), (w,)."""
    seg = graph.segments
    if len(seg.node) == 0:
        return np.zeros(len(work), np.int32)
    tree = cKDTree((seg.start + seg.end) / 2)
    _, near = tree.query(work.xyz, k=min(8, len(seg.node)))
    near = np.atleast_2d(near).reshape(len(work), -1)
    a, d = seg.start[near], seg.end[near] - seg.start[near]
    share = np.clip(np.sum((work.xyz[:, None] - a) * d, -1) / np.maximum(np.sum(d * d, -1), 1e-12), 0, 1)
    gap = np.linalg.norm(work.xyz[:, None] - a - share[..., None] * d, axis=-1)
    return seg.limb[near[np.arange(len(work)), np.argmin(gap, axis=1)]]
