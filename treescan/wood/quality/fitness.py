"""What is this scan fit for: the stem, the main unions, small limbs, or nothing? And what would a rescan need?"""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from treescan.reason import Reason
from treescan.trees.single_tree import Tree
from treescan.wood.graph import ASSESSABLE, NOT_ASSESSABLE, Floats, Ints, ScanFitness, WoodGraph
from treescan.wood.quality.limb_fitness import (
    FIT,
    LOPSIDED,
    MAIN_UNIONS,
    MAIN_WOOD,
    NO_SIDE,
    NOTHING,
    SMALL_SD,
    STEM,
    grade,
    limb_fitness,
    measured,
)
from treescan.wood.quality.stems_at_breast import LEAST_KNOWN
from treescan.wood.settings import WoodSettings

ONE_PLACE = float(np.radians(200.0))
"""One place sees half the round; read in steps of 15 degrees with small gaps closed, that is up to this much [rad]."""
MOSTLY_ONE_SIDE, NEARLY_ALL_ONE_PLACE = 0.6, 0.85
"""Shares of the thick wood seen from one side, or from one place, beyond which the tree is not assessable."""
LOWER = 0.5
"""The lower stem is this share of the height."""
HALF = 0.5
"""Less than this measured is too little."""
MIN_STEM = 0.05
"""Radius of the stem's nodes whose points show its sides [m]."""
MAX_POINTS, MIN_POINTS = 50_000, 50
"""Points looked at for the stem's hidden side, and how few tell none."""
FAR_FROM_STEM, ABOUT_BARK, ON_AXIS = 2.0, 0.05, 0.02
"""Points farther than this from the stem are not its own; so far off the bark they still are; nearer to the axis they show no side [m]."""
NEIGHBOURS, SAMPLE = 5, 20_000
"""The spacing is the distance to this neighbour, the point itself included, read on about so many points."""


def scan_fitness(graph: WoodGraph, tree: Tree, settings: WoodSettings = WoodSettings()) -> ScanFitness:
    """Grade the scan in height bands and as a whole.

    Parameters
    ----------
    graph : WoodGraph
    tree : Tree             For the spacing of its wood points.

    Notes
    -----
    A band is fit for small limbs when at least half of its wood length of 3 to 10 cm diameter has an own measurement (sd under 15 %, all
    but a fifth seen); for main unions when the same holds for wood over 10 cm with sd under 10 %; for the stem when the stem's
    sd is under 10 %. Not assessable: no stem fit, or less than half of the wood over 10 cm measured at all (sd under a quarter), or the stem seen from one
    side only over most of its length, or half of the bands fit for nothing, or a stem too slender for its height (what was measured is then not
    the stem). The limits are a choice of this project.
    """
    z0 = float(graph.xyz[0, 2])
    mid = np.concatenate([[z0], 0.5 * (graph.xyz[1:, 2] + graph.xyz[graph.parent[1:], 2])]) - z0
    size = settings.level_of_fitness
    count = max(1, int(np.ceil(mid.max() / size)))
    spacing = _spacing(tree.wood.xyz)
    height = tree.wood.xyz[:, 2] - z0
    bands = []
    for b in range(count):
        rows = np.flatnonzero((mid >= b * size) & (mid < (b + 1) * size) & (graph.parent >= 0))
        here = (height >= b * size) & (height < (b + 1) * size)
        arc = graph.arc[rows]
        bands.append({
            "from_m": round(b * size, 2), "to_m": round((b + 1) * size, 2), "fit_for": FIT[grade(graph, rows)],
            "spacing_m": round(float(np.median(spacing[here])), 4) if here.any() else None,
            "arc_deg": round(float(np.degrees(np.nanmedian(arc))), 0) if np.isfinite(arc).any() else None,
        })  # fmt: skip
    limbs = limb_fitness(graph, tree.wood.xyz, np.radians(settings.arc_one_sided))
    reasons = _reasons(graph, tree.wood.xyz, settings, bands, _scatter_of_stem(limbs))
    return ScanFitness(
        NOT_ASSESSABLE if reasons else ASSESSABLE, reasons or (_fit_up_to(bands),), tuple(bands), limbs
    )


