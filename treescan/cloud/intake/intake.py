"""What happens to a file on its way in? Sniffed, streamed, brought to local metres, cleaned, and everything
odd written down."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import partial
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
from treescan.cloud.intake.intake_notes import bounds_note, doubts, left_out_notes
from treescan.cloud.intake.local_points import bounds
from treescan.cloud.intake.rounding import rounding_step
from treescan.cloud.intake.streaming import Kept, Stream, Tally, Window, finite_rows, keep_all, keep_centroids
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

FEW = 10_000
"""Points of the first chunk from which unit, map and a first origin are taken."""

NEAR = 1000.0
"""A cloud within this distance of zero keeps its own coordinates as local ones. [m]"""

ORIGIN_STEP = 100.0
"""Local origins are multiples of this. [m]"""


NO_LIMIT = 1 << 62
"""More points than any file holds."""


@dataclass(frozen=True)
class Intake:
    """A cloud and what was learned on the way.

    Attributes
    ----------
    cloud : PointCloud
    opened : OpenedCloud
    file : Path
    read : int                      Points in the file.
    left_out : mapping              Why, to number of points: "withheld", "classed_as_noise",
                                    "invalid_by_scanner", "impossible_coordinates", "exact_duplicates",
                                    "stray_points".
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


@dataclass(frozen=True)
class Begun:
    """A file whose first points were looked at: how it is read, and what its coordinates are.

    Attributes
    ----------
    file : Path
    kind : str                  Key of `OPENERS`.
    opened : OpenedCloud
    conversion : Conversion     From file coordinates to metres,
    origin : (3,) float         and from there to local ones. [m]
    chunks : iterator of Chunk  From the start; can be gone through once.
    """

    file: Path
    kind: str
    opened: OpenedCloud
    conversion: Conversion
    origin: NDArray[np.float64]
    chunks: Iterator[Chunk]


def begin(path: str | Path, unit: str | None = None, most: int | None = None) -> Begun:
    """Open a file and settle unit, map and a local origin from its first points; BadInput where none can be had, or
    where the file says that it holds more than `most`."""
    file = checked_path(path)
    kind = sniff(file)
    opened = OPENERS[kind](file)
    if most is not None and kind != "text":
        _refuse_many(opened.max_points, most, str(file))
    chunks = iter(opened.chunks())
    first, own = _until_usable(chunks)
    if not len(own):
        raise BadInput(
            "holds no points with usable coordinates", file=str(file), remedy="export the cloud again"
        )
    conversion = decide(opened.reference, own, str(file), unit)
    origin = _first_guess(own, opened, conversion)
    if not (np.abs(origin) < FARTHEST).all():
        raise BadInput(
            f"has coordinates around {np.abs(origin).max():.2g} m, which lie on no map: its header is "
            f"damaged",
            file=str(file),
            remedy="export the cloud again",
        )
    return Begun(file, kind, opened, conversion, origin, chain(first, chunks))


def take_in(
    path: str | Path,
    *,
    thin: float | None = None,
    unit: str | None = None,
    round_place: tuple[float, float] | None = None,
    most: int | None = None,
    settings: CloudSettings | None = None,
    progress: Progress = quiet,
) -> Intake:
    """Read any supported file; see `treescan.cloud.read.read_cloud` for the promises."""
    settings = settings or CloudSettings()
    if thin is not None and not thin > 0:
        raise BadInput(f"the thinning cell is {thin!r}, it has to be a length above 0 m")
    begun = begin(path, unit, most if round_place is None and thin is None else None)
    file, kind, opened, conversion, origin = begun.file, begun.kind, begun.opened, begun.conversion, begun.origin
    window = None if round_place is None else _window(round_place, conversion, origin, settings.window)
    told = partial(progress, "reading")
    refuse = partial(_refuse_many, most=most or NO_LIMIT, file=str(file))
    stream = Stream(begun.chunks, opened.max_points, conversion, origin, told, window, refuse)
    kept = keep_all(stream, settings) if thin is None else keep_centroids(stream, settings, thin)
    _refuse_empty(kept, str(file), window)
    frame = replace(conversion.frame, origin=_origin_of(*(b + origin for b in bounds(kept.xyz))))
    _move(kept.xyz, origin - frame.origin)
    step = _rounding(kept.tally, conversion)
    notes = (
        extension_note(file, kind),
        *opened.notes,
        *conversion.notes,
        *left_out_notes(kept, origin),
        *doubts(opened, conversion, kept, step, settings),
        bounds_note(opened, conversion, kept.tally, origin) if window is None else None,
    )
    scanners = _scanners(opened, conversion, frame.origin)
    cloud = PointCloud(
        kept.xyz, frame, kept.columns, str(file), tuple(n for n in notes if n is not None), scanners
    )
    progress("reading", 1.0)
    return Intake(
        cloud, opened, file, kept.tally.read, _left_out(kept), kept.strays.cells, kept.strays.stray, step
    )


