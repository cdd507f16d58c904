"""Where results go: no input and no file of somebody else is lost, a folder is one plan, a second run waits."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from treescan import atomic
from treescan.atomic import only_run, whole_folder
from treescan.errors import BadInput
from treescan.faces.cli.commands import run
from treescan.faces.guard.output_place import digests

FAULTS = Path(__file__).parent.parent / "faults"
ROOT = FAULTS.parent.parent


@pytest.fixture
def folder(tmp_path) -> Path:
    """A folder with inputs of every kind, and one finished plan."""
    held = tmp_path / "d"
    held.mkdir()
    for name in ("hand.json", "small.xyz", "site.geojson", "throws.csv", "inv.csv", "fast.toml"):
        shutil.copy(FAULTS / name, held / name)
    made_plan(held / "plan", "other.laz")
    os.symlink(held / "small.xyz", held / "link.json")
    os.link(held / "throws.csv", held / "hard.toml")
    return held


def made_plan(folder: Path, cloud: str) -> None:
    """A folder as a run of `plan` leaves it."""
    folder.mkdir()
    (folder / "report.html").write_text("old")
    record = {"format": "treescan-run", "inputs": [{"file": cloud, "sha256": "0"}], "files": digests(folder)}
    (folder / "run.json").write_text(json.dumps(record))


def state(folder: Path) -> dict[str, str]:
    """Every file by content."""
    return {
        str(p.relative_to(folder)): hashlib.sha256(p.read_bytes()).hexdigest()
        for p in folder.rglob("*")
        if p.is_file()
    }


SACRED = {
    "a plan into the folder of its scan": (["plan", "D/small.xyz", "-o", "D"], "small.xyz"),
    "a plan into the folder of its site plan": (
        ["plan", "D/small.xyz", "-o", "D", "--site", "D/site.geojson"],
        "input",
    ),
    "a plan above its scan": (["plan", "D/small.xyz", "-o", "D/.."], "input"),
    "a plan into its own tree": (["plan", "D/plan/tree.json", "-o", "D/plan"], "tree.json, an input"),
    "a plan into a folder of other things": (["plan", "FAULTS/small.xyz", "-o", "D"], "hand.json"),
    "another tree's plan": (["plan", "D/hand.json", "-o", "D/plan"], "--replace"),
    "a plan onto a file": (["plan", "D/hand.json", "-o", "D/inv.csv"], "not a folder"),
    "a plan to nowhere": (["plan", "D/hand.json", "-o", ""], "empty"),
    "a trace onto its scan": (["trace", "D/small.xyz", "-o", "D/small.xyz"], "input"),
    "a trace onto a link to its scan": (["trace", "D/small.xyz", "-o", "D/link.json"], "input"),
    "a trace onto a tree made by hand": (["trace", "D/small.xyz", "-o", "D/hand.json"], "not written by"),
    "a trace onto a folder": (["trace", "D/small.xyz", "-o", "D/plan"], "is a folder"),
    "a trace to nowhere": (["trace", "D/small.xyz", "-o", ""], "empty"),
    "throws onto their record": (["throws", "D/throws.csv", "-o", "D/throws.csv"], "input"),
    "throws onto a hard link to their record": (["throws", "D/throws.csv", "-o", "D/hard.toml"], "input"),
    "throws onto somebody's settings": (["throws", "D/throws.csv", "-o", "D/fast.toml"], "not written by"),
    "a join into the folder of the inventory": (["join", "D/inv.csv", "D/plan", "-o", "D"], "inv.csv"),
    "a join into a plan": (["join", "D/inv.csv", "D/plan", "-o", "D/plan"], "input"),
    "a join within a plan": (["join", "D/inv.csv", "D/plan", "-o", "D/plan/joined"], "lies in plan"),
}


@pytest.mark.parametrize(("call", "said"), SACRED.values(), ids=SACRED.keys())
def test_no_input_and_no_file_of_somebody_else_is_replaced(folder, call, said, capsys):
    """Refused in one sentence before anything slow; no byte of the folder changes."""
    before = state(folder)
    began = time.perf_counter()

    code = run([a.replace("D/", f"{folder}/").replace("FAULTS", str(FAULTS)) if a != "D" else str(folder) for a in call])
    err = capsys.readouterr().err

    assert code == 2, err
    assert said in err and err.count("\n") == 1
    assert state(folder) == before
    assert time.perf_counter() - began < 20


def test_a_changed_file_of_a_plan_is_named(folder, capsys):
    """A report somebody wrote into is not taken away without a word, not even with --replace."""
    (folder / "plan" / "report.html").write_text("old, with my notes")

    assert run(["plan", str(folder / "hand.json"), "-o", str(folder / "plan"), "--replace"]) == 2
    assert "report.html" in capsys.readouterr().err


def test_a_folder_is_old_or_new(tmp_path):
    """A fault while the new folder is written leaves the old one whole and nothing beside it."""
    target = tmp_path / "out"
    target.mkdir()
    (target / "a").write_text("old")
    with pytest.raises(OSError, match="full"), whole_folder(target, lambda: None) as part:
        (part / "a").write_text("new")
        raise OSError("full")
    assert (target / "a").read_text() == "old"

    with whole_folder(target, lambda: None) as part:
        (part / "b").write_text("new")
    assert [p.name for p in target.iterdir()] == ["b"]
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


def test_a_system_without_exchange_swaps_too(tmp_path, monkeypatch):
    """Where two names cannot be exchanged, the old folder steps aside; killed in between it is put back."""
    monkeypatch.setattr(atomic, "_exchanged", lambda a, b: False)
    target = tmp_path / "out"
    target.mkdir()
    (target / "a").write_text("old")
    with whole_folder(target, lambda: None) as part:
        (part / "a").write_text("new")
    assert (target / "a").read_text() == "new"
    assert [p.name for p in tmp_path.iterdir()] == ["out"]

    target.rename(tmp_path / ".part-out-abcdefgh-before")
    with only_run(target):
        assert (target / "a").read_text() == "new"


def test_the_second_run_into_one_place_is_refused(tmp_path):
    """While one run holds a place another is refused; what a live run of a like name writes stays."""
    other = tmp_path / ".part-out-2-abcdefgh"
    other.mkdir()
    left = tmp_path / ".part-out-abcdefgh"
    left.mkdir()
    with only_run(tmp_path / "out"):
        assert other.exists() and not left.exists()
        with pytest.raises(BadInput, match="another run"), only_run(tmp_path / "out"):
            pass
    with only_run(tmp_path / "out"):
        pass
    assert [p.name for p in tmp_path.iterdir()] == [other.name]


DEAF = """
import signal, sys, time
signal.signal(signal.SIGINT, signal.default_int_handler)  # tests run in the background hand on deaf ears
from treescan.faces.guard.watcher import start_watcher
start_watcher()
from pathlib import Path
from treescan.atomic import only_run, whole_folder
import ctypes
with only_run(Path(sys.argv[1])), whole_folder(Path(sys.argv[1]), lambda: None) as part:
    (part / "a").write_text("new")
    print("ready", flush=True)
    if sys.argv[2] == "deaf":
        ctypes.PyDLL(None).sleep(30)  # holds the interpreter, as a compiled loop does
    time.sleep(30)
"""


@pytest.mark.skipif(not hasattr(os, "fork"), reason="no watcher on this system")
@pytest.mark.parametrize(("how", "sent"), [("deaf", "SIGINT"), ("hears", "SIGINT"), ("deaf", "SIGKILL"), ("hears", "SIGTERM")])
def test_a_killed_run_leaves_nothing_and_ctrl_c_is_heard(tmp_path, how, sent):
    """Whatever ends a run: not 0, soon, the old folder whole, nothing beside it."""
    target = tmp_path / "out"
    target.mkdir()
    (target / "a").write_text("old")
    child = subprocess.Popen(
        [sys.executable, "-c", DEAF, str(target), how],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
    )
    assert child.stdout.readline() == b"ready\n"
    began = time.perf_counter()
    child.send_signal(getattr(signal, sent))
    code = child.wait(20)
    took = time.perf_counter() - began
    deadline = time.perf_counter() + 5
    while len(list(tmp_path.iterdir())) > 1 and time.perf_counter() < deadline:
        time.sleep(0.05)

    assert code != 0
    assert took < 3, "0.6 s and the slowness of a busy machine"
    assert (target / "a").read_text() == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["out"]
