"""What a competent person says on the day: defects, refused anchors, load-test results.

Logged, and the list re-ranked at once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from treescan.errors import BadInput
from treescan.estimate import Estimate
from treescan.planning.ranking.gates import verdict
from treescan.planning.ranking.order import order_points
from treescan.planning.ranking.scores import margin_score
from treescan.planning.settings import PlanningSettings
from treescan.planning.tie_in_point import TieInPoint
from treescan.planning.work.removal import dies_with
from treescan.wood.graph import WoodGraph

KINDS = ("refused", "dead", "defect", "load test failed", "load test passed", "note")
"""What can be stated; no kind lifts a gate: what the computation refuses stays refused.

- refused, load test failed, load test passed: of a union,
- dead: a limb and all it carries, or everything higher than `above` metres over the stem's foot,
- defect: `value` is the share of strength left on a limb and all it carries,
- note: words only.

A passed load test and a note stand with the candidate and change neither its verdict nor its place.
"""


@dataclass(frozen=True)
class Override:
    """One statement.

    union : label, or ""; limb : limb id, or -1; above : height over the stem's foot [m], or NaN; value : share of strength left
    (defect only); who, when, why : mandatory.
    """

    kind: str
    who: str
    why: str
    when: str
    union: str = ""
    limb: int = -1
    value: float = float("nan")
    above: float = float("nan")

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise BadInput(f"override '{self.kind}' is not known", remedy=f"use one of {', '.join(KINDS)}")
        if not (self.who.strip() and self.why.strip() and self.when.strip()):
            raise BadInput("an override needs who said it, when, and why")
        if not self._says_what():
            raise BadInput(f"override '{self.kind}' does not say which limb or union it is about")
        if self.kind == "defect" and not 0 <= self.value <= 1:
            raise BadInput("a defect needs the share of strength left, between 0 and 1")

    def _says_what(self) -> bool:
        """True when it names the limb, the union or the height its kind needs."""
        if self.kind in {"refused", "load test failed", "load test passed"}:
            return bool(self.union)
        return self.kind == "note" or self.limb >= 0 or (self.kind == "dead" and self.above >= 0)

    def sentence(self) -> str:
        """As it is logged and printed."""
        where = f"everything above {self.above:.1f} m" if self.above >= 0 else "the tree"
        about = self.union or (f"limb {self.limb}" if self.limb >= 0 else where)
        share = f" ({100 * self.value:.0f} % of the strength left)" if self.kind == "defect" else ""
        return f"{self.when}, {self.who}: {about} {self.kind}{share}: {self.why}"


@dataclass(frozen=True)
class Revision:
    """A re-ranked list and how it came about: points, and one line a statement with what it changed."""

    points: tuple[TieInPoint, ...]
    log: tuple[str, ...]


def with_overrides(graph: WoodGraph, points: Sequence[TieInPoint], overrides: Sequence[Override], settings: PlanningSettings, seed: int) -> Revision:
    """Apply statements in their order and rank again, from the numbers already there: no throw and no force is computed anew."""
    now, log = tuple(points), []
    for o in overrides:
        changed = tuple(_one(graph, p, o, settings) for p in now)
        touched = sorted({a.label for a, b in zip(changed, now, strict=True) if a is not b})
        log.append(f"{o.sentence()} -> {'changes ' + ', '.join(touched) if touched else 'changes no candidate'}")
        now = changed
    before = [f"{p.label} {p.system}" for p in points if p.rank == 1]
    ranked = order_points(graph, now, settings, seed)
    after = [f"{p.label} {p.system}" for p in ranked if p.rank == 1]
    if before != after:
        log.append(f"First to inspect was {before[0] if before else 'none'}, is now {after[0] if after else 'none'}")
    return Revision(ranked, tuple(log))


def _one(graph: WoodGraph, p: TieInPoint, o: Override, settings: PlanningSettings) -> TieInPoint:
    """One candidate after one statement; the same object when it is not touched."""
    if not _concerns(graph, p, o):
        return p
    if o.kind == "load test passed":
        return replace(p, doubts=(*p.doubts, f"Load test passed, {o.when}, {o.who}: {o.why}"))
    if o.kind == "note":
        return replace(p, doubts=(*p.doubts, o.sentence()))
    if o.kind == "defect":
        return _weakened(graph, p, o, settings)
    return _settled(p, (*p.gates, f"{o.kind[0].upper()}{o.kind[1:]}, {o.when}, {o.who}: {o.why}"), p.doubts)


def _concerns(graph: WoodGraph, p: TieInPoint, o: Override) -> bool:
    if o.limb >= 0:
        if o.limb >= len(graph.limbs):
            raise BadInput(f"limb {o.limb} is not in this tree")
        return dies_with(graph, p, graph.above(int(graph.limbs.nodes[o.limb][0])))
    if o.above >= 0:
        return _bears_above(graph, p, o.above)
    if o.union:
        if o.union not in graph.unions.label:
            raise BadInput(f"union '{o.union}' is not in this tree")
        return p.label == o.union
    return True


def strength_left(graph: WoodGraph, bearing: Sequence[int], overrides: Sequence[Override]) -> float:
    """Share of strength that stated defects leave to what bears on these nodes."""
    left = 1.0
    for o in overrides:
        if o.kind == "defect" and graph.above(int(graph.limbs.nodes[o.limb][0]))[list(bearing)].any():
            left *= o.value
    return left


def barred_unions(graph: WoodGraph, overrides: Sequence[Override]) -> frozenset[int]:
    """Rows of the unions nothing may hang on by what was stated: refused, failed in the load test, or dead."""
    out: set[int] = set()
    for o in overrides:
        if o.kind in {"refused", "load test failed"} and o.union:
            out.add(graph.unions.index(o.union))
        elif o.kind == "dead":
            high = graph.xyz[:, 2] - graph.xyz[0, 2] >= o.above
            gone = graph.above(int(graph.limbs.nodes[o.limb][0])) if o.limb >= 0 else high
            out |= {k for k in range(len(graph.unions)) if gone[graph.unions.node[k]] or gone[graph.unions.arm_node[graph.unions.laterals(k)]].any()}
    return frozenset(out)


def _bears_above(graph: WoodGraph, p: TieInPoint, height: float) -> bool:
    """True when any wood the rope bears on stands higher than this over the stem's foot."""
    return dies_with(graph, p, graph.xyz[:, 2] - graph.xyz[0, 2] >= height)


