"""Which few tie-in points together serve all the work, and in which order are they visited?"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations, pairwise, permutations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_array, hstack, vstack

from treescan.errors import RunFailed
from treescan.planning.climb.independent import independence
from treescan.planning.settings import PlanningSettings
from treescan.planning.tie_in_point import Floats, TieInPoint, Work
from treescan.wood.graph import WoodGraph

MOST_ENUMERATED = 7
"""Visiting orders are compared one by one up to this many tie-in points, beyond that the nearest next one is taken."""

MOST_PAIRED = 24
"""Unions considered for two-line plans, the best ranked first: pairs grow with the square."""


@dataclass(frozen=True)
class AnchorSet:
    """A set of tie-in points.

    points : in visiting order; served : (w,) int32, index into `points` of the line to use at each work point, -1 = by none;
    second : (w,) int32 index of the second line, -1 = none; share : weighted share of the work served; unserved : labels; words
    : sentences.
    """

    points: tuple[TieInPoint, ...]
    served: NDArray[np.int32]
    second: NDArray[np.int32]
    share: float
    unserved: tuple[str, ...]
    words: tuple[str, ...]


def one_per_union(points: tuple[TieInPoint, ...]) -> tuple[TieInPoint, ...]:
    """The best-ranked usable row of every union."""
    best: dict[int, TieInPoint] = {}
    for p in sorted((p for p in points if p.usable), key=lambda p: p.rank):
        best.setdefault(p.union, p)
    return tuple(best.values())


def fewest_cover(serves: ArrayLike, worth: ArrayLike) -> NDArray[np.int64]:
    """Fewest columns that together serve every row any column serves; among equal counts the largest total worth.

    Parameters
    ----------
    serves : (w, n) bool        Row served by column.
    worth : (n,) float          In [0, 1].

    Returns
    -------
    (k,) int    Chosen columns, ascending. The integer programme is solved to the optimum by HiGHS.
    """
    a, s = np.asarray(serves, bool), np.asarray(worth, float)
    rows = hardest_rows(a[a.any(axis=1)])
    n = a.shape[1]
    if len(rows) == 0:
        return np.zeros(0, np.int64)
    cost = 1.0 - s * 0.5 / n
    found = milp(
        cost,
        constraints=LinearConstraint(csr_array(rows.astype(float)), 1.0, np.inf),
        integrality=np.ones(n),
        bounds=Bounds(0, 1),
    )
    return _chosen(found, n)


def hardest_rows(serves: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """The rows that decide a cover: each once, and none that is served whenever another is (a superset of its columns)."""
    rows = np.unique(serves, axis=0)
    if len(rows) < 2:
        return rows
    inside = rows.astype(np.int32) @ rows.T.astype(np.int32) == rows.sum(axis=1)[:, None]  # row i lies within row j
    np.fill_diagonal(inside, False)
    return rows[~inside.any(axis=0)]


def widest_cover(serves: ArrayLike, weight: ArrayLike, most: int) -> NDArray[np.int64]:
    """At most `most` columns that together serve the largest weight of rows, (k,) int."""
    a, w = np.asarray(serves, bool), np.asarray(weight, float)
    rows, n = a.shape
    cost = np.concatenate([np.full(n, 1e-6 * w.sum() / max(n, 1)), -w])
    linked = hstack([csr_array(a.astype(float)), csr_array(-np.eye(rows))])
    count = np.concatenate([np.ones(n), np.zeros(rows)])[None]
    limits = [LinearConstraint(linked, 0.0, np.inf), LinearConstraint(count, 0, most)]
    found = milp(cost, constraints=limits, integrality=np.ones(n + rows), bounds=Bounds(0, 1))
    return _chosen(found, n)


def fewest_double_cover(serves: ArrayLike, apart: ArrayLike, worth: ArrayLike) -> NDArray[np.int64]:
    """Fewest columns so that every row has two independent ones, where any independent pair serves it, (k,) int.

    Parameters
    ----------
    apart : (n, n) bool     Which pairs of columns are independent.
    """
    a, s = np.asarray(serves, bool), np.asarray(worth, float)
    n = a.shape[1]
    pairs = [(i, j) for i, j in combinations(range(n), 2) if np.asarray(apart)[i, j] and (a[:, i] & a[:, j]).any()]
    if not pairs:
        return np.zeros(0, np.int64)
    first, second = np.array(pairs).T
    both = a[:, first] & a[:, second]
    both = hardest_rows(both[both.any(axis=1)])
    m = len(pairs)
    use = csr_array(np.eye(m))
    at_first = hstack([csr_array((np.ones(m), (np.arange(m), first)), shape=(m, n)), -use])
    at_second = hstack([csr_array((np.ones(m), (np.arange(m), second)), shape=(m, n)), -use])
    cover = hstack([csr_array((len(both), n)), csr_array(both.astype(float))])
    limits = [LinearConstraint(vstack([at_first, at_second]), 0.0, np.inf), LinearConstraint(cover, 1.0, np.inf)]
    cost = np.concatenate([1.0 - s * 0.5 / n, np.zeros(m)])
    found = milp(cost, constraints=limits, integrality=np.ones(n + m), bounds=Bounds(0, 1))
    return _chosen(found, n)


def anchor_set(points: tuple[TieInPoint, ...], work: Work, settings: PlanningSettings, most: int = 0) -> AnchorSet:
    """Fewest tie-in points that serve all work that can be served; with `most` > 0, the widest coverage by at most that many."""
    choice = one_per_union(points)
    if not choice:
        return _set((), work, ("No usable tie-in point: no set.",))
    serves = np.array([p.reach.served for p in choice]).T
    worth = np.array([p.score for p in choice])
    rows = widest_cover(serves, work.weight, most) if most > 0 else fewest_cover(serves, worth)
    return _set(visiting_order(tuple(choice[i] for i in rows), settings), work)


def two_line_set(graph: WoodGraph, points: tuple[TieInPoint, ...], work: Work, settings: PlanningSettings) -> AnchorSet:
    """Fewest tie-in points so that every work point has two lines on independent unions, wherever two can serve it."""
    choice = one_per_union(points)[:MOST_PAIRED]
    if len(choice) < 2:
        return _set((), work, ("Fewer than two usable unions: no two-line plan on this tree.",))
    serves = np.array([p.reach.served for p in choice]).T
    apart = independence(graph, choice, settings.apart_on_stem)
    rows = fewest_double_cover(serves, apart, np.array([p.score for p in choice]))
    ordered = visiting_order(tuple(choice[i] for i in rows), settings)
    out = _set(ordered, work)
    return _with_second(graph, out, work, settings.apart_on_stem)


def visiting_order(points: tuple[TieInPoint, ...], settings: PlanningSettings) -> tuple[TieInPoint, ...]:
    """Order of least travel: up to the first tie-in point, then from one to the next (straight distances)."""
    if len(points) < 2:
        return points
    place = np.array([p.place for p in points])
    gap = np.linalg.norm(place[:, None] - place[None], axis=2)
    climb = np.array([max((s.height for s in p.access), default=0.0) + settings.minutes_per_step * max(len(p.access) - 2, 0) for p in points])

    def travel(order: tuple[int, ...]) -> float:
        return float(climb[order[0]] + sum(gap[a, b] for a, b in pairwise(order)))

    n = len(points)
    orders = permutations(range(n)) if n <= MOST_ENUMERATED else (_nearest_next(gap, start) for start in range(n))
    best = min(orders, key=travel)
    return tuple(points[i] for i in best)


def _nearest_next(gap: Floats, start: int) -> tuple[int, ...]:
    order, left = [start], set(range(len(gap))) - {start}
    while left:
        order.append(min(left, key=lambda j: gap[order[-1], j]))
        left.remove(order[-1])
    return tuple(order)


def _chosen(found: object, n: int) -> NDArray[np.int64]:
    x = getattr(found, "x", None)
    if x is None:
        raise RunFailed(f"the integer programme found no set: {getattr(found, 'message', '')}")
    return np.flatnonzero(np.asarray(x)[:n] > 0.5)


def _set(points: tuple[TieInPoint, ...], work: Work, words: tuple[str, ...] = ()) -> AnchorSet:
    """Every work point goes to the line with the smallest rope angle."""
    none = np.full(len(work), -1, np.int32)
    if not points:
        return AnchorSet((), none, none, 0.0, work.label, words)
    angle = np.array([np.where(p.reach.served, p.reach.angle, np.inf) for p in points])
    served = np.where(np.isfinite(angle.min(axis=0)), angle.argmin(axis=0), -1).astype(np.int32)
    share = float(work.weight[served >= 0].sum() / work.weight.sum())
    left = tuple(name for name, s in zip(work.label, served, strict=True) if s < 0)
    names = ", then ".join(f"{p.label} ({p.system})" for p in points)
    text = f"{len(points)} tie-in point(s) serve {100 * share:.0f} % of the work: {names}."
    more = (f"{len(left)} work point(s) are served by no ranked tie-in point: redirect, second line, pole tools or other means.",) if left else ()
    return AnchorSet(points, served, none, share, left, (text, *more, *words))


def _with_second(graph: WoodGraph, chosen: AnchorSet, work: Work, thicker: float) -> AnchorSet:
    """The second line of every work point: independent of the first, smallest rope angle."""
    apart = independence(graph, chosen.points, thicker)
    first, second = chosen.served.copy(), np.full(len(work), -1, np.int32)
    for w in range(len(work)):
        able = [i for i, p in enumerate(chosen.points) if p.reach.served[w]]
        pairs = [(i, j) for i in able for j in able if apart[i, j]]
        if pairs:
            first[w], second[w] = min(pairs, key=lambda ij: sum(chosen.points[k].reach.angle[w] for k in ij))
    double = float(work.weight[second >= 0].sum() / work.weight.sum())
    text = f"Two independent lines reach {100 * double:.0f} % of the work."
    return AnchorSet(chosen.points, first, second, chosen.share, chosen.unserved, (*chosen.words, text))
