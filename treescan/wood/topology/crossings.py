"""Where limbs touch and pass each other: does the outer part belong to the limb that ends on the other side?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.spatial import cKDTree

from treescan.geometry import unit
from treescan.wood.fitting.limb_axes import LimbAxes, places_along
from treescan.wood.graph import Floats, Ints
from treescan.wood.topology.insertions import insertion_of

LONGEST = 0.9
"""No gap longer than this is closed here [m]."""
IN_LINE = np.cos(np.radians(25.0))
"""Cosine of the greatest turn between the end, the gap and the beginning beyond it."""
BEND = np.radians(45.0)
"""A limb that turns by more than this may be two that touch [rad]."""
GROWTH = 1.7
"""So may one that gets this many times thicker outward."""
LOSS = 2.5
"""Or that many times thinner at once."""
LEAST = 0.025
"""Limbs of a smaller radius are not cut [m]."""
CORNER = 0.1
"""At a cut the corner is left out of both parts' ends: this far [m], or a radius."""
ALIKE = (0.65, 1.5)
"""Radius beyond over radius before."""
SEARCH, SEARCH_RADII = 0.2, 6
"""An end is looked for within this way [m] and so many radii of the beginning, and across what lies between (project choice)."""
OWN, OWN_RADII = 0.3, 5
"""A limb with an end of its own is at least so long [m], and so many of its radii (project choice)."""
CLEAR, SIDE = 4, 5
"""Rows at both ends at which no limb is cut, and rows to either side that tell the thickness (project choice)."""
SPAN, BEND_RADII, END_RADII = 0.15, 3, 4
"""A direction is read over this way [m], and so many radii at a bend and at an end (project choice)."""
FAR_AWAY = 1e9
"""Where the end of a limb without one is put: beyond all reach [m]."""
CORNER_ROWS, BEGIN_ROWS = 8, 4
"""Rows whose median radius is that of a cut's corner, and of a beginning."""
LEAST_RADIUS = 1e-6
"""Guards a division by a radius of nothing [m]."""
GAP_COST, BESIDE = 0.2, 0.02
"""Share of the gap's length added to how far aside it lies; it may lie aside by a radius and so much more [m] (project choice)."""


def through_crossings(axes: LimbAxes) -> LimbAxes:
    """Limbs hung again on the limb whose end they carry on.

    Notes
    -----
    The shortest way from the foot changes over to a limb where another one touches it: the outer part then hangs on the wrong limb and
    the right one ends at the crossing. Such a pair is known by its geometry: an end and a beginning in line, alike in thickness, with no
    more between them than what they cross. A limb that really leaves the crossed one has no such end behind it.

    The change may also lie within what was taken for one limb: it turns sharply or grows thicker outward there. Such limbs are cut at the
    bend and both parts take part: an outer part that carries on another limb's end goes to that limb; where the inner part is carried on by a
    limb from across, the outer part goes to the limb that one hung on. A cut that neither explains is undone.
    """
    cut, inner = _cut_at_bends(axes)
    count = len(cut)
    if count < 3:
        return axes
    tip, ahead, thick = _ends(cut, set(inner.values()))
    near = cKDTree(tip)
    parent, leaves = cut.parent.copy(), cut.leaves.copy()
    taken, joined = np.full(count, -1), np.zeros(count, bool)
    found = []
    for k in range(1, count):
        begin, out, r = _beginning(cut, k, k in inner)
        reach = min(LONGEST, SEARCH + SEARCH_RADII * r + 2 * _crossed(cut, int(cut.parent[k]), begin))
        for j in near.query_ball_point(begin, reach):
            if j in (k, int(cut.parent[k])) or cut.length(j) < max(OWN, OWN_RADII * thick[j]):
                continue
            off = _misfit(begin, out, r, tip[j], ahead[j], thick[j])
            if np.isfinite(off):
                found.append((off, k, j))
    for _, k, j in sorted(found):
        if not joined[k] and taken[j] < 0 and not _carries(parent, k, j):
            parent[k], leaves[k] = j, tip[j]
            joined[k], taken[j] = True, k
    for outer, before in inner.items():
        other = int(cut.parent[taken[before]]) if taken[before] >= 0 else -1
        if not joined[outer] and other >= 0 and other != before and not _carries(parent, outer, other):
            parent[outer], joined[outer] = other, True
    return _mended(replace(cut, parent=parent, leaves=leaves), {o: b for o, b in inner.items() if not joined[o]})


