"""Thinning wood points to a grid while keeping which point fell into which cell."""

from __future__ import annotations

import numpy as np
from numba import njit

from treescan.trees.material.material_voxels import voxelise
from treescan.wood.graph import Floats

BLOCK = 0.25
"""Edge of the blocks in which points lie together in memory [m]."""


def thin_with_members(xyz: Floats, cell: float) -> tuple[Floats, np.ndarray]:
    """Centroid of every occupied grid cell, and the cell each point belongs to.

    Parameters
    ----------
    xyz : (n, 3) float  [m]     cell : float [m]

    Returns
    -------
    centroid : (c, 3) float [m], sorted by 0.25 m blocks so that neighbours lie close in memory
    member : (n,) int32     Row of `centroid` for every point.
    """
    grid = voxelise(xyz, cell)
    centroid, member = grid.centre, grid.of_point
    block = np.floor(centroid / BLOCK).astype(np.int64)
    order = np.lexsort((block[:, 2], block[:, 1], block[:, 0]))
    new = np.empty(len(order), np.int32)
    new[order] = np.arange(len(order), dtype=np.int32)
    return centroid[order], new[member]


@njit(cache=True)
def group_rows(label, count):  # type: ignore[no-untyped-def]
    """Rows of every label as (start (count + 1,), rows): a counting sort; negative labels are left out."""
    start = np.zeros(count + 1, np.int64)
    for i in range(len(label)):
        if label[i] >= 0:
            start[label[i] + 1] += 1
    for k in range(count):
        start[k + 1] += start[k]
    rows = np.empty(start[count], np.int64)
    at = start[:-1].copy()
    for i in range(len(label)):
        if label[i] >= 0:
            rows[at[label[i]]] = i
            at[label[i]] += 1
    return start, rows
