"""Slices of equal distance from the foot: the first, rough skeleton."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit

from treescan.geometry import unit
from treescan.wood.graph import Floats, Ints
from treescan.wood.skeleton.geodesic import GeodesicDistance, components

LONGEST_STEP = 4
"""A step from slice to slice counts for no more than so many slice lengths: a gap is no wood."""
BACK = 6
"""Slices back from which a limb's direction at a fork is read (project choice)."""
STRAIGHT, SHORT = 1.5, 0.2
"""What the wood carried counts beside the cosine of the turn, and what a piece without length keeps of its score [m] (project choice)."""


@dataclass(frozen=True)
class Slices:
    """Connected pieces of wood at about the same distance from the foot, nearest first.

    Attributes
    ----------
    of_point : (c,) int32   Slice of every thinned point, -1 where the spread did not come.
    centre : (k, 3) float   Mean of the slice's points. [m]
    size : (k,) int         Points in it.
    parent : (k,) int32     Slice next towards the foot, -1 for the first; always a smaller index.
    bridged : (k,) bool     True where the way to the parent crosses a gap.
    """

    of_point: Ints
    centre: Floats
    size: Ints
    parent: Ints
    bridged: np.ndarray


def cut_slices(xyz: Floats, spread: GeodesicDistance, level: float) -> Slices:
    """Cut the wood into slices of length `level` [m] along the distance from the foot."""
    reached = np.isfinite(spread.distance)
    step = np.where(reached, spread.distance, 0.0) / level
    index = np.where(reached, step.astype(np.int32), -1).astype(np.int32)
    index[index == 0] = np.where(reached[index == 0], 0, -1)
    part = components(spread.near, index)
    count = int(part.max()) + 1
    at = np.zeros(count, np.int64)
    at[part[reached]] = index[reached]
    order = np.argsort(at, kind="stable")
    new = np.empty(count, np.int32)
    new[order] = np.arange(count, dtype=np.int32)
    part = np.where(part >= 0, new[part], -1).astype(np.int32)
    size = np.bincount(part[reached], minlength=count)
    centre = np.stack([np.bincount(part[reached], weights=xyz[reached, a], minlength=count) for a in range(3)], axis=1) / size[:, None]
    parent, bridged = _parents(part, spread.before, spread.bridge, count)
    first = np.flatnonzero(parent < 0)
    if len(first) > 1:  # several starts round the foot: one stem
        home = first[np.argmax(size[first])]
        part = np.where(np.isin(part, first), home, part)
        return _without(part, centre, size, parent, bridged, first, home, xyz)
    return Slices(part, centre, size, parent, bridged)


def _without(part: Ints, centre: Floats, size: Ints, parent: Ints, bridged: np.ndarray, first: Ints, home: int, xyz: Floats) -> Slices:
    """The same slices with all first ones merged into one."""
    keep = np.ones(len(size), bool)
    keep[first] = False
    keep[home] = True
    keep_rows = np.concatenate([[home], np.flatnonzero(keep & (np.arange(len(size)) != home))])
    new = np.full(len(size), -1, np.int32)
    new[keep_rows] = np.arange(len(keep_rows), dtype=np.int32)
    new[first] = 0
    part = np.where(part >= 0, new[part], -1).astype(np.int32)
    parent = np.where(parent[keep_rows] >= 0, new[parent[keep_rows]], -1).astype(np.int32)
    centre, size, bridged = centre[keep_rows].copy(), size[keep_rows].copy(), bridged[keep_rows]
    centre[0], size[0] = xyz[part == 0].mean(axis=0), int((part == 0).sum())
    return Slices(part, centre, size, parent, bridged)


