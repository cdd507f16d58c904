"""Where do trees stand? Round, upright, stacked slices between knee and head height; where a scan has none, the tops of the canopy."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from treescan.trees.beside import Terrain
from treescan.trees.material.material_voxels import voxelise
from treescan.trees.segmentation.circles import INLIER, fit_circles
from treescan.trees.settings import StemSettings
from treescan.trees.terrain.terrain import heights_above

Floats = NDArray[np.float64]
BREAST = 1.3
"""Breast height in most of the world. [m]"""


@dataclass(frozen=True)
class Stem:
    """One stem seen in the slice.

    Attributes
    ----------
    foot : (3,) float       Its axis at the ground. [m, local]
    lean : (2,) float       Plan shift of the axis per metre of height.
    dbh : float             From the circles about breast height. [m]  NaN = not measured.
    arc : float             Median part of the round that was seen. [rad]
    layers : int            Slices that carried a circle.
    """

    foot: Floats
    lean: Floats
    dbh: float
    arc: float
    layers: int

    def axis_at(self, height: Floats | float) -> Floats:
        """Plan place of the axis at heights above the foot, (..., 2). [m]"""
        return self.foot[:2] + np.asarray(height, float)[..., None] * self.lean


def find_stems(xyz: Floats, above: Floats, terrain: Terrain, spacing: float, settings: StemSettings = StemSettings()) -> tuple[Stem, ...]:
    """Stems (and posts) by stacked circles.

    Parameters
    ----------
    xyz : (n, 3) float      Points near the ground at least. [m]
    above : (n,) float      Their height above the ground. [m]
    spacing : float         Usual distance between neighbouring points. [m]
    """
    dense = _stacked(xyz, above, terrain, spacing, settings.layer, settings)
    if dense or spacing < 0.02:
        return dense
    thick = replace(settings, layer=0.5, slice_high=max(settings.slice_high, 4.5))
    return _stacked(xyz, above, terrain, max(spacing, 0.08), thick.layer, thick)


def _stacked(xyz: Floats, above: Floats, terrain: Terrain, spacing: float, layer_height: float, settings: StemSettings) -> tuple[Stem, ...]:
    """One try at stacked circles with layers of one thickness."""
    pick = (above > settings.slice_low) & (above < settings.slice_high)
    if pick.sum() < 20:
        return ()
    thin = voxelise(xyz[pick], max(0.01, 0.5 * min(spacing, 0.05)))
    p, h = thin.centre, heights_above(terrain, thin.centre)
    layer = np.floor((h - settings.slice_low) / layer_height).astype(np.int64)
    group = _clumps(p, layer, max(0.045, 2.2 * spacing))
    order = np.argsort(group, kind="stable")
    start = np.searchsorted(group[order], np.arange(group.max() + 2))
    noise = max(INLIER, 0.3 * spacing)
    circle = fit_circles(p[order, :2], start, settings.min_radius, settings.largest_radius, noise)
    size = np.diff(start)
    height = np.bincount(group, h) / np.maximum(np.bincount(group), 1)
    good = (size >= 6) & (circle[:, 3] > 0.45) & (circle[:, 4] > 1.2) & (circle[:, 5] < 0.15)
    return _chains(circle[good], height[good], terrain, settings)


def _clumps(p: Floats, layer: NDArray[np.int64], gap: float) -> NDArray[np.int64]:
    """Group of every point: linked by steps shorter than `gap` within one layer. Layers are set apart so that one tree search does all."""
    q = np.column_stack([p[:, :2], layer * (10 * gap)])
    pairs = cKDTree(q).query_pairs(gap, output_type="ndarray")
    graph = coo_matrix((np.ones(len(pairs), np.int8), (pairs[:, 0], pairs[:, 1])), shape=(len(p), len(p)))
    return connected_components(graph, directed=False)[1].astype(np.int64)


def _chains(circle: Floats, height: Floats, terrain: Terrain, settings: StemSettings) -> tuple[Stem, ...]:
    """Circles stacked over one another, joined to stems; lone circles are branches and shrubs."""
    if len(circle) < 3:
        return ()
    tree = cKDTree(np.column_stack([circle[:, :2], height]))
    pairs = tree.query_pairs(2.6 * settings.layer + 0.2, output_type="ndarray")
    a, b = pairs[:, 0], pairs[:, 1]
    dh = np.abs(height[a] - height[b])
    shift = np.hypot(*(circle[a, :2] - circle[b, :2]).T)
    r = np.minimum(circle[a, 2], circle[b, 2])
    alike = np.abs(circle[a, 2] - circle[b, 2]) < 0.35 * r + 0.012
    link = (dh > 0.3 * settings.layer) & (dh < 2.6 * settings.layer) & (shift < 0.6 * dh + 0.25 * r + 0.01) & alike
    graph = coo_matrix((np.ones(link.sum()), (a[link], b[link])), shape=(len(circle), len(circle)))
    _, of = connected_components(graph, directed=False)
    need = min(4, int((settings.slice_high - settings.slice_low) / settings.layer * 0.4))
    stems = [_stem(circle[of == k], height[of == k], terrain) for k in np.nonzero(np.bincount(of) >= need)[0]]
    return _without_doubles([s for s in stems if s is not None and s.layers >= need])


def _stem(circle: Floats, height: Floats, terrain: Terrain) -> Stem | None:
    """Axis and breast-height diameter from stacked circles, by medians of slopes so that a bad circle does not matter."""
    i, j = np.triu_indices(len(height), 1)
    dh = height[j] - height[i]
    far = np.abs(dh) > 0.25
    if not far.any():
        return None
    lean = np.median((circle[j[far], :2] - circle[i[far], :2]) / dh[far, None], axis=0)
    at0 = np.median(circle[:, :2] - height[:, None] * lean, axis=0)
    near = np.argsort(np.abs(height - BREAST))[:5]
    dbh = float(2 * np.median(circle[near, 2])) if np.abs(height[near] - BREAST).min() < 0.8 else float("nan")
    z = float(heights_above(terrain, np.array([[at0[0], at0[1], 0.0]]))[0])
    layers = len(np.unique(np.round(height / 0.2)))
    if np.hypot(*lean) > 1.0 or np.ptp(height) < 0.5:
        return None
    return Stem(np.array([at0[0], at0[1], -z]), lean, dbh, float(np.median(circle[:, 4])), layers)


def _without_doubles(stems: list[Stem]) -> tuple[Stem, ...]:
    """Stems whose axes run within one another at breast height are one: the longer chain stays."""
    out: list[Stem] = []
    for s in sorted(stems, key=lambda s: (-s.layers, -s.dbh if s.dbh == s.dbh else 0.0, *s.foot)):
        r = s.dbh / 2 if s.dbh == s.dbh else 0.05
        if all(np.hypot(*(s.axis_at(BREAST) - o.axis_at(BREAST))) > max(r, (o.dbh if o.dbh == o.dbh else 0.1) / 2) for o in out):
            out.append(s)
    return tuple(out)
