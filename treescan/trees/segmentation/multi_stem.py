"""Which stems are one tree? Those whose bark goes over into each other's below breast height."""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from treescan.arrays import Floats
from treescan.trees.material.material_voxels import voxelise
from treescan.trees.segmentation.stems import BREAST, Stem

MOST_APART = 1.5
"""Stems farther apart at breast height are trees of their own. [m]"""
OFF_GROUND = 0.12
"""Lower points may be ground. [m]"""
UNSEEN_RADIUS = 0.1
"""Of a stem without a dbh. [m]"""
BETWEEN, BETWEEN_MARGIN = 1.15, 0.02
"""Bark between two axes lies within so many radii, plus the second [m], of the line between them."""
BARK_CELL, LEAST_BARK = 0.03, 10
"""Voxels the bark is thinned to [m], and how many there must be."""
BARK_GAP, BARK_SPACINGS = 0.06, 2.2
"""Bark hangs together within this [m], or so many spacings."""
TOP_SLICE = 0.3
"""The slice below breast height in which each stem's own bark is looked for. [m]"""
OWN_BARK, OWN_MARGIN = 1.3, 0.03
"""A stem's own bark lies within so many radii, plus the second [m]."""

STOOL_GAP, LEAST_OUTWARD, SPREADING, LEAST_APART, MOST_SPREADING = 0.8, 0.02, 0.12, 0.05, 2.0
"""Stems of one stool: their feet are no farther apart, bark to bark, than so many times both dbh together, each leans out by
so much and both together by so much [m/m]; feet nearer than the fourth [m] have no direction. Stems that lean apart by more may
have feet farther apart in the same measure, up to the last so many times (project choice)."""


def join_stems(
    stems: tuple[Stem, ...], xyz: Floats, above: Floats, spacing: float
) -> tuple[tuple[Stem, ...], ...]:
    """Stems that meet below breast height, or lean apart from one stool, are one tree.

    Parameters
    ----------
    xyz, above      Points and heights above the ground, those under 1.6 m at least. [m]
    """
    if len(stems) < 2:
        return tuple((s,) for s in stems)
    place = np.array([s.axis_at(BREAST) for s in stems])
    pairs = cKDTree(place).query_pairs(MOST_APART, output_type="ndarray")
    low = (above > OFF_GROUND) & (above < BREAST)
    p, h = xyz[low], above[low]
    link = [
        (a, b)
        for a, b in pairs
        if _of_one_stool(stems[a], stems[b]) or _meet(stems[a], stems[b], p, h, spacing)
    ]
    i, j = (np.array([x[k] for x in link], int) for k in (0, 1))
    _, of = connected_components(
        coo_matrix((np.ones(len(i)), (i, j)), shape=(len(stems), len(stems))), directed=False
    )
    return tuple(tuple(stems[k] for k in np.nonzero(of == g)[0]) for g in range(of.max() + 1))


def _of_one_stool(a: Stem, b: Stem) -> bool:
    """True when two stems lean away from each other from feet that almost touch: a clump, whose stool the ground hides."""
    between = b.foot[:2] - a.foot[:2]
    apart = float(np.hypot(*between))
    if not (a.dbh == a.dbh and b.dbh == b.dbh) or apart < LEAST_APART:
        return False
    way = between / apart
    outward = (float(-a.lean @ way), float(b.lean @ way))
    gap = apart - (a.dbh + b.dbh) / 2
    wide = min(sum(outward) / SPREADING, MOST_SPREADING)
    return bool(gap < STOOL_GAP * wide * (a.dbh + b.dbh) and min(outward) > LEAST_OUTWARD and wide > 1)


def _meet(a: Stem, b: Stem, p: Floats, h: Floats, spacing: float) -> bool:
    """True when the bark of one stem goes over into the other's between the ground and breast height, in the
    slice between the two."""
    ra, rb = (s.dbh / 2 if s.dbh == s.dbh else UNSEEN_RADIUS for s in (a, b))
    start, end = a.axis_at(h), b.axis_at(h)
    d = end - start
    length2 = np.maximum((d**2).sum(axis=1), 1e-9)
    t = np.clip(((p[:, :2] - start) * d).sum(axis=1) / length2, 0, 1)
    off = np.hypot(*(p[:, :2] - start - t[:, None] * d).T)
    pick = off < np.maximum(ra, rb) * BETWEEN + BETWEEN_MARGIN
    q = voxelise(p[pick], BARK_CELL).centre
    if len(q) < LEAST_BARK:
        return False
    pairs = cKDTree(q).query_pairs(max(BARK_GAP, BARK_SPACINGS * spacing), output_type="ndarray")
    links = coo_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(q), len(q)))
    _, of = connected_components(links, directed=False)
    high = h[pick].max() - TOP_SLICE
    top = q[:, 2] > np.median(p[pick, 2] - h[pick]) + high
    at_a = top & (np.hypot(*(q[:, :2] - a.axis_at(BREAST)).T) < ra * OWN_BARK + OWN_MARGIN)
    at_b = top & (np.hypot(*(q[:, :2] - b.axis_at(BREAST)).T) < rb * OWN_BARK + OWN_MARGIN)
    return bool(len(np.intersect1d(of[at_a], of[at_b])))
