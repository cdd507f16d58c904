"""What is the nearest thing that would change the answer at a union that is refused? Computed, never guessed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from treescan.loads.checks.anchor import check_anchor
from treescan.loads.judging.judged import Judged as JudgedLoads
from treescan.loads.judging.placed import placed
from treescan.loads.limb_check import FAILS, UNSEEN, AnchorCheck, AnchorConfiguration
from treescan.loads.sections.tree_sections import tree_sections
from treescan.loads.statics.structural_model import StructuralModel
from treescan.planning.candidates.candidates import bearing_diameter
from treescan.planning.candidates.contact import looks_dead, round_stem
from treescan.planning.candidates.rescan_advice import RESCANS
from treescan.planning.candidates.screening import stem_lines
from treescan.planning.settings import PlanningSettings
from treescan.planning.tie_in_point import UNSEEN as UNSEEN_GATES
from treescan.planning.tie_in_point import TieInPoint
from treescan.planning.tree_context import TreeContext
from treescan.reason import Reason, has
from treescan.wood.graph import Floats, WoodGraph

WEAK = frozenset(
    {"margin_low", "does_not_hold", "too_thin", "limb_droops", "defect_margin_low", "defect_stop_breaks"}
)
"""Gates that the computed changes may answer."""

LIGHTEST = 50.0
"""No climber with gear weighs less (project choice). [kg]"""

STEPS_OF_MASS = 5.0
"""A lighter climber is told in steps of so much, rounded down. [kg]"""

ONE_HOLDS = 0.3
"""Of the margin asked for: below this one person in place of two does not help (two at most halve it, the rest is for safety of
the screen)."""

TWO_PEOPLE = frozenset({"rescue"})
"""Cases with a second person on the line."""


@dataclass(frozen=True)
class Change:
    """One refused union: union : row; label; line : the way of rigging looked at, the one that comes nearest; height [m];
    changes : the nearest thing that would change the answer, then the next lower union that holds on the same way to the ground."""

    union: int
    label: str
    line: str
    height: float
    changes: tuple[Reason, ...]


@dataclass(frozen=True)
class Refused:
    """A line that is refused, and what stands against it."""

    check: AnchorCheck
    gates: tuple[Reason, ...]

    @property
    def configuration(self) -> AnchorConfiguration:
        """As judged."""
        return self.check.configuration


def what_would_change(
    tree: StructuralModel,
    context: TreeContext,
    points: Sequence[TieInPoint],
    screened: Sequence[Refused],
) -> tuple[Change, ...]:
    """For every union of `min_limb` and more, `min_candidate_height` up or higher, at which no line is usable, the
    highest first.

    Parameters
    ----------
    tree : StructuralModel      From `loads.anchor.whole_tree`, as the checks were made with.
    points : every candidate, usable or not.
    screened : lines of the unions that are no candidates and are refused.
    """
    settings, u = context.settings, context.graph.unions
    holds = {p.union for p in points if p.usable}
    rows: dict[int, list[Refused]] = {}
    for r in (*(Refused(p.check, p.gates) for p in points), *screened):
        rows.setdefault(r.configuration.union, []).append(r)
    tried = _Tried(tree, context.work.xyz, settings)
    out = []
    for k in sorted(rows, key=lambda k: -float(u.height[k])):
        high = u.height[k] >= settings.min_candidate_height
        if k in holds or not high or bearing_diameter(context.graph, k, settings) < settings.min_limb:
            continue
        nearest = max(rows[k], key=_nearness)
        found = _nearest(tried, nearest, context.graph)
        lower = _lower(context.graph, k, holds)
        changes = tuple(c for c in (found, lower) if c is not None) or (Reason("change_none"),)
        line = f"{u.label[k]} {nearest.configuration.system}"
        out.append(Change(k, u.label[k], line, float(u.height[k]), changes))
    return tuple(out)


def _nearness(refused: Refused) -> tuple[bool, float]:
    """How near a line comes to being usable: one that was seen, then the higher low side."""
    low = refused.check.check.margin.p5
    return bool(np.isfinite(low)), float(low) if np.isfinite(low) else 0.0


def _nearest(tried: _Tried, refused: Refused, graph: WoodGraph) -> Reason | None:
    """The nearest thing that would change the answer for one line; None where nothing of what is tried does."""
    gates = refused.gates
    if has(gates, *UNSEEN_GATES):
        where = next((g for g in gates if g.code in RESCANS), None)
        return Reason("change_look_again", where=where)
    if has(gates, "anchor_near_conductor"):
        gate = next(g for g in gates if g.code == "anchor_near_conductor")
        return Reason("change_conductor", to=gate["to"], distance=gate["distance"], limit=gate["limit"])
    if has(gates, "no_rescue_line"):
        return Reason("change_rescue_line", low=_low(refused))
    if not has(gates, *WEAK):
        return Reason("change_way_up" if has(gates, "not_reachable") else "change_work", low=_low(refused))
    asked = {g.code for g in gates} & WEAK
    rigged: tuple[Callable[[Refused], Reason | None], ...] = (tried.narrower, tried.choked)
    lighter = (tried.one_person, tried.lighter, tried.better_scan) if asked <= {"margin_low", "does_not_hold"} else ()
    for change in (*rigged, *lighter):
        found = None if looks_dead(graph, refused.configuration.union) else change(refused)
        if found is not None:
            return found
    return None


def _low(refused: Refused) -> float:
    return float(refused.check.check.margin.p5)


def _lower(graph: WoodGraph, union: int, holds: set[int]) -> Reason | None:
    """The next union down the same wood with a line that is usable."""
    path = set(graph.path_to_base(int(graph.unions.node[union])).tolist())
    below = [k for k in holds if int(graph.unions.node[k]) in path]
    if not below:
        return None
    k = max(below, key=lambda k: float(graph.unions.height[k]))
    height = float(graph.unions.height[k])
    return Reason("change_lower", union=graph.unions.label[k], below=float(graph.unions.height[union]) - height)


class _Tried:
    """Other ways to ask about one line, each judged by all forces."""

    def __init__(self, tree: StructuralModel, work: Floats, settings: PlanningSettings) -> None:
        self.tree, self.work, self.settings = tree, work, settings

    def narrower(self, refused: Refused) -> Reason | None:
        """Work nearer to plumb only; for a candidate this was tried when it was judged."""
        low = _low(refused)
        if refused.check.within < self.settings.rope_angle_limit - 1e-6 or not low > 0:
            return None
        found = check_anchor(self.tree, refused.configuration, self.work, narrower=True)
        return Reason("change_angle", angle=found.within, low=_p5(found)) if self._holds(found) else None

    def choked(self, refused: Refused) -> Reason | None:
        """Round the stem or leader at the same union, in place of over its limb."""
        graph, k = self.tree.graph, refused.configuration.union
        u = graph.unions
        rows = np.arange(u.arm_start[k], u.arm_start[k + 1])
        on = rows[u.arm_continues[rows]]
        node = int(u.node[k])
        upright = len(on) > 0 and float(u.arm_slope[on].max()) >= self.settings.upright
        if round_stem(graph, refused.configuration) or not upright:
            return None
        if not 2 * float(graph.segment_radius[node]) >= self.settings.min_limb:
            return None
        (line,) = stem_lines(graph, (k,), self.settings, self.tree.settings.min_lever) or (None,)
        if line is None:
            return None
        found = check_anchor(self.tree, line, self.work, narrower=True)
        if not self._holds(found):
            return None
        diameter = 2 * float(graph.segment_radius[node])
        return Reason(
            "change_choke", diameter=diameter, low=_p5(found), angle=found.within
        )

    def one_person(self, refused: Refused) -> Reason | None:
        """One climber alone: a rescuer then needs a line on other wood."""
        cases = tuple(c for c in self.tree.settings.cases if c not in TWO_PEOPLE)
        if cases == self.tree.settings.cases or _low(refused) < ONE_HOLDS * self.settings.margin_gate:
            return None
        low = self._again(replace(self.tree, settings=replace(self.tree.settings, cases=cases)), refused)
        return None if low is None else Reason("change_one_person", low=low)

    def lighter(self, refused: Refused) -> Reason | None:
        """A lighter climber (and casualty), from the share of the stress that the wood's own weight makes."""
        found, gate, mass = refused.check.check, self.settings.margin_gate, self.tree.settings.climber_mass
        low, median = found.margin.p5, found.margin.median
        if not low > 0 or found.verdict != FAILS or low >= gate:
            return None
        own = found.self_weight_share * median / low
        share = (1 / gate - own) / (1 / low - own)
        kilograms = np.floor(share * mass / STEPS_OF_MASS) * STEPS_OF_MASS
        if not LIGHTEST <= kilograms < mass:
            return None
        second = min(self.tree.settings.rescue_mass, kilograms)
        light = replace(self.tree.settings, climber_mass=float(kilograms), rescue_mass=float(second))
        after = self._again(replace(self.tree, settings=light), refused)
        return None if after is None else Reason("change_load", mass=float(kilograms), low=after)

    def better_scan(self, refused: Refused) -> Reason | None:
        """The same middle diameters, known as well as any scan knows them."""
        if not refused.check.check.margin.median >= self.settings.margin_gate:
            return None
        low = self._again(self._sharp, refused)
        return None if low is None else Reason("change_scan", low=low)

    @cached_property
    def _sharp(self) -> StructuralModel:
        tree, least = self.tree, self.tree.settings.diameter_sd_least
        sd = np.fmin(tree.graph.radius_sd, least * tree.graph.radius)
        graph = replace(tree.graph, radius_sd=np.where(np.isnan(tree.graph.radius_sd), np.nan, sd))
        return replace(tree, graph=graph, sections=tree_sections(graph, tree.beside, tree.wood, tree.settings))

    def _again(self, tree: StructuralModel, refused: Refused) -> float | None:
        """The low side with another model, None where it does not hold then either."""
        found = placed(tree, refused.configuration, self.work)
        if found.verdict[0] in (FAILS, UNSEEN) or not isinstance(found.found, JudgedLoads):
            return None
        low = float(found.found.use.margin.p5)
        return low if low >= self.settings.margin_gate else None

    def _holds(self, check: AnchorCheck) -> bool:
        return check.check.verdict not in (FAILS, UNSEEN) and _p5(check) >= self.settings.margin_gate


def _p5(check: AnchorCheck) -> float:
    return float(check.check.margin.p5)
