"""Which segments make one limb? At every fork the best continuation carries the parent limb on."""

from __future__ import annotations

import numpy as np
from numba import njit

from treescan.wood.graph import Floats, Ints, Limbs

BACK_RADII, BACK = 3, 0.05
"""A limb's direction below a fork is read over so many radii and so much more [m] (project choice)."""
TWIN, TWIN_TURN = 0.8, np.pi / 4
"""Aspect ratio from which, and turn up to which [rad], two stems are codominant (project choice)."""


def label_limbs(xyz: Floats, segment_radius: Floats, parent: Ints) -> tuple[Ints, Limbs]:
    """Limb of every segment, and the table of limbs.

    Parameters
    ----------
    xyz : (n, 3) float, segment_radius : (n,) float, parent : (n,) int32    As in `WoodGraph`. [m]

    Returns
    -------
    limb : (n,) int32       Limb of the segment down to the parent (the root: 0).
    limbs : Limbs

    Notes
    -----
    The continuation is the child with the largest r^2 (1 + cos a) / 2, r its radius and a its turn from the limb's direction,
    both taken a few nodes out so that the flare does not decide.
    Codominant stems (aspect ratio >= 0.8 at a fork of a stem, both within 45 degrees of the parent) keep order 0.
    """
    xyz, radius = np.ascontiguousarray(xyz, float), np.ascontiguousarray(segment_radius, float)
    parent = np.ascontiguousarray(parent, np.int32)
    limb, limb_parent, order = _label(xyz, radius, parent, *kids_of(parent))
    rows = np.argsort(limb, kind="stable").astype(np.int32)
    cut = np.searchsorted(limb[rows], np.arange(1, len(order)))
    return limb, Limbs(limb_parent, order, tuple(np.split(rows, cut)))


@njit(cache=True)
def kids_of(parent):  # type: ignore[no-untyped-def]
    """Children of every node: those of node i are child[start[i] : start[i + 1]]."""
    n = len(parent)
    start = np.zeros(n + 1, np.int64)
    for i in range(1, n):
        start[parent[i] + 1] += 1
    for i in range(n):
        start[i + 1] += start[i]
    child, at = np.empty(max(n - 1, 0), np.int32), start[:-1].copy()
    for i in range(1, n):
        child[at[parent[i]]] = i
        at[parent[i]] += 1
    return start, child


@njit(cache=True)
def _gap(xyz, i, j):  # type: ignore[no-untyped-def]
    return np.sqrt((xyz[i, 0] - xyz[j, 0]) ** 2 + (xyz[i, 1] - xyz[j, 1]) ** 2 + (xyz[i, 2] - xyz[j, 2]) ** 2)


@njit(cache=True)
def _outward(node, distance, xyz, radius, parent, start, child, carried):  # type: ignore[no-untyped-def]
    """Main-line node at least `distance` beyond the fork below `node` (or the last one)."""
    fork, at = parent[node], node
    while _gap(xyz, at, fork) < distance and start[at + 1] > start[at]:
        best = child[start[at]]
        for q in range(start[at] + 1, start[at + 1]):
            k = child[q]
            if radius[k] > radius[best] or (radius[k] == radius[best] and carried[k] > carried[best]):
                best = k
        at = best
    return at


@njit(cache=True)
def _label(xyz, radius, parent, start, child):  # type: ignore[no-untyped-def]
    n = len(xyz)
    carried = np.ones(n, np.int64)
    for i in range(n - 1, 0, -1):
        carried[parent[i]] += carried[i]
    limb = np.zeros(n, np.int32)
    limb_parent, order = np.full(n, -1, np.int32), np.zeros(n, np.int32)
    count = 1
    for i in range(n):
        first, last = start[i], start[i + 1]
        if first == last:
            continue
        here = limb[i]
        if last - first == 1:
            limb[child[first]] = here
            continue
        back = i
        while parent[back] >= 0 and limb[parent[back]] == here and _gap(xyz, back, i) < BACK_RADII * radius[i] + BACK:
            back = parent[back]
        ahead = xyz[i] - xyz[back] if back != i else np.array([0.0, 0.0, 1.0])
        ahead = ahead / max(np.sqrt(np.sum(ahead * ahead)), 1e-9)
        thick, turn, score = np.zeros(last - first), np.zeros(last - first), np.zeros(last - first)
        best = 0
        for q in range(last - first):
            k = child[first + q]
            far = _outward(k, 2 * radius[i] + radius[k], xyz, radius, parent, start, child, carried)
            d = xyz[far] - xyz[i]
            c = min(max(np.sum(d * ahead) / max(_gap(xyz, far, i), 1e-9), -1.0), 1.0)
            thick[q], turn[q] = radius[far], np.arccos(c)
            score[q] = radius[far] ** 2 * (1 + c) / 2
            if score[q] > score[best] or (score[q] == score[best] and carried[k] > carried[child[first + best]]):
                best = q
        for q in range(last - first):
            k = child[first + q]
            if q == best:
                limb[k] = here
                continue
            twin = order[here] == 0 and thick[q] >= TWIN * thick[best] and max(turn[q], turn[best]) < TWIN_TURN
            limb[k], limb_parent[count] = count, here
            order[count] = 0 if twin else order[here] + 1
            count += 1
    return limb, limb_parent[:count], order[:count]
