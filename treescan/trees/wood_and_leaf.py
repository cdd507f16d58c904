"""Which of the tree's points are wood? Local shape, and how much of the tree is reached through a point, together give a confidence."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit, prange
from numpy.typing import NDArray

from treescan.trees.growth import Neighbours, Race

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True)
class WoodEvidence:
    """What speaks for wood at every voxel, all (n,).

    Attributes
    ----------
    line, sheet, cloud : float  Linearity, planarity and scatter of about a decimetre of surroundings; they add to 1.
    flow : float                log10 of the number of voxels reached through this one or its neighbours.
    beyond : float              Longest way on through this voxel or its neighbours. [m]
    confidence : float          In [0, 1]; wood from `TreeSettings.wood_limit`.
    """

    line: Floats
    sheet: Floats
    cloud: Floats
    flow: Floats
    beyond: Floats
    confidence: Floats


def wood_confidence(xyz: Floats, graph: Neighbours, grown: Race, member: Bools) -> WoodEvidence:
    """Evidence for wood at the voxels of one tree.

    Parameters
    ----------
    xyz : (n, 3) float      Voxel centres. [m]
    graph, grown            Neighbour graph and the race that reached the tree.
    member : (n,) bool      Voxels of the asked tree; the others get confidence 0.
    """
    value = _wide_shape(xyz, graph.nearest, member)
    total = np.maximum(value.sum(axis=1), 1e-12)
    line, sheet, cloud = (value[:, 0] - value[:, 1]) / total, (2 * value[:, 1] - 2 * value[:, 2]) / total, 3 * value[:, 2] / total
    flow, beyond = _carried(xyz, grown.previous, grown.order, member)
    flow, beyond = np.log10(np.maximum(flow, 1.0)), beyond
    for _ in range(2):
        flow, beyond = _largest_near(flow, graph.nearest, member), _largest_near(beyond, graph.nearest, member)
    raw = -0.4 + 2.6 * line + 1.6 * sheet - 3.2 * cloud + 0.9 * (flow - 1.6) + 0.5 * np.minimum(beyond, 3.0)
    p = np.where(member, 1.0 / (1.0 + np.exp(-raw)), 0.0)
    for _ in range(3):
        p = _mean_near(p, graph.nearest, member)
    p = _down_to_the_foot(p, grown.previous, grown.order, member)
    return WoodEvidence(line, sheet, cloud, flow, beyond, p)


@njit(cache=True, parallel=True)
def _wide_shape(xyz, near, member):  # type: ignore[no-untyped-def]
    """Eigenvalues (n, 3), largest first, over the neighbours and every second neighbour of theirs. [m2]"""
    n, k = near.shape
    value = np.zeros((n, 3))
    for i in prange(n):
        if not member[i]:
            continue
        m = np.zeros(3)
        s = np.zeros((3, 3))
        d = np.zeros(3)
        count = 0
        for j in range(k):
            q = near[i, j]
            for e in range(0, k, 2):
                w = near[q, e]
                if not member[w]:
                    continue
                count += 1
                for a in range(3):
                    d[a] = xyz[w, a] - xyz[i, a]
                    m[a] += d[a]
                for a in range(3):
                    for b in range(a, 3):
                        s[a, b] += d[a] * d[b]
        if count < 4:
            continue
        for a in range(3):
            m[a] /= count
        for a in range(3):
            for b in range(a, 3):
                s[a, b] = s[a, b] / count - m[a] * m[b]
                s[b, a] = s[a, b]
        w3 = np.linalg.eigvalsh(s)
        for a in range(3):
            value[i, a] = max(w3[2 - a], 0.0)
    return value


@njit(cache=True)
def _carried(xyz, previous, order, member):  # type: ignore[no-untyped-def]
    """Voxels reached through each voxel, itself included, and the longest way on from it. [m]"""
    n = len(previous)
    flow = np.zeros(n)
    beyond = np.zeros(n)
    for t in range(len(order) - 1, -1, -1):
        i = order[t]
        if not member[i]:
            continue
        flow[i] += 1.0
        p = previous[i]
        if p >= 0 and member[p]:
            flow[p] += flow[i]
            step = np.sqrt((xyz[i, 0] - xyz[p, 0]) ** 2 + (xyz[i, 1] - xyz[p, 1]) ** 2 + (xyz[i, 2] - xyz[p, 2]) ** 2)
            beyond[p] = max(beyond[p], beyond[i] + step)
    return flow, beyond


@njit(cache=True, parallel=True)
def _largest_near(value, near, member):  # type: ignore[no-untyped-def]
    out = value.copy()
    for i in prange(len(value)):
        if member[i]:
            for j in range(near.shape[1]):
                if member[near[i, j]]:
                    out[i] = max(out[i], value[near[i, j]])
    return out


@njit(cache=True, parallel=True)
def _mean_near(value, near, member):  # type: ignore[no-untyped-def]
    out = value.copy()
    for i in prange(len(value)):
        if member[i]:
            total, count = value[i], 1
            for j in range(near.shape[1]):
                if member[near[i, j]]:
                    total += value[near[i, j]]
                    count += 1
            out[i] = total / count
    return out


@njit(cache=True)
def _down_to_the_foot(p, previous, order, member):  # type: ignore[no-untyped-def]
    """What carries wood is wood: along the way to the foot the confidence does not fall below 0.9 of what is carried 10 voxels on."""
    out = p.copy()
    for t in range(len(order) - 1, -1, -1):
        i = order[t]
        q = previous[i]
        if member[i] and q >= 0 and member[q] and out[i] * 0.995 > out[q]:
            out[q] = out[i] * 0.995
    return out
