"""Which way up is recommended, and what speaks for and against it? The rules are visible, the climber decides."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from treescan.planning.access.access_order import BASAL_LINE
from treescan.planning.candidates.rescan_advice import TO_SETTLE
from treescan.planning.settings import PlanningSettings
from treescan.planning.tie_in_point import TieInPoint
from treescan.throw.throw_path import ThrowTable
from treescan.trees.beside import Beside
from treescan.wood.graph import ScanFitness, WoodGraph


@dataclass(frozen=True)
class Option:
    """One way of getting to work: name, the candidate it uses, and the arguments, one sentence each."""

    name: str
    point: TieInPoint | None
    pro: tuple[str, ...]
    con: tuple[str, ...]

    @property
    def open(self) -> bool:
        """False when nothing on this tree allows it."""
        return self.point is not None


ISOLATE = "isolate a line over the tie-in point from the ground and climb on it"
BASAL = "basal line over several limbs, climb on it, then set a canopy anchor"
ADVANCE = "low access and advance upward, inspecting every union on the way"
NEIGHBOUR = "anchor in a neighbouring tree"
RESCAN = "scan again before a way up is chosen; this scan cannot tell which one there is"
OTHER = "platform or other means, no climbing on this tree"


def recommend(
    graph: WoodGraph,
    throws: ThrowTable,
    points: Sequence[TieInPoint],
    settings: PlanningSettings,
    beside: Beside | None = None,
    fitness: ScanFitness | None = None,
) -> tuple[str, ...]:
    """The recommended approach first, then the arguments for and against every open one, one sentence each.

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
        return (f"Recommended: {RESCAN}.", *(f"For it: {reason}" for reason in fitness.reasons))
    usable = [p for p in points if p.usable]
    options = [_isolate(usable, settings), _basal(usable), _advance(graph, usable), _neighbour(graph, beside)]
    chosen = next((o for o in options[:3] if o.open and o.point is _first(usable, o)), None) or next((o for o in options[:3] if o.open), None)
    out = []
    if chosen is None or chosen.point is None:
        out.append(f"Recommended: {OTHER}.")
        out.append(f"For it: {_why_none(points)}")
        near = options[3]
        out += [f"Also possible: {near.name}. {near.pro[0]}"] if near.pro else []
        return tuple(out)
    out.append(f"Recommended: {chosen.name} ({chosen.point.label}, {chosen.point.system}).")
    out += [f"For it: {s}" for s in chosen.pro] + [f"Against it: {s}" for s in chosen.con]
    for o in options:
        if o is not chosen and o.open and o.point is not None:
            out.append(f"Instead: {o.name} ({o.point.label}, {o.point.system}). For it: {o.pro[0]} Against it: {o.con[0]}")
        elif o is not chosen and o.pro:
            out.append(f"Instead: {o.name}. {o.pro[0]}")
    out.append("If safer access (ground, platform) is reasonable, it comes before every one of these.")
    return tuple(out)


def _why_none(points: Sequence[TieInPoint]) -> str:
    """Why no candidate is ranked: the commonest reason and how often it stands."""
    if not points:
        return "the tree has no union to judge."
    kinds = Counter(kind for p in points for kind in {re.split(r"[:.,;]| is \d", g)[0] for g in p.gates if not g.startswith(TO_SETTLE)})
    kind, number = kinds.most_common(1)[0]
    return f"none of {len(points)} candidates passes the gates; the commonest reason, {number} times: {kind.lower()}."


def _first(usable: Sequence[TieInPoint], option: Option) -> TieInPoint | None:
    """The first-ranked candidate when the option leads to its union."""
    top = min(usable, key=lambda p: p.rank)
    return option.point if option.point is not None and option.point.union == top.union else None


def _isolate(usable: Sequence[TieInPoint], settings: PlanningSettings) -> Option:
    able = [p for p in usable if p.throw is not None and p.throw.isolation_class <= 2 and p.throw.expected_throws <= settings.max_throws]
    if not able:
        return Option(ISOLATE, None, (), ())
    p = min(able, key=lambda p: p.rank)
    assert p.throw is not None
    pro = [
        f"about {max(1, round(p.throw.expected_throws))} throw(s) set the line over {p.label} alone: any rope system can use it.",
        "nobody leaves the ground before the anchor has been load-tested.",
    ]
    con = ["an anchor set from the ground is inspected less: look at it through field glasses, and by hand on arrival before any work."]
    if p.throw.workings:
        con.append(f"the weight must be worked back {p.throw.workings} time(s).")
    if not p.check.redundant:
        con.append("nothing below it is known to hold the climber if it fails.")
    return Option(ISOLATE, p, tuple(pro), tuple(con))


def _basal(usable: Sequence[TieInPoint]) -> Option:
    """A basal line as the system itself, or as the way to a canopy anchor that no throw can isolate."""
    able = [p for p in usable if (p.system == "SRS basal" and p.throw is not None) or _by_basal_line(p)]
    if not able:
        return Option(BASAL, None, (), ())
    p = min(able, key=lambda p: p.rank)
    pro = ["the line need not be isolated, and a releasable base anchor lets the ground crew lower a casualty."]
    caught = next((c for c in p.check.catches if not c.ground), None)
    if p.throw is not None and caught is not None:
        pro.append(f"if {p.label} gives out the line lies over {caught.label} as well, after a drop of {caught.drop:.1f} m.")
    first = p.access[1].label if _by_basal_line(p) else p.label
    con = [
        f"{first} bears both legs, close to twice the pull on the climber's leg, more with preload.",
        "both legs can be cut: keep the base leg out of the saw's and the pieces' way.",
        "every union the line touches must be sound, not only the highest.",
    ]
    return Option(BASAL, p, tuple(pro), tuple(con))


def _by_basal_line(p: TieInPoint) -> bool:
    return p.throw is None and len(p.access) >= 2 and p.access[1].how.startswith(BASAL_LINE)


def _advance(graph: WoodGraph, usable: Sequence[TieInPoint]) -> Option:
    able = [p for p in usable if p.throw is None and p.access and not _by_basal_line(p)]
    if not able:
        return Option(ADVANCE, None, (), ())
    p = min(able, key=lambda p: p.rank)
    stops = [s.label for s in p.access if s.union is not None]
    pro = (f"every union is inspected by hand before it is trusted, over {', '.join(stops)}.",)
    con = (f"{len(stops)} stop(s) in the tree, each with a change-over on two attachments; slower and harder than one rope.",)
    return Option(ADVANCE, p, pro, con)


def _neighbour(graph: WoodGraph, beside: Beside | None) -> Option:
    """A neighbouring stem is named, never ranked: its wood was not measured."""
    if beside is None or len(beside.surroundings.stems) == 0:
        return Option(NEIGHBOUR, None, (), ())
    gap = ((beside.surroundings.stems[:, :2] - graph.xyz[0, :2]) ** 2).sum(axis=1) ** 0.5
    i = int(gap.argmin())
    dbh = beside.surroundings.stem_dbh[i] if i < len(beside.surroundings.stem_dbh) else float("nan")
    size = f", {100 * dbh:.0f} cm at breast height" if np.isfinite(dbh) else ""
    return Option(
        NEIGHBOUR,
        None,
        (f"A neighbouring stem stands {gap[i]:.1f} m away{size}: trace it by itself to judge it as an anchor.",),
        (),
    )
