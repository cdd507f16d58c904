"""In which order, from which zero and on which grid is a scan worked on? In its own, so that the same scan
gives the same answer however its file lists it, wherever it lies and in whatever unit it came."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numba import njit, prange
from numpy.typing import NDArray

from treescan.arrays import Floats
from treescan.cloud.intake.local_points import bounds, compact
from treescan.cloud.point_cloud import PointCloud
from treescan.units import FOOT_M, US_SURVEY_FOOT_M

SHARES = (0.01, 0.005, 0.003, 0.002, 0.001, 0.0005, 0.00025, 0.0002, 0.0001)
"""Of a unit, the grids that files are written on."""
FINEST = SHARES[-1]
"""Taken where no grid is seen. [m]"""
STEPS = tuple(
    steps
    for steps in sorted(
        [(s,) for s in SHARES] + [(s * FOOT_M, s * US_SURVEY_FOOT_M) for s in SHARES], reverse=True
    )
    if steps[0] >= FINEST
)
"""Grids that are looked for, in metres and feet, widest first; of the two feet, which hardly differ, the one
that agrees better. [m]"""
OFF_GRID = 0.35
"""No point may lie farther from the grid than this share of a step, or it is not the file's: chance keeps
one point in it with 70 %, a thousand never. Coordinates that were written in feet to a thousandth stay
within it of a millimetre."""
ALIKE = 0.4
"""Length of the mean of all offsets from the grid, each a turn of the step round a circle, below which the
offsets do not agree: a third of a step apart, as those of a third of the step, they come to nothing."""
OFF_HALVES = 0.1234567
"""Where no grid shows, the finest begins by this share of a step below the lowest point: finer decimals then
seldom lie halfway between two of its lines, where a breath decides."""
FEWEST = 1000
"""Fewer points than this show no grid."""
LOOKED_AT = 20_000
"""Points from which the start of the grid is taken."""
BITS = 21
"""Of each index in the key the points are ordered by."""
STRETCH_BITS = 7
"""Of each index, at most, in the stretch of the curve a point is shared out to: two million stretches."""


def canonical(cloud: PointCloud, *, in_place: bool = False) -> PointCloud:
    """The same points in an order, from a zero and on a grid that depend on nothing but their places to one
    another.

    Parameters
    ----------
    cloud : PointCloud      Any order, any origin.
    in_place : bool         Nobody needs the cloud any more: its own arrays are put in order, so that memory
                            does not grow by a second cloud, and the cloud given is worth nothing afterwards.

    Returns
    -------
    PointCloud              Zero of its local metres is the lowest corner of the points; coordinates are whole
                            multiples of the step the file was written with (0.1 mm where none shows, so that
                            no point moves by more than 0.05 mm; by less than 0.35 steps else); ordered along
                            a space-filling curve; points at one place are one, with the lowest value of
                            every column. Map coordinates stay.
    """
    xyz = cloud.xyz
    if not len(xyz):
        return cloud
    low, high = bounds(xyz)
    step, start = np.array([_grid(xyz, k, float(low[k])) for k in range(3)]).T
    zero = start + np.round((low - start) / step) * step
    order = _order(xyz, zero, step, float(((high - zero) / step).max()))
    out = _writable(xyz) if in_place else np.empty_like(xyz)
    axis = np.empty(len(xyz))
    for k in range(3):
        _along(xyz, order, k, zero[k], step[k], axis)
        out[:, k] = axis
    del axis
    stays = _first_there(out)
    columns = {name: _of_places(values, order, stays, in_place) for name, values in cloud.columns.items()}
    frame = replace(cloud.frame, origin=cloud.frame.origin + zero)
    if not stays.all():
        out = out[: compact(out, stays)]
    return PointCloud(out, frame, columns, cloud.source, cloud.notes, cloud.scanners - zero)


def _writable(xyz: Floats) -> Floats:
    """The same memory to be written to; a copy where it is somebody else's."""
    own = xyz.view()
    try:
        own.flags.writeable = True
    except ValueError:
        own = xyz.copy()
    return own


