"""Which voxels are neighbours? The nearest ones, and over gaps those of ever coarser voxels."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from scipy.spatial import cKDTree

from treescan.arrays import Floats, Floats32, Ints, Ints32
from treescan.trees.material.material_voxels import voxelise

BLOCK = 500_000
"""Points asked for at a time: bounds the memory."""
ORDER_CELL = 0.25
"""Cubes by which points are put in order. [m]"""
BITS = 21
"""Bits of a cube's number along one axis."""
COARSER = 4
"""Each further level of voxels is so many times coarser."""
LEVELS = 4
"""With the fourth level gaps of some metres are bridged (at a cost that grows with their square)."""
COARSE_NEIGHBOURS = 9
"""Neighbours of a coarse voxel, itself included."""


@dataclass(frozen=True)
class NeighbourGraph:
    """A symmetric neighbour graph in compressed rows, and the plain nearest neighbours it was made from.

    start : (n + 1,) int64; other : (e,) int32; length : (e,) float32 [m]; nearest : (n, k) int32, own point
    first.
    """

    start: Ints
    other: Ints32
    length: Floats32
    nearest: Ints32


def nearest(xyz: Floats, k: int) -> tuple[Ints32, Floats32]:
    """Nearest neighbours of points (n, 3), the point itself first: indices (n, k) and distances (n, k)
    [m]."""
    k = min(k, len(xyz))
    order = cell_order(xyz, ORDER_CELL)
    back = order.astype(np.int32)
    tree = cKDTree(xyz[order], balanced_tree=False, compact_nodes=False)
    index = np.empty((len(xyz), k), np.int32)
    distance = np.empty((len(xyz), k), np.float32)
    for low in range(0, len(xyz), BLOCK):
        rows = order[low : low + BLOCK]
        d, i = tree.query(tree.data[low : low + BLOCK], k=list(range(1, k + 1)), workers=-1)
        index[rows], distance[rows] = back[i], d
    return index, distance


def cell_order(xyz: Floats, cell: float) -> Ints:
    """An order of the points by cubes of edge `cell`: neighbours in space become neighbours in memory."""
    i = ((xyz - xyz.min(axis=0)) / cell).astype(np.int64)
    return np.argsort((i[:, 2] << 2 * BITS) | (i[:, 1] << BITS) | i[:, 0], kind="stable")


def neighbour_graph(xyz: Floats, k: int, cell: float, levels: int = LEVELS) -> NeighbourGraph:
    """Nearest-neighbour graph that also reaches over gaps: the same rule again on ever coarser voxels.

    Parameters
    ----------
    xyz : (n, 3) float      Voxel centres. [m]
    k : int                 Neighbours of the finest level.
    cell : float            Voxel edge of the finest level; each further level is `COARSER` times coarser. [m]
    levels : int            Of voxels, the finest included.
    """
    near, d = nearest(xyz, k)
    one = [np.repeat(np.arange(len(xyz), dtype=np.int32), near.shape[1] - 1)]
    other = [near[:, 1:].ravel()]
    apart = [d[:, 1:].ravel()]
    for level in range(1, levels):
        coarse = voxelise(xyz, cell * COARSER**level)
        if len(coarse) < 2:
            break
        i, _ = nearest(coarse.centre, COARSE_NEIGHBOURS)
        p = np.repeat(coarse.first, i.shape[1] - 1).astype(np.int32)
        q = coarse.first[i[:, 1:].ravel()].astype(np.int32)
        one.append(p)
        other.append(q)
        apart.append(np.linalg.norm(xyz[p] - xyz[q], axis=1).astype(np.float32))
    start, end, length = _symmetric(
        np.concatenate(one), np.concatenate(other), np.concatenate(apart), len(xyz)
    )
    return NeighbourGraph(start, end, length, near)


@njit(cache=True)
def _symmetric(a, b, c, n):  # type: ignore[no-untyped-def]
    start = np.zeros(n + 1, np.int64)
    for e in range(len(a)):
        start[a[e] + 1] += 1
        start[b[e] + 1] += 1
    for i in range(n):
        start[i + 1] += start[i]
    fill = start[:-1].copy()
    other = np.empty(2 * len(a), np.int32)
    length = np.empty(2 * len(a), np.float32)
    for e in range(len(a)):
        i, j = a[e], b[e]
        other[fill[i]], length[fill[i]] = j, c[e]
        fill[i] += 1
        other[fill[j]], length[fill[j]] = i, c[e]
        fill[j] += 1
    return start, other, length
