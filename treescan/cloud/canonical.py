"""In which order, from which zero and on which grid is a scan worked on? In its own, so that the same scan
gives the same answer however its file lists it, wherever it lies and in whatever unit it came."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numba import njit, prange
from numpy.typing import NDArray

from treescan.arrays import Floats
from treescan.cloud.intake.local_points import bounds
from treescan.cloud.point_cloud import PointCloud

STEPS = (0.01, 0.005, 0.002, 0.001, 0.0005, 0.0002, 0.0001)
"""Grids that files in metres are written on, widest first; the last is taken where none is seen. [m]"""
OFF_GRID = 0.35
"""No point may lie farther from the grid than this share of a step, or it is not the file's: chance keeps
one point in it with 70 %, a thousand never. Coordinates that were written in feet to a thousandth stay
within it of a millimetre."""
OFF_HALVES = 0.1234567
"""Where no grid shows, the finest begins by this share of a step below the lowest point: finer decimals then
seldom lie halfway between two of its lines, where a breath decides."""
FEWEST = 1000
"""Fewer points than this show no grid."""
LOOKED_AT = 20_000
"""Points from which the start of the grid is taken."""
BITS = 21
"""Of each index in the key the points are ordered by."""


def canonical(cloud: PointCloud) -> PointCloud:
    """The same points in an order, from a zero and on a grid that depend on nothing but their places to one
    another.

    Parameters
    ----------
    cloud : PointCloud      Any order, any origin.

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
    widest = float(((high - zero) / step).max())
    coarser = max(0, int(widest).bit_length() - BITS)
    key = np.empty(len(xyz), np.uint64)
    _keys(xyz, zero, step, np.uint64(coarser), key)
    order = np.argsort(key, kind="stable")
    if coarser:
        _order_ties(xyz, zero, step, key, order)
    del key
    out, stays = np.empty((len(xyz), 3)), np.empty(len(xyz), np.bool_)
    _laid(xyz, order, zero, step, out, stays)
    columns = {name: _of_places(values, order, stays) for name, values in cloud.columns.items()}
    frame = replace(cloud.frame, origin=cloud.frame.origin + zero)
    out = out if stays.all() else out[stays]
    return PointCloud(out, frame, columns, cloud.source, cloud.notes, cloud.scanners - zero)


def _grid(xyz: Floats, axis: int, low: float) -> tuple[float, float]:
    """Step and start of the grid the coordinates along one axis lie on [m]; the finest from the lowest where
    none shows."""
    if len(xyz) >= FEWEST:
        few = xyz[:: max(1, len(xyz) // LOOKED_AT), axis] - low
        for step in STEPS:
            turn = np.exp(2j * np.pi * few / step).mean()
            start = low + float(np.angle(turn)) / (2 * np.pi) * step
            if _farthest(few - (start - low), step) <= OFF_GRID and _on_grid(xyz, axis, step, start):
                return step, start
    return STEPS[-1], low - OFF_HALVES * STEPS[-1]


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


@njit(cache=True, parallel=True, nogil=True)
def _keys(xyz, zero, step, coarser, key):  # type: ignore[no-untyped-def]
    """Place of every point along the curve (Z-order), after leaving the last `coarser` bits of its indices
    out."""
    for n in prange(len(xyz)):
        word = np.uint64(0)
        for k in range(3):
            i = np.uint64(max(np.round((xyz[n, k] - zero[k]) / step[k]), 0.0))
            word |= _spread(i >> coarser) << np.uint64(k)
        key[n] = word


def _order_ties(
    xyz: Floats, zero: Floats, step: Floats, key: NDArray[np.uint64], order: NDArray[np.int64]
) -> None:
    """Points with one key, ordered in place by their coordinates."""
    sorted_key = key[order]
    same = sorted_key[1:] == sorted_key[:-1]
    del sorted_key
    tied = np.zeros(len(order), np.bool_)
    tied[1:] |= same
    tied[:-1] |= same
    rows = order[tied]
    place = np.round((xyz[rows] - zero) / step)
    order[tied] = rows[np.lexsort((place[:, 2], place[:, 1], place[:, 0], key[rows]))]


def _of_places(values: NDArray, order: NDArray[np.int64], stays: NDArray[np.bool_]) -> NDArray:
    """A column in order, the lowest value of the points at each place."""
    picked = values[order[stays]]
    if len(picked) < len(values):
        place = np.cumsum(stays) - 1
        with np.errstate(invalid="ignore"):
            np.fmin.at(picked, place[~stays], values[order[~stays]])
    return picked


@njit(cache=True, parallel=True, nogil=True)
def _laid(xyz, order, zero, step, out, stays):  # type: ignore[no-untyped-def]
    """Points in their order, on the grid, from the zero; and which of them are not at the place of the one
    before."""
    for n in prange(len(order)):
        for k in range(3):
            out[n, k] = np.round((xyz[order[n], k] - zero[k]) / step[k]) * step[k]
    for n in prange(len(order)):
        stays[n] = n == 0 or not (
            out[n, 0] == out[n - 1, 0] and out[n, 1] == out[n - 1, 1] and out[n, 2] == out[n - 1, 2]
        )
