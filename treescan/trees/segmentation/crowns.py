"""Where do trees stand when the scan has no stems? Tops of the canopy seen from above, and the densest
upright column under each."""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from treescan.arrays import Floats, Ints, Ints32
from treescan.trees.beside import Terrain
from treescan.trees.segmentation.stems import Stem
from treescan.trees.terrain.height_grid import heights_above

LEAST_HEIGHT = 3.0
"""Lower things are not looked at as trees from above. [m]"""
PEAK_SHARE = 0.6
"""Part of that height a peak of the smoothed canopy must have."""
PEAK_BLUR, BASIN_BLUR = 0.7, 0.5
"""Widths the canopy height is smoothed by before peaks, and before basins, are looked for. [m]"""
WINDOW, WINDOW_GROWTH = 1.2, 0.12
"""A peak is the highest within the first [m], plus the second times its height."""
DEPTHS = 65000
"""Steps of the upturned canopy height."""
LOW_PART, WIDE, WIDER = 0.25, 1.0, 0.5
"""What is lower than this part of its crown's height is low vegetation; a crown reaches the second [m], plus
the third times its height."""
KNEE, CROWN_BASE = 0.6, 0.45
"""A stem is looked for from the first height [m] up to this part of the crown's."""
LAYER, LAYER_SHARE, COLUMN = 0.3, 0.02, 0.5
"""Layers are this thick [m], or this part of the crown's height where that is more; columns are so wide
[m]."""
LEAST_POINTS, LEAST_LAYERS, LEAST_LAYER_SHARE = 8, 3, 0.3
"""Points without which no column is looked for; layers, and share of all layers, that a column must hold."""
NEAREST_CELLS = 1.5
"""The highest point of a peak is looked for within so many cells."""


def crown_tops(xyz: Floats, above: Floats, cell: float) -> Floats:
    """Highest point (t, 3) of every crown: peaks of the smoothed canopy height that stay highest within a
    window growing with their height.

    Parameters
    ----------
    xyz : (n, 3), above : (n,)      Points and their heights above the ground. [m]
    cell : float                    Plan cell of the canopy height. [m]
    """
    low = xyz[:, :2].min(axis=0)
    c = ((xyz[:, :2] - low) / cell).astype(np.int64)
    shape = tuple(c.max(axis=0) + 1)
    canopy = np.zeros(shape)
    np.maximum.at(canopy, (c[:, 0], c[:, 1]), above)
    smooth = ndimage.gaussian_filter(ndimage.grey_closing(canopy, size=3), PEAK_BLUR / cell, mode="constant")
    peak = (ndimage.maximum_filter(smooth, size=3) == smooth) & (smooth > PEAK_SHARE * LEAST_HEIGHT)
    peak &= canopy.max() > LEAST_HEIGHT
    rows = np.argwhere(peak)
    rows = rows[np.argsort(-smooth[peak], kind="stable")]
    kept: list[Ints] = []
    for row in rows:
        window = WINDOW + WINDOW_GROWTH * smooth[tuple(row)]
        if all(np.hypot(*(row - k)) * cell > window for k in kept):
            kept.append(row)
    tops = [xyz[_highest(xyz, above, low, row, cell)] for row in kept]
    return np.array(tops).reshape(-1, 3)


def crown_of(xyz: Floats, above: Floats, tops: Floats, cell: float) -> Ints32:
    """Crown every point lies in, (n,): basins of the upturned canopy height round each top; -1 under low
    vegetation and far from any top.

    Parameters
    ----------
    xyz : (n, 3), above : (n,)      Points and their heights above the ground. [m]
    tops : (t, 3)                   From `crown_tops`. [m]
    cell : float                    Plan cell of the canopy height. [m]
    """
    low = xyz[:, :2].min(axis=0)
    c = ((xyz[:, :2] - low) / cell).astype(np.int64)
    shape = tuple(c.max(axis=0) + 1)
    canopy = np.zeros(shape)
    np.maximum.at(canopy, (c[:, 0], c[:, 1]), above)
    smooth = ndimage.gaussian_filter(ndimage.grey_closing(canopy, size=3), BASIN_BLUR / cell, mode="constant")
    t = np.clip(((tops[:, :2] - low) / cell).astype(np.int64), 0, np.array(shape) - 1)
    marker = np.zeros(shape, np.int32)
    marker[t[:, 0], t[:, 1]] = np.arange(1, len(tops) + 1)
    upturned = (DEPTHS * (1.0 - smooth / max(smooth.max(), 1e-9))).astype(np.uint16)
    basin = ndimage.watershed_ift(upturned, marker, structure=np.ones((3, 3), int)) - 1
    high = canopy[t[:, 0], t[:, 1]]
    of = basin[c[:, 0], c[:, 1]].astype(np.int32)
    known = np.maximum(of, 0)
    away = np.hypot(*(xyz[:, :2] - tops[known, :2]).T)
    inside = (of >= 0) & (canopy[c[:, 0], c[:, 1]] > LOW_PART * high[known])
    inside &= away < WIDE + WIDER * high[known]
    return np.where(inside, of, -1).astype(np.int32)


def _highest(xyz: Floats, above: Floats, low: Floats, row: Ints, cell: float) -> int:
    near = np.all(np.abs(xyz[:, :2] - (low + (row + 0.5) * cell)) < NEAREST_CELLS * cell, axis=1)
    i = np.nonzero(near)[0]
    return int(i[np.argmax(above[i])]) if len(i) else int(np.argmax(above))


def stem_under(top: Floats, xyz: Floats, above: Floats, terrain: Terrain) -> Stem:
    """The likeliest foot of a crown: the upright column with points in the most layers under it, else
    straight below the crown's middle.

    Parameters
    ----------
    top : (3,) float        Highest point of the crown. [m]
    xyz, above              Points of this crown and their heights above the ground. [m]
    """
    height = max(float(heights_above(terrain, top[None])[0]), 1.0)
    low = (above > KNEE) & (above < CROWN_BASE * height)
    step = max(LAYER, LAYER_SHARE * height)
    upper = above > 0.5 * height
    foot, layers = np.median(xyz[upper, :2], axis=0) if np.any(upper) else top[:2], 0
    if low.sum() >= LEAST_POINTS:
        p, h = xyz[low, :2], above[low]
        c = np.floor(p / COLUMN).astype(np.int64)
        k = np.floor(h / step).astype(np.int64)
        cells, of = np.unique(c, axis=0, return_inverse=True)
        seen = np.zeros((len(cells), k.max() + 1), bool)
        seen[of.ravel(), k] = True
        best = int(np.argmax(seen.sum(axis=1)))
        if seen[best].sum() >= max(LEAST_LAYERS, LEAST_LAYER_SHARE * (CROWN_BASE * height - KNEE) / step):
            near = np.all(np.abs(p - (cells[best] + 0.5) * COLUMN) < COLUMN, axis=1)
            lower = near & (h <= np.quantile(h[near], 0.5))
            foot, layers = np.median(p[lower], axis=0), int(seen[best].sum())
    z = -float(heights_above(terrain, np.array([[foot[0], foot[1], 0.0]]))[0])
    return Stem(np.array([foot[0], foot[1], z]), np.zeros(2), float("nan"), 0.0, layers)
