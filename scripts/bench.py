"""Time and peak memory of `treescan trace` as multiples of the floor, both measured in this run on this machine.

The floor is what any method must do once: read the file, 2 cm voxel centroids, k-d tree with 10 neighbours, one shortest-path search
from the base. Clouds are made here: one grown tree sampled on its surface with 3 mm noise, leaf blobs, and 36 m x 36 m of ground, LAS
point format 6. Each measurement runs in a process of its own after one run that warms the compiled kernels.

    python scripts/bench.py                 1 and 5 million points
    python scripts/bench.py 1 5 20          those sizes, in millions
    python scripts/bench.py --plan 5        planning after tracing too
"""

from __future__ import annotations

import argparse
import json
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))


def make_cloud(path: Path, millions: float, seed: int = 7) -> None:
    """One tree (55 % of the points), leaves (15 %) and ground (30 %), written as LAS 1.4."""
    import laspy
    from made_up.grow import grow_tree

    rng = np.random.default_rng(seed)
    n = int(millions * 1e6)
    s = grow_tree(seed, habit="broadleaf").segments
    length = np.linalg.norm(s.end - s.start, axis=1)
    area = length * (s.r_start + s.r_end)
    count = int(0.55 * n)
    pick = rng.choice(len(area), count, p=area / area.sum())
    t, turn = rng.random(count)[:, None], rng.uniform(0, 2 * np.pi, count)[:, None]
    d = (s.end - s.start)[pick] / np.maximum(length[pick, None], 1e-9)
    side = np.cross(d, [0.577, 0.577, 0.578])
    side /= np.linalg.norm(side, axis=1, keepdims=True)
    other = np.cross(d, side)
    r = (s.r_start[pick, None] * (1 - t) + s.r_end[pick, None] * t) + rng.normal(0, 0.003, (count, 1))
    wood = s.start[pick] * (1 - t) + s.end[pick] * t + r * (np.cos(turn) * side + np.sin(turn) * other)
    thin = np.flatnonzero(s.r_end < 0.01)
    leaves = s.end[rng.choice(thin, int(0.15 * n))] + rng.normal(0, 0.12, (int(0.15 * n), 3))
    ground = np.column_stack([rng.uniform(-18, 18, (n - count - len(leaves), 2)), rng.normal(0, 0.005, n - count - len(leaves))])
    xyz = np.concatenate([wood, leaves, ground])
    header = laspy.LasHeader(point_format=6, version="1.4")
    header.scales, header.offsets = [0.001] * 3, [0.0] * 3
    las = laspy.LasData(header)
    las.xyz = xyz[rng.permutation(n)]
    las.write(str(path))


def floor(path: str) -> dict[str, float]:
    """Seconds of each part of the floor."""
    import laspy
    from scipy.sparse import csr_matrix
    from scipy.sparse.csgraph import dijkstra
    from scipy.spatial import cKDTree

    from treescan.cloud.thin import VoxelSums

    VoxelSums(0.02).add(np.random.default_rng(0).random((1000, 3)))
    clock = [time.perf_counter()]
    voxels = VoxelSums(0.02)
    with laspy.open(path) as reader:
        for chunk in reader.chunk_iterator(1_000_000):
            voxels.add(np.column_stack([chunk.x, chunk.y, chunk.z]))
    xyz = voxels.centroids
    clock.append(time.perf_counter())
    cell = np.floor((xyz - xyz.min(axis=0)) / 0.25).astype(np.int64)
    xyz = np.ascontiguousarray(xyz[np.lexsort((cell[:, 2], cell[:, 1], cell[:, 0]))])
    tree = cKDTree(xyz)
    n, k = len(xyz), 11
    near, gap = np.empty((n, k - 1), np.int32), np.empty((n, k - 1), np.float32)
    for i in range(0, n, 500_000):
        d, j = tree.query(xyz[i : i + 500_000], k=k, workers=-1)
        near[i : i + 500_000], gap[i : i + 500_000] = j[:, 1:], d[:, 1:]
    clock.append(time.perf_counter())
    graph = csr_matrix((gap.ravel().astype(np.float64) + 1e-9, near.ravel(), np.arange(0, n * (k - 1) + 1, k - 1)), shape=(n, n))
    base = int(np.argmin(np.hypot(*xyz[:, :2].T) + 10 * np.abs(xyz[:, 2])))
    dijkstra(graph, directed=False, indices=base, return_predecessors=True)
    clock.append(time.perf_counter())
    read, knn, path_ = np.diff(clock)
    return {"read and voxels": read, "k-d tree and neighbours": knn, "shortest paths": path_, "voxels, millions": n / 1e6}


