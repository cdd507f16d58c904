"""Why this one, and why not that one? Two plain sentences each, from the scores and the checks."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from treescan.planning.ranking.score_rule import pull
from treescan.planning.settings import CRITERIA, PlanningSettings
from treescan.planning.tie_in_point import TieInPoint
from treescan.throw.settings import METHOD_WORDS
from treescan.wood.graph import WoodGraph

SHOWS = 0.02
"""Differences that change the score by less than this share are not worth a word."""


def explain(graph: WoodGraph, ranked: tuple[TieInPoint, ...], settings: PlanningSettings) -> tuple[TieInPoint, ...]:
    """The same candidates with their reasons: what to look at first, why it stands where it stands, why not the one above."""
    out = []
    for i, p in enumerate(ranked):
        words = (*p.doubts, why_this(graph, p, settings))
        if i > 0:
            words = (*words, why_not(ranked[i - 1], p, settings))
        if p.tie:
            words = (*words, f"Cannot be told apart from {name(ranked[i + 1])} with this scan and these weights: a tie.")
        out.append(replace(p, reasons=words))
    return tuple(out)


def name(p: TieInPoint) -> str:
    """How a candidate is called in a sentence."""
    return f"{p.label} {p.system}"


def why_this(graph: WoodGraph, p: TieInPoint, settings: PlanningSettings) -> str:
    """Its two strongest points and its weakest, by weighted score, in one sentence."""
    weight = dict(zip(CRITERIA, settings.weights.as_tuple(), strict=True))
    order = sorted(CRITERIA, key=lambda c: -weight[c] * p.scores[c])
    weak = max(CRITERIA, key=lambda c: weight[c] * (1 - p.scores[c]))
    strong = [c for c in order if c != weak][:2]
    text = f"For it: {fact(graph, strong[0], p)}, and {fact(graph, strong[1], p)}"
    return f"{text}; against it: {fact(graph, weak, p)}." if p.scores[weak] < 0.8 else f"{text}."


def why_not(better: TieInPoint, p: TieInPoint, settings: PlanningSettings) -> str:
    """What puts `p` behind the one ranked just above it."""
    gap = _pulls(better, p, settings)
    behind = [c for c in sorted(CRITERIA, key=lambda c: -gap[c]) if gap[c] >= SHOWS][:2]
    ahead = [c for c in sorted(CRITERIA, key=lambda c: gap[c]) if gap[c] <= -SHOWS][:1]
    if p.score > better.score:
        return f"Ranked after {name(better)} only because other unions come before a second system on the same one."
    text = f"Ranked after {name(better)} for its " + (
        " and ".join(f"{c} ({p.scores[c]:.2f} to {better.scores[c]:.2f})" for c in behind) or "slightly lower scores"
    )
    return f"{text}, although its {ahead[0]} is better." if ahead else f"{text}."


def compare(a: TieInPoint, b: TieInPoint, settings: PlanningSettings) -> tuple[str, str]:
    """Any two candidates held against each other, in two sentences: the better one and why, then the other side."""
    if not (a.usable and b.usable):
        good, bad = (a, b) if a.usable else (b, a)
        if not good.usable:
            return f"Neither {name(a)} nor {name(b)} is ranked.", " ".join((*(*a.gates, *a.reasons)[:1], *(*b.gates, *b.reasons)[:1]))
        return f"{name(good)} is ranked, {name(bad)} is not.", (*bad.gates, *bad.reasons)[0]
    a, b = (a, b) if a.score >= b.score else (b, a)
    gap = _pulls(a, b, settings)
    pro = [c for c in sorted(CRITERIA, key=lambda c: -gap[c]) if gap[c] > 0][:2]
    con = [c for c in sorted(CRITERIA, key=lambda c: gap[c]) if gap[c] < 0][:2]
    first = f"{name(a)} scores {a.score:.2f} against {b.score:.2f} of {name(b)}" + (f", mostly for {' and '.join(pro)}." if pro else ".")
    second = f"{name(b)} is better in {' and '.join(con)}." if con else f"{name(b)} is better in nothing that is scored."
    return first, second


def _pulls(one: TieInPoint, other: TieInPoint, settings: PlanningSettings) -> dict[str, float]:
    """What each criterion does to the score from `other` to `one`."""
    a, b = (np.array([p.scores[c] for c in CRITERIA]) for p in (one, other))
    return dict(zip(CRITERIA, pull(a, b, np.array(settings.weights.as_tuple())).tolist(), strict=True))


def fact(graph: WoodGraph, criterion: str, p: TieInPoint) -> str:
    """What stands behind one score, as a clause with its number."""
    if criterion == "height":
        return f"{100 * p.scores['height']:.0f} % of the work lies below it (union at {graph.unions.height[p.union]:.1f} m)"
    if criterion == "margin":
        m = p.check.check.margin
        return f"strength is {m.median:.1f} times the stress, at least {m.p5:.1f} on the low side"
    if criterion == "rope angle":
        served = p.reach.served
        mean = np.degrees(np.mean(p.reach.angle[served])) if served.any() else float("nan")
        return f"the rope angle over the work it serves is {mean:.0f} degrees in the mean"
    if criterion == "coverage":
        return f"it serves {100 * p.reach.share:.0f} % of the work"
    if criterion == "isolation":
        if p.throw is None:
            return "no throw from the ground sets it, it is reached by climbing"
        how = METHOD_WORDS.get(p.throw.method, p.throw.method)
        number = max(1, round(p.throw.expected_throws))
        return f"{'nearly every throw' if number == 1 else f'about one throw in {number}'} sets the line ({how})"
    if criterion == "redundancy":
        if not p.check.catches:
            return "what catches the rope if it fails is not known"
        first = p.check.catches[0]
        return "nothing catches the rope if it fails" if first.ground else f"if it fails {first.label} catches after a drop of {first.drop:.1f} m"
    return f"{p.rope.length:.0f} m of rope and {len([s for s in p.access if s.union is not None])} stop(s) on the way up"
