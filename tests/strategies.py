"""Made-up wood graphs for tests: random, but grown like trees (taper, area-preserving forks, parents before children)."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np
from hypothesis import strategies as st
from made_up.grow import grow
from made_up.scan import Scan
from made_up.scenes import simple_scan

from treescan.cloud.point_cloud import PointCloud
from treescan.trees.beside import Beside, Terrain
from treescan.wood.graph import WoodGraph
from treescan.wood.topology.assemble import assemble


def random_tree(seed: int, *, height: float = 15.0, dbh: float = 0.45, step: float = 0.3, limbs: int = 10, base: tuple[float, float, float] = (0.0, 0.0, 0.0)) -> WoodGraph:
    """A broadleaf-like tree: one stem, `limbs` first-order limbs with a few branches, linear taper, about 100 to 600 nodes."""
    rng = np.random.default_rng(seed)
    xyz: list[np.ndarray] = [np.array(base, float)]
    radius: list[float] = [dbh / 2 * 1.1]
    parent: list[int] = [-1]

    def grow(start: int, direction: np.ndarray, length: float, r0: float, r1: float, lift: float) -> list[int]:
        line, d, at = [], direction / np.linalg.norm(direction), start
        count = max(2, round(length / step))
        for i in range(count):
            d = d + rng.normal(0, 0.06, 3) + np.array([0, 0, lift])
            d /= np.linalg.norm(d)
            xyz.append(xyz[at] + d * length / count)
            radius.append(r0 + (r1 - r0) * (i + 1) / count)
            parent.append(at)
            at = len(xyz) - 1
            line.append(at)
        return line

    stem = grow(0, np.array([0.0, 0.0, 1.0]), height, dbh / 2, 0.02, 0.05)
    for i in np.linspace(len(stem) * 0.25, len(stem) * 0.9, limbs).astype(int):
        azimuth, node = rng.uniform(0, 2 * np.pi), stem[i]
        r = radius[node] * rng.uniform(0.35, 0.75)
        slope = rng.uniform(0.1, 0.9)
        d = np.array([np.cos(azimuth) * np.cos(slope), np.sin(azimuth) * np.cos(slope), np.sin(slope)])
        line = grow(node, d, height * rng.uniform(0.2, 0.4), r, 0.012, 0.03)
        for j in range(1, rng.integers(1, 4)):
            side = np.cross(d, [0, 0, 1]) * rng.choice([-1, 1]) + d * 0.8
            at = line[min(len(line) - 1, j * len(line) // 4)]
            grow(at, side, height * 0.12, radius[at] * 0.6, 0.01, 0.02)
    order = np.argsort([_depth(parent, i) for i in range(len(parent))], kind="stable")
    new = np.empty(len(order), int)
    new[order] = np.arange(len(order))
    p = np.array([-1 if parent[i] < 0 else new[parent[i]] for i in order])
    return assemble(np.array(xyz)[order], np.array(radius)[order], p, radius_sd=np.array(radius)[order] * 0.03)


def _depth(parent: list[int], i: int) -> int:
    depth = 0
    while parent[i] >= 0:
        i, depth = parent[i], depth + 1
    return depth


def alone(graph: WoodGraph) -> Beside:
    """The tree on level ground, leafless, with nothing beside it."""
    return Beside(Terrain.flat(float(graph.xyz[0, 2]), graph.xyz[0, :2]))


@lru_cache(maxsize=4)
def grown_tree(seed: int, habit: str = "broadleaf", *, height: float = 15.0, dbh: float = 0.45, thinnest: float = 0.03) -> WoodGraph:
    """A tree grown by rules (see scripts/made_up), its wood down to a diameter: hundreds of exact unions."""
    return grow(seed, habit, height=height, dbh=dbh).graph(thinnest)


@lru_cache(maxsize=3)
def scanned_tree(seed: int, habit: str = "broadleaf", *, points: int = 150_000, **how: Any) -> tuple[PointCloud, WoodGraph, Scan]:
    """A grown tree under the simulated scanner, remembered: (cloud, exact graph, what every point hit)."""
    return simple_scan(seed, habit, points=points, **how)


def random_trees(**how: Any) -> st.SearchStrategy[WoodGraph]:
    """Random stick trees for hypothesis."""
    return st.builds(lambda seed: random_tree(seed, **how), st.integers(0, 10_000))
