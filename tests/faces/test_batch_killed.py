"""A batch on a scheduler started by hand, and batches disturbed at twenty moments: each comes, at latest when called again, to the same bytes as a run
that nobody disturbed."""

from __future__ import annotations

import json
import os
import random
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from batch_runs import command, differ, finished, scheduler, started, trees

from treescan.faces.cli.commands import run

SEED = 19
MOMENTS = (
    *[("worker", k / 5) for k in range(5)],
    *[("everything", k / 5) for k in range(5)],
    *[("scheduler", k / 3) for k in range(3)],
    *[("full", k / 3) for k in range(3)],
    ("dies", "plot_T2"),
    ("dies", "tile.xyz"),
    ("slow", 60.0),
    ("slow", 180.0),
)
"""What happens, and after which part of the file events of a run, at which file, or for how long [s]; a tree takes about two seconds."""
FEW = (5, 11, 14)
ALL = os.environ.get("TREESCAN_BATCH_KILLS") == "all"
LIMIT = 2.0
"""Time limit of a tree. [min]"""


@dataclass
class Cluster:
    """A scheduler and a worker that may be killed, started again when they were."""

    folder: Path
    started: int = 0
    held: object = None
    address: str = ""
    pid: int = 0

    @property
    def fault(self) -> Path:
        """The file that holds the fault."""
        return self.folder / "fault.json"

    def __enter__(self) -> Cluster:
        self.started += 1
        held = scheduler(self.folder / f"scheduler{self.started}", self.fault)
        self.address, process = held.__enter__()
        self.held, self.pid = held, process.pid
        return self

    def __exit__(self, *_: object) -> None:
        self.held.__exit__(None, None, None)

    def put(self, **fault: object) -> None:
        """Put a fault into the worker."""
        part = self.fault.with_suffix(".part")
        part.write_text(json.dumps(fault))
        part.replace(self.fault)

    def batch(self, source: Path, out: Path) -> int:
        """A batch on this cluster, from this process; its exit code."""
        return run(command(source, out, "--scheduler", self.address, "--time-limit", str(LIMIT))[3:])


@pytest.fixture(scope="module")
def source(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two trees, one that is none, a tile with ground and a pole too thin to plan, and a tile that is damaged."""
    folder = trees(tmp_path_factory.mktemp("trees"), 2)
    rng = np.random.default_rng(SEED)
    ground = np.column_stack([rng.uniform(0, 20, (4000, 2)), rng.normal(0, 0.01, 4000)])
    up = np.column_stack([rng.normal(10, 0.6, (60, 2)), rng.uniform(0, 8, 60)])
    np.savetxt(folder / "tile.xyz", np.vstack([ground, up]), fmt="%.3f")
    (folder / "damaged.laz").write_bytes(b"LASF" + bytes(range(200)))
    return folder


@pytest.fixture(scope="module")
def whole(source: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An undisturbed run on a cluster of its own."""
    out = tmp_path_factory.mktemp("whole") / "city"
    finished(started(source, out))
    return out


@pytest.fixture(scope="module")
def by_hand(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Cluster]:
    """A scheduler and a worker started by hand."""
    with Cluster(tmp_path_factory.mktemp("by_hand")) as held:
        yield held


@pytest.fixture(scope="module")
def events(source: Path, whole: Path, by_hand: Cluster, tmp_path_factory: pytest.TempPathFactory) -> int:
    """File events of the worker in an undisturbed run on a scheduler started by hand, which comes to the same bytes."""
    out = tmp_path_factory.mktemp("counted") / "city"
    count = by_hand.folder / "count"
    by_hand.put(kind="count", match=str(out), count=str(count))
    assert by_hand.batch(source, out) == 0
    by_hand.fault.unlink()
    assert differ(out, whole) == set()
    return count.stat().st_size


@pytest.mark.slow
@pytest.mark.parametrize("number", range(len(MOMENTS)) if ALL else FEW)
def test_disturbed_at_any_moment_it_comes_to_the_same_bytes(source: Path, whole: Path, by_hand: Cluster, events: int, tmp_path: Path, number: int, capfd: pytest.CaptureFixture[str]) -> None:
    """kill -9 of the worker, of everything, of the scheduler; a full disk; a tree and a tile that take their process along; a tree that takes far
    longer than the others, within the time limit and beyond it. A run that could not end says so, and is called again."""
    kind, how = MOMENTS[number]
    rng = random.Random(SEED * 1000 + number)
    out = tmp_path / "city"
    own = {"match": str(out), "after": int(events * (float(how) + rng.random() / 5))} if kind in ("worker", "everything", "scheduler", "full") else {}
    if kind == "dies":
        own = {"match": str(source / str(how))}
    if kind == "slow":
        own = {"match": str(source / "plot_T1"), "seconds": how}
    by_hand.put(kind=kind, victim=by_hand.pid, **own)
    begun = time.monotonic()
    if kind == "everything":
        finished(started(source, out, fault=by_hand.fault), -9)
        code = -9
    else:
        code = by_hand.batch(source, out)
    by_hand.fault.unlink(missing_ok=True)
    told = capfd.readouterr().err
    assert kind not in ("full", "scheduler") or {"full": "the disk is full", "scheduler": "the scheduler went away"}[kind] in told
    changed = len(differ(out, whole))
    print(f"{number} {kind} {how}: {own.get('after', '')} of {events} events, exit {code}, {time.monotonic() - begun:.0f} s, {changed} results open")
    if kind == "scheduler":
        by_hand.__exit__()
        by_hand.__enter__()
    assert code == {"worker": 0, "everything": -9, "scheduler": 1, "full": 1, "dies": 0, "slow": 0}[kind]
    assert by_hand.batch(source, out) == 0
    assert not any(p.name.startswith(".part-") for p in out.rglob("*"))
    assert differ(out, whole) == set()
