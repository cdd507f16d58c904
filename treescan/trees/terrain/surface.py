"""How does the ground run through its bare cells? Unseen cells filled, then the surface moved onto the points
close to it."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy import ndimage

from treescan.arrays import Flags, Floats
from treescan.trees.terrain.height_grid import Grid, heights_above_grid

SMALL_GRID = 8
"""Grids this narrow are filled from the nearest seen cell."""
RELAXATIONS = 30
OVER_SURFACE = 1.0
"""Points higher than this over the highest of the surface take no part. [m]"""
BANDS = ((0.5, 0.3), (0.2, 0.12), (0.12, 0.08))
"""Below and above the surface, round by round: points in the band move it. [m]"""
LOWER_MIDDLE = 0.4
"""Quantile of the offsets of a cell it is moved by: grass and litter lie above the ground."""
LEAST_IN_BAND = 3
"""Points a cell needs to count as measured."""
BLOCK = 1_000_000
"""Points looked at together."""


def filled(flat: Floats) -> Floats:
    """Unseen cells filled smoothly from their surroundings (membrane), by relaxing on ever finer grids."""
    ok = np.isfinite(flat)
    if ok.all() or not ok.any():
        return np.where(ok, flat, 0.0)
    if min(flat.shape) > SMALL_GRID:
        rows, cols = (-(-s // 2) for s in flat.shape)
        pad = np.full((rows * 2, cols * 2), np.nan)
        pad[: flat.shape[0], : flat.shape[1]] = flat
        blocks = pad.reshape(rows, 2, cols, 2)
        count = np.isfinite(blocks).sum(axis=(1, 3))
        half = np.where(count > 0, np.nansum(blocks, axis=(1, 3)) / np.maximum(count, 1), np.nan)
        start = ndimage.zoom(filled(half), 2, order=1, mode="nearest", grid_mode=True)[
            : flat.shape[0], : flat.shape[1]
        ]
    else:
        index = ndimage.distance_transform_edt(~ok, return_distances=False, return_indices=True)
        start = flat[tuple(index)]
    z = np.where(ok, flat, start)
    for _ in range(RELAXATIONS):
        p = np.pad(z, 1, mode="edge")
        z = np.where(ok, flat, (p[:-2, 1:-1] + p[2:, 1:-1] + p[1:-1, :-2] + p[1:-1, 2:]) / 4)
    return z


def settled(used: Floats, plane: Floats, surface: Floats, grid: Grid) -> tuple[Floats, Flags]:
    """The surface moved onto the points close to it (median offset per cell), three times in a narrowing
    band; and where there were such points."""
    p = _low_over(used, plane, np.nanmax(surface) + OVER_SURFACE)
    seen = np.zeros(grid.shape, bool)
    for band_low, band_high in BANDS:
        over = heights_above_grid(p, surface, grid.corner, grid.cell)
        over[(over <= -band_low) | (over >= band_high)] = np.nan
        offset, seen = _quantile_by_cell(p, over, grid, LOWER_MIDDLE)
        surface = (
            filled(np.where(seen, surface + np.where(seen, offset, 0.0), np.nan)) if seen.any() else surface
        )
        surface = _smoothed(surface, seen)
    return surface, seen


def _low_over(xyz: Floats, plane: Floats, top: float) -> Floats:
    """Points lower than `top` over a plane, their heights taken from it, (m, 3). [m]"""
    heights = (b[:, 2] - (b[:, :2] @ plane[:2] + plane[2]) for b in _blocks(xyz))
    low = np.concatenate([height < top for height in heights])
    out, done = np.empty((np.count_nonzero(low), 3)), 0
    for b, keep in zip(_blocks(xyz), _blocks(low), strict=True):
        p = b[keep]
        out[done : done + len(p), :2] = p[:, :2]
        out[done : done + len(p), 2] = p[:, 2] - (p[:, :2] @ plane[:2] + plane[2])
        done += len(p)
    return out


def _blocks(values: NDArray) -> list[NDArray]:
    """Stretches of an array."""
    return [values[a : a + BLOCK] for a in range(0, len(values), BLOCK)]


def _quantile_by_cell(p: Floats, value: Floats, grid: Grid, quantile: float) -> tuple[Floats, Flags]:
    """A quantile of a value (NaN: none) per cell (rows, cols), and which cells have at least three values."""
    rows, cols = grid.shape
    out, count = _by_cell(p, value, grid.corner, grid.cell, rows, cols, quantile)
    return out.reshape(rows, cols), (count >= LEAST_IN_BAND).reshape(rows, cols)


@njit(cache=True, nogil=True)
def _by_cell(p, value, corner, cell, rows, cols, quantile):  # type: ignore[no-untyped-def]
    """The quantile in every cell, NaN in an empty one, and how many values it has."""
    of = np.full(len(p), -1, np.int32)
    count = np.zeros(rows * cols, np.int64)
    for n in range(len(p)):
        if value[n] == value[n]:
            c = min(max(int((p[n, 0] - corner[0]) / cell), 0), cols - 1)
            r = min(max(int((p[n, 1] - corner[1]) / cell), 0), rows - 1)
            of[n] = r * cols + c
            count[of[n]] += 1
    first = np.cumsum(count) - count
    at = first.copy()
    held = np.empty(count.sum())
    for n in range(len(p)):
        if of[n] >= 0:
            held[at[of[n]]] = value[n]
            at[of[n]] += 1
    out = np.full(rows * cols, np.nan)
    for k in range(rows * cols):
        if count[k]:
            own = np.sort(held[first[k] : first[k] + count[k]])
            out[k] = own[int(count[k] * quantile)]
    return out, count


def _smoothed(z: Floats, seen: Flags) -> Floats:
    """Light smoothing that keeps slopes: a seen cell moves a third of the way to the mean of its neighbours,
    an unseen one all the way."""
    p = np.pad(z, 1, mode="reflect", reflect_type="odd") if min(z.shape) > 1 else np.pad(z, 1, mode="edge")
    mean = (p[:-2, 1:-1] + p[2:, 1:-1] + p[1:-1, :-2] + p[1:-1, 2:]) / 4
    return z + np.where(seen, 1 / 3, 1.0) * (mean - z)
