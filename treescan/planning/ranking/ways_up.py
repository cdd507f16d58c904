"""By which lines may a climber go up, and what is the quickest way to every union?"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

import networkx as nx
import numpy as np

from treescan.loads.limb_check import AnchorCheck
from treescan.planning.access.access_order import Hold, Holds, access_graph, quickest_ways, steps, throw_minutes
from treescan.planning.candidates.contact import contact_point, round_stem
from treescan.planning.candidates.screening import Screening
from treescan.planning.ranking.gates import refusals
from treescan.planning.reach.clearances import Line, clearances_at, clearances_of_throw
from treescan.planning.settings import PlanningSettings
from treescan.planning.tie_in_point import AccessStep
from treescan.planning.tree_context import TreeContext
from treescan.reason import Reason
from treescan.throw.throw_path import Throw
from treescan.wood.graph import ScanFitness, WoodGraph

NONE = np.zeros((0, 3))

Checked = tuple[AnchorCheck, Throw | None]
"""A checked configuration and the throw that sets its line, None where it is set by climbing."""


@dataclass(frozen=True)
class Ways:
    """The quickest ways up: all edges, minutes and nodes of the way to every union that can be reached, and the
    lines that are hung on."""

    graph: nx.DiGraph
    minutes: Mapping[int, float]
    routes: Mapping[int, list[int]]
    holds: Holds

    @classmethod
    def of(cls, graph: WoodGraph, holds: Holds, settings: PlanningSettings) -> Ways:
        """Over the lines that hold, and over no others."""
        ways = access_graph(graph, holds, settings)
        return cls(ways, *quickest_ways(ways), holds)

    def up_to(self, graph: WoodGraph, union: int, own: Hold) -> tuple[AccessStep, ...]:
        """The quickest way to one union, () where there is none; own : the line it leads to."""
        route = self.routes.get(union)
        return steps(graph, self.graph, route, self.holds, own) if route else ()


def holds_of(
    context: TreeContext,
    fitness: ScanFitness,
    checked: Iterable[Checked],
    screening: Screening,
    lines: tuple[Line, ...],
) -> Holds:
    """Every line that nothing stands against: of the candidates and of the unions that were screened.

    A line that holds one climber only leads to itself alone. A line set from the ground counts where its own throw keeps clear of conductors; while advancing no basal line
    is set, so none counts there. Two lanyards round the stem count where a choke there was judged and holds.
    """
    graph = context.graph
    stay: dict[int, Hold] = {}
    thrown: dict[int, Hold] = {}
    stem: dict[int, float] = {}
    for check, throw in (*checked, *screening.limbs):
        if check.one_climber_only or stands_against(context, fitness, check, lines):
            continue
        k, hold = check.configuration.union, Hold.on(graph, check, throw)
        if check.configuration.system != "SRS basal" and (k not in stay or hold.low > stay[k].low):
            stay[k] = replace(hold, throw=None)
        if throw is not None and not _throw_refused(context, throw, lines):
            known = thrown.get(k)
            if known is None or known.throw is None or throw_minutes(throw) < throw_minutes(known.throw):
                thrown[k] = hold
        if round_stem(graph, check.configuration):
            stem[k] = max(hold.low, stem.get(k, -np.inf))
    for check in screening.stems:
        if not stands_against(context, fitness, check, lines):
            stem.setdefault(check.configuration.union, float(check.check.margin.p5))
    return Holds(stay, thrown, stem)


def stands_against(
    context: TreeContext, fitness: ScanFitness, check: AnchorCheck, lines: tuple[Line, ...]
) -> tuple[Reason, ...]:
    """What stands against hanging on one line, whatever the work and the way up."""
    place = contact_point(context.graph, check.configuration)
    electric = clearances_at(place, NONE, NONE, lines, context.settings.approach)
    return refusals(context.graph, fitness, check, electric, context.settings)


def _throw_refused(context: TreeContext, throw: Throw, lines: tuple[Line, ...]) -> bool:
    """True where the throw comes too near a conductor."""
    return any(c.breach for c in clearances_of_throw(throw, lines, context.settings.approach))
