#!/usr/bin/env python
"""Are two results the same? Every number of tree.json, anchors.json and standing.json is held against its twin; words may differ.

    python scripts/compare_runs.py OLD NEW [--scans FOLDER ...]

OLD and NEW are folders that `plan` wrote, folders of such folders, or checkouts of treescan: a checkout first plans the sample scans
(and every scan given with --scans) into a folder of its own. Keys may be added in NEW; a key that is missing there, another number or
another identifier (a string without spaces) is a difference, named with its place in the file. Ends with 1 where there is one.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

TOLERANCE = {"tree.json": 1e-9, "terrain.json": 1e-9, "surroundings.json": 1e-9, "anchors.json": 1e-6, "standing.json": 1e-6}
"""Largest relative or absolute difference of a number, by file."""
SPECIES = {
    "quillmoor_green_qg07": "oak",
    "bracken_hythe_conifer": "Douglas fir",
    "marl_steps_slope": "beech",
    "wick_end": "oak",
    "pointcloud": "Scots pine",
}
WORDS = {"settings", "cautions", "sources"}
"""Keys that hold settings or words: not compared."""
MAX_TOLD = 12


@dataclass(frozen=True)
class Difference:
    """One number or identifier that is not the same."""

    file: str
    place: str
    old: Any
    new: Any


def differences(file: str, old: Any, new: Any, tolerance: float, place: str = "") -> Iterator[Difference]:
    """Every place where `new` lacks or changes what `old` holds."""
    if isinstance(old, dict):
        for key, value in old.items():
            if key in WORDS:
                continue
            if not isinstance(new, dict) or key not in new:
                yield Difference(file, f"{place}.{key}", _short(value), "missing")
            else:
                yield from differences(file, value, new[key], tolerance, f"{place}.{key}")
    elif isinstance(old, list):
        if _prose(old):
            return
        if not isinstance(new, list) or len(old) != len(new):
            yield Difference(file, f"{place}[]", len(old), len(new) if isinstance(new, list) else _short(new))
            return
        for i, (a, b) in enumerate(zip(old, new, strict=True)):
            yield from differences(file, a, b, tolerance, f"{place}[{i}]")
    elif isinstance(old, bool) or old is None or isinstance(old, str):
        if not (isinstance(old, str) and " " in old) and old != new:
            yield Difference(file, place, old, _short(new))
    elif isinstance(new, bool) or not isinstance(new, (int, float)) or not _same(old, new, tolerance):
        yield Difference(file, place, old, _short(new))


def _same(a: float, b: float, tolerance: float) -> bool:
    return a == b or math.isclose(a, b, rel_tol=tolerance, abs_tol=tolerance)


def _prose(values: list[Any]) -> bool:
    """A list of sentences: how many there are, and what they say, is the words' business."""
    return bool(values) and all(isinstance(v, str) for v in values) and any(" " in v for v in values)


def _short(value: Any) -> Any:
    text = json.dumps(value, default=str)
    return value if len(text) < 60 else text[:57] + "..."


def compare_folders(old: Path, new: Path) -> list[Difference]:
    """All differences between two results of `plan`."""
    out: list[Difference] = []
    for file, tolerance in TOLERANCE.items():
        if not (old / file).exists():
            continue
        if not (new / file).exists():
            out.append(Difference(file, "", "there", "missing"))
            continue
        a, b = (json.loads((folder / file).read_text(encoding="utf-8")) for folder in (old, new))
        out += differences(file, a, b, tolerance)
    return out


def results(path: Path, scans: list[Path]) -> dict[str, Path]:
    """Result folders by name under `path`; a checkout is run first."""
    if (path / "treescan" / "__init__.py").exists():
        path = planned(path, scans)
    if (path / "anchors.json").exists():
        return {"": path}
    return {p.parent.name: p.parent for p in sorted(path.glob("*/anchors.json"))}


def planned(checkout: Path, scans: list[Path]) -> Path:
    """Plans every scan with that checkout's code; the folder of results."""
    out = Path(tempfile.mkdtemp(prefix="compare_runs_"))
    environment = {**os.environ, "PYTHONPATH": str(checkout)}
    for scan in [*sorted((checkout / "sample_clouds").glob("*.laz")), *scans]:
        name = scan.stem if scan.stem in SPECIES else f"{scan.parent.name}_{scan.stem}"
        species = ["--species", SPECIES[scan.stem]] if scan.stem in SPECIES else []
        print(f"{checkout.name}: {name}", file=sys.stderr)
        command = [sys.executable, "-m", "treescan", "plan", str(scan), "-o", str(out / name), "--quiet", *species]
        subprocess.run(command, cwd=checkout, env=environment, check=True)
    return out


def main() -> int:
    """Compares and says what differs."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("old", type=Path)
    parser.add_argument("new", type=Path)
    parser.add_argument("--scans", type=Path, nargs="*", default=[])
    parser.add_argument("--all", action="store_true", help="name every difference")
    asked = parser.parse_args()
    old, new = results(asked.old, asked.scans), results(asked.new, asked.scans)
    if not old or not old.keys() & new.keys():
        print("Nothing to compare: no result of `plan` has the same name on both sides.")
        return 1
    bad = 0
    for name in old:
        if name not in new:
            print(f"{name}: missing in {asked.new}")
            bad += 1
            continue
        found = compare_folders(old[name], new[name])
        bad += len(found)
        print(f"{name or old[name].name}: {len(found) or 'no'} differences")
        for d in found if asked.all else found[:MAX_TOLD]:
            print(f"    {d.file}{d.place}: {d.old} -> {d.new}")
    return int(bad > 0)


if __name__ == "__main__":
    sys.exit(main())
