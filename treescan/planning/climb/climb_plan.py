"""The plan of the climb around the ranked list: sets, second lines, redirects, rescue, retrieval, and what stays out of reach."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from treescan.loads.rope.load_cases import rope_angles
from treescan.loads.statics.load_path import StructuralModel
from treescan.planning.candidates.candidates import other_base
from treescan.planning.candidates.contact import own_limbs
from treescan.planning.climb.line_loads import LinePair, line_pair
from treescan.planning.climb.neighbours import Neighbours, from_neighbours
from treescan.planning.climb.redirect_loads import with_all_forces
from treescan.planning.climb.redirects import Redirect, redirects
from treescan.planning.climb.rescue import RescuePlan, corridors, rescue_plan
from treescan.planning.climb.sets import AnchorSet, anchor_set, two_line_set
from treescan.planning.climb.walks import walks_that_hold
from treescan.planning.kit.retrieval import retrieval
from treescan.planning.kit.rope_and_kit import kit_of_all
from treescan.planning.ranking.overrides import Override, barred_unions
from treescan.planning.reach.clearances import site_warnings
from treescan.planning.reach.sightline import Scene, first_fouls
from treescan.planning.reach.ways_to_work import Stratum, WayToWork, access_bias, reached_shares, ways_to_work
from treescan.planning.settings import PlanningSettings
from treescan.planning.tie_in_point import Retrieval, TieInPoint, Work
from treescan.planning.work.removal import Removal, Stage, spar_diameters, stages
from treescan.planning.work.work_points import limb_of_work, work_at_cuts
from treescan.progress import Progress, quiet
from treescan.trees.beside import Beside, Site
from treescan.wood.graph import WoodGraph

MOST_REDIRECTS = 3
"""Redirects kept for each tie-in point of the set, the most useful first."""

EXACT_POINTS = 5
"""Tie-in points whose redirects are checked by all forces; those of further points say that theirs is a first estimate (time, not doubt)."""


@dataclass(frozen=True)
class ClimbPlan:
    """What the crew needs besides the ranked list.

    Attributes
    ----------
    anchors : AnchorSet             Fewest tie-in points for all work that can be served, in visiting order.
    two_lines : AnchorSet           Fewest for two lines on independent wood at every work point that allows it.
    pair : LinePair or None         What the pair of them that shares the load over most of the work bears where it bears most, and if one
        line goes; None without such a pair, or where the loads are not at hand.
    lines_judged : bool             The loads were at hand.
    redirects : tuple               For the first-ranked and every tie-in point of the set, its redirects ((label, Redirect), ...).
    rescue : tuple of RescuePlan    One for every ranked tie-in point, in their order.
    retrieval : tuple of Retrieval  For the first-ranked and every tie-in point of the set.
    ways : tuple of WayToWork       One for every work point, over the whole ranked list.
    shares : mapping                Way to weighted share of the work.
    strata : tuple of Stratum       Reached shares by height and distance.
    warnings : tuple of str         What concerns the whole site.
    neighbours : Neighbours         What anchors drawn in neighbouring trees offer.
    kit : tuple of str              What to load for the first-ranked and the set together.
    stages : tuple of Stage         Of a removal, cut by cut; empty when none is planned.
    spar : tuple                    Of a removal: (height, diameter, sd of the diameter) of the stem from the foot up. [m]
    """

    anchors: AnchorSet
    two_lines: AnchorSet
    redirects: tuple[tuple[str, Redirect], ...]
    rescue: tuple[RescuePlan, ...]
    retrieval: tuple[Retrieval, ...]
    ways: tuple[WayToWork, ...]
    shares: dict[str, float]
    strata: tuple[Stratum, ...]
    warnings: tuple[str, ...]
    neighbours: Neighbours = field(default_factory=lambda: Neighbours((), ()))
    kit: tuple[str, ...] = ()
    stages: tuple[Stage, ...] = ()
    spar: tuple[tuple[float, float, float], ...] = ()
    pair: LinePair | None = None
    lines_judged: bool = False

    def two_line_words(self) -> tuple[str, ...]:
        """Which two lines, and what they bear together and alone."""
        if self.pair is not None:
            return (*self.two_lines.words, *self.pair.words)
        back_up = "Nowhere do two of them share the load: one carries it, the other hangs slack beside it as its back-up."
        return (*self.two_lines.words, *((back_up,) if self.lines_judged and (self.two_lines.second >= 0).any() else ()))

    def redirect_words(self) -> tuple[str, ...]:
        """Redirects that can be used, each in its sentences; of those that spoil an anchor only how many, and the best as an example."""
        good = [" ".join((f"{label}:", *r.words)) for label, r in self.redirects if not r.spoils]
        bad = [(label, r) for label, r in self.redirects if r.spoils]
        if bad:
            label, r = max(bad, key=lambda x: len(x[1].work))
            example = " ".join((f"{label}:", *r.words))
            good.append(f"{len(bad)} more would bring work into reach but spoil the main anchor or do not hold themselves. {example}")
        return tuple(good)

    def rescue_on_set(self) -> tuple[RescuePlan, ...]:
        """Rescue plans of the first-ranked tie-in point and of those in the set."""
        names = {f"{p.label} {p.system}" for p in self.anchors.points}
        return tuple(r for i, r in enumerate(self.rescue) if i == 0 or r.work_anchor in names)

    def sections(self) -> tuple[tuple[str, tuple[str, ...]], ...]:
        """Headings and sentences in the order a crew asks: (heading, sentences), empty sections left out."""
        shares = ", ".join(f"{how} {100 * share:.0f} %" for how, share in self.shares.items())
        all_sections = (
            ("Site", self.warnings),
            ("Tie-in points for all the work", (*self.anchors.words, f"Ways to the work: {shares}.")),
            ("Two lines", self.two_line_words()),
            ("Anchors in neighbouring trees", self.neighbours.words()),
            ("Redirects", self.redirect_words()),
            ("Rescue", tuple(" ".join(r.words) for r in self.rescue_on_set())),
            ("Getting the rope down", tuple(r.words for r in self.retrieval)),
            ("Kit for the tree", self.kit),
            ("Taking it down, cut by cut", tuple(s.words() for s in self.stages)),
            ("Stem by height", tuple(f"{h:.0f} m: {100 * d:.0f} cm" + (f" ± {100 * sd:.1f}" if np.isfinite(sd) else "") for h, d, sd in self.spar)),
        )
        return tuple((heading, words) for heading, words in all_sections if words)


def climb_plan(
    graph: WoodGraph,
    beside: Beside,
    site: Site,
    work: Work,
    points: tuple[TieInPoint, ...],
    settings: PlanningSettings,
    progress: Progress = quiet,
    removal: Removal | None = None,
    density: float = 1000.0,
    two_people: bool = False,
    weight: float = float("nan"),
    tree: StructuralModel | None = None,
    overrides: Sequence[Override] = (),
) -> ClimbPlan:
    """Everything around the ranked list, from the ranked list.

    Parameters
    ----------
    points : from `rank.rank_points` or `overrides.with_overrides`.
    removal : Removal       The cuts of a removal, if the tree comes down.
    density : float         Green density of the wood, for the masses of the pieces. [kg/m3]
    two_people : bool       Two people on the union are among the load cases of the margins.
    weight : float          Of the climber. [N]
    tree : StructuralModel             From `loads.anchor.whole_tree`; without it all redirects stay first estimates and no line or limb walk is judged.
    overrides : sequence of Override    What was stated; `points` already follow it, redirects must too.
    """
    progress("planning the climb", 0.0)
    scene, limbs = Scene.of(graph, beside), limb_of_work(graph, work)
    chosen = anchor_set(points, work, settings)
    two = two_line_set(graph, points, work, settings)
    progress("planning the climb", 0.5)
    ranked = tuple(p for p in points if p.usable)
    shown = (*ranked[:1], *(p for p in chosen.points if p.rank != 1))
    barred = barred_unions(graph, overrides)
    found = []
    for i, p in enumerate(shown):
        best = redirects(graph, scene, p, points, work, limbs, settings, barred)[:MOST_REDIRECTS]
        if tree is not None and i < EXACT_POINTS:
            best = with_all_forces(tree, p, best, work, overrides, settings)
        found += [(p.label, r) for r in best]
    ways = ways_to_work(graph, points, work, settings)
    if tree is not None:
        ways = walks_that_hold(tree, points, work, ways, overrides, settings)
    ways_down = corridors(graph, scene, work, limbs, settings, site) if ranked else ()
    progress("planning the climb", 1.0)
    return ClimbPlan(
        anchors=chosen,
        two_lines=two,
        redirects=tuple(found),
        rescue=tuple(rescue_plan(graph, p, ranked, work, ways_down, settings, two_people) for p in ranked),
        retrieval=tuple(retrieval(graph, p) for p in shown),
        ways=ways,
        shares=reached_shares(work, ways),
        strata=access_bias(graph, work, ways),
        warnings=(*site_warnings(beside, site, work.xyz, work.label, settings.approach), *_another_base(graph, beside, site, shown)),
        neighbours=from_neighbours(graph, scene, site, points, work, limbs, settings, weight, tree, overrides),
        kit=kit_of_all(shown),
        stages=_stages(graph, beside, points, removal, density, settings) if removal is not None else (),
        spar=spar_diameters(graph) if removal is not None else (),
        pair=line_pair(tree, two, work, overrides, settings) if tree is not None else None,
        lines_judged=tree is not None,
    )


def _another_base(graph: WoodGraph, beside: Beside, site: Site, shown: Sequence[TieInPoint]) -> tuple[str, ...]:
    """Where else a basal line could be tied, if one is recommended and no base was drawn."""
    if site.bases or not any(p.system == "SRS basal" for p in shown):
        return ()
    found = other_base(graph, beside)
    return (found,) if found is not None else ()


def _stages(
    graph: WoodGraph, beside: Beside, points: tuple[TieInPoint, ...], removal: Removal, density: float, settings: PlanningSettings
) -> tuple[Stage, ...]:
    """The removal cut by cut, each with the anchors whose straight rope reaches it past the wood that still stands."""
    at = work_at_cuts(graph, removal.cuts)
    usable = [p for p in points if p.usable]
    reaches = {f"{p.label} {p.system}": np.zeros(len(at), bool) for p in usable}
    gone = np.zeros(len(graph), bool)
    for i, cut in enumerate(removal.cuts):
        scene, limb = Scene.of(graph, beside, gone), graph.limb[[cut.node]].astype(np.int32)
        for p in usable:
            if rope_angles(p.place, at.xyz[i]) <= settings.rope_angle_limit:
                own = own_limbs(graph, p.check.configuration)
                fouled = first_fouls(scene, p.place, at.xyz[[i]], own, limb, settings.lean_limit, settings.own_wood, settings.hand_reach)
                reaches[f"{p.label} {p.system}"][i] = bool(fouled[0] < 0)
        gone |= graph.above(cut.node)
    return stages(graph, removal.cuts, points, density, settings, removal.life_support, removal.rigging, reaches)
