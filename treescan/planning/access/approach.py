"""Which way up is recommended, and what speaks for and against it? The rules are visible, the climber
decides."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from treescan.planning.access.access_order import BASAL_LINE
from treescan.planning.candidates.rescan_advice import RESCANS
from treescan.planning.settings import PlanningSettings
from treescan.planning.tie_in_point import TieInPoint
from treescan.reason import Reason
from treescan.trees.beside import Beside
from treescan.wood.graph import ScanFitness, WoodGraph

ISOLATE, BASAL, ADVANCE = "isolate", "basal", "advance_up"
"""Ways that climb on this tree: a line isolated from the ground, a basal line first, step by step from low
access."""

NEIGHBOUR, RESCAN, OTHER = "neighbour_tree", "rescan", "no_climb"
"""Ways that do not: an anchor in a neighbouring tree, another scan first, a platform or other means."""


@dataclass(frozen=True)
class Option:
    """One way of getting to work.

    way : one of the identifiers above; point : the candidate it uses, None where it uses none; pros, cons :
    the arguments, the weightiest first.
    """

    way: str
    point: TieInPoint | None
    pros: tuple[Reason, ...]
    cons: tuple[Reason, ...] = ()


@dataclass(frozen=True)
class Approach:
    """The recommended way and the others that are open on this tree."""

    recommended: Option
    instead: tuple[Option, ...]

    @property
    def reasons(self) -> tuple[Reason, ...]:
        """The recommendation first, then the arguments for and against it, then the other ways."""
        best = self.recommended
        first = Reason(
            "approach_recommended", way=best.way, anchor=best.point.named if best.point is not None else None
        )
        if best.way == RESCAN:
            return first, *(Reason("approach_scan", why=why) for why in best.pros)
        arguments = (
            *(Reason("approach_for", why=why) for why in best.pros),
            *(Reason("approach_against", why=why) for why in best.cons),
        )
        others = tuple(_offered(o) for o in self.instead)
        return first, *arguments, *others, *((Reason("approach_safer_access"),) if best.way != OTHER else ())


def _offered(option: Option) -> Reason:
    if option.point is None:
        return Reason("approach_also", way=option.way, why=option.pros[0])
    return Reason(
        "approach_instead",
        way=option.way,
        anchor=option.point.named,
        for_it=option.pros[0],
        against_it=option.cons[0],
    )


def recommend(
    graph: WoodGraph,
    points: Sequence[TieInPoint],
    settings: PlanningSettings,
    beside: Beside | None = None,
    fitness: ScanFitness | None = None,
) -> Approach:
    """The recommended approach, with the arguments for and against every open one.

    Notes
    -----
    The rules, in this order:

    0. the scan is not assessable: no way up is named, a rescan comes first;
    1. no usable tie-in point: other means (a neighbouring tree is named where one stands);
    2. the first-ranked union can be isolated with the chance of a fair number of throws: isolate;
    3. a line lies over it and other sound limbs: basal line, climb, set a canopy anchor;
    4. it is reached by steps: low access and advance.
    """
    if fitness is not None and not fitness.assessable:
        return Approach(Option(RESCAN, None, tuple(fitness.reasons)), ())
    usable = sorted((p for p in points if p.usable), key=lambda p: p.rank)
    climbing = [o for o in (_isolate(usable, settings), _basal(usable), _advance(usable)) if o is not None]
    neighbour = _neighbour(graph, beside)
    if not climbing:
        return Approach(Option(OTHER, None, (_why_none(points), *_but_for_wires(points))), neighbour)
    chosen = next(
        (o for o in climbing if o.point is not None and o.point.union == usable[0].union), climbing[0]
    )
    return Approach(chosen, (*(o for o in climbing if o is not chosen), *neighbour))


def _why_none(points: Sequence[TieInPoint]) -> Reason:
    """Why no candidate is ranked: the commonest gate and against how many it stands; of equals the one met
    first."""
    if not points:
        return Reason("no_union_to_judge")
    gates = Counter(
        code for p in points for code in dict.fromkeys(g.code for g in p.gates) if code not in RESCANS
    )
    gate, times = gates.most_common(1)[0]
    return Reason("none_passes", candidates=len(points), times=times, gate=gate)


def _but_for_wires(points: Sequence[TieInPoint]) -> tuple[Reason, ...]:
    """How many candidates nothing stands against but a wire that only the scan claims; () where there are none."""
    alone = sum(map(refused_for_wires_alone, points))
    return (Reason("none_but_for_wires", n=alone),) if alone else ()


def is_claim(gate: Reason) -> bool:
    """True for a gate that stands for a wire which only the scan claims."""
    return gate.code == "anchor_near_conductor" and gate["to"].code == "wire_seen"


def refused_for_wires_alone(point: TieInPoint) -> bool:
    """True where nothing else stands against a candidate, the way up apart: the same wire may close that."""
    others = [g for g in point.gates if g.code != "not_reachable"]
    return bool(others) and all(is_claim(g) for g in others)


def _isolate(usable: Sequence[TieInPoint], settings: PlanningSettings) -> Option | None:
    """A line set from the ground over the tie-in point alone, at the first-ranked candidate that allows
    it."""
    for p in usable:
        if (
            p.throw is not None
            and p.throw.isolation_class <= 2
            and p.throw.expected_throws <= settings.max_throws
        ):
            break
    else:
        return None
    pros = (
        Reason("isolate_throws", throws=p.throw.expected_throws, label=p.label),
        Reason("isolate_tested_first"),
    )
    cons = (
        Reason("isolate_less_inspected"),
        *((Reason("isolate_workings", times=p.throw.workings),) if p.throw.workings else ()),
        *((Reason("isolate_no_catch"),) if not p.check.redundant else ()),
    )
    return Option(ISOLATE, p, pros, cons)


def _basal(usable: Sequence[TieInPoint]) -> Option | None:
    """A basal line as the system itself, or as the way to a canopy anchor that no throw can isolate."""
    p = next(
        (p for p in usable if (p.system == "SRS basal" and p.throw is not None) or _by_basal_line(p)), None
    )
    if p is None:
        return None
    pros: tuple[Reason, ...] = (Reason("basal_lowerable"),)
    caught = next((c for c in p.check.catches if not c.ground), None)
    if p.throw is not None and caught is not None:
        pros = (*pros, Reason("basal_catch", label=p.label, catch=caught.label, drop=caught.drop))
    bears = p.access[1].label if _by_basal_line(p) else p.label
    cons = (Reason("basal_both_legs", label=bears), Reason("basal_cut"), Reason("basal_all_unions"))
    return Option(BASAL, p, pros, cons)


def _by_basal_line(p: TieInPoint) -> bool:
    return p.throw is None and len(p.access) >= 2 and p.access[1].how == BASAL_LINE


def _advance(usable: Sequence[TieInPoint]) -> Option | None:
    """From low access upward, to the first-ranked candidate that is reached so."""
    p = next((p for p in usable if p.throw is None and p.access and not _by_basal_line(p)), None)
    if p is None:
        return None
    stops = tuple(s.label for s in p.access if s.union is not None)
    return Option(
        ADVANCE, p, (Reason("advance_inspected", unions=stops),), (Reason("advance_slow", stops=len(stops)),)
    )


def _neighbour(graph: WoodGraph, beside: Beside | None) -> tuple[Option, ...]:
    """The nearest neighbouring stem is named, never ranked: its wood was not measured; () where none is
    known."""
    if beside is None or len(beside.surroundings.stems) == 0:
        return ()
    gap = ((beside.surroundings.stems[:, :2] - graph.xyz[0, :2]) ** 2).sum(axis=1) ** 0.5
    i = int(gap.argmin())
    dbh = float(beside.surroundings.stem_dbh[i]) if i < len(beside.surroundings.stem_dbh) else float("nan")
    return (
        Option(
            NEIGHBOUR,
            None,
            (Reason("neighbour_stem", away=float(gap[i]), diameter=dbh if np.isfinite(dbh) else None),),
        ),
    )
