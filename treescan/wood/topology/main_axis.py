"""Which arm of a fork carries the limb on? Decided again once thicknesses are known, so that one axis is not fitted round a corner."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numba import njit

from treescan.geometry import unit
from treescan.wood.fitting.limb_axes import KEY, KEY_LOW, MEASURED, LimbAxes, places_along
from treescan.wood.graph import Floats, Ints

BELOW = 4
"""Vertices below a fork that give the limb's direction there (project choice)."""
FOOT_VERTICES = 5
"""Vertices whose median radius says how far an arm is looked at."""
AHEAD, AHEAD_RADII = 0.5, 8
"""An arm is looked at over this way [m], and at least so many radii (project choice)."""
UNFITTED = 0.7
"""Share of a radius that counts where no fit stands behind it (project choice)."""
STRAIGHT = 1.5
"""What thickness counts beside the cosine of the turn in an arm's score (project choice)."""


def assign_main_axis(limb: Ints, place: Floats, axes: LimbAxes, margin: float = 1.15) -> tuple[LimbAxes, Ints]:
    """Swap the outer part of a limb with a side limb that continues it better.

    Parameters
    ----------
    limb, place : (n,)      Limb of every point and its place along it. [m]
    margin : float          How many times the present continuation's score a side limb must have to take over.

    Notes
    -----
    An arm scores r^2 (1.5 + cos a), r its radius past the fork and a its turn from the limb below. Forks are taken from the foot
    outward.
    """
    count = len(axes)
    lines = [axes.rows(k) for k in range(count)]
    data = [axes.columns(rows) | {"s": axes.s[rows], "from": np.full(rows.stop - rows.start, k)} for k, rows in enumerate(lines)]
    parent, leaves = axes.parent.copy(), axes.leaves.copy()
    kids: list[list[int]] = [[] for _ in range(count)]
    for k in range(1, count):
        kids[parent[k]].append(k)
    todo = [0]
    while todo:
        m = todo.pop(0)
        done: set[int] = set()
        while True:
            turn = [(_nearest_vertex(data[m]["v"], leaves[k])[0], k) for k in kids[m] if k not in done and len(data[k]["v"]) > 1]
            if not turn:
                break
            at, k = min(turn)
            done.add(k)
            if not _takes_over(data[m], data[k], at, margin):
                continue
            data[m], data[k] = _joined(data[m], data[k], at), _tail(data[m], at)
            mine: list[int] = []
            his: list[int] = []
            for c in kids[m]:
                if c == k:
                    continue
                on_tail = _nearer(leaves[c], data[k], data[m], at)
                (his if on_tail else mine).append(c)
            moved = kids[k]
            kids[m] = [*mine, k, *moved]
            kids[k] = his
            for c in kids[m]:
                parent[c] = m
            for c in his:
                parent[c] = k
        todo.extend(kids[m])
    return _rebuilt(axes, data, parent, leaves), _relabelled(limb, place, axes, data)


def _takes_over(main: dict, side: dict, at: int, margin: float) -> bool:
    n = len(main["v"])
    if at >= n - 2:
        return len(side["v"]) > n - at
    below = main["v"][max(0, at - BELOW) : at + 1]
    ahead = unit(below[-1] - below[0]) if len(below) > 1 else np.array([0.0, 0.0, 1.0])
    fork = main["v"][at]
    new = _score(side["v"], side["r"], side["raw_sd"], side["s"], 0, ahead, fork)
    return bool(new > margin * _score(main["v"], main["r"], main["raw_sd"], main["s"], at + 1, ahead, fork))


@njit(cache=True)
def _score(v, r, sd, s, first, ahead, fork):  # type: ignore[no-untyped-def]
    """r^2 (1.5 + cos a) of a line from its row `first` on: its radius past the fork and its turn from `ahead`."""
    far = max(AHEAD, AHEAD_RADII * np.median(r[first : first + FOOT_VERTICES]))
    last = first
    while last + 1 < len(s) and s[last + 1] - s[first] < far:
        last += 1
    near = r[first : last + 1]
    good = near[np.isfinite(sd[first : last + 1])]
    thick = np.median(good) if len(good) >= 2 else np.median(near) * UNFITTED
    d = v[min(len(v) - 1, max(first + 1, last))] - fork
    length = np.sqrt(np.sum(d * d))
    turn = np.sum(d * ahead) / length if length > 0 else 0.0
    return thick**2 * (STRAIGHT + turn)


@njit(cache=True)
def _nearest_vertex(v, place):  # type: ignore[no-untyped-def]
    """Row of the vertex nearest to a place, and the square of the distance."""
    best, row = np.inf, 0
    for i in range(len(v)):
        d = (v[i, 0] - place[0]) ** 2 + (v[i, 1] - place[1]) ** 2 + (v[i, 2] - place[2]) ** 2
        if d < best:
            best, row = d, i
    return row, best


def _joined(main: dict, side: dict, at: int) -> dict:
    return {c: np.concatenate([main[c][: at + 1], side[c]]) for c in main}


def _tail(main: dict, at: int) -> dict:
    return {c: main[c][at + 1 :] for c in main}


def _nearer(place: Floats, tail: dict, main: dict, at: int) -> bool:
    """True when a side limb leaves the tail rather than what now is the main line."""
    if len(tail["v"]) == 0:
        return False
    return bool(_nearest_vertex(tail["v"], place)[1] < _nearest_vertex(main["v"], place)[1])


def _rebuilt(axes: LimbAxes, data: list[dict], parent: Ints, leaves: Floats) -> LimbAxes:
    start = np.concatenate([[0], np.cumsum([len(d["v"]) for d in data])]).astype(np.int64)
    fields = {c: np.concatenate([d[c] for d in data]) for c in MEASURED}
    return replace(axes, start=start, s=places_along(start, fields["v"]), parent=parent, leaves=leaves, **fields)


def _relabelled(limb: Ints, place: Floats, axes: LimbAxes, data: list[dict]) -> Ints:
    """Limb of every point after the swaps: that of the old vertex nearest to it along its old limb."""
    of_vertex = np.empty(len(axes.s), np.int32)
    for k, d in enumerate(data):
        if len(d["from"]) == 0:
            continue
        for old in np.unique(d["from"]):
            rows = np.flatnonzero(d["from"] == old)
            a, b = axes.start[old], axes.start[old + 1]
            first = a + np.searchsorted(axes.s[a:b], d["s"][rows[0]] - 1e-9)
            of_vertex[first : first + len(rows)] = k
    key = axes.of_vertex * KEY + axes.s
    mid = 0.5 * (key[1:] + key[:-1])
    held = limb >= 0
    out = limb.copy()
    ask = limb[held] * KEY + np.clip(place[held], 0.0, KEY_LOW * KEY)
    j = np.searchsorted(mid, ask)
    j = np.clip(j, axes.start[limb[held]], np.maximum(axes.start[limb[held] + 1] - 1, axes.start[limb[held]]))
    ok = axes.start[limb[held] + 1] > axes.start[limb[held]]
    out[held] = np.where(ok, of_vertex[np.minimum(j, len(of_vertex) - 1)], limb[held])
    return out
