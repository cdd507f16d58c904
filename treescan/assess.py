"""The main thing: from a scan to ranked tie-in points. Reads like the job itself."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from treescan.cloud.point_cloud import PointCloud
from treescan.cloud.settings import CloudSettings, JoinSettings
from treescan.loads.checks.anchor import checked
from treescan.loads.checks.load_test import load_test
from treescan.loads.limb_check import AnchorConfiguration
from treescan.loads.material.wood_strength import wood_of
from treescan.loads.rope.rope_systems import SYSTEMS
from treescan.loads.settings import LoadSettings
from treescan.loads.statics.structural_model import StructuralModel, whole_tree
from treescan.planning.access.approach import Approach, recommend
from treescan.planning.candidates.candidates import candidate_configurations, unions_to_throw_at
from treescan.planning.climb.climb_plan import Climbers, ClimbPlan, climb_plan
from treescan.planning.kit.at_the_union import at_the_union
from treescan.planning.ranking.overrides import Override, with_overrides
from treescan.planning.ranking.rank import Places, rank_points
from treescan.planning.settings import PlanningSettings
from treescan.planning.tie_in_point import TieInPoint, Work
from treescan.planning.tree_context import TreeContext
from treescan.planning.work.removal import Removal
from treescan.planning.work.work_points import default_work, work_at_cuts
from treescan.progress import Progress, quiet
from treescan.reader_settings import ReaderSettings
from treescan.reason import Reason
from treescan.settings import merged
from treescan.throw.scene.stances import standing_places
from treescan.throw.search.search import search_throws
from treescan.throw.settings import ThrowSettings
from treescan.throw.throw_path import Throw, ThrowTable
from treescan.trees.beside import Site
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

PREVIEW_POINTS = 25_000
"""Points kept for pictures; more than a page shows smoothly without a graphics card (measured, software rendering)."""


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

    def judging(self) -> LoadSettings:
        """Those of the loads for a plan: every place that planning counts as served is judged."""
        return replace(self.loads, rope_angle_limit_deg=max(self.loads.rope_angle_limit_deg, self.planning.rope_angle_limit_deg))


@dataclass(frozen=True)
class Assessment:
    """Everything the outputs show.

    Attributes
    ----------
    tree : TracedTree
    site : Site
    work : Work
    throws : ThrowTable
    points : tuple of TieInPoint    Usable ones by rank first, then those not ranked with their reasons.
    approach : Approach             Recommended way up, and the arguments for and against every open one.
    settings : Settings
    species : str                   As used, with how it was matched.
    warnings : tuple of str
    timings : mapping               Stage to seconds, filled in by whoever holds the clock.
    climb : ClimbPlan or None       Around the ranked list: sets, second lines, redirects, rescue, retrieval, removal stages.
    removal : Removal or None       The cuts asked for.
    density : float                 Green density of the wood. [kg/m3]
    seed : int                      Of all random draws.
    overrides : tuple of Override   What competent persons stated, in their order; `points` already follow it.
    statements : tuple of Reason    One each: who, when, why, and what it changed.
    judged : tuple of TieInPoint    The list before any statement, from which `revised` ranks again.
    loads : StructuralModel or None            What `revised` checks redirects with; without it they stay first estimates.
    asked : str or None             The species as it was asked for; systems : tuple of str likewise.
    configurations : tuple or None            From `candidates.candidate_configurations`; places : Places or None: what the ranking found out; both for `judged_again`.
    """

    tree: TracedTree
    site: Site
    work: Work
    throws: ThrowTable
    points: tuple[TieInPoint, ...]
    approach: Approach
    settings: Settings
    species: str
    warnings: tuple[str, ...] = ()
    timings: Mapping[str, float] = field(default_factory=dict)
    climb: ClimbPlan | None = None
    removal: Removal | None = None
    density: float = 1000.0
    seed: int = 1
    overrides: tuple[Override, ...] = ()
    statements: tuple[Reason, ...] = ()
    judged: tuple[TieInPoint, ...] = ()
    loads: StructuralModel | None = None
    asked: str | None = None
    systems: tuple[str, ...] = tuple(SYSTEMS)
    configurations: tuple[tuple[AnchorConfiguration, Throw | None], ...] | None = None
    places: Places | None = None


def trace(
    cloud: PointCloud, *, at: NDArray[np.float64] | None = None, settings: Settings | None = None, progress: Progress = quiet
) -> TracedTree:
    """From points to the wood graph of one tree.

    Parameters
    ----------
    cloud : PointCloud          From `read_cloud`.
    at : (2,) float, optional   Local x, y of the asked tree [m]; default: the largest tree of the cloud.
    settings : Settings
    progress : Progress

    Returns
    -------
    TracedTree                  Exactly what `wood.files.read_tree` gives back after `write_tree`, so that planning from the
                                file and from the cloud cannot differ.
    """
    settings = settings or Settings()
    tree = find_tree(cloud, at, settings.trees, progress)
    graph = build_graph(tree, settings.wood, progress)
    progress("measuring the tree", 0.0)
    top = max((float(c.xyz[:, 2].max()) for c in (tree.wood, tree.leaf) if len(c)), default=float("nan"))
    stem = stem_figures(graph, tree.beside.terrain, top)
    fitness = scan_fitness(graph, tree, settings.wood)
    if not fitness.assessable:
        stem = without_diameters(stem)
    traced = TracedTree(
        graph, tree.beside, cloud.frame, stem, fitness, cloud.source, cloud.notes + tree.notes, _preview(tree.wood, tree.leaf)
    )
    return tree_in(tree_out(traced), traced.beside, cloud.source, traced.preview)


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
    removal : Removal, optional         The cuts in their order, when the tree comes down.
    overrides : sequence of Override    What competent persons stated: defects, refused anchors, load-test results.
    """
    settings, site = settings or Settings(), site or Site()
    if removal is not None:
        settings = replace(settings, planning=replace(settings.planning, spurs=True))
    graph, beside = tree.graph, tree.beside
    if work is None:
        work = work_at_cuts(graph, removal.cuts) if removal is not None else default_work(graph, beside, settings.planning)

    progress("looking for standing places", 0.0)
    stances = standing_places(graph, beside, site, settings.throw)
    aimed_at = unions_to_throw_at(graph, settings.planning)
    throws = search_throws(graph, beside, site, stances, settings.throw, progress, aimed_at)

    asked = Assessment(
        tree, site, work, throws, (), (), settings, "", tree.notes, removal=removal, seed=seed, asked=species, systems=tuple(systems),
        places=Places.of(graph, beside, site, work),
    )  # fmt: skip
    return _judged(asked, overrides, progress)


