"""Time and peak memory of `treescan trace` on a tile of many trees, whole and with --at, each in a process of its own.

The tile comes from a generator, a million points at a time, as a file would: trees 10 m apart in rows of 20, each the surface of one grown
tree with 3 mm noise, and ground that rises and falls by half a metre. What reading a packed file takes comes on top, but for the last table:
there the tile, and one tree of it cut out (20 m by 20 m; 44 m by 44 m with its neighbours), are LAZ files.

    python scripts/bench_tile.py 1 10 60        those sizes, in millions of points, 200 trees
    python scripts/bench_tile.py --trees 800 200
    python scripts/bench_tile.py --cut 10       one tree of the tile with --at beside the same tree cut out
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).parent))

APART, IN_A_ROW, TEMPLATE, BLOCK = 10.0, 20, 400_000, 1_000_000
"""Between trees [m]; trees in a row; points of the tree that is repeated; points at a time."""
CUTS = {"that tree cut out": 10.0, "that tree and its neighbours cut out": 22.0}
"""Half the side of what is cut out: a tree's own place, or all that is looked at for one (`trees/round_the_place.py`). [m]"""
ROOM = 8 << 30
"""No job may take more. [bytes]"""


def tree_points(seed: int = 7) -> NDArray[np.float64]:
    """Points on the surface of one grown tree, (TEMPLATE, 3) [m], its foot at zero."""
    from made_up.grow import grow_tree

    rng = np.random.default_rng(seed)
    s = grow_tree(seed, habit="conifer").segments
    length = np.linalg.norm(s.end - s.start, axis=1)
    area = length * (s.r_start + s.r_end)
    pick = rng.choice(len(area), TEMPLATE, p=area / area.sum())
    t, turn = rng.random(TEMPLATE)[:, None], rng.uniform(0, 2 * np.pi, TEMPLATE)[:, None]
    d = (s.end - s.start)[pick] / np.maximum(length[pick, None], 1e-9)
    side = np.cross(d, [0.577, 0.577, 0.578])
    side /= np.linalg.norm(side, axis=1, keepdims=True)
    r = s.r_start[pick, None] * (1 - t) + s.r_end[pick, None] * t
    return s.start[pick] * (1 - t) + s.end[pick] * t + r * (np.cos(turn) * side + np.sin(turn) * np.cross(d, side))


def ground(xy: NDArray[np.float64]) -> NDArray[np.float64]:
    """Height of the ground at (n, 2), (n,) [m]."""
    return 0.5 * np.sin(xy[:, 0] / 15) * np.cos(xy[:, 1] / 15)


