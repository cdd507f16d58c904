"""The main thing: from a scan to ranked tie-in points. Reads like the job itself."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from treescan.cloud.canonical import canonical
from treescan.cloud.point_cloud import PointCloud
from treescan.cloud.projection import longitude_latitude
from treescan.cloud.settings import CloudSettings, JoinSettings
from treescan.errors import BadInput
from treescan.loads.checks.anchor import NONE_KEPT, Heard, check_anchor, checked
from treescan.loads.checks.kept import Kept, same_answers
from treescan.loads.limb_check import AnchorCheck, AnchorConfiguration
from treescan.loads.material.species_warnings import species_warnings
from treescan.loads.material.wood_strength import Wood, wood_of
from treescan.loads.regions import BY_MAP, region_at
from treescan.loads.rope.rope_systems import SYSTEMS
from treescan.loads.settings import LoadSettings
from treescan.loads.statics.structural_model import StructuralModel, whole_tree
from treescan.planning.access.access_order import Holds, stems_passed
from treescan.planning.access.approach import Approach, recommend
from treescan.planning.candidates.candidates import candidate_configurations, unions_to_throw_at
from treescan.planning.candidates.screening import Screening, screening_lines, stem_lines
from treescan.planning.climb.climb_plan import Climbers, ClimbPlan, climb_plan, lost_with
from treescan.planning.climb.left_out import LeftOut, left_out
from treescan.planning.climb.what_would_change import Change, Refused, what_would_change
from treescan.planning.ranking.overrides import Override, Revision, check_overrides, with_overrides
from treescan.planning.ranking.rank import rank_points
from treescan.planning.ranking.ways_up import holds_of
from treescan.planning.reach.clearances import wires_said
from treescan.planning.reach.places import Places
from treescan.planning.settings import PlanningSettings
from treescan.planning.tie_in_point import TieInPoint, Work
from treescan.planning.tree_context import TreeContext
from treescan.planning.work.removal import Removal, check_order, standing
from treescan.planning.work.work_points import default_work, work_at_cuts
from treescan.progress import Progress, quiet
from treescan.reader_settings import JobSettings, ReaderSettings
from treescan.reason import Reason
from treescan.settings import merged
from treescan.short_repr import ShortRepr
from treescan.throw.scene.stances import standing_places
from treescan.throw.search.same_search import same_search
from treescan.throw.search.search import search_throws
from treescan.throw.settings import ThrowSettings
from treescan.throw.throw_path import Stances, Throw, ThrowTable
from treescan.trees.beside import Site, as_said
from treescan.trees.round_the_place import find_tree_at
from treescan.trees.scan_points import scan_points
from treescan.trees.settings import TreeSettings
from treescan.trees.single_tree import find_tree
from treescan.units import G
from treescan.wood.build import build_graph
from treescan.wood.files.read_tree import tree_in
from treescan.wood.files.write_tree import tree_out
from treescan.wood.graph import TracedTree
from treescan.wood.quality.fitness import scan_fitness
from treescan.wood.quality.stem_figures import stem_figures, without_diameters
from treescan.wood.settings import WoodSettings

SAME_PLACE = 1e-6
"""Standing places no farther apart are one. [m]"""


class Same(Enum):
    """Stands for "as before" where None has a meaning of its own."""

    AS_BEFORE = "as before"


@dataclass(frozen=True)
class Settings:
    """Every setting of every room; `plan --show-settings` prints them, a TOML file changes them."""

    cloud: CloudSettings = field(default_factory=CloudSettings)
    join: JoinSettings = field(default_factory=JoinSettings)
    trees: TreeSettings = field(default_factory=TreeSettings)
    wood: WoodSettings = field(default_factory=WoodSettings)
    throw: ThrowSettings = field(default_factory=ThrowSettings)
    loads: LoadSettings = field(default_factory=LoadSettings)
    planning: PlanningSettings = field(default_factory=PlanningSettings)
    reader: ReaderSettings = field(default_factory=ReaderSettings)
    job: JobSettings = field(default_factory=JobSettings)

    def judging(self) -> LoadSettings:
        """Those of the loads for a plan: every place that planning counts as served is judged."""
        return replace(
            self.loads,
            rope_angle_limit_deg=max(self.loads.rope_angle_limit_deg, self.planning.rope_angle_limit_deg),
        )


@dataclass(frozen=True, repr=False)
class Asked(ShortRepr):
    """What was asked for: species as given, None = unknown; rope systems; the cuts of a removal, None = the
    tree stays; seed of all random draws; every setting; given : the settings before region and removal spoke,
    None = the same."""

    species: str | None
    systems: tuple[str, ...]
    removal: Removal | None
    seed: int
    settings: Settings
    given: Settings | None = None

    @property
    def as_given(self) -> Settings:
        """The settings as the user gave them."""
        return self.given or self.settings


@dataclass(frozen=True)
class Checks:
    """Every configuration with the throw that sets its line (None = set by climbing), its check, the
    model they were checked on, and what was screened beside them."""

    configurations: tuple[tuple[AnchorConfiguration, Throw | None], ...]
    anchors: tuple[AnchorCheck, ...]
    model: StructuralModel
    screening: Screening = field(default_factory=Screening)

    def __repr__(self) -> str:
        return f"Checks(anchors={len(self.anchors)})"

    @property
    def wood(self) -> Wood:
        """The wood they were judged with."""
        return self.model.wood


@dataclass(frozen=True)
class Ranking:
    """The list before any statement, what was found out about the places in it, and the lines that may be hung on
    on the way up."""

    points: tuple[TieInPoint, ...]
    places: Places
    holds: Holds
    changes: tuple[Change, ...] = ()

    def __repr__(self) -> str:
        return f"Ranking(points={len(self.points)})"


@dataclass(frozen=True)
class Assessment:
    """Everything the outputs show.

    Attributes
    ----------
    tree : TracedTree
    site : Site
    work : Work
    asked : Asked
    throws : ThrowTable
    checks : Checks                 Forces and margins of every configuration.
    ranking : Ranking               The list before any statement, from which `revised` ranks again.
    points : tuple of TieInPoint    Usable ones by rank first, then those not ranked with their reasons; they
    follow the statements.
    approach : Approach             Recommended way up, and the arguments for and against every open one.
    left_out : LeftOut              Unions that are no candidates, and what a first look says of them.
    climb : ClimbPlan               Around the ranked list: sets, second lines, redirects, rescue, retrieval,
    removal stages.
    overrides : tuple of Override   What competent persons stated, in their order.
    statements : tuple of Reason    One each: who, when, why, and what it changed.
    """

    tree: TracedTree
    site: Site
    work: Work
    asked: Asked
    throws: ThrowTable
    checks: Checks
    ranking: Ranking
    points: tuple[TieInPoint, ...]
    approach: Approach
    climb: ClimbPlan
    left_out: LeftOut
    overrides: tuple[Override, ...]
    statements: tuple[Reason, ...]

    def __repr__(self) -> str:
        return f"Assessment({self.tree!r}, anchors={len(self.points)}, ranked={sum(p.usable for p in self.points)})"

    @property
    def context(self) -> TreeContext:
        """What it was planned for."""
        return _context(self.tree, self.site, self.work, self.asked)

    @property
    def settings(self) -> Settings:
        """Every setting it was made with."""
        return self.asked.settings

    @property
    def seed(self) -> int:
        """Of all random draws."""
        return self.asked.seed

    @property
    def species(self) -> Reason | str:
        """As used, with how it was matched."""
        return self.checks.wood.label

    @property
    def warnings(self) -> tuple[Reason | str, ...]:
        """What the scan and its reading left in doubt, and what the kind of tree warns of."""
        return (
            *wires_said(self.tree.beside, self.site),
            *self.tree.notes,
            *self.species_warnings,
        )

    @property
    def species_warnings(self) -> tuple[Reason, ...]:
        """What this kind of tree warns of, whatever its strength."""
        return species_warnings(self.asked.species)


def trace(
    cloud: PointCloud,
    *,
    at: NDArray[np.float64] | None = None,
    settings: Settings | None = None,
    progress: Progress = quiet,
    in_place: bool = False,
) -> TracedTree:
    """From points to the wood graph of one tree.

    Parameters
    ----------
    cloud : PointCloud          From `read_cloud`.
    at : (2,) float, optional   Local x, y of the asked tree [m]; default: the largest tree of the cloud.
    settings : Settings
    progress : Progress
    in_place : bool             Nobody needs the cloud afterwards: its points are put in order where they are,
                                which saves the memory of a second cloud.

    Returns
    -------
    TracedTree                  Exactly what `wood.files.read_tree` gives back after `write_tree`, so that planning
                                from the file and from the cloud cannot differ.
    """
    settings = settings or Settings()
    if at is None:
        cloud = canonical(cloud, in_place=in_place)
        tree = find_tree(cloud, None, settings.trees, progress)
    else:
        cloud, tree = find_tree_at(cloud, at, settings.trees, progress, in_place)
    graph = build_graph(tree, settings.wood, progress)
    progress("measuring the tree", 0.0)
    top = max((float(c.xyz[:, 2].max()) for c in (tree.wood, tree.leaf) if len(c)), default=float("nan"))
    stem = stem_figures(graph, tree.beside.terrain, top)
    fitness = scan_fitness(graph, tree, settings.wood)
    if not fitness.assessable:
        stem = without_diameters(stem)
    traced = TracedTree(
        graph,
        tree.beside,
        cloud.frame,
        stem,
        fitness,
        cloud.source,
        cloud.notes + tree.notes,
        scan_points((tree.wood.xyz, tree.leaf.xyz)),
    )
    return tree_in(tree_out(traced), traced.beside, cloud.source, traced.points)


def plan(
    tree: TracedTree,
    *,
    species: str | None = None,
    systems: Sequence[str] = tuple(SYSTEMS),
    work: Work | None = None,
    site: Site | None = None,
    settings: Settings | None = None,
    seed: int = 1,
    progress: Progress = quiet,
    removal: Removal | None = None,
    overrides: Sequence[Override] = (),
) -> Assessment:
    """From the wood graph to ranked candidate tie-in points.

    Parameters
    ----------
    tree : TracedTree           From `trace`, or from `wood.files.read_tree`.
    species : str, optional     Common or botanical name; None = unknown, judged with low strength.
    systems : sequence of str   Rope systems to judge.
    work : Work, optional       Default: the cuts of a removal, else the whole crown.
    site : Site, optional       What the user drew: no-stand areas, buildings, conductors.
    settings : Settings
    seed : int                  Of all random draws.
    progress : Progress
    removal : Removal, optional         The cuts in their order, when the tree comes down; spurs may be worn
    then.
    overrides : sequence of Override    What competent persons stated: defects, refused anchors, load-test
    results.
    """
    check_overrides(tree.graph, overrides)
    if removal is not None:
        check_order(tree.graph, removal)
    given = settings or Settings()
    used = _in_its_region(_with_spurs(given, removal), tree)
    asked = Asked(species, tuple(systems), removal, seed, used, given)
    work = work if work is not None else _default_work(tree, removal, asked.settings)
    context = _context(tree, site or Site(), work, asked)
    throws = _thrown(context, asked.settings.throw, progress)
    checks = _checked(context, throws, asked, progress)
    ranking = _ranked(context, tree, checks, asked, progress)
    return _planned(context, tree, asked, throws, checks, ranking, overrides, progress)


def judged_again(
    assessment: Assessment,
    *,
    species: str | Same | None = Same.AS_BEFORE,
    systems: Sequence[str] | None = None,
    climber_mass: float | None = None,
    reported: Sequence[str] | None = None,
    work: Work | Same | None = Same.AS_BEFORE,
    site: Site | Same | None = Same.AS_BEFORE,
    removal: Removal | Same | None = Same.AS_BEFORE,
    settings: Settings | Same | None = Same.AS_BEFORE,
    progress: Progress = quiet,
    heard: Heard | None = None,
    first: str | None = None,
) -> Assessment:
    """The same tree answered again for other inputs of `plan`; the tree is not traced again, and only what the change
    touches is computed anew.

    Another species, climber, defect, work, removal, rope angle or hardware leaves every throw as it was (half a second to four);
    areas and conductors drawn, wires the scan saw that are said to be none, settings of throw, or those of planning that choose the
    unions to throw at, have the throws searched again.

    Parameters
    ----------
    assessment : Assessment     From `plan`; its overrides and seed stay.
    species : str or None       As in `plan`: None = unknown.
    systems : sequence of str   Rope systems to judge; None = as before.
    climber_mass : float        With gear; None = as before. [kg]
    reported : sequence of str  Defects of the wood in words, as in `LoadSettings.reported`; they replace the
    earlier ones; None = as before.
    work, site, removal, settings   As in `plan`, None as there: the default work, nothing drawn, the tree stays, all
    settings as they come. `climber_mass` and `reported` are put into the settings. Work that was the default before is the
    default again.
    heard : Heard               Told the answer of every line as soon as it is judged: what stands highest in the list so far
    is judged first. Each is as in the plan; its place in the list is not known before all are there.
    first : str                 Label of a union whose lines are judged before all others.

    Returns
    -------
    Assessment                  What `plan` gives with the same inputs.
    """
    a = assessment
    removal_now = a.asked.removal if isinstance(removal, Same) else removal
    if removal_now is not None:
        check_order(a.tree.graph, removal_now)
    given = a.asked.as_given if isinstance(settings, Same) else settings or Settings()
    changed = {"climber_mass": climber_mass, "reported": None if reported is None else list(reported)}
    loads = merged(given.loads, {name: value for name, value in changed.items() if value is not None})
    given = replace(given, loads=loads)
    asked = Asked(
        a.asked.species if isinstance(species, Same) else species,
        a.asked.systems if systems is None else tuple(systems),
        removal_now,
        a.asked.seed,
        _in_its_region(_with_spurs(given, removal_now), a.tree),
        given,
    )
    if isinstance(work, Same) and isinstance(site, Same) and _for_other_readers(asked, a.asked):
        return replace(a, asked=asked)
    if isinstance(work, Same):
        touched = removal_now is not a.asked.removal or asked.settings.planning != a.settings.planning
        work = None if touched and _is_default(a) else a.work
    work_now = work if work is not None else _default_work(a.tree, removal_now, asked.settings)
    site_now = a.site if isinstance(site, Same) else site or Site()
    context = _context(a.tree, site_now, work_now, asked)
    rules = asked.settings.planning == a.settings.planning and isinstance(site, Same)
    there = isinstance(site, Same) or same_search((context.beside, site_now), (a.context.beside, a.site))
    aimed = there and asked.settings.throw == a.settings.throw and _same_aims(a, asked.settings)
    throws = a.throws if aimed else _thrown(context, asked.settings.throw, progress)
    alike = rules and aimed and asked.systems == a.asked.systems and loads.min_lever == a.settings.loads.min_lever
    checks = _checked(context, throws, asked, progress, _Before(a, alike, heard, first))
    reached = a.ranking.places if rules and _same_work(work_now, a.work) else None
    ranking = _ranked(context, a.tree, checks, asked, progress, reached)
    return _planned(context, a.tree, asked, throws, checks, ranking, a.overrides, progress)


def throws_from(
    assessment: Assessment, place: Sequence[float], union: str, progress: Progress = quiet
) -> tuple[Throw, ...]:
    """The throws from one place to one union, the most certain first; empty where none gets there.

    Parameters
    ----------
    place : (x, y), local       Where the thrower stands; the ground there is the terrain's. [m]
    union : str                 Label, as "U07"; BadInput for another.
    """
    a = assessment
    if union not in a.tree.graph.unions.label:
        raise BadInput(f"'{union}' is not a union of this tree", remedy="name a union, as U07")
    context = a.context
    row = a.tree.graph.unions.label.index(union)
    xy = np.asarray(place, float)[:2]
    ground = float(context.beside.terrain.height_at(xy))
    if not np.isfinite(ground):
        raise BadInput("the ground at that place was not seen", remedy="take a place on the scanned ground")
    stand = Stances(np.array([[*xy, ground]]))
    found = search_throws(
        context.graph, context.beside, context.site, stand, a.settings.throw, progress, np.array([row], np.int32)
    )
    best = [t for (k, _), t in found.best.items() if k == row]
    return tuple(sorted(best, key=lambda t: -t.chance))


def throw_again(
    assessment: Assessment,
    throw: Throw,
    *,
    site: Site | Same | None = Same.AS_BEFORE,
    settings: Settings | Same | None = Same.AS_BEFORE,
    progress: Progress = quiet,
) -> Throw | None:
    """A throw of a plan asked again for another site or other settings of throw: the best from the same place to the same union
    and isolation class, as a plan would find it there; None where nobody may stand there now, or none gets there.

    Parameters
    ----------
    throw : Throw               Of the plan.
    site, settings              As in `judged_again`. A better place elsewhere is for the whole search to find.
    """
    a = assessment
    used = a.settings if isinstance(settings, Same) else settings or Settings()
    drawn = a.site if isinstance(site, Same) else site or Site()
    graph, beside, rules = a.tree.graph, as_said(a.tree.beside, drawn), used.throw
    allowed = standing_places(graph, beside, drawn, rules).xyz
    if not (np.linalg.norm(allowed - throw.stand, axis=1) < SAME_PLACE).any():
        return None
    rows = np.array([throw.union], np.int32)
    found = search_throws(graph, beside, drawn, Stances(throw.stand[None]), rules, progress, rows)
    return found.best.get((throw.union, throw.isolation_class))


def _for_other_readers(asked: Asked, before: Asked) -> bool:
    """True where nothing but how the plan is written differs, or nothing at all."""
    reader, job = before.settings.reader, before.settings.job
    settings, given = (replace(s, reader=reader, job=job) for s in (asked.settings, asked.as_given))
    return replace(asked, settings=settings, given=given) == replace(before, given=replace(before.as_given, reader=reader, job=job))


def _same_aims(a: Assessment, settings: Settings) -> bool:
    """True where lines are looked for over the same unions as before."""
    before, now = a.settings.planning, settings.planning
    graph = a.tree.graph
    return before == now or unions_to_throw_at(graph, before) == unions_to_throw_at(graph, now)


def _is_default(a: Assessment) -> bool:
    """True where the work is what `plan` takes when none is given."""
    return _same_work(a.work, _default_work(a.tree, a.asked.removal, a.settings))


def _same_work(one: Work, other: Work) -> bool:
    return (
        one.label == other.label
        and one.kind == other.kind
        and np.array_equal(one.xyz, other.xyz)
        and np.array_equal(one.weight, other.weight)
    )


def revised(assessment: Assessment, overrides: Sequence[Override], progress: Progress = quiet) -> Assessment:
    """The same assessment after what competent persons stated, ranked and planned again; no throw is computed
    anew, and no force but those of the redirects shown.

    Parameters
    ----------
    assessment : Assessment     From `plan`, revised before or not.
    overrides : sequence of Override    All statements that stand, in their order; they replace earlier ones,
    so leaving one out undoes it.
    """
    a = assessment
    return _planned(a.context, a.tree, a.asked, a.throws, a.checks, a.ranking, overrides, progress)


def _context(tree: TracedTree, site: Site, work: Work, asked: Asked) -> TreeContext:
    """What is planned for; where the work is the cuts of a removal, with what each takes away."""
    removal = asked.removal
    gone: tuple[NDArray[np.bool_], ...] = ()
    if removal is not None and set(work.kind) == {"cut"} and len(work) == len(removal.cuts):
        gone = tuple(s.gone for s in standing(tree.graph, removal)[1:])
    return TreeContext(tree.graph, as_said(tree.beside, site), site, work, asked.settings.planning, gone)


def _with_spurs(settings: Settings, removal: Removal | None) -> Settings:
    """Spurs may be worn where the tree comes down anyway."""
    return settings if removal is None else replace(settings, planning=replace(settings.planning, spurs=True))


def _in_its_region(settings: Settings, tree: TracedTree) -> Settings:
    """The settings with the region a bare name of wood is looked for in, where it is to follow the map."""
    if settings.loads.region != BY_MAP:
        return settings
    place = longitude_latitude(tree.frame.to_map(tree.graph.xyz[0])[:2], tree.frame.crs)
    return replace(settings, loads=replace(settings.loads, region=region_at(place)))


def _default_work(tree: TracedTree, removal: Removal | None, settings: Settings) -> Work:
    """The cuts of a removal, else the whole crown."""
    return (
        work_at_cuts(tree.graph, removal.cuts)
        if removal is not None
        else default_work(tree.graph, tree.beside, settings.planning)
    )


def _thrown(context: TreeContext, settings: ThrowSettings, progress: Progress) -> ThrowTable:
    """Every line that can be thrown from where one can stand."""
    progress("looking for standing places", 0.0)
    graph, beside, site = context.graph, context.beside, context.site
    stances = standing_places(graph, beside, site, settings)
    return search_throws(
        graph, beside, site, stances, settings, progress, unions_to_throw_at(graph, context.settings)
    )


@dataclass(frozen=True)
class _Before:
    """An earlier plan; alike : its configurations are those of now; heard, first : as in `judged_again`."""

    plan: Assessment
    alike: bool
    heard: Heard | None
    first: str | None

    def order(self, configurations: Sequence[tuple[AnchorConfiguration, Throw | None]]) -> list[int]:
        """Rows in which to judge: the union asked for, then by the best place that each had in the list."""
        a, last = self.plan, len(self.plan.points) + 1
        place = {a.tree.graph.unions.label.index(self.first): 0} if self.first in a.tree.graph.unions.label else {}
        for p in a.points:
            place.setdefault(p.union, p.rank if p.usable else last)
        return sorted(range(len(configurations)), key=lambda i: place.get(configurations[i][0].union, last))

    def kept(self, model: StructuralModel, work: Work) -> tuple[Kept, Screening]:
        """The answers that still stand."""
        known = self.plan.checks
        if not same_answers(model, known.model, work.xyz, self.plan.work.xyz):
            return NONE_KEPT, Screening()
        return Kept.of(known.anchors), known.screening


def _checked(
    context: TreeContext, throws: ThrowTable, asked: Asked, progress: Progress, before: _Before | None = None
) -> Checks:
    """Forces and margins of every configuration; what of an earlier plan still stands is taken over."""
    graph, settings = context.graph, asked.settings
    configurations = (
        before.plan.checks.configurations
        if before is not None and before.alike
        else candidate_configurations(
            graph,
            context.beside,
            throws,
            asked.systems,
            context.settings,
            context.site.bases,
            settings.loads.min_lever,
        )
    )
    wood = wood_of(asked.species, settings.loads)
    like = None if before is None else before.plan.checks.model
    model = whole_tree(graph, context.beside, wood, settings.judging(), asked.seed, like)
    kept, screened = (NONE_KEPT, Screening()) if before is None else before.kept(model, context.work)
    order, heard = (None, None) if before is None else (before.order(configurations), before.heard)
    anchors = checked(model, [c for c, _ in configurations], context.work.xyz, progress, kept, order, heard)
    return Checks(configurations, anchors, model, _screened(context, throws, model, screened))


def _screened(context: TreeContext, throws: ThrowTable, model: StructuralModel, known: Screening) -> Screening:
    """One line over every union that is no candidate, and a choke wherever two lanyards may pass; those `known` as they are."""
    graph, settings, lever, work = context.graph, context.settings, model.settings.min_lever, context.work.xyz
    limbs = screening_lines(graph, context.beside, throws, settings, lever)
    stems = stem_lines(graph, stems_passed(graph, settings), settings, lever)
    over, round_it = Kept.of(check for check, _ in known.limbs), Kept.of(known.stems)
    return Screening(
        tuple((over.at(c) or check_anchor(model, c, work), throw) for c, throw in limbs),
        tuple(round_it.at(c) or check_anchor(model, c, work[:0]) for c in stems),
    )


def _ranked(
    context: TreeContext,
    tree: TracedTree,
    checks: Checks,
    asked: Asked,
    progress: Progress,
    known: Places | None = None,
) -> Ranking:
    """The list, first to inspect first."""
    places = Places.of(context, [c for c, _ in checks.configurations], known, asked.settings.loads)
    pairs = [(check, throw) for check, (_, throw) in zip(checks.anchors, checks.configurations, strict=True)]
    points = rank_points(
        context,
        tree.fitness,
        pairs,
        asked.settings.loads,
        asked.seed,
        places,
        progress,
        checks.screening,
    )
    holds = holds_of(context, tree.fitness, pairs, checks.screening, places.lines)
    screened = left_out(context, tree.fitness, checks.screening, places.lines).screened
    refused = tuple(Refused(s.check, s.gates) for s in screened if s.gates)
    progress("looking for what would change", 0.0)
    changes = what_would_change(checks.model, context, points, refused) if tree.fitness.assessable else ()
    return Ranking(points, places, holds, changes)


def _planned(
    context: TreeContext,
    tree: TracedTree,
    asked: Asked,
    throws: ThrowTable,
    checks: Checks,
    ranking: Ranking,
    overrides: Sequence[Override],
    progress: Progress,
) -> Assessment:
    """What was stated is heard, a way up recommended and the climb planned."""
    revision = Revision(ranking.points, ())
    if overrides:
        revision = with_overrides(
            context.graph, ranking.points, overrides, context.settings, asked.seed, ranking.holds, context.work
        )
    points = revision.points
    loads, density = asked.settings.loads, checks.wood.density
    climbers = Climbers(loads.climber_mass * G, "rescue" in loads.cases)
    climb = climb_plan(context, points, climbers, checks.model, overrides, asked.removal, density, progress)
    return Assessment(
        tree=tree,
        site=context.site,
        work=context.work,
        asked=asked,
        throws=throws,
        checks=checks,
        ranking=ranking,
        points=_until_cut(points, lost_with(climb.stages)),
        approach=recommend(context.graph, revision.points, context.settings, context.beside, tree.fitness),
        climb=climb,
        left_out=left_out(
            context,
            tree.fitness,
            checks.screening,
            ranking.places.lines,
            overrides,
            ranking.changes,
            {p.label for p in revision.points if p.usable},
        ),
        overrides=tuple(overrides),
        statements=revision.log,
    )


def _until_cut(points: tuple[TieInPoint, ...], goes: Mapping[str, int]) -> tuple[TieInPoint, ...]:
    """The list with the cut of a removal that each anchor goes with."""

    def told(p: TieInPoint) -> TieInPoint:
        said = Reason("goes_with_cut", cut=goes[p.name])
        return replace(p, doubts=(*p.doubts, said), reasons=(*p.reasons, said))

    return tuple(told(p) if p.name in goes else p for p in points)