def _spacing(xyz: Floats) -> Floats:
    """Distance of every point to its fourth neighbour, read on a sample, by nearest sample. [m]"""
    rows = np.arange(0, len(xyz), max(1, len(xyz) // SAMPLE))
    tree = cKDTree(xyz)
    d, _ = tree.query(xyz[rows], min(NEIGHBOURS, len(xyz)))
    out = np.interp(np.arange(len(xyz)), rows, d[:, -1])
    return out


def _scatter_of_stem(limbs: tuple[dict, ...]) -> float | None:
    """By how much the stem's points scatter, where that is too much for it. [m]"""
    rescan = limbs[0]["rescan"] if limbs else None
    return None if rescan is None else rescan["scatter"]


def _reasons(
    graph: WoodGraph, wood: Floats, settings: WoodSettings, bands: list[dict], scatter: float | None
) -> tuple[Reason, ...]:
    """Why the tree must not be ranked from this scan, each with what a rescan would need; empty when it may."""
    stem = graph.limbs.nodes[0][1:]
    if len(stem) == 0:
        return (Reason("fit_no_stem"),)
    thick = np.flatnonzero((2 * graph.segment_radius >= MAIN_WOOD) & (graph.parent >= 0))
    if len(thick) == 0:
        return (Reason("fit_no_thick_wood", diameter=MAIN_WOOD),)
    lower = stem[graph.xyz[stem, 2] - graph.xyz[0, 2] < LOWER * np.ptp(graph.xyz[:, 2])]
    side = hidden_side(graph, wood, LOPSIDED)
    return (
        *_unmeasured(graph, lower, thick, side, scatter),
        *_one_sided(graph, wood, thick, np.radians(settings.arc_one_sided)),
        *_blind(bands, side, scatter),
        *_slender(graph, lower, settings.max_slender),
    )


def _unmeasured(
    graph: WoodGraph, lower: Ints, thick: Ints, side: float | None, scatter: float | None
) -> list[Reason]:
    """Nodes `lower` of the stem, segments `thick`: too little of them measured.

    Where the stem's points lie on one side, with the hidden `side` [rad], more points from the same place are no remedy.
    """
    out = []
    if len(lower) and measured(graph, lower, SMALL_SD) < HALF:
        out.append(
            Reason("fit_stem_not_measured")
            if side is None
            else Reason("fit_stem_half_seen", azimuth=side, scatter=scatter)
        )
    share = measured(graph, thick, LEAST_KNOWN)
    if share < HALF:
        out.append(
            Reason("fit_little_measured", share=share, diameter=MAIN_WOOD)
            if side is None
            else Reason(
                "fit_little_half_seen", share=share, diameter=MAIN_WOOD, azimuth=side, scatter=scatter
            )
        )
    return out


def _one_sided(graph: WoodGraph, wood: Floats, thick: Ints, slit: float) -> list[Reason]:
    """Thick wood seen from one side (under `slit` [rad] of bark), or from one place."""
    arc = graph.arc[thick]
    if not np.isfinite(arc).any():
        return []
    length = graph.length[thick] / np.sum(graph.length[thick])
    one_sided, one_place = (float(np.sum(length * (arc < limit))) for limit in (slit, ONE_PLACE))
    if one_sided > MOSTLY_ONE_SIDE:
        return [Reason("fit_one_sided", share=one_sided, arc=slit, azimuth=hidden_side(graph, wood))]
    if one_place > NEARLY_ALL_ONE_PLACE:
        return [Reason("fit_one_place", share=one_place, arc=ONE_PLACE, azimuth=hidden_side(graph, wood))]
    return []


def _blind(bands: list[dict], side: float | None, scatter: float | None) -> list[Reason]:
    """Too many height bands fit for nothing."""
    blind = [b for b in bands if b["fit_for"] == FIT[NOTHING]]
    if all(b["fit_for"] in (FIT[NOTHING], FIT[STEM]) for b in bands):
        return [
            Reason("fit_no_band")
            if side is None
            else Reason("fit_no_band_half_seen", azimuth=side, scatter=scatter)
        ]
    if 2 * len(blind) < len(bands):
        return []
    return [
        Reason(
            "fit_blind_bands",
            bands=tuple(Reason("height_band", low=b["from_m"], high=b["to_m"]) for b in blind),
        )
    ]


def _slender(graph: WoodGraph, lower: Ints, limit: float) -> list[Reason]:
    """A stem too slender for its height: what was measured is not the stem."""
    tall, thick_at_foot = float(np.ptp(graph.xyz[:, 2])), 2 * float(graph.radius[[0, *lower]].max())
    return (
        [Reason("fit_too_slender", diameter=thick_at_foot, height=tall)]
        if tall > limit * thick_at_foot
        else []
    )


def hidden_side(graph: WoodGraph, wood: Floats, least: float = NO_SIDE) -> float | None:
    """Azimuth of the side of the stem with fewest points, clockwise from +y [rad]; None when the points lie all round.

    They do where the mean of their unit directions from the axis is shorter than `least`: half the round gives 0.64.
    """
    nodes = graph.limbs.nodes[0]
    nodes = nodes[graph.radius[nodes] >= MIN_STEM]
    if len(nodes) == 0 or len(wood) == 0:
        return None
    some = wood[:: max(1, len(wood) // MAX_POINTS)]
    gap, near = cKDTree(graph.xyz[nodes]).query(some, distance_upper_bound=FAR_FROM_STEM)
    rows = np.isfinite(gap) & (gap < 1.5 * graph.radius[nodes[np.minimum(near, len(nodes) - 1)]] + ABOUT_BARK)
    off = (some[rows] - graph.xyz[nodes[near[rows]]])[:, :2]
    off = off[np.linalg.norm(off, axis=1) > ON_AXIS]
    if len(off) < MIN_POINTS:
        return None
    seen = np.mean(off / np.linalg.norm(off, axis=1, keepdims=True), axis=0)
    if np.hypot(*seen) < least:
        return None
    return float(np.arctan2(-seen[0], -seen[1]) % (2 * np.pi))


def _fit_up_to(bands: list[dict]) -> Reason:
    """How high main unions can be judged."""
    best = [b for b in bands if b["fit_for"] in FIT[MAIN_UNIONS:]]
    return Reason("fit_main_unions", height=max(b["to_m"] for b in best))
