"""What is the scan fit for on every single limb, and from where would a rescan have to look at it?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from treescan.wood.fitting.limb_axes import limb_medians
from treescan.wood.graph import Floats, Ints, WoodGraph

FIT = ("nothing", "stem", "main unions", "small limbs")
"""Grades from worst to best; each includes the ones before it."""
MOST = 200_000
"""Points looked at."""
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
    stem = measured(graph, rows[graph.limbs.order[graph.limb[rows]] == 0], 0.10)
    main = measured(graph, rows[d >= 0.10], 0.10)
    small = measured(graph, rows[(d >= 0.03) & (d < 0.10)], 0.15)
    if np.isfinite(main) and main < 0.6:
        return 1 if stem >= 0.6 else 0
    if np.isfinite(small) and small < 0.6:
        return 2 if np.isfinite(main) else 1 if stem >= 0.6 else 0
    if np.isfinite(small):
        return 3
    return 2 if np.isfinite(main) or stem >= 0.6 else 0


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
    p = wood[:: max(1, len(wood) // MOST)]
    _, near = cKDTree(graph.xyz[1:]).query(p)
    node = near + 1
    off = p - graph.xyz[node]
    off -= np.sum(off * graph.direction[node], axis=1, keepdims=True) * graph.direction[node]
    gap = np.linalg.norm(off, axis=1)
    on = (gap > 1e-3) & (gap < 1.5 * graph.radius[node] + 0.03)
    limb, normal, miss = graph.limb[node[on]], off[on] / gap[on, None], gap[on] - graph.radius[node[on]]
    points = np.bincount(limb, minlength=count)
    some = np.maximum(points, 1)
    mean = np.stack([np.bincount(limb, normal[:, a], count) for a in range(3)], axis=1) / some[:, None]
    start = np.concatenate([[0], np.cumsum(points)])
    return BarkSeen(points, mean, 1.4826 * limb_medians(np.abs(miss)[np.argsort(limb, kind="stable")], start))


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
        share = measured(graph, rows, 0.15)
        if np.all(2 * graph.segment_radius[rows] < 0.03):
            level = 3 if share >= 0.6 else 0
        arc = graph.arc[rows][np.isfinite(graph.arc[rows])]
        middle = float(np.median(arc)) if len(arc) else float("nan")
        out.append({
            "limb": k, "fit_for": FIT[level], "measured": round(share, 3) if np.isfinite(share) else 0.0,
            "arc_deg": round(float(np.degrees(middle)), 0) if np.isfinite(middle) else None,
            "rescan": "" if level == 3 or (level == 2 and not share < 0.6) else _wants(graph, rows, seen, k, middle < one_sided),
        })  # fmt: skip
    return tuple(out)


def _wants(graph: WoodGraph, rows: Ints, seen: BarkSeen, k: int, slit: bool) -> str:
    """One sentence: what a rescan of this limb would need."""
    wants = []
    length = graph.length[rows]
    hidden = 1.0 - float(np.sum(length[graph.seen[rows]]) / max(float(length.sum()), 1e-9))
    side = direction_words(-seen.seen_from[k])
    if hidden > 0.3:
        wants.append(f"leaf-off, so that the {100 * hidden:.0f} % of it that lie hidden come into view")
    if slit or np.linalg.norm(seen.seen_from[k]) > LOPSIDED:
        wants.append(f"{side}, for only the other side was seen" if side else "from more sides")
    thick = float(np.median(graph.radius[rows])) if len(rows) else 0.0
    if seen.scatter[k] > max(THICK_SCATTER * thick, 0.004):
        wants.append(f"with a scanner that stands still: the points scatter by {1000 * seen.scatter[k]:.0f} mm about a limb of {200 * thick:.0f} cm")
    if not wants:
        wants.append("from nearer, with more points on it")
    return f"Rescan {'; '.join(wants)}."


def direction_words(way: Floats) -> str:
    """Where to look from, for a direction (3,) out of the limb; empty where it has none."""
    size = float(np.linalg.norm(way))
    if size < 0.25:
        return ""
    if abs(way[2]) > 0.85 * size:
        return "from above" if way[2] > 0 else "from below"
    azimuth = 10 * round(float(np.degrees(np.arctan2(way[0], way[1])) % 360) / 10) % 360
    return f"standing at azimuth {azimuth} degrees from it (clockwise from +y of the scan)"
