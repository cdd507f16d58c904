"""Which points share a voxel? One pass over a hash table, so that 20 M points take a second or two."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Voxels:
    """Occupied voxels, in the order in which the points first touched them.

    Attributes
    ----------
    centre : (m, 3) float   Mean of the points in each voxel. [m]
    count : (m,) int32      Points in each voxel.
    first : (m,) int64      The first point in each voxel.
    of_point : (n,) int32   Voxel of every point.
    cell : float            [m]
    """

    centre: Floats
    count: NDArray[np.int32]
    first: NDArray[np.int64]
    of_point: NDArray[np.int32]
    cell: float

    def __len__(self) -> int:
        return len(self.count)


def voxelise(xyz: Floats, cell: float) -> Voxels:
    """Group points (n, 3) [m] by cubes of edge `cell` [m]."""
    if len(xyz) == 0:
        return Voxels(np.zeros((0, 3)), np.zeros(0, np.int32), np.zeros(0, np.int64), np.zeros(0, np.int32), cell)
    of_point, first, count, centre = _hash(np.ascontiguousarray(xyz), xyz.min(axis=0), float(cell))
    return Voxels(centre, count, first, of_point, cell)


@njit(cache=True)
def _hash(xyz, low, cell):  # type: ignore[no-untyped-def]
    n = len(xyz)
    size = 1024
    while size < 2 * min(n, 1 << 20):
        size *= 2
    keys = np.full(size, -1, np.int64)
    slot = np.zeros(size, np.int32)
    of_point = np.empty(n, np.int32)
    room = max(16, n // 8)
    first = np.empty(room, np.int64)
    count = np.empty(room, np.int32)
    total = np.empty((room, 3))
    voxel_key = np.empty(room, np.int64)
    m = 0
    for i in range(n):
        kx = np.int64((xyz[i, 0] - low[0]) / cell)
        ky = np.int64((xyz[i, 1] - low[1]) / cell)
        kz = np.int64((xyz[i, 2] - low[2]) / cell)
        key = (kx << 42) | (ky << 21) | kz
        h = _slot(key, size)
        while keys[h] != -1 and keys[h] != key:
            h = (h + 1) & (size - 1)
        if keys[h] == -1:
            if m == room:
                room *= 2
                first, count, voxel_key = _longer(first, room), _longer(count, room), _longer(voxel_key, room)
                bigger = np.empty((room, 3))
                bigger[:m] = total
                total = bigger
            keys[h], slot[h] = key, m
            first[m], count[m], voxel_key[m] = i, 0, key
            total[m, 0] = total[m, 1] = total[m, 2] = 0.0
            v = m
            m += 1
            if 2 * m > size:
                size *= 2
                keys = np.full(size, -1, np.int64)
                slot = np.zeros(size, np.int32)
                for j in range(m):
                    h = _slot(voxel_key[j], size)
                    while keys[h] != -1:
                        h = (h + 1) & (size - 1)
                    keys[h], slot[h] = voxel_key[j], j
        else:
            v = slot[h]
        of_point[i] = v
        count[v] += 1
        total[v, 0] += xyz[i, 0] - low[0]
        total[v, 1] += xyz[i, 1] - low[1]
        total[v, 2] += xyz[i, 2] - low[2]
    centre = np.empty((m, 3))
    for v in range(m):
        for a in range(3):
            centre[v, a] = total[v, a] / count[v] + low[a]
    return of_point, first[:m].copy(), count[:m].copy(), centre


@njit(cache=True)
def _slot(key, size):  # type: ignore[no-untyped-def]
    h = np.uint64(key) * np.uint64(0x9E3779B97F4A7C15)
    h = h ^ (h >> np.uint64(31))
    return np.int64(h & np.uint64(size - 1))


@njit(cache=True)
def _longer(a, room):  # type: ignore[no-untyped-def]
    out = np.empty(room, a.dtype)
    out[: len(a)] = a
    return out
