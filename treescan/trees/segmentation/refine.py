"""Which fine voxels belong to the asked tree? Shortest paths again, over all that it and its rivals could
reach."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from treescan.arrays import Flags, Floats, Ints
from treescan.trees.material.local_shape import LocalShape, local_shape
from treescan.trees.material.material_voxels import Voxels, voxelise
from treescan.trees.material.neighbour_graph import NeighbourGraph, neighbour_graph
from treescan.trees.material.shortest_paths import ShortestPaths, StepCost, shortest_paths
from treescan.trees.segmentation.segment_scan import USUAL_STEP, Segmentation
from treescan.trees.segmentation.tree_sources import cost_factor, sources_of

TURN = 100.0
"""Cost of turning where crowns compete (see `StepCost`). On made-up pairs of trees the share of points given
to the right tree rose with it, from 94.0 % at 4 to 96.7 % at 100 for bare and from 94.1 to 94.7 % for leafy
crowns grown into each other."""
RIVALRY = 2.0
"""A rival's voxel is looked at finely when the asked tree could have reached it at less than this multiple of
the rival's cost."""
LEAST_RIVAL = 20
"""Voxels that a rival and the asked tree must both reach for it to be one."""
NEAR_WIRE = 0.04
"""Points this close to a wire are the wire. [m]"""
FINE_NEIGHBOURS = 12
"""Nearest neighbours of a fine voxel, itself included."""
LONE_STEP, LONE_VOXELS = 0.5, 8
"""A bit of the tree is far from the rest beyond this gap [m], or so many voxels."""
LONE = ((1, 5), (2, 30))
"""Bits that far away, times the first, are left out below so many voxels;"""
LONE_FAR, LONE_SHARE = 5, 0.01
"""and beyond that many times the gap below this share of the tree."""


@dataclass(frozen=True)
class FineVoxels:
    """The fine voxels round the asked tree.

    Attributes
    ----------
    points : (p,) int64         Rows of the cloud.
    voxels : Voxels             Of these points.
    graph : NeighbourGraph      Of the voxels.
    paths : ShortestPaths       On that graph.
    shape : LocalShape          Of every voxel.
    member : (m,) bool          Voxels of the asked tree.
    """

    points: Ints
    voxels: Voxels
    graph: NeighbourGraph
    paths: ShortestPaths
    shape: LocalShape
    member: Flags

    def without_strays(self) -> Flags:
        """Voxels of the tree but for small bits that hang in the air far from it, (m,)."""
        x, previous, order = self.voxels.centre, self.paths.previous, self.paths.order
        count = np.ones(len(x))
        for i in order[::-1]:
            if previous[i] >= 0:
                count[previous[i]] += count[i]
        has = previous >= 0
        step = np.zeros(len(x))
        step[has] = np.linalg.norm(x[has] - x[previous[has]], axis=1)
        far = max(LONE_STEP, LONE_VOXELS * self.voxels.cell)
        lone = (step > LONE_FAR * far) & (count < LONE_SHARE * self.member.sum())
        for times, few in LONE:
            lone |= (step > times * far) & (count < few)
        for i in order:
            if previous[i] >= 0 and lone[previous[i]]:
                lone[i] = True
        return self.member & ~lone


def contested(rough: Segmentation, target: int) -> tuple[Flags, Ints]:
    """Coarse voxels to look at finely: the target's, those it could have reached at less than `RIVALRY` times
    the winner's cost, and those rivals' ways to them; and the labels of the rivals."""
    mine = rough.label == target
    usable = np.nonzero(rough.solids.free)[0]
    xyz = rough.voxels.centre[usable]
    if rough.graph is None:
        return mine, np.zeros(0, np.int64)
    factor = cost_factor(rough.trees)[[target]]
    own = (
        sources_of(xyz, rough.above[usable], (rough.trees[target],), rough.voxels.cell).of(0).weighted(factor)
    )
    step = StepCost(USUAL_STEP * rough.voxels.cell, np.ones(len(xyz)))
    paths = shortest_paths(rough.graph, xyz, own, factor, step)
    close = np.zeros(len(mine), bool)
    close[usable] = paths.cost < RIVALRY * rough.cost[usable]
    inside = mine | close
    rivals = []
    for k in np.unique(rough.label[close & ~mine]):
        his = rough.label == k
        if k == rough.rest or (close & his).sum() < LEAST_RIVAL:
            continue
        rivals.append(k)
        inside |= his & (rough.cost <= rough.cost[close & his].max())
    return inside, np.array(rivals, np.int64)


def refine(
    xyz: Floats, above: Floats, rough: Segmentation, rows: Ints, target: int, cell: float
) -> FineVoxels:
    """Shortest paths on fine voxels over all that the target could reach: along thick wood they are cheap,
    through twigs and leaves dear.

    Parameters
    ----------
    xyz, above : the whole cloud and its heights [m]; rows : (m,) cloud rows of the points in
    `rough.voxels.of_point`.
    """
    inside, rivals = contested(rough, target)
    pick = inside[rough.voxels.of_point]
    for wire in rough.solids.wires:
        pick &= wire.distance(xyz[rows]) > NEAR_WIRE
    points = rows[pick].astype(np.int64)
    voxels = voxelise(xyz[points], cell)
    high = above[points[voxels.first]]
    who = [target, *rivals]
    factor = cost_factor(rough.trees)[[*who, rough.rest]]
    sources = sources_of(voxels.centre, high, tuple(rough.trees[k] for k in who), cell).weighted(factor)
    if rough.graph is None:
        sources = sources.of(0)
    graph = neighbour_graph(voxels.centre, FINE_NEIGHBOURS, cell)
    shape = local_shape(voxels.centre, graph.nearest, cell)
    step = StepCost(USUAL_STEP * cell, shape.drag(cell), turn=TURN)
    paths = shortest_paths(graph, voxels.centre, sources, factor, step)
    return FineVoxels(points, voxels, graph, paths, shape, paths.label == 0)
