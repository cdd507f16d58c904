"""What does this file hold, and what is wrong with it? The answer of `treescan inspect`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

import numpy as np

from treescan.cloud.intake.conversion import unit_name
from treescan.cloud.intake.intake import Intake, take_in
from treescan.cloud.intake.spacing import plan_density, point_spacing
from treescan.cloud.point_cloud import Frame
from treescan.cloud.projection import parsed_crs
from treescan.cloud.settings import CloudSettings
from treescan.cloud.thin import VoxelSums
from treescan.progress import Progress, quiet
from treescan.reason import Reason, as_plain

SEED = 0
"""Of the draw of points whose spacing is measured."""

PLACE_DIGITS, STEP_DIGITS = 6, 7
"""Decimals of a place and of a rounding step that mean something. [m]"""


@dataclass(frozen=True)
class Inspection:
    """What a file holds.

    Attributes
    ----------
    file, format : str
    version : Reason                Version, encoding and layout.
    written_by : str                Program named in the header; empty = none.
    points_in_file, points_kept : int
    left_out : mapping              Why (as in `Intake`) to number of points.
    low, high : (3,) tuple          Extent in metres of the map (or of the local frame). [m]
    unit, vertical_unit : Reason    Of the file itself.
    crs : str or None               Of the metres; None = unknown.
    crs_name, file_crs : str or None
    origin : (3,) tuple             Map coordinates of local zero. [m]
    density : float                 Points per square metre in plan. [1/m2]
    spacing : float or None         Median distance to the nearest neighbour. [m]
    rounding : (3,) tuple           Step of the coordinates, 0 = none seen. [m]
    classes : mapping               Class number to points; empty where the file has none.
    columns : tuple of str
    scans : int                     Scanner set-ups or flight lines.
    scanners : int                  Set-ups whose place is known.
    notes : tuple of Reason         What is odd.
    """

    file: str
    format: str
    version: Reason
    written_by: str
    points_in_file: int
    points_kept: int
    left_out: Mapping[str, int]
    low: tuple[float, ...]
    high: tuple[float, ...]
    unit: Reason
    vertical_unit: Reason
    crs: str | None
    crs_name: str | None
    file_crs: str | None
    origin: tuple[float, ...]
    density: float
    spacing: float | None
    rounding: tuple[float, ...]
    classes: Mapping[int, int]
    columns: tuple[str, ...]
    scans: int
    scanners: int
    notes: tuple[Reason, ...]

    def as_dict(self) -> dict[str, Any]:
        """Everything, ready for JSON; a reason as its code and values."""
        out = {f.name: as_plain(getattr(self, f.name)) for f in fields(self)}
        return out | {
            "left_out": dict(self.left_out),
            "classes": {str(k): v for k, v in self.classes.items()},
        }


def inspect_cloud(
    path: str | Path,
    progress: Progress = quiet,
    *,
    unit: str | None = None,
    settings: CloudSettings | None = None,
) -> Inspection:
    """Read a whole file: what it holds, its unit, map, extent, density, and what is wrong with it.

    Raises BadInput, one sentence, where no cloud can be had from it.
    """
    got = take_in(path, unit=unit, settings=settings, progress=progress)
    cloud, frame = got.cloud, got.cloud.frame
    on_map = cloud.frame.to_map(np.stack([cloud.xyz.min(axis=0), cloud.xyz.max(axis=0)]))
    known = parsed_crs(frame.crs) if frame.crs else None
    cells = VoxelSums(got.cells.cell, frame.origin)
    cells.add(cloud.xyz)
    spacing = point_spacing(cloud.xyz, cells, np.random.default_rng(SEED))
    plan_unit, height_unit = _units(frame)
    return Inspection(
        file=str(got.file),
        format=got.opened.format,
        version=got.opened.version,
        written_by=got.opened.written_by,
        points_in_file=got.read,
        points_kept=len(cloud),
        left_out=dict(got.left_out),
        low=_rounded(on_map[0]),
        high=_rounded(on_map[1]),
        unit=plan_unit,
        vertical_unit=height_unit,
        crs=frame.crs,
        crs_name=known.name if known is not None else None,
        file_crs=frame.file_crs,
        origin=_rounded(frame.origin),
        density=plan_density(cells),
        spacing=spacing if np.isfinite(spacing) else None,
        rounding=_rounded(got.rounding, STEP_DIGITS),
        classes=_classes(got),
        columns=tuple(cloud.columns),
        scans=_scans(got),
        scanners=len(cloud.scanners),
        notes=cloud.notes,
    )


def _units(frame: Frame) -> tuple[Reason, Reason]:
    """Plan and height unit of the file."""
    return Reason("unit_degrees") if frame.in_degrees else unit_name(frame.unit_m), unit_name(
        frame.vertical_unit_m
    )


def _classes(got: Intake) -> dict[int, int]:
    """Points by class."""
    code = got.cloud.columns.get("class")
    if code is None:
        return {}
    counts = np.bincount(code)
    return {int(c): int(counts[c]) for c in np.flatnonzero(counts)}


def _scans(got: Intake) -> int:
    """Scanner set-ups as the format counts them, or different values of the column "scan"."""
    return max(
        got.opened.scans, len(np.unique(got.cloud.columns["scan"])) if "scan" in got.cloud.columns else 1
    )


def _rounded(values: np.ndarray, digits: int = PLACE_DIGITS) -> tuple[float, ...]:
    """Plain floats without meaningless digits."""
    return tuple(round(float(v), digits) for v in values)
