"""Where does every tree begin to grow, and how dear is its way? The sources of the shortest paths, and what a
tree's size makes of their cost."""

from __future__ import annotations

import numpy as np

from treescan.arrays import Floats
from treescan.trees.material.shortest_paths import Sources
from treescan.trees.segmentation.stems import Stem

USUAL_DBH = 0.3
"""Stem diameter at which growth costs are taken as they are, and that of stems whose diameter was not seen.
[m]"""
LEAST_DBH, MOST_DBH = 0.05, 2.0
"""Diameters beyond these change the cost no more. [m]"""
DBH_POWER = 2 / 3
"""Costs are divided by the dbh to this power."""
REST_FACTOR = 1.5
"""Cost factor of what stands on the ground without a stem."""
UNSEEN_RADIUS = 0.15
"""Of a stem without a dbh. [m]"""
AXIS_TOP, SOURCE_TOP = 3.0, 2.0
"""A stem's axis is believed up to the first height, and its voxels are sources up to the second. [m]"""
ON_BARK = 0.03
"""Sources lie within this of the bark, plus half a voxel. [m]"""
GROUND_TOP, OFF_STEMS = 0.3, 0.35
"""Lower voxels, farther than this from all stems, are sources of what stands on the ground. [m]"""


def cost_factor(trees: tuple[tuple[Stem, ...], ...]) -> Floats:
    """Cost factor of each tree and, last, of the rest: thick stems carry wide crowns, the way is scaled by
    dbh to the power 2/3."""
    dbh = [np.sqrt(sum(s.dbh**2 if s.dbh == s.dbh else USUAL_DBH**2 for s in stems)) for stems in trees]
    return np.append((USUAL_DBH / np.clip(dbh, LEAST_DBH, MOST_DBH)) ** DBH_POWER, REST_FACTOR)


def sources_of(xyz: Floats, above: Floats, trees: tuple[tuple[Stem, ...], ...], cell: float) -> Sources:
    """Voxels where paths start: 0 is spent at a tree's foot, the height higher up. Label t is what stands on
    the ground without a stem.

    Parameters
    ----------
    xyz, above      Voxel centres (m, 3) and heights above the ground (m,). [m]
    trees           Stems of each of t trees.
    cell : float    Voxel edge. [m]
    """
    voxel, whose, spent = [], [], []
    by_foot = np.full(len(xyz), np.inf)
    for k, stems in enumerate(trees):
        for s in stems:
            r = s.dbh / 2 if s.dbh == s.dbh else UNSEEN_RADIUS
            off = np.hypot(*(xyz[:, :2] - s.axis_at(np.clip(above, 0, AXIS_TOP))).T)
            by_foot = np.minimum(by_foot, off - r)
            near = np.nonzero((off < r + 0.5 * cell + ON_BARK) & (above < SOURCE_TOP))[0]
            if len(near) == 0:
                near = np.array([np.argmin(np.linalg.norm(xyz - s.foot, axis=1))])
            voxel.append(near)
            whose.append(np.full(len(near), k))
            spent.append(np.maximum(above[near], 0.0))
    ground = np.nonzero((above < GROUND_TOP) & (by_foot > OFF_STEMS))[0]
    voxel.append(ground)
    whose.append(np.full(len(ground), len(trees)))
    spent.append(np.full(len(ground), GROUND_TOP))
    return Sources(
        np.concatenate(voxel).astype(np.int32), np.concatenate(whose).astype(np.int32), np.concatenate(spent)
    )
