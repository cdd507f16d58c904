"""Which of the tree's points are wood? Local shape, and how far the tree goes on through a point, together
give a confidence."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit, prange

from treescan.arrays import Flags, Floats
from treescan.trees.material.local_shape import LocalShape
from treescan.trees.material.neighbour_graph import NeighbourGraph
from treescan.trees.material.shortest_paths import ShortestPaths

WEIGHT = (-3.86, 1.52, 2.74, -6.42)
"""Constant, then sheet, beyond [1/m] and scatter: logistic weights fitted to made-up scans in leaf by
`scripts/fit_wood_and_leaf.py` (source key "wood_leaf_fit")."""
CLOUD_LIKE, OUTERMOST = 0.3, 0.5
"""Scatter from which a spot is cloud-like, and length of the way on [m] below which it is among the
outermost."""
BARE_SHARE, TO_LEAF = 0.02, 0.04
"""Share of such spots of a bare tree at most, and how much more a tree in leaf has at least."""
KEPT = 0.995
"""Least part of the confidence that a voxel passes on towards the foot."""
FAR_ENOUGH = 3.0
"""A way on longer than this says no more for wood. [m]"""
BARE_SHIFT = 5.8
"""Added to the logit where the tree is bare: what is thin there is a twig, not a leaf."""


@dataclass(frozen=True)
class WoodEvidence:
    """What speaks for wood at every voxel, all (n,).

    Attributes
    ----------
    beyond : float              Longest way on through this voxel or its neighbours. [m]
    confidence : float          In [0, 1]; wood from `TreeSettings.wood_limit`.
    leafy : one float           0 = bare tree, 1 = in leaf.
    """

    beyond: Floats
    confidence: Floats
    leafy: float


def leafiness(cloud: Floats, beyond: Floats) -> float:
    """Is the tree in leaf? 0 = bare, 1 = in leaf, by the share of all its voxels that are cloud-like and in
    the outermost half metre.

    Thirty made-up bare trees have 0.2 to 2.5 % (one 3.9 %), nine in leaf 8 to 24 %; between 2 and 6 % the
    answer goes over smoothly. The share of cloud-like spots among the outermost ones alone is no measure:
    dense bare twigs on coarse voxels reach 17 %, needles 18 %.
    """
    if not len(cloud):
        return 0.0
    share = np.mean((cloud > CLOUD_LIKE) & (beyond < OUTERMOST))
    return float(np.clip((share - BARE_SHARE) / TO_LEAF, 0.0, 1.0))


def wood_confidence(
    xyz: Floats, graph: NeighbourGraph, paths: ShortestPaths, shape: LocalShape, member: Flags
) -> WoodEvidence:
    """Evidence for wood at the voxels of one tree.

    Parameters
    ----------
    xyz : (n, 3) float      Voxel centres. [m]
    graph, paths, shape     Neighbour graph, the shortest paths that reached the tree, and the local shape.
    member : (n,) bool      Voxels of the asked tree; the others get confidence 0.
    """
    beyond = way_beyond(xyz, graph, paths, member)
    raw = WEIGHT[0] + signs_of_wood(shape, beyond) @ np.array(WEIGHT[1:])
    leafy = leafiness(shape.cloud[member], beyond[member])
    p = np.where(member, 1.0 / (1.0 + np.exp(-raw - BARE_SHIFT * (1.0 - leafy))), 0.0)
    p[member & (paths.previous < 0)] = 1.0
    for _ in range(3):
        p = _mean_near(p, graph.nearest, member)
    p = _down_to_the_foot(p, paths.previous, paths.order, member)
    return WoodEvidence(beyond, p, leafy)


def way_beyond(xyz: Floats, graph: NeighbourGraph, paths: ShortestPaths, member: Flags) -> Floats:
    """Longest way on through every voxel or its neighbours, (n,). [m]"""
    beyond = _carried(xyz, paths.previous, paths.order, member)
    for _ in range(2):
        beyond = _largest_near(beyond, graph.nearest, member)
    return beyond


def signs_of_wood(shape: LocalShape, beyond: Floats) -> Floats:
    """What the logistic weights are for: sheet, beyond (at most 3 m), scatter. (n, 3)"""
    return np.stack(
        [shape.sheet, np.minimum(beyond, FAR_ENOUGH), np.minimum(shape.cloud, shape.far_cloud)], axis=1
    )


@njit(cache=True)
def _carried(xyz, previous, order, member):  # type: ignore[no-untyped-def]
    """Longest way on from every voxel to a tip that grew through it. [m]"""
    beyond = np.zeros(len(previous))
    for t in range(len(order) - 1, -1, -1):
        i = order[t]
        p = previous[i]
        if member[i] and p >= 0 and member[p]:
            step = np.sqrt(
                (xyz[i, 0] - xyz[p, 0]) ** 2 + (xyz[i, 1] - xyz[p, 1]) ** 2 + (xyz[i, 2] - xyz[p, 2]) ** 2
            )
            beyond[p] = max(beyond[p], beyond[i] + step)
    return beyond


@njit(cache=True, parallel=True)
def _largest_near(value, near, member):  # type: ignore[no-untyped-def]
    out = value.copy()
    for i in prange(len(value)):
        if member[i]:
            for j in range(near.shape[1]):
                if member[near[i, j]]:
                    out[i] = max(out[i], value[near[i, j]])
    return out


@njit(cache=True, parallel=True)
def _mean_near(value, near, member):  # type: ignore[no-untyped-def]
    out = value.copy()
    for i in prange(len(value)):
        if member[i]:
            total, count = value[i], 1
            for j in range(near.shape[1]):
                if member[near[i, j]]:
                    total += value[near[i, j]]
                    count += 1
            out[i] = total / count
    return out


@njit(cache=True)
def _down_to_the_foot(p, previous, order, member):  # type: ignore[no-untyped-def]
    """What carries wood is wood: along the way to the foot the confidence falls by less than 1 % a voxel."""
    out = p.copy()
    for t in range(len(order) - 1, -1, -1):
        i = order[t]
        q = previous[i]
        if member[i] and q >= 0 and member[q] and out[i] * KEPT > out[q]:
            out[q] = out[i] * KEPT
    return out