def _refuse_many(points: int, most: int, file: str) -> None:
    """Bad input where there are more points than are taken."""
    if points > most:
        raise BadInput(
            f"{points} points are more than the {most} that are taken",
            file=file,
            remedy="say with --at X,Y which tree is meant, cut out the part round it, or thin the cloud",
        )


def _window(
    place: tuple[float, float], conversion: Conversion, origin: NDArray[np.float64], reach: float
) -> Window:
    """What is kept round a place given in the file's own plan coordinates."""
    at = replace(conversion.frame, origin=origin).own_to_local_xy(np.asarray(place, float))
    return Window(float(at[0]), float(at[1]), reach)


def _refuse_empty(kept: Kept, file: str, window: Window | None) -> None:
    """Bad input where nothing is left, or all of it lies at one place."""
    tally = kept.tally
    if not len(kept.xyz) and window is not None and tally.beyond:
        raise BadInput(
            f"holds no point within {window.reach:g} m of the asked place",
            file=file,
            remedy="check --at: it is in the coordinates and the unit of the file",
        )
    if not len(kept.xyz):
        why = ", ".join(f"{n} {w.replace('_', ' ')}" for w, n in tally.unwanted.items() if n)
        why = why or "all have impossible coordinates"
        raise BadInput(
            f"holds no points that can be used ({why})",
            file=file,
            remedy="export the cloud without that filter or flag",
        )
    if tally.read > 1 and len(kept.xyz) == 1 and kept.repeats == tally.read - 1:
        raise BadInput(
            f"has all its {tally.read} points at one and the same place",
            file=file,
            remedy="export the cloud again",
        )


def _left_out(kept: Kept) -> dict[str, int]:
    """Why points were left out, and how many."""
    counted = dict(kept.tally.unwanted) | {
        "impossible_coordinates": kept.tally.not_numbers,
        "exact_duplicates": kept.repeats,
        "stray_points": kept.strays.count,
    }
    return {why: n for why, n in counted.items() if n}


def _rounding(tally: Tally, conversion: Conversion) -> NDArray[np.float64]:
    """Step of the coordinates, (3,), 0 = none seen. [m]"""
    if not tally.sample or conversion.projected_from:
        return np.zeros(3)
    return rounding_step(np.concatenate(tally.sample)) * conversion.unit


def _until_usable(chunks: Iterator[Chunk]) -> tuple[list[Chunk], NDArray[np.float64]]:
    """The chunks up to the first that has a point with numbers in it, and some of those points, file
    coordinates (n, 3)."""
    begun = []
    for chunk in chunks:
        begun.append(chunk)
        for every in (max(1, len(chunk.xyz) // FEW), 1):
            few = finite_rows(chunk.xyz[::every])
            if len(few):
                return begun, few + chunk.shift
    return begun, np.zeros((0, 3))


def _first_guess(
    own: NDArray[np.float64], opened: OpenedCloud, conversion: Conversion
) -> NDArray[np.float64]:
    """A local origin to stream with, (3,): from the header's bounds where they hold the first points, else
    near those."""
    low, high = opened.stated_low, opened.stated_high
    if (
        low is not None
        and high is not None
        and not conversion.projected_from
        and ((own >= low - 1) & (own <= high + 1)).all()
    ):
        return _origin_of(low * conversion.unit, high * conversion.unit)
    out = np.empty_like(own)
    conversion.to_local(Chunk(own, np.zeros(3)), np.zeros(3), out)
    middle = np.median(out, axis=0)
    return _origin_of(middle, middle)


def _origin_of(low: NDArray[np.float64], high: NDArray[np.float64]) -> NDArray[np.float64]:
    """Zero along an axis where the cloud is near zero, else the multiple of `ORIGIN_STEP` just below the
    cloud, (3,). [m]"""
    near = np.maximum(np.abs(low), np.abs(high)) <= NEAR
    return np.where(near, 0.0, np.floor(low / ORIGIN_STEP) * ORIGIN_STEP)


def _move(xyz: NDArray[np.float64], by: NDArray[np.float64]) -> None:
    """Shift all points in place."""
    if by.any():
        xyz += by


def _scanners(
    opened: OpenedCloud, conversion: Conversion, origin: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Where the scanner stood, local metres; none where the file does not say."""
    if not len(opened.scanners):
        return np.zeros((0, 3))
    out = np.empty_like(opened.scanners)
    conversion.to_local(Chunk(opened.scanners, np.zeros(3)), origin, out)
    return out
