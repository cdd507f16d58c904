"""What a batch costs: the scheduler for 10,000 trees, one worker against two, memory of a worker, trees an hour.

    python scripts/bench_batch.py graph [--trees 10000]     the real task graph over stubs of trees, beside bare dask with empty tasks
    python scripts/bench_batch.py workers [--rounds 5]      one worker and two, beside plain processes and threads, turn by turn
    python scripts/bench_batch.py memory [--points 60] [--trees 20000] [--cells 2]     peak memory of one that indexes and looks through
    python scripts/bench_batch.py kinds NAME=CLOUD ...           processor time of a tree by kind of scan, planned in full
    python scripts/bench_batch.py triage NAME=CLOUD ...          of a tree that is only found and sorted, every part of the cloud

Each adds its figures to scripts/batch_figures.json, from which scripts/city_plan.py makes the page on a million trees. Where other work shares the
machine, clock times say little; ratios of turns that follow one another, their medians, and processor times hold.
"""

from __future__ import annotations

import argparse
import csv
import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import laspy
import numpy as np
import psutil
from pyproj import CRS

from treescan.assess import Settings
from treescan.faces.city import batch_job as whole
from treescan.faces.city import tasks
from treescan.faces.city.asked import BatchRequest
from treescan.faces.city.dask_run import AHEAD, Running, cluster, run_all
from treescan.faces.city.guarded import Desk
from treescan.faces.city.tasks import Shared, TreeJob, do_task
from treescan.faces.user_files.settings_file import read_settings
from treescan.trees.census.look_through import FoundTree

ROOT = Path(__file__).parents[1]
FIGURES = ROOT / "scripts" / "batch_figures.json"
HAND, FAST = ROOT / "tests" / "faults" / "hand.json", ROOT / "tests" / "faults" / "fast.toml"
APART = 12.8
"""Between the stubs of trees: a hundred on a part of 128 m. [m]"""
CORNER = np.array([300_032.0, 60_032.0])
SYSTEM = "EPSG:32118"
TEMPLATE = "TREESCAN_BENCH_TEMPLATE"


def stub_task(path: str, kind: str, name: str) -> tuple[str, bool]:
    """A task of the real graph; in place of looking and planning, stubs write what those write."""
    import json as js
    import os as system
    from pathlib import Path as P

    from treescan.faces.city import tasks as real

    record = system.environ["TREESCAN_BENCH_TEMPLATE"]

    def look(shared: Any, name: str, file: Any) -> None:
        held = js.loads(P(record).read_text())["cells"].get(name, [])
        real.write_whole(file, {"trees": held, "wires": []})

    def plan(shared: Any, job: Any, folder: Any) -> None:
        own = js.loads(P(record).read_text())["plan"] if not hasattr(real, "_kept") else real._kept
        real._kept = own  # type: ignore[attr-defined]
        with real.whole_folder(folder, lambda: None) as part:
            real.write_whole(part / "tree.json", {"stub": name})
            real.write_whole(part / real.RECORD, own)
            real.write_whole(part / "run.json", {"stub": name, "settings": {}})

    real._look_at, real._plan = look, plan
    return real.do_task(path, kind, name)


def empty(number: int) -> int:
    """A task that does nothing."""
    return number


