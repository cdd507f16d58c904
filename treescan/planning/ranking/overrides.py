"""What a competent person says on the day: defects, refused anchors, load-test results.

Logged, and the list re-ranked at once.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import log

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtr

from treescan.errors import BadInput
from treescan.estimate import Estimate
from treescan.loads.checks.load_test import pulled_aside
from treescan.loads.hidden_defects import INSPECTED, TESTED, UNTESTED
from treescan.loads.limb_check import DOUBTFUL, FAILS, HOLDS, IF_TESTED, UNSEEN, Exceptional, LimbCheck, PassedTest
from treescan.loads.material.section_strength import LOW_SIDE, STUDENT
from treescan.planning.access.access_order import Hold, Holds
from treescan.planning.candidates.contact import bearing_nodes
from treescan.planning.ranking.judge import with_rescue_lines
from treescan.planning.ranking.order import order_points
from treescan.planning.ranking.scores import margin_score
from treescan.planning.ranking.ways_up import Ways
from treescan.planning.settings import PlanningSettings
from treescan.planning.tie_in_point import Judged, TieInPoint, Work
from treescan.planning.work.stage_alarms import FORK, dies_with
from treescan.reason import Reason
from treescan.wood.graph import WoodGraph

KINDS = ("refused", "dead", "defect", "load test failed", "load test passed", "note")
"""What can be stated; no kind lifts a gate: what the computation refuses stays refused.

- refused, load test failed, load test passed: of a union, or of a limb and all it carries; a fork into leaders that failed takes
  all above it along, another union that failed every limb that leaves it there; whatever else hangs on wood above a union
  refused or failed is to be inspected first,
- dead: a limb and all it carries; of a union, every limb that leaves it there; or everything higher than `above`
  metres over the stem's foot,
- defect: `value` is the share of strength left on a limb and all it carries; of a union, on it and all above it,
- note: words only.

