"""`treescan batch`: many trees on dask, a row for each, whatever becomes of it."""

from __future__ import annotations

import html
import json
import os
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import geopandas
import numpy as np
import pytest
from batch_runs import ROOT, command, finished, started, state, trees

from treescan.cautions import CAUTIONS
from treescan.errors import BadInput
from treescan.faces.city.guarded import Desk, attempt, failure, forget_chance_failures
from treescan.faces.cli.commands import run
from treescan.outputs.city.city_rows import COLUMNS


@pytest.fixture(scope="module")
def source(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return trees(tmp_path_factory.mktemp("trees"), 3)


@pytest.fixture(scope="module")
def whole(source: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An undisturbed run."""
    out = tmp_path_factory.mktemp("whole") / "city"
    finished(started(source, out))
    return out


def test_every_tree_is_a_row_and_a_fault_is_a_sentence(whole: Path) -> None:
    """Three trees are planned, the file that is none has a row that says why; tables, package and page hold them all with the caution."""
    out = whole
    rows = geopandas.read_file(out / "city.gpkg", layer="trees")
    assert list(rows["tree"]) == ["plot_T1", "plot_T2", "plot_T3", "plot_T9"]
    assert list(rows["state"]) == ["planned"] * 3 + ["failed"]
    assert "tree.json" in rows["said"].iloc[3] and rows["said"].iloc[3].endswith(".")
    assert set(rows["caution"]) == {CAUTIONS["planning_aid"]}
    assert list(rows.columns.drop("geometry")) == list(COLUMNS)
    page = html.unescape((out / "city.html").read_text())
    assert "trees/plot_T1/report.html" in page and all(c.split(":")[0] in page for c in CAUTIONS.values())
    assert (out / "trees" / "plot_T1" / "report.html").is_file() and (out / "work_packages.pdf").read_bytes().startswith(b"%PDF")
    anchors = geopandas.read_file(out / "city.gpkg", layer="anchors")
    assert set(anchors["tree"]) == {"plot_T1", "plot_T2", "plot_T3"}


def test_map_and_columns_are_the_same_in_both_formats(whole: Path) -> None:
    """GeoPackage and GeoParquet hold the same names, types and values; whole numbers are whole."""
    out = whole
    package, parquet = geopandas.read_file(out / "city.gpkg", layer="trees"), geopandas.read_parquet(out / "trees.parquet")
    assert list(package.columns) == list(parquet.columns)
    for name, kind in COLUMNS.items():
        if kind == "whole":
            assert str(parquet[name].dtype) == "Int64" and set(package[name].dropna() % 1) <= {0}
        if kind == "text":
            assert [v or "" for v in package[name].fillna("")] == list(parquet[name])
    np.testing.assert_allclose(package["height_m"].astype(float), parquet["height_m"].astype(float))


def test_a_second_run_does_nothing_and_changes_nothing(source: Path, whole: Path) -> None:
    """The same call on a finished batch: same bytes, no tree planned again."""
    out = whole
    before = state(out)
    times = {p: p.stat().st_mtime_ns for p in (out / "trees").glob("*/run.json")}
    assert run(command(source, out)[3:]) == 0
    assert state(out) == before and times == {p: p.stat().st_mtime_ns for p in times}


def test_another_batch_does_not_go_into_the_folder(source: Path, whole: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Other options than those the folder was made with, or files of somebody else, are refused; nothing is written."""
    out = whole
    before = state(out)
    assert run([*command(source, out)[3:], "--seed", "2"]) == 2
    assert "another batch" in capsys.readouterr().err and state(out) == before
    (tmp_path / "letter.txt").write_text("mine")
    assert run(command(source, tmp_path)[3:]) == 2
    assert "did not write" in capsys.readouterr().err and [p.name for p in tmp_path.iterdir()] == ["letter.txt"]


def test_a_task_that_takes_its_process_along_is_given_up(tmp_path: Path) -> None:
    """After three deaths, or one that came with the time limit, the task is a row with a sentence; the next run tries it again."""
    desk = Desk(str(tmp_path), "run", 10.0)
    note = {"run": "run", "since": time.time(), "times": 3}
    desk.started("tree_a").parent.mkdir()
    desk.started("tree_a").write_text(json.dumps(note))
    assert attempt(desk, "tree_a", lambda: pytest.fail("tried again")) is False
    assert failure(desk, "tree_a").code == "task_died"
    desk.started("tree_b").write_text(json.dumps(note | {"times": 1, "since": time.time() - 11}))
    assert attempt(desk, "tree_b", lambda: pytest.fail("tried again")) is False
    assert failure(desk, "tree_b").code == "task_too_long"
    other = replace(desk, run="next")
    forget_chance_failures(other)
    done = []
    assert attempt(other, "tree_a", lambda: done.append(1)) and done and failure(other, "tree_a") is None


def test_a_fault_of_the_input_stays_a_full_disk_ends_the_run(tmp_path: Path) -> None:
    """Bad input is noted for good; any other fault for this run; no space left is raised, not noted."""
    desk = Desk(str(tmp_path), "run", 0.0)

    def bad() -> None:
        raise BadInput("holds nothing", file="a.laz")

    def odd() -> None:
        raise KeyError("x")

    def full() -> None:
        raise OSError(28, "No space left on device")

    assert not attempt(desk, "a", bad) and not attempt(desk, "b", odd)
    def full_before() -> None:
        raise BadInput("cannot be written") from OSError(28, "No space left on device")

    for fault in (full, full_before):
        with pytest.raises(OSError, match="No space"):
            attempt(desk, "c", fault)
    forget_chance_failures(desk)
    assert failure(desk, "a") == "a.laz: holds nothing." and failure(desk, "b") is None and failure(desk, "c") is None


def test_a_task_that_hangs_ends_its_process(tmp_path: Path) -> None:
    """The time limit ends the process whatever it is doing, so that another can take over."""
    code = "import sys, time; from treescan.faces.city.guarded import Desk, attempt; attempt(Desk(sys.argv[1], 'r', 0.5), 'a', lambda: time.sleep(60))"
    begun = time.monotonic()
    done = subprocess.run([sys.executable, "-c", code, str(tmp_path)], env=os.environ | {"PYTHONPATH": str(ROOT)}, check=False)
    assert done.returncode != 0 and time.monotonic() - begun < 30
    assert not attempt(Desk(str(tmp_path), "r", 0.5), "a", lambda: None)
    assert failure(Desk(str(tmp_path), "r", 0.5), "a").code == "task_too_long"