def traced(path: str, with_plan: bool) -> dict[str, float]:
    """Seconds of each stage of `trace` (and `plan`)."""
    from treescan import plan, read_cloud, trace
    from treescan.faces.told.progress_bar import Reporter

    report = Reporter()
    cloud = read_cloud(path, progress=report)
    tree = trace(cloud, progress=report)
    report.close()
    out = dict(report.timings)
    if with_plan:
        report = Reporter()
        plan(tree, progress=report)
        report.close()
        out.update({f"plan: {k}": v for k, v in report.timings.items()})
    return out


def measured(job: str, path: Path, with_plan: bool) -> tuple[float, float, dict[str, float]]:
    """Wall seconds inside the process, peak memory [MB] above its imports, and the stages of one job in a process of its own."""
    call = [sys.executable, __file__, "--job", job, str(path)] + (["--plan"] if with_plan else [])
    out = json.loads(subprocess.run(call, check=True, capture_output=True, text=True).stdout.splitlines()[-1])
    return out["seconds"], out["peak_mb"], out["stages"]


def run_job(job: str, path: str, with_plan: bool) -> None:
    """Inside the child: do the job, print seconds, peak and stages as one JSON line."""
    start = time.perf_counter()
    stages = floor(path) if job == "floor" else traced(path, with_plan)
    seconds = time.perf_counter() - start
    counted = [v for k, v in stages.items() if "millions" not in k and not k.startswith("plan")]
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(json.dumps({"seconds": sum(counted) or seconds, "peak_mb": peak, "stages": stages}))


def main() -> None:
    """Make the clouds, measure, print one table."""
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("millions", nargs="*", type=float, default=[1.0, 5.0])
    ask.add_argument("--plan", action="store_true", help="time planning too")
    ask.add_argument("--job", choices=["floor", "trace"], help=argparse.SUPPRESS)
    known, rest = ask.parse_known_args() if "--job" not in sys.argv else (None, None)
    if known is None:
        i = sys.argv.index("--job")
        run_job(sys.argv[i + 1], sys.argv[i + 2], "--plan" in sys.argv)
        return
    if rest:
        ask.error(f"unknown: {' '.join(rest)}")
    print(f"{'points':>8} {'floor s':>8} {'MB':>6} {'trace s':>8} {'MB':>6} {'x time':>7} {'x memory':>8}")
    with tempfile.TemporaryDirectory() as folder:
        warm = Path(folder) / "warm.las"
        make_cloud(warm, 0.2)
        measured("floor", warm, False)
        measured("trace", warm, known.plan)
        for millions in known.millions:
            path = Path(folder) / f"c{millions:g}.las"
            make_cloud(path, millions)
            floor_s, floor_mb, floor_parts = measured("floor", path, False)
            trace_s, trace_mb, stages = measured("trace", path, known.plan)
            print(
                f"{millions:>6g} M {floor_s:8.2f} {floor_mb:6.0f} {trace_s:8.2f} {trace_mb:6.0f} {trace_s / floor_s:7.2f} {trace_mb / floor_mb:8.2f}"
            )
            for name, value in {**floor_parts, **stages}.items():
                print(f"{'':>10}{name:<40} {value:8.2f}")
            path.unlink()


if __name__ == "__main__":
    main()