A note stands with the candidate and changes neither its verdict nor its place. So does a passed load test whose size nobody states; stated in
people, in the set-up and direction of use (to be stated where the climber's leg stands off plumb), it raises the numbers to what such a test shows, and "holds if tested" to "holds" where it was as
large as asked. It lifts neither "does not hold" nor "not seen" nor any gate.
"""

AS_IN_USE, NOT_STATED = "as in use", ""
"""Direction of a load test that counts: the set-up and the pull of the climb. Where none is stated people hung from
the rope, straight down: that counts where the climber's leg stands so in use."""

MOST_BOUNCE = 6.0
"""A bounce pulls no harder than this times the weight (project choice)."""

MOST_TEST = 12.0
"""Weights of people, bounce counted, beyond which a stated test is taken for a slip of the pen: some 12 kN, half of
what gear breaks at (project choice)."""

FULL_TEST = 1.5
"""Pull of a load test over the hardest ordinary use that lifts "holds if tested"."""


@dataclass(frozen=True)
class Override:
    """One statement.

    union : label, or ""; limb : limb id, or -1; above : height over the stem's foot [m], or NaN; value :
    share of strength left (defect only); who, when, why : mandatory. Of a passed load test: people hanging on
    the rope, bounce : how many times their weight was measured (1 = hanging still, or not measured), direction :
    `AS_IN_USE`, in words, or `NOT_STATED`, inspected : True where the wood was looked at by hand.
    """

    kind: str
    who: str
    why: str
    when: str
    union: str = ""
    limb: int = -1
    value: float = float("nan")
    above: float = float("nan")
    people: float = float("nan")
    bounce: float = 1.0
    direction: str = NOT_STATED
    inspected: bool = False

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise BadInput(f"override '{self.kind}' is not known", remedy=f"use one of {', '.join(KINDS)}")
        if not (self.who.strip() and self.why.strip() and self.when.strip()):
            raise BadInput("an override needs who said it, when, and why")
        if bool(self.union) + (self.limb >= 0) + (self.above >= 0) > 1:
            raise BadInput(
                f"override '{self.kind}' names more than one place",
                remedy="give one of union, limb or above; write a row for each",
            )
        if not self._says_what():
            raise BadInput(f"override '{self.kind}' does not say which limb or union it is about")
        if self.kind == "defect" and not 0 <= self.value <= 1:
            raise BadInput("a defect needs the share of strength left, between 0 and 1")
        if self.people <= 0 or not 1 <= self.bounce <= MOST_BOUNCE:
            raise BadInput("a load test needs people on the rope, and a bounce of 1 to 6 times their weight")
        if self.people * self.bounce > MOST_TEST:
            raise BadInput(
                f"a load test of {self.people:g} people who bounce {self.bounce:g} times their weight is no load test",
                remedy="state the people on the rope and the measured bounce; 1 = hanging still",
            )
        if self.kind == "defect" and self.value == 1:
            raise BadInput(
                "a defect that leaves all the strength changes nothing",
                remedy="value is the share of strength left, below 1; for words only write a note",
            )

    def _says_what(self) -> bool:
        """True when it names the limb, the union or the height its kind needs."""
        placed = bool(self.union) or self.limb >= 0
        return self.kind == "note" or placed or (self.kind == "dead" and self.above >= 0)

    @property
    def reason(self) -> Reason:
        """As it is logged and shown; who, when and why letter for letter."""
        limb = self.limb if self.limb >= 0 and not self.union else None
        above = self.above if self.above >= 0 and not self.union and limb is None else None
        return Reason(
            "statement",
            kind=self.kind,
            who=self.who,
            when=self.when,
            why=self.why,
            union=self.union or None,
            limb=limb,
            above=above,
            tree=not self.union and limb is None and above is None,
            share=self.value if self.kind == "defect" else None,
        )


@dataclass(frozen=True)
class Revision:
    """A re-ranked list and how it came about: points, and one reason a statement with what it changed."""

    points: tuple[TieInPoint, ...]
    log: tuple[Reason, ...]


def with_overrides(
    graph: WoodGraph,
    points: Sequence[TieInPoint],
    overrides: Sequence[Override],
    settings: PlanningSettings,
    seed: int,
    holds: Holds | None = None,
    work: Work | None = None,
) -> Revision:
    """Apply statements in their order and rank again, from the numbers already there: no throw and no force
    is computed anew.

    holds : lines that may be hung on on the way up, as judged; with them every way up is looked for again over
    those that the statements leave.
    work : what the points were judged for; without it every work point weighs alike.
    """
    now: tuple[Judged, ...] = tuple(points)
    log = []
    for o in overrides:
        changed = tuple(_one(graph, p, o, settings) for p in now)
        touched = sorted({a.label for a, b in zip(changed, now, strict=True) if a is not b})
        said = o.reason
        log.append(
            Reason("statement_changes", statement=said, unions=touched)
            if touched
            else Reason("statement_changes_nothing", statement=said)
        )
        now = changed
    if holds is not None:
        ways = Ways.of(graph, _left(graph, holds, overrides, settings), settings)
        now = tuple(_another_way(graph, p, ways) for p in now)
    if now:
        now = with_rescue_lines(graph, now, work or _each_alike(now), settings)
    ranked = order_points(graph, now, settings, seed)
    before, after = _first(points), _first(ranked)
    if before != after:
        log.append(Reason("first_has_changed", before=before, after=after))
    return Revision(ranked, tuple(log))


def _each_alike(points: Sequence[Judged]) -> Work:
    """Work points of no known place, each of the same weight."""
    n = len(points[0].reach.served)
    return Work(np.zeros((n, 3)), ("",) * n, ("",) * n, np.ones(n))


def _another_way(graph: WoodGraph, p: Judged, ways: Ways) -> Judged:
    """The same anchor with its way up over the lines that are left; where none is, that stands against it."""
    if p.throw is not None:
        return p
    access = ways.up_to(graph, p.union, Hold.on(graph, p.check, None))
    unreachable = not access and not any(g.code == "not_reachable" for g in p.gates)
    against = (*p.gates, Reason("not_reachable")) if unreachable else p.gates
    return _settled(replace(p, access=access), against, p.doubts)


def _left(
    graph: WoodGraph, holds: Holds, overrides: Sequence[Override], settings: PlanningSettings
) -> Holds:
    """The lines that statements leave: none at a barred union or over wood that is gone, each with the strength
    that stated defects leave."""
    barred = barred_unions(graph, overrides)
    gone = np.zeros(len(graph), bool)
    for o in overrides:
        if o.kind in {"refused", "load test failed", "dead"}:
            gone |= _part(graph, o)

    def low(bears: Sequence[int], before: float) -> float:
        return 0.0 if gone[list(bears)].any() else before * strength_left(graph, bears, overrides)

    def left(found: Mapping[int, Hold]) -> dict[int, Hold]:
        now = {k: replace(h, low=low(h.bears, h.low)) for k, h in found.items() if k not in barred}
        return {k: h for k, h in now.items() if h.low >= settings.margin_gate}

    stem = {k: low([int(graph.unions.node[k])], v) for k, v in holds.stem.items() if k not in barred}
    return Holds(
        left(holds.stay), left(holds.thrown), {k: v for k, v in stem.items() if v >= settings.margin_gate}
    )


def _first(points: Sequence[TieInPoint]) -> Reason | None:
    """Name of the first to inspect; None where nothing is ranked."""
    return next((p.named for p in points if p.rank == 1), None)


def _one(graph: WoodGraph, p: Judged, o: Override, settings: PlanningSettings) -> Judged:
    """One candidate after one statement; the same object when it is not touched."""
    if not _concerns(graph, p, o):
        return _over_it(graph, p, o)
    if o.kind == "load test passed":
        return _tested(graph, p, o, settings)
    if o.kind == "note":
        return replace(p, doubts=(*p.doubts, Reason("noted", who=o.who, when=o.when, why=o.why)))
    if o.kind == "defect":
        return _weakened(graph, p, o, settings)
    return _settled(
        p, (*p.gates, Reason("stated_against", kind=o.kind, who=o.who, when=o.when, why=o.why)), p.doubts
    )


def _over_it(graph: WoodGraph, p: Judged, o: Override) -> Judged:
    """A candidate that hangs on wood above a union that was refused or failed its test: to be inspected first."""
    if o.kind not in {"refused", "load test failed"} or not o.union:
        return p
    node = int(graph.unions.node[graph.unions.index(o.union)])
    bearing = bearing_nodes(graph, p.check.configuration)
    if not graph.above(node)[bearing].any():
        return p
    below = Reason("stated_below", union=o.union, kind=o.kind, who=o.who, when=o.when, why=o.why)
    return _settled(p, p.gates, (below, *p.doubts))


def check_overrides(graph: WoodGraph, overrides: Sequence[Override]) -> None:
    """BadInput where a statement is about a limb or a union this tree does not have, all such in one go."""
    lost = [f"limb {o.limb}" for o in overrides if o.limb >= len(graph.limbs)]
    lost += [f"union '{o.union}'" for o in overrides if o.union and o.union not in graph.unions.label]
    if lost:
        raise BadInput(
            f"overrides name {', '.join(lost)}, not in this tree",
            remedy=f"limbs are numbered 0 to {len(graph.limbs) - 1}, unions named as in the report",
        )


def _part(graph: WoodGraph, o: Override) -> NDArray[np.bool_]:
    """The wood a statement on a limb, a height, or a union's dead limbs, defect or failed test is about, (n,)."""
    if o.limb >= 0:
        return graph.above(int(graph.limbs.nodes[o.limb][0]))
    if o.above >= 0:
        return graph.xyz[:, 2] - graph.xyz[0, 2] >= o.above
    out = np.zeros(len(graph), bool)
    if o.union:
        k = graph.unions.index(o.union)
        if o.kind == "defect" or (o.kind == "load test failed" and _forks(graph, k)):
            return graph.above(int(graph.unions.node[k]))
        if o.kind in {"dead", "load test failed"}:
            for node in graph.unions.arm_node[graph.unions.laterals(k)]:
                out |= graph.above(int(node))
    return out


def _forks(graph: WoodGraph, k: int) -> bool:
    """Whether a union parts the wood into leaders: two arms of which the thinner is `FORK` of the thicker."""
    d = np.sort(graph.unions.arm_diameter[graph.unions.arms(k)])
    return len(d) > 1 and bool(d[-2] >= FORK * d[-1])


def stated_dead(graph: WoodGraph, overrides: Sequence[Override]) -> tuple[tuple[Override, NDArray[np.bool_]], ...]:
    """What was stated to be dead, in its order, each with that wood, (n,); no node where the tree has none there."""
    return tuple((o, _part(graph, o)) for o in overrides if o.kind == "dead")


def _concerns(graph: WoodGraph, p: Judged, o: Override) -> bool:
    check_overrides(graph, [o])
    if o.union:
        return p.label == o.union or dies_with(graph, p, _part(graph, o))
    return dies_with(graph, p, _part(graph, o)) if o.limb >= 0 or o.above >= 0 else True


def strength_left(graph: WoodGraph, bearing: Sequence[int], overrides: Sequence[Override]) -> float:
    """Share of strength that stated defects leave to what bears on these nodes."""
    left = 1.0
    for o in overrides:
        if o.kind == "defect" and _part(graph, o)[list(bearing)].any():
            left *= o.value
    return left


def barred_unions(graph: WoodGraph, overrides: Sequence[Override]) -> frozenset[int]:
    """Rows of the unions nothing may hang on by what was stated: refused, failed in the load test, or
    dead."""
    out: set[int] = set()
    for o in overrides:
        if o.kind not in {"refused", "load test failed", "dead"}:
            continue
        if o.union:
            out.add(graph.unions.index(o.union))
        gone = _part(graph, o)
        out |= {
            k
            for k in range(len(graph.unions))
            if gone[graph.unions.node[k]] or gone[graph.unions.arm_node[graph.unions.laterals(k)]].any()
        }
    return frozenset(out)


def _tested(graph: WoodGraph, p: Judged, o: Override, settings: PlanningSettings) -> Judged:
    """What the test shows, if it was large enough and pulled as in use; the margin never falls, no gate is lifted."""
    said = Reason("load_test_passed", who=o.who, when=o.when, why=o.why)
    if o.people > 0 and o.direction == NOT_STATED and pulled_aside(p.load_test):
        return replace(p, doubts=(*p.doubts, said, Reason("test_hung_not_pulled", union=p.label)))
    found, borne = p.check.check, _borne(p.check.check, o)
    if borne is None:
        return replace(p, doubts=(*p.doubts, said))
    full = borne.size >= FULL_TEST
    m = found.margin
    low = max(m.p5, borne.low)
    limb = replace(
        found,
        margin=Estimate(max(m.median, low), low, max(m.p95, low)),
        overload_chance=min(found.overload_chance, borne.overload_chance),
        proof=INSPECTED if full and o.inspected and o.bounce > 1 else TESTED,
        notes=_not_borne(found),  # the test is the better proof
    )
    doubts = p.doubts
    if full and found.verdict == IF_TESTED:
        limb = replace(limb, verdict=HOLDS, reason=Reason("strength_tested", size=borne.size, low=low, why=found.reason))
        doubts = tuple(d for d in doubts if d.code != "test_first")
    check = replace(p.check, check=limb)
    value, error = margin_score(graph, check, settings)
    out = replace(p, check=check, scores={**p.scores, "margin": value}, score_sd={**p.score_sd, "margin": error})
    return _settled(out, p.gates, (*doubts, said))


def _borne(found: LimbCheck, o: Override) -> PassedTest | None:
    """The largest test of those computed that a stated one reached; None where it was smaller, pulled another way, or cannot count."""
    if not o.people > 0 or o.direction not in {AS_IN_USE, NOT_STATED} or found.verdict in {FAILS, UNSEEN}:
        return None
    return next((t for t in reversed(found.tested) if o.people * o.bounce >= t.people - 1e-6), None)


def _weakened(graph: WoodGraph, p: Judged, o: Override, settings: PlanningSettings) -> Judged:
    """Strength scaled down; the gate and the score follow the new margin."""
    m = p.check.check.margin
    lower = _share_of(m, o.value)
    hard = _less_in_a_stop(p.check.exceptional, o.value)
    check = replace(p.check, check=_less(p.check.check, lower, hard, o, settings), exceptional=hard)
    value, error = margin_score(graph, check, settings)
    against = p.gates
    if not lower.p5 >= settings.margin_gate:
        against = (*against, Reason("defect_margin_low", statement=o.reason, p5=lower.p5))
    elif hard is not None and hard.breaks:
        against = (*against, Reason("defect_stop_breaks", statement=o.reason, p5=hard.margin.p5, median=hard.margin.median))
    out = replace(
        p, check=check, scores={**p.scores, "margin": value}, score_sd={**p.score_sd, "margin": error}
    )
    before = tuple(d for d in p.doubts if d.code != "exceptional_margin_low")
    low_in_a_stop = hard is not None and hard.margin.known and hard.low
    stop = (Reason("exceptional_margin_low", case=hard.case, p5=hard.margin.p5),) if hard and low_in_a_stop else ()
    return _settled(out, against, (*before, *stop, o.reason))


def _share_of(m: Estimate, left: float) -> Estimate:
    """A margin of which a share is left."""
    return Estimate(m.median * left, m.p5 * left, m.p95 * left)


def _less_in_a_stop(hard: Exceptional | None, left: float) -> Exceptional | None:
    """The exceptional case with less strength: the same wood bears it."""
    if hard is None:
        return None
    lower = _share_of(hard.margin, left)
    return replace(hard, margin=lower, overload_chance=_chance_of(hard.overload_chance, hard.margin, lower))


def _chance_of(before: float, m: Estimate, lower: Estimate) -> float:
    """That of a log margin with the spread of the old one (Student's t, as the low side was drawn), never less than before."""
    spread = log(m.median / m.p5) / LOW_SIDE if m.p5 > 0 and m.median > m.p5 else 0.0
    if spread > 0 and lower.median > 0:
        return max(before, float(stdtr(STUDENT, -log(lower.median) / spread)))
    return 1.0 if lower.median <= 1.0 else before


def _less(
    found: LimbCheck, lower: Estimate, hard: Exceptional | None, o: Override, settings: PlanningSettings
) -> LimbCheck:
    """The check with less strength: verdict and chance follow the margin, and no test of the sound wood counts any more.

    hard : Exceptional or None  The exceptional case with as much less strength.
    """
    chance = _chance_of(found.overload_chance, found.margin, lower)
    word = found.verdict
    if word not in {FAILS, UNSEEN} and not lower.p5 >= settings.margin_doubt:
        word = DOUBTFUL if lower.p5 >= settings.margin_gate else FAILS
    if word not in {FAILS, UNSEEN} and hard is not None and (hard.low or hard.breaks):
        word = FAILS if hard.breaks else DOUBTFUL
    reason = found.reason if word == found.verdict else Reason("defect_margin_low", statement=o.reason, p5=lower.p5)
    # no share of a defect is offset by what the wood bore
    found = replace(found, tested=(), proof=UNTESTED, borne=None, notes=_not_borne(found, Reason("history_reported")))
    return replace(found, margin=lower, overload_chance=chance, verdict=word, reason=reason)


def _not_borne(found: LimbCheck, instead: Reason | None = None) -> tuple[Reason, ...]:
    """The notes without what the wood has borne, and what is said in its place."""
    kept = tuple(n for n in found.notes if n.code != "history_borne")
    return kept if instead is None or len(kept) == len(found.notes) else (*kept, instead)


def _settled(p: Judged, against: tuple[Reason, ...], look_first: tuple[Reason, ...]) -> Judged:
    """The same anchor with what stands against it now; where anything does no load test is proposed."""
    return replace(p, gates=against, doubts=look_first, load_test=None if against else p.load_test)
