"""Along which shortest paths does the material grow from its seeds? A neighbour graph over voxels and a race of labelled seeds on it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit, prange
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from treescan.trees.material.material_voxels import voxelise

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]
BLOCK = 500_000


@dataclass(frozen=True)
class Neighbours:
    """A symmetric neighbour graph in compressed rows, and the plain nearest neighbours it was made from.

    start : (n + 1,) int64; other : (e,) int32; length : (e,) float32 [m]; nearest : (n, k) int32, own point first.
    """

    start: NDArray[np.int64]
    other: Ints
    length: NDArray[np.float32]
    nearest: Ints


def nearest(xyz: Floats, k: int) -> tuple[Ints, NDArray[np.float32]]:
    """Nearest neighbours of points (n, 3), the point itself first: indices (n, k) and distances (n, k) [m]."""
    k = min(k, len(xyz))
    order = cell_order(xyz, 0.25)
    back = order.astype(np.int32)
    tree = cKDTree(xyz[order], balanced_tree=False, compact_nodes=False)
    index = np.empty((len(xyz), k), np.int32)
    distance = np.empty((len(xyz), k), np.float32)
    for low in range(0, len(xyz), BLOCK):
        rows = order[low : low + BLOCK]
        d, i = tree.query(tree.data[low : low + BLOCK], k=list(range(1, k + 1)), workers=-1)
        index[rows], distance[rows] = back[i], d
    return index, distance


def cell_order(xyz: Floats, cell: float) -> NDArray[np.int64]:
    """An order of the points by cubes of edge `cell`: neighbours in space become neighbours in memory."""
    i = ((xyz - xyz.min(axis=0)) / cell).astype(np.int64)
    return np.argsort((i[:, 2] << 42) | (i[:, 1] << 21) | i[:, 0], kind="stable")


def neighbour_graph(xyz: Floats, k: int, cell: float, levels: int = 4) -> Neighbours:
    """Nearest-neighbour graph that also reaches over gaps: the same rule again on ever coarser voxels.

    Parameters
    ----------
    xyz : (n, 3) float      Voxel centres. [m]
    k : int                 Neighbours of the finest level.
    cell : float            Voxel edge of the finest level; each further level is 4 times coarser. [m]
    levels : int            With the fourth level gaps of some metres are bridged (at a cost that grows with their square).
    """
    near, d = nearest(xyz, k)
    a = [np.repeat(np.arange(len(xyz), dtype=np.int32), near.shape[1] - 1)]
    b = [near[:, 1:].ravel()]
    c = [d[:, 1:].ravel()]
    for level in range(1, levels):
        coarse = voxelise(xyz, cell * 4**level)
        if len(coarse) < 2:
            break
        i, _ = nearest(coarse.centre, 9)
        p = np.repeat(coarse.first, i.shape[1] - 1).astype(np.int32)
        q = coarse.first[i[:, 1:].ravel()].astype(np.int32)
        a.append(p)
        b.append(q)
        c.append(np.linalg.norm(xyz[p] - xyz[q], axis=1).astype(np.float32))
    start, other, length = _symmetric(np.concatenate(a), np.concatenate(b), np.concatenate(c), len(xyz))
    return Neighbours(start, other, length, near)


@njit(cache=True)
def _symmetric(a, b, c, n):  # type: ignore[no-untyped-def]
    start = np.zeros(n + 1, np.int64)
    for e in range(len(a)):
        start[a[e] + 1] += 1
        start[b[e] + 1] += 1
    for i in range(n):
        start[i + 1] += start[i]
    fill = start[:-1].copy()
    other = np.empty(2 * len(a), np.int32)
    length = np.empty(2 * len(a), np.float32)
    for e in range(len(a)):
        i, j = a[e], b[e]
        other[fill[i]], length[fill[i]] = j, c[e]
        fill[i] += 1
        other[fill[j]], length[fill[j]] = i, c[e]
        fill[j] += 1
    return start, other, length


@dataclass(frozen=True)
class Race:
    """Who reached each voxel first. label, previous : (n,) int32, -1 where nobody came; cost : (n,) float; order : voxels by arrival."""

    label: Ints
    previous: Ints
    cost: Floats
    order: Ints


def race(
    graph: Neighbours,
    xyz: Floats,
    seeds: Ints,
    labels: Ints,
    factor: Floats,
    *,
    usual: float,
    drag: Floats,
    down: float = 0.3,
    turn: float = 0.0,
    head_start: Floats | None = None,
) -> Race:
    """Cheapest growth from labelled seeds: every voxel goes to the label that reaches it at the least cost.

    Parameters
    ----------
    graph, xyz : the neighbour graph and its n voxel centres [m].
    seeds, labels : (s,) int32      Seed voxels and whose they are.
    factor : (labels,) float        Costs of a label are multiplied by this: thick stems feed larger crowns.
    usual : float                   Usual step; a longer step d costs d * d / usual, so gaps are dear. [m]
    drag : (n,) float               Cost factor of entering a voxel (wood cheap, leaf dear).
    down : float                    Extra cost of growing straight down.
    turn : float                    Extra cost of a step against the way come so far (half of it for a step straight to the side): limbs
                                    fork forwards, so growth that enters a limb where a neighbour touches it has to turn and pays.
    head_start : (s,) float         Cost already spent at each seed.
    """
    h0 = np.zeros(len(seeds)) if head_start is None else head_start
    whose = labels.astype(np.int32)
    return Race(*_race(graph.start, graph.other, graph.length, xyz, seeds.astype(np.int32), whose, factor, usual, drag, down, turn, h0))


@njit(cache=True)
def _race(start, other, length, xyz, seeds, labels, factor, usual, drag, down, turn, head_start):  # type: ignore[no-untyped-def]
    n = len(xyz)
    cost = np.full(n, np.inf)
    label = np.full(n, -1, np.int32)
    previous = np.full(n, -1, np.int32)
    done = np.zeros(n, np.bool_)
    order = np.empty(n, np.int32)
    way = np.zeros((n, 3))
    firm = np.zeros(n)
    memory = 8.0 * usual
    room = max(1024, 2 * n)
    key = np.empty(room)
    item = np.empty(room, np.int32)
    size = 0
    m = 0
    for s in range(len(seeds)):
        v = seeds[s]
        if head_start[s] < cost[v]:
            cost[v], label[v] = head_start[s], labels[s]
            if size == room:
                room, key, item = _grow(room, key, item)
            size = _push(key, item, size, cost[v], v)
    while size > 0:
        d, v = key[0], item[0]
        size = _pop(key, item, size)
        if done[v]:
            continue
        done[v] = True
        order[m] = v
        m += 1
        f = factor[label[v]]
        p = previous[v]
        if p >= 0:
            far = np.sqrt((xyz[v, 0] - xyz[p, 0]) ** 2 + (xyz[v, 1] - xyz[p, 1]) ** 2 + (xyz[v, 2] - xyz[p, 2]) ** 2) + 1e-9
            keep = np.exp(-far / memory)
            for a in range(3):
                way[v, a] = keep * way[p, a] + (1.0 - keep) * (xyz[v, a] - xyz[p, a]) / far
        firm[v] = np.sqrt(way[v, 0] ** 2 + way[v, 1] ** 2 + way[v, 2] ** 2)
        for e in range(start[v], start[v + 1]):
            w = other[e]
            if done[w]:
                continue
            step = length[e]
            c = step if step < usual else step * step / usual
            if step > 0.0 and xyz[w, 2] < xyz[v, 2]:
                c *= 1.0 + down * (xyz[v, 2] - xyz[w, 2]) / step
            ahead = way[v, 0] * (xyz[w, 0] - xyz[v, 0]) + way[v, 1] * (xyz[w, 1] - xyz[v, 1]) + way[v, 2] * (xyz[w, 2] - xyz[v, 2])
            bent = 0.5 * (firm[v] - ahead / step) if step > 0.0 else 0.0
            c = d + c * f * drag[w] * (1.0 + turn * bent)
            if c < cost[w]:
                cost[w], label[w], previous[w] = c, label[v], v
                if size == room:
                    room, key, item = _grow(room, key, item)
                size = _push(key, item, size, c, w)
    return label, previous, cost, order[:m].copy()


@njit(cache=True)
def _grow(room, key, item):  # type: ignore[no-untyped-def]
    k, i = np.empty(2 * room), np.empty(2 * room, np.int32)
    k[:room], i[:room] = key, item
    return 2 * room, k, i


@njit(cache=True)
def _push(key, item, size, k, v):  # type: ignore[no-untyped-def]
    i = size
    while i > 0:
        p = (i - 1) >> 1
        if key[p] <= k:
            break
        key[i], item[i] = key[p], item[p]
        i = p
    key[i], item[i] = k, v
    return size + 1


@njit(cache=True)
def _pop(key, item, size):  # type: ignore[no-untyped-def]
    size -= 1
    k, v = key[size], item[size]
    i = 0
    while True:
        c = 2 * i + 1
        if c >= size:
            break
        if c + 1 < size and key[c + 1] < key[c]:
            c += 1
        if key[c] >= k:
            break
        key[i], item[i] = key[c], item[c]
        i = c
    key[i], item[i] = k, v
    return size


@njit(cache=True, parallel=True)
def shape_of(xyz, near):  # type: ignore[no-untyped-def]
    """Eigenvalues (n, 3), largest first [m2], smallest-eigenvalue direction and largest-eigenvalue direction (n, 3) of each neighbourhood."""
    n, k = near.shape
    value = np.zeros((n, 3))
    normal = np.zeros((n, 3))
    along = np.zeros((n, 3))
    for i in prange(n):
        m = np.zeros(3)
        for j in range(k):
            for a in range(3):
                m[a] += xyz[near[i, j], a]
        m /= k
        s = np.zeros((3, 3))
        for j in range(k):
            for a in range(3):
                da = xyz[near[i, j], a] - m[a]
                for b in range(a, 3):
                    s[a, b] += da * (xyz[near[i, j], b] - m[b])
        for a in range(3):
            for b in range(a):
                s[a, b] = s[b, a]
        w, v = np.linalg.eigh(s / k)
        for a in range(3):
            value[i, a] = max(w[2 - a], 0.0)
            normal[i, a] = v[a, 0]
            along[i, a] = v[a, 2]
    return value, normal, along
