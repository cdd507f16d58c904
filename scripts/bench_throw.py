"""How fast is the throw search? Throws a second and seconds a tree, beside a floor measured in the same run.

The floor is the bare cost of tabulating nothing but heights: one height look-up per limb near the plane and throw, in a compiled loop.
"""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path

import numpy as np
from numba import njit

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))
from strategies import alone, random_tree

from treescan.throw.outcome import height_on
from treescan.throw.scene import build_scene
from treescan.throw.search import _origins, coarse_grid, search_throws
from treescan.throw.settings import ThrowSettings
from treescan.throw.stances import standing_places
from treescan.throw.sweep import sweep
from treescan.throw.throw_path import Stances
from treescan.trees.beside import Site


@njit(nogil=True)
def _floor(height: np.ndarray, step: np.ndarray, shapes: int, rounds: int) -> float:
    total = 0.0
    for r in range(rounds):
        for f in range(len(step)):
            for k in range(shapes):
                total += height_on(height[f], step[f], 0.1 * k + 1e-6 * r)
    return total


def main() -> None:
    settings = ThrowSettings(stance_spacing=0.8)
    graph = random_tree(5, height=20, dbh=0.6, limbs=30)
    beside, site = alone(graph), Site()
    places = standing_places(graph, beside, site, settings)
    places = Stances(places.xyz[np.linspace(0, len(places) - 1, 500).astype(int)])
    scene, _ = build_scene(graph, beside, site, settings)
    grid = coarse_grid(scene, settings)
    origin, unions, threads = _origins(graph, places), len(graph.unions), os.cpu_count() or 1
    search_throws(graph, beside, site, Stances(places.xyz[:2]), settings)
    _floor(grid.height, grid.step, 20, 1)

    start = time.perf_counter()
    _floor(grid.height, grid.step, 20, 500)
    floor = (time.perf_counter() - start) / (500 * len(grid.step))
    start = time.perf_counter()
    _, _, thrown = sweep(scene, grid, places.xyz, origin, settings.wire_chance, unions, threads)
    swept = time.perf_counter() - start
    start = time.perf_counter()
    search_throws(graph, beside, site, places, settings)
    searched = time.perf_counter() - start
    print(f"tree: {len(graph)} nodes, {unions} unions, {len(places)} places, {threads} threads")
    print(f"sweep: {thrown:,} throws in {swept:.1f} s = {thrown / swept:,.0f} throws/s with their chances for every aim")
    print(f"       {swept * threads / thrown / floor:.1f} times the floor of 20 height look-ups a throw ({floor * 1e9:.0f} ns)")
    print(f"whole search: {searched:.1f} s")


if __name__ == "__main__":
    main()
