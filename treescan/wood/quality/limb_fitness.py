"""What is the scan fit for on every single limb, and from where would a rescan have to look at it?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from treescan.reason import Reason
from treescan.wood.fitting.limb_axes import limb_medians
from treescan.wood.graph import Floats, Ints, WoodGraph
from treescan.wood.sections.cylinder_fit import MAD_TO_SD

FIT = ("nothing", "stem", "main unions", "small limbs")
"""Grades from worst to best; each includes the ones before it."""
NOTHING, STEM, MAIN_UNIONS, SMALL_LIMBS = 0, 1, 2, 3
"""Rows of `FIT`."""
MAX_POINTS = 200_000
"""Points looked at."""
MAIN_WOOD, SMALL_WOOD = 0.10, 0.03
"""Thickness from which wood counts for the main unions, and for small limbs [m]."""
MAIN_SD, SMALL_SD, ENOUGH = 0.10, 0.15, 0.6
"""Relative sd under which thick and thin wood is measured, and the share of its length that must be (a choice)."""
ON_BARK, ON_BARK_MORE = 1.5, 0.03
"""Points within this many radii and so much more [m] of an axis lie on its bark."""
MUCH_HIDDEN = 0.3
"""Share of a limb hidden from which a rescan leaf-off is asked for."""
MIN_SCATTER = 0.004
"""Points that scatter by less than this are steady enough for any limb [m]."""
NO_SIDE, STEEP = 0.25, 0.85
"""Mean normals shorter than this show no side; of which this share upright, the side is above or below."""
THICK_SCATTER = 0.3
"""Points that scatter by more than this share of a limb's radius are too unsteady for it (a choice)."""
LOPSIDED = 0.3
"""Mean of the unit normals of a limb's points beyond which they show one side of it: half of the round gives 0.64, all of it 0."""


@dataclass(frozen=True)
class BarkSeen:
    """How the points lie about every limb, one row a limb.

    Attributes
    ----------
    points : (l,) int       Points on its bark, of those looked at.
    seen_from : (l, 3)      Mean of their unit normals: points at where they were seen from, short where they lie all round.
    scatter : (l,) float    Of the points about the bark, from the median distance. [m]  NaN without points.
    """

    points: Ints
    seen_from: Floats
    scatter: Floats


def measured(graph: WoodGraph, rows: np.ndarray, limit: float) -> float:
    """Share of the length of these segments that was seen and whose radius has a relative sd under a limit; NaN without any."""
    length = graph.length[rows]
    if length.sum() <= 0:
        return float("nan")
    ok = graph.seen[rows] & (graph.radius_sd[rows] < limit * graph.radius[rows])
    return float(np.sum(length[ok]) / length.sum())


def grade(graph: WoodGraph, rows: np.ndarray) -> int:
    """Grade (index into `FIT`) of these segments: the thick wood with a relative sd under a tenth, the thin under 15 %, over 0.6 of the length."""
    d = 2 * graph.segment_radius[rows]
    stem = measured(graph, rows[graph.limbs.order[graph.limb[rows]] == 0], MAIN_SD)
    main = measured(graph, rows[d >= MAIN_WOOD], MAIN_SD)
    small = measured(graph, rows[(d >= SMALL_WOOD) & (d < MAIN_WOOD)], SMALL_SD)
    if np.isfinite(main) and main < ENOUGH:
        return STEM if stem >= ENOUGH else NOTHING
    if np.isfinite(small) and small < ENOUGH:
        return MAIN_UNIONS if np.isfinite(main) else STEM if stem >= ENOUGH else NOTHING
    if np.isfinite(small):
        return SMALL_LIMBS
    return MAIN_UNIONS if np.isfinite(main) or stem >= ENOUGH else NOTHING


