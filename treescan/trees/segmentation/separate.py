"""Which material grew from which foot? First roughly over the whole scan, then finely round the asked tree."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from treescan.trees.material.growth import Neighbours, Race, neighbour_graph, race
from treescan.trees.material.local_shape import LocalShape, local_shape
from treescan.trees.material.material_voxels import Voxels, voxelise
from treescan.trees.segmentation.crowns import crown_of
from treescan.trees.segmentation.stems import BREAST, Stem
from treescan.trees.surroundings.solids import Solids

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int32]
TURN = 100.0
"""Cost of turning where crowns compete (see `race`). On made-up pairs of trees the share of points given to the right tree rose with it, from
94.0 % at 4 to 96.7 % at 100 for bare and from 94.1 to 94.7 % for leafy crowns grown into each other."""
RIVALRY = 2.0
"""A rival's voxel is looked at finely when the asked tree could have reached it at less than this multiple of the rival's cost."""
USUAL_DBH = 0.3
"""Stem diameter at which growth costs are taken as they are, and that of stems whose diameter was not seen. [m]"""


@dataclass(frozen=True)
class Allotment:
    """Rough allotment of coarse voxels to labels: trees 0 .. t - 1, then label t for what stands on the ground without a stem.

    Attributes
    ----------
    voxels : Voxels         Coarse voxels of everything that is not ground.
    above : (m,) float      Height above the ground. [m]
    label : (m,) int32      -1 where nothing reached.
    cost : (m,) float       Cost of the way from the seed. [m]
    trees : tuple of tuple  Stems of every tree label (several where it forks below breast height).
    solids : Solids         Walls, roofs and wires: never grown through, label -1.
    graph : Neighbours      Of the voxels that may be grown through; None where trees were found by their crowns.
    tops : (t, 3) or None   Crown tops where trees were found by them.
    """

    voxels: Voxels
    above: Floats
    label: Ints
    cost: Floats
    trees: tuple[tuple[Stem, ...], ...]
    solids: Solids
    graph: Neighbours | None
    tops: Floats | None = None

    @property
    def rest(self) -> int:
        """Label of what stands on the ground without a stem."""
        return len(self.trees)


def cost_factor(trees: tuple[tuple[Stem, ...], ...]) -> Floats:
    """Cost factor of each tree and, last, of the rest: thick stems carry wide crowns, the way is scaled by dbh to the power 2/3."""
    dbh = [np.sqrt(sum(s.dbh**2 if s.dbh == s.dbh else USUAL_DBH**2 for s in stems)) for stems in trees]
    return np.append((USUAL_DBH / np.clip(dbh, 0.05, 2.0)) ** (2 / 3), 1.5)


def joined(stems: tuple[Stem, ...], xyz: Floats, above: Floats, spacing: float) -> tuple[tuple[Stem, ...], ...]:
    """Stems that meet below breast height are one tree.

    Parameters
    ----------
    xyz, above      Points and heights above the ground, those under 1.6 m at least. [m]
    """
    if len(stems) < 2:
        return tuple((s,) for s in stems)
    place = np.array([s.axis_at(BREAST) for s in stems])
    pairs = cKDTree(place).query_pairs(1.5, output_type="ndarray")
    low = (above > 0.12) & (above < BREAST)
    p, h = xyz[low], above[low]
    link = [(a, b) for a, b in pairs if _meet(stems[a], stems[b], p, h, spacing)]
    i, j = (np.array([x[k] for x in link], int) for k in (0, 1))
    _, of = connected_components(coo_matrix((np.ones(len(i)), (i, j)), shape=(len(stems), len(stems))), directed=False)
    return tuple(tuple(stems[k] for k in np.nonzero(of == g)[0]) for g in range(of.max() + 1))


def _meet(a: Stem, b: Stem, p: Floats, h: Floats, spacing: float) -> bool:
    """True when the bark of one stem goes over into the other's between the ground and breast height, in the slice between the two."""
    ra, rb = (s.dbh / 2 if s.dbh == s.dbh else 0.1 for s in (a, b))
    start, end = a.axis_at(h), b.axis_at(h)
    d = end - start
    length2 = np.maximum((d**2).sum(axis=1), 1e-9)
    t = np.clip(((p[:, :2] - start) * d).sum(axis=1) / length2, 0, 1)
    off = np.hypot(*(p[:, :2] - start - t[:, None] * d).T)
    pick = off < np.maximum(ra, rb) * 1.15 + 0.02
    q = voxelise(p[pick], 0.03).centre
    if len(q) < 10:
        return False
    pairs = cKDTree(q).query_pairs(max(0.06, 2.2 * spacing), output_type="ndarray")
    _, of = connected_components(coo_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(q), len(q))), directed=False)
    high = h[pick].max() - 0.3
    top = q[:, 2] > np.median(p[pick, 2] - h[pick]) + high
    at_a = top & (np.hypot(*(q[:, :2] - a.axis_at(BREAST)).T) < ra * 1.3 + 0.03)
    at_b = top & (np.hypot(*(q[:, :2] - b.axis_at(BREAST)).T) < rb * 1.3 + 0.03)
    return bool(len(np.intersect1d(of[at_a], of[at_b])))


