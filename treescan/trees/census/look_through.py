"""Which trees stand in one part of a city? A rough look at a thinned cloud: stems or crowns, height, crown, what
stands near."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import cKDTree

from treescan.arrays import Floats
from treescan.cloud.point_cloud import PointCloud
from treescan.errors import BadInput
from treescan.trees.beside import KINDS
from treescan.trees.census.cells import Cell
from treescan.trees.material.material_voxels import voxelise
from treescan.trees.segmentation.asked_tree import kind_of_labels
from treescan.trees.segmentation.crowns import crown_of, crown_tops, stem_under
from treescan.trees.segmentation.stems import Stem
from treescan.trees.segmented_tree import SegmentedScan, segment_all
from treescan.trees.settings import TreeSettings
from treescan.trees.terrain.height_grid import heights_above

THIN = 0.02
"""Edge of the voxels of which one point stays for the rough look. [m]"""
BEYOND = 2.0
"""A foot so far outside a part's own ground is still told, so that none falls between two parts. [m]"""
FAR = 50.0
"""Farther things are not told. [m]"""
SPACING_CELL = 1.0
"""Points are counted in columns of this edge to tell the spacing about a tree. [m]"""
AT_END = 1.0
"""A crown within half of this of the end of the scan touches it. [m]"""
TOP_CELL, FEWEST_VOXELS, CROWN_HEIGHT = 0.5, 50, 3.0
"""Crowns over no stem are looked for on a plan of this cell [m], count from so many coarse voxels, and are higher than
the last [m] (project choice)."""
SLOPE_STEP = 2.0
"""The slope at a foot is taken over this distance each way. [m]"""


@dataclass(frozen=True)
class FoundTree:
    """One tree as a rough look shows it.

    Attributes
    ----------
    foot : (3,) float       On the map. [m]
    height : float          [m]
    dbh : float             [m]  NaN = the stem was not seen well enough.
    arc : float             Part of the stem's round that was seen. [rad]
    crown_radius : float    Of the circle with the crown's plan area. [m]
    reach : float           Farthest part of the crown from the foot, in plan. [m]
    spacing : float         Usual distance between points on it. [m]
    points : int            Of the thinned cloud.
    by_crown : bool         Found from above: its foot is a guess.
    slope : float           Of the ground at the foot. [rad]
    wire, building : float  Plan distance from the crown; NaN = none within `FAR`. [m]
    cut : bool              The crown reaches the end of what was scanned: it may go on beyond.
    hidden : bool           Stems were seen round about, but none under this crown: a close look would not find it.
    """

    foot: tuple[float, float, float]
    height: float
    dbh: float
    arc: float
    crown_radius: float
    reach: float
    spacing: float
    points: int
    by_crown: bool
    slope: float
    wire: float
    building: float
    cut: bool = False
    hidden: bool = False


@dataclass(frozen=True)
class LookedThrough:
    """What one part of a city holds: trees, and wires as lines (k, 2, 3) on the map [m]."""

    trees: tuple[FoundTree, ...]
    wires: tuple[tuple[tuple[float, float, float], tuple[float, float, float]], ...] = ()


def look_through(cloud: PointCloud, cell: Cell, settings: TreeSettings = TreeSettings()) -> LookedThrough:
    """The trees that stand on the ground of one part, or just beside it.

    Parameters
    ----------
    cloud : PointCloud      The part with its halo.
    cell : Cell             Its own ground.
    """
    thin = voxelise(cloud.xyz, THIN).first
    try:
        whole = segment_all(cloud.where(np.sort(thin)), settings)
    except BadInput:  # nothing stands there
        return LookedThrough(())
    found = []
    rough = whole.rough
    kinds = kind_of_labels(rough)
    order = np.argsort(rough.label, kind="stable")
    start = np.searchsorted(rough.label[order], np.arange(len(rough.trees) + 1))
    ends = _ends(cloud, cell)
    built = [_tree_of(whole, mask) for mask in (rough.solids.wire, rough.solids.building)]
    for k in range(len(rough.trees)):
        rows = order[start[k] : start[k + 1]]
        foot = cloud.frame.to_map(rough.trees[k][0].foot)
        if kinds[k] == KINDS.index("neighbour") and cell.depth(foot[:2]) > -BEYOND and len(rows):
            found.append(_found(whole, rough.trees[k], rows, foot, built, ends))
    for stem, rows in _without_stem(whole):
        foot = cloud.frame.to_map(stem.foot)
        if cell.depth(foot[:2]) > -BEYOND:
            found.append(replace(_found(whole, (stem,), rows, foot, built, ends), hidden=True))
    lines = [w for w in _wires(whole, cloud) if cell.depth((w[0] + w[1])[:2] / 2) >= 0]
    wires = tuple((_place(a), _place(b)) for a, b in lines)
    return LookedThrough(tuple(sorted(found, key=lambda t: t.foot)), wires)


def _place(xyz: Floats) -> tuple[float, float, float]:
    x, y, z = (round(float(v), 3) for v in xyz)
    return x, y, z


