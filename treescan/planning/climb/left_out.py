"""Which unions are no candidates, and what does a first look say of those that are thick enough?"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

import numpy as np

from treescan.loads.limb_check import AnchorCheck
from treescan.planning.candidates.candidates import bearing_diameter, candidate_unions
from treescan.planning.candidates.contact import bearing_nodes
from treescan.planning.candidates.screening import Screening
from treescan.planning.climb.what_would_change import Change
from treescan.planning.ranking.overrides import Override, barred_unions, strength_left
from treescan.planning.ranking.ways_up import stands_against
from treescan.planning.reach.clearances import Line
from treescan.planning.tree_context import TreeContext
from treescan.reason import Reason
from treescan.throw.throw_path import Throw
from treescan.wood.graph import ScanFitness, WoodGraph


@dataclass(frozen=True)
class ScreenedUnion:
    """A union judged by one line only, set up one way: what stands against it may not stand against another line
    there, so the answer is never better than that of all lines.

    union : row; label; height : over the stem's foot [m]; diameter : of the wood the rope bears on [m]; check; throw :
    that sets the line, None where none does; gates : what stands against hanging on it, empty where nothing does.
    """

    union: int
    label: str
    height: float
    diameter: float
    check: AnchorCheck
    throw: Throw | None
    gates: tuple[Reason, ...]


@dataclass(frozen=True)
class LeftOut:
    """screened : the unions judged by one line only, the highest first; changes : of every refused union the nearest
    thing that would change the answer; reasons : what was judged and what was left out, with counts."""

    screened: tuple[ScreenedUnion, ...] = ()
    changes: tuple[Change, ...] = ()
    reasons: tuple[Reason, ...] = ()


def left_out(
    context: TreeContext,
    fitness: ScanFitness,
    screening: Screening,
    lines: tuple[Line, ...],
    overrides: Sequence[Override] = (),
    changes: Sequence[Change] = (),
    usable: Collection[str] = (),
) -> LeftOut:
    """What was screened, and what was not looked at at all.

    Parameters
    ----------
    changes : from `what_would_change`, before any statement; usable : labels of the unions with a usable line after
    all statements: only these are named as lower ones.
    """
    graph, u = context.graph, context.graph.unions
    found = []
    for check, throw in screening.limbs:
        k = check.configuration.union
        gates = (*stands_against(context, fitness, check, lines), *_stated(context, check, overrides))
        diameter = bearing_diameter(graph, k, context.settings)
        found.append(ScreenedUnion(k, u.label[k], float(u.height[k]), diameter, check, throw, gates))
    found.sort(key=lambda s: -s.height)
    barred = {u.label[k] for k in barred_unions(graph, overrides)}
    still = tuple(_named_now(c, usable) for c in changes if c.label not in barred)
    return LeftOut(tuple(found), still, _counted(context, found))


def _named_now(change: Change, usable: Collection[str]) -> Change:
    """The same without a lower union that a statement took away."""
    left = tuple(c for c in change.changes if c.code != "change_lower" or c["union"] in usable)
    return change if left == change.changes else replace(change, changes=left or (Reason("change_none"),))


def _counted(context: TreeContext, screened: Sequence[ScreenedUnion]) -> tuple[Reason, ...]:
    """How many unions were judged, screened and passed over."""
    graph, settings = context.graph, context.settings
    high = graph.unions.height >= settings.min_candidate_height
    judged = candidate_unions(graph, settings)
    above = [s for s in screened if s.height >= settings.min_candidate_height]
    thin = int(high.sum()) - len(judged) - len(above)
    out = [
        Reason(
            "unions_judged",
            judged=len(judged),
            screened=len(above) or None,
            asked=settings.min_limb,
            height=settings.min_candidate_height,
        )
    ]
    if above:
        hold = tuple(s.label for s in above if not s.gates)
        out.append(Reason("unions_screened", n=len(above), hold=len(hold), unions=hold))
    out.append(Reason("unions_left_out", thin=thin, asked=settings.min_limb, low=int((~high).sum())))
    return tuple(out)


def _stated(context: TreeContext, check: AnchorCheck, overrides: Sequence[Override]) -> tuple[Reason, ...]:
    """What statements take from a screened line."""
    graph: WoodGraph = context.graph
    out = [
        Reason("stated_against", kind=o.kind, who=o.who, when=o.when, why=o.why)
        for o in overrides
        if check.configuration.union in barred_unions(graph, [o])
    ]
    bears = bearing_nodes(graph, check.configuration)
    for o in overrides:
        low = check.check.margin.p5 * strength_left(graph, bears, [o])
        if o.kind == "defect" and np.isfinite(low) and low < context.settings.margin_gate:
            out.append(Reason("defect_margin_low", statement=o.reason, p5=low))
    return tuple(out)