@njit(cache=True)
def _parents(part, before, bridge, count):  # type: ignore[no-untyped-def]
    """Parent slice by the vote of the points whose next step leaves the slice."""
    parent = np.full(count, -1, np.int32)
    votes = np.zeros(count, np.int64)
    bridged = np.zeros(count, np.bool_)
    for i in range(len(part)):  # majority vote (Boyer-Moore): exact where one parent holds more than half
        j = before[i]
        if part[i] < 0 or j < 0 or part[j] == part[i]:
            continue
        p, q = part[i], part[j]
        if votes[p] == 0:
            parent[p] = q
            votes[p] = 1
        elif parent[p] == q:
            votes[p] += 1
        else:
            votes[p] -= 1
    across = np.zeros(count, np.int64)
    steps = np.zeros(count, np.int64)
    for i in range(len(part)):
        j = before[i]
        if part[i] >= 0 and j >= 0 and part[j] != part[i] and part[j] == parent[part[i]]:
            steps[part[i]] += 1
            if bridge[i]:
                across[part[i]] += 1
    for p in range(count):
        bridged[p] = across[p] > 0 and 2 * across[p] >= steps[p]
    return parent, bridged


@dataclass(frozen=True)
class Chains:
    """The rough skeleton as chains of slices, one a limb; chain 0 is the stem.

    Attributes
    ----------
    of_slice : (k,) int32       Chain of every slice; side pieces too short to be limbs belong to the chain they sit on.
    place : (k,) int32          Position of the slice in its chain.
    slices : list of (j,) int32 Slices of each chain, foot outward.
    parent : list of int        Chain it leaves, -1 for the stem.
    leaves_at : list of int     Position in the parent chain where it leaves.
    bridged : list of int       Positions in the chain whose step towards the foot crosses a gap.
    """

    of_slice: Ints
    place: Ints
    slices: list[Ints]
    parent: list[int]
    leaves_at: list[int]
    bridged: list[list[int]]


def chain_slices(slices: Slices, level: float, shortest: float) -> Chains:
    """Follow the slices outward; at every fork the part that carries more wood goes on as the same limb.

    Parameters
    ----------
    level, shortest : float     Slice length and shortest side piece that may be a limb. [m]
    """
    k = len(slices.size)
    parent = slices.parent
    carried = slices.size.astype(float).copy()
    reach = np.zeros(k)
    step = np.linalg.norm(slices.centre - slices.centre[np.maximum(parent, 0)], axis=1)
    for i in range(k - 1, 0, -1):
        p = parent[i]
        carried[p] += carried[i]
        reach[p] = max(reach[p], reach[i] + min(step[i], LONGEST_STEP * level))
    kids: list[list[int]] = [[] for _ in range(k)]
    for i in range(1, k):
        kids[parent[i]].append(i)
    of_slice, place = np.zeros(k, np.int32), np.zeros(k, np.int32)
    chains: list[list[int]] = [[0]]
    chain_parent, leaves_at = [-1], [0]
    absorbed = np.zeros(k, bool)
    for i in range(k):
        c = of_slice[i]
        children = kids[i]
        if not children:
            continue
        if absorbed[i]:
            for j in children:
                of_slice[j], place[j], absorbed[j] = c, place[i], True
            continue
        best = _onward(i, children, slices.centre, chains[c], carried, reach)
        for j in children:
            if j == best:
                of_slice[j], place[j] = c, len(chains[c])
                chains[c].append(j)
            elif reach[j] < shortest:
                of_slice[j], place[j], absorbed[j] = c, place[i], True
            else:
                of_slice[j], place[j] = len(chains), 0
                chain_parent.append(int(c))
                leaves_at.append(int(place[i]))
                chains.append([j])
    bridged = [[n for n, s in enumerate(chain) if slices.bridged[s]] for chain in chains]
    return Chains(of_slice, place, [np.array(c, np.int32) for c in chains], chain_parent, leaves_at, bridged)


def _onward(i: int, children: list[int], centre: Floats, chain: list[int], carried: Floats, reach: Floats) -> int:
    """The child that goes on as the same limb: much wood carried, little turn."""
    if len(children) == 1:
        return children[0]
    back = centre[chain[max(0, len(chain) - BACK)]]
    rows = np.array(children)
    ahead = unit(centre[i] - back)
    if not ahead.any():
        ahead = np.array([0.0, 0.0, 1.0])
    turn = unit(centre[rows] - centre[i]) @ ahead
    return children[int(np.argmax(carried[rows] * (STRAIGHT + turn) * np.minimum(1.0, SHORT + reach[rows])))]
