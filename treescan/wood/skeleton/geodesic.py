"""How far is each piece of wood from the stem's foot, measured along the wood itself?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import dijkstra
from scipy.spatial import cKDTree

from treescan.wood.graph import Floats, Ints
from treescan.wood.settings import WoodSettings
from treescan.wood.skeleton.gaps import Bridges, find_bridges

AT_ONCE = 500_000
"""Points asked for their neighbours at once: bounds the memory."""
NEAR_SPACINGS, NEAR = 2.7, 0.03
"""Neighbours are no farther apart than so many usual spacings, or this [m] (project choice)."""
FOOT_REACH = 1.5
"""The stem's foot is looked for so far to every side [m] (project choice)."""
BUTT, LOWEST, BELOW, FOOT_LAYER, FOOT_WIDTH = 0.6, 0.002, 0.3, 0.15, 0.8
"""Points nearer the foot than the first [m] count as lower; the foot begins at this quantile of height, no more than the third [m] below the given
foot, and holds the points of this layer [m] within the last [m] of the nearest (project choice)."""
STEM_HEIGHT, STEM_GROUND, STEM_POINTS, STEM_SHARE = 0.5, 0.4, 200, 0.2
"""A piece may be the stem when it is taller than this [m], begins no higher than this [m] and has so many points, or this share of the largest's."""


@dataclass(frozen=True)
class GeodesicDistance:
    """Distances from the foot over the graph of near points.

    Attributes
    ----------
    near : (c, k) int32     Neighbours of every point; -1 where the neighbour was too far.
    distance : (c,) float   From the foot along the wood; inf where it is not reached. [m]
    before : (c,) int32     Next point on the way to the foot; -1 at the foot and where not reached.
    bridge : (c,) bool      True where that step crosses a gap the scan did not see.
    spacing : float         Usual distance between neighbouring points. [m]
    """

    near: Ints
    distance: Floats
    before: Ints
    bridge: np.ndarray
    spacing: float


def distance_from_foot(xyz: Floats, foot: Floats, settings: WoodSettings) -> GeodesicDistance:
    """Shortest ways from the foot to every thinned point, over gaps where a limb goes on behind them.

    Parameters
    ----------
    xyz : (c, 3) float      Thinned wood points. [m]
    foot : (3,) float       Stem centre at the ground. [m]

    Notes
    -----
    A step of length d costs d (1 + (d / 2 s)^2), s the usual spacing, so that a way through dense bark is preferred to jumping
    between limbs that touch. Pieces that hang on nothing are joined by `find_bridges`.
    """
    c, k = len(xyz), min(settings.neighbours, max(len(xyz) - 1, 1))
    tree = cKDTree(xyz, balanced_tree=False, compact_nodes=False)
    near = np.empty((c, k), np.int32)
    gap = np.empty((c, k))
    for a in range(0, c, AT_ONCE):
        d, j = tree.query(xyz[a : a + AT_ONCE], k + 1, workers=-1)
        near[a : a + AT_ONCE], gap[a : a + AT_ONCE] = j[:, 1:], d[:, 1:]
    spacing = float(np.median(gap[:, min(3, k - 1)]))
    cap = max(NEAR_SPACINGS * spacing, NEAR)
    near[gap > cap] = -1
    part = components(near)
    at_foot = _foot_points(xyz, foot, part)
    bridges = find_bridges(xyz, part, int(np.bincount(part[at_foot]).argmax()), spacing, settings.longest_gap)
    keep = near >= 0
    start = np.concatenate([[0], np.cumsum(keep.sum(axis=1))])
    cost = gap[keep] * (1 + (gap[keep] / (2 * spacing)) ** 2) + 1e-9
    graph = csr_matrix((cost, near[keep], start), shape=(c, c))
    if len(bridges):
        extra = csr_matrix((bridges.length + 1e-9, (bridges.near, bridges.far)), shape=(c, c))
        graph = graph + extra
    distance, before, _ = dijkstra(graph, directed=False, indices=at_foot, min_only=True, return_predecessors=True)
    before = before.astype(np.int32)
    before[before < 0] = -1
    return GeodesicDistance(near, distance, before, _steps_on_bridges(before, bridges), spacing)


def _foot_points(xyz: Floats, foot: Floats, part: Ints) -> Ints:
    """Points the spread starts from: the lowest wood round the foot, all round the stem."""
    flat = np.linalg.norm(xyz[:, :2] - foot[:2], axis=1)
    column = np.flatnonzero(flat < FOOT_REACH)
    if len(column) == 0:
        column = np.arange(len(xyz))
    column = column[_may_be_stem(xyz[column, 2], part[column], np.bincount(part), float(foot[2]))]
    low = xyz[column, 2] - 0.5 * np.maximum(0, BUTT - flat[column])
    start = max(float(np.quantile(low, LOWEST)), float(foot[2]) - BELOW)
    rows = column[low < start + FOOT_LAYER]
    if len(rows) == 0:
        rows = column[[int(np.argmin(xyz[column, 2] + flat[column]))]]
    near = rows[flat[rows] < flat[rows].min() + FOOT_WIDTH]
    return near.astype(np.int32)


def _may_be_stem(z: Floats, part: Ints, size: Ints, ground: float) -> np.ndarray:
    """True for points of pieces that hold a fifth of the largest near the foot, or that stand half a metre tall at the ground."""
    count = len(size)
    low, high = np.full(count, np.inf), np.full(count, -np.inf)
    np.minimum.at(low, part, z)
    np.maximum.at(high, part, z)
    tall = (high - low > STEM_HEIGHT) & (low < ground + STEM_GROUND) & (size >= STEM_POINTS)
    return (size[part] >= STEM_SHARE * size[part].max()) | tall[part]


def _steps_on_bridges(before: Ints, bridges: Bridges) -> np.ndarray:
    """True for points whose step towards the foot is one of the bridges."""
    out = np.zeros(len(before), bool)
    for a, b in zip(bridges.near, bridges.far, strict=True):
        if before[a] == b:
            out[a] = True
        if before[b] == a:
            out[b] = True
    return out


@njit(cache=True)
def _root(link, i):  # type: ignore[no-untyped-def]
    while link[i] != i:
        link[i] = link[link[i]]
        i = link[i]
    return i


@njit(cache=True)
def _join_near(near, level):  # type: ignore[no-untyped-def]
    """Union-find over neighbour links between points of the same level."""
    n = len(near)
    link = np.arange(n)
    for i in range(n):
        for k in range(near.shape[1]):
            j = near[i, k]
            if j >= 0 and level[i] == level[j] and level[i] >= 0:
                a, b = _root(link, i), _root(link, j)
                if a != b:
                    link[max(a, b)] = min(a, b)
    label = np.full(n, -1, np.int32)
    count = 0
    for i in range(n):
        if level[i] < 0:
            continue
        r = _root(link, i)
        if label[r] < 0:
            label[r] = count
            count += 1
        label[i] = label[r]
    return label, count


def components(near: Ints, level: Ints | None = None) -> Ints:
    """Connected pieces of the neighbour graph, of each level apart when levels are given; -1 where the level is negative."""
    label, _ = _join_near(near, np.zeros(len(near), np.int32) if level is None else level)
    return label
