"""Which points stand at exactly the same place as an earlier one?"""

from __future__ import annotations

import numpy as np
from numba import njit, prange
from numpy.typing import NDArray

PARTS = 2
"""The points are shared out by hash; each part is searched by one thread with a table of its own."""

MOST_ROWS = 24_000_000
"""Points searched at a time a part; larger clouds are searched in more rounds, so that the tables stay below half the size of
the points."""


def repeated(xyz: NDArray[np.float64]) -> NDArray[np.bool_]:
    """True where an earlier point has exactly the same three coordinates.

    Parameters
    ----------
    xyz : (n, 3) float64    Any unit; no NaN.
    """
    n = len(xyz)
    out = np.zeros(n, np.bool_)
    if n < 2:
        return out
    rounds = 1
    while n > MOST_ROWS * PARTS * rounds:
        rounds *= 2
    size = 1 << int(np.ceil(np.log2(max(1.7 * n / (PARTS * rounds), 16))))
    tables = np.empty((PARTS, size), np.uint64)
    for k in range(rounds):
        _mark(xyz, tables, k * PARTS, rounds * PARTS, out)
    return out


@njit(cache=True, nogil=True, inline="always")
def _mix(x, y, z):  # type: ignore[no-untyped-def]
    """A 64-bit hash of three floats' bits; + 0.0 makes the two zeros one."""
    h = np.uint64(np.float64(x + 0.0).view(np.uint64)) * np.uint64(0x9E3779B97F4A7C15)
    h ^= h >> np.uint64(32)
    h = (h ^ np.uint64(np.float64(y + 0.0).view(np.uint64))) * np.uint64(0xC2B2AE3D27D4EB4F)
    h ^= h >> np.uint64(29)
    h = (h ^ np.uint64(np.float64(z + 0.0).view(np.uint64))) * np.uint64(0x165667B19E3779F9)
    h ^= h >> np.uint64(32)
    return h * np.uint64(0xBF58476D1CE4E5B9)


@njit(cache=True, parallel=True, nogil=True)
def _mark(xyz, tables, first_part, parts, out):  # type: ignore[no-untyped-def]
    """Search each part of the points in order, so that the first of several at one place stays.

    A table entry holds 32 bits of the hash and the row + 1; zero is empty.
    """
    low = np.uint64(0xFFFFFFFF)
    for p in prange(tables.shape[0]):
        table = tables[p]
        table[:] = 0
        mask = np.uint64(len(table) - 1)
        wanted = np.uint64(first_part + p)
        of = np.uint64(parts - 1)
        for n in range(len(xyz)):
            h = _mix(xyz[n, 0], xyz[n, 1], xyz[n, 2])
            if (h >> np.uint64(58)) & of != wanted:
                continue
            tag = (h >> np.uint64(26)) << np.uint64(32)
            slot = h & mask
            while True:
                entry = table[slot]
                if entry == 0:
                    table[slot] = tag | np.uint64(n + 1)
                    break
                if entry & ~low == tag:
                    m = np.int64(entry & low) - 1
                    if xyz[m, 0] == xyz[n, 0] and xyz[m, 1] == xyz[n, 1] and xyz[m, 2] == xyz[n, 2]:
                        out[n] = True
                        break
                slot = (slot + np.uint64(1)) & mask
