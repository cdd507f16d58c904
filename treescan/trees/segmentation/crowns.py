"""Where do trees stand when the scan has no stems? Tops of the canopy seen from above, and the densest upright column under each."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from treescan.trees.beside import Terrain
from treescan.trees.segmentation.stems import Stem
from treescan.trees.terrain.terrain import heights_above

Floats = NDArray[np.float64]
LEAST_HEIGHT = 3.0
"""Lower things are not looked at as trees from above. [m]"""


def crown_tops(xyz: Floats, above: Floats, cell: float) -> Floats:
    """Highest point (t, 3) of every crown: peaks of the smoothed canopy height that stay highest within a window growing with their height.

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
    smooth = ndimage.gaussian_filter(ndimage.grey_closing(canopy, size=3), 0.7 / cell, mode="constant")
    peak = (ndimage.maximum_filter(smooth, size=3) == smooth) & (canopy.max() > LEAST_HEIGHT) & (smooth > 0.6 * LEAST_HEIGHT)
    rows = np.argwhere(peak)
    rows = rows[np.argsort(-smooth[peak], kind="stable")]
    kept: list[NDArray[np.int64]] = []
    for row in rows:
        window = 1.2 + 0.12 * smooth[tuple(row)]
        if all(np.hypot(*(row - k)) * cell > window for k in kept):
            kept.append(row)
    tops = [xyz[_highest(xyz, above, low, row, cell)] for row in kept]
    return np.array(tops).reshape(-1, 3)


def crown_of(xyz: Floats, above: Floats, tops: Floats, cell: float) -> NDArray[np.int32]:
    """Crown every point lies in, (n,): basins of the upturned canopy height round each top; -1 under low vegetation and far from any top.

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
    smooth = ndimage.gaussian_filter(ndimage.grey_closing(canopy, size=3), 0.5 / cell, mode="constant")
    t = np.clip(((tops[:, :2] - low) / cell).astype(np.int64), 0, np.array(shape) - 1)
    marker = np.zeros(shape, np.int32)
    marker[t[:, 0], t[:, 1]] = np.arange(1, len(tops) + 1)
    upturned = (65000 * (1.0 - smooth / max(smooth.max(), 1e-9))).astype(np.uint16)
    basin = ndimage.watershed_ift(upturned, marker, structure=np.ones((3, 3), int)) - 1
    high = canopy[t[:, 0], t[:, 1]]
    of = basin[c[:, 0], c[:, 1]].astype(np.int32)
    known = np.maximum(of, 0)
    away = np.hypot(*(xyz[:, :2] - tops[known, :2]).T)
    inside = (of >= 0) & (canopy[c[:, 0], c[:, 1]] > 0.25 * high[known]) & (away < 1.0 + 0.5 * high[known])
    return np.where(inside, of, -1).astype(np.int32)


def _highest(xyz: Floats, above: Floats, low: Floats, row: NDArray[np.int64], cell: float) -> int:
    near = np.all(np.abs(xyz[:, :2] - (low + (row + 0.5) * cell)) < 1.5 * cell, axis=1)
    i = np.nonzero(near)[0]
    return int(i[np.argmax(above[i])]) if len(i) else int(np.argmax(above))


def stem_under(top: Floats, xyz: Floats, above: Floats, terrain: Terrain) -> Stem:
    """The likeliest foot of a crown: the upright column with points in the most layers under it, else straight below the crown's middle.

    Parameters
    ----------
    top : (3,) float        Highest point of the crown. [m]
    xyz, above              Points of this crown and their heights above the ground. [m]
    """
    height = max(float(heights_above(terrain, top[None])[0]), 1.0)
    low = (above > 0.6) & (above < 0.45 * height)
    step = max(0.3, 0.02 * height)
    foot, layers = np.median(xyz[above > 0.5 * height, :2], axis=0) if np.any(above > 0.5 * height) else top[:2], 0
    if low.sum() >= 8:
        p, h = xyz[low, :2], above[low]
        c = np.floor(p / 0.5).astype(np.int64)
        k = np.floor(h / step).astype(np.int64)
        cells, of = np.unique(c, axis=0, return_inverse=True)
        seen = np.zeros((len(cells), k.max() + 1), bool)
        seen[of.ravel(), k] = True
        best = int(np.argmax(seen.sum(axis=1)))
        if seen[best].sum() >= max(3, 0.3 * (0.45 * height - 0.6) / step):
            near = np.all(np.abs(p - (cells[best] + 0.5) * 0.5) < 0.5, axis=1)
            lower = near & (h <= np.quantile(h[near], 0.5))
            foot, layers = np.median(p[lower], axis=0), int(seen[best].sum())
    z = -float(heights_above(terrain, np.array([[foot[0], foot[1], 0.0]]))[0])
    return Stem(np.array([foot[0], foot[1], z]), np.zeros(2), float("nan"), 0.0, layers)
