"""How is each work point reached, and which part of the crown stays out of reach?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from treescan.planning.settings import PlanningSettings
from treescan.planning.tie_in_point import TieInPoint, Work
from treescan.reason import Reason
from treescan.wood.graph import WoodGraph

HOW = ROPE, REDIRECT, LIMB_WALK, POLE_SAW, NOT_REACHED = ("rope", "redirect", "limb walk", "pole saw", "not reached")
"""Ways to reach a work point.

- rope: served by the straight rope of a ranked tie-in point,
- redirect: by its rope over another union that holds by all forces,
- limb walk: beyond the rope angle limit but within the walking limit, on a limb thick enough to walk, with a
second attachment,
- pole saw: no farther than a pole saw reaches from a place reached otherwise,
- not reached: by no ranked tie-in point.
"""


@dataclass(frozen=True)
class WayToWork:
    """label : of the work point; how : one of `HOW`; by : tie-in point, "" = none; angle : of the rope there
    [rad]; low : of a judged limb walk, the low side of the margin of anchor and trodden wood, of a redirect that of both
    unions, else NaN; why : it is not reached, None where it is or nobody looked."""

    label: str
    how: str
    by: str
    angle: float
    low: float = float("nan")
    why: Reason | None = None


@dataclass(frozen=True)
class Stratum:
    """One part of the crown.

    Height class and distance class (1 = lowest, innermost), weight of work in it, and shares in [0, 1]: by the straight
    rope alone, and any way; height : bounds over the stem's foot, distance : bounds from it in plan [m]; points : of work.
    """

    height_class: int
    distance_class: int
    weight: float
    by_rope: float
    with_walking: float
    height: tuple[float, float]
    distance: tuple[float, float]
    points: int


def ways_to_work(
    graph: WoodGraph, points: Sequence[TieInPoint], work: Work, settings: PlanningSettings
) -> tuple[WayToWork, ...]:
    """The way to every work point, by the best-ranked tie-in point that offers the better way."""
    usable = sorted((p for p in points if p.usable), key=lambda p: p.rank)
    thick = _diameter_at(graph, work) >= settings.walk_diameter
    out = []
    for w, label in enumerate(work.label):
        found = [p for p in usable if p.reach.served[w]]
        how = ROPE
        if not found and thick[w]:
            found = [p for p in usable if p.reach.fouled[w] < 0 and p.reach.angle[w] <= settings.walk_limit]
            how = LIMB_WALK
        if found:
            out.append(
                WayToWork(label, how, f"{found[0].label} {found[0].system}", float(found[0].reach.angle[w]))
            )
        else:
            out.append(WayToWork(label, NOT_REACHED, "", float("nan")))
    return tuple(out)


def reached_shares(work: Work, ways: Sequence[WayToWork]) -> dict[str, float]:
    """Weighted share of the work reached each way; the shares sum to 1."""
    total = float(work.weight.sum())
    return {
        h: float(sum(w for w, x in zip(work.weight, ways, strict=True) if x.how == h)) / total for h in HOW
    }


def access_bias(
    graph: WoodGraph, work: Work, ways: Sequence[WayToWork], classes: int = 3
) -> tuple[Stratum, ...]:
    """Reached share by height and by distance from the stem's foot: what a sample taken on ropes would miss.

    classes : int   Equal steps between the lowest and highest work, and between the nearest and farthest.
    """
    height, rise = _classed(work.xyz[:, 2] - graph.xyz[0, 2], classes)
    distance, out_to = _classed(np.hypot(*(work.xyz[:, :2] - graph.xyz[0, :2]).T), classes)
    how = np.array([HOW.index(x.how) for x in ways])
    out = []
    for h in range(classes):
        for d in range(classes):
            rows = (height == h) & (distance == d)
            weight = float(work.weight[rows].sum())
            if weight > 0:
                rope = float(work.weight[rows & (how == 0)].sum()) / weight
                any_way = float(work.weight[rows & (how < len(HOW) - 1)].sum()) / weight
                between = ((rise[h], rise[h + 1]), (out_to[d], out_to[d + 1]))
                out.append(Stratum(h + 1, d + 1, weight, rope, any_way, *between, int(rows.sum())))
    return tuple(out)


def _classed(values: NDArray[np.float64], classes: int) -> tuple[NDArray[np.int64], list[float]]:
    """The class of each value, and the bounds of the classes."""
    edges = np.linspace(values.min(), values.max() + 1e-9, classes + 1)
    return np.clip(np.searchsorted(edges, values, side="right") - 1, 0, classes - 1), edges.tolist()


def _diameter_at(graph: WoodGraph, work: Work) -> NDArray[np.float64]:
    """Diameter of the wood nearest to each work point. [m]"""
    seg = graph.segments
    _, near = cKDTree((seg.start + seg.end) / 2).query(work.xyz)
    return seg.r_start[near] + seg.r_end[near]
