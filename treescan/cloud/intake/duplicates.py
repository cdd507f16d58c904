"""Which points stand at exactly the same place as an earlier one?

Two passes over a table of bits sort out the points that surely stand alone, which are most; only the rest are
compared with one another.
"""

from __future__ import annotations

import numpy as np
from numba import njit, prange
from numpy.typing import NDArray

PARTS = 2
"""The points are shared out by hash, each part to one thread with a table of its own."""

BITS = 16
"""Bits a point in the first table: about 6 % of the points fall on a bit by chance and go on to be
compared."""

ROUND = 30_000_000
"""Points compared at a time; more are compared in rounds, so that the tables stay far below the size of the
points."""


def repeated(xyz: NDArray[np.float64]) -> NDArray[np.bool_]:
    """True where an earlier point has exactly the same three coordinates.

    Parameters
    ----------
    xyz : (n, 3) float64    Any unit; no NaN.
    """
    out = np.zeros(len(xyz), np.bool_)
    out[copies(xyz)[0]] = True
    return out


def copies(xyz: NDArray[np.float64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Rows of the points that stand at exactly the place of an earlier one, and the row of the earliest
    there, two (c,).

    Parameters
    ----------
    xyz : (n, 3) float64    Any unit; no NaN.
    """
    n = len(xyz)
    if n < 2:
        return np.zeros(0, np.int64), np.zeros(0, np.int64)
    size = max(BITS * n // PARTS, 64)
    short = np.empty(n, np.uint32)
    _hash(xyz, short)
    maybe = np.zeros(n, np.bool_)
    _meet(
        short,
        np.zeros((PARTS, size // 8 + 1), np.uint8),
        np.zeros((PARTS, size // 8 + 1), np.uint8),
        size,
        maybe,
    )
    del short
    rows = np.flatnonzero(maybe)
    rounds = 1 + len(rows) // ROUND
    table = np.empty(max(int(1.7 * len(rows) / rounds), 16), np.uint64)
    first = np.full(len(rows), -1, np.int64)
    for k in range(rounds):
        _compare(xyz, rows, np.uint64(k), np.uint64(rounds), table, first)
    later = first >= 0
    return rows[later], first[later]


@njit(cache=True, nogil=True, inline="always")
def _mix(x, y, z):  # type: ignore[no-untyped-def]
    """A 64-bit hash of three floats' bits; + 0.0 makes the two zeros one."""
    h = np.uint64(np.float64(x + 0.0).view(np.uint64)) * np.uint64(0x9E3779B97F4A7C15)
    h ^= h >> np.uint64(32)
    h = (h ^ np.uint64(np.float64(y + 0.0).view(np.uint64))) * np.uint64(0xC2B2AE3D27D4EB4F)
    h ^= h >> np.uint64(29)
    h = (h ^ np.uint64(np.float64(z + 0.0).view(np.uint64))) * np.uint64(0x165667B19E3779F9)
    h ^= h >> np.uint64(32)
    h *= np.uint64(0xBF58476D1CE4E5B9)
    return h ^ (h >> np.uint64(29))


@njit(cache=True, nogil=True, inline="always")
def _within(h, size):  # type: ignore[no-untyped-def]
    """A hash spread evenly over 0 to size - 1, from its upper half."""
    return np.int64(((h >> np.uint64(32)) * np.uint64(size)) >> np.uint64(32))


@njit(cache=True, parallel=True, nogil=True)
def _hash(xyz, out):  # type: ignore[no-untyped-def]
    """The upper half of each point's hash."""
    for n in prange(len(xyz)):
        out[n] = np.uint32(_mix(xyz[n, 0], xyz[n, 1], xyz[n, 2]) >> np.uint64(32))


@njit(cache=True, parallel=True, nogil=True)
def _meet(short, seen, shared, size, maybe):  # type: ignore[no-untyped-def]
    """Mark the points that share their bit with another point; the lowest bit of the hash says which part
    looks at it."""
    wide = np.uint64(size)
    for p in prange(seen.shape[0]):
        mine, mine_shared = seen[p], shared[p]
        for n in range(len(short)):
            if np.int64(short[n] & np.uint32(1)) == p:
                at = (np.uint64(short[n] >> np.uint32(1)) * wide) >> np.uint64(31)
                word, bit = np.int64(at >> np.uint64(3)), np.uint8(1 << (at & np.uint64(7)))
                if mine[word] & bit:
                    mine_shared[word] |= bit
                else:
                    mine[word] |= bit
        for n in range(len(short)):
            if np.int64(short[n] & np.uint32(1)) == p:
                at = (np.uint64(short[n] >> np.uint32(1)) * wide) >> np.uint64(31)
                if mine_shared[np.int64(at >> np.uint64(3))] & np.uint8(1 << (at & np.uint64(7))):
                    maybe[n] = True


@njit(cache=True, nogil=True)
def _compare(xyz, rows, part, parts, table, first):  # type: ignore[no-untyped-def]
    """Enter points in order, so that the first of several at one place stays; later ones are given
    its row.

    A table entry holds 32 bits of the hash and the row + 1; zero is empty.
    """
    low = np.uint64(0xFFFFFFFF)
    table[:] = 0
    size = len(table)
    for r in range(len(rows)):
        n = rows[r]
        h = _mix(xyz[n, 0], xyz[n, 1], xyz[n, 2])
        if (h & low) % parts != part:
            continue
        tag = h << np.uint64(32)
        slot = _within(h, size)
        while True:
            entry = table[slot]
            if entry == 0:
                table[slot] = tag | np.uint64(n + 1)
                break
            if entry & ~low == tag:
                m = np.int64(entry & low) - 1
                if xyz[m, 0] == xyz[n, 0] and xyz[m, 1] == xyz[n, 1] and xyz[m, 2] == xyz[n, 2]:
                    first[r] = m
                    break
            slot += 1
            if slot == size:
                slot = 0
