"""The plan of the climb around the ranked list: sets, second lines, redirects, rescue, retrieval, and what
stays out of reach."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from treescan.loads.statics.structural_model import StructuralModel
from treescan.planning.access.rope_and_kit import kit_of_all
from treescan.planning.candidates.candidates import other_base
from treescan.planning.climb.falling_ground import falling_ground
from treescan.planning.climb.rescue import RescuePlan, corridors, rescue_plan
from treescan.planning.climb.walks import walks_that_hold
from treescan.planning.climb.wires import wires_claimed
from treescan.planning.climb.work_left import by_pole_saw, by_redirects, left_over, with_reasons
from treescan.planning.lines.line_pair import LinePair, two_lines_that_hold
from treescan.planning.lines.neighbours import Neighbours, from_neighbours
from treescan.planning.ranking.overrides import Override, barred_unions
from treescan.planning.reach.clearances import site_warnings
from treescan.planning.reach.ways_to_work import Stratum, WayToWork, access_bias, reached_shares, ways_to_work
from treescan.planning.reach.work_scene import WorkScene
from treescan.planning.redirects.redirect import Redirect
from treescan.planning.redirects.redirect_loads import with_all_forces
from treescan.planning.redirects.redirects import redirects
from treescan.planning.removal.removal_plan import removal_plan
from treescan.planning.removal.stages import SparDiameter, Stage, spar_diameters
from treescan.planning.sets.sets import AnchorSet, anchor_set, two_line_set
from treescan.planning.tie_in_point import Retrieval, TieInPoint
from treescan.planning.tree_context import TreeContext
from treescan.planning.work.removal import Removal
from treescan.progress import Progress, quiet
from treescan.reason import Reason

MOST_REDIRECTS = 3
"""Redirects kept for each tie-in point of the set, the most useful first."""

TRIED_REDIRECTS = 5
"""Redirects of each tie-in point that are checked by all forces, the most promising first (time, not doubt)."""


@dataclass(frozen=True)
class Climbers:
    """Who hangs on the ropes: weight of the climber with gear [N], and whether two people on a union are
    among the load cases."""

    weight: float
    two_people: bool


@dataclass(frozen=True)
class ClimbPlan:
    """What the crew needs besides the ranked list.

    Attributes
    ----------
    anchors : AnchorSet             Fewest tie-in points for all work that can be served, in visiting order.
    two_lines : AnchorSet           Fewest for two lines on independent wood at every work point that allows
        it.
    pair : LinePair or None         What the pair of them that shares the load over most of the work bears
        where it bears most, and if one line goes; None without such a pair, or where the loads are not at
        hand.
    pairs_refused : int             Pairs looked at that the sums refuse at work points where they share the load:
        left out there.
    lines_judged : bool             The loads were at hand.
    redirects : tuple               For the first-ranked and every tie-in point of the set, its redirects
        ((label, Redirect), ...); where the loads are at hand those alone that hold by all forces.
    redirects_refused : int         Redirects looked at by all forces that do not hold, or cannot be judged.
    rescue : tuple of RescuePlan    One for every ranked tie-in point, in their order.
    retrieval : tuple of Retrieval  For the first-ranked and every tie-in point of the set.
    ways : tuple of WayToWork       One for every work point, over the whole ranked list.
    shares : mapping                Way to weighted share of the work.
    strata : tuple of Stratum       Reached shares by height and distance.
    left_over : tuple of Reason     The work no way reaches, in groups of one reason.
    warnings : tuple of Reason      What concerns the whole site.
    neighbours : Neighbours         What anchors drawn in neighbouring trees offer.
    kit : tuple of Reason           What to load for the first-ranked and the set together.
    stages : tuple of Stage         Of a removal, cut by cut; empty when none is planned.
    spar : tuple of SparDiameter    Of a removal: the stem by height from the foot up.
    """

    anchors: AnchorSet
    two_lines: AnchorSet
    pair: LinePair | None
    pairs_refused: int
    lines_judged: bool
    redirects: tuple[tuple[str, Redirect], ...]
    redirects_refused: int
    rescue: tuple[RescuePlan, ...]
    retrieval: tuple[Retrieval, ...]
    ways: tuple[WayToWork, ...]
    shares: dict[str, float]
    strata: tuple[Stratum, ...]
    left_over: tuple[Reason, ...]
    warnings: tuple[Reason, ...]
    neighbours: Neighbours
    kit: tuple[Reason, ...]
    stages: tuple[Stage, ...]
    spar: tuple[SparDiameter, ...]

    def __repr__(self) -> str:
        return f"ClimbPlan(set={[p.name for p in self.anchors.points]}, stages={len(self.stages)})"

    def redirect_reasons(self) -> tuple[Reason, ...]:
        """How many redirects were left out."""
        return (Reason("redirects_refused", n=self.redirects_refused),) if self.redirects_refused else ()

    def two_line_reasons(self) -> tuple[Reason, ...]:
        """Which two lines, and what they bear together and alone."""
        left_out = (Reason("pairs_refused", n=self.pairs_refused),) if self.pairs_refused else ()
        if self.pair is not None:
            return (*self.two_lines.reasons, *left_out, *self.pair.reasons)
        back_up = self.lines_judged and bool((self.two_lines.second >= 0).any())
        told = (Reason("two_lines_back_up"),) if back_up else ()
        return (*self.two_lines.reasons, *left_out, *told)


def climb_plan(
    context: TreeContext,
    points: tuple[TieInPoint, ...],
    climbers: Climbers,
    loads: StructuralModel | None = None,
    overrides: Sequence[Override] = (),
    removal: Removal | None = None,
    density: float = 1000.0,
    progress: Progress = quiet,
) -> ClimbPlan:
    """Everything around the ranked list, from the ranked list.

    Parameters
    ----------
    points : from `rank.rank_points` or `overrides.with_overrides`.
    loads : StructuralModel     From `loads.anchor.whole_tree`; without it all redirects stay first estimates
        and no line or limb walk is judged.
    overrides : sequence of Override    What was stated; `points` already follow it, redirects must too.
    removal : Removal       The cuts of a removal, if the tree comes down.
    density : float         Green density of the wood, for the masses of the pieces. [kg/m3]
    """
    progress("planning the climb", 0.0)
    graph, beside, site, work, settings = (
        context.graph,
        context.beside,
        context.site,
        context.work,
        context.settings,
    )
    at = WorkScene.of(context)
    chosen = anchor_set(points, work, settings)
    two, pair, pairs_refused = (
        two_lines_that_hold(loads, points, work, overrides, settings)
        if loads is not None
        else (two_line_set(graph, points, work, settings), None, 0)
    )
    progress("planning the climb", 0.5)
    ranked = tuple(p for p in points if p.usable)
    shown = (*ranked[:1], *(p for p in chosen.points if p.rank != 1))
    found, redirects_refused = _redirects(at, points, shown, loads, overrides)
    ways = ways_to_work(graph, points, work, settings)
    if loads is not None:
        ways = walks_that_hold(loads, points, work, ways, overrides, settings)
        ways = by_redirects(ways, found, points, work)
    ways = by_pole_saw(ways, work, settings.pole_reach)
    ways = with_reasons(graph, ways, points, work, settings)
    down = corridors(graph, at.scene, work, at.work_limb, settings, site) if ranked else ()
    progress("planning the climb", 1.0)
    cuts = removal_plan(context, points, removal, density, loads, overrides) if removal is not None else ()
    return ClimbPlan(
        anchors=_until_cut(chosen, cuts),
        two_lines=two,
        pair=pair,
        pairs_refused=pairs_refused,
        lines_judged=loads is not None,
        redirects=found,
        redirects_refused=redirects_refused,
        rescue=_rescued_until_cut(
            [rescue_plan(graph, p, ranked, work, down, settings, climbers.two_people) for p in ranked], cuts
        ),
        retrieval=tuple(p.retrieval for p in shown),
        ways=ways,
        shares=reached_shares(work, ways),
        strata=access_bias(graph, work, ways),
        left_over=left_over(ways, work, graph.xyz[0]),
        warnings=(
            *wires_claimed(context, points),
            *site_warnings(beside, site, work.xyz, work.label, settings.approach),
            *falling_ground(beside.terrain, graph.xyz[0]),
            *_another_base(context, shown),
        ),
        neighbours=from_neighbours(at, site.anchors, points, climbers.weight, loads, overrides),
        kit=kit_of_all(shown),
        stages=cuts,
        spar=spar_diameters(graph) if removal is not None else (),
    )


def lost_with(cuts: Sequence[Stage]) -> dict[str, int]:
    """Number of the cut that every anchor goes with, by its name; those that stay are left out."""
    return {name: s.number for s in cuts for name in s.lost}


def _rescued_until_cut(plans: Sequence[RescuePlan], cuts: Sequence[Stage]) -> tuple[RescuePlan, ...]:
    """Rescue plans that say with which cut their line goes."""
    goes = lost_with(cuts)
    return tuple(
        replace(r, reasons=(*r.reasons, Reason("rescue_goes_with_cut", anchor=r.rescue_anchor, cut=goes[r.rescue_anchor])))
        if r.rescue_anchor in goes
        else r
        for r in plans
    )


def _until_cut(chosen: AnchorSet, cuts: Sequence[Stage]) -> AnchorSet:
    """The set with what a removal takes of it: which of its tie-in points go with which cut."""
    if not cuts or not chosen.points:
        return chosen
    goes = tuple(
        Reason("set_goes", anchor=p.name, cut=s.number) for p in chosen.points for s in cuts if p.name in s.lost
    )
    return replace(chosen, reasons=(*chosen.reasons, Reason("set_in_removal", goes=goes)))


def _redirects(
    at: WorkScene,
    points: tuple[TieInPoint, ...],
    shown: Sequence[TieInPoint],
    loads: StructuralModel | None,
    overrides: Sequence[Override],
) -> tuple[tuple[tuple[str, Redirect], ...], int]:
    """The best redirects of every tie-in point shown, and how many were refused by all forces. Only those that
    hold are kept; without `loads` they are first estimates."""
    barred = barred_unions(at.graph, overrides)
    out, refused = [], 0
    for p in shown:
        screened = redirects(at, p, points, barred)
        if loads is None:
            out += [(p.label, r) for r in screened[:MOST_REDIRECTS]]
            continue
        found = with_all_forces(loads, p, screened[:TRIED_REDIRECTS], at.work, overrides, at.settings)
        hold = [r for r in found if r.margins.holds]
        refused += len(found) - len(hold)
        out += [(p.label, r) for r in hold[:MOST_REDIRECTS]]
    return tuple(out), refused


def _another_base(context: TreeContext, shown: Sequence[TieInPoint]) -> tuple[Reason, ...]:
    """Where else a basal line could be tied, if one is recommended and no base was drawn."""
    if context.site.bases or not any(p.system == "SRS basal" for p in shown):
        return ()
    found = other_base(context.graph, context.beside)
    return (found,) if found is not None else ()
