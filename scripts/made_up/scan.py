"""What a scanner brings home: points, and the truth of each."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from made_up.meshes import PARTS
from treescan.cloud.point_cloud import LOCAL, Frame, PointCloud

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Scan:
    """What the scanner brought home, with the truth of every point.

    Attributes
    ----------
    xyz : (n, 3) float      As registered. [m]
    part : (n,) uint8       Index into `PARTS`.
    node : (n,) int32       Node of the grown tree (of its own tree for neighbours), -1 for other things.
    station : (n,) uint8    Number of the position, from 1.
    intensity : (n,) uint16
    return_number : (n,) uint8
    spread : (n,) float32   How far apart along the beam the surfaces were that made the range: > 0 only where the footprint straddled an edge. [m]
    """

    xyz: Floats
    part: NDArray[np.uint8]
    node: NDArray[np.int32]
    station: NDArray[np.uint8]
    intensity: NDArray[np.uint16]
    return_number: NDArray[np.uint8]
    spread: NDArray[np.float32]

    def __len__(self) -> int:
        return len(self.xyz)

    def where(self, mask: NDArray) -> Scan:
        """The points a mask or index picks."""
        return Scan(*(getattr(self, k)[mask] for k in ("xyz", "part", "node", "station", "intensity", "return_number", "spread")))

    def of(self, *labels: str) -> NDArray[np.bool_]:
        """True for points of these parts, (n,)."""
        return np.isin(self.part, [PARTS.index(x) for x in labels])

    def cloud(self, frame: Frame = LOCAL, source: str = "made-up scan") -> PointCloud:
        """What a user would get: points, intensity, position number; no labels."""
        columns = {"intensity": self.intensity, "scan": self.station.astype(np.uint16), "return_number": self.return_number}
        return PointCloud(self.xyz, frame, columns, source)


def one_per_cell(scan_: Scan, cell: NDArray | float, seed: int = 0) -> NDArray[np.int64]:
    """Indices of one real point per cube of edge `cell` [m] (a number, or one per point): thinning that keeps the noise."""
    rng = np.random.default_rng([seed, 17])
    order = rng.permutation(len(scan_))
    size = np.broadcast_to(np.asarray(cell, float), (len(scan_),))[order]
    key = np.floor((scan_.xyz[order] - scan_.xyz.min(axis=0)) / size[:, None]).astype(np.int64)
    tag = (np.round(size * 10000).astype(np.int64) << 48) ^ (key[:, 0] << 32) ^ (key[:, 1] << 16) ^ key[:, 2]
    _, first = np.unique(tag, return_index=True)
    return np.sort(order[first])
