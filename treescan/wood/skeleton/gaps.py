"""Where does a limb go on behind a gap the scanner could not see?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit, prange
from scipy.spatial import cKDTree

from treescan.wood.graph import Floats, Ints
from treescan.wood.skeleton.thinned_wood import group_rows

REACH = 0.15
"""Half length of the piece that tells a local direction [m]."""
SPAN = 0.8
"""A loose piece bridges at most this share of its own length."""
PARTNERS = 6
"""Other pieces a sample may propose."""
SIDEWAYS = 3.0
"""A gap across the limb's own direction counts this many times its length."""

SAMPLE_SPACINGS = 2.5
"""Points are thinned to so many usual spacings before gaps are looked at (project choice)."""
LEAST_REACH, CELL = 0.25, 0.3
"""A loose piece looks at least so far [m]; edge of the cells in which it looks [m]."""
DEAREST = 1.6
"""The dearest gap that is closed, over the longest one straight ahead (project choice)."""
THICKNESS, CROOKED, ACROSS = 0.03, 1.5, 0.2
"""Allowance for a limb's own thickness [m]; how much more a gap costs where its piece shows no direction; cost of that allowance (project choice)."""
OF_UNIFORM = 12
"""Square of a straight line's length over the variance of points spread evenly along it."""
WORTH_POINTS, WORTH_LENGTH, WORTH_SPACINGS, WORTH_LONG, WORTH_MANY = 8, 0.15, 4, 6, 150
"""A piece is joined when it has so many points, is so long [m] and so many spacings, and is so many times longer than wide (variances), or has more
than the last number of points (project choice)."""
NEIGHBOURS, ENOUGH = 24, 4
"""Points that give a direction, and fewest of them (project choice)."""
AT_ONCE = 200_000
"""Points asked for their neighbours at once: bounds the memory."""


@dataclass(frozen=True)
class Bridges:
    """Pairs of points to be joined across a gap: rows of the two points and the distance between them [m]."""

    near: Ints
    far: Ints
    length: Floats

    def __len__(self) -> int:
        return len(self.near)


NONE = Bridges(np.zeros(0, np.int32), np.zeros(0, np.int32), np.zeros(0))


def find_bridges(xyz: Floats, part: Ints, main: int, spacing: float, longest: float) -> Bridges:
    """Join the loose pieces of the cloud to the stem's piece, each along its own direction.

    Parameters
    ----------
    xyz : (c, 3) float      Thinned points. [m]
    part : (c,) int32       Connected piece of every point.
    main : int              The piece of the stem.
    spacing, longest : float    [m]

    Notes
    -----
    A candidate joins two points of different pieces. With the gap split into its share along the limb's direction and its share
    across, the cost is hypot(along, 3 max(across - r, 0)), r an allowance for the limb's own thickness; the direction is that of
    the loose piece. Kruskal's spanning tree over the pieces takes the cheapest candidates first.
    """
    size = np.bincount(part)
    count = len(size)
    if count == 1 or longest <= 0:
        return NONE
    worth, length = _worth(xyz, part, count, size, spacing)
    worth[main] = True
    rows = np.flatnonzero(worth[part])
    if np.all(part[rows] == main):
        return NONE
    rows = _sample(xyz, rows, part, SAMPLE_SPACINGS * spacing)
    tree = cKDTree(xyz[rows])
    direction, linear = _directions(xyz[rows], part[rows], tree)
    reach = np.where(np.arange(count) == main, 0.0, np.minimum(longest, np.maximum(LEAST_REACH, SPAN * length)))
    a, b, cost = _candidates(xyz[rows], part[rows].astype(np.int64), direction, linear, reach, *_grid(xyz[rows], CELL))
    if len(a) == 0:
        return NONE
    gap = np.linalg.norm(xyz[rows[a]] - xyz[rows[b]], axis=1)
    return _spanning(rows[a], rows[b], part, cost, gap, count, DEAREST * longest)