def judged_again(
    assessment: Assessment,
    *,
    species: str | Same | None = Same.AS_BEFORE,
    systems: Sequence[str] | None = None,
    climber_mass: float | None = None,
    reported: Sequence[str] | None = None,
    progress: Progress = quiet,
) -> Assessment:
    """The same tree answered again for another species, other rope systems, another climber or other defects: every force, margin, failure
    chain and place in the list anew; the tree is not traced, no throw searched and no sight line followed again.

    Parameters
    ----------
    assessment : Assessment     From `plan`; its overrides stay.
    species : str or None       As in `plan`: None = unknown.
    systems : sequence of str   Rope systems to judge; None = as before, and so below.
    climber_mass : float        With gear. [kg]
    reported : sequence of str  Defects of the wood in words, as in `LoadSettings.reported`; they replace the earlier ones.

    Returns
    -------
    Assessment                  What `plan` would give with the same changes.
    """
    a = assessment
    changed = {"climber_mass": climber_mass, "reported": None if reported is None else list(reported)}
    loads = merged(a.settings.loads, {name: value for name, value in changed.items() if value is not None})
    asked = replace(
        a,
        settings=replace(a.settings, loads=loads),
        asked=a.asked if isinstance(species, Same) else species,
        systems=a.systems if systems is None else tuple(systems),
        configurations=a.configurations if systems is None else None,
    )
    return _judged(asked, a.overrides, progress)


def _judged(asked: Assessment, overrides: Sequence[Override], progress: Progress) -> Assessment:
    """All that follows from the throws: configurations, forces, margins, the order, and the plan round it."""
    tree, settings, throws, work, seed = asked.tree, asked.settings, asked.throws, asked.work, asked.seed
    graph, beside = tree.graph, tree.beside
    wood = wood_of(asked.asked, settings.loads)
    configurations = asked.configurations or candidate_configurations(graph, beside, throws, asked.systems, settings.planning, asked.site.bases)
    whole = whole_tree(graph, beside, wood, settings.judging(), seed)
    checks = checked(whole, [configuration for configuration, _ in configurations], work.xyz, progress)
    points = rank_points(
        graph, beside, asked.site, tree.fitness, work, throws, configurations, checks, settings.planning, seed, progress, settings.loads.climber_mass,
        asked.places,
    )  # fmt: skip
    points = tuple(
        replace(p, load_test=load_test(graph, p.check, settings.loads), care=at_the_union(graph, p, settings.loads)) if p.usable else p
        for p in points
    )
    judged = replace(asked, configurations=configurations, points=points, species=wood.label, density=wood.density, judged=points, loads=whole)
    return revised(judged, overrides, progress)


def revised(assessment: Assessment, overrides: Sequence[Override], progress: Progress = quiet) -> Assessment:
    """The same assessment after what competent persons stated, ranked and planned again; no throw is computed anew, and no force but those
    of the redirects shown.

    Parameters
    ----------
    assessment : Assessment     From `plan`, revised before or not.
    overrides : sequence of Override    All statements that stand, in their order; they replace earlier ones, so leaving one out undoes it.
    """
    a, planning, graph = assessment, assessment.settings.planning, assessment.tree.graph
    points: tuple[TieInPoint, ...] = a.judged
    log: tuple[Reason, ...] = ()
    if overrides:
        revision = with_overrides(graph, a.judged, overrides, planning, a.seed)
        points, log = revision.points, revision.log
    return replace(
        a,
        points=points,
        approach=recommend(graph, points, planning, a.tree.beside, a.tree.fitness),
        climb=climb_plan(
            TreeContext(graph, a.tree.beside, a.site, a.work, planning),
            points,
            Climbers(a.settings.loads.climber_mass * G, "rescue" in a.settings.loads.cases),
            a.loads,
            overrides,
            a.removal,
            a.density,
            progress,
        ),
        overrides=tuple(overrides),
        statements=log,
    )


def timed(assessment: Assessment, timings: Mapping[str, float]) -> Assessment:
    """The same assessment with the stages' times [s] noted."""
    return replace(assessment, timings=dict(timings))


def _preview(*clouds: PointCloud) -> NDArray[np.float32]:
    """An even pick of the tree's points for pictures, at most `PREVIEW_POINTS`."""
    xyz = np.concatenate([c.xyz for c in clouds])
    step = max(1, -(-len(xyz) // PREVIEW_POINTS))
    return xyz[::step].astype(np.float32)
