"""Times of the loads room: sections against load cases, whole checks, rope runs, first-order against drawn margins.

Run it alone on the machine: `python scripts/bench_loads.py [tree.json ...]`; traced trees are planned once, then answered again for another
species. Wall and processor seconds, best of three after one warm-up.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from itertools import cycle
from pathlib import Path

import numpy as np

sys.path.append(str(Path(__file__).parent.parent / "tests"))

from loads.by_hand import check_anchors
from strategies import alone, random_tree

from treescan.assess import judged_again, plan
from treescan.loads.limb_check import AnchorConfiguration
from treescan.loads.material.wood_strength import wood_of
from treescan.loads.rope.rope_run import Supports, taut_rope
from treescan.loads.sections.section_stress import peaks
from treescan.loads.settings import LoadSettings
from treescan.wood.files.read_tree import read_tree


def timed(work: Callable[[], object]) -> tuple[float, float]:
    """Best wall and processor seconds of three runs after one warm-up."""
    work()
    best = (np.inf, np.inf)
    for _ in range(3):
        wall, cpu = time.perf_counter(), time.process_time()
        work()
        best = min(best, (time.perf_counter() - wall, time.process_time() - cpu))
    return best


def section_search(sections: int, cases: int) -> Callable[[], object]:
    """5,000 sections x 200 load cases in the target."""
    rng = np.random.default_rng(0)
    axis = rng.normal(size=(sections, 3))
    axis /= np.linalg.norm(axis, axis=1, keepdims=True)
    given = (
        rng.normal(0, 3, (sections, 3)), axis, rng.uniform(0.03, 0.3, (1, sections)), rng.uniform(5e6, 3e7, (1, sections)),
        *rng.uniform(5e6, 3e7, (2, sections)),
        rng.uniform(0, 2000, sections), rng.normal(0, 500, (sections, 3)), np.ones((sections, 2), bool),
        rng.normal(0, 1500, (cases, 2, 3)), rng.normal(0, 4000, (1, cases, 2, 3)), np.zeros((0, 3, 3)),
    )  # fmt: skip
    return lambda: peaks(*given)


def whole_tree(unions: int, work_points: int) -> tuple[str, Callable[[], object]]:
    """Every union with three systems over the work points of one tree."""
    graph = random_tree(3, limbs=30, height=20, dbh=0.6)
    u = graph.unions
    configurations = [
        AnchorConfiguration(k, s, "rope on bark", int(u.arm_node[u.laterals(k)[0]]), u.parent_diameter[k] / 2, np.zeros(0, np.int32), np.array([0.5, 0.2, 1.0]))
        for k in range(min(unions, len(u)))
        for s in ("MRS", "SRS canopy", "SRS basal")
    ]  # fmt: skip
    work = graph.xyz[np.random.default_rng(0).choice(len(graph), work_points)]
    settings = LoadSettings()
    wood = wood_of("oak", settings)
    return f"{len(configurations)} configurations x {work_points} work points, {len(graph)} nodes", lambda: check_anchors(
        graph, alone(graph), wood, configurations, work, settings, 1
    )


def traced_tree(file: str) -> tuple[str, Callable[[], object]]:
    """A traced tree answered again as a whole for another species: configurations, forces, margins, failure chains, the order and the plan round it."""
    planned = plan(read_tree(Path(file)), species="oak")
    species = cycle(("beech", "oak"))
    label = f"{Path(file).parent.name} answered again: {len(planned.points)} configurations x {len(planned.work)} work points"
    return label, lambda: judged_again(planned, species=next(species))


def ropes(count: int) -> Callable[[], object]:
    """Ropes over four tapered limbs, free along them."""
    s = Supports.of([[i, 0.1 * i, 5 + 0.2 * (i % 2)] for i in range(1, 5)], [0.1, 1, 0.05], 0.1, taper=-0.02, low=-9, high=9)
    return lambda: [taut_rope([0, 0, 0], [5.0, 0.1, 0.01 * i], s) for i in range(count)]


def main() -> None:
    tasks = [("5,000 sections x 200 load cases", section_search(5000, 200)), whole_tree(60, 200), ("1,000 ropes over 4 limbs", ropes(1000))]
    for name, work in tasks + [traced_tree(file) for file in sys.argv[1:]]:
        wall, cpu = timed(work)
        print(f"{name:60s} {wall:7.3f} s wall {cpu:7.3f} s processor")


if __name__ == "__main__":
    main()
