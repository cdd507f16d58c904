"""How fast is the throw search? Throws a second and seconds a tree, beside a floor measured in the same run.

    python scripts/bench_throw.py                     a made-up tree, 60 unions from 500 standing places
    python scripts/bench_throw.py out/tree.json ...   the candidate unions of trees traced earlier, from all their standing places

The floor is the bare cost of tabulating nothing but heights: one height look-up per limb near the plane and throw, in a compiled loop.
Times are given by the clock and as processor time; on a machine shared with others only the second compares.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Collection
from pathlib import Path

import numpy as np
from numba import njit

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))
from strategies import alone, random_tree

from treescan.planning.candidates.candidates import unions_to_throw_at
from treescan.planning.settings import PlanningSettings
from treescan.throw.ballistics.flight_line import height_on
from treescan.throw.scene.flight_scene import build_scene
from treescan.throw.scene.stances import standing_places
from treescan.throw.search.grid import coarse_grid
from treescan.throw.search.search import origins, search_throws
from treescan.throw.search.sweep import sweep
from treescan.throw.settings import ThrowSettings
from treescan.throw.throw_path import Stances
from treescan.trees.beside import Beside, Site
from treescan.wood.files.read_tree import read_tree
from treescan.wood.graph import WoodGraph

UNIONS, PLACES = 60, 500


@njit(nogil=True)
def _floor(height: np.ndarray, step: np.ndarray, shapes: int, rounds: int) -> float:
    total = 0.0
    for r in range(rounds):
        for f in range(len(step)):
            for k in range(shapes):
                total += height_on(height[f], step[f], 0.1 * k + 1e-6 * r)
    return total


class _Clock:
    """Seconds by the clock and of the processor since it was made."""

    def __init__(self) -> None:
        self.start = time.perf_counter(), time.process_time()

    def read(self) -> tuple[float, float]:
        return time.perf_counter() - self.start[0], time.process_time() - self.start[1]


def bench(name: str, graph: WoodGraph, beside: Beside, places: Stances, wanted: Collection[int], settings: ThrowSettings) -> None:
    """Print throws a second and the whole search of one tree."""
    site, threads = Site(), os.cpu_count() or 1
    scene = build_scene(graph, beside, site, settings, wanted)
    grid, origin = coarse_grid(scene, settings), origins(graph, places)
    search_throws(graph, beside, site, Stances(places.xyz[:2]), settings, wanted=wanted)
    _floor(grid.height, grid.step, 20, 1)

    clock = _Clock()
    _floor(grid.height, grid.step, 20, 200)
    floor = clock.read()[1] / (200 * len(grid.step))
    clock = _Clock()
    _, _, thrown = sweep(scene, grid, places.xyz, origin, settings.wire_chance, len(graph.unions), threads)
    swept = clock.read()
    clock = _Clock()
    search_throws(graph, beside, site, places, settings, wanted=wanted)
    searched = clock.read()
    print(f"{name}: {len(graph):,} nodes, {len(wanted)} unions, {len(places)} places, {threads} threads")
    print(
        f"  sweep: {thrown:,} throws in {swept[0]:.1f} s ({swept[1]:.1f} s of processor time): {thrown / swept[0]:,.0f} throws/s by the clock, "
        f"{thrown / swept[1]:,.0f} a core"
    )
    print(f"         {swept[1] / thrown / floor:.1f} times the floor of 20 height look-ups a throw ({floor * 1e9:.0f} ns)")
    print(f"  whole search: {searched[0]:.1f} s ({searched[1]:.1f} s of processor time)", flush=True)


def made_up() -> None:
    """60 unions from 500 places."""
    settings = ThrowSettings(stance_spacing=0.8)
    graph = random_tree(5, height=20, dbh=0.6, limbs=62)
    beside = alone(graph)
    places = standing_places(graph, beside, Site(), settings)
    places = Stances(places.xyz[np.linspace(0, len(places) - 1, PLACES).astype(int)])
    thick = np.argsort([-graph.unions.arm_diameter[graph.unions.laterals(k)].max(initial=0.0) for k in range(len(graph.unions))])
    bench("made-up tree", graph, beside, places, sorted(int(k) for k in thick[:UNIONS]), settings)


def main() -> None:
    if len(sys.argv) == 1:
        made_up()
    for path in sys.argv[1:]:
        tree = read_tree(path)
        settings = ThrowSettings()
        places = standing_places(tree.graph, tree.beside, Site(), settings)
        bench(path, tree.graph, tree.beside, places, unions_to_throw_at(tree.graph, PlanningSettings()), settings)


if __name__ == "__main__":
    main()
