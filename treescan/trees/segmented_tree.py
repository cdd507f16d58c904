"""Where in the scan is the asked tree? Ground, what is built, stems, whose material is whose: all but which
of it is wood."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.spatial import cKDTree

from treescan.arrays import Flags, Floats, Ints32
from treescan.cloud.point_cloud import PointCloud
from treescan.errors import BadInput
from treescan.progress import Progress, quiet
from treescan.reason import Reason
from treescan.trees.beside import KINDS, Terrain
from treescan.trees.material.material_voxels import Voxels, voxelise
from treescan.trees.segmentation.asked_tree import asked_label, kind_of_labels
from treescan.trees.segmentation.crowns import crown_tops, stem_under
from treescan.trees.segmentation.multi_stem import join_stems
from treescan.trees.segmentation.refine import FineVoxels, refine
from treescan.trees.segmentation.segment_scan import Segmentation, segment_scan
from treescan.trees.segmentation.stems import BREAST, CLOSE_SPACING, Stem, find_stems
from treescan.trees.settings import TreeSettings
from treescan.trees.surroundings.solids import Solids, find_solids
from treescan.trees.terrain.ground import find_ground
from treescan.trees.terrain.height_grid import heights_above
from treescan.trees.terrain.under_stems import under_stems

FEWEST = 200
"""Fewer points than this are no scan of a tree."""
SMALL_PLACE, MOST_AREA = 250_000.0, 4.0
"""A place no larger than the first [m2] is always looked at; a larger one needs a point for every so many square
metres, or grids would grow with what is not there (project choice; airborne scans have one a square metre and
more)."""
OFF_GROUND, MOST_OFF_GROUND = 0.08, 0.5
"""What stands higher is no ground: the first [m], or the spacing of a sparse scan, at most the second [m]."""
DENSE = 4
"""Points a coarse voxel must hold on the middle for the spacing to be read from them."""
SPARSE_CELL = 1.5
"""Coarse voxels of a sparse scan, in spacings."""
MOST_ASKED = 5000
"""Voxels whose neighbour is looked for where the scan is sparse."""
FINE_CELL = 0.8
"""Fine voxels are no smaller than this part of the spacing."""
STEM_TOP = 5.0
"""Stems of a sparse scan are looked for below this height, or the top of the slice where that is set higher; those of a
dense one in the slice alone. [m]"""
TOP_CELL, TOP_SPACINGS = 0.5, 1.5
"""Plan cell of the canopy height where a scan has no stems: the first [m], or so many spacings."""
BLOCK = 1 << 22
"""Points looked at at a time where their rows are counted."""
UNSEEN_DBH = 0.2
"""Of a stem whose diameter was not seen, when the ground under it is filled. [m]"""


@dataclass(frozen=True)
class StemsOfScan:
    """Stems of every tree, crown tops (t, 3) where there were no stems near the ground, and what was
    doubtful."""

    trees: tuple[tuple[Stem, ...], ...]
    tops: Floats | None = None
    notes: tuple[Reason, ...] = ()


@dataclass(frozen=True)
class SegmentedTree:
    """The asked tree in its scan.

    Attributes
    ----------
    fine : FineVoxels       Fine voxels of all that the tree could reach.
    member : (m,) bool      Which of them are the tree's, strays left out.
    rough : Segmentation    Of the whole scan.
    target : int            The tree's label in it.
    terrain : Terrain       The ground, under the stems too.
    spacing : float         Usual distance between neighbouring points of the scan. [m]
    notes : tuple of Reason What was doubtful.
    """

    fine: FineVoxels
    member: Flags
    rough: Segmentation
    target: int
    terrain: Terrain
    spacing: float
    notes: tuple[Reason, ...]

    @property
    def stems(self) -> tuple[Stem, ...]:
        """Stems of the asked tree."""
        return self.rough.trees[self.target]


def segment_tree(
    cloud: PointCloud,
    at: ArrayLike | None = None,
    settings: TreeSettings = TreeSettings(),
    progress: Progress = quiet,
) -> SegmentedTree:
    """Find the asked tree's voxels; see `treescan.trees.single_tree.find_tree` for what is asked and
    raised."""
    whole = segment_all(cloud, settings, progress)
    rough = whole.rough
    target = asked_label(rough, at, cloud, settings.stems.at_reach)
    told = _several(rough, target, cloud) if at is None else ()
    progress("the asked tree", 0.0)
    fine = refine(
        cloud.xyz, whole.above, rough, whole.rows, target, max(settings.cell, FINE_CELL * whole.spacing)
    )
    return SegmentedTree(
        fine, fine.without_strays(), rough, target, whole.terrain, whole.spacing, (*whole.notes, *told)
    )


@dataclass(frozen=True)
class SegmentedScan:
    """Every tree of a scan, roughly.

    Attributes
    ----------
    rough : Segmentation
    above : (n,) float      Height of every point above the ground. [m]
    rows : (r,) int32       Points that stand on the ground.
    terrain : Terrain       The ground, under the stems too.
    spacing : float         Usual distance between neighbouring points of the scan. [m]
    notes : tuple of Reason What was doubtful.
    """

    rough: Segmentation
    above: Floats
    rows: Ints32
    terrain: Terrain
    spacing: float
    notes: tuple[Reason, ...]


def segment_all(
    cloud: PointCloud, settings: TreeSettings = TreeSettings(), progress: Progress = quiet
) -> SegmentedScan:
    """Ground, what is built, stems, and whose material is whose.

    Raises
    ------
    BadInput    No tree in the scan, or too many points for one machine.
    """
    _refuse(cloud, settings)
    xyz = cloud.xyz
    progress("ground", 0.0)
    ground = find_ground(xyz, cloud.columns.get("class"), settings.terrain)
    above = heights_above(ground.terrain, xyz)
    progress("stems", 0.0)
    least, voxels, spacing = _standing(xyz, above, ground.found, settings)
    high = heights_above(ground.terrain, voxels.centre)
    solids = find_solids(voxels.centre, high, voxels.cell, spacing)
    stems = _stems(cloud, above, ground.terrain, spacing, settings)
    found = stems or _by_crowns(cloud, voxels.centre[solids.free], high[solids.free], ground.terrain, spacing)
    if found.tops is not None and len(solids.roof):
        solids = solids.with_what_roofs_cover(voxels.centre)
        found = _by_crowns(cloud, voxels.centre[solids.free], high[solids.free], ground.terrain, spacing)
    progress("trees apart", 0.0)
    rough = segment_scan(voxels, high, found.trees, found.tops, solids)
    terrain = _with_feet(ground.terrain, found.trees) if ground.found else ground.terrain
    notes = (*ground.notes, *found.notes, *_line_like(solids, ground.terrain))
    return SegmentedScan(rough, above, _rows_where(above > least), terrain, spacing, notes)


def _refuse(cloud: PointCloud, settings: TreeSettings) -> None:
    if len(cloud) < FEWEST:
        raise BadInput(
            f"only {len(cloud)} points, too few to find a tree in",
            file=cloud.source,
            remedy="check --unit, keep the whole tree and the ground in a cut-out, do not thin, or scan again from nearer",
        )
    if len(cloud) > settings.max_points:
        what = f"{len(cloud)} points are more than the {settings.max_points} that are taken"
        raise BadInput(what, file=cloud.source, remedy="thin the cloud or cut out the part round the tree, or say with --at which tree is meant")
    across, along = np.ptp(cloud.xyz[:, :2], axis=0) + 2 * settings.terrain.reach
    if across * along > max(SMALL_PLACE, MOST_AREA * len(cloud)):
        raise BadInput(
            f"its {len(cloud)} points lie over {np.ptp(cloud.xyz[:, 0]):.0f} m by {np.ptp(cloud.xyz[:, 1]):.0f} m: "
            "too thin to show a tree, or some of them lie far off",
            file=cloud.source,
            remedy="check --unit, and cut out the part round the tree",
        )


def _rows_where(true: Flags) -> Ints32:
    """Rows that are true, (r,), a block at a time: in the machine's own width those of a large tile take a third of what
    its points do."""
    found = [np.flatnonzero(true[a : a + BLOCK]).astype(np.int32) + np.int32(a) for a in range(0, len(true), BLOCK)]
    return np.concatenate(found) if found else np.zeros(0, np.int32)


def _standing(
    xyz: Floats, above: Floats, ground_found: bool, settings: TreeSettings
) -> tuple[float, Voxels, float]:
    """Height above which a point stands on the ground [m], the coarse voxels of such points, and the usual spacing of
    the scan; the rows are counted again where they are wanted, for they are many."""
    least = OFF_GROUND if ground_found else -np.inf
    rows = _rows_where(above > least)
    if len(rows) < FEWEST:
        raise BadInput(
            "nothing stands on the ground in this scan",
            remedy="check --unit and that z points up; give the cut-out with the ground it stands on",
        )
    voxels = voxelise(xyz, settings.coarse_cell, rows)
    per_voxel = float(np.median(voxels.count))
    spacing = settings.coarse_cell / np.sqrt(per_voxel)
    if per_voxel < DENSE:
        part = voxels.centre
        spacing = float(
            np.median(cKDTree(part).query(part[:: max(1, len(part) // MOST_ASKED)], k=2)[0][:, 1])
        )
        voxels = voxelise(xyz, max(settings.coarse_cell, SPARSE_CELL * spacing), rows)
        higher = max(OFF_GROUND, min(MOST_OFF_GROUND, spacing)) if ground_found else -np.inf
        rough = _rows_where(above > higher)
        if len(rough) >= FEWEST:
            least, voxels = higher, voxelise(xyz, voxels.cell, rough)
    return least, voxels, spacing


def _stems(
    cloud: PointCloud, above: Floats, terrain: Terrain, spacing: float, settings: TreeSettings
) -> StemsOfScan | None:
    """Stems seen near the ground, those that meet joined to trees; None where there are none."""
    top = max(settings.stems.slice_high, BREAST, STEM_TOP if spacing >= CLOSE_SPACING else 0.0)
    near = _rows_where((above < top) & (above > min(settings.stems.slice_low, OFF_GROUND)))
    p, h = cloud.xyz[near], above[near]
    del near
    stems = find_stems(p, h, terrain, spacing, settings.stems)
    return StemsOfScan(join_stems(stems, p, h, spacing)) if stems else None


def _by_crowns(
    cloud: PointCloud, centre: Floats, high: Floats, terrain: Terrain, spacing: float
) -> StemsOfScan:
    """Trees by the tops of their crowns, each with the likeliest stem under it."""
    tops = crown_tops(centre, high, max(TOP_CELL, TOP_SPACINGS * spacing)) if len(centre) else np.zeros((0, 3))
    if len(tops) == 0:
        raise BadInput(
            "no tree found: neither stems nor crowns higher than 3 m",
            file=cloud.source,
            remedy="check --unit and that z points up, say where with --at, and keep the ground in a cut-out",
        )
    of = cKDTree(tops[:, :2]).query(centre[:, :2])[1]
    found = tuple((stem_under(top, centre[of == k], high[of == k], terrain),) for k, top in enumerate(tops))
    return StemsOfScan(found, tops, (Reason("trees_found_by_crowns"),))


def _several(rough: Segmentation, target: int, cloud: PointCloud) -> tuple[Reason, ...]:
    """How many trees there are and which was taken, where nobody said which."""
    trees = int(np.count_nonzero(kind_of_labels(rough)[: len(rough.trees)] == KINDS.index("neighbour")))
    if trees < 2:
        return ()
    x, y, _ = cloud.frame.to_map(rough.trees[target][0].foot) / cloud.frame.unit_m
    if cloud.frame.in_degrees:
        x = y = None
    return (Reason("one_of_several_trees", trees=trees, x=x, y=y),)


def _line_like(solids: Solids, terrain: Terrain) -> tuple[Reason, ...]:
    """Straight lines that were taken for limbs: a person has to look."""
    out = []
    for line in solids.line_like:
        middle = line.at(np.array([0.5 * (line.first + line.last)]))
        above = float(heights_above(terrain, middle)[0])
        out.append(Reason("line_like", length=line.last - line.first, height=above))
    return tuple(out)


def _with_feet(terrain: Terrain, trees: tuple[tuple[Stem, ...], ...]) -> Terrain:
    """The ground, under every stem taken from the ground round it."""
    stems = [s for of_tree in trees for s in of_tree]
    feet = np.array([s.foot[:2] for s in stems]).reshape(-1, 2)
    thick = np.nan_to_num([s.dbh for s in stems], nan=UNSEEN_DBH)
    return under_stems(terrain, feet, thick / 2)
