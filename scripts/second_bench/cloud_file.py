"""How does a scan reach the reader? Cropped, thinned, cut out, in metres or feet, as LAZ."""

from __future__ import annotations

from pathlib import Path

import laspy
import numpy as np
import pyproj

from second_bench.instruments import Scan
from second_bench.street import IVY, LEAF, LIANA, WOOD

FOOT = 1200 / 3937
"""US survey foot. [m]"""
MAP_IN_FEET = "EPSG:2263"
MOST_POINTS = 2_500_000


def delivered(
    scan: Scan, rng: np.random.Generator, radius: float, thin: float = 0.0, cut_out: bool = False
) -> Scan:
    """The points that are handed over: near the tree, or the tree alone; one a voxel of edge `thin` [m];
    not too many.
    """
    keep = np.hypot(scan.xyz[:, 0], scan.xyz[:, 1]) < radius
    if cut_out:
        keep &= np.isin(scan.kind, (WOOD, LEAF, IVY, LIANA))
    scan = scan.taken(np.flatnonzero(keep))
    scan = scan.taken(rng.permutation(len(scan.xyz)))
    if thin > 0:
        scan = scan.taken(one_a_voxel(scan.xyz, thin))
    return scan.taken(slice(0, MOST_POINTS))


def one_a_voxel(xyz, edge):
    """Indices of the first point in each voxel."""
    cell = np.floor((xyz - xyz.min(axis=0)) / edge).astype(np.int64)
    size = cell.max(axis=0) + 1
    _, first = np.unique((cell[:, 0] * size[1] + cell[:, 1]) * size[2] + cell[:, 2], return_index=True)
    return first


def write(scan: Scan, path: Path, origin, feet: bool = False, sources: bool = False) -> None:
    """LAZ with local metres moved to `origin` (3,) [m]; in feet its map is named, in metres not."""
    unit = FOOT if feet else 1.0
    header = laspy.LasHeader(point_format=1, version="1.4")
    if feet:
        header = laspy.LasHeader(point_format=6, version="1.4")
        header.add_crs(pyproj.CRS(MAP_IN_FEET))
    header.scales = [0.0005] * 3
    header.offsets = np.floor(np.asarray(origin) / unit)
    las = laspy.LasData(header)
    las.x, las.y, las.z = ((scan.xyz + origin) / unit).T
    las.return_number = np.clip(scan.number, 1, 5).astype(np.uint8)
    las.number_of_returns = np.clip(scan.number, 1, 5).astype(np.uint8)
    if sources:
        las.point_source_id = scan.source.astype(np.uint16)
    las.write(str(path))
