"""What happens to a file on its way in? Sniffed, streamed, brought to local metres, cleaned, and everything odd written down."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import chain
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from treescan.cloud.formats.e57 import open_e57
from treescan.cloud.formats.las import open_las
from treescan.cloud.formats.pcd import open_pcd
from treescan.cloud.formats.ply import open_ply
from treescan.cloud.formats.sniff import checked_path, extension_note, sniff
from treescan.cloud.intake.conversion import FARTHEST, Conversion, decide
from treescan.cloud.intake.duplicates import repeated
from treescan.cloud.intake.intake_notes import Tally, bounds_note, doubts, left_out_notes
from treescan.cloud.intake.local_points import LocalPoints, bounds
from treescan.cloud.intake.rounding import rounding_step
from treescan.cloud.intake.strays import LOOK_CELL, Strays, find_strays
from treescan.cloud.opened import Chunk, OpenedCloud
from treescan.cloud.point_cloud import PointCloud
from treescan.cloud.settings import CloudSettings
from treescan.cloud.text_formats.text import open_text
from treescan.cloud.thin import VoxelSums
from treescan.errors import BadInput
from treescan.progress import Progress, quiet

OPENERS: dict[str, Callable[[Path], OpenedCloud]] = {
    "las": open_las,
    "ply": open_ply,
    "pcd": open_pcd,
    "e57": open_e57,
    "text": open_text,
}
"""One module a format."""

SAMPLE = 100_000
"""Points looked at for rounding."""

FEW = 10_000
"""Points of the first chunk from which unit, map and a first origin are taken."""

NEAR = 1000.0
"""A cloud within this distance of zero keeps its own coordinates as local ones. [m]"""

ORIGIN_STEP = 100.0
"""Local origins are multiples of this. [m]"""


@dataclass(frozen=True)
class Intake:
    """A cloud and what was learned on the way.

    Attributes
    ----------
    cloud : PointCloud
    opened : OpenedCloud
    file : Path
    read : int                      Points in the file.
    left_out : mapping              Why, to number of points: "withheld", "classed_as_noise", "invalid_by_scanner",
                                    "impossible_coordinates", "exact_duplicates", "stray_points".
    cells : VoxelSums                  Coarse counts of all points kept or stray.
    stray : (m,) bool               By row of `cells`.
    rounding : (3,) float           Step of the coordinates, 0 = none seen. [m]
    """

    cloud: PointCloud
    opened: OpenedCloud
    file: Path
    read: int
    left_out: Mapping[str, int]
    cells: VoxelSums
    stray: NDArray[np.bool_]
    rounding: NDArray[np.float64]


def take_in(
    path: str | Path,
    *,
    thin: float | None = None,
    unit: str | None = None,
    settings: CloudSettings | None = None,
    progress: Progress = quiet,
) -> Intake:
    """Read any supported file; see `treescan.cloud.read.read_cloud` for the promises."""
    settings = settings or CloudSettings()
    if thin is not None and not thin > 0:
        raise BadInput(f"the thinning cell is {thin!r}, it has to be a length above 0 m")
    file = checked_path(path)
    kind = sniff(file)
    opened = OPENERS[kind](file)
    chunks = iter(opened.chunks())
    begun, own = _until_usable(chunks)
    if not len(own):
        raise BadInput("holds no points with usable coordinates", file=str(file), remedy="export the cloud again")
    conversion = decide(opened.reference, own, str(file), unit)
    origin = _first_guess(own, opened, conversion)
    if not (np.abs(origin) < FARTHEST).all():
        raise BadInput(
            f"has coordinates around {np.abs(origin).max():.2g} m, which lie on no map: its header is damaged",
            file=str(file),
            remedy="export the cloud again",
        )
    cells, tally = VoxelSums(LOOK_CELL, origin), Tally()
    everything = chain(begun, chunks)
    if thin is None:
        xyz, columns, strays, repeats = _whole(everything, opened, conversion, origin, cells, tally, settings, progress)
    else:
        xyz, columns, strays = _thinned(everything, opened, conversion, origin, cells, tally, settings, thin, progress)
        repeats = 0
    if not len(xyz):
        reasons = ", ".join(f"{n} {r.replace('_', ' ')}" for r, n in tally.unwanted.items() if n) or "all have impossible coordinates"
        raise BadInput(f"holds no points that can be used ({reasons})", file=str(file), remedy="export the cloud without that filter or flag")
    if tally.read > 1 and len(xyz) == 1 and repeats == tally.read - 1:
        raise BadInput(f"has all its {tally.read} points at one and the same place", file=str(file), remedy="export the cloud again")
    frame = replace(conversion.frame, origin=_origin_of(*(b + origin for b in bounds(xyz))))
    _move(xyz, origin - frame.origin)
    left_out = dict(tally.unwanted) | {
        "impossible_coordinates": tally.not_numbers, "exact_duplicates": repeats, "stray_points": strays.count
    }
    step = rounding_step(np.concatenate(tally.sample)) * conversion.unit if tally.sample and not conversion.projected_from else np.zeros(3)
    notes = (
        extension_note(file, kind), *opened.notes, *conversion.notes, *left_out_notes(tally, repeats, strays, origin),
        *doubts(opened, conversion, tally, strays, step, settings), bounds_note(opened, conversion, tally, origin),
    )  # fmt: skip
    scanners = _scanners(opened, conversion, frame.origin)
    cloud = PointCloud(xyz, frame, columns, str(file), tuple(n for n in notes if n is not None), scanners)
    progress("reading", 1.0)
    return Intake(cloud, opened, file, tally.read, {k: v for k, v in left_out.items() if v}, strays.cells, strays.stray, step)


def _whole(
    chunks: chain[Chunk], opened: OpenedCloud, conversion: Conversion, origin: NDArray[np.float64], cells: VoxelSums, tally: Tally,
    settings: CloudSettings, progress: Progress,
) -> tuple[NDArray[np.float64], dict[str, NDArray], Strays, int]:  # fmt: skip
    """Every point: kept in memory, then strays and exact duplicates taken out."""
    points = LocalPoints(opened.max_points)
    for chunk in chunks:
        finite = conversion.to_local(chunk, origin, points.space(len(chunk.xyz)))
        kept = points.keep(_wanted(chunk, finite, tally), chunk.columns)
        _look(kept, chunk, cells, tally)
        progress("reading", min(0.95, 0.95 * tally.read / opened.max_points) if opened.max_points else 0.5)
    strays = find_strays(cells, settings.stray_points, settings.stray_gap)
    out = repeated(points.xyz)
    repeats = int(np.count_nonzero(out))
    if strays.count:
        gone = strays.among(points.xyz)
        repeats = int(np.count_nonzero(out & ~gone))
        out |= gone
    points.drop(out)
    return *points.finished(), strays, repeats


def _thinned(
    chunks: chain[Chunk], opened: OpenedCloud, conversion: Conversion, origin: NDArray[np.float64], cells: VoxelSums, tally: Tally,
    settings: CloudSettings, cell: float, progress: Progress,
) -> tuple[NDArray[np.float64], dict[str, NDArray], Strays]:  # fmt: skip
    """One centroid a voxel, so that memory follows voxels; a duplicate adds weight to its voxel and nothing else."""
    voxels = VoxelSums(cell, origin)
    for chunk in chunks:
        local = np.empty_like(chunk.xyz)
        wanted = _wanted(chunk, conversion.to_local(chunk, origin, local), tally)
        every = bool(wanted.all())
        local = local if every else local[wanted]
        voxels.add(local, chunk.columns if every else {k: v[wanted] for k, v in chunk.columns.items()})
        _look(local, chunk, cells, tally)
        progress("reading", min(0.95, 0.95 * tally.read / opened.max_points) if opened.max_points else 0.5)
    strays = find_strays(cells, settings.stray_points, settings.stray_gap)
    xyz, columns = voxels.centroids, voxels.columns | {"points": voxels.counts.copy()}
    if strays.count:
        stay = ~strays.among(xyz)
        xyz, columns = xyz[stay], {k: v[stay] for k, v in columns.items()}
    return xyz, columns, strays


def _wanted(chunk: Chunk, finite: NDArray[np.bool_], tally: Tally) -> NDArray[np.bool_]:
    """Points to keep of a chunk; the others are counted by reason."""
    tally.read += len(finite)
    tally.lost += chunk.lost
    tally.not_numbers += len(finite) - int(np.count_nonzero(finite))
    wanted = finite
    for reason, mask in chunk.unwanted.items():
        if n := int(np.count_nonzero(mask & finite)):
            tally.unwanted[reason] = tally.unwanted.get(reason, 0) + n
            wanted = wanted & ~mask
    return wanted


def _look(local: NDArray[np.float64], chunk: Chunk, cells: VoxelSums, tally: Tally) -> None:
    """Count points into coarse cells, and keep a few raw ones for the rounding test."""
    cells.add(local)
    had = sum(map(len, tally.sample))
    if had < SAMPLE:
        tally.sample.append(_finite(chunk.xyz[: SAMPLE - had]))
    if len(local):
        low, high = bounds(local)
        tally.low, tally.high = np.minimum(tally.low, low), np.maximum(tally.high, high)


def _until_usable(chunks: Iterator[Chunk]) -> tuple[list[Chunk], NDArray[np.float64]]:
    """The chunks up to the first that has a point with numbers in it, and some of those points, file coordinates (n, 3)."""
    begun = []
    for chunk in chunks:
        begun.append(chunk)
        for every in (max(1, len(chunk.xyz) // FEW), 1):
            few = _finite(chunk.xyz[::every])
            if len(few):
                return begun, few + chunk.shift
    return begun, np.zeros((0, 3))


def _finite(xyz: NDArray[np.float64]) -> NDArray[np.float64]:
    """Rows without NaN or infinity."""
    good = np.isfinite(xyz).all(axis=1)
    return xyz if good.all() else xyz[good]


def _first_guess(own: NDArray[np.float64], opened: OpenedCloud, conversion: Conversion) -> NDArray[np.float64]:
    """A local origin to stream with, (3,): from the header's bounds where they hold the first points, else near those."""
    low, high = opened.stated_low, opened.stated_high
    if low is not None and high is not None and not conversion.projected_from and ((own >= low - 1) & (own <= high + 1)).all():
        return _origin_of(low * conversion.unit, high * conversion.unit)
    out = np.empty_like(own)
    conversion.to_local(Chunk(own, np.zeros(3)), np.zeros(3), out)
    middle = np.median(out, axis=0)
    return _origin_of(middle, middle)


def _origin_of(low: NDArray[np.float64], high: NDArray[np.float64]) -> NDArray[np.float64]:
    """Zero along an axis where the cloud is near zero, else the multiple of `ORIGIN_STEP` just below the cloud, (3,). [m]"""
    near = np.maximum(np.abs(low), np.abs(high)) <= NEAR
    return np.where(near, 0.0, np.floor(low / ORIGIN_STEP) * ORIGIN_STEP)


def _move(xyz: NDArray[np.float64], by: NDArray[np.float64]) -> None:
    """Shift all points in place."""
    if by.any():
        xyz += by


def _scanners(opened: OpenedCloud, conversion: Conversion, origin: NDArray[np.float64]) -> NDArray[np.float64]:
    """Where the scanner stood, local metres; none where the file does not say."""
    if not len(opened.scanners):
        return np.zeros((0, 3))
    out = np.empty_like(opened.scanners)
    conversion.to_local(Chunk(opened.scanners, np.zeros(3)), origin, out)
    return out
