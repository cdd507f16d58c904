"""What does this file hold, and what is wrong with it? The answer of `treescan inspect`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np

from treescan.cloud.intake.conversion import unit_name
from treescan.cloud.intake.intake import Intake, take_in
from treescan.cloud.intake.spacing import plan_density, point_spacing
from treescan.cloud.point_cloud import Frame
from treescan.cloud.projection import parsed_crs
from treescan.cloud.settings import CloudSettings
from treescan.cloud.thin import Voxels
from treescan.progress import Progress, quiet

SEED = 0
"""Of the draw of points whose spacing is measured."""

CLASS_NAMES = {
    0: "never classified", 1: "unclassified", 2: "ground", 3: "low vegetation", 4: "medium vegetation", 5: "high vegetation",
    6: "building",
    7: "low noise", 8: "key point", 9: "water", 10: "rail", 11: "road", 12: "overlap", 13: "wire guard", 14: "wire conductor",
    15: "tower",
    16: "wire connector", 17: "bridge", 18: "high noise",
}  # fmt: skip
"""ASPRS LAS 1.4 R15, table 17. Programs also use classes their own way, so a name is a hint."""


@dataclass(frozen=True)
class Inspection:
    """What a file holds.

    Attributes
    ----------
    file, format, version, written_by : str
    points_in_file, points_kept : int
    left_out : mapping              Reason to number of points.
    low, high : (3,) tuple          Extent in metres of the map (or of the local frame). [m]
    unit, vertical_unit : str       Of the file itself.
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
    notes : tuple of str            What is odd, one sentence each.
    """

    file: str
    format: str
    version: str
    written_by: str
    points_in_file: int
    points_kept: int
    left_out: Mapping[str, int]
    low: tuple[float, ...]
    high: tuple[float, ...]
    unit: str
    vertical_unit: str
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
    notes: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """Everything, ready for JSON."""
        out = asdict(self)
        out["classes"] = {str(k): v for k, v in self.classes.items()}
        return {k: list(v) if isinstance(v, tuple) else v for k, v in out.items()}

    @property
    def lines(self) -> tuple[str, ...]:
        """The same for people, one fact a line."""
        size = " x ".join(f"{b - a:.2f}" for a, b in zip(self.low, self.high, strict=True))
        left = ", ".join(f"{n} {reason}" for reason, n in self.left_out.items())
        unit = self.unit if self.unit == self.vertical_unit else f"{self.unit}, heights in {self.vertical_unit}"
        found = [
            f"file      {self.file}",
            f"format    {self.format} ({self.version})" + (f", written by {self.written_by}" if self.written_by else ""),
            f"points    {self.points_kept} of {self.points_in_file}" + (f"; left out: {left}" if left else ""),
            *(f"{axis}         {a:.3f} to {b:.3f} m" for axis, a, b in zip("xyz", self.low, self.high, strict=True)),
            f"size      {size} m",
            f"unit      {unit}" + (" in the file, converted to metres" if unit != "metres" else ""),
            f"map       {self._map()}",
            f"density   {self.density:.4g} points per square metre of plan; spacing {self._spacing()}",
            f"columns   {', '.join(self.columns) or 'coordinates only'}",
        ]
        if self.classes:
            found.append("classes   " + ", ".join(f"{c} {CLASS_NAMES.get(c, 'own class')}: {n}" for c, n in self.classes.items()))
        if self.scans > 1:
            found.append(f"scans     {self.scans}" + (f", places of {self.scanners} known" if self.scanners else ""))
        return (*found, *(f"note      {n}" for n in self.notes))

    def _map(self) -> str:
        """The reference system in words."""
        if self.crs is None:
            return "unknown, local frame" + (f" (the file says: {self.file_crs[:80]})" if self.file_crs else "")
        label = self.crs if len(self.crs) < 40 else "own definition"
        own = f"; the file itself is in {self.file_crs if len(self.file_crs) < 40 else 'another unit of the same map'}" if self.file_crs else ""
        return f"{self.crs_name} ({label}){own}"

    def _spacing(self) -> str:
        """The spacing in words."""
        return "not measurable" if self.spacing is None else f"{1000 * self.spacing:.1f} mm (median distance to the next point)"


def inspect_cloud(path: str | Path, progress: Progress = quiet, *, unit: str | None = None, settings: CloudSettings | None = None) -> Inspection:
    """Read a whole file and say what it holds, its unit, map, extent, density, and what is wrong with it.

    Raises BadInput, one sentence, where no cloud can be had from it.
    """
    got = take_in(path, unit=unit, settings=settings, progress=progress)
    cloud, frame = got.cloud, got.cloud.frame
    on_map = cloud.frame.to_map(np.stack([cloud.xyz.min(axis=0), cloud.xyz.max(axis=0)]))
    known = parsed_crs(frame.crs) if frame.crs else None
    cells = Voxels(got.cells.cell, frame.origin)
    cells.add(cloud.xyz)
    spacing = point_spacing(cloud.xyz, cells, np.random.default_rng(SEED))
    return Inspection(
        str(got.file), got.opened.format, got.opened.version, got.opened.written_by, got.read, len(cloud), dict(got.left_out),
        _rounded(on_map[0]), _rounded(on_map[1]), *_units(frame), frame.crs, known.name if known is not None else None,
        frame.file_crs,
        _rounded(frame.origin), plan_density(cells), spacing if np.isfinite(spacing) else None, _rounded(got.rounding, 7),
        _classes(got), tuple(cloud.columns), _scans(got), len(cloud.scanners), cloud.notes,
    )  # fmt: skip


def _units(frame: Frame) -> tuple[str, str]:
    """Plan and height unit of the file in words."""
    return "degrees" if frame.in_degrees else unit_name(frame.unit_m), unit_name(frame.vertical_unit_m)


def _classes(got: Intake) -> dict[int, int]:
    """Points by class."""
    code = got.cloud.columns.get("class")
    if code is None:
        return {}
    counts = np.bincount(code)
    return {int(c): int(counts[c]) for c in np.flatnonzero(counts)}


def _scans(got: Intake) -> int:
    """Scanner set-ups as the format counts them, or different values of the column "scan"."""
    return max(got.opened.scans, len(np.unique(got.cloud.columns["scan"])) if "scan" in got.cloud.columns else 1)


def _rounded(values: np.ndarray, digits: int = 6) -> tuple[float, ...]:
    """Plain floats without meaningless digits."""
    return tuple(round(float(v), digits) for v in values)