def _cut_at_bends(axes: LimbAxes) -> tuple[LimbAxes, dict[int, int]]:
    """The axes with limbs cut where they turn by more than `BEND` or grow to `GROWTH` times their radius, and the inner part of every new outer one."""
    start, parent, leaves = [axes.rows(k) for k in range(len(axes))], list(axes.parent), list(axes.leaves)
    inner: dict[int, int] = {}
    for k in range(len(axes)):
        at = _bend_row(axes.v[start[k]], axes.s[start[k]], axes.raw_r[start[k]], np.isfinite(axes.raw_sd[start[k]]))
        if at < 0:
            continue
        whole, new = start[k], len(start)
        start[k], inner[new] = slice(whole.start, whole.start + at), k
        start.append(slice(whole.start + at, whole.stop))
        parent.append(np.int32(k))
        leaves.append(axes.v[whole.start + at - 1])
        for c in range(1, len(axes)):
            if axes.parent[c] == k and np.argmin(np.sum((axes.v[whole] - axes.leaves[c]) ** 2, axis=1)) >= at:
                parent[c] = np.int32(new)
    return (_taken(axes, start, np.array(parent, np.int32), np.array(leaves)), inner) if inner else (axes, inner)


def _bend_row(v: Floats, s: Floats, r: Floats, fitted: np.ndarray) -> int:
    """Row from which a limb looks like another one, at least four rows from both ends; -1 where there is none.

    r : (n,) float      Radii of the pieces alone: the smoothed ones blur the step. [m]
    """
    best, row = 1.0, -1
    for i in range(CLEAR, len(v) - CLEAR + 1):
        low = max(0, i - SIDE)
        before, after = r[low:i][fitted[low:i]], r[i : i + SIDE][fitted[i : i + SIDE]]
        if len(before) < 2 or len(after) < 2:
            continue
        a, b = float(np.median(before)), float(np.median(after))
        if max(a, b) < LEAST:
            continue
        span = max(SPAN, BEND_RADII * min(a, b))
        lo, hi = min(i - 2, int(np.searchsorted(s, s[i - 1] - span))), min(len(v) - 1, max(i + 1, int(np.searchsorted(s, s[i] + span))))
        turn = float(unit(v[i - 1] - v[lo]) @ unit(v[hi] - v[i]))
        strange = max((1 - turn) / (1 - np.cos(BEND)), np.log(b / a) / np.log(GROWTH), np.log(a / b) / np.log(LOSS))
        if strange > best:
            best, row = strange, i
    return row


def _taken(axes: LimbAxes, rows: list[slice], parent: Ints, leaves: Floats) -> LimbAxes:
    """Axes made of runs of another one's vertices, one limb a run."""
    start = np.concatenate([[0], np.cumsum([q.stop - q.start for q in rows])]).astype(np.int64)
    pick = np.concatenate([np.arange(q.start, q.stop) for q in rows])
    fields = axes.columns(pick)
    return replace(axes, start=start, s=places_along(start, fields["v"]), parent=parent, leaves=leaves, **fields)


