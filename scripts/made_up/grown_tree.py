"""What is a grown tree? Nodes, exact diameters, what is dead; and what is left when a limb snaps."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from treescan.trees.beside import Terrain
from treescan.wood.graph import WoodGraph
from treescan.wood.topology.assemble import assemble

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class GrownTree:
    """A tree with every diameter known.

    Attributes
    ----------
    xyz : (n, 3) [m]; radius, segment_radius : (n,) [m]; parent : (n,) int32
        As in `WoodGraph`, twigs and all.
    axis : (n,) int32       Limb as grown (its own count, not the graph's limb number).
    order : (n,) int32      0 stem and leaders, 1 limbs, 2 ...
    dead : (n,) bool        Dead stubs and dead limbs: leafless.
    habit : str
    seed : int
    """

    xyz: Floats
    radius: Floats
    segment_radius: Floats
    parent: NDArray[np.int32]
    axis: NDArray[np.int32]
    order: NDArray[np.int32]
    dead: NDArray[np.bool_]
    habit: str
    seed: int

    def __len__(self) -> int:
        return len(self.xyz)

    @property
    def height(self) -> float:
        """Of the highest twig above the stem's foot. [m]"""
        return float((self.xyz[:, 2] + self.radius).max() - self.xyz[0, 2])

    def kept(self, thinnest: float) -> NDArray[np.bool_]:
        """Nodes of wood at least `thinnest` thick [m] all the way from the ground, (n,)."""
        keep = 2 * self.segment_radius >= thinnest
        keep[0] = True
        for i in range(1, len(keep)):
            keep[i] &= keep[self.parent[i]]
        return keep

    def graph(self, thinnest: float = 0.01, terrain: Terrain | None = None) -> WoodGraph:
        """The exact wood graph of all wood at least `thinnest` thick [m]."""
        keep = self.kept(thinnest)
        new = np.cumsum(keep) - 1
        parent = np.where(self.parent[keep] >= 0, new[self.parent[keep]], -1)
        return assemble(
            self.xyz[keep],
            self.radius[keep],
            parent,
            segment_radius=self.segment_radius[keep],
            radius_sd=np.zeros(keep.sum()),
            arc=np.full(keep.sum(), 2 * np.pi),
            terrain=terrain,
        )

    def moved(self, xyz: Floats) -> GrownTree:
        """The same tree with its foot at `xyz`."""
        return GrownTree(
            self.xyz + (np.asarray(xyz, float) - self.xyz[0]),
            self.radius,
            self.segment_radius,
            self.parent,
            self.axis,
            self.order,
            self.dead,
            self.habit,
            self.seed,
        )


def broken(tree: GrownTree, axes: NDArray[np.int64], left: float) -> GrownTree:
    """The tree with some of its limbs snapped off `left` from their parent's axis [m], dead since: a stub each."""
    out = np.zeros(tree.axis.max() + 1)
    from_foot = np.zeros(len(tree))
    cut = np.zeros(len(tree), bool)
    out[axes] = 1
    for i in range(1, len(tree)):
        p = tree.parent[i]
        same = tree.axis[p] == tree.axis[i]
        from_foot[i] = (from_foot[p] if same else 0.0) + float(np.linalg.norm(tree.xyz[i] - tree.xyz[p]))
        cut[i] = cut[p] or bool(out[tree.axis[i]] and (from_foot[i] > left and from_foot[p] > 0)) or bool(out[tree.axis[p]] and not same and p > 0)
    new = np.cumsum(~cut) - 1
    parent = np.where(tree.parent >= 0, new[tree.parent], -1)[~cut].astype(np.int32)
    dead = (tree.dead | np.isin(tree.axis, axes))[~cut]
    xyz, radius, segment, axis, order = (a[~cut] for a in (tree.xyz, tree.radius, tree.segment_radius, tree.axis, tree.order))
    return GrownTree(xyz, radius, segment, parent, axis, order, dead, tree.habit, tree.seed)