def _without_stem(whole: SegmentedScan) -> list[tuple[Stem, np.ndarray]]:
    """Trees among what grew from the ground without a stem that was seen: by their crowns, each with the likeliest
    foot and its coarse voxels."""
    rough = whole.rough
    rest = np.flatnonzero((rough.label == rough.rest) & rough.solids.free)
    if rough.tops is not None or len(rest) < FEWEST_VOXELS:
        return []
    xyz, above = rough.voxels.centre[rest], rough.above[rest]
    cell = max(TOP_CELL, rough.voxels.cell)
    tops = crown_tops(xyz, above, cell)
    if not len(tops):
        return []
    crown = crown_of(xyz, above, tops, cell)
    out = []
    for k, top in enumerate(tops):
        own = crown == k
        if own.sum() >= FEWEST_VOXELS and above[own].max() > CROWN_HEIGHT:
            out.append((stem_under(top, xyz[own], above[own], whole.terrain), rest[own]))
    return out


def _ends(cloud: PointCloud, cell: Cell) -> tuple[Floats, Floats]:
    """Plan corners (2,), (2,) within which a crown does not touch the end of the scan; infinite where the scan goes
    on beyond the window. [m, local]"""
    low, high = cloud.xyz[:, :2].min(axis=0), cloud.xyz[:, :2].max(axis=0)
    window = [np.asarray(c) - cloud.frame.origin[:2] for c in (cell.low, cell.high)]
    inner = np.where(low > window[0] + AT_END, low + AT_END / 2, -np.inf)
    return inner, np.where(high < window[1] - AT_END, high - AT_END / 2, np.inf)


def _tree_of(whole: SegmentedScan, mask: np.ndarray) -> cKDTree | None:
    places = whole.rough.voxels.centre[mask]
    return cKDTree(places[:, :2]) if len(places) else None


def _found(
    whole: SegmentedScan,
    stems: tuple[Stem, ...],
    rows: np.ndarray,
    foot: Floats,
    built: list[cKDTree | None],
    ends: tuple[Floats, Floats],
) -> FoundTree:
    """The coarse voxels of one tree, and its stems, as a tree."""
    rough = whole.rough
    xyz, above = rough.voxels.centre[rows], rough.above[rows]
    local = stems[0].foot
    upper = above > np.minimum(2.0, 0.5 * above.max())
    plan = xyz[upper, :2]
    cell = max(SPACING_CELL / 2, rough.voxels.cell)
    area = len(np.unique(np.floor(plan / cell), axis=0)) * cell**2
    columns, count = np.unique(np.floor(plan / SPACING_CELL), axis=0, return_inverse=True)
    held = np.bincount(count.ravel(), rough.voxels.count[rows][upper], minlength=len(columns))
    dense = float(np.median(rough.voxels.count[rows])) / rough.voxels.cell**2
    spacing = max(1 / np.sqrt(max(dense, 1e-9)), 1 / np.sqrt(max(float(np.median(held)) * 4, 1e-9)))
    thick = [s.dbh for s in stems if s.dbh == s.dbh]
    beside = np.array(
        [[d, 0.0] for d in (-SLOPE_STEP, SLOPE_STEP)] + [[0.0, d] for d in (-SLOPE_STEP, SLOPE_STEP)]
    )
    around = np.column_stack([local[:2] + beside, np.zeros(4)])
    ground = -heights_above(whole.terrain, around)
    slope = float(np.arctan(np.hypot(ground[1] - ground[0], ground[3] - ground[2]) / (2 * SLOPE_STEP)))
    return FoundTree(
        _place(foot),
        round(float(above.max()), 2),
        round(float(np.sqrt(np.square(thick).sum())), 3) if thick else float("nan"),
        round(float(stems[0].arc), 3),
        round(float(np.sqrt(area / np.pi)), 2),
        round(float(np.hypot(*(plan - local[:2]).T).max()), 2),
        round(max(float(spacing), whole.spacing), 4),
        int(rough.voxels.count[rows].sum()),
        rough.tops is not None or stems[0].arc == 0.0,
        round(slope, 3),
        _away(built[0], plan),
        _away(built[1], plan),
        bool(np.any(plan.min(axis=0) < ends[0]) or np.any(plan.max(axis=0) > ends[1])),
    )


def _away(built: cKDTree | None, plan: Floats) -> float:
    """Plan distance of a crown from built things; NaN where there are none within `FAR`."""
    if built is None:
        return float("nan")
    distance = float(built.query(plan[:: max(1, len(plan) // 2000)])[0].min())
    return round(distance, 1) if distance <= FAR else float("nan")


def _wires(whole: SegmentedScan, cloud: PointCloud) -> list[tuple[Floats, Floats]]:
    """Ends of the wires that were seen, on the map."""
    out = []
    for w in whole.rough.solids.wires:
        s = np.array([w.first, w.last])
        xy = w.origin + s[:, None] * w.along
        z = w.sag[0] + w.sag[1] * s + w.sag[2] * s**2
        a, b = cloud.frame.to_map(np.column_stack([xy, z]))
        out.append((a, b))
    return out
