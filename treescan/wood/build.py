"""From the wood points of one tree to its wood graph: the order of the work."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from treescan.errors import BadInput
from treescan.progress import Progress, quiet
from treescan.trees.single_tree import Tree
from treescan.wood.fitting.co_registration import co_registered, position_of_points
from treescan.wood.fitting.ellipticity import Ovals, measure_ovals, ovals_at
from treescan.wood.fitting.initial_axes import initial_axes, limb_of_points
from treescan.wood.fitting.limb_axes import LimbAxes, place_again, refit
from treescan.wood.fitting.radius_uncertainty import radius_uncertainty
from treescan.wood.fitting.range_noise import range_noise, shared_error
from treescan.wood.graph import Floats, Ints, WoodGraph
from treescan.wood.quality.deadwood import with_dead_suspects
from treescan.wood.settings import WoodSettings
from treescan.wood.skeleton.geodesic import distance_from_foot
from treescan.wood.skeleton.level_sets import chain_slices, cut_slices
from treescan.wood.skeleton.thinned_wood import thin_with_members
from treescan.wood.topology.allometry import held_against_allometry
from treescan.wood.topology.assemble import assemble
from treescan.wood.topology.crossings import through_crossings
from treescan.wood.topology.false_wood import drop_limbs, drop_with_points, hung_on_nothing, merge_ghosts, trim_starts, trim_tips, worthless
from treescan.wood.topology.insertions import gaps, insertions, lay_nodes
from treescan.wood.topology.main_axis import assign_main_axis

THICK_SHELL = 0.008
"""A shell of points thicker than this is a moving scanner's noise and is believed from the start [m]."""
MOST_ROUNDS, AT_REST = 6, 0.002
"""Scan positions are brought together until they move less than this [m], at most so many times."""
FAR_APART = 0.015
"""Positions further off each other than this show every limb doubled: once brought together, the limbs are followed anew [m]."""
PLENTY = 5000
"""Points a position needs on the mean to be placed so surely; below (25 strips of 800 points ran away from each other) two times must do."""


SURE_MARGIN = 1.6
"""How many times the present continuation's score a side limb must have to take over, where the scan is noisy and in the second round."""


class Round(NamedTuple):
    """What follows one fit of the limbs.

    margin : float or None      Main axes are assigned anew with this margin (`assign_main_axis`); None: they stay.
    bring_together : bool       Scan positions are brought together.
    told : float                Share of the work done, for the display alone.
    """

    margin: float | None
    bring_together: bool
    told: float


ROUNDS = (Round(1.15, False, 0.55), Round(SURE_MARGIN, False, 0.7), Round(None, True, 0.8), Round(None, False, 0.9))
"""What follows every fit of the limbs."""


def build_graph(tree: Tree, settings: WoodSettings = WoodSettings(), progress: Progress = quiet) -> WoodGraph:
    """Skeleton, unions, limbs and diameters of one tree.

    Parameters
    ----------
    tree : Tree             Its `wood` points are all that is measured here.
    settings : WoodSettings
    progress : callable     Told the stage and the share done.

    Raises
    ------
    BadInput                When there are too few wood points for any limb.
    """
    limbs = measured_limbs(tree, settings, progress)
    axes = held_against_allometry(limbs.axes, insertions(limbs.axes))
    progress("joining limbs", 0.95)
    nodes = lay_nodes(axes, np.asarray(tree.base, float))
    radius_sd = np.hypot(nodes.radius_sd, shared_error(nodes.radius, limbs.shell))
    oval, oval_dir = ovals_at(limbs.ovals, nodes.xyz, nodes.radius, nodes.parent, nodes.seen)
    graph = assemble(
        nodes.xyz, nodes.radius, nodes.parent, radius_sd=radius_sd, arc=nodes.arc, seen=nodes.seen, terrain=tree.beside.terrain,
        oval=oval, oval_dir=oval_dir,
    )  # fmt: skip
    graph = with_dead_suspects(graph, tree.wood.xyz, tree.leaf.xyz)
    progress("joining limbs", 1.0)
    return graph


@dataclass(frozen=True)
class MeasuredLimbs:
    """Axes and ovals of all limbs before they are joined, and the scan's noise where it is thick (else 0) [m]."""

    axes: LimbAxes
    ovals: Ovals
    shell: float