def _grid(xyz: Floats, cell: float) -> tuple[Floats, float, Ints, Ints, Ints]:
    """A dense grid over the samples: low corner, cell, shape, first row of every cell, rows by cell."""
    low = xyz.min(axis=0)
    shape = np.floor((xyz.max(axis=0) - low) / cell).astype(np.int64) + 1
    key = np.floor((xyz - low) / cell).astype(np.int64)
    start, order = group_rows((key[:, 0] * shape[1] + key[:, 1]) * shape[2] + key[:, 2], int(np.prod(shape)))
    return low, cell, shape, start, order


@njit(cache=True)
def _cost(g, d, axis, linear):  # type: ignore[no-untyped-def]
    """Cost of a gap g of length d for a piece with this direction and straightness."""
    along = abs(g[0] * axis[0] + g[1] * axis[1] + g[2] * axis[2])
    across = np.sqrt(max(d * d - along * along, 0.0))
    off = max(across - THICKNESS, 0.0)
    return np.hypot(along, SIDEWAYS * off) * (1.0 + CROOKED * (1.0 - linear)) + ACROSS * min(across, THICKNESS)


@njit(cache=True, parallel=True)
def _candidates(xyz, part, axis, linear, reach, low, cell, shape, start, order):  # type: ignore[no-untyped-def]
    """For every sample of a loose piece its cheapest partners in other pieces, one a piece, at most `PARTNERS`."""
    n = len(xyz)
    best = np.full((n, PARTNERS), np.inf)
    who = np.full((n, PARTNERS), -1, np.int64)
    for i in prange(n):
        far = reach[part[i]]
        if far <= 0.0:
            continue
        lo, hi = np.empty(3, np.int64), np.empty(3, np.int64)
        for q in range(3):
            lo[q] = max(0, int((xyz[i, q] - far - low[q]) / cell))
            hi[q] = min(shape[q] - 1, int((xyz[i, q] + far - low[q]) / cell))
        g = np.empty(3)
        for cx in range(lo[0], hi[0] + 1):
            for cy in range(lo[1], hi[1] + 1):
                for cz in range(lo[2], hi[2] + 1):
                    c = (cx * shape[1] + cy) * shape[2] + cz
                    for r in range(start[c], start[c + 1]):
                        j = order[r]
                        if part[j] == part[i]:
                            continue
                        d2 = 0.0
                        for q in range(3):
                            g[q] = xyz[i, q] - xyz[j, q]
                            d2 += g[q] * g[q]
                        if d2 > far * far:
                            continue
                        d = np.sqrt(d2)
                        cost = _cost(g, d, axis[i], linear[i])
                        if reach[part[j]] > 0.0:
                            cost = 0.5 * (cost + _cost(g, d, axis[j], linear[j]))
                        worst, slot = -1.0, -1
                        for k in range(PARTNERS):
                            if who[i, k] >= 0 and part[who[i, k]] == part[j]:
                                slot = k
                                worst = best[i, k]
                                break
                            if best[i, k] > worst:
                                worst, slot = best[i, k], k
                        if cost < worst:
                            best[i, slot] = cost
                            who[i, slot] = j
    count = 0
    for i in range(n):
        for k in range(PARTNERS):
            if who[i, k] >= 0:
                count += 1
    a, b, cost_out = np.empty(count, np.int64), np.empty(count, np.int64), np.empty(count)
    at = 0
    for i in range(n):
        for k in range(PARTNERS):
            if who[i, k] >= 0:
                a[at], b[at], cost_out[at] = i, who[i, k], best[i, k]
                at += 1
    return a, b, cost_out


