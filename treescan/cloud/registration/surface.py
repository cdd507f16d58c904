"""What do scans hold to be matched by? Thinned surface points with their normals, and which side of them is
outside."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from treescan.cloud.point_cloud import PointCloud
from treescan.cloud.thin import thin
from treescan.errors import RunFailed

Floats = NDArray[np.float64]

_NEIGHBOURS = 24
_CHUNK = 50_000
_GROUND_CELL = 1.0
_ABOVE_GROUND = 0.5


@dataclass(frozen=True)
class Surface:
    """Points of a scan, thinned to one a cell.

    Attributes
    ----------
    xyz : (n, 3) float      [m]
    normal : (n, 3) float   Unit normal of the neighbourhood, of either sign.
    outside : (n, 3) float  From the middle of the neighbourhood to the point: on a limb it leads out of the
                            wood. [m]
    raised : (n,) bool      Stands off the lowest points around: the tree, not its ground.
    near : object           The neighbour search of open3d over `xyz`.
    cell : float            [m]
    """

    xyz: Floats
    normal: Floats
    outside: Floats
    raised: NDArray[np.bool_]
    near: Any
    cell: float

    def closest(self, xyz: Floats, reach: float) -> tuple[NDArray[np.int64], Floats]:
        """Row of the closest point of this surface within reach, -1 where none, and its distance; (m,) each.
        [m]"""
        found, squared, _ = self.near.hybrid_search(np.ascontiguousarray(xyz), reach, 1)
        return found.numpy()[:, 0].astype(np.int64), np.sqrt(squared.numpy()[:, 0])


def surface_of(xyz: Floats, cell: float) -> Surface:
    """Thin points (n, 3) to a cell [m] and find their normals."""
    points = np.array(thin(PointCloud(xyz), cell).xyz)
    near = _neighbour_search(points, 3 * cell)
    normal, outside = np.empty_like(points), np.empty_like(points)
    for start in range(0, len(points), _CHUNK):
        part = slice(start, start + _CHUNK)
        found, _, count = near.hybrid_search(points[part], 3 * cell, _NEIGHBOURS)
        normal[part], outside[part] = _normals(points, points[part], found.numpy(), count.numpy())
    near.hybrid_index(20 * cell)
    return Surface(points, normal, outside, raised(points), near, cell)


def raised(xyz: Floats) -> NDArray[np.bool_]:
    """Points more than half a metre over the lowest one in their square metre or those beside it, (n,)."""
    if not len(xyz):
        return np.zeros(0, bool)
    ij = np.floor((xyz[:, :2] - xyz[:, :2].min(axis=0)) / _GROUND_CELL).astype(np.int64) + 1
    cells, row = np.unique(ij, axis=0, return_inverse=True)
    row = row.ravel()
    lowest = np.full(len(cells), np.inf)
    np.minimum.at(lowest, row, xyz[:, 2])
    wide = int(cells[:, 1].max()) + 2
    key = cells[:, 0] * wide + cells[:, 1]
    floor = lowest.copy()
    for step in (-wide - 1, -wide, -wide + 1, -1, 1, wide - 1, wide, wide + 1):
        at = np.minimum(np.searchsorted(key, key + step), len(key) - 1)
        floor = np.minimum(floor, np.where(key[at] == key + step, lowest[at], np.inf))
    return xyz[:, 2] > floor[row] + _ABOVE_GROUND


def _normals(points: Floats, own: Floats, found: NDArray, count: NDArray) -> tuple[Floats, Floats]:
    """Normal and way out at points (m, 3) from their neighbours' rows (m, k)."""
    there = np.arange(found.shape[1]) < count[:, None]
    offset = np.where(there[..., None], points[np.where(there, found, 0)] - own[:, None], 0.0)
    n = np.maximum(count, 1)[:, None]
    mean = offset.sum(axis=1) / n
    spread = np.where(there[..., None], offset - mean[:, None], 0.0)
    _, axes = np.linalg.eigh(np.einsum("mki,mkj->mij", spread, spread))
    return axes[:, :, 0], -mean


def _neighbour_search(points: Floats, reach: float) -> Any:
    """open3d's neighbour search; one sentence on what to install where it does not load."""
    try:
        import open3d
    except (ImportError, OSError) as error:
        raise RunFailed(
            f"several scans cannot be joined because open3d does not load ({error})",
            remedy="install its system libraries: sudo apt-get install libusb-1.0-0 libegl1 libgl1 libx11-6",
        ) from error
    search = open3d.core.nns.NearestNeighborSearch(open3d.core.Tensor.from_numpy(points), open3d.core.int32)
    search.hybrid_index(reach)
    return search
