"""How much of a scan has to be worked on for the tree at one place? What lies within the reach of its crown and of
what is kept round it, found by looking there first."""

from __future__ import annotations

import numpy as np

from treescan.arrays import Floats
from treescan.cloud.canonical import canonical
from treescan.cloud.point_cloud import PointCloud
from treescan.errors import BadInput
from treescan.progress import Progress, quiet
from treescan.trees.settings import TreeSettings
from treescan.trees.single_tree import Tree, find_tree

LEAST_CROWN, CROWN_OF_HEIGHT = 6.0, 0.3
"""First guess of how far a crown reaches from the asked place: the first [m], or this share of the height there. A
guess that was too near costs a second look, nothing else."""
OVER_PLACE = 1.5
"""The height at the place is that of the points within this. [m]"""
BEYOND = 1.0
"""More than the tree and its surroundings is looked at. [m]"""
WORTH = 0.5
"""A part that holds more of the points is not worth a look of its own."""
LOOKS = 2
"""At parts, before the whole is looked at."""


def find_tree_at(
    cloud: PointCloud,
    at: Floats,
    settings: TreeSettings = TreeSettings(),
    progress: Progress = quiet,
    in_place: bool = False,
) -> tuple[PointCloud, Tree]:
    """Cut the tree at a place out of a scan, working on as much of the scan as it takes.

    Parameters
    ----------
    cloud : PointCloud      Of any order and origin.
    at : (2,) float         Plan place of the asked tree. [m, local]
    in_place : bool         Nobody needs the cloud afterwards; see `treescan.cloud.canonical.canonical`.

    Returns
    -------
    The points that were worked on, in canonical order from a zero of their own, and the tree in them. All of the tree
    lies at least `TreeSettings.neighbour_reach` within their border, unless the scan ends before.

    Raises
    ------
    BadInput    As `treescan.trees.single_tree.find_tree` for the whole scan.
    """
    crown = max(LEAST_CROWN, CROWN_OF_HEIGHT * _height_at(cloud.xyz, at))
    for _ in range(LOOKS):
        reach = crown + settings.neighbour_reach + BEYOND
        rows = np.flatnonzero((np.abs(cloud.xyz[:, :2] - at) <= reach).all(axis=1))
        if len(rows) > WORTH * len(cloud):
            break
        part = canonical(cloud.where(rows), in_place=True)
        moved = at + (cloud.frame.origin - part.frame.origin)[:2]
        try:
            tree = find_tree(part, moved, settings, progress)
        except BadInput:  # is it so in the whole scan?
            break
        if any(n.code == "trees_found_by_crowns" for n in tree.notes):
            break
        crown_seen = _reach_of(tree, moved)
        if crown_seen <= crown:
            return part, tree
        crown = crown_seen
    whole = canonical(cloud, in_place=in_place)
    at = at + (cloud.frame.origin - whole.frame.origin)[:2]
    return whole, find_tree(whole, at, settings, progress)


def _height_at(xyz: Floats, at: Floats) -> float:
    """Height of what stands within `OVER_PLACE` of a place. [m]"""
    here = xyz[(np.abs(xyz[:, :2] - at) <= OVER_PLACE).all(axis=1), 2]
    return float(np.ptp(here)) if len(here) else 0.0


def _reach_of(tree: Tree, at: Floats) -> float:
    """How far the tree's points lie from a place, along x or y. [m]"""
    xyz = np.concatenate([tree.wood.xyz, tree.leaf.xyz])
    return float(np.abs(xyz[:, :2] - at).max(initial=0.0))
