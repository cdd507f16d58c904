"""The main thing: from a scan to ranked tie-in points. Reads like the job itself."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from treescan.cloud.point_cloud import PointCloud
from treescan.cloud.settings import CloudSettings
from treescan.loads.anchor import check_anchors
from treescan.loads.rope_systems import SYSTEMS
from treescan.loads.settings import LoadSettings
from treescan.loads.wood_strength import wood_of
from treescan.planning.approach import recommend
from treescan.planning.candidates import candidate_rigs
from treescan.planning.rank import rank_points
from treescan.planning.settings import PlanningSettings
from treescan.planning.tie_in_point import TieInPoint, Work
from treescan.planning.work import default_work
from treescan.progress import Progress, quiet
from treescan.throw.search import search_throws
from treescan.throw.settings import ThrowSettings
from treescan.throw.stances import standing_places
from treescan.throw.throw_path import ThrowTable
from treescan.trees.beside import Site
from treescan.trees.settings import TreeSettings
from treescan.trees.single_tree import find_tree
from treescan.wood.build import build_graph
from treescan.wood.fitness import scan_fitness
from treescan.wood.graph import TracedTree
from treescan.wood.settings import WoodSettings
from treescan.wood.stem_figures import stem_figures
from treescan.wood.tree_file import tree_in, tree_out

PREVIEW_POINTS = 25_000
"""Points kept for pictures; more than a page shows smoothly without a graphics card (measured, software rendering)."""


@dataclass(frozen=True)
class Settings:
    """Every setting of every room; `plan --show-settings` prints them, a TOML file changes them."""

    cloud: CloudSettings = field(default_factory=CloudSettings)
    trees: TreeSettings = field(default_factory=TreeSettings)
    wood: WoodSettings = field(default_factory=WoodSettings)
    throw: ThrowSettings = field(default_factory=ThrowSettings)
    loads: LoadSettings = field(default_factory=LoadSettings)
    planning: PlanningSettings = field(default_factory=PlanningSettings)


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
    approach : tuple of str         Recommended approach and the arguments for and against, one sentence each.
    settings : Settings
    species : str                   As used, with how it was matched.
    warnings : tuple of str
    timings : mapping               Stage to seconds, filled in by whoever holds the clock.
    """

    tree: TracedTree
    site: Site
    work: Work
    throws: ThrowTable
    points: tuple[TieInPoint, ...]
    approach: tuple[str, ...]
    settings: Settings
    species: str
    warnings: tuple[str, ...] = ()
    timings: Mapping[str, float] = field(default_factory=dict)


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
    TracedTree                  Exactly what `wood.tree_file.read_tree` gives back after `write_tree`, so that planning from the
                                file and from the cloud cannot differ.
    """
    settings = settings or Settings()
    tree = find_tree(cloud, at, settings.trees, progress)
    graph = build_graph(tree, settings.wood, progress)
    progress("measuring the tree", 0.0)
    top = max((float(c.xyz[:, 2].max()) for c in (tree.wood, tree.leaf) if len(c)), default=float("nan"))
    stem = stem_figures(graph, tree.beside.terrain, top)
    fitness = scan_fitness(graph, tree, settings.wood)
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
) -> Assessment:
    """From the wood graph to ranked candidate tie-in points.

    Parameters
    ----------
    tree : TracedTree           From `trace`, or from `wood.tree_file.read_tree`.
    species : str, optional     Common or botanical name; None = unknown, judged with low strength.
    systems : sequence of str   Rope systems to judge.
    work : Work, optional       Default: the whole crown.
    site : Site, optional       What the user drew: no-stand areas, buildings, conductors.
    settings : Settings
    seed : int                  Of all random draws.
    progress : Progress
    """
    settings, site = settings or Settings(), site or Site()
    graph, beside = tree.graph, tree.beside
    wood = wood_of(species, settings.loads)
    work = work if work is not None else default_work(graph, beside, settings.planning)

    progress("looking for standing places", 0.0)
    stances = standing_places(graph, beside, site, settings.throw)
    throws = search_throws(graph, beside, site, stances, settings.throw, progress)

    rigs = candidate_rigs(graph, beside, throws, systems, settings.planning)
    checks = check_anchors(graph, beside, wood, [rig for rig, _ in rigs], work.xyz, settings.loads, seed, progress)
    points = rank_points(
        graph,
        beside,
        site,
        tree.fitness,
        work,
        throws,
        rigs,
        checks,
        settings.planning,
        seed,
        progress,
        settings.loads.climber_mass,
    )
    approach = recommend(graph, throws, points, settings.planning, beside)
    return Assessment(tree, site, work, throws, points, approach, settings, wood.label, tree.notes)


def timed(assessment: Assessment, timings: Mapping[str, float]) -> Assessment:
    """The same assessment with the stages' times [s] noted."""
    return replace(assessment, timings=dict(timings))


def _preview(*clouds: PointCloud) -> NDArray[np.float32]:
    """An even pick of the tree's points for pictures, at most `PREVIEW_POINTS`."""
    xyz = np.concatenate([c.xyz for c in clouds])
    step = max(1, -(-len(xyz) // PREVIEW_POINTS))
    return xyz[::step].astype(np.float32)
