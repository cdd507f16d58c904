"""Which few tie-in points together serve all the work, and in which order are they visited?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import combinations, pairwise, permutations
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from treescan.planning.sets.covers import fewest_cover, fewest_double_cover, widest_cover
from treescan.planning.sets.independent import independence
from treescan.planning.settings import PlanningSettings
from treescan.planning.tie_in_point import Floats, TieInPoint, Work
from treescan.reason import Reason
from treescan.wood.graph import WoodGraph

MOST_ENUMERATED = 7
"""Visiting orders are compared one by one up to this many tie-in points, beyond that the nearest next one is
taken."""

MOST_PAIRED = 24
"""Unions considered for two-line plans, the best ranked first: pairs grow with the square."""


@dataclass(frozen=True)
class AnchorSet:
    """A set of tie-in points.

    points : in visiting order; served : (w,) int32, index into `points` of the line to use at each work
    point, -1 = by none; second : (w,) int32 index of the second line, -1 = none; share : weighted share of
    the work served; unserved : labels; reasons : what was found.
    """

    points: tuple[TieInPoint, ...]
    served: NDArray[np.int32]
    second: NDArray[np.int32]
    share: float
    unserved: tuple[str, ...]
    reasons: tuple[Reason, ...]


def one_per_union(points: tuple[TieInPoint, ...]) -> tuple[TieInPoint, ...]:
    """The best-ranked usable row of every union."""
    best: dict[int, TieInPoint] = {}
    for p in sorted((p for p in points if p.usable), key=lambda p: p.rank):
        best.setdefault(p.union, p)
    return tuple(best.values())


def anchor_set(
    points: tuple[TieInPoint, ...], work: Work, settings: PlanningSettings, most: int = 0
) -> AnchorSet:
    """Fewest tie-in points that hold and serve all work such ones can serve, and the fewest doubtful ones for what
    is left; with `most` > 0, the widest coverage by at most that many, those that hold first."""
    if not any(p.usable for p in points):
        return _nothing(work, Reason("set_none"))
    chosen = _cover(one_per_union(tuple(p for p in points if p.holds)), work, np.zeros(len(work), bool), most)
    left = most - len(chosen)
    if most <= 0 or left > 0:
        done = np.logical_or.reduce([p.reach.served for p in chosen]) if chosen else np.zeros(len(work), bool)
        doubtful = one_per_union(tuple(p for p in points if p.usable and not p.holds))
        chosen = (*chosen, *_cover(doubtful, work, done, max(left, 0) if most > 0 else 0))
    return _one_line_each(visiting_order(chosen, settings), work)


def _cover(
    choice: tuple[TieInPoint, ...], work: Work, done: NDArray[np.bool_], most: int
) -> tuple[TieInPoint, ...]:
    """Of some anchors the fewest, or at most `most`, that serve what is not `done` (w,) and they can serve."""
    if not choice:
        return ()
    serves = np.array([p.reach.served & ~done for p in choice]).T
    worth = np.array([p.score for p in choice])
    rows = widest_cover(serves, work.weight, most) if most > 0 else fewest_cover(serves, worth)
    return tuple(choice[i] for i in rows if serves[:, i].any())


def paired(points: tuple[TieInPoint, ...]) -> tuple[TieInPoint, ...]:
    """The tie-in points that two-line plans are made of; none that holds one climber only."""
    return one_per_union(tuple(p for p in points if not p.check.one_climber_only))[:MOST_PAIRED]


Refused = Mapping[frozenset[str], NDArray[np.bool_]]
"""Pairs of lines by their names, and the work points (w,) where the sums refuse the two together."""


def two_line_set(
    graph: WoodGraph,
    points: tuple[TieInPoint, ...],
    work: Work,
    settings: PlanningSettings,
    refused: Refused = MappingProxyType({}),
) -> AnchorSet:
    """Fewest tie-in points so that every work point has two lines on independent unions, wherever two can
    serve it and are not `refused` there."""
    choice = paired(points)
    if len(choice) < 2:
        return _nothing(work, Reason("two_lines_none"))
    serves = np.array([p.reach.served for p in choice]).T
    apart = independence(graph, choice, settings.apart_on_stem)
    if not apart.any():
        return _nothing(work, Reason("two_lines_share_wood"))
    barred = {
        (i, j): refused[names]
        for i, j in combinations(range(len(choice)), 2)
        if (names := frozenset((choice[i].name, choice[j].name))) in refused
    }
    rows = fewest_double_cover(serves, apart, np.array([p.score for p in choice]), barred)
    ordered = visiting_order(tuple(choice[i] for i in rows), settings)
    return _two_lines_each(graph, ordered, work, settings.apart_on_stem, refused)


def visiting_order(points: tuple[TieInPoint, ...], settings: PlanningSettings) -> tuple[TieInPoint, ...]:
    """Order of least travel: up to the first tie-in point, then from one to the next (straight distances)."""
    if len(points) < 2:
        return points
    place = np.array([p.place for p in points])
    gap = np.linalg.norm(place[:, None] - place[None], axis=2)
    climb = np.array(
        [
            max((s.height for s in p.access), default=0.0)
            + settings.minutes_per_step * max(len(p.access) - 2, 0)
            for p in points
        ]
    )

    def travel(order: tuple[int, ...]) -> float:
        return float(climb[order[0]] + sum(gap[a, b] for a, b in pairwise(order)))

    n = len(points)
    orders = (
        permutations(range(n)) if n <= MOST_ENUMERATED else (_nearest_next(gap, start) for start in range(n))
    )
    best = min(orders, key=travel)
    return tuple(points[i] for i in best)


def _nearest_next(gap: Floats, start: int) -> tuple[int, ...]:
    order, left = [start], set(range(len(gap))) - {start}
    while left:
        order.append(min(left, key=lambda j: gap[order[-1], j]))
        left.remove(order[-1])
    return tuple(order)


def _nothing(work: Work, why: Reason) -> AnchorSet:
    """No set, and why."""
    none = np.full(len(work), -1, np.int32)
    return AnchorSet((), none, none, 0.0, work.label, (why,))


def _nearest_plumb(points: tuple[TieInPoint, ...], work: Work) -> NDArray[np.int32]:
    """For every work point the line with the smallest rope angle of those that hold, or else of the doubtful ones;
    -1 where none serves it, (w,)."""
    if not points:
        return np.full(len(work), -1, np.int32)
    angle = np.array([np.where(p.reach.served, p.reach.angle, np.inf) + (0 if p.holds else np.pi) for p in points])
    return np.where(np.isfinite(angle.min(axis=0)), angle.argmin(axis=0), -1).astype(np.int32)


def _one_line_each(points: tuple[TieInPoint, ...], work: Work) -> AnchorSet:
    """The set with one line to every work point."""
    served = _nearest_plumb(points, work)
    share, unserved, reasons = _coverage(points, served, work)
    return AnchorSet(points, served, np.full(len(work), -1, np.int32), share, unserved, reasons)


def _coverage(
    points: tuple[TieInPoint, ...], served: NDArray[np.int32], work: Work
) -> tuple[float, tuple[str, ...], tuple[Reason, ...]]:
    """Share of the work that some line of the set serves, the labels of the rest, and what there is to say
    about both."""
    unserved = tuple(name for name, line in zip(work.label, served, strict=True) if line < 0)
    if not points:
        return 0.0, unserved, ()
    share = float(work.weight[served >= 0].sum() / work.weight.sum())
    serves = Reason(
        "set_serves",
        n=len(points),
        share=share,
        anchors=tuple(p.name for p in points),
        ordered=len(points) > 1,
    )
    lines = tuple(i for i, p in enumerate(points) if not p.holds)
    doubtful = Reason(
        "set_doubtful",
        anchors=tuple(points[i].name for i in lines),
        share=float(work.weight[np.isin(served, lines)].sum() / work.weight.sum()),
    )
    leaves = Reason("set_leaves", n=len(unserved))
    return share, unserved, (serves, *((doubtful,) if lines else ()), *((leaves,) if unserved else ()))


def _two_lines_each(
    graph: WoodGraph, points: tuple[TieInPoint, ...], work: Work, thicker: float, refused: Refused
) -> AnchorSet:
    """The set with two lines to every work point where two independent ones serve it: those with the
    smallest rope angles together."""
    apart = independence(graph, points, thicker)
    nearest = _nearest_plumb(points, work)
    first, second = nearest.copy(), np.full(len(work), -1, np.int32)
    for w in range(len(work)):
        able = [i for i, p in enumerate(points) if p.reach.served[w]]
        pairs = [
            (i, j)
            for i in able
            for j in able
            if apart[i, j] and not _refused(refused, points[i], points[j], w)
        ]
        if pairs:
            first[w], second[w] = min(pairs, key=lambda ij: sum(points[k].reach.angle[w] for k in ij))
    double = float(work.weight[second >= 0].sum() / work.weight.sum())
    share, unserved, reasons = _coverage(points, nearest, work)
    return AnchorSet(
        points, first, second, share, unserved, (*reasons, Reason("two_lines_reach", share=double))
    )


def _refused(refused: Refused, one: TieInPoint, other: TieInPoint, work: int) -> bool:
    """True where the sums refuse the two lines together at one work point."""
    rows = refused.get(frozenset((one.name, other.name)))
    return rows is not None and bool(rows[work])
