"""Points on made-up limbs, for tests: every side seen, or only what one place sees."""

from __future__ import annotations

import numpy as np

from treescan.cloud.point_cloud import PointCloud
from treescan.geometry import point_segment
from treescan.trees.beside import Beside, Terrain
from treescan.trees.single_tree import Tree
from treescan.wood.graph import WoodGraph
from treescan.wood.topology.assemble import assemble


def bark_points(graph: WoodGraph, seed: int = 0, *, per_m2: float = 4000, noise: float = 0.003, seen_from: tuple[float, float, float] | None = None) -> np.ndarray:
    """Points (n, 3) on the outside of a graph's limbs with isotropic noise [m]; with `seen_from` only bark facing that place."""
    rng = np.random.default_rng(seed)
    s = graph.segments
    length = np.linalg.norm(s.end - s.start, axis=1)
    count = np.maximum(np.pi * (s.r_start + s.r_end) * length * per_m2, 6).astype(int)
    row = np.repeat(np.arange(len(length)), count)
    f, turn = rng.random(len(row)), rng.uniform(0, 2 * np.pi, len(row))
    axis = ((s.end - s.start) / length[:, None])[row]
    side = np.cross(axis, np.where(np.abs(axis[:, 2:]) < 0.9, [[0.0, 0.0, 1.0]], [[1.0, 0.0, 0.0]]))
    side /= np.linalg.norm(side, axis=1, keepdims=True)
    out = np.cos(turn)[:, None] * side + np.sin(turn)[:, None] * np.cross(axis, side)
    r = s.r_start[row] + f * (s.r_end - s.r_start)[row]
    p = s.start[row] + f[:, None] * (s.end - s.start)[row] + r[:, None] * out
    keep = np.ones(len(p), bool)
    for k in range(len(length)):
        d, share = point_segment(p, s.start[k], s.end[k])
        keep &= ~((d < s.r_start[k] + share * (s.r_end[k] - s.r_start[k]) - 1e-6) & (row != k))
    if seen_from is not None:
        keep &= np.sum((np.array(seen_from) - p) * out, axis=1) > 0
    return p[keep] + rng.normal(0, noise, (int(keep.sum()), 3))


def tree_of(xyz: np.ndarray, base: tuple[float, float, float] = (0.0, 0.0, 0.0), columns: dict | None = None) -> Tree:
    """A tree whose wood is just these points, on level ground."""
    foot = np.array(base, float)
    return Tree(PointCloud(xyz, columns=columns or {}), PointCloud(np.zeros((0, 3))), foot, Beside(Terrain.flat(foot[2], foot[:2])))


def chain(start: tuple, end: tuple, r0: float, r1: float, first_parent: int, first: int, step: float = 0.1) -> tuple[list, list, list]:
    """Nodes of one straight limb after its start: xyz, radius, parent."""
    a, b = np.array(start, float), np.array(end, float)
    n = max(1, round(float(np.linalg.norm(b - a)) / step))
    f = np.arange(1, n + 1) / n
    return [a + x * (b - a) for x in f], [r0 + x * (r1 - r0) for x in f], [first_parent, *range(first, first + n - 1)]


def make(*limbs: tuple) -> WoodGraph:
    """Graph of straight limbs ((start), (end), r0, r1, name of the node it starts from as (limb, share))."""
    xyz, radius, parent = [np.array(limbs[0][0], float)], [limbs[0][2]], [-1]
    begin = []
    for start, end, r0, r1, on in limbs:
        if on is None:
            at = 0
        else:
            line = begin[on[0]]
            at = line[round(on[1] * (len(line) - 1))]
        p, r, up = chain(xyz[at] if on is not None else start, end, r0, r1, at, len(xyz))
        begin.append(list(range(len(xyz), len(xyz) + len(p))))
        xyz += p
        radius += r
        parent += up
    return assemble(np.array(xyz), np.array(radius), np.array(parent))


POST = ((0, 0, 0), (0, 0, 4.0), 0.15, 0.10, None)
FORK = make(POST, ((0, 0, 0), (1.2, 0, 3.5), 0.06, 0.04, (0, 0.5)))
