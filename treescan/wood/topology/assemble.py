"""A whole `WoodGraph` from bare nodes: limbs and unions derived, what is not stated marked so."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from treescan.trees.beside import Terrain
from treescan.wood.graph import WoodGraph
from treescan.wood.topology.crotch import with_crotches
from treescan.wood.topology.limbs import label_limbs
from treescan.wood.topology.unions import find_unions


def assemble(
    xyz: ArrayLike,
    radius: ArrayLike,
    parent: ArrayLike,
    *,
    segment_radius: ArrayLike | None = None,
    radius_sd: ArrayLike | None = None,
    arc: ArrayLike | None = None,
    seen: ArrayLike | None = None,
    terrain: Terrain | None = None,
    oval: ArrayLike | None = None,
    oval_dir: ArrayLike | None = None,
) -> WoodGraph:
    """Derive limbs and unions and put the graph together.

    Parameters
    ----------
    xyz : (n, 3) float          [m, local]
    radius : (n,) float         [m]
    parent : (n,) int           -1 at the root (index 0), parents before children.
    segment_radius : (n,)       Of the segment to the parent [m]; default: the child's own radius.
    radius_sd, arc : (n,)       Default NaN, not stated. [m], [rad]
    seen : (n,) bool            Default True.
    terrain : Terrain           For the unions' height above ground.
    oval, oval_dir : (n,), (n, 3)       Longest over shortest width and the direction of the longest, both or neither; default round.
    """
    xyz = np.array(xyz, float).reshape(-1, 3)
    n = len(xyz)
    radius = np.array(radius, float)
    parent = np.array(parent, np.int32)
    segment_radius = radius.copy() if segment_radius is None else np.array(segment_radius, float)
    radius_sd = np.full(n, np.nan) if radius_sd is None else np.array(radius_sd, float)
    arc = np.full(n, np.nan) if arc is None else np.array(arc, float)
    seen = np.ones(n, bool) if seen is None else np.array(seen, bool)
    limb, limbs = label_limbs(xyz, segment_radius, parent)
    unions = find_unions(xyz, radius, radius_sd, seen, parent, segment_radius, limb, limbs, terrain)
    stated = () if oval is None else (np.array(oval, float), np.array(oval_dir, float))
    return with_crotches(WoodGraph(xyz, radius, radius_sd, arc, seen, parent, segment_radius, limb, limbs, unions, *stated))