def _weakened(graph: WoodGraph, p: TieInPoint, o: Override, settings: PlanningSettings) -> TieInPoint:
    """Strength scaled down; the gate and the score follow the new margin."""
    m = p.check.check.margin
    lower = Estimate(m.median * o.value, m.p5 * o.value, m.p95 * o.value)
    check = replace(p.check, check=replace(p.check.check, margin=lower))
    value, error = margin_score(graph, check, settings)
    gate_words = p.gates
    if not lower.p5 >= settings.margin_gate:
        gate_words = (*gate_words, f"{o.sentence()}: strength over stress may be as low as {lower.p5:.2f}.")
    out = replace(p, check=check, scores={**p.scores, "margin": value}, score_sd={**p.score_sd, "margin": error})
    return _settled(out, gate_words, (*p.doubts, o.sentence()))


def _settled(p: TieInPoint, gate_words: tuple[str, ...], doubt_words: tuple[str, ...]) -> TieInPoint:
    return replace(p, gates=gate_words, doubts=doubt_words, usable=not gate_words, verdict=verdict(gate_words, doubt_words))


def from_rows(rows: Sequence[dict]) -> tuple[Override, ...]:
    """Overrides from a table's rows (a TOML or JSON list); BadInput for an unknown column."""
    known = set(Override.__dataclass_fields__)
    out = []
    for row in rows:
        extra = set(row) - known
        if extra:
            raise BadInput(f"override has no column '{sorted(extra)[0]}'", remedy=f"use {', '.join(sorted(known))}")
        try:
            out.append(Override(**row))
        except TypeError as problem:
            raise BadInput(f"override is not complete: {problem}") from None
    return tuple(out)


def share_left(outer_diameter: float, hollow_diameter: float) -> float:
    """Share of bending strength a concentric hollow leaves, 1 - (d/D)^4."""
    return float(np.clip(1 - (hollow_diameter / outer_diameter) ** 4, 0.0, 1.0))
