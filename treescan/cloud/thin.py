"""How is a dense cloud thinned? One point a voxel, the centroid, kept in a hash so that memory follows voxels
and not points."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

from treescan.cloud.point_cloud import PointCloud

_FIRST_ROWS = 1 << 15


class VoxelSums:
    """Sums of points by voxel, filled chunk by chunk.

    Voxels are cut at multiples of the cell from the zero of the map, so the result does not depend on the
    local origin, and points may come in any number of chunks.
    """

    def __init__(self, cell: float, origin: ArrayLike = (0.0, 0.0, 0.0)) -> None:
        """Start empty.

        Parameters
        ----------
        cell : float        Edge of a voxel. [m]
        origin : (3,) float Map coordinates of local zero. [m]
        """
        self.cell = float(cell)
        self._origin = np.asarray(origin, np.float64)
        self._phase = np.mod(self._origin, self.cell)
        self._table = np.full(4 * _FIRST_ROWS, -1, np.int32)
        self._ijk = np.empty((_FIRST_ROWS, 3), np.int32)
        self._sums = np.empty((_FIRST_ROWS, 3))
        self._counts = np.empty(_FIRST_ROWS, np.int64)
        self._columns: dict[str, NDArray] = {}
        self.used = 0

    def add(
        self, xyz: NDArray[np.float64], columns: Mapping[str, NDArray] | None = None
    ) -> tuple[NDArray[np.int32], NDArray[np.int64]]:
        """Take in points (n, 3), local metres; of the columns the first point in a voxel speaks for it.

        Returns
        -------
        rows : (n,) int32       Voxel of each point.
        first : (f,) int64      Of each voxel seen for the first time: its first point.
        """
        done, first, rows = 0, np.empty(len(xyz), np.int64), np.empty(len(xyz), np.int32)
        begun = self.used
        while done < len(xyz):
            done, self.used = _bin(
                xyz,
                done,
                1.0 / self.cell,
                self._phase,
                self._table,
                self._ijk,
                self._sums,
                self._counts,
                self.used,
                first,
                begun,
                rows,
            )
            if done < len(xyz):
                self._grow()
        for name, values in (columns or {}).items():
            fresh = values[first[: self.used - begun]]
            held = self._columns.get(name, np.empty(0, values.dtype))
            if len(held) < self.used:
                held = np.concatenate([held[:begun], np.empty(max(self.used, 2 * begun) - begun, held.dtype)])
            held[begun : self.used] = fresh
            self._columns[name] = held
        return rows, first[: self.used - begun]

    def _grow(self) -> None:
        """Twice the rows and a table to match."""
        rows = 2 * len(self._ijk)
        for name in ("_ijk", "_sums", "_counts"):
            old = getattr(self, name)
            new = np.empty((rows, *old.shape[1:]), old.dtype)
            new[: self.used] = old[: self.used]
            setattr(self, name, new)
        self._table = np.full(4 * rows, -1, np.int32)
        _rehash(self._ijk[: self.used], self._table)

    @property
    def ijk(self) -> NDArray[np.int32]:
        """Voxel indices, (m, 3), in order of first sight."""
        return self._ijk[: self.used]

    @property
    def counts(self) -> NDArray[np.int64]:
        """Points in each voxel, (m,)."""
        return self._counts[: self.used]

    @property
    def centroids(self) -> NDArray[np.float64]:
        """Mean of the points in each voxel, (m, 3). [m, local]"""
        return self._sums[: self.used] / self.counts[:, None]

    @property
    def columns(self) -> dict[str, NDArray]:
        """Column values of the first point in each voxel."""
        return {k: v[: self.used] for k, v in self._columns.items()}

    def doubled(self) -> VoxelSums:
        """The same points in voxels of twice the edge, still cut at multiples of it from the zero of the map;
        columns are left behind."""
        wide = VoxelSums(2 * self.cell, self._origin)
        steps = np.floor(self._origin / self.cell).astype(np.int64)
        wide_steps = np.floor(self._origin / wide.cell).astype(np.int64)
        ijk = ((self.ijk + steps) // 2 - wide_steps).astype(np.int32)
        while len(wide._ijk) < self.used:
            wide._grow()
        wide.used = _merge(ijk, self._sums, self._counts, wide._table, wide._ijk, wide._sums, wide._counts)
        return wide

    def row_of(self, xyz: NDArray[np.float64]) -> NDArray[np.int32]:
        """Row of the voxel each point lies in, -1 where there is none, (n,)."""
        return _look_up(xyz, 1.0 / self.cell, self._phase, self._table, self._ijk)

    def crowd(self, reach: int, most: int) -> NDArray[np.int64]:
        """Points within `reach` voxels in each direction, counted only for voxels holding at most `most`; -1
        for the others, (m,)."""
        return _crowd(self.ijk, self.counts, self._table, reach, most)


def thin(cloud: PointCloud, cell: float) -> PointCloud:
    """One point a voxel: the centroid of the points in it.

    Parameters
    ----------
    cloud : PointCloud
    cell : float            Edge of a voxel. [m]

    Returns
    -------
    PointCloud              Columns are those of the first point in each voxel; "points" says how many it
                            stands for.
    """
    if not cell > 0:
        raise ValueError(f"cell must be positive, got {cell}")
    voxels = VoxelSums(cell, cloud.frame.origin)
    voxels.add(cloud.xyz, {k: v for k, v in cloud.columns.items() if k != "points"})
    return PointCloud(
        voxels.centroids,
        cloud.frame,
        voxels.columns | {"points": voxels.counts},
        cloud.source,
        cloud.notes,
        cloud.scanners,
    )


@njit(cache=True, nogil=True, inline="always")
def _slot(i, j, k, mask):  # type: ignore[no-untyped-def]
    """Where the search for a voxel starts: a multiplicative mix of its three indices."""
    h = np.uint64(np.int64(i)) * np.uint64(0x9E3779B97F4A7C15)
    h ^= np.uint64(np.int64(j)) * np.uint64(0xC2B2AE3D27D4EB4F)
    h ^= np.uint64(np.int64(k)) * np.uint64(0x165667B19E3779F9)
    h ^= h >> np.uint64(29)
    h *= np.uint64(0xBF58476D1CE4E5B9)
    return np.int64((h >> np.uint64(20)) & np.uint64(mask))


@njit(cache=True, nogil=True, inline="always")
def _cell_of(value):  # type: ignore[no-untyped-def]
    """Floor as a 32-bit index; beyond its range everything falls into the last cell."""
    return np.int32(min(max(np.floor(value), -2147483647.0), 2147483646.0))


@njit(cache=True, nogil=True)
def _find(i, j, k, table, ijk):  # type: ignore[no-untyped-def]
    """Row of a voxel or -1, and the slot where the search ended."""
    mask = len(table) - 1
    slot = _slot(i, j, k, mask)
    while True:
        row = table[slot]
        if row < 0 or (ijk[row, 0] == i and ijk[row, 1] == j and ijk[row, 2] == k):
            return row, slot
        slot = (slot + 1) & mask


@njit(cache=True, nogil=True)
def _bin(xyz, start, inverse, phase, table, ijk, sums, counts, used, first, begun, rows):  # type: ignore
    """Add points from `start` on until all are in or the rows run out; where it stopped and rows used."""
    row = np.int32(-1)
    pi, pj, pk = np.int32(0), np.int32(0), np.int32(0)
    for n in range(start, len(xyz)):
        i = _cell_of((xyz[n, 0] + phase[0]) * inverse)
        j = _cell_of((xyz[n, 1] + phase[1]) * inverse)
        k = _cell_of((xyz[n, 2] + phase[2]) * inverse)
        if row < 0 or i != pi or j != pj or k != pk:
            row, slot = _find(i, j, k, table, ijk)
            if row < 0:
                if used >= len(ijk):
                    return n, used
                row = np.int32(used)
                table[slot] = row
                ijk[row, 0], ijk[row, 1], ijk[row, 2] = i, j, k
                sums[row, 0] = sums[row, 1] = sums[row, 2] = 0.0
                counts[row] = 0
                first[used - begun] = n
                used += 1
            pi, pj, pk = i, j, k
        sums[row, 0] += xyz[n, 0]
        sums[row, 1] += xyz[n, 1]
        sums[row, 2] += xyz[n, 2]
        counts[row] += 1
        rows[n] = row
    return len(xyz), used


@njit(cache=True, nogil=True)
def _merge(ijk, sums, counts, table, wide_ijk, wide_sums, wide_counts):  # type: ignore[no-untyped-def]
    """Add up voxels into wider ones; how many of those there are."""
    used = 0
    for n in range(len(ijk)):
        row, slot = _find(ijk[n, 0], ijk[n, 1], ijk[n, 2], table, wide_ijk)
        if row < 0:
            row = np.int32(used)
            table[slot] = row
            wide_ijk[row] = ijk[n]
            wide_sums[row] = 0.0
            wide_counts[row] = 0
            used += 1
        wide_sums[row] += sums[n]
        wide_counts[row] += counts[n]
    return used


@njit(cache=True, nogil=True)
def _rehash(ijk, table):  # type: ignore[no-untyped-def]
    """Enter all rows into an empty table."""
    for row in range(len(ijk)):
        _, slot = _find(ijk[row, 0], ijk[row, 1], ijk[row, 2], table, ijk)
        table[slot] = row


@njit(cache=True, nogil=True)
def _look_up(xyz, inverse, phase, table, ijk):  # type: ignore[no-untyped-def]
    """Row of each point's voxel."""
    out = np.empty(len(xyz), np.int32)
    for n in range(len(xyz)):
        i = _cell_of((xyz[n, 0] + phase[0]) * inverse)
        j = _cell_of((xyz[n, 1] + phase[1]) * inverse)
        k = _cell_of((xyz[n, 2] + phase[2]) * inverse)
        out[n], _ = _find(i, j, k, table, ijk)
    return out


@njit(cache=True, nogil=True)
def _crowd(ijk, counts, table, reach, most):  # type: ignore[no-untyped-def]
    """Points around sparsely filled voxels; the count stops once it exceeds `most`."""
    out = np.full(len(ijk), -1, np.int64)
    for row in range(len(ijk)):
        if counts[row] > most:
            continue
        total = 0
        for a in range(-reach, reach + 1):
            for b in range(-reach, reach + 1):
                for c in range(-reach, reach + 1):
                    if total <= most:
                        near, _ = _find(ijk[row, 0] + a, ijk[row, 1] + b, ijk[row, 2] + c, table, ijk)
                        if near >= 0:
                            total += counts[near]
        out[row] = total
    return out
