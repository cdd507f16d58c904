"""Where do trees stand? Round, upright, stacked slices between knee and head height; where a scan has none,
the tops of the canopy."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from treescan.arrays import Floats, Ints
from treescan.trees.beside import Terrain
from treescan.trees.material.material_voxels import voxelise
from treescan.trees.segmentation.circles import ARC, INLIER, INSIDE, ON_BARK, RADIUS, fit_circles
from treescan.trees.settings import StemSettings
from treescan.trees.terrain.height_grid import heights_above

BREAST = 1.3
"""Breast height in most of the world. [m]"""
CLOSE_SPACING = 0.02
"""A scan with a closer spacing needs no second try with thick layers. [m]"""
THICK_LAYER, THICK_TOP, THICK_NOISE = 0.5, 4.5, 0.08
"""Layers, upper end of the slice and least spacing of that second try. [m]"""
LEAST_SLICE, LEAST_IN_CIRCLE = 20, 6
"""Points a slice, and a circle, must hold."""
THIN_CELL, MOST_SPACING = 0.01, 0.05
"""The slice is thinned to half the spacing, between these. [m]"""
CLUMP_GAP, CLUMP_SPACINGS = 0.045, 2.2
"""Points within this [m], or so many spacings, hang together."""
NOISE_SPACINGS = 0.3
"""Part of the spacing that counts as noise of the bark."""
LEAST_ON_BARK, LEAST_ARC, MOST_INSIDE = 0.45, 1.2, 0.15
"""A circle is a stem's where so many of its points lie on it, so much of it is seen [rad], and no more lie
inside."""
NEXT_LAYERS, NEXT_APART, OWN_LAYER = 2.6, 0.2, 0.3
"""Circles stand over one another within so many layers (plus the second [m] in space), and more than the
third apart."""
LEANS, SHIFTS, SHIFT_NOISE = 0.6, 0.25, 0.01
"""They are shifted by no more than the first for each metre of height, the second for each metre of radius
and the third. [m]"""
ALIKE, ALIKE_NOISE = 0.35, 0.012
"""Their radii differ by no more than this part and this much. [m]"""
MOST_LAYERS_NEEDED, LAYER_SHARE = 4, 0.4
"""A stem needs circles in this share of the layers, but no more than so many."""
FAR_ENOUGH = 0.25
"""Height between two circles from which on they tell a lean. [m]"""
BREAST_CIRCLES, BREAST_REACH = 5, 0.8
"""The dbh is the median of so many circles, the nearest of them this close to breast height. [m]"""
COUNT_STEP, MOST_LEAN, LEAST_LENGTH = 0.2, 1.0, 0.5
"""Layers are counted in these steps [m]; a stem leans no more [m/m] and is seen over this height. [m]"""
UNSEEN_RADIUS, UNSEEN_DBH = 0.05, 0.1
"""Of a stem without a dbh, when doubles are looked for. [m]"""


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


def find_stems(
    xyz: Floats, above: Floats, terrain: Terrain, spacing: float, settings: StemSettings = StemSettings()
) -> tuple[Stem, ...]:
    """Stems (and posts) by stacked circles.

    Parameters
    ----------
    xyz : (n, 3) float      Points near the ground at least. [m]
    above : (n,) float      Their height above the ground. [m]
    spacing : float         Usual distance between neighbouring points. [m]
    """
    dense = _stacked(xyz, above, terrain, spacing, settings)
    if dense or spacing < CLOSE_SPACING:
        return dense
    thick = replace(settings, layer=THICK_LAYER, slice_high=max(settings.slice_high, THICK_TOP))
    return _stacked(xyz, above, terrain, max(spacing, THICK_NOISE), thick)


def _stacked(
    xyz: Floats, above: Floats, terrain: Terrain, spacing: float, settings: StemSettings
) -> tuple[Stem, ...]:
    """One try at stacked circles with layers of one thickness."""
    rows = np.flatnonzero((above > settings.slice_low) & (above < settings.slice_high))
    if len(rows) < LEAST_SLICE:
        return ()
    p = voxelise(xyz, max(THIN_CELL, 0.5 * min(spacing, MOST_SPACING)), rows).centre
    h = heights_above(terrain, p)
    layer = np.floor((h - settings.slice_low) / settings.layer).astype(np.int64)
    group = _clumps(p, layer, max(CLUMP_GAP, CLUMP_SPACINGS * spacing))
    order = np.argsort(group, kind="stable")
    start = np.searchsorted(group[order], np.arange(group.max() + 2))
    noise = max(INLIER, NOISE_SPACINGS * spacing)
    circle = fit_circles(p[order, :2], start, settings.min_radius, settings.largest_radius, noise)
    size = np.diff(start)
    height = np.bincount(group, h) / np.maximum(np.bincount(group), 1)
    good = (size >= LEAST_IN_CIRCLE) & (circle[:, ON_BARK] > LEAST_ON_BARK)
    good &= (circle[:, ARC] > LEAST_ARC) & (circle[:, INSIDE] < MOST_INSIDE)
    return _chains(circle[good], height[good], terrain, settings)


def _clumps(p: Floats, layer: Ints, gap: float) -> Ints:
    """Group of every point: linked by steps shorter than `gap` within one layer, numbered by their first points. One
    layer at a time: the pairs of a dense scan are many times its points."""
    group = np.empty(len(p), np.int64)
    rows = np.argsort(layer, kind="stable")
    ends = np.flatnonzero(np.diff(layer[rows], append=layer.max(initial=0) + 1)) + 1
    seen = 0
    for own in np.split(rows, ends[:-1]):
        pairs = cKDTree(p[own, :2]).query_pairs(gap, output_type="ndarray").astype(np.int32)
        ones = np.ones(len(pairs), np.int8)
        graph = coo_matrix((ones, (pairs[:, 0], pairs[:, 1])), shape=(len(own), len(own)))
        count, found = connected_components(graph, directed=False)
        group[own] = found + seen
        seen += count
    _, first, of = np.unique(group, return_index=True, return_inverse=True)
    number = np.empty(len(first), np.int64)
    number[np.argsort(first)] = np.arange(len(first))
    return number[of]


def _chains(circle: Floats, height: Floats, terrain: Terrain, settings: StemSettings) -> tuple[Stem, ...]:
    """Circles stacked over one another, joined to stems; lone circles are branches and shrubs."""
    if len(circle) < 3:
        return ()
    tree = cKDTree(np.column_stack([circle[:, :2], height]))
    pairs = tree.query_pairs(NEXT_LAYERS * settings.layer + NEXT_APART, output_type="ndarray")
    a, b = pairs[:, 0], pairs[:, 1]
    dh = np.abs(height[a] - height[b])
    shift = np.hypot(*(circle[a, :2] - circle[b, :2]).T)
    r = np.minimum(circle[a, RADIUS], circle[b, RADIUS])
    alike = np.abs(circle[a, RADIUS] - circle[b, RADIUS]) < ALIKE * r + ALIKE_NOISE
    link = (dh > OWN_LAYER * settings.layer) & (dh < NEXT_LAYERS * settings.layer) & alike
    link &= shift < LEANS * dh + SHIFTS * r + SHIFT_NOISE
    graph = coo_matrix((np.ones(link.sum()), (a[link], b[link])), shape=(len(circle), len(circle)))
    _, of = connected_components(graph, directed=False)
    need = min(
        MOST_LAYERS_NEEDED, int((settings.slice_high - settings.slice_low) / settings.layer * LAYER_SHARE)
    )
    stems = [_stem(circle[of == k], height[of == k], terrain) for k in np.nonzero(np.bincount(of) >= need)[0]]
    return _without_doubles([s for s in stems if s is not None and s.layers >= need])


def _stem(circle: Floats, height: Floats, terrain: Terrain) -> Stem | None:
    """Axis and breast-height diameter from stacked circles, by medians of slopes so that a bad circle does
    not matter."""
    i, j = np.triu_indices(len(height), 1)
    dh = height[j] - height[i]
    far = np.abs(dh) > FAR_ENOUGH
    if not far.any():
        return None
    lean = np.median((circle[j[far], :2] - circle[i[far], :2]) / dh[far, None], axis=0)
    at0 = np.median(circle[:, :2] - height[:, None] * lean, axis=0)
    near = np.argsort(np.abs(height - BREAST))[:BREAST_CIRCLES]
    seen = np.abs(height[near] - BREAST).min() < BREAST_REACH
    dbh = float(2 * np.median(circle[near, RADIUS])) if seen else float("nan")
    z = float(heights_above(terrain, np.array([[at0[0], at0[1], 0.0]]))[0])
    layers = len(np.unique(np.round(height / COUNT_STEP)))
    if np.hypot(*lean) > MOST_LEAN or np.ptp(height) < LEAST_LENGTH:
        return None
    return Stem(np.array([at0[0], at0[1], -z]), lean, dbh, float(np.median(circle[:, ARC])), layers)


def _without_doubles(stems: list[Stem]) -> tuple[Stem, ...]:
    """Stems whose axes run within one another at breast height are one: the longer chain stays."""
    out: list[Stem] = []
    for s in sorted(stems, key=lambda s: (-s.layers, -s.dbh if s.dbh == s.dbh else 0.0, *s.foot)):
        r = s.dbh / 2 if s.dbh == s.dbh else UNSEEN_RADIUS
        apart = [np.hypot(*(s.axis_at(BREAST) - o.axis_at(BREAST))) for o in out]
        if all(
            d > max(r, (o.dbh if o.dbh == o.dbh else UNSEEN_DBH) / 2) for d, o in zip(apart, out, strict=True)
        ):
            out.append(s)
    return tuple(out)
