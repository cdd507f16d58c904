"""How dense are twigs and leaves? Projected area per volume, from the small voxels they occupy."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from treescan.trees.beside import Foliage
from treescan.trees.material.material_voxels import voxelise


def foliage_density(leaf: NDArray[np.float64], fine: float, cell: float) -> Foliage:
    """Density of twigs and leaves on voxels.

    Parameters
    ----------
    leaf : (n, 3) float     Points of twigs and leaves. [m, local]
    fine : float            Edge of the small voxels that are counted; about the spacing of the scan. [m]
    cell : float            Edge of the voxels of the result. [m]

    Notes
    -----
    A randomly turned surface of area A passes through 1.5 A / f^2 voxels of edge f (the mean of |nx| + |ny| +
    |nz| is 1.5), and its projected area in a random direction is A / 2. So N occupied small voxels stand for
    a projected area of N f^2 / 3 (derived).
    Limits: what no beam reached is missing (a lower bound inside dense crowns and in sparse scans); twigs
    thinner than f are counted as wide as f / 1.5 or so (too much); several leaves in one small voxel count
    once (too little).
    """
    if len(leaf) == 0:
        return Foliage.none()
    small = voxelise(leaf, fine).centre
    corner = np.floor(small.min(axis=0) / cell) * cell
    i = ((small - corner) / cell).astype(np.int64)
    shape = i.max(axis=0) + 1
    count = np.bincount(
        (i[:, 0] * shape[1] + i[:, 1]) * shape[2] + i[:, 2], minlength=int(shape.prod())
    ).reshape(shape)
    return Foliage((count * fine**2 / 3.0 / cell**3).astype(np.float32), corner, cell)
