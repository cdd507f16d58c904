"""Moments at which a run is killed: what stands there is the old result or the new one, never a mixture."""

from __future__ import annotations

import hashlib
import json
import os
import random
import shutil
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from treescan import read_tree
from treescan.assess import TracedTree
from treescan.faces.cli import commands
from treescan.faces.guard.output_place import digests
from treescan.trees.scan_points import ScanPoints
from treescan.wood.files.beside_files import standby_names, write_beside
from treescan.wood.files.write_tree import write_tree

FAULTS = Path(__file__).parent.parent / "faults"
ROOT = FAULTS.parent.parent
MOMENTS, SEED = int(os.environ.get("TREESCAN_KILL_MOMENTS", "12")), 15  # forty passed once for each command
TRACED = ("terrain", "foliage", "surroundings", "points")


def tree(height: float) -> TracedTree:
    """The tree made by hand on ground of another height, with other foliage and other things beside it."""
    base = read_tree(FAULTS / "hand.json")
    beside = base.beside
    foliage = replace(beside.foliage, density=np.full((2, 2, 2), height, np.float32))
    surroundings = replace(beside.surroundings, stems=np.array([[9.0, 9.0, height]]), stem_dbh=np.array([0.3]))
    terrain = replace(beside.terrain, height=beside.terrain.height + 0.01 * height)
    points = ScanPoints(np.zeros(3), 0.1 * height, np.ones((9, 3), np.uint16))
    return replace(base, beside=replace(beside, terrain=terrain, foliage=foliage, surroundings=surroundings), points=points)


@pytest.mark.parametrize("still_there", [True, False])
def test_the_next_trace_takes_away_what_a_killed_one_left(tmp_path, still_there):
    """Files of a trace killed between the files: the next into the same place leaves its own five and nothing else."""
    write_tree(tree(3.0), tmp_path / "tree.json")
    left = tree(5.0)
    write_beside(left.beside, left.points, tmp_path, standby_names(tmp_path / "tree.json"))
    if not still_there:
        (tmp_path / "tree.json").unlink()
    new = tmp_path / "new"
    new.mkdir()
    write_tree(tree(7.0), new / "tree.json")

    assert commands.run(["trace", str(new / "tree.json"), "-o", str(tmp_path / "tree.json"), "--quiet"]) == 0
    assert whole_tree(tmp_path / "tree.json") == "new"
    assert sorted(p.name for p in tmp_path.iterdir() if p.is_file()) == ["foliage.npz", "scan_points.npz", "surroundings.json", "terrain.json", "tree.json"]


def killed(command: list[str], old: Path, work: Path, moments: list[int]) -> list[tuple[int, int, str]]:
    """Number, exit code and counted file events of every run."""
    work.mkdir()
    job = work / "job.json"
    job.write_text(json.dumps({"command": command, "old": str(old), "work": str(work), "moments": moments}))
    out = subprocess.run(
        [sys.executable, str(Path(__file__).with_name("kill_moments.py")), str(job)],
        capture_output=True,
        text=True,
        check=False,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
    )
    assert out.returncode == 0, out.stderr[-2000:]
    rows = [line.split() for line in out.stdout.splitlines() if line[:1].isdigit()]
    assert len(rows) == len(moments), out.stdout[-2000:]
    return [(int(n), int(code), count) for n, code, count in rows]


def spread(events: int) -> list[int]:
    """Moments over all file events of a run, one in each fortieth part."""
    rng = random.Random(SEED)
    if events <= MOMENTS:
        return list(range(1, events + 1))
    return [1 + int(events * (k + rng.random()) / MOMENTS) for k in range(MOMENTS)]


def state(folder: Path) -> dict[str, str]:
    """Every file by content."""
    return {str(p.relative_to(folder)): hashlib.sha256(p.read_bytes()).hexdigest() for p in sorted(folder.rglob("*")) if p.is_file()}


def tidy(folder: Path) -> bool:
    """No temporary name is left, once the watcher had its time."""
    deadline = time.monotonic() + 5
    while any(p.name.startswith((".part-", ".lock-")) for p in folder.rglob("*")):
        if time.monotonic() > deadline:
            return False
        time.sleep(0.02)
    return True


def whole_tree(file: Path) -> str:
    """Which tree stands there, "old" or "new"; the tree file and all it names must be of one."""
    told = json.loads(file.read_text())["beside"]
    assert set(told) == set(TRACED)
    found = read_tree(file)
    beside = found.beside
    heights = {
        round(float(100 * beside.terrain.height.max())),
        round(float(beside.foliage.density.max())),
        round(float(beside.surroundings.stems[0, 2])),
        round(10 * found.points.step),
    }
    assert len(heights) == 1, heights
    return {3: "old", 7: "new"}[heights.pop()]