def allot(voxels: Voxels, above: Floats, trees: tuple[tuple[Stem, ...], ...], tops: Floats | None, solids: Solids) -> Allotment:
    """Let every tree and everything on the ground grow through the coarse voxels.

    Parameters
    ----------
    voxels, above       Coarse voxels of what is not ground, and their heights above it. [m]
    trees               Stems of each tree.
    graph : Neighbours      Of the voxels that may be grown through.
    tops : (t, 3) or None   Crown tops, one for each tree, where the scan has no stems: then crowns are told apart from above. [m]
    solids              Walls, roofs and wires among the voxels: not grown through.
    """
    label = np.full(len(voxels), -1, np.int32)
    cost = np.full(len(voxels), np.inf)
    i = np.nonzero(~solids.building & ~solids.wire)[0]
    xyz = voxels.centre[i]
    if tops is not None:
        crown = crown_of(xyz, above[i], tops, max(0.5, voxels.cell))
        label[i] = np.where(crown >= 0, crown, len(trees))
        cost[i] = 0.0
        return Allotment(voxels, above, label, cost, trees, solids, None, tops)
    seed, whose, head = seeds_of(xyz, above[i], trees, voxels.cell)
    factor = cost_factor(trees)
    graph = neighbour_graph(xyz, 10, voxels.cell)
    grown = race(graph, xyz, seed, whose, factor, usual=1.5 * voxels.cell, drag=np.ones(len(xyz)), head_start=head * factor[whose])
    label[i], cost[i] = grown.label, grown.cost
    return Allotment(voxels, above, label, cost, trees, solids, graph, tops)


def seeds_of(xyz: Floats, above: Floats, trees: tuple[tuple[Stem, ...], ...], cell: float) -> tuple[Ints, Ints, Floats]:
    """Voxels where growth starts, whose they are, and the cost already spent there (0 at the foot, the height higher up)."""
    seed, whose, head = [], [], []
    by_foot = np.full(len(xyz), np.inf)
    for k, stems in enumerate(trees):
        for s in stems:
            r = s.dbh / 2 if s.dbh == s.dbh else 0.15
            off = np.hypot(*(xyz[:, :2] - s.axis_at(np.clip(above, 0, 3))).T)
            by_foot = np.minimum(by_foot, off - r)
            near = np.nonzero((off < r + 0.5 * cell + 0.03) & (above < 2.0))[0]
            if len(near) == 0:
                near = np.array([np.argmin(np.linalg.norm(xyz - s.foot, axis=1))])
            seed.append(near)
            whose.append(np.full(len(near), k))
            head.append(np.maximum(above[near], 0.0))
    ground = np.nonzero((above < 0.3) & (by_foot > 0.35))[0]
    seed.append(ground)
    whose.append(np.full(len(ground), len(trees)))
    head.append(np.full(len(ground), 0.3))
    return np.concatenate(seed).astype(np.int32), np.concatenate(whose).astype(np.int32), np.concatenate(head)


@dataclass(frozen=True)
class Fine:
    """The fine voxels round the asked tree.

    points : (p,) rows of the cloud; voxels : theirs; graph, grown : the neighbour graph and the race on it; shape : `LocalShape` of every
    voxel; member : (m,) bool, voxels of the asked tree; label : (m,) label of the rough allotment, as corrected here.
    """

    points: NDArray[np.int64]
    voxels: Voxels
    graph: Neighbours
    grown: Race
    shape: LocalShape
    member: Bools


def contested(rough: Allotment, target: int) -> tuple[Bools, NDArray[np.int64]]:
    """Coarse voxels to look at finely: the target's, those it could have reached at less than `RIVALRY` times the winner's cost, and those
    rivals' ways to them; and the labels of the rivals."""
    mine = rough.label == target
    usable = np.nonzero(~rough.solids.building & ~rough.solids.wire)[0]
    xyz = rough.voxels.centre[usable]
    if rough.graph is None:
        return mine, np.zeros(0, np.int64)
    seed, whose, head = seeds_of(xyz, rough.above[usable], (rough.trees[target],), rough.voxels.cell)
    own = whose == 0
    f = cost_factor(rough.trees)[target]
    grown = race(
        rough.graph, xyz, seed[own], whose[own], np.array([f]), usual=1.5 * rough.voxels.cell, drag=np.ones(len(xyz)), head_start=head[own] * f
    )
    close = np.zeros(len(mine), bool)
    close[usable] = grown.cost < RIVALRY * rough.cost[usable]
    inside = mine | close
    rivals = []
    for k in np.unique(rough.label[close & ~mine]):
        his = rough.label == k
        if k == rough.rest or (close & his).sum() < 20:
            continue
        rivals.append(k)
        inside |= his & (rough.cost <= rough.cost[close & his].max())
    return inside, np.array(rivals, np.int64)


def refine(xyz: Floats, above: Floats, rough: Allotment, rows: NDArray[np.int64], target: int, cell: float) -> Fine:
    """Race again on fine voxels over all that the target could reach: thick wood is run along cheaply, twigs and leaves dearly.

    Parameters
    ----------
    xyz, above : the whole cloud and its heights [m]; rows : (m,) cloud rows of the points in `rough.voxels.of_point`.
    """
    inside, rivals = contested(rough, target)
    pick = inside[rough.voxels.of_point]
    for wire in rough.solids.wires:
        pick &= wire.distance(xyz[rows]) > 0.04
    points = rows[pick]
    voxels = voxelise(xyz[points], cell)
    high = above[points[voxels.first]]
    who = [target, *rivals]
    seed, whose, head = seeds_of(voxels.centre, high, tuple(rough.trees[k] for k in who), cell)
    f = cost_factor(rough.trees)[[*who, rough.rest]]
    graph = neighbour_graph(voxels.centre, 12, cell)
    shape = local_shape(voxels.centre, graph.nearest, cell)
    own, head, drag = whose == 0, head * f[whose], shape.drag(cell)
    if rough.graph is not None:
        grown = race(graph, voxels.centre, seed, whose, f, usual=1.5 * cell, drag=drag, turn=TURN, head_start=head)
    else:
        grown = race(graph, voxels.centre, seed[own], whose[own], f, usual=1.5 * cell, drag=drag, turn=TURN, head_start=head[own])
    return Fine(points, voxels, graph, grown, shape, grown.label == 0)