def bark_seen(graph: WoodGraph, wood: Floats) -> BarkSeen:
    """The sides of every limb on which points lie.

    Parameters
    ----------
    wood : (p, 3) float     Wood points. [m]
    """
    count = len(graph.limbs)
    none = BarkSeen(np.zeros(count, np.int64), np.zeros((count, 3)), np.full(count, np.nan))
    if len(graph) < 2 or len(wood) == 0:
        return none
    p = wood[:: max(1, len(wood) // MAX_POINTS)]
    _, near = cKDTree(graph.xyz[1:]).query(p)
    node = near + 1
    off = p - graph.xyz[node]
    off -= np.sum(off * graph.direction[node], axis=1, keepdims=True) * graph.direction[node]
    gap = np.linalg.norm(off, axis=1)
    on = (gap > 1e-3) & (gap < ON_BARK * graph.radius[node] + ON_BARK_MORE)
    limb, normal, miss = graph.limb[node[on]], off[on] / gap[on, None], gap[on] - graph.radius[node[on]]
    points = np.bincount(limb, minlength=count)
    some = np.maximum(points, 1)
    mean = np.stack([np.bincount(limb, normal[:, a], count) for a in range(3)], axis=1) / some[:, None]
    start = np.concatenate([[0], np.cumsum(points)])
    return BarkSeen(
        points, mean, MAD_TO_SD * limb_medians(np.abs(miss)[np.argsort(limb, kind="stable")], start)
    )


def limb_fitness(graph: WoodGraph, wood: Floats, one_sided: float) -> tuple[dict, ...]:
    """Grade and wants of every limb, as `ScanFitness.limbs`.

    Parameters
    ----------
    wood : (p, 3) float     Wood points. [m]
    one_sided : float       Less bark than this seen round a limb counts as one-sided. [rad]

    Notes
    -----
    A limb without wood of 3 cm is judged by all of it, sd under 15 %. The wants follow from what was found: hidden pieces, bark on one side
    only (and which), points that scatter too much for so thin a limb, else too few points.
    """
    seen = bark_seen(graph, wood)
    out = []
    for k, nodes in enumerate(graph.limbs.nodes):
        rows = nodes[graph.parent[nodes] >= 0]
        level = grade(graph, rows)
        share = measured(graph, rows, SMALL_SD)
        if np.all(2 * graph.segment_radius[rows] < SMALL_WOOD):
            level = SMALL_LIMBS if share >= ENOUGH else NOTHING
        arc = graph.arc[rows][np.isfinite(graph.arc[rows])]
        middle = float(np.median(arc)) if len(arc) else float("nan")
        out.append({
            "limb": k, "fit_for": FIT[level], "measured": round(share, 3) if np.isfinite(share) else 0.0,
            "arc_deg": round(float(np.degrees(middle)), 0) if np.isfinite(middle) else None,
            "rescan": None if level == SMALL_LIMBS or (level == MAIN_UNIONS and not share < ENOUGH) else _wants(graph, rows, seen, k, middle < one_sided),
        })  # fmt: skip
    return tuple(out)


def _wants(graph: WoodGraph, rows: Ints, seen: BarkSeen, k: int, slit: bool) -> Reason:
    """What a rescan of this limb would need."""
    length = graph.length[rows]
    hidden = 1.0 - float(np.sum(length[graph.seen[rows]]) / max(float(length.sum()), 1e-9))
    one_side = bool(slit or np.linalg.norm(seen.seen_from[k]) > LOPSIDED)
    view = view_from(-seen.seen_from[k]) if one_side else None
    thick = float(np.median(graph.radius[rows])) if len(rows) else 0.0
    unsteady = bool(seen.scatter[k] > max(THICK_SCATTER * thick, MIN_SCATTER))
    much_hidden = hidden > MUCH_HIDDEN
    return Reason(
        "limb_rescan",
        hidden=hidden if much_hidden else None,
        view=view,
        more_sides=one_side and view is None,
        scatter=float(seen.scatter[k]) if unsteady else None,
        thickness=2 * thick,
        nearer=not (much_hidden or one_side or unsteady),
    )


def view_from(way: Floats) -> Reason | None:
    """Where to look from, for a direction (3,) out of the limb; None where it has none."""
    size = float(np.linalg.norm(way))
    if size < NO_SIDE:
        return None
    if abs(way[2]) > STEEP * size:
        return Reason("view_from_above" if way[2] > 0 else "view_from_below")
    return Reason("view_from_side", azimuth=float(np.arctan2(way[0], way[1]) % (2 * np.pi)))
