"""In which order should candidates be inspected, and how robust is that order?

One rule from scores to places, used on the first ranking and on every re-ranking after a competent person's
word.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from treescan.planning.ranking.reasons import explain
from treescan.planning.ranking.score_rule import combined
from treescan.planning.settings import CRITERIA, PlanningSettings
from treescan.planning.tie_in_point import NOT_RANKED, Floats, Judged, Standing, TieInPoint
from treescan.wood.graph import WoodGraph

BEHIND = 2.0
"""Taken off the score of an anchor that stands behind for its place alone: scores are at most 1."""

LITTLE = 0.1
"""An anchor that reaches less than this share of the work of the one that reaches most is no way to do the work: it
does not come before a doubtful one for its strength (project choice)."""


def order_points(
    graph: WoodGraph, points: Sequence[Judged], settings: PlanningSettings, seed: int
) -> tuple[TieInPoint, ...]:
    """Give every candidate its place in the list and its reasons.

    Parameters
    ----------
    points : as judged; a place they had in an earlier list is forgotten.

    Returns
    -------
    tuple of TieInPoint     Usable ones by rank 1, 2, ...; then the others, highest union first, with rank 0.

    Notes
    -----
    What the sums say comes first: no doubtful anchor stands before one that holds (`Judged.holds`), if that
    reaches more than a little of the work. Within both groups the score `score_rule.combined` decides. Different unions are more
    useful alternatives than one union rigged three ways, so the best row of each union comes first; the other
    systems of these unions follow.
    Each of the `draws` perturbed rankings draws its own weights (lognormal) and its own scores (normal,
    `score_sd`) and is ordered by the same rule. Stability is the share of draws in which a candidate keeps
    its place, or differs by less than `tie_band` from who has it.
    """
    usable = [p for p in points if p.usable]
    others = sorted(
        (p for p in points if not p.usable), key=lambda p: (-p.place[2], p.label, p.system, p.hardware)
    )
    not_ranked = tuple(TieInPoint.of(p, NOT_RANKED, p.gates) for p in others)
    if not usable:
        return not_ranked
    turn, standings = _standings(usable, settings, seed)
    in_order = [usable[i] for i in turn]
    front = forward(in_order)
    reasons = explain(graph, in_order, standings, front, settings)
    return tuple(TieInPoint.of(*row) for row in zip(in_order, standings, reasons, strict=True)) + not_ranked


def _standings(
    usable: Sequence[Judged], settings: PlanningSettings, seed: int
) -> tuple[list[int], list[Standing]]:
    """Rows in ranking order, and where each of them stands."""
    value = np.array([[p.scores[c] for c in CRITERIA] for p in usable])
    error = np.array([[p.score_sd.get(c, 0.0) for c in CRITERIA] for p in usable])
    weights = np.array(settings.weights.as_tuple())
    union = np.array([p.union for p in usable])
    score = combined(value, weights)
    behind = np.where(forward(usable), 0.0, BEHIND)
    turn = places(score - behind, union)
    draws = perturbed_scores(value, error, weights, settings, seed) - behind
    keeps, first = _robustness(draws, union, turn, settings.tie_band)
    best = pareto(value)
    level = level_ranks(draws[:, turn], _parted(turn, union), settings.tie_confidence)
    return turn.tolist(), [
        Standing(k + 1, float(score[i]), bool(best[i]), float(keeps[k]), float(first[k]), level[k])
        for k, i in enumerate(turn)
    ]


def level_ranks(draws: Floats, part: NDArray, confidence: float) -> list[tuple[int, int]]:
    """First and last rank of the places from which each place cannot be told apart, its own among them.

    Parameters
    ----------
    draws : (draws, n) float    Scores in ranking order, each draw with its own weights and errors.
    part : (n,) int             Places of different parts of the list are never level.
    confidence : float          Two places are level where the better one leads in fewer of the draws.

    Notes
    -----
    Level goes no farther than the first place that can be told apart. It is not handed on: with 1 level with 2 and
    2 with 3, rank 1 may still lead 3.
    """

    def level(i: int, j: int) -> bool:
        return bool(part[i] == part[j] and np.mean(draws[:, i] > draws[:, j]) < confidence)

    out = []
    for k in range(draws.shape[1]):
        up, down = k, k
        while up > 0 and level(up - 1, k):
            up -= 1
        while down + 1 < draws.shape[1] and level(k, down + 1):
            down += 1
        out.append((up + 1, down + 1))
    return out


def forward(points: Sequence[Judged]) -> NDArray[np.bool_]:
    """True for those that hold and reach more than a little of the work, (n,)."""
    share = np.array([p.reach.share for p in points])
    return np.array([p.holds for p in points]) & (share >= LITTLE * share.max(initial=0.0))


def places(score: Floats, union: NDArray) -> NDArray[np.int64]:
    """Rows in ranking order, for scores (..., n) of rows that belong to unions (n,): the best row of each
    union by score, then the remaining rows by score; ties keep the input order."""
    by_score = np.argsort(-score, axis=-1, kind="stable")
    of = union[by_score]
    together = np.argsort(of, axis=-1, kind="stable")  # rows of one union side by side, the best first
    of = np.take_along_axis(of, together, axis=-1)
    follows = np.zeros(of.shape, bool)
    np.put_along_axis(follows, together[..., 1:], of[..., 1:] == of[..., :-1], axis=-1)
    return np.take_along_axis(by_score, np.argsort(follows, axis=-1, kind="stable"), axis=-1)


def pareto(value: Floats) -> NDArray[np.bool_]:
    """True where no other row is at least as good in every column and better in one, (n,)."""
    at_least = np.all(value[:, None] >= value[None], axis=2)
    better = np.any(value[:, None] > value[None], axis=2)
    return ~np.any(at_least & better, axis=0)


def perturbed_scores(
    value: Floats, error: Floats, weights: Floats, settings: PlanningSettings, seed: int
) -> Floats:
    """Scores of all candidates in every draw, (draws, n)."""
    rng = np.random.default_rng(seed)
    w = weights * np.exp(rng.normal(0.0, settings.weight_scatter, (settings.draws, len(weights))))
    w /= w.sum(axis=1, keepdims=True)
    noisy = np.clip(value + error * rng.standard_normal((settings.draws, *value.shape)), 0.0, 1.0)
    return combined(noisy, w[:, None, :])


def _robustness(draws: Floats, union: NDArray, turn: NDArray, band: float) -> tuple[Floats, Floats]:
    """Per place, shares of the draws: its holder keeps it, its holder comes first."""
    now = places(draws, union)
    own = draws[:, turn]
    keeps = np.mean((now == turn) | (np.abs(np.take_along_axis(draws, now, axis=1) - own) <= band), axis=0)
    first = np.mean(turn == now[:, :1], axis=0)
    return keeps, first


def _parted(turn: NDArray, union: NDArray) -> NDArray[np.int64]:
    """0 for the best rows of unions, 1 for the other systems, in ranking order, (n,)."""
    return (np.arange(len(turn)) >= len(np.unique(union))).astype(np.int64)
