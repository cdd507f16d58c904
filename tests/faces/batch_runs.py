"""Batches run as processes of their own: what they are made from, how they are started, and what they left."""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

from test_kill_matrix import tree

from treescan.wood.files.write_tree import write_tree

ROOT = Path(__file__).parents[2]
FAST = ROOT / "tests" / "faults" / "fast.toml"
FAULTY = Path(__file__).parent / "faulty"


def trees(folder: Path, count: int) -> Path:
    """Small trees made by hand, each in a folder of its own, one of which is no tree."""
    for k in range(count):
        own = folder / f"plot_T{k + 1}"
        own.mkdir(parents=True)
        write_tree(tree(1.0 + k), own / "tree.json")
    poison = folder / "plot_T9"
    poison.mkdir()
    (poison / "tree.json").write_text('{"format": "treescan-tree", "version": 1, "nodes": [{"id": 0}]}')
    return folder


def state(folder: Path) -> dict[str, str]:
    """Every result by content; notes of how the run went are no results."""
    held = [p for p in sorted(folder.rglob("*")) if p.is_file()]
    held = [p for p in held if p.name != "journal.jsonl" and not {"started", "logs"} & {*p.parts} and p.suffix != ".pickle"]
    return {str(p.relative_to(folder)): hashlib.sha256(p.read_bytes()).hexdigest() for p in held if not p.name.startswith((".lock-", ".part-"))}


def differ(one: Path, two: Path) -> set[str]:
    """Names of the results in which two batches differ."""
    a, b = state(one), state(two)
    return {k for k in a.keys() | b.keys() if a.get(k) != b.get(k)}


def command(source: Path, out: Path, *more: str) -> list[str]:
    """The call, with one worker unless it names a scheduler."""
    workers = () if "--scheduler" in more else ("--workers", "1")
    return [sys.executable, "-m", "treescan", "batch", str(source), "-o", str(out), "--settings", str(FAST), *workers, "--quiet", *more]


def surroundings(fault: Path | None = None) -> dict[str, str]:
    """Variables of a process; `fault` names the file that puts faults into it while it stands."""
    held = os.environ | {"PYTHONPATH": str(ROOT)}
    if fault:
        held |= {"PYTHONPATH": f"{FAULTY}{os.pathsep}{ROOT}", "TREESCAN_TEST_FAULT": str(fault)}
    return held


def started(source: Path, out: Path, *more: str, fault: Path | None = None) -> subprocess.Popen[bytes]:
    """A batch that runs."""
    return subprocess.Popen(
        command(source, out, *more), env=surroundings(fault), start_new_session=True, stdout=subprocess.PIPE, stderr=subprocess.STDOUT
    )


def finished(going: subprocess.Popen[bytes], code: int | None = 0) -> str:
    """What a batch said, once it is done; its exit code is as given (None = any)."""
    said, _ = going.communicate(timeout=900)
    assert code is None or going.returncode == code, (going.returncode, said.decode()[-2000:])
    return said.decode()


def wait_for(file: Path, going: subprocess.Popen[bytes]) -> None:
    """Until a file stands or a process has ended."""
    deadline = time.monotonic() + 300
    while not file.exists() and going.poll() is None and time.monotonic() < deadline:
        time.sleep(0.05)


@contextlib.contextmanager
def scheduler(folder: Path, fault: Path | None = None) -> Iterator[tuple[str, subprocess.Popen[bytes]]]:
    """A dask scheduler with one worker, started by hand as on another machine: its address and the scheduler's
    process; `fault` as for `surroundings`."""
    folder.mkdir(parents=True, exist_ok=True)
    about = folder / "scheduler.json"
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "start_new_session": True, "env": surroundings(fault)}
    module = [sys.executable, "-m"]
    own = subprocess.Popen(
        [*module, "distributed.cli.dask_scheduler", "--host", "127.0.0.1", "--port", "0", "--no-dashboard", "--scheduler-file", str(about)], **quiet
    )
    wait_for(about, own)
    address = json.loads(about.read_text())["address"]
    worker = subprocess.Popen(
        [*module, "distributed.cli.dask_worker", address, "--nthreads", "1", "--no-dashboard", "--local-directory", str(folder), "--death-timeout", "600"], **quiet
    )
    try:
        yield address, own
    finally:
        for process in (worker, own):
            with contextlib.suppress(ProcessLookupError):
                os.killpg(process.pid, signal.SIGKILL)
            process.wait()
