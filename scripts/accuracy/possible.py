"""Could this tree stand? Limbs grown by rules may pass through each other, which wood does not do."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from accuracy.compare import samples
from treescan.wood.graph import WoodGraph

THICK = 0.05
"""Limbs from this diameter are looked at [m]."""
DEEP = 0.6
"""Two limbs pass through each other where their axes come nearer than this share of the sum of their radii: touching ones flatten, no more."""


def limbs_through_limbs(truth: WoodGraph) -> int:
    """Pairs of limbs that pass through each other; near the union from which one leaves the other, or both leave a third, they may share wood."""
    s = samples(truth, 0.05)
    pick = (2 * s.radius >= THICK) & ~s.inside
    if pick.sum() < 2:
        return 0
    xyz, radius, limb = s.xyz[pick], s.radius[pick], truth.limb[s.node[pick]]
    union = np.array([truth.parent[nodes[0]] if k else 0 for k, nodes in enumerate(truth.limbs.nodes)])[limb]
    close = np.linalg.norm(xyz - truth.xyz[union], axis=1) < 4 * truth.segment_radius[union] + 0.3
    a, b = cKDTree(xyz).query_pairs(2 * radius.max(), output_type="ndarray").T
    parent = truth.limbs.parent
    kin = (close[a] & (parent[limb[a]] == limb[b])) | (close[b] & (parent[limb[b]] == limb[a])) | (close[a] & close[b] & (parent[limb[a]] == parent[limb[b]]))
    through = (limb[a] != limb[b]) & ~kin & (np.linalg.norm(xyz[a] - xyz[b], axis=1) < DEEP * (radius[a] + radius[b]))
    return len(np.unique(np.sort(np.column_stack([limb[a][through], limb[b][through]]), axis=1), axis=0))
