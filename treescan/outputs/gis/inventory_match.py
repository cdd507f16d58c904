"""Which record is which tree? Identifier and place weighed against one another, with a doubt for every row
where they do not agree."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from treescan.arrays import Floats
from treescan.reason import Reason

BY_ID, BY_PLACE = "by id", "by place"


@dataclass(frozen=True)
class Match:
    """The tree of one record: its row (-1 = none), how it was found ("" = not), and what speaks against it."""

    tree: int
    how: str
    doubts: tuple[Reason, ...]


def called(names: Sequence[Sequence[str]]) -> dict[str, set[int]]:
    """Every name a tree answers to: its own names and their ends after an underscore, without the ending of a
    file; with the rows that answer.

    >>> sorted(called([["park_A7.laz"]]))
    ['a7', 'park_a7']
    """
    out: dict[str, set[int]] = {}
    for k, own in enumerate(names):
        for name in own:
            parts = re.sub(r"(\.copc)?\.[A-Za-z0-9]{2,4}$", "", str(name)).split("_")
            for start in range(len(parts)):
                out.setdefault("_".join(parts[start:]).casefold(), set()).add(k)
    return out


def matched(
    ids: Sequence[str], places: Floats, names: dict[str, set[int]], trees: Floats, tolerance: float
) -> tuple[Match, ...]:
    """The tree of every record.

    Parameters
    ----------
    ids : sequence of str       Of n records; "" = none.
    places : (n, 2) float       Theirs; NaN = not known. [m]
    names : mapping             From `called`.
    trees : (t, 2) float        Places of the trees; NaN = not known. [m]
    tolerance : float           Of the two places of one tree. [m]

    Notes
    -----
    An identifier that one record carries and one tree answers to makes a match, where the places do not speak
    against it. Of several records with one identifier the nearest gets the tree, if it lies within the
    tolerance. What is left is paired by place, the nearest pairs first, each record and tree once. An
    identifier whose tree lies beyond the tolerance stands only if place offers neither of the two another
    match.
    """
    said = [i.casefold() for i in ids]
    times = Counter(i for i in said if i)
    claim = [next(iter(rows)) if len(rows := names.get(i, set())) == 1 and i else -1 for i in said]
    off = np.array([np.hypot(*(places[i] - trees[k])) if k >= 0 else np.nan for i, k in enumerate(claim)])
    tree = [-1] * len(ids)
    how = [""] * len(ids)
    taken: set[int] = set()
    for i in _nearest_first(off):
        near = off[i] <= tolerance or (not np.isfinite(off[i]) and times[said[i]] == 1)
        if claim[i] >= 0 and near and claim[i] not in taken:
            tree[i], how[i] = claim[i], BY_ID
            taken.add(claim[i])
    for i, k in _by_place(places, trees, tree, tolerance):
        tree[i], how[i] = k, BY_PLACE
        taken.add(k)
    for i in _nearest_first(off):
        if claim[i] >= 0 and tree[i] < 0 and times[said[i]] == 1 and claim[i] not in taken:
            tree[i], how[i] = claim[i], BY_ID
            taken.add(claim[i])
    second = _second_nearest(places, trees, [i for i, h in enumerate(how) if h == BY_PLACE], tree)
    claimed = {k: i for i, k in enumerate(claim) if k >= 0 and how[i] != BY_ID}
    out = []
    for i, k in enumerate(tree):
        doubts = []
        if not said[i]:
            doubts.append(Reason("inventory_no_id"))
        elif times[said[i]] > 1:
            doubts.append(Reason("inventory_id_twice", n=times[said[i]]))
        elif claim[i] >= 0 and k != claim[i]:
            doubts.append(Reason("inventory_id_elsewhere", distance=float(off[i])))
        if how[i] == BY_ID and off[i] > tolerance:
            doubts.append(Reason("inventory_far", distance=float(off[i])))
        if how[i] == BY_PLACE and claimed.get(k, i) != i:
            doubts.append(Reason("inventory_called_otherwise", record=ids[claimed[k]]))
        if second.get(i, np.inf) < tolerance:
            doubts.append(Reason("inventory_other_near", distance=second[i]))
        out.append(Match(k, how[i], tuple(doubts)))
    return tuple(out)


def _second_nearest(places: Floats, trees: Floats, rows: list[int], tree: list[int]) -> dict[int, float]:
    """Distance of a record's place to the nearest tree that is not its own, for those rows. [m]"""
    known = np.flatnonzero(np.isfinite(trees).all(axis=1))
    if not rows or len(known) < 2:
        return {}
    away, which = cKDTree(trees[known]).query(places[rows], k=2)
    own = known[which] == np.array([tree[i] for i in rows])[:, None]
    return {i: float(a[1] if o[0] else a[0]) for i, a, o in zip(rows, away, own, strict=True)}


def _nearest_first(off: Floats) -> list[int]:
    """Rows by distance, those without one last, ties as they stand."""
    return [int(i) for i in np.argsort(np.where(np.isfinite(off), off, np.inf), kind="stable")]


def _by_place(places: Floats, trees: Floats, tree: list[int], tolerance: float) -> list[tuple[int, int]]:
    """Nearest pairs of what is left, each record and each tree once."""
    taken = set(tree)
    free = [k for k in range(len(trees)) if k not in taken and np.isfinite(trees[k]).all()]
    if not free:
        return []
    low, high = trees[free].min(axis=0) - tolerance, trees[free].max(axis=0) + tolerance
    rows = [i for i, k in enumerate(tree) if k < 0 and np.all((places[i] >= low) & (places[i] <= high))]  # NaN lies nowhere
    if not rows:
        return []
    near = cKDTree(places[rows]).query_ball_tree(cKDTree(trees[free]), tolerance)
    pairs = sorted(
        (float(np.hypot(*(places[rows[a]] - trees[free[b]]))), rows[a], free[b])
        for a, found in enumerate(near)
        for b in found
    )
    out: dict[int, int] = {}
    used: set[int] = set()
    for _, i, k in pairs:
        if i not in out and k not in used:
            out[i] = k
            used.add(k)
    return list(out.items())
