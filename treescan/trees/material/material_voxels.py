"""Which points share a voxel? One pass over a hash table, so that 20 M points take a second or two."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from treescan.arrays import Floats, Ints
from treescan.cloud.thin import VoxelSums

BLOCK = 1_000_000
"""Points copied at a time."""


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


def voxelise(xyz: Floats, cell: float, rows: Ints | None = None) -> Voxels:
    """Group points (n, 3) [m] by cubes of edge `cell` [m].

    rows : (r,) int, optional   Only these points, in this order; they are not copied as a whole, and `first`
                                and `of_point` count along them.
    """
    if rows is not None:
        return _by_rows(xyz, cell, rows)
    if len(xyz) == 0:
        return Voxels(
            np.zeros((0, 3)), np.zeros(0, np.int32), np.zeros(0, np.int64), np.zeros(0, np.int32), cell
        )
    filled = VoxelSums(cell, -xyz.min(axis=0))
    of_point, first = filled.add(np.ascontiguousarray(xyz))
    return Voxels(filled.centroids, filled.counts.astype(np.int32), first, of_point, cell)


def _by_rows(xyz: Floats, cell: float, rows: Ints) -> Voxels:
    """Voxels of some rows, a block at a time."""
    if len(rows) == 0:
        return voxelise(np.zeros((0, 3)), cell)
    blocks = range(0, len(rows), BLOCK)
    low = np.min([xyz[rows[a : a + BLOCK]].min(axis=0) for a in blocks], axis=0)
    filled = VoxelSums(cell, -low)
    of_point, first = np.empty(len(rows), np.int32), []
    for a in blocks:
        own = xyz[rows[a : a + BLOCK]]
        of_point[a : a + len(own)], begun = filled.add(own)
        first.append(begun + a)
    return Voxels(filled.centroids, filled.counts.astype(np.int32), np.concatenate(first), of_point, cell)
