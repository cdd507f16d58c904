"""Where do the points gather while a file streams by? Arrays that grow in place, or voxels when thinning."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numba import njit, prange
from numpy.typing import NDArray

from treescan.cloud.opened import COLUMN_TYPES


class LocalPoints:
    """Local points and their columns, with room made ahead where the number is known and doubled where
    not."""

    def __init__(self, room: int) -> None:
        """Reserve `room` points; pages of memory are taken only as they are filled."""
        self._xyz = np.empty((max(room, 1024), 3))
        self._columns: dict[str, NDArray] = {}
        self.used = 0

    def space(self, n: int) -> NDArray[np.float64]:
        """The next n rows, to be written by the caller and then kept with `keep`."""
        need = self.used + n
        if need > len(self._xyz):
            rows = max(need, len(self._xyz) + len(self._xyz) // 2)
            self._xyz.resize((rows, 3), refcheck=False)
        return self._xyz[self.used : need]

    def keep(self, mask: NDArray[np.bool_], columns: Mapping[str, NDArray]) -> NDArray[np.float64]:
        """Keep the rows of the last `space` the mask picks, with their columns; the kept rows."""
        begun, n = self.used, len(mask)
        every = bool(mask.all())
        kept = n if every else compact(self._xyz[begun : begun + n], mask)
        self.used += kept
        for name, values in columns.items():
            held = self._columns.get(name)
            if held is None:
                held = self._columns[name] = np.zeros(len(self._xyz), stored_type(name, values))
            if len(held) < self.used:
                held.resize(len(self._xyz), refcheck=False)
            picked = values if every else values[mask]
            with np.errstate(over="ignore", invalid="ignore"):  # beyond the column's type: infinite
                held[begun : self.used] = clipped(picked, held.dtype)
        return self._xyz[begun : self.used]

    def settle(self, later: NDArray[np.int64], first: NDArray[np.int64]) -> None:
        """Of points at one place (rows `later` at that of `first`) the first takes the lowest value of every
        column, so that what stays does not depend on their order."""
        for held in self._columns.values():
            with np.errstate(invalid="ignore"):
                np.fmin.at(held, first, held[later])

    def drop(self, mask: NDArray[np.bool_]) -> None:
        """Remove the points a mask (used,) picks."""
        if mask.any():
            stay = ~mask
            for name, held in self._columns.items():
                self._columns[name] = held[: self.used][stay]
            self.used = int(compact(self._xyz[: self.used], stay))

    def shift(self, by: NDArray[np.float64]) -> None:
        """Add a vector (3,) to every point."""
        if by.any():
            _shift(self._xyz[: self.used], by)

    @property
    def xyz(self) -> NDArray[np.float64]:
        """The points so far, (used, 3)."""
        return self._xyz[: self.used]

    def finished(self) -> tuple[NDArray[np.float64], dict[str, NDArray]]:
        """Points and columns, cut to length; unused room is given back. The object is empty afterwards."""
        self._xyz.resize((self.used, 3), refcheck=False)
        columns = {}
        for name, held in self._columns.items():
            if held.base is None and held.flags.owndata:
                held.resize(self.used, refcheck=False)
            columns[name] = held[: self.used]
        xyz, self._xyz, self._columns, self.used = self._xyz, np.empty((0, 3)), {}, 0
        return xyz, columns


def stored_type(name: str, values: NDArray) -> np.dtype:
    """Small whole numbers stay as they are, everything else becomes the type of its column."""
    return values.dtype if values.dtype in (np.uint8, np.uint16) else np.dtype(COLUMN_TYPES[name])


def clipped(values: NDArray, dtype: np.dtype) -> NDArray:
    """Values in a column's type; what does not fit becomes the nearest that does."""
    if values.dtype == dtype or dtype.kind == "f":
        return values
    info = np.iinfo(dtype)
    return np.clip(np.nan_to_num(values), info.min, info.max).astype(dtype)


def bounds(xyz: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Smallest and largest coordinate along each axis, two (3,); infinite for no points."""
    low, high = _bounds(xyz, 8)
    return low.min(axis=0), high.max(axis=0)


@njit(cache=True, parallel=True, nogil=True)
def _bounds(xyz, parts):  # type: ignore[no-untyped-def]
    """Bounds of each of several stretches of the points; numpy is ten times slower along the long axis."""
    low, high = np.full((parts, 3), np.inf), np.full((parts, 3), -np.inf)
    for p in prange(parts):
        for n in range(len(xyz) * p // parts, len(xyz) * (p + 1) // parts):
            for k in range(3):
                low[p, k] = min(low[p, k], xyz[n, k])
                high[p, k] = max(high[p, k], xyz[n, k])
    return low, high


@njit(cache=True, nogil=True)
def compact(xyz, stay):  # type: ignore[no-untyped-def]
    """Move the rows that stay to the front; how many there are."""
    k = 0
    for n in range(len(xyz)):
        if stay[n]:
            if k != n:
                xyz[k, 0], xyz[k, 1], xyz[k, 2] = xyz[n, 0], xyz[n, 1], xyz[n, 2]
            k += 1
    return k


@njit(cache=True, parallel=True, nogil=True)
def _shift(xyz, by):  # type: ignore[no-untyped-def]
    """Add a vector to every row."""
    for n in prange(len(xyz)):
        for k in range(3):
            xyz[n, k] += by[k]