def _grid(xyz: Floats, axis: int, low: float) -> tuple[float, float]:
    """Step and start of the grid the coordinates along one axis lie on [m]; the finest from the lowest where
    none shows."""
    if len(xyz) >= FEWEST:
        few = xyz[:: max(1, len(xyz) // LOOKED_AT), axis] - low
        for steps in STEPS:
            turn, step = max(((_turn(few, s), s) for s in steps), key=lambda t: abs(t[0]))
            start = low + float(np.angle(turn)) / (2 * np.pi) * step
            if abs(turn) < ALIKE:
                continue
            if _farthest(few - (start - low), step) <= OFF_GRID and _on_grid(xyz, axis, step, start):
                return step, start
    return FINEST, low - OFF_HALVES * FINEST


def _turn(values: Floats, step: float) -> complex:
    """Mean of the offsets from the multiples of a step, each a turn of the step round a circle."""
    return complex(np.exp(2j * np.pi * values / step).mean())


def _farthest(values: Floats, step: float) -> float:
    """Largest distance from a multiple of the step, in steps."""
    steps = values / step
    return float(np.abs(steps - np.round(steps)).max())


@njit(cache=True, parallel=True, nogil=True)
def _on_grid(xyz, axis, step, start):  # type: ignore[no-untyped-def]
    """Whether every point lies within `OFF_GRID` of the grid along an axis."""
    off = 0
    for n in prange(len(xyz)):
        at = (xyz[n, axis] - start) / step
        if abs(at - np.round(at)) > OFF_GRID:
            off += 1
    return off == 0


@njit(cache=True, nogil=True, inline="always")
def _spread(i):  # type: ignore[no-untyped-def]
    """The 21 bits of an index, two zeros between each and the next."""
    i = i & np.uint64(0x1FFFFF)
    i = (i | (i << np.uint64(32))) & np.uint64(0x1F00000000FFFF)
    i = (i | (i << np.uint64(16))) & np.uint64(0x1F0000FF0000FF)
    i = (i | (i << np.uint64(8))) & np.uint64(0x100F00F00F00F00F)
    i = (i | (i << np.uint64(4))) & np.uint64(0x10C30C30C30C30C3)
    return (i | (i << np.uint64(2))) & np.uint64(0x1249249249249249)


@njit(cache=True, nogil=True, inline="always")
def _key(xyz, n, zero, step, coarser):  # type: ignore[no-untyped-def]
    """Place of a point along the curve (Z-order), after leaving the last `coarser` bits of its indices out."""
    word = np.uint64(0)
    for k in range(3):
        i = np.uint64(max(np.round((xyz[n, k] - zero[k]) / step[k]), 0.0))
        word |= _spread(i >> coarser) << np.uint64(k)
    return word


def _order(xyz: Floats, zero: Floats, step: Floats, widest: float) -> NDArray:
    """Rows of the points along the curve, those with one key by their coordinates, (n,): shared out to
    stretches of the curve first, then ordered within each, so that no key is kept.

    Parameters
    ----------
    widest : float          Steps from the zero to the farthest point along any axis.
    """
    bits = int(widest).bit_length()
    coarser = max(0, bits - BITS)
    level = min(STRETCH_BITS, max(1, len(xyz).bit_length() // 3), max(bits - coarser, 1))
    shift = 3 * max(bits - coarser - level, 0)
    start = np.zeros(8**level + 1, np.int64)
    order: NDArray = np.empty(len(xyz), np.uint32 if len(xyz) < 1 << 32 else np.uint64)
    _share_out(xyz, zero, step, np.uint64(coarser), np.uint64(shift), start, order)
    _within(xyz, zero, step, np.uint64(coarser), start, order)
    return order


@njit(cache=True, nogil=True)
def _share_out(xyz, zero, step, coarser, shift, start, order):  # type: ignore[no-untyped-def]
    """Rows by the stretch of the curve they lie on; `start` tells where each stretch begins."""
    for n in range(len(xyz)):
        start[np.int64(_key(xyz, n, zero, step, coarser) >> shift) + 1] += 1
    for s in range(1, len(start)):
        start[s] += start[s - 1]
    at = start[:-1].copy()
    for n in range(len(xyz)):
        own = np.int64(_key(xyz, n, zero, step, coarser) >> shift)
        order[at[own]] = n
        at[own] += 1


@njit(cache=True, parallel=True, nogil=True)
def _within(xyz, zero, step, coarser, start, order):  # type: ignore[no-untyped-def]
    """Rows of every stretch by key, and by coordinates where keys were cut short."""
    for s in prange(len(start) - 1):
        a, b = start[s], start[s + 1]
        if b - a > 1:
            rows = order[a:b].copy()
            key = np.empty(b - a, np.uint64)
            for j in range(b - a):
                key[j] = _key(xyz, rows[j], zero, step, coarser)
            by_key = np.argsort(key, kind="mergesort")
            for j in range(b - a):
                order[a + j] = rows[by_key[j]]
            if coarser > 0:
                j = 0
                while j < b - a:
                    end = j + 1
                    while end < b - a and key[by_key[end]] == key[by_key[j]]:
                        end += 1
                    if end - j > 1:
                        _by_place(xyz, zero, step, order[a + j : a + end])
                    j = end


@njit(cache=True, nogil=True)
def _by_place(xyz, zero, step, rows):  # type: ignore[no-untyped-def]
    """Rows put in order, in place: by x, then y, then z."""
    at = np.empty(len(rows))
    for back in range(3):
        k = 2 - back
        for j in range(len(rows)):
            at[j] = np.round((xyz[rows[j], k] - zero[k]) / step[k])
        held = rows[np.argsort(at, kind="mergesort")]
        for j in range(len(rows)):
            rows[j] = held[j]


def _of_places(
    values: NDArray, order: NDArray, stays: NDArray[np.bool_], in_place: bool
) -> NDArray:
    """A column in order, the lowest value of the points at each place; in its own memory where asked for."""
    picked = values[order]
    if not stays.all():
        place = np.cumsum(stays) - 1
        lowest = picked[stays]
        with np.errstate(invalid="ignore"):
            np.fmin.at(lowest, place[~stays], picked[~stays])
        picked = lowest
    if in_place and values.flags.writeable:
        values[: len(picked)] = picked
        return values[: len(picked)]
    return picked


@njit(cache=True, parallel=True, nogil=True)
def _along(xyz, order, k, zero, step, out):  # type: ignore[no-untyped-def]
    """Coordinates along one axis in order, on the grid, from the zero."""
    for n in prange(len(order)):
        out[n] = np.round((xyz[order[n], k] - zero) / step) * step


@njit(cache=True, parallel=True, nogil=True)
def _first_there(xyz):  # type: ignore[no-untyped-def]
    """True for points that are not at the place of the one before."""
    out = np.empty(len(xyz), np.bool_)
    for n in prange(len(xyz)):
        out[n] = n == 0 or not (
            xyz[n, 0] == xyz[n - 1, 0] and xyz[n, 1] == xyz[n - 1, 1] and xyz[n, 2] == xyz[n - 1, 2]
        )
    return out