def made_city(folder: Path, trees: int) -> Path:
    """A tile of bare ground, an inventory, and what the stubs write: `trees` trees on a square."""
    side = int(np.ceil(np.sqrt(trees)))
    rng = np.random.default_rng(19)
    wide = side * APART
    xy = rng.uniform(0, wide, (int(wide * wide / 4), 2))
    header = laspy.LasHeader(point_format=6, version="1.4")
    header.scales, header.offsets = np.full(3, 0.001), np.append(CORNER, 0.0)
    header.add_crs(CRS.from_user_input(SYSTEM))
    cloud = laspy.LasData(header)
    cloud.x, cloud.y, cloud.z = *(xy + CORNER).T, np.zeros(len(xy))
    (folder / "tiles").mkdir()
    cloud.write(folder / "tiles" / "ground.laz")
    k = np.arange(trees)
    at = CORNER + (np.column_stack([k % side, k // side]) + 0.5) * APART
    cells: dict[str, list[Any]] = {}
    for x, y in at:
        cell = tasks.Cell(float(x // 128 * 128), float(y // 128 * 128), 128.0)
        row = FoundTree((float(x), float(y), 0.0), 8.0, 0.24, 6.28, 2.5, 3.0, 0.02, 9000, False, 0.02, float("nan"), float("nan"))
        cells.setdefault(cell.name, []).append(tasks.tame(tasks.asdict(row)))
    with (folder / "inventory.csv").open("w", newline="") as f:
        rows = csv.writer(f)
        rows.writerow(["id", "x", "y", "species"])
        rows.writerows([f"K{n:06d}", round(x, 2), round(y, 2), "oak"] for n, (x, y) in enumerate(at))
    (folder / "fields.toml").write_text(f'[fields]\ncrs = "{SYSTEM}"\n')
    shared = _shared(folder / "one", 1)
    tasks._plan(shared, shared.jobs["t0"], folder / "one" / "t0")
    plan = json.loads((folder / "one" / "t0" / tasks.RECORD).read_text())
    (folder / "template.json").write_text(json.dumps({"cells": cells, "plan": plan}))
    return folder


def _shared(root: Path, trees: int, first: int = 0) -> Shared:
    """What tasks share that plan the tree made by hand under the names t0, t1, ..."""
    root.mkdir(parents=True, exist_ok=True)
    jobs = {f"t{k}": TreeJob(f"t{k}", file=str(HAND)) for k in range(first, first + trees)}
    return Shared(str(root), Desk(str(root / "work"), "bench", 0.0), read_settings(FAST), None, None, 1, {str(HAND): "0" * 64}, jobs=jobs)


class Meter:
    """Clock and processor time of this process and of its workers, and their largest memory so far."""

    def __init__(self) -> None:
        self.own = psutil.Process()
        self.begun = self._now()

    def _now(self) -> tuple[float, float, float]:
        workers = sum(sum(p.cpu_times()[:2]) for p in self.own.children(recursive=True))
        return time.monotonic(), sum(self.own.cpu_times()[:2]), workers

    def told(self, count: int) -> dict[str, float]:
        """Milliseconds a task since this was made."""
        now = self._now()
        names = ("clock_ms", "scheduler_ms", "workers_ms")
        return {n: round(1000 * (b - a) / count, 3) for n, a, b in zip(names, self.begun, now, strict=True)}

    def memory(self) -> dict[str, float]:
        """Resident memory now, of this process and of the largest worker. [MB]"""
        workers = [p.memory_info().rss for p in self.own.children(recursive=True)]
        return {"scheduler_mb": round(self.own.memory_info().rss / 1e6), "worker_mb": round(max(workers, default=0) / 1e6)}


def graph(trees: int) -> dict[str, Any]:
    """The real run over stubs, in blocks, each followed by as many empty tasks on the same cluster."""
    blocks: list[tuple[dict[str, float], dict[str, float]]] = []
    stages: dict[str, dict[str, float]] = {}
    memory: list[dict[str, float]] = []

    def timed(running: Running, work: Callable[..., Any], jobs: Sequence[tuple[Any, ...]], done: Any, died: Any) -> None:
        kind = jobs[0][1] if jobs else ""
        if kind != "tree":
            meter = Meter()
            run_all(running, work, jobs, done, died)
            stages[kind] = {"tasks": len(jobs), **meter.told(max(1, len(jobs)))}
            return
        running.client.gather(running.client.map(empty, range(200)))
        for start in range(0, len(jobs), AHEAD):
            part = jobs[start : start + AHEAD]
            meter = Meter()
            run_all(running, work, part, done, died)
            real = meter.told(len(part))
            memory.append(meter.memory())
            meter = Meter()
            running.client.gather(running.client.map(empty, range(start, start + len(part)), pure=False))
            blocks.append((real, meter.told(len(part))))
        stages["tree"] = {"tasks": len(jobs)}

    with tempfile.TemporaryDirectory() as place:
        folder = made_city(Path(place), trees)
        os.environ[TEMPLATE] = str(folder / "template.json")
        whole.do_task, whole.run_all = stub_task, timed
        asked = BatchRequest((folder / "tiles",), folder / "city", folder / "inventory.csv", folder / "fields.toml", workers=1)
        begun, cpu = time.monotonic(), time.process_time()
        whole.batch_job(asked, True, False)
        own = psutil.Process().memory_info().rss
        held = [p for p in (folder / "city").rglob("*") if p.is_file()]
        with (folder / "city" / "trees.csv").open() as f:
            states = [r["state"] for r in csv.DictReader(f)]
        about = {
            "trees": trees,
            "planned": states.count("planned"),
            "clock_s": round(time.monotonic() - begun),
            "client_processor_s": round(time.process_time() - cpu),
            "client_mb_at_end": round(own / 1e6),
            "city_files_mb": round(sum(p.stat().st_size for p in held if p.parent == folder / "city") / 1e6, 1),
            "city_page_mb": round((folder / "city" / "city.html").stat().st_size / 1e6, 1),
            "record_kb": round((folder / "one" / "t0" / tasks.RECORD).stat().st_size / 1e3, 1),
        }
    real = {n: round(statistics.median(r[n] for r, _ in blocks), 3) for n in blocks[0][0]}
    floor = {n: round(statistics.median(f[n] for _, f in blocks), 3) for n in blocks[0][1]}
    ratio = round(statistics.median(r["scheduler_ms"] / f["scheduler_ms"] for r, f in blocks), 2)
    return {
        **about,
        "a_tree": real,
        "an_empty_task": floor,
        "scheduler_over_floor": ratio,
        "stages": stages,
        "scheduler_mb": max(m["scheduler_mb"] for m in memory),
        "worker_mb": max(m["worker_mb"] for m in memory),
    }


def _many(path: str, names: Sequence[str]) -> int:
    """Some trees one after the other, in a plain process."""
    return sum(do_task(path, "tree", name)[1] for name in names)


def workers(rounds: int, each: int) -> dict[str, Any]:
    """Trees an hour of one plain process and two, one worker and two, and two threads, in turn."""
    import pickle

    spawn = get_context("spawn")
    seconds: dict[str, list[float]] = {}
    processor: dict[str, list[float]] = {}
    with tempfile.TemporaryDirectory() as place:
        count = [0]

        def jobs(trees: int) -> tuple[str, list[str]]:
            root = Path(place) / f"r{count[0]}"
            shared = _shared(root, trees)
            path = root / "shared.pickle"
            path.write_bytes(pickle.dumps(shared))
            count[0] += 1
            return str(path), list(shared.jobs)

        def plain(pool: ProcessPoolExecutor, processes: int, trees: int) -> None:
            path, names = jobs(trees)
            futures = [pool.submit(_many, path, names[k::processes]) for k in range(processes)]
            assert sum(f.result() for f in futures) == trees

        def dask(running: Running, trees: int) -> None:
            path, names = jobs(trees)
            ended: list[bool] = []
            run_all(running, do_task, [(path, "tree", n) for n in names], lambda n, well: ended.append(well), print)
            assert ended == [True] * trees

        with (
            ProcessPoolExecutor(2, mp_context=spawn) as pool,
            cluster(1, "4GB", None) as one,
            cluster(2, "4GB", None) as two,
            cluster(2, "4GB", None, threads=True) as threads,
        ):
            ways: dict[str, tuple[Callable[[int], None], int]] = {
                "1 plain process": (lambda n: plain(pool, 1, n), 1),
                "1 worker": (lambda n: dask(one, n), 1),
                "2 plain processes": (lambda n: plain(pool, 2, n), 2),
                "2 workers": (lambda n: dask(two, n), 2),
                "2 threads": (lambda n: dask(threads, n), 2),
            }
            plain(pool, 2, 2)
            for way, (do, wide) in ways.items():
                if "plain" not in way:
                    do(2 * wide)
            for k in range(rounds):
                order = list(ways.items())
                for way, (do, wide) in order[k % 5 :] + order[: k % 5]:
                    meter = Meter()
                    do(each * wide)
                    told = meter.told(each * wide)
                    seconds.setdefault(way, []).append(round(told["clock_ms"] / 1000, 3))
                    processor.setdefault(way, []).append(round((told["scheduler_ms"] + told["workers_ms"]) / 1000, 3))
    gain = {n: [a / b for a, b in zip(seconds[f"1 {one}"], seconds[f"2 {n}"], strict=True)] for n, one in (("workers", "worker"), ("plain processes", "plain process"))}
    share = [a / b for a, b in zip(seconds["2 plain processes"], seconds["2 workers"], strict=True)]
    threaded = [a / b for a, b in zip(seconds["2 plain processes"], seconds["2 threads"], strict=True)]
    return {
        "rounds": rounds,
        "trees_a_turn_and_worker": each,
        "seconds_a_tree": seconds,
        "processor_s_a_tree": {n: round(statistics.median(v), 3) for n, v in processor.items()},
        "gain_of_two": {n: round(statistics.median(v), 3) for n, v in gain.items()},
        "two_workers_of_two_plain_processes": round(statistics.median(share), 3),
        "one_worker_of_one_plain_process": round(
            statistics.median(a / b for a, b in zip(seconds["1 plain process"], seconds["1 worker"], strict=True)), 3
        ),
        "two_threads_of_two_plain_processes": round(statistics.median(threaded), 3),
        "load": os.getloadavg()[0],
    }


def memory(points: float, trees: int, cells: int) -> dict[str, Any]:
    """Peak memory of a process that indexes a tile and looks through its fullest parts, for many points and for many trees."""
    out = {}
    for name, size, held in (("points", round(points * 1e6), 200), ("trees", trees * 250, trees)):
        with tempfile.TemporaryDirectory() as place:
            _write_tile(Path(place) / "tile.las", size, held)
            code = "import json, sys; sys.path.insert(0, sys.argv[3]); import bench_batch as b; print(json.dumps(b.one_worker(sys.argv[1], int(sys.argv[2]))))"
            done = subprocess.run(
                [sys.executable, "-c", code, f"{place}/tile.las", str(cells), str(ROOT / "scripts")], capture_output=True, text=True, check=False
            )
            assert done.returncode == 0, done.stderr[-2000:]
            out[name] = {"trees": held, **json.loads(done.stdout.splitlines()[-1])}
            print(name, out[name], flush=True)
    return out


def one_worker(file: str, cells: int) -> dict[str, Any]:
    """Index a tile and look through its fullest parts, in this process."""
    import resource

    from treescan.cloud.tiles.tile_index import index_tile
    from treescan.cloud.tiles.tile_map import one_map
    from treescan.trees.census.cells import cells_of

    begun = time.process_time()
    tile = index_tile(Path(file), Path(file).parent / "index")
    indexed = time.process_time() - begun
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    tiles = one_map([tile])
    filled = tiles.filled
    every = cells_of(filled, whole.MOST_IN_A_PART)
    weight = [filled[np.all((filled[:, :2] >= c.low) & (filled[:, :2] < c.high), axis=1), 2].sum() for c in every]
    shared = Shared(str(Path(file).parent), Desk("", "bench", 0.0), Settings(), None, None, 1, {}, tiles=tiles, cells={c.name: c for c in every})
    found, begun = 0, time.process_time()
    fullest = sorted(range(len(every)), key=lambda k: -weight[k])[:cells]
    for k in fullest:
        at = Path(file).parent / "seen.json"
        tasks._look_at(shared, every[k].name, at)
        found += len(json.loads(at.read_text())["trees"])
    looked = time.process_time() - begun
    return {
        "points": int(tile.points),
        "index_processor_s": round(indexed, 1),
        "index_mb": round(peak),
        "index_bytes_a_point": round(sum(p.stat().st_size for p in (Path(file).parent / "index").iterdir()) / tile.points, 1),
        "parts": len(every),
        "parts_looked_through": len(fullest),
        "points_of_the_fullest": int(max(weight)),
        "look_processor_s_a_part": round(looked / len(fullest), 1),
        "trees_told": found,
        "peak_mb": round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024),
    }


def _write_tile(file: Path, points: int, trees: int) -> None:
    """A tile of trees 10 m apart, as LAS in thousandths of a metre, some at a time."""
    import bench_tile

    bench_tile.IN_A_ROW = max(20, int(np.sqrt(trees)))
    header = laspy.LasHeader(point_format=6, version="1.4")
    header.scales, header.offsets = np.full(3, 0.001), np.append(CORNER, 0.0)
    header.add_crs(CRS.from_user_input(SYSTEM))
    with laspy.open(file, mode="w", header=header) as f:
        for xyz in bench_tile.blocks(points, trees):
            record = laspy.ScaleAwarePointRecord.zeros(len(xyz), header=header)
            record.x, record.y, record.z = (xyz + np.append(CORNER, 0.0)).T
            f.write_points(record)


def triage(clouds: Sequence[str]) -> dict[str, Any]:
    """Processor time and memory of indexing and looking through whole clouds, each in a process of its own."""
    return _apart(clouds, "looked_at")


def _apart(clouds: Sequence[str], measure: str) -> dict[str, Any]:
    """What a function of this script measures of each cloud, given as NAME=CLOUD or CLOUD, in a process of its own."""
    out = {}
    code = f"import json, sys; sys.path.insert(0, sys.argv[2]); import bench_batch as b; print(json.dumps(b.{measure}(sys.argv[1])))"
    for given in clouds:
        name, _, cloud = given.rpartition("=")
        done = subprocess.run([sys.executable, "-c", code, cloud, str(ROOT / "scripts")], capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stderr[-2000:]
        out[name or Path(cloud).stem] = json.loads(done.stdout.splitlines()[-1])
        print(given, out[name or Path(cloud).stem], flush=True)
    return out


def looked_at(cloud: str) -> dict[str, Any]:
    """The whole of a cloud, indexed and looked through in this process, after a first time that loads what is compiled."""
    import shutil

    for _ in range(2):
        with tempfile.TemporaryDirectory() as place:
            file = Path(shutil.copy(cloud, place))
            told = one_worker(str(file), 10_000)
    spent = told["index_processor_s"] + told["look_processor_s_a_part"] * told["parts"]
    return {**told, "processor_s_a_tree": round(spent / max(1, told["trees_told"]), 3), "cloud_mb": round(Path(cloud).stat().st_size / 1e6, 2)}


def kinds(clouds: Sequence[str]) -> dict[str, Any]:
    """Processor time and memory of one tree, each cloud a tree in a process of its own."""
    return _apart(clouds, "one_tree")


def one_tree(cloud: str) -> dict[str, Any]:
    """Trace and plan a cloud as a worker does, after a small one that loads what is compiled."""
    import resource

    with tempfile.TemporaryDirectory() as place:
        warm = _shared(Path(place) / "warm", 1)
        tasks._plan(warm, warm.jobs["t0"], Path(place) / "warm" / "t0")
        shared = Shared(place, Desk("", "bench", 0.0), Settings(), None, None, 1, {cloud: "0" * 64})
        begun = time.process_time()
        tasks._plan(shared, TreeJob("tree", file=cloud), Path(place) / "tree")
        spent = time.process_time() - begun
        size = sum(p.stat().st_size for p in (Path(place) / "tree").rglob("*") if p.is_file())
    return {
        "processor_s": round(spent, 1),
        "peak_mb": round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024),
        "result_mb": round(size / 1e6, 2),
        "cloud_mb": round(Path(cloud).stat().st_size / 1e6, 2),
    }


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    asked.add_argument("what", choices=("graph", "workers", "memory", "kinds", "triage"))
    asked.add_argument("clouds", nargs="*")
    asked.add_argument("--trees", type=int)
    asked.add_argument("--rounds", type=int, default=5)
    asked.add_argument("--each", type=int, default=3)
    asked.add_argument("--points", type=float, default=60.0, help="millions")
    asked.add_argument("--cells", type=int, default=2)
    given = asked.parse_args()
    made = {
        "graph": lambda: graph(given.trees or 10_000),
        "workers": lambda: workers(given.rounds, given.each),
        "memory": lambda: memory(given.points, given.trees or 20_000, given.cells),
        "kinds": lambda: kinds(given.clouds),
        "triage": lambda: triage(given.clouds),
    }[given.what]()
    print(json.dumps(made, indent=1))
    held = json.loads(FIGURES.read_text()) if FIGURES.is_file() else {}
    held[given.what] = {**held.get(given.what, {}), **made} if given.clouds else made
    FIGURES.write_text(json.dumps(held, indent=1, sort_keys=True) + "\n")


if __name__ == "__main__":
    main()
