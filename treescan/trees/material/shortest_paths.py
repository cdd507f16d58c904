"""From which of many sources is every voxel reached at the least cost? Shortest paths over the neighbour
graph (Dijkstra, many sources)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit

from treescan.arrays import Floats, Ints32
from treescan.trees.material.neighbour_graph import NeighbourGraph

MEMORY = 8.0
"""Usual steps over which the direction of a path is remembered."""
LEAST_ROOM = 1024
"""Entries of the queue to begin with."""


@dataclass(frozen=True)
class Sources:
    """Where paths start, all (s,): the voxel, whose it is, and the cost already spent there."""

    voxel: Ints32
    label: Ints32
    spent: Floats

    def of(self, label: int) -> Sources:
        """The sources of one label."""
        own = self.label == label
        return Sources(self.voxel[own], self.label[own], self.spent[own])

    def weighted(self, factor: Floats) -> Sources:
        """The same sources, what was spent multiplied by the factor of their label."""
        return Sources(self.voxel, self.label, self.spent * factor[self.label])


@dataclass(frozen=True)
class StepCost:
    """What a step costs.

    Attributes
    ----------
    usual : float               Usual step; a longer step d costs d * d / usual, so gaps are dear. [m]
    drag : (n,) float           Cost factor of entering a voxel (wood cheap, leaf dear).
    down : float                Extra cost of a path that runs straight down.
    turn : float                Extra cost of a step against the way come so far (half of it for a step
                                straight to the side): limbs fork forwards, so a path that enters a limb where
                                a neighbour touches it has to turn and pays.
    """

    usual: float
    drag: Floats
    down: float = 0.3
    turn: float = 0.0


@dataclass(frozen=True)
class ShortestPaths:
    """Which source reached each voxel: label, previous voxel (n,) int32, -1 where none did; cost (n,); order:
    voxels by arrival."""

    label: Ints32
    previous: Ints32
    cost: Floats
    order: Ints32


def shortest_paths(
    graph: NeighbourGraph, xyz: Floats, sources: Sources, factor: Floats, step: StepCost
) -> ShortestPaths:
    """Every voxel goes to the label that reaches it at the least cost.

    Parameters
    ----------
    graph, xyz          The neighbour graph and its n voxel centres. [m]
    sources : Sources
    factor : (labels,)  Costs of a label are multiplied by this: thick stems feed larger crowns.
    step : StepCost
    """
    voxels, labels = sources.voxel.astype(np.int32), sources.label.astype(np.int32)
    return ShortestPaths(
        *_arrivals(
            graph.start,
            graph.other,
            graph.length,
            xyz,
            voxels,
            labels,
            sources.spent,
            factor,
            step.usual,
            step.drag,
            step.down,
            step.turn,
        )
    )


@njit(cache=True)
def _arrivals(start, other, length, xyz, voxels, labels, spent, factor, usual, drag, down, turn):  # type: ignore[no-untyped-def]
    n = len(xyz)
    cost = np.full(n, np.inf)
    label = np.full(n, -1, np.int32)
    previous = np.full(n, -1, np.int32)
    done = np.zeros(n, np.bool_)
    order = np.empty(n, np.int32)
    way = np.zeros((n, 3))
    firm = np.zeros(n)
    memory = MEMORY * usual
    room = max(LEAST_ROOM, 2 * n)
    key = np.empty(room)
    item = np.empty(room, np.int32)
    size = 0
    m = 0
    for s in range(len(voxels)):
        v = voxels[s]
        if spent[s] < cost[v]:
            cost[v], label[v] = spent[s], labels[s]
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
            far = (
                np.sqrt(
                    (xyz[v, 0] - xyz[p, 0]) ** 2 + (xyz[v, 1] - xyz[p, 1]) ** 2 + (xyz[v, 2] - xyz[p, 2]) ** 2
                )
                + 1e-9
            )
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
            ahead = (
                way[v, 0] * (xyz[w, 0] - xyz[v, 0])
                + way[v, 1] * (xyz[w, 1] - xyz[v, 1])
                + way[v, 2] * (xyz[w, 2] - xyz[v, 2])
            )
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