def measured_limbs(tree: Tree, settings: WoodSettings = WoodSettings(), progress: Progress = quiet) -> MeasuredLimbs:
    """All limbs of one tree as they were measured, each hung on its parent; `build_graph` holds them against what they carry and joins them.

    Raises
    ------
    BadInput                When there are too few wood points for any limb.
    """
    xyz = tree.wood.xyz
    if len(xyz) < 30:
        raise BadInput(
            f"only {len(xyz)} wood points: no limb can be measured", file=tree.wood.source, remedy="scan again from nearer, leaf-off"
        )
    position = position_of_points(tree.wood) if settings.align_positions else None
    axes, ovals, shell, together = _measured(xyz, position, tree, settings, progress)
    if _sure(position) and np.sqrt(np.mean(np.sum((together - xyz) ** 2, axis=1))) > FAR_APART:
        axes, ovals, shell, _ = _measured(together, position, tree, settings, progress)
    axes = trim_tips(drop_limbs(axes, worthless(axes, settings)))
    axes = through_crossings(axes)
    for _ in range(2):
        axes = drop_limbs(axes, hung_on_nothing(axes, gaps(axes)))
    return MeasuredLimbs(replace(axes, r_sd=radius_uncertainty(axes, shell)), ovals, shell)


def _measured(
    xyz: Floats, position: Ints | None, tree: Tree, settings: WoodSettings, progress: Progress
) -> tuple[LimbAxes, Ovals, float, Floats]:
    """Axes and ovals of all limbs, the scan's noise where it is thick (else 0) [m], and the points with their scan positions brought together."""
    progress("thinning the wood", 0.0)
    cells, member = _thin(xyz, settings)
    progress("following the wood from the foot", 0.1)
    spread = distance_from_foot(cells, np.asarray(tree.base, float), settings)
    level = max(settings.level, 2.0 * spread.spacing)
    slices = cut_slices(cells, spread, level)
    chains = chain_slices(slices, level, max(settings.shortest_branch, 2 * level))
    progress("measuring limbs", 0.4)
    axes = initial_axes(cells, slices, chains)
    limb, place = limb_of_points(slices, chains, member)
    shell = range_noise(xyz, limb, axes, position)
    shell = shell if shell > THICK_SHELL else 0.0
    settings = replace(settings, min_noise=max(settings.min_noise, 0.6 * shell))
    axes, place = refit(xyz, limb, place, axes, settings=settings, first=True, shell=shell)
    axes, limb = merge_ghosts(xyz, limb, axes)
    axes, limb = drop_with_points(axes, limb, worthless(axes, settings, early=True))
    place = np.full(len(xyz), np.nan)
    for step in ROUNDS:
        axes, place = refit(xyz, limb, place, axes, settings=settings, first=False, position=position, shell=shell)
        progress("measuring limbs", step.told)
        if step.margin is not None:
            axes, limb = assign_main_axis(limb, place, axes, step.margin if shell == 0 else SURE_MARGIN)  # back and forth makes a kink
            axes, limb = trim_starts(limb, place_again(xyz, limb, axes), axes)
            axes, limb = merge_ghosts(xyz, limb, axes)
            place = np.full(len(xyz), np.nan)
        elif step.bring_together and position is not None:
            for turn in range(MOST_ROUNDS if _sure(position) else 2):
                before, xyz = xyz, co_registered(xyz, position, limb, place, axes)
                if turn and (not _sure(position) or np.sqrt(np.mean(np.sum((xyz - before) ** 2, axis=1))) < AT_REST):
                    break
                axes, place = refit(xyz, limb, place, axes, settings=settings, first=False, position=position, shell=shell)
    return axes, measure_ovals(xyz, limb, place, axes, position, shell), shell, xyz


def _sure(position: Ints | None) -> bool:
    """True when scan positions are told apart and have points enough to be placed surely."""
    return position is not None and len(position) >= PLENTY * (int(position.max()) + 1)


def _thin(xyz: np.ndarray, settings: WoodSettings) -> tuple[np.ndarray, np.ndarray]:
    """Thinned points, coarser where there would be too many."""
    cell = settings.cell
    while True:
        cells, member = thin_with_members(xyz, cell)
        if len(cells) <= settings.max_cells:
            return cells, member
        cell *= 1.1 * np.sqrt(len(cells) / settings.max_cells)
