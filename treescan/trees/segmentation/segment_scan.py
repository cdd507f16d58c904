"""Which material is whose, roughly? Every tree, and what stands on the ground, grows along shortest paths
through coarse voxels."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from treescan.arrays import Floats, Ints32
from treescan.trees.material.material_voxels import Voxels
from treescan.trees.material.neighbour_graph import NeighbourGraph, neighbour_graph
from treescan.trees.material.shortest_paths import StepCost, shortest_paths
from treescan.trees.segmentation.crowns import crown_of
from treescan.trees.segmentation.stems import Stem
from treescan.trees.segmentation.tree_sources import cost_factor, sources_of
from treescan.trees.surroundings.solids import Solids

NEIGHBOURS = 10
"""Nearest neighbours of a coarse voxel, itself included."""
USUAL_STEP = 1.5
"""Usual step of a path, in voxels."""
CROWN_CELL = 0.5
"""Least plan cell of the canopy height. [m]"""


@dataclass(frozen=True)
class Segmentation:
    """Whose every coarse voxel is: trees 0 .. t - 1, then label t for what stands on the ground without a
    stem.

    Attributes
    ----------
    voxels : Voxels         Coarse voxels of everything that is not ground.
    above : (m,) float      Height above the ground. [m]
    label : (m,) int32      -1 where nothing reached.
    cost : (m,) float       Cost of the way from the source. [m]
    trees : tuple of tuple  Stems of every tree label (several where it forks below breast height).
    solids : Solids         Walls, roofs and wires: never grown through, label -1.
    graph : NeighbourGraph or None  Of the voxels that may be grown through; None where trees were found by
                                    their crowns.
    tops : (t, 3) or None   Crown tops where trees were found by them.
    """

    voxels: Voxels
    above: Floats
    label: Ints32
    cost: Floats
    trees: tuple[tuple[Stem, ...], ...]
    solids: Solids
    graph: NeighbourGraph | None
    tops: Floats | None = None

    @property
    def rest(self) -> int:
        """Label of what stands on the ground without a stem."""
        return len(self.trees)


def segment_scan(
    voxels: Voxels, above: Floats, trees: tuple[tuple[Stem, ...], ...], tops: Floats | None, solids: Solids
) -> Segmentation:
    """Let every tree and everything on the ground grow through the coarse voxels.

    Parameters
    ----------
    voxels, above       Coarse voxels of what is not ground, and their heights above it. [m]
    trees               Stems of each tree.
    tops : (t, 3) or None   Crown tops, one for each tree, where the scan has no stems: then crowns are told
                            apart from above. [m]
    solids              Walls, roofs and wires among the voxels: not grown through.
    """
    label = np.full(len(voxels), -1, np.int32)
    cost = np.full(len(voxels), np.inf)
    i = np.nonzero(solids.free)[0]
    xyz = voxels.centre[i]
    if tops is not None:
        crown = crown_of(xyz, above[i], tops, max(CROWN_CELL, voxels.cell))
        label[i] = np.where(crown >= 0, crown, len(trees))
        cost[i] = 0.0
        return Segmentation(voxels, above, label, cost, trees, solids, None, tops)
    factor = cost_factor(trees)
    sources = sources_of(xyz, above[i], trees, voxels.cell).weighted(factor)
    graph = neighbour_graph(xyz, NEIGHBOURS, voxels.cell)
    paths = shortest_paths(graph, xyz, sources, factor, StepCost(USUAL_STEP * voxels.cell, np.ones(len(xyz))))
    label[i], cost[i] = paths.label, paths.cost
    return Segmentation(voxels, above, label, cost, trees, solids, graph, tops)
