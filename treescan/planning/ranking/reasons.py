"""Why this one, and why not that one? Answered from the scores and the checks."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from treescan.planning.ranking.score_rule import pull
from treescan.planning.settings import CRITERIA, PlanningSettings
from treescan.planning.tie_in_point import Judged, Standing, TieInPoint
from treescan.reason import Reason
from treescan.wood.graph import WoodGraph

SHOWS = 0.02
"""Differences that change the score by less than this share are not worth a word."""

WEAK = 0.8
"""A weakest criterion that scores more than this is no argument against a candidate (project choice)."""


def explain(
    graph: WoodGraph,
    ranked: Sequence[Judged],
    standings: Sequence[Standing],
    forward: NDArray[np.bool_],
    settings: PlanningSettings,
) -> list[tuple[Reason, ...]]:
    """Of every candidate in ranking order: what to look at first, why it stands where it stands, why not the
    one above.

    forward : (n,) bool     Of the candidates: those that come before all others, whatever the scores.
    """
    out: list[tuple[Reason, ...]] = []
    seen: set[int] = set()
    for i, (p, standing) in enumerate(zip(ranked, standings, strict=True)):
        second = p.union in seen and (forward[i], standing.score) > (forward[i - 1], standings[i - 1].score)
        seen.add(p.union)
        parted = i > 0 and bool(forward[i - 1] and not forward[i])
        out.append(
            (
                *p.doubts,
                why_this(graph, p, settings),
                *((why_not(ranked[i - 1], p, second, settings, parted),) if i > 0 else ()),
                *_level(ranked, i, standing),
            )
        )
    return out


def _level(ranked: Sequence[Judged], place: int, standing: Standing) -> tuple[Reason, ...]:
    """The next ones from which it cannot be told apart."""
    last = standing.level[1]
    if last <= standing.rank:
        return ()
    return (Reason("tied_with_next", next=ranked[place + 1].named, last=last if last > standing.rank + 1 else None),)


def why_this(graph: WoodGraph, p: Judged, settings: PlanningSettings) -> Reason:
    """Its two strongest points and its weakest, by weighted score."""
    weight = dict(zip(CRITERIA, settings.weights.as_tuple(), strict=True))
    order = sorted(CRITERIA, key=lambda c: -weight[c] * p.scores[c])
    weak = max(CRITERIA, key=lambda c: weight[c] * (1 - p.scores[c]))
    strong = [c for c in order if c != weak][:2]
    return Reason(
        "why_this",
        strong=tuple(fact(graph, c, p) for c in strong),
        weak=fact(graph, weak, p) if p.scores[weak] < WEAK else None,
    )


def why_not(
    better: Judged, p: Judged, second_system: bool, settings: PlanningSettings, parted: bool = False
) -> Reason:
    """What puts `p` behind the one ranked just above it; `second_system`: only that other unions come first;
    `parted`: that the one above holds, and `p` is doubtful or reaches little of the work."""
    if second_system:
        return Reason("ranked_after_other_unions", better=better.named)
    if parted:
        return Reason("ranked_after_what_holds", better=better.named, doubtful=not p.holds)
    gap = _pulls(better, p, settings)
    behind = [c for c in sorted(CRITERIA, key=lambda c: -gap[c]) if gap[c] >= SHOWS][:2]
    ahead = next((c for c in sorted(CRITERIA, key=lambda c: gap[c]) if gap[c] <= -SHOWS), None)
    if not behind:
        return Reason("ranked_after_slightly", better=better.named, ahead=ahead)
    pairs = tuple(
        Reason("score_against", criterion=c, own=p.scores[c], other=better.scores[c]) for c in behind
    )
    return Reason("ranked_after", better=better.named, behind=pairs, ahead=ahead)


def compare(a: TieInPoint, b: TieInPoint, settings: PlanningSettings) -> tuple[Reason, Reason]:
    """Any two candidates held against each other: the better one and why, then the other side."""
    if not (a.usable and b.usable):
        return _one_not_ranked(a, b)
    a, b = (a, b) if (a.holds, a.score) >= (b.holds, b.score) else (b, a)
    if a.holds and not b.holds:
        return Reason("holds_and_other_doubtful", better=a.named, other=b.named), _better_in(a, b, settings)
    gap = _pulls(a, b, settings)
    pro = _criteria([c for c in sorted(CRITERIA, key=lambda c: -gap[c]) if gap[c] > 0][:2])
    first = Reason("scores_more", better=a.named, own=a.score, score=b.score, other=b.named, criteria=pro)
    return first, _better_in(a, b, settings)


def _better_in(a: TieInPoint, b: TieInPoint, settings: PlanningSettings) -> Reason:
    """In what the one that stands behind is the better one."""
    gap = _pulls(a, b, settings)
    con = _criteria([c for c in sorted(CRITERIA, key=lambda c: gap[c]) if gap[c] < 0][:2])
    return Reason("other_better_in", other=b.named, criteria=con) if con else Reason("other_better_in_nothing", other=b.named)


def _one_not_ranked(a: TieInPoint, b: TieInPoint) -> tuple[Reason, Reason]:
    """Two candidates of which at least one is not ranked, and the first thing that stands against each
    such."""
    good, bad = (a, b) if a.usable else (b, a)
    if good.usable:
        return Reason("one_ranked", ranked=good.named, other=bad.named), (*bad.gates, *bad.reasons)[0]
    one, other = (next(iter((*p.gates, *p.reasons)), None) for p in (a, b))
    return Reason("neither_ranked", one=a.named, other=b.named), Reason("first_reasons", one=one, other=other)


def _criteria(names: list[str]) -> tuple[Reason, ...]:
    return tuple(Reason("criterion_named", criterion=c) for c in names)


def _pulls(one: Judged, other: Judged, settings: PlanningSettings) -> dict[str, float]:
    """What each criterion does to the score from `other` to `one`."""
    a, b = (np.array([p.scores[c] for c in CRITERIA]) for p in (one, other))
    return dict(zip(CRITERIA, pull(a, b, np.array(settings.weights.as_tuple())).tolist(), strict=True))


def fact(graph: WoodGraph, criterion: str, p: Judged) -> Reason:
    """What stands behind one score, with its number."""
    if criterion == "height":
        return Reason("fact_height", share=p.scores["height"], height=float(graph.unions.height[p.union]))
    if criterion == "margin":
        return Reason("fact_margin", median=p.check.check.margin.median, p5=p.check.check.margin.p5)
    if criterion == "rope angle":
        served = p.reach.served
        return Reason(
            "fact_rope_angle", angle=float(np.mean(p.reach.angle[served])) if served.any() else float("nan")
        )
    if criterion == "coverage":
        return Reason("fact_coverage", share=p.reach.share)
    if criterion == "isolation":
        if p.throw is None:
            return Reason("fact_no_throw")
        return Reason("fact_throw", throws=p.throw.expected_throws, method=p.throw.method)
    if criterion == "redundancy":
        return _catch_fact(p)
    return Reason("fact_effort", rope=p.rope.length, stops=len([s for s in p.access if s.union is not None]))


def _catch_fact(p: Judged) -> Reason:
    if not p.check.catches:
        return Reason("fact_catch_unknown")
    first = p.check.catches[0]
    return (
        Reason("fact_no_catch") if first.ground else Reason("fact_catch", label=first.label, drop=first.drop)
    )
