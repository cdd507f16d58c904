"""Which points belong to the asked tree? From the scan to one tree's wood and leaf, its ground and its surroundings."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import cKDTree

from treescan.cloud.point_cloud import PointCloud
from treescan.errors import BadInput
from treescan.progress import Progress, quiet
from treescan.reason import Reason
from treescan.trees.beside import KINDS, Beside, Surroundings, Terrain
from treescan.trees.material.material_voxels import Voxels, voxelise
from treescan.trees.material.wood_and_leaf import wood_confidence
from treescan.trees.segmentation.crowns import crown_tops, stem_under
from treescan.trees.segmentation.separate import Allotment, Fine, allot, joined, refine
from treescan.trees.segmentation.stems import BREAST, Stem, find_stems
from treescan.trees.settings import TreeSettings
from treescan.trees.surroundings.foliage import foliage_density
from treescan.trees.surroundings.solids import find_solids, is_post, under_roofs
from treescan.trees.terrain.terrain import Ground, find_ground, heights_above, under_stems

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
LEAST_TREE = 2.5
"""What grew from a stem and ends below this height is a person, a post or a shrub, not a tree to climb. [m]"""
TOO_SPARSE = 0.12
"""Scans with a wider spacing show no single limbs. [m]"""
FEWEST = 200
"""Fewer points than this are no scan of a tree."""


@dataclass(frozen=True)
class Tree:
    """One tree cut out of the scan.

    Attributes
    ----------
    wood : PointCloud       Points taken for wood of this tree: measured points, at most one per `TreeSettings.wood_cell`; the column
                            "wood_confidence" says how sure.
    leaf : PointCloud       Points of this tree taken for leaves and twigs too fine to model, one measured point per fine voxel.
    base : (3,) float       Centre of the stem at the ground. [m, local]
    beside : Beside         Ground, foliage, neighbours.
    notes : tuple of Reason What was doubtful.
    spacing : float         Usual distance between neighbouring points of the scan. [m]
    """

    wood: PointCloud
    leaf: PointCloud
    base: NDArray[np.float64]
    beside: Beside
    notes: tuple[Reason, ...] = ()
    spacing: float = float("nan")


def find_tree(cloud: PointCloud, at: ArrayLike | None = None, settings: TreeSettings = TreeSettings(), progress: Progress = quiet) -> Tree:
    """Cut one tree out of a scan.

    Parameters
    ----------
    cloud : PointCloud
    at : (2,) float, optional   Plan place of the asked tree; the nearest stem is taken. [m, local]  Without it the largest tree.

    Raises
    ------
    BadInput    No tree in the scan, none near `at`, or too many points for one machine.
    """
    cut, member, spacing, notes = cut_out(cloud, at, settings, progress)
    fine, rough, ground, target = cut.fine, cut.rough, cut.ground, cut.target
    progress("wood and leaf", 0.0)
    evidence = wood_confidence(fine.voxels.centre, fine.graph, fine.grown, fine.shape, member)
    confidence = evidence.confidence
    if spacing > TOO_SPARSE:
        confidence = np.where(member, settings.wood_limit, 0.0)
        notes.append(Reason("too_sparse_for_leaves", spacing=spacing))
    wood, leaf = _clouds(cloud, fine, member, confidence, settings)
    base = _base(cut.trees[target], ground)
    beside = Beside(
        ground.terrain,
        foliage_density(leaf.xyz, fine.voxels.cell, max(settings.foliage_cell, 2 * fine.voxels.cell)),
        _surroundings(rough, target, fine, settings),
    )
    progress("wood and leaf", 1.0)
    return Tree(wood, leaf, base, beside, (*ground.notes, *notes), spacing)


@dataclass(frozen=True)
class Cut:
    """The asked tree on fine voxels, the rough allotment it came from, the stems of every tree, the ground, and its label."""

    fine: Fine
    rough: Allotment
    trees: tuple[tuple[Stem, ...], ...]
    ground: Ground
    target: int


def cut_out(
    cloud: PointCloud, at: ArrayLike | None = None, settings: TreeSettings = TreeSettings(), progress: Progress = quiet
) -> tuple[Cut, Bools, float, list[Reason]]:
    """Everything up to the question which of the tree's voxels are wood: the cut, the tree's voxels, the scan's spacing [m], notes."""
    _refuse(cloud, settings)
    xyz = cloud.xyz
    progress("ground", 0.0)
    ground = find_ground(xyz, cloud.columns.get("class"), settings.terrain)
    above = heights_above(ground.terrain, xyz)
    progress("stems", 0.0)
    rows, voxels, spacing = _standing(xyz, above, ground, settings)
    high = heights_above(ground.terrain, voxels.centre)
    solids = find_solids(voxels.centre, high, voxels.cell, spacing)
    grown = ~solids.building & ~solids.wire
    trees, tops, notes = _trees(cloud, above, voxels.centre[grown], high[grown], ground.terrain, spacing, settings)
    if tops is not None and len(solids.roof):
        solids = replace(solids, building=solids.building | under_roofs(voxels.centre, solids.roof))
        grown = ~solids.building & ~solids.wire
        trees, tops, notes = _trees(cloud, above, voxels.centre[grown], high[grown], ground.terrain, spacing, settings)
    progress("trees apart", 0.0)
    rough = allot(voxels, high, trees, tops, solids)
    target = _asked(rough, at, cloud, settings)
    progress("the asked tree", 0.0)
    fine = refine(xyz, above, rough, rows, target, max(settings.cell, 0.8 * spacing))
    if ground.found:
        stems = [s for stems in trees for s in stems]
        feet, thick = np.array([s.foot[:2] for s in stems]).reshape(-1, 2), np.nan_to_num([s.dbh for s in stems], nan=0.2)
        ground = replace(ground, terrain=under_stems(ground.terrain, feet, thick / 2))
    return Cut(fine, rough, trees, ground, target), _without_strays(fine), spacing, notes


