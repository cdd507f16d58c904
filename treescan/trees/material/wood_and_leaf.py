"""Which of the tree's points are wood? Local shape, and how far the tree goes on through a point, together give a confidence."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit, prange
from numpy.typing import NDArray

from treescan.trees.material.growth import Neighbours, Race
from treescan.trees.material.local_shape import LocalShape

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


WEIGHT = (-3.86, 1.52, 2.74, -6.42)
"""Constant, then sheet, beyond [1/m] and scatter: logistic weights fitted to made-up scans in leaf by `scripts/fit_wood_and_leaf.py`
(source key "wood_leaf_fit")."""
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
    """Is the tree in leaf? 0 = bare, 1 = in leaf, by the share of all its voxels that are cloud-like and in the outermost half metre.

    Thirty made-up bare trees have 0.2 to 2.5 % (one 3.9 %), nine in leaf 8 to 24 %; between 2 and 6 % the answer goes over smoothly. The share
    of cloud-like spots among the outermost ones alone is no measure: dense bare twigs on coarse voxels reach 17 %, needles 18 %.
    """
    return float(np.clip((np.mean((cloud > 0.3) & (beyond < 0.5)) - 0.02) / 0.04, 0.0, 1.0)) if len(cloud) else 0.0


def wood_confidence(xyz: Floats, graph: Neighbours, grown: Race, shape: LocalShape, member: Bools) -> WoodEvidence:
    """Evidence for wood at the voxels of one tree.

    Parameters
    ----------
    xyz : (n, 3) float      Voxel centres. [m]
    graph, grown, shape     Neighbour graph, the race that reached the tree, and the local shape.
    member : (n,) bool      Voxels of the asked tree; the others get confidence 0.
    """
    beyond = way_beyond(xyz, graph, grown, member)
    raw = WEIGHT[0] + signs_of_wood(shape, beyond) @ np.array(WEIGHT[1:])
    leafy = leafiness(shape.cloud[member], beyond[member])
    p = np.where(member, 1.0 / (1.0 + np.exp(-raw - BARE_SHIFT * (1.0 - leafy))), 0.0)
    p[member & (grown.previous < 0)] = 1.0
    for _ in range(3):
        p = _mean_near(p, graph.nearest, member)
    p = _down_to_the_foot(p, grown.previous, grown.order, member)
    return WoodEvidence(beyond, p, leafy)


def way_beyond(xyz: Floats, graph: Neighbours, grown: Race, member: Bools) -> Floats:
    """Longest way on through every voxel or its neighbours, (n,). [m]"""
    beyond = _carried(xyz, grown.previous, grown.order, member)
    for _ in range(2):
        beyond = _largest_near(beyond, graph.nearest, member)
    return beyond


def signs_of_wood(shape: LocalShape, beyond: Floats) -> Floats:
    """What the logistic weights are for: sheet, beyond (at most 3 m), scatter. (n, 3)"""
    return np.stack([shape.sheet, np.minimum(beyond, 3.0), np.minimum(shape.cloud, shape.far_cloud)], axis=1)


@njit(cache=True)
def _carried(xyz, previous, order, member):  # type: ignore[no-untyped-def]
    """Longest way on from every voxel to a tip that grew through it. [m]"""
    beyond = np.zeros(len(previous))
    for t in range(len(order) - 1, -1, -1):
        i = order[t]
        p = previous[i]
        if member[i] and p >= 0 and member[p]:
            step = np.sqrt((xyz[i, 0] - xyz[p, 0]) ** 2 + (xyz[i, 1] - xyz[p, 1]) ** 2 + (xyz[i, 2] - xyz[p, 2]) ** 2)
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
        if member[i] and q >= 0 and member[q] and out[i] * 0.995 > out[q]:
            out[q] = out[i] * 0.995
    return out
