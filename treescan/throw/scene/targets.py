"""Which pieces of which limbs count as "over this union"?"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from treescan.arrays import Floats, Ints32
from treescan.wood.graph import CODOMINANT, WoodGraph


@dataclass(frozen=True)
class Targets:
    """Per graph node, for the segment down to its parent.

    Attributes
    ----------
    union : (n,) int32      Union this segment is a target of, -1 = none.
    near, far : (n,) float  Distance along the arm from the union's axis to the segment's inner and outer end. [m]
    limit : (n,) float      Farthest accepted distance from the union's axis. [m]
    stem_node : (m,) int32  Per union, last node of limb 0 on the way to the ground: the stem below can be walked round.
    """

    union: Ints32
    near: Floats
    far: Floats
    limit: Floats
    stem_node: Ints32


def find_targets(graph: WoodGraph, reach_along: float, wanted: Collection[int] | None = None) -> Targets:
    """The side limbs of every union (at a codominant union every limb above it), out to `reach_along` from the parent's bark.

    A piece ends at the next union outward at the latest: beyond that the line would come to rest in the next union.
    The piece starts at the union's axis, as segments inside the parent belong to the child limb.

    Parameters
    ----------
    wanted : rows of unions     Only these are given targets; None = all of them.
    """
    n, unions = len(graph), graph.unions
    union = np.full(n, -1, np.int32)
    near, far, limit = np.zeros(n), np.zeros(n), np.zeros(n)
    is_union = np.zeros(n, bool)
    is_union[unions.node] = True
    stem_node = np.zeros(len(unions), np.int32)
    for k in range(len(unions)) if wanted is None else sorted(wanted):
        rows = (
            np.arange(unions.arms(k).start, unions.arms(k).stop)
            if CODOMINANT in unions.flags[k]
            else unions.laterals(k)
        )
        for row in rows:
            reach = float(unions.parent_diameter[k]) / 2 + reach_along
            at, along = int(unions.arm_node[row]), 0.0
            while along < reach:
                union[at], near[at], far[at], limit[at] = k, along, along + graph.length[at], reach
                along = far[at]
                ahead = [c for c in graph.children_of(at) if graph.limb[c] == graph.limb[at]]
                if is_union[at] or not ahead:
                    break
                at = int(ahead[0])
        path = graph.path_to_base(int(unions.node[k]))
        stem_node[k] = path[graph.limb[path] == 0].max()
    return Targets(union, near, far, limit, stem_node)