def _refuse(cloud: PointCloud, settings: TreeSettings) -> None:
    if len(cloud) < FEWEST:
        raise BadInput(f"only {len(cloud)} points, too few to find a tree in", file=cloud.source)
    if len(cloud) > settings.max_points:
        what = f"{len(cloud)} points are more than the {settings.max_points} that are taken"
        raise BadInput(what, file=cloud.source, remedy="thin the cloud or cut out the part round the tree")


def _standing(xyz: Floats, above: Floats, ground: Ground, settings: TreeSettings) -> tuple[NDArray[np.int64], Voxels, float]:
    """Rows of what stands on the ground, their coarse voxels, and the usual spacing of the scan."""
    rows = np.nonzero(above > (0.08 if ground.found else -np.inf))[0]
    if len(rows) < FEWEST:
        raise BadInput("nothing stands on the ground in this scan", remedy="check the units and that z points up")
    voxels = voxelise(xyz[rows], settings.coarse_cell)
    per_voxel = float(np.median(np.repeat(voxels.count, 1)))
    spacing = settings.coarse_cell / np.sqrt(per_voxel)
    if per_voxel < 4:
        part = voxels.centre
        spacing = float(np.median(cKDTree(part).query(part[:: max(1, len(part) // 5000)], k=2)[0][:, 1]))
        voxels = voxelise(xyz[rows], max(settings.coarse_cell, 1.5 * spacing))
        rough = np.nonzero(above > (max(0.08, min(0.5, spacing)) if ground.found else -np.inf))[0]
        if len(rough) >= FEWEST:
            rows, voxels = rough, voxelise(xyz[rough], voxels.cell)
    return rows, voxels, spacing


def _trees(
    cloud: PointCloud, above: Floats, centre: Floats, high: Floats, terrain: Terrain, spacing: float, settings: TreeSettings
) -> tuple[tuple[tuple[Stem, ...], ...], Floats | None, list[Reason]]:
    """Stems of every tree; crown tops too where there were no stems."""
    near = np.nonzero((above < 5.0) & (above > 0.0))[0]
    p, h = cloud.xyz[near], above[near]
    stems = find_stems(p, h, terrain, spacing, settings.stems)
    if stems:
        return joined(stems, p, h, spacing), None, []
    tops = crown_tops(centre, high, max(0.5, 1.5 * spacing))
    if len(tops) == 0:
        raise BadInput("no tree found: neither stems nor crowns higher than 3 m", file=cloud.source)
    of = cKDTree(tops[:, :2]).query(centre[:, :2])[1]
    found = tuple((stem_under(top, centre[of == k], high[of == k], terrain),) for k, top in enumerate(tops))
    return found, tops, [Reason("trees_found_by_crowns")]


def _asked(rough: Allotment, at: ArrayLike | None, cloud: PointCloud, settings: TreeSettings) -> int:
    """Label of the tree nearest to `at`, else of the one with most voxels."""
    if at is None:
        size = np.bincount(rough.label[rough.label >= 0], minlength=len(rough.trees))[: len(rough.trees)]
        kinds = _kinds(rough)[: len(rough.trees)]
        return int(np.argmax(np.where(kinds == KINDS.index("neighbour"), size, size - len(rough.label))))
    want = np.asarray(at, float)
    away = np.array([min(min(np.hypot(*(s.foot[:2] - want)), np.hypot(*(s.axis_at(BREAST) - want))) for s in stems) for stems in rough.trees])
    k = int(np.argmin(away))
    if away[k] <= settings.stems.at_reach:
        return k
    over = np.hypot(*(rough.voxels.centre[:, :2] - want).T) < 1.0
    over &= (rough.above > 2.0) & (rough.label >= 0) & (rough.label < len(rough.trees))
    if over.any() and rough.trees[0][0].dbh != rough.trees[0][0].dbh:
        return int(np.bincount(rough.label[over]).argmax())
    foot = cloud.frame.to_map(rough.trees[k][0].foot)
    raise BadInput(
        f"no stem within {settings.stems.at_reach:g} m of the asked place",
        file=cloud.source,
        remedy=f"the nearest tree stands at {foot[0]:.1f}, {foot[1]:.1f} (metres of the cloud's frame), {away[k]:.1f} m away",
    )


def _without_strays(fine: Fine) -> Bools:
    """Voxels of the tree but for small bits that hang in the air far from it."""
    member = fine.member.copy()
    x, previous = fine.voxels.centre, fine.grown.previous
    order = fine.grown.order
    count = np.ones(len(x))
    for i in order[::-1]:
        if previous[i] >= 0:
            count[previous[i]] += count[i]
    has = previous >= 0
    step = np.zeros(len(x))
    step[has] = np.linalg.norm(x[has] - x[previous[has]], axis=1)
    far = max(0.5, 8 * fine.voxels.cell)
    lone = (step > far) & (count < 5) | (step > 2 * far) & (count < 30) | (step > 5 * far) & (count < 0.01 * member.sum())
    for i in order:
        if previous[i] >= 0 and lone[previous[i]]:
            lone[i] = True
    return member & ~lone


def _clouds(cloud: PointCloud, fine: Fine, member: Bools, confidence: Floats, settings: TreeSettings) -> tuple[PointCloud, PointCloud]:
    """Wood at full resolution (one measured point per `wood_cell`), leaf at one measured point per fine voxel."""
    is_wood = member & (confidence >= settings.wood_limit)
    rows = fine.points[is_wood[fine.voxels.of_point]]
    sure = confidence[fine.voxels.of_point[is_wood[fine.voxels.of_point]]]
    if settings.wood_cell > 0 and len(rows):
        first = voxelise(cloud.xyz[rows], settings.wood_cell).first
        rows, sure = rows[first], sure[first]
    wood = cloud.where(rows)
    wood = PointCloud(wood.xyz, wood.frame, {**wood.columns, "wood_confidence": sure.astype(np.float32)}, wood.source, wood.notes)
    return wood, cloud.where(fine.points[fine.voxels.first[member & ~is_wood]])


def _base(stems: tuple[Stem, ...], ground: Ground) -> Floats:
    """Centre of the stem at the ground; of a many-stemmed tree the middle of the feet weighted by their section."""
    w = np.array([s.dbh**2 if s.dbh == s.dbh else 0.01 for s in stems])
    foot = np.average([s.foot for s in stems], axis=0, weights=w)
    foot[2] = -float(heights_above(ground.terrain, np.array([[foot[0], foot[1], 0.0]]))[0])
    return foot


def _surroundings(rough: Allotment, target: int, fine: Fine, settings: TreeSettings) -> Surroundings:
    """Everything else near the tree on voxels, with its kind, and the neighbours' stems."""
    mine = rough.label == target
    own = rough.voxels.centre[mine]
    low, high = own[:, :2].min(axis=0) - settings.neighbour_reach, own[:, :2].max(axis=0) + settings.neighbour_reach
    near = ~mine & np.all((rough.voxels.centre[:, :2] > low) & (rough.voxels.centre[:, :2] < high), axis=1)
    kind_of = _kinds(rough)
    kind = kind_of[rough.label]
    kind[rough.solids.building], kind[rough.solids.wire] = KINDS.index("building"), KINDS.index("wire")
    kind = kind[near]
    cell = max(settings.obstacle_cell, rough.voxels.cell)
    block = voxelise(rough.voxels.centre[near], cell)
    corner = rough.voxels.centre[near].min(axis=0) if near.any() else np.zeros(3)
    centre = (np.floor((rough.voxels.centre[near][block.first] - corner) / cell) + 0.5) * cell + corner
    others = [s for k, stems in enumerate(rough.trees) if k != target and kind_of[k] == KINDS.index("neighbour") for s in stems]
    feet = np.array([s.foot for s in others]).reshape(-1, 3)
    return Surroundings(centre, kind[block.first], cell, feet, np.array([s.dbh for s in others]))


def _kinds(rough: Allotment) -> NDArray[np.uint8]:
    """Kind of every label, (t + 2,): trees, then what stands on the ground, then (label -1) what nothing reached."""
    kind = np.full(len(rough.trees) + 2, KINDS.index("neighbour"), np.uint8)
    kind[-2], kind[-1] = KINDS.index("ground object"), KINDS.index("unknown")
    order = np.argsort(rough.label, kind="stable")
    start = np.searchsorted(rough.label[order], np.arange(len(rough.trees) + 1))
    for k in range(len(rough.trees)):
        rows = order[start[k] : start[k + 1]]
        if len(rows) == 0 or rough.above[rows].max() < LEAST_TREE:
            kind[k] = KINDS.index("ground object")
        elif is_post(rough.voxels.centre[rows], rough.above[rows]):
            kind[k] = KINDS.index("pole")
    return kind
