#!/usr/bin/env python
"""Does the same scan give the same answer? One cloud is planned as it is and in variants that say the same,
and held against it.

    python scripts/same_answer.py SCAN.laz [MORE.laz ...] [--species oak] [--variants reordered feet ...]

SCAN is a LAS or LAZ file. A union is the same within 2 cm, a rig (union and rope system) where its margin
and the low end of it agree within 2 %, a verdict where both runs call the rig usable or both do not; a
verdict that differs is a near tie where the low end of either run stands within a quarter of the gate. A
variant that is the same points, columns (colours aside) and order to the bit by the time the work begins is
said to be so and not planned again, unless --every is given. Ends with 1 where a variant misses what is
asked: every union that bears a rig, 95 % of the rigs, every verdict but near ties.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import laspy
import numpy as np
from numpy.typing import NDArray

from treescan import plan, read_cloud, trace
from treescan.cloud.canonical import canonical
from treescan.cloud.intake.conversion import UNIT_NAMES
from treescan.cloud.point_cloud import Frame, PointCloud
from treescan.cloud.registration.join import join_scans
from treescan.errors import BadInput
from treescan.units import FOOT_M

SAME_PLACE, SAME_MARGIN, ENOUGH, NEAR_GATE = 0.02, 0.02, 0.95, 0.25
"""[m]; share; share of rigs; share of the gate."""
SEED = 5
NEAR = np.array([1234.567, -1234.567, 123.456])
MAP = np.array([512_345.678, 5_412_345.123, 300.005])
COLUMNS = ("classification", "intensity", "return_number", "number_of_returns", "point_source_id")
TEXT_NAMES = "x y z classification intensity return_number number_of_returns scan"
VARIANTS = ("reordered", "shifted 1234.567 m", "shifted 500 km", "split in two files", "as text", "in feet")


@dataclass(frozen=True)
class Answer:
    """What one run said: the rigs (union, system, margin, its low end, usable) and the place of every union
    [m]."""

    rigs: tuple[tuple[int, str, float, float, bool], ...]
    unions: NDArray[np.float64]
    gate: float
    dbh: float
    seconds: float


@dataclass(frozen=True)
class Held:
    """One run held against another."""

    unions: int
    unions_same: int
    rigs: int
    rigs_same: int
    usable: int
    flipped: int
    near_ties: int

    @property
    def good(self) -> bool:
        """Whether it is the same answer."""
        enough = self.rigs_same >= ENOUGH * self.rigs
        return self.unions_same == self.unions and enough and self.flipped == self.near_ties


def begun_with(files: Sequence[Path], unit: str | None) -> PointCloud:
    """The cloud the work begins with."""
    return canonical(join_scans([read_cloud(f, unit=unit) for f in files]))


def same_bits(one: PointCloud, two: PointCloud) -> bool:
    """Whether two clouds are the same points, columns and order to the bit."""
    return (
        np.array_equal(one.xyz, two.xyz)
        and all(np.array_equal(one.columns[c], two.columns[c]) for c in two.columns if c in one.columns)
    )


def answer(cloud: PointCloud, species: str | None, back: NDArray[np.float64]) -> Answer:
    """Trace and plan; unions in the coordinates of the scan as it is, so `back` (3,) [m] is taken off."""
    begun = time.perf_counter()
    tree = trace(cloud)
    done = plan(tree, species=species)
    rigs = [
        (p.union, p.system, float(p.check.check.margin.median), float(p.check.check.margin.p5),
        bool(p.usable)) for p in done.points
    ]
    places = tree.frame.to_map(tree.graph.unions.place) - back
    gate = done.settings.planning.margin_gate
    return Answer(tuple(rigs), places, gate, float(tree.stem.dbh), time.perf_counter() - begun)


def held(one: Answer, two: Answer) -> Held:
    """The second answer against the first."""
    asked = sorted({r[0] for r in one.rigs})
    twin = {u: _twin(one.unions[u], two.unions) for u in asked}
    there = {(r[0], r[1]): r for r in two.rigs}
    same = flipped = near = 0
    for union, system, margin, low, usable in one.rigs:
        other = there.get((twin[union], system))
        same += other is not None and _agree(margin, other[2]) and _agree(low, other[3])
        if usable != (other is not None and other[4]):
            flipped += 1
            ends = (low, low if other is None else other[3])
            near += other is not None and any(abs(e - one.gate) <= NEAR_GATE * one.gate for e in ends)
    found = sum(k >= 0 for k in twin.values())
    usable = sum(r[4] for r in two.rigs)
    return Held(len(asked), found, len(one.rigs), same, usable, flipped, near)


def _twin(place: NDArray[np.float64], others: NDArray[np.float64]) -> int:
    """Row of the union at the same place, -1 for none."""
    if not len(others):
        return -1
    away = np.linalg.norm(others - place, axis=1)
    k = int(np.argmin(away))
    return k if away[k] <= SAME_PLACE else -1


def _agree(a: float, b: float) -> bool:
    return a == b or abs(a - b) <= SAME_MARGIN * max(abs(a), abs(b)) or (np.isnan(a) and np.isnan(b))


def variant(name: str, scan: Path, folder: Path) -> tuple[list[Path], str | None, NDArray[np.float64]]:
    """Files that say the same as the scan, the unit to be given with them, and what they lie off by [m]."""
    las = laspy.read(scan)
    own = read_cloud(scan).frame
    given = _unit_given(own.unit_m)
    rng = np.random.default_rng(SEED)
    xyz = np.column_stack([las.x, las.y, las.z])
    step = np.asarray(las.header.scales)
    every = np.arange(len(xyz))
    still = np.zeros(3)
    if name == "reordered":
        return [_las(las, xyz, rng.permutation(every), step, folder / "reordered.laz")], None, still
    if name in ("shifted 1234.567 m", "shifted 500 km"):
        by = MAP if name == "shifted 500 km" else NEAR
        fine = np.where(np.abs(by / step - np.round(by / step)) < 1e-6, step, np.minimum(step, 1e-3))
        return [_las(las, xyz + by, every, fine, folder / "shifted.laz")], None, by * _units(own)
    if name == "split in two files":
        second = rng.random(len(xyz)) < 0.5
        parts = [_las(las, xyz, every[second == k], step, folder / f"part{k}.laz") for k in (False, True)]
        return parts, None, still
    if name == "as text":
        values = np.column_stack([xyz, *(np.asarray(las[c]) for c in COLUMNS)])
        digits = [max(0, round(-np.log10(s))) for s in step]
        form = [f"%.{d}f" for d in digits] + ["%d"] * len(COLUMNS)
        np.savetxt(folder / "scan.txt", values, fmt=form, header=TEXT_NAMES, comments="")
        return [folder / "scan.txt"], given, still
    if name == "in feet":
        into, unit = (FOOT_M, "ft") if own.unit_m == 1.0 else (1.0, "m")
        step = np.where(step * _units(own) >= 1e-3, 1e-3, 10.0 ** np.floor(np.log10(0.3 * step * _units(own) / into)))
        step = np.clip(step, 1e-6, 1e-3) if into == FOOT_M else np.full(3, 1e-6)
        return [_las(las, xyz * _units(own) / into, every, step, folder / "unit.laz", False)], unit, still
    raise SystemExit(f"no variant {name!r}; there are {', '.join(VARIANTS)}")


def _units(frame: Frame) -> NDArray[np.float64]:
    """Metres in a unit of the file along each axis, (3,)."""
    return np.array([frame.unit_m, frame.unit_m, frame.vertical_unit_m])


def _unit_given(unit_m: float) -> str | None:
    """The --unit a file without a reference needs to be read alike."""
    return next((name for name, m in UNIT_NAMES.items() if np.isclose(m, unit_m, rtol=1e-9) and name != "m"), None)


def _las(
    las: laspy.LasData, xyz: NDArray[np.float64], rows: NDArray[np.int64], step: NDArray[np.float64], path: Path,
    reference: bool = True,
) -> Path:
    """Some points of a scan as a LAZ file, with its reference system."""
    header = laspy.LasHeader(point_format=6, version="1.4")
    if reference and (crs := las.header.parse_crs()) is not None:
        header.add_crs(crs)
    header.scales, header.offsets = step, np.floor(xyz.min(axis=0))
    out = laspy.LasData(header)
    out.xyz = xyz[rows]
    for column in COLUMNS:
        out[column] = np.asarray(las[column])[rows]
    out.write(str(path))
    return path


def begun(scan: Path, names: Sequence[str]) -> int:
    """How many variants do not begin the work with the same bits; a line for each says what differs."""
    others = 0
    with tempfile.TemporaryDirectory() as folder:
        cloud = begun_with([scan], None)
        for name in names:
            files, unit, _ = variant(name, scan, Path(folder))
            try:
                own = begun_with(files, unit)
            except BadInput as err:
                what = err.what
            else:
                what = "to the bit" if same_bits(cloud, own) else unlike(cloud, own)
            others += what != "to the bit"
            print(f"| {scan.stem} | {name} | {what} |", flush=True)
    return others


def unlike(one: PointCloud, two: PointCloud) -> str:
    """In what two clouds differ."""
    if len(one) != len(two):
        return f"{len(one)} and {len(two)} points"
    off = np.abs(one.xyz - two.xyz).max(axis=0)
    columns = [c for c in two.columns if c in one.columns and not np.array_equal(one.columns[c], two.columns[c])]
    return f"off by {1000 * off[0]:.3g}, {1000 * off[1]:.3g}, {1000 * off[2]:.3g} mm; columns {', '.join(columns) or 'alike'}"


def compared(scan: Path, names: Sequence[str], species: str | None, every: bool = True) -> list[Held]:
    """Every variant held against the scan as it is; a line is printed as soon as it is known."""
    rows = []
    with tempfile.TemporaryDirectory() as folder:
        cloud = begun_with([scan], None)
        first = answer(cloud, species, np.zeros(3))
        _print(scan.stem, "as it is", first, held(first, first))
        for name in names:
            files, unit, by = variant(name, scan, Path(folder))
            own = begun_with(files, unit)
            if same_bits(cloud, own) and not every:
                print(f"| {scan.stem} | {name} | to the bit | | | | | |", flush=True)
                continue
            got = answer(own, species, by)
            rows.append(held(first, got))
            _print(scan.stem, name + (", to the bit" if same_bits(cloud, own) else ""), got, rows[-1])
    return rows


def _print(scan: str, name: str, got: Answer, how: Held) -> None:
    same = f"{how.unions_same}/{how.unions} | {how.rigs_same}/{how.rigs} | {how.usable}/{len(got.rigs)}"
    rest = f"{how.flipped} ({how.near_ties}) | {1000 * got.dbh:.1f} | {got.seconds:.0f}"
    print(f"| {scan} | {name} | {same} | {rest} |", flush=True)


def main(argv: Sequence[str] | None = None) -> int:
    """Print the table; 0 where all variants are the same answer."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    parser.add_argument("scans", nargs="+", type=Path)
    parser.add_argument("--variants", nargs="+", default=list(VARIANTS), choices=VARIANTS)
    parser.add_argument("--species", default=None)
    parser.add_argument("--every", action="store_true", help="plan what is the same to the bit as well")
    parser.add_argument("--begun", action="store_true", help="only say which begin the work with the same bits")
    asked = parser.parse_args(argv)
    if asked.begun:
        return int(sum([begun(scan, asked.variants) for scan in asked.scans]) > 0)
    print("| scan | variant | unions same | rigs same | usable | other verdicts (ties) | dbh [mm] | seconds |")
    print("|---|---|---|---|---|---|---|---|")
    good = True
    for scan in asked.scans:
        good &= all(how.good for how in compared(scan, asked.variants, asked.species, asked.every))
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
