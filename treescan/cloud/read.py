"""How do I get a scan into treescan? The only door: any supported file in, a `PointCloud` out."""

from __future__ import annotations

from pathlib import Path

from treescan.cloud.intake.intake import take_in
from treescan.cloud.point_cloud import PointCloud
from treescan.cloud.settings import CloudSettings
from treescan.progress import Progress, quiet


def read_cloud(
    path: str | Path,
    *,
    thin: float | None = None,
    unit: str | None = None,
    round_place: tuple[float, float] | None = None,
    most: int | None = None,
    settings: CloudSettings | None = None,
    progress: Progress = quiet,
) -> PointCloud:
    """Read a scan: LAS, LAZ, COPC, PLY, PCD, E57, XYZ, TXT, CSV or PTS, told apart by content.

    Parameters
    ----------
    path : str or Path
    thin : float, optional      Keep one point a voxel of this edge, the centroid; memory then follows voxels.
                                [m]
    unit : str, optional        "m", "ft", "us-ft", "cm" or "mm": overrules what the file says about its unit.
    round_place : (x, y), optional  In the file's own plan coordinates: only what lies within
                                    `CloudSettings.window` of it is kept, while reading.
    most : int, optional        More points than this are refused: before any is read where the file says how
                                many it holds, else as soon as they are met.
    settings : CloudSettings, optional
    progress : callable

    Returns
    -------
    PointCloud
        Local metres, z up; ``cloud.frame.to_map(cloud.xyz)`` are map coordinates in metres, exact to 1 mm or
        better. Points that are no numbers, flagged as withheld, classed as noise, exact repeats of others, or
        far from everything are left out; `notes` says how many and why, and whatever else is odd.

    Raises
    ------
    BadInput
        One sentence naming the file, the fault and what to do, where no cloud can be had from it.
    """
    return take_in(
        path, thin=thin, unit=unit, round_place=round_place, most=most, settings=settings, progress=progress
    ).cloud
