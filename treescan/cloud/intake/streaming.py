"""How does a file stream into memory? Chunk by chunk to local metres, whole or thinned, strays and repeats
left out and counted."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from treescan.arrays import Flags, Floats
from treescan.cloud.intake.conversion import Conversion
from treescan.cloud.intake.duplicates import copies
from treescan.cloud.intake.local_points import LocalPoints, bounds
from treescan.cloud.intake.strays import LOOK_CELL, Strays, find_strays
from treescan.cloud.opened import CHUNK, Chunk
from treescan.cloud.settings import CloudSettings
from treescan.cloud.thin import VoxelSums

SAMPLE = 100_000
"""Points looked at for rounding."""
OFF_EDGE = 0.00037
"""Coarse cells begin this far below the lowest corner: coordinates in whole millimetres or feet fall on no
edge. [m]"""
LAST_TOLD = 0.95
"""Share done that is told while the file streams; the rest is cleaning."""


@dataclass
class Tally:
    """What was left out while streaming (why, and how many points), and what the sample showed."""

    read: int = 0
    lost: int = 0
    not_numbers: int = 0
    beyond: int = 0
    unwanted: dict[str, int] = field(default_factory=dict)
    sample: list[NDArray[np.float64]] = field(default_factory=list)
    low: NDArray[np.float64] = field(default_factory=lambda: np.full(3, np.inf))
    high: NDArray[np.float64] = field(default_factory=lambda: np.full(3, -np.inf))


@dataclass(frozen=True)
class Window:
    """A square in plan, local metres: only what lies within `reach` of its middle along x and y is kept."""

    x: float
    y: float
    reach: float

    def holds(self, xyz: Floats) -> Flags:
        """True for points (n, 3) in it, (n,)."""
        return (np.abs(xyz[:, 0] - self.x) <= self.reach) & (np.abs(xyz[:, 1] - self.y) <= self.reach)


@dataclass(frozen=True)
class Stream:
    """A file on its way in.

    Attributes
    ----------
    chunks : iterator of Chunk
    max_points : int                Never more than this; 0 = not known.
    conversion : Conversion         From file coordinates to metres,
    origin : (3,) float             and from there to local ones. [m]
    told : callable                 Called with the share done, in [0, 1].
    window : Window or None         What lies outside is left out.
    refuse : callable               Called with the points kept so far; raises where they are too many.
    """

    chunks: Iterator[Chunk]
    max_points: int
    conversion: Conversion
    origin: Floats
    told: Callable[[float], None]
    window: Window | None = None
    refuse: Callable[[int], None] = lambda points: None


@dataclass(frozen=True)
class Kept:
    """What of a file was kept.

    Attributes
    ----------
    xyz : (n, 3) float          [m, local]
    columns : mapping           Name to (n,).
    strays : Strays             And the coarse cells they were found by.
    repeats : int               Exact duplicates left out.
    tally : Tally
    """

    xyz: Floats
    columns: Mapping[str, NDArray]
    strays: Strays
    repeats: int
    tally: Tally


def keep_all(stream: Stream, settings: CloudSettings) -> Kept:
    """Every point: kept in memory, then strays and exact duplicates taken out."""
    points, tally = LocalPoints(stream.max_points), Tally()
    for chunk in stream.chunks:
        local = points.space(len(chunk.xyz))
        finite = stream.conversion.to_local(chunk, stream.origin, local)
        kept = points.keep(_wanted(chunk, local, finite, stream.window, tally), chunk.columns)
        stream.refuse(points.used)
        _look(kept, chunk, tally)
        stream.told(_share(tally, stream))
    strays = find_strays(_counted(points.xyz, tally.low), settings.stray_points, settings.stray_gap)
    later, first = copies(points.xyz)
    points.settle(later, first)
    out = np.zeros(points.used, np.bool_)
    out[later] = True
    repeats = len(later)
    if strays.count:
        gone = strays.among(points.xyz)
        repeats = int(np.count_nonzero(out & ~gone))
        out |= gone
    points.drop(out)
    return Kept(*points.finished(), strays, repeats, tally)


def keep_centroids(stream: Stream, settings: CloudSettings, cell: float) -> Kept:
    """One centroid a voxel of edge `cell` [m], so that memory follows voxels; a duplicate adds weight to its
    voxel and nothing else."""
    voxels, cells, tally = VoxelSums(cell, stream.origin), VoxelSums(LOOK_CELL, stream.origin), Tally()
    for chunk in stream.chunks:
        local = np.empty_like(chunk.xyz)
        finite = stream.conversion.to_local(chunk, stream.origin, local)
        wanted = _wanted(chunk, local, finite, stream.window, tally)
        every = bool(wanted.all())
        local = local if every else local[wanted]
        voxels.add(local, chunk.columns if every else {k: v[wanted] for k, v in chunk.columns.items()})
        cells.add(local)
        _look(local, chunk, tally)
        stream.told(_share(tally, stream))
    strays = find_strays(cells, settings.stray_points, settings.stray_gap)
    xyz, columns = voxels.centroids, voxels.columns | {"points": voxels.counts.copy()}
    if strays.count:
        stay = ~strays.among(xyz)
        xyz, columns = xyz[stay], {k: v[stay] for k, v in columns.items()}
    return Kept(xyz, columns, strays, 0, tally)


def _share(tally: Tally, stream: Stream) -> float:
    """Share of the file that has come in; half where its length is not known."""
    return min(LAST_TOLD, LAST_TOLD * tally.read / stream.max_points) if stream.max_points else 0.5


def _wanted(chunk: Chunk, local: Floats, finite: Flags, window: Window | None, tally: Tally) -> Flags:
    """Points to keep of a chunk, whose local places are given; the others are counted by why they go."""
    tally.read += len(finite)
    tally.lost += chunk.lost
    tally.not_numbers += len(finite) - int(np.count_nonzero(finite))
    if window is not None:
        inside = finite & window.holds(local)
        tally.beyond += int(np.count_nonzero(finite)) - int(np.count_nonzero(inside))
        finite = inside
    wanted = finite
    for why, mask in chunk.unwanted.items():
        if n := int(np.count_nonzero(mask & finite)):
            tally.unwanted[why] = tally.unwanted.get(why, 0) + n
            wanted = wanted & ~mask
    return wanted


def _counted(xyz: Floats, low: Floats) -> VoxelSums:
    """Points in coarse cells cut from their lowest corner (3,), so that where the cloud lies on the map
    changes nothing."""
    cells = VoxelSums(LOOK_CELL, OFF_EDGE - np.where(np.isfinite(low), low, 0.0))
    for begun in range(0, len(xyz), CHUNK):
        cells.add(xyz[begun : begun + CHUNK])
    return cells


def _look(local: Floats, chunk: Chunk, tally: Tally) -> None:
    """Bounds of the points, and a few raw ones for the rounding test."""
    had = sum(map(len, tally.sample))
    if had < SAMPLE:
        tally.sample.append(finite_rows(chunk.xyz[: SAMPLE - had]))
    if len(local):
        low, high = bounds(local)
        tally.low, tally.high = np.minimum(tally.low, low), np.maximum(tally.high, high)


def finite_rows(xyz: Floats) -> Floats:
    """Rows without NaN or infinity."""
    good = np.isfinite(xyz).all(axis=1)
    return xyz if good.all() else xyz[good]
