"""Thinning wood points to a grid while keeping which point fell into which cell."""

from __future__ import annotations

import numpy as np
from numba import njit

from treescan.wood.graph import Floats


@njit(cache=True)
def _hash_cells(xyz, low, cell):  # type: ignore[no-untyped-def]
    """Cell number of every point (in order of first appearance) and the number of cells; open addressing."""
    n = len(xyz)
    size = 1024
    while size < 2 * n:
        size *= 2
    mask = np.uint64(size - 1)
    table = np.full(size, -1, np.int32)
    key_of = np.empty(n, np.uint64)
    member = np.empty(n, np.int32)
    count = 0
    for i in range(n):
        kx = np.uint64((xyz[i, 0] - low[0]) / cell)
        ky = np.uint64((xyz[i, 1] - low[1]) / cell)
        kz = np.uint64((xyz[i, 2] - low[2]) / cell)
        key = (kx << np.uint64(42)) | (ky << np.uint64(21)) | kz
        h = key * np.uint64(0x9E3779B97F4A7C15)
        at = (h ^ (h >> np.uint64(29))) & mask
        while True:
            j = table[at]
            if j < 0:
                table[at] = count
                key_of[count] = key
                member[i] = count
                count += 1
                break
            if key_of[j] == key:
                member[i] = j
                break
            at = (at + np.uint64(1)) & mask
    return member, count


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
    low = xyz.min(axis=0) - cell
    span = (xyz.max(axis=0) - low) / cell
    if np.any(span >= 2**21):
        raise ValueError("points are spread too wide for this grid")
    member, count = _hash_cells(np.ascontiguousarray(xyz), low, cell)
    weight = np.bincount(member, minlength=count).astype(float)
    centroid = np.stack([np.bincount(member, weights=xyz[:, a], minlength=count) / weight for a in range(3)], axis=1)
    block = np.floor((centroid - low) / 0.25).astype(np.int64)
    order = np.lexsort((block[:, 2], block[:, 1], block[:, 0]))
    new = np.empty(count, np.int32)
    new[order] = np.arange(count, dtype=np.int32)
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