def _worth(xyz: Floats, part: Ints, count: int, size: Ints, spacing: float) -> tuple[np.ndarray, Floats]:
    """Pieces long enough for their breadth to be limbs rather than leaf clumps or stray points; and every piece's length. [m]"""
    mean = np.stack([np.bincount(part, weights=xyz[:, a], minlength=count) for a in range(3)], axis=1) / size[:, None]
    d = xyz - mean[part]
    cov = np.zeros((count, 3, 3))
    for i in range(3):
        for j in range(i, 3):
            cov[:, i, j] = cov[:, j, i] = np.bincount(part, weights=d[:, i] * d[:, j], minlength=count) / size
    values = np.linalg.eigvalsh(cov)
    length = np.sqrt(OF_UNIFORM * np.maximum(values[:, 2], 0.0))
    told = (values[:, 2] > WORTH_LONG * values[:, 1]) | (size > WORTH_MANY)
    return (size >= WORTH_POINTS) & (length >= max(WORTH_LENGTH, WORTH_SPACINGS * spacing)) & told, length


def _sample(xyz: Floats, rows: Ints, part: Ints, cell: float) -> Ints:
    """One point a grid cell and piece."""
    key = np.floor((xyz[rows] - xyz[rows].min(axis=0)) / cell).astype(np.int64)
    flat = (key[:, 0] * (key[:, 1].max() + 1) + key[:, 1]) * (key[:, 2].max() + 1) + key[:, 2]
    _, first = np.unique(flat * np.int64(part.max() + 1) + part[rows], return_index=True)
    return rows[first]


def _directions(xyz: Floats, part: Ints, tree: cKDTree) -> tuple[Floats, Floats]:
    """Main direction of each sample's own piece nearby, and how linear it is (0 to 1)."""
    k = min(NEIGHBOURS, len(xyz))
    direction, linear = np.empty((len(xyz), 3)), np.empty(len(xyz))
    for a in range(0, len(xyz), AT_ONCE):
        _, near = tree.query(xyz[a : a + AT_ONCE], k, distance_upper_bound=REACH, workers=-1)
        direction[a : a + AT_ONCE], linear[a : a + AT_ONCE] = _main_direction(xyz, part, near.reshape(len(near), k), a)
    return direction, linear


@njit(cache=True, parallel=True)
def _main_direction(xyz, part, near, first):  # type: ignore[no-untyped-def]
    """Largest eigenvector of the scatter of the neighbours of the same piece (rows len(xyz) = none), and the linearity."""
    n = len(near)
    direction, linear = np.zeros((n, 3)), np.zeros(n)
    for i in prange(n):
        mean, s, count = np.zeros(3), np.zeros((3, 3)), 0
        for j in near[i]:
            if j < len(xyz) and part[j] == part[first + i]:
                count += 1
                for a in range(3):
                    mean[a] += xyz[j, a]
        for a in range(3):
            mean[a] /= max(count, 1)
        for j in near[i]:
            if j < len(xyz) and part[j] == part[first + i]:
                for a in range(3):
                    for b in range(3):
                        s[a, b] += (xyz[j, a] - mean[a]) * (xyz[j, b] - mean[b]) / count
        value, vector = np.linalg.eigh(s)
        direction[i] = vector[:, 2]
        if count >= ENOUGH:
            linear[i] = 1 - np.sqrt(max(value[1], 0.0) / max(value[2], 1e-12))
    return direction, linear


def _spanning(a: Ints, b: Ints, part: Ints, cost: Floats, length: Floats, count: int, dearest: float) -> Bridges:
    """Kruskal's spanning tree over the pieces."""
    link = np.arange(count)

    def root(i: int) -> int:
        while link[i] != i:
            link[i] = link[link[i]]
            i = link[i]
        return i

    keep = []
    for i in np.argsort(cost, kind="stable"):
        if cost[i] > dearest:
            break
        x, y = root(int(part[a[i]])), root(int(part[b[i]]))
        if x != y:
            link[x] = y
            keep.append(i)
    return Bridges(a[keep].astype(np.int32), b[keep].astype(np.int32), length[keep])