def make_old_and_new(folder: Path) -> tuple[Path, Path]:
    """A folder with the old tree in it, and the new tree as input elsewhere."""
    old, new = folder / "old", folder / "new"
    for at, height in ((old, 3.0), (new, 7.0)):
        at.mkdir()
        write_tree(tree(height), at / "tree.json")
    return old, new


def matrix(command: list[str], old: Path, folder: Path) -> tuple[list[Path], int]:
    """Folders of all killed runs, and how many of them a kill ended."""
    ((_, code, events),) = killed(command, old, folder / "whole", [0])
    assert code == 0
    moments = spread(int(events))
    runs = killed(command, old, folder / "killed", moments)
    return [folder / "killed" / f"run{n}" for n, _, _ in runs], sum(code == -9 for _, code, _ in runs)


@pytest.mark.slow
def test_a_trace_killed_at_any_moment_leaves_one_tree(tmp_path):
    """tree.json and the three files it names are always of one tree, old or new; both are met."""
    old, new = make_old_and_new(tmp_path)
    runs, kills = matrix(["trace", str(new / "tree.json"), "-o", "TARGET/tree.json", "--quiet"], old, tmp_path)

    found = [whole_tree(run / "tree.json") for run in runs]

    assert kills >= min(MOMENTS, len(runs)) - 1
    assert set(found) == {"old", "new"}
    assert all(tidy(run) for run in runs)


@pytest.mark.slow
def test_a_plan_killed_at_any_moment_leaves_one_plan(tmp_path):
    """The folder is the old plan to the byte, or the new one with every file its record names."""
    old, new = tmp_path / "old", tmp_path / "new"
    for at, height in ((old / "out", 3.0), (new, 7.0)):
        at.mkdir(parents=True)
        write_tree(tree(height), at / "tree.json")
    record = {"format": "treescan-run", "inputs": [], "files": digests(old / "out")}
    (old / "out" / "run.json").write_text(json.dumps(record))
    command = ["plan", str(new / "tree.json"), "-o", "TARGET/out", "--settings", str(FAULTS / "fast.toml"), "--quiet", "--replace"]
    before = state(old / "out")
    runs, kills = matrix(command, old, tmp_path)

    assert kills >= MOMENTS - 1
    for run in runs:
        after = state(run / "out")
        if after != before:
            record = json.loads((run / "out" / "run.json").read_text())
            assert set(after) >= {"tree.json", "anchors.json", "report.html", "run.json"}
            assert record["files"] and all(after[n] == digest for n, digest in record["files"].items())
            assert whole_tree(run / "out" / "tree.json") == "new"
        assert tidy(run)


@pytest.mark.slow
def test_a_join_killed_at_any_moment_leaves_one_folder(tmp_path):
    """The folder is the old one to the byte, or has both inventories of the new run."""
    plan, old = tmp_path / "plan", tmp_path / "old"
    made = [sys.executable, "-m", "treescan", "plan", str(FAULTS / "hand.json"), "-o", str(plan), "--settings", str(FAULTS / "fast.toml"), "--quiet"]
    assert subprocess.run(made, check=False, env=os.environ | {"PYTHONPATH": str(ROOT)}).returncode == 0
    shutil.copy(FAULTS / "inv.csv", tmp_path / "inv.csv")
    text = (tmp_path / "inv.csv").read_text()
    (tmp_path / "other.csv").write_text(text.replace("T2", "T9"))
    join = [sys.executable, "-m", "treescan", "join", str(tmp_path / "other.csv"), str(plan), "-o", str(old / "out"), "--quiet"]
    assert subprocess.run(join, check=False, env=os.environ | {"PYTHONPATH": str(ROOT)}).returncode == 0
    before = state(old / "out")
    runs, kills = matrix(["join", str(tmp_path / "inv.csv"), str(plan), "-o", "TARGET/out", "--quiet"], old, tmp_path)

    assert kills >= min(MOMENTS, len(runs)) - 1
    for run in runs:
        after = state(run / "out")
        if after != before:
            assert set(after) == set(before)
            assert "T2" in (run / "out" / "inventory.csv").read_text()
            assert b"T2" in (run / "out" / "inventory.gpkg").read_bytes()
        assert tidy(run)
