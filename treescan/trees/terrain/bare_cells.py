"""Which cells of the grid hold bare ground as their lowest point? Crowns, walls, cars, shrubs and echoes from
below fall away."""

from __future__ import annotations

import numpy as np
from scipy import ndimage
from scipy.spatial import cKDTree

from treescan.arrays import Flags, Floats
from treescan.trees.settings import TerrainSettings
from treescan.trees.terrain.surface import filled

LEAST_FITTED = 6
"""Cells below which no plane is fitted."""
PLANE_ROUNDS = 20
BAND, LEAST_BAND = 1.5, 0.05
"""Points over the plane by more than this many median deviations, plus the second figure [m], are no ground;
below, four times that."""
STEEPEST_MEAN = 1.2
"""A mean slope steeper than this is no ground: level is taken. [m/m]"""
STRAY_DEPTH, STRAY_WINDOW, LOWER_QUARTER = 0.6, 5, 25
"""A cell so far below [m] the lower quarter [%] of those round it, in a window of so many cells, is an echo
from under the ground,"""
MOST_STRAYS = 0.25
"""unless more than this share of the window is."""
NOWHERE = 1e6
"""Height of an unseen cell when cells are ranked. [m]"""
CUT, CUT_SLOPE, CUT_REACH = 0.15, 0.25, 4.0
"""Opening cuts what stands out by the first [m], plus the second times the steepest slope over the window, at
most the third. [m/m]"""
WINDOW_GROWTH = 1.7
BUMP_WIDTH = 1.6
"""Width of the mean that bumps are held against. [m]"""
BUMPS = (1.2, 0.8, 0.5, 0.35, 0.35, 0.35)
"""Heights over that mean from which on a cell goes, round by round. [m]"""
LEAST_AREA, LEAST_CELLS = 3.0, 12
"""Less ground than this is none. [m2, cells]"""
ROUND_ABOUT = 13
"""Cells of a neighbourhood, itself included."""
ROUGH, ROUGH_CLASSED, ROUGH_BY_CELL = 0.10, 0.25, 0.03
"""Ground lies in one plane within the first [m], or the second where the file classes it, plus the third for
each metre of cell."""
UPRIGHT, LEAST_GOOD = 0.7, 0.35
"""The normal of a patch of ground points up by this much; so large a share of patches must be good."""


def mean_plane(at: Floats, low: Floats) -> Floats:
    """Plane a x + b y + c under most of the lowest points: least squares, again and again on those not far
    above it."""
    ok = np.isfinite(low)
    p, z = at[ok], low[ok]
    centre = p.mean(axis=0)
    a = np.column_stack([p - centre, np.ones(len(p))])
    if len(z) < LEAST_FITTED:
        return np.array([0.0, 0.0, float(z.min()) if len(z) else 0.0])
    keep = np.ones(len(z), bool)
    fit = np.array([0.0, 0.0, float(np.median(z))])
    for _ in range(PLANE_ROUNDS):
        fit = np.linalg.lstsq(a[keep], z[keep], rcond=None)[0]
        miss = z - a @ fit
        spread = BAND * np.median(np.abs(miss[keep])) + LEAST_BAND
        again = (miss < spread) & (miss > -4 * spread)
        if again.sum() < LEAST_FITTED or np.array_equal(again, keep):
            break
        keep = again
    if np.hypot(*fit[:2]) > STEEPEST_MEAN:
        fit = np.array([0.0, 0.0, float(np.median(z))])
    return np.array([fit[0], fit[1], fit[2] - fit[:2] @ centre])


def without_strays(flat: Floats) -> Floats:
    """Cells far below all their surroundings are echoes from under the ground: taken out."""
    filled = np.where(np.isfinite(flat), flat, np.inf)
    rank = ndimage.percentile_filter(
        np.where(np.isfinite(flat), flat, NOWHERE), LOWER_QUARTER, size=STRAY_WINDOW, mode="nearest"
    )
    lone = filled < rank - STRAY_DEPTH
    lone &= ndimage.uniform_filter(lone.astype(float), STRAY_WINDOW, mode="nearest") < MOST_STRAYS
    return np.where(lone | ~np.isfinite(flat), np.nan, flat)


def bare_cells(flat: Floats, cell: float, settings: TerrainSettings, *, already_ground: bool) -> Flags:
    """Cells (rows, cols) whose lowest point is bare ground.

    Parameters
    ----------
    flat : (rows, cols) float   Lowest points without the mean slope, NaN = unseen. [m]
    cell : float                [m]
    already_ground : bool       The points were classed as ground: nothing wide needs to be cut off.
    """
    return _without_bumps(flat, _opened(flat, cell, settings, already_ground=already_ground), cell)


def _opened(flat: Floats, cell: float, settings: TerrainSettings, *, already_ground: bool) -> Flags:
    """Cells whose lowest point stays when things narrower than growing windows are cut off."""
    ok = np.isfinite(flat)
    if already_ground or not ok.any():
        return ok
    z = filled(flat)
    size, last = 1, max(1, round(settings.widest_object / cell))
    while True:
        pad = size + 1
        wide = np.pad(z, pad, mode="reflect" if min(z.shape) > pad else "edge")
        window = 2 * size + 1
        opened = ndimage.grey_opening(wide, size=(window, window))[pad:-pad, pad:-pad]
        rough = CUT + CUT_SLOPE * min(settings.steepest * size * cell, CUT_REACH)
        cut = z - opened > rough
        ok &= ~cut
        z = np.where(cut, opened, z)
        if size >= last:
            break
        size = min(last, max(size + 1, round(size * WINDOW_GROWTH)))
    return ok


def _without_bumps(flat: Floats, bare: Flags, cell: float) -> Flags:
    """Kept cells that stand out above the mean of the kept ones around them (shrubs, low crowns) go, the
    highest first."""
    sigma = BUMP_WIDTH / cell
    for limit in BUMPS:
        w = ndimage.gaussian_filter(bare.astype(float), sigma, mode="constant")
        mean = ndimage.gaussian_filter(np.where(bare, flat, 0.0), sigma, mode="constant") / np.maximum(
            w, 1e-9
        )
        bare = bare & ~(np.where(bare, flat, -np.inf) - mean > limit)
    return bare


def lie_like_ground(flat: Floats, cell: float, classed: bool) -> bool:
    """True when enough cells lie in one plane with their neighbours, as ground does and the underside of a
    crown does not."""
    rows, cols = np.nonzero(np.isfinite(flat))
    if len(rows) * cell**2 < LEAST_AREA or len(rows) < LEAST_CELLS:
        return False
    p = np.column_stack([cols * cell, rows * cell, flat[rows, cols]])
    _, near = cKDTree(p[:, :2]).query(p[:, :2], k=min(ROUND_ABOUT, len(p)))
    q = p[near] - p[near].mean(axis=1, keepdims=True)
    value, vector = np.linalg.eigh(np.einsum("nki,nkj->nij", q, q) / q.shape[1])
    rms, steep = np.sqrt(np.maximum(value[:, 0], 0)), np.abs(vector[:, 2, 0])
    good = (rms < (ROUGH_CLASSED if classed else ROUGH) + ROUGH_BY_CELL * cell) & (steep > UPRIGHT)
    return bool(good.sum() * cell**2 >= LEAST_AREA and good.mean() > LEAST_GOOD)
