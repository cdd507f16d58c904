"""Which points belong to the asked tree? From the scan to one tree's wood and leaf, its ground and its
surroundings."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from treescan.arrays import Flags, Floats
from treescan.cloud.point_cloud import PointCloud
from treescan.progress import Progress, quiet
from treescan.reason import Reason
from treescan.trees.beside import KINDS, Beside, Surroundings, Terrain
from treescan.trees.material.material_voxels import voxelise
from treescan.trees.material.wood_and_leaf import wood_confidence
from treescan.trees.segmentation.asked_tree import kind_of_labels
from treescan.trees.segmentation.refine import FineVoxels
from treescan.trees.segmentation.segment_scan import Segmentation
from treescan.trees.segmentation.stems import Stem
from treescan.trees.segmented_tree import segment_tree
from treescan.trees.settings import TreeSettings
from treescan.trees.surroundings.foliage import foliage_density
from treescan.trees.terrain.height_grid import heights_above

TOO_SPARSE = 0.12
"""Scans with a wider spacing show no single limbs. [m]"""
UNSEEN_SECTION = 0.01
"""Square of the diameter of a stem without one, when feet are averaged. [m2]"""


@dataclass(frozen=True)
class Tree:
    """One tree cut out of the scan.

    Attributes
    ----------
    wood : PointCloud       Points taken for wood of this tree: measured points, at most one per
                            `TreeSettings.wood_cell`; the column "wood_confidence" says how sure.
    leaf : PointCloud       Points of this tree taken for leaves and twigs too fine to model, one measured
                            point per fine voxel.
    base : (3,) float       Centre of the stem at the ground. [m, local]
    beside : Beside         Ground, foliage, neighbours.
    notes : tuple of Reason What was doubtful.
    spacing : float         Usual distance between neighbouring points of the scan. [m]
    """

    wood: PointCloud
    leaf: PointCloud
    base: Floats
    beside: Beside
    notes: tuple[Reason, ...] = ()
    spacing: float = float("nan")


def find_tree(
    cloud: PointCloud,
    at: ArrayLike | None = None,
    settings: TreeSettings = TreeSettings(),
    progress: Progress = quiet,
) -> Tree:
    """Cut one tree out of a scan.

    Parameters
    ----------
    cloud : PointCloud
    at : (2,) float, optional   Plan place of the asked tree; the nearest stem is taken. [m, local]  Without
                                it the largest tree.

    Raises
    ------
    BadInput    No tree in the scan, none near `at`, or too many points for one machine.
    """
    found = segment_tree(cloud, at, settings, progress)
    fine, member, notes = found.fine, found.member, found.notes
    progress("wood and leaf", 0.0)
    confidence = wood_confidence(fine.voxels.centre, fine.graph, fine.paths, fine.shape, member).confidence
    if found.spacing > TOO_SPARSE:
        confidence = np.where(member, settings.wood_limit, 0.0)
        notes = (*notes, Reason("too_sparse_for_leaves", spacing=found.spacing))
    wood, leaf = _clouds(cloud, fine, member, confidence, settings)
    foliage = foliage_density(leaf.xyz, fine.voxels.cell, max(settings.foliage_cell, 2 * fine.voxels.cell))
    beside = Beside(found.terrain, foliage, _surroundings(found.rough, found.target, settings))
    progress("wood and leaf", 1.0)
    return Tree(wood, leaf, _base(found.stems, found.terrain), beside, notes, found.spacing)


def _clouds(
    cloud: PointCloud, fine: FineVoxels, member: Flags, confidence: Floats, settings: TreeSettings
) -> tuple[PointCloud, PointCloud]:
    """Wood at full resolution (one measured point per `wood_cell`), leaf at one measured point per fine
    voxel."""
    is_wood = member & (confidence >= settings.wood_limit)
    rows = fine.points[is_wood[fine.voxels.of_point]]
    sure = confidence[fine.voxels.of_point[is_wood[fine.voxels.of_point]]]
    if settings.wood_cell > 0 and len(rows):
        first = voxelise(cloud.xyz[rows], settings.wood_cell).first
        rows, sure = rows[first], sure[first]
    wood = cloud.where(rows)
    columns = {**wood.columns, "wood_confidence": sure.astype(np.float32)}
    wood = PointCloud(wood.xyz, wood.frame, columns, wood.source, wood.notes)
    return wood, cloud.where(fine.points[fine.voxels.first[member & ~is_wood]])


def _base(stems: tuple[Stem, ...], terrain: Terrain) -> Floats:
    """Centre of the stem at the ground; of a many-stemmed tree the middle of the feet weighted by their
    section."""
    w = np.array([s.dbh**2 if s.dbh == s.dbh else UNSEEN_SECTION for s in stems])
    foot = np.average([s.foot for s in stems], axis=0, weights=w)
    foot[2] = -float(heights_above(terrain, np.array([[foot[0], foot[1], 0.0]]))[0])
    return foot


def _surroundings(rough: Segmentation, target: int, settings: TreeSettings) -> Surroundings:
    """Everything else near the tree on voxels, with its kind, and the neighbours' stems."""
    mine = rough.label == target
    own = rough.voxels.centre[mine]
    low, high = (
        own[:, :2].min(axis=0) - settings.neighbour_reach,
        own[:, :2].max(axis=0) + settings.neighbour_reach,
    )
    near = ~mine & np.all((rough.voxels.centre[:, :2] > low) & (rough.voxels.centre[:, :2] < high), axis=1)
    kind_of = kind_of_labels(rough)
    kind = kind_of[rough.label]
    kind[rough.solids.building], kind[rough.solids.wire] = KINDS.index("building"), KINDS.index("wire")
    kind = kind[near]
    cell = max(settings.obstacle_cell, rough.voxels.cell)
    block = voxelise(rough.voxels.centre[near], cell)
    corner = rough.voxels.centre[near].min(axis=0) if near.any() else np.zeros(3)
    centre = (np.floor((rough.voxels.centre[near][block.first] - corner) / cell) + 0.5) * cell + corner
    trees = [k for k in range(len(rough.trees)) if k != target and kind_of[k] == KINDS.index("neighbour")]
    others = [s for k in trees for s in rough.trees[k]]
    feet = np.array([s.foot for s in others]).reshape(-1, 3)
    return Surroundings(centre, kind[block.first], cell, feet, np.array([s.dbh for s in others]))