def blocks(points: int, trees: int) -> Iterator[NDArray[np.float64]]:
    """The tile, block by block, (n, 3) [m]: the same for the same numbers."""
    tree = tree_points()
    k = np.arange(trees)
    feet = APART * np.column_stack([k % IN_A_ROW, k // IN_A_ROW]).astype(float)
    wide = feet.max(axis=0)
    for start in range(0, points, BLOCK):
        rng = np.random.default_rng(start)
        n = min(BLOCK, points - start)
        low = int(0.3 * n)
        of = feet[rng.integers(0, trees, n - low)]
        wood = tree[rng.integers(0, TEMPLATE, n - low)] + rng.normal(0, 0.003, (n - low, 3))
        wood[:, :2] += of
        wood[:, 2] += ground(of)
        bare = np.column_stack([rng.uniform(-8, wide + 8, (low, 2)), rng.normal(0, 0.01, low)])
        bare[:, 2] += ground(bare[:, :2])
        yield np.concatenate([wood, bare])


def write_laz(path: Path, points: int, trees: int, box: tuple[float, float, float] | None = None) -> None:
    """The tile, or what of it lies within `box` (x, y, reach) [m], as LAZ."""
    import laspy

    header = laspy.LasHeader(point_format=6, version="1.4")
    header.scales, header.offsets = [0.001] * 3, [0.0] * 3
    with laspy.open(str(path), mode="w", header=header) as out:
        for block in blocks(points, trees):
            xyz = block if box is None else block[np.abs(block[:, :2] - box[:2]).max(axis=1) <= box[2]]
            record = laspy.ScaleAwarePointRecord.zeros(len(xyz), header=header)
            record.x, record.y, record.z = xyz.T
            out.write_points(record)


def streamed(points: int, trees: int) -> None:
    """Let what is opened as LAS be the tile."""
    from treescan.cloud.intake import intake
    from treescan.cloud.opened import Chunk, OpenedCloud
    from treescan.reason import Reason

    def chunks() -> Iterator[Chunk]:
        for xyz in blocks(points, trees):
            n = len(xyz)
            columns = {"class": np.zeros(n, np.uint8), "intensity": np.full(n, 9, np.uint16), "return_number": np.ones(n, np.uint8)}
            columns |= {"number_of_returns": np.ones(n, np.uint8), "scan": np.zeros(n, np.uint16)}
            yield Chunk(np.round(xyz, 3), np.zeros(3), columns)

    columns = ("class", "intensity", "return_number", "number_of_returns", "scan")
    intake.OPENERS["las"] = lambda file: OpenedCloud("LAS", Reason("file_version", version="1.4"), points, chunks, columns=columns)


def run_job(asked: argparse.Namespace) -> None:
    """Inside the child: trace, and print seconds and peak as one JSON line."""
    from treescan.errors import BadInput
    from treescan.faces.cli.jobs import trace_job
    from treescan.faces.cli.request import TreeRequest

    resource.setrlimit(resource.RLIMIT_DATA, (ROOM, ROOM))
    if asked.stream:
        streamed(asked.stream, asked.trees)
    base = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    start, used = time.perf_counter(), time.process_time()
    said = ""
    try:
        with tempfile.TemporaryDirectory() as folder:
            trace_job(TreeRequest(asked.job, asked.at), Path(folder) / "tree.json", True, False)
    except BadInput as err:
        said = err.what
    out = {"clock_s": time.perf_counter() - start, "cpu_s": time.process_time() - used, "said": said}
    out |= {"before_mb": base, "peak_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024}
    print(json.dumps(out))


def measured(path: Path, at: str | None = None, stream: int = 0, trees: int = 0) -> dict[str, float]:
    """One job in a process of its own."""
    call = [sys.executable, __file__, "--job", str(path), "--stream", str(stream), "--trees", str(trees)]
    done = subprocess.run(call + ([f"--at={at}"] if at else []), capture_output=True, text=True, check=False)
    if done.returncode:
        lines = done.stderr.strip().splitlines()
        said = lines[-1][-200:] if lines else f"ended by signal {-done.returncode}" if done.returncode < 0 else "ended"
        return {"clock_s": np.nan, "cpu_s": np.nan, "peak_mb": np.nan, "said": said}
    return json.loads(done.stdout.splitlines()[-1])


def whole_command(words: Sequence[str]) -> dict[str, float]:
    """A command as a user calls it, start and loading included, its processor time and peak those of the process."""
    begun = time.perf_counter()
    child = subprocess.Popen([sys.executable, "-m", "treescan", *words], stderr=subprocess.PIPE, text=True)
    said = child.stderr.read() if child.stderr else ""
    _, status, used = os.wait4(child.pid, 0)
    ended = "" if status == 0 else said.strip()[-200:] or f"ended with {os.waitstatus_to_exitcode(status)}"
    out = {"clock_s": time.perf_counter() - begun, "cpu_s": used.ru_utime + used.ru_stime}
    return out | {"peak_mb": used.ru_maxrss / 1024, "said": ended}


def row(name: str, how: str, got: dict[str, float]) -> None:
    """One line of the table."""
    print(f"| {name} | {how} | {got['cpu_s']:.1f} | {got['clock_s']:.0f} | {got['peak_mb']:.0f} | {got['said']} |", flush=True)


def main() -> None:
    """Measure, print one table."""
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("millions", nargs="*", type=float)
    ask.add_argument("--trees", type=int, default=200)
    ask.add_argument("--cut", type=float, default=0.0, help="millions of points")
    ask.add_argument("--only", choices=["whole", "at"], help="only without or only with --at")
    for hidden, kind in (("--job", str), ("--at", str), ("--stream", int)):
        ask.add_argument(hidden, type=kind, help=argparse.SUPPRESS)
    asked = ask.parse_args()
    if asked.job:
        run_job(asked)
        return
    rows = -(-asked.trees // IN_A_ROW)
    x, y = APART * (IN_A_ROW // 2), APART * (rows // 2)
    print("| points, trees | how | processor time [s] | by the clock [s] | peak memory [MB] | said |")
    print("|---|---|---|---|---|---|")
    with tempfile.TemporaryDirectory() as place:
        tile = Path(place) / "tile.laz"
        write_laz(tile, 300_000, 4)
        measured(tile, "0,0")
        for millions in asked.millions:
            n = int(millions * 1e6)
            for how, at in (("whole", None), ("at", f"{x},{y}")):
                if asked.only in (None, how):
                    name = f"{millions:g} M, {asked.trees}"
                    row(name, "whole" if at is None else f"--at {at}", measured(tile, at, n, asked.trees))
        if asked.cut:
            n = int(asked.cut * 1e6)
            write_laz(tile, n, asked.trees)
            files = {f"{asked.cut:g} M, {asked.trees}, LAZ": tile}
            for what, reach in CUTS.items():
                files[what] = Path(place) / f"cut_{reach:g}.laz"
                write_laz(files[what], n, asked.trees, (x, y, reach))
            for name, path in files.items():
                row(name, f"--at {x},{y}", measured(path, f"{x},{y}"))
            for command, out in (("trace", "tree.json"), ("plan", "plan")):
                for k, (name, path) in enumerate(files.items()):
                    place_of = str(Path(place) / str(k) / command / out)
                    words = [command, str(path), "-o", place_of, f"--at={x},{y}", "--quiet"]
                    row(name, f"treescan {command} --at", whole_command(words))


if __name__ == "__main__":
    main()
