"""How does the ground go on where the scan shows none? Round a scan, and under a tree that was cut out
before."""

from __future__ import annotations

import numpy as np
from scipy import ndimage
from scipy.spatial import cKDTree

from treescan.arrays import Flags, Floats
from treescan.trees.beside import Terrain

UNSEEN_WEIGHT = 0.05
"""Weight of a cell that was not measured in the large-scale slope."""
STEEPEST_MEAN = 1.2
"""A mean slope steeper than this is not continued: level is taken. [m/m]"""
EDGE_WIDTH, MARGIN_WIDTH = 2.0, 3.0
"""Widths over which the edge, and then the margin, is smoothed. [m]"""
FADES, JOINS = 10.0, 1.5
"""Distances over which the edge's own shape fades into the slope, and over which the margin meets the edge.
[m]"""
PATCH_BAND = 1.0
"""Points so far over the lowest are looked at for a patch of ground. [m]"""
PATCH_CELL, PATCH_AREA, PATCH_WIDTH = 0.25, 0.8, 0.25
"""Cells a patch is counted in [m], the least area of one [m2], and the least spread across its narrow side
[m]."""
PATCH_ROUNDS, LEAST_PATCH_POINTS = 10, 20
ON_PATCH = 0.08
"""Points so close to the patch's plane belong to it. [m]"""
SUNK, MOST_SUNK = -0.12, 0.02
"""Points this far below the plane [m] deny a patch where their share is larger than the second figure:
something goes on underneath."""
STEEPEST_PATCH, LEAST_ON_PATCH = 1.0, 0.25
"""A patch is not steeper [m/m], and holds at least this share of the low points."""
PATCH_CONTINUED = 3.0
"""How far round the stem the plane of a patch is believed. [m]"""
LEVEL_CELL = 1.0
"""Cell of level ground under a cut-out tree. [m]"""


def patch_of_ground(xyz: Floats, lowest: float, level: Terrain) -> tuple[Terrain, float] | None:
    """The plane of a small patch of ground left round the stem, and how far it is continued [m]; None where
    there is no such patch.

    Parameters
    ----------
    xyz : (n, 3) float      [m, local]
    lowest : float          Height of the lowest supported point. [m]
    level : Terrain         The grid that is filled.
    """
    low = xyz[(xyz[:, 2] >= lowest) & (xyz[:, 2] < lowest + PATCH_BAND)]
    centre = np.append(np.median(low[:, :2], axis=0), 0.0)
    fit, keep, miss = _plane_of_patch(low, centre)
    plan = np.unique(np.floor(low[keep, :2] / PATCH_CELL), axis=0) * PATCH_CELL
    wide = len(plan) * PATCH_CELL**2 >= PATCH_AREA and np.linalg.eigvalsh(np.cov(plan.T))[0] > PATCH_WIDTH**2
    sunk = np.mean(miss < SUNK) > MOST_SUNK
    if not wide or sunk or np.hypot(*fit[:2]) > STEEPEST_PATCH or keep.mean() < LEAST_ON_PATCH:
        return None
    rows, cols = level.height.shape
    y, x = np.mgrid[0:rows, 0:cols] + 0.5
    d = np.stack([x, y], axis=-1) * level.cell + level.corner - centre[:2]
    away = np.linalg.norm(d, axis=-1)
    height = fit[2] + (d @ fit[:2]) * np.minimum(1.0, PATCH_CONTINUED / np.maximum(away, 1e-9))
    near = cKDTree(plan).query(d + centre[:2])[0] < level.cell
    return Terrain(height, level.corner, level.cell, near), PATCH_CONTINUED


def _plane_of_patch(low: Floats, centre: Floats) -> tuple[Floats, Flags, Floats]:
    """Plane (a, b, c) about a centre that low points gather round, which of them lie on it, and how far each
    is off. [m]"""
    keep = np.ones(len(low), bool)
    fit = np.array([0.0, 0.0, float(np.median(low[:, 2]))])
    a = np.column_stack([low[:, :2] - centre[:2], np.ones(len(low))])
    for _ in range(PATCH_ROUNDS):
        if keep.sum() < LEAST_PATCH_POINTS:
            break
        fit = np.linalg.lstsq(a[keep], low[keep, 2], rcond=None)[0]
        keep = np.abs(low[:, 2] - a @ fit) < ON_PATCH
    return fit, keep, low[:, 2] - a @ fit


def level_at_stem(xyz: Floats, height: float, reach: float) -> Terrain:
    """Level ground at a height under a cut-out tree (n, 3), reaching so far beyond it. [m]"""
    half = max(np.ptp(xyz[:, 0]), np.ptp(xyz[:, 1])) / 2 + reach
    return Terrain.flat(
        height, (xyz[:, :2].min(axis=0) + xyz[:, :2].max(axis=0)) / 2, float(np.ceil(half)), LEVEL_CELL
    )


def continued(t: Terrain, reach: float) -> Terrain:
    """The same terrain with a margin around it: the smoothed edge continued along the large-scale slope,
    flagged not measured."""
    n = round(reach / t.cell)
    if n == 0:
        return t
    rows, cols = t.height.shape
    y, x = np.mgrid[0:rows, 0:cols].astype(float)
    w = np.where(t.measured, 1.0, UNSEEN_WEIGHT)
    a = np.stack([x.ravel(), y.ravel(), np.ones(x.size)], axis=1)
    sw = w.ravel()
    fit = np.linalg.lstsq(a * sw[:, None], t.height.ravel() * sw, rcond=None)[0]
    if not t.measured.any() or np.hypot(*fit[:2]) > STEEPEST_MEAN * t.cell:
        fit = np.array([0.0, 0.0, float(np.median(t.height))])
    trend = (a @ fit).reshape(rows, cols)
    left = np.pad(
        ndimage.gaussian_filter(t.height - trend, EDGE_WIDTH / t.cell, mode="nearest"), n, mode="edge"
    )
    left = ndimage.gaussian_filter(left, MARGIN_WIDTH / t.cell, mode="nearest")
    yy, xx = np.mgrid[-n : rows + n, -n : cols + n].astype(float)
    away = (
        np.hypot(np.maximum(np.maximum(-xx, xx - cols + 1), 0), np.maximum(np.maximum(-yy, yy - rows + 1), 0))
        * t.cell
    )
    height = fit[0] * xx + fit[1] * yy + fit[2] + left * np.exp(-away / FADES)
    near = (
        np.pad(t.height, n, mode="edge") - np.pad(trend, n, mode="edge") + fit[0] * xx + fit[1] * yy + fit[2]
    )
    height += np.exp(-away / JOINS) * (near - height)
    height[n : n + rows, n : n + cols] = t.height
    return Terrain(height, t.corner - n * t.cell, t.cell, np.pad(t.measured, n, constant_values=False))
