"""Is a spot line-like, sheet-like or a cloud? The scatter of the voxels within about a decimetre."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit, prange

from treescan.arrays import Floats, Ints32
from treescan.trees.material.material_voxels import voxelise
from treescan.trees.material.neighbour_graph import nearest

CLOUD, THIN = 3.0, 3.0
"""What a path through a cloud of leaves, or through single twigs, costs more than one along a stem."""
TWIG = 0.75
"""Spread of a twig, in voxels: thinner spots are dear. [-]"""
FAR_CELL, FAR_NEIGHBOURS = 2.5, 10
"""Voxels of the wider surroundings, in those of the closer ones, and how many neighbours are looked at."""


@dataclass(frozen=True)
class LocalShape:
    """Shape of the surroundings of every voxel, all (n,).

    Attributes
    ----------
    line, sheet, cloud : float  Linearity, planarity and scatter; they add to 1.
    thick : float               Spread across the longest direction: about 0.7 radius of a limb that is
                                thinner than the surroundings. [m]
    far_line, far_cloud : float Linearity and scatter over about a quarter of a metre, where the noise of the
    scan matters less.
    """

    line: Floats
    sheet: Floats
    cloud: Floats
    thick: Floats
    far_line: Floats
    far_cloud: Floats

    def drag(self, cell: float) -> Floats:
        """Cost factor of a path through: about 1 along limbs and stems, up to 5 in twigs and leaves."""
        thin = np.exp(-0.5 * (self.thick / (TWIG * cell)) ** 2)
        return 1.0 + CLOUD * self.cloud + THIN * thin


def local_shape(xyz: Floats, near: Ints32, cell: float) -> LocalShape:
    """Shape over the neighbours of every voxel and every second neighbour of theirs, and the same again on
    2.5 times coarser voxels.

    Parameters
    ----------
    xyz : (n, 3) float, near : (n, k) int32     Voxel centres [m] and their nearest neighbours, own voxel
                                                first.
    cell : float                                Voxel edge. [m]
    """
    value = _wide(xyz, near)
    line, sheet, cloud = _shares(value)
    coarse = voxelise(xyz, FAR_CELL * cell)
    far_line, _, far_cloud = _shares(_wide(coarse.centre, nearest(coarse.centre, FAR_NEIGHBOURS)[0]))
    return LocalShape(
        line, sheet, cloud, np.sqrt(value[:, 1]), far_line[coarse.of_point], far_cloud[coarse.of_point]
    )


def _shares(value: Floats) -> tuple[Floats, Floats, Floats]:
    """Linearity, planarity and scatter from eigenvalues (n, 3), largest first."""
    total = np.maximum(value.sum(axis=1), 1e-12)
    return (
        (value[:, 0] - value[:, 1]) / total,
        2 * (value[:, 1] - value[:, 2]) / total,
        3 * value[:, 2] / total,
    )


@njit(cache=True, parallel=True)
def _wide(xyz, near):  # type: ignore[no-untyped-def]
    n, k = near.shape
    value = np.zeros((n, 3))
    for i in prange(n):
        m = np.zeros(3)
        s = np.zeros((3, 3))
        d = np.zeros(3)
        count = 0
        for j in range(k):
            q = near[i, j]
            for e in range(0, k, 2):
                w = near[q, e]
                count += 1
                for a in range(3):
                    d[a] = xyz[w, a] - xyz[i, a]
                    m[a] += d[a]
                for a in range(3):
                    for b in range(a, 3):
                        s[a, b] += d[a] * d[b]
        for a in range(3):
            m[a] /= count
        for a in range(3):
            for b in range(a, 3):
                s[a, b] = s[a, b] / count - m[a] * m[b]
                s[b, a] = s[a, b]
        w3 = np.linalg.eigvalsh(s)
        for a in range(3):
            value[i, a] = max(w3[2 - a], 0.0)
    return value


@njit(cache=True, parallel=True)
def shape_of(xyz, near):  # type: ignore[no-untyped-def]
    """Eigenvalues (n, 3), largest first [m2], and the directions (n, 3) of the smallest and the largest, of
    each neighbourhood."""
    n, k = near.shape
    value = np.zeros((n, 3))
    normal = np.zeros((n, 3))
    along = np.zeros((n, 3))
    for i in prange(n):
        m = np.zeros(3)
        for j in range(k):
            for a in range(3):
                m[a] += xyz[near[i, j], a]
        m /= k
        s = np.zeros((3, 3))
        for j in range(k):
            for a in range(3):
                da = xyz[near[i, j], a] - m[a]
                for b in range(a, 3):
                    s[a, b] += da * (xyz[near[i, j], b] - m[b])
        for a in range(3):
            for b in range(a):
                s[a, b] = s[b, a]
        w, v = np.linalg.eigh(s / k)
        for a in range(3):
            value[i, a] = max(w[2 - a], 0.0)
            normal[i, a] = v[a, 0]
            along[i, a] = v[a, 2]
    return value, normal, along