def _mended(axes: LimbAxes, cuts: dict[int, int]) -> LimbAxes:
    """Axes with the cuts undone: every outer part (key) behind its inner part again, its side limbs too."""
    if not cuts:
        return axes
    rows = [axes.rows(k) for k in range(len(axes))]
    keep = [k for k in range(len(axes)) if k not in cuts]
    outer = {b: o for o, b in cuts.items()}
    pick = [np.concatenate([np.arange(rows[q].start, rows[q].stop) for q in ((k, outer[k]) if k in outer else (k,))]) for k in keep]
    new = np.full(len(axes), -1, np.int32)
    new[keep] = np.arange(len(keep), dtype=np.int32)
    new[list(cuts)] = new[list(cuts.values())]
    start = np.concatenate([[0], np.cumsum([len(x) for x in pick])]).astype(np.int64)
    fields = axes.columns(np.concatenate(pick))
    parent = np.where(axes.parent[keep] >= 0, new[np.maximum(axes.parent[keep], 0)], -1).astype(np.int32)
    return replace(axes, start=start, s=places_along(start, fields["v"]), parent=parent, leaves=axes.leaves[keep], **fields)


def _crossed(axes: LimbAxes, m: int, place: Floats) -> float:
    """Radius of a limb beside a place. [m]"""
    rows = axes.rows(m)
    if rows.stop == rows.start:
        return 0.0
    return float(axes.r[rows][np.argmin(np.sum((axes.v[rows] - place) ** 2, axis=1))])


def _ends(axes: LimbAxes, cut: set[int]) -> tuple[Floats, Floats, Floats]:
    """Last point, direction there and radius there of every limb, before the corner where it was cut; far away where a limb has no end of its own."""
    count = len(axes)
    tip, ahead, thick = np.full((count, 3), FAR_AWAY), np.zeros((count, 3)), np.zeros(count)
    for k in range(count):
        rows = axes.rows(k)
        v, r, s = axes.v[rows], axes.r[rows], axes.s[rows]
        if len(v) < 3:
            continue
        last = len(v) - 1
        if k in cut:
            r = axes.raw_r[rows]
            last = max(2, int(np.searchsorted(s, s[-1] - max(CORNER, float(np.median(r[-CORNER_ROWS:]))))) - 1)
        thick[k] = np.median(r[max(0, last - 3) : last + 1])
        back = int(np.searchsorted(s, s[last] - max(SPAN, END_RADII * thick[k])))
        tip[k], ahead[k] = v[last], unit(v[last] - v[min(back, last - 1)])
    return tip, ahead, thick


def _beginning(axes: LimbAxes, k: int, cut: bool) -> tuple[Floats, Floats, float]:
    """First point that counts of a limb, its direction outward and its radius there; past the corner where it was cut."""
    rows = axes.rows(k)
    v, r, s = axes.v[rows], axes.r[rows], axes.s[rows]
    first = min(insertion_of(axes, k).first, len(v) - 1)
    if cut:
        r = axes.raw_r[rows]
        first = min(int(np.searchsorted(s, s[0] + max(CORNER, float(np.median(r[:CORNER_ROWS]))))), len(v) - 1)
    thick = float(np.median(r[first : first + BEGIN_ROWS]))
    far = min(int(np.searchsorted(s, s[first] + max(SPAN, END_RADII * thick))), len(v) - 1)
    return v[first], unit(v[far] - v[first]), thick


def _misfit(begin: Floats, out: Floats, r: float, tip: Floats, ahead: Floats, thick: float) -> float:
    """How far the beginning lies from being the end's continuation [m]; inf where it cannot be."""
    gap = begin - tip
    length = float(np.linalg.norm(gap))
    between = unit(gap) if length > 0.5 * r else out
    if not ALIKE[0] <= r / max(thick, LEAST_RADIUS) <= ALIKE[1] or min(out @ ahead, out @ between, ahead @ between) < IN_LINE:
        return float("inf")
    across = float(np.linalg.norm(gap - (gap @ out) * out))
    return across + GAP_COST * length if across < r + BESIDE else float("inf")


def _carries(parent: Ints, k: int, j: int) -> bool:
    """True when limb j hangs on limb k, however far out."""
    for _ in range(len(parent)):
        if j < 0:
            return False
        if j == k:
            return True
        j = int(parent[j])
    return True
