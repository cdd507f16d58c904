"""Where limbs touch and pass each other: does the outer part belong to the limb that ends on the other side?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.spatial import cKDTree

from treescan.geometry import unit
from treescan.wood.graph import Floats, Ints
from treescan.wood.joints import meeting
from treescan.wood.limb_axes import LimbAxes

LONGEST = 0.9
"""No gap longer than this is closed here [m]."""
IN_LINE = np.cos(np.radians(25.0))
"""Cosine of the greatest turn between the end, the gap and the beginning beyond it."""
ALIKE = (0.65, 1.5)
"""Radius beyond over radius before."""


def through_crossings(axes: LimbAxes) -> LimbAxes:
    """Limbs hung again on the limb whose end they carry on.

    Notes
    -----
    The shortest way from the foot changes over to a limb where another one touches it: the outer part then hangs on the wrong limb and
    the right one ends at the crossing. Such a pair is known by its geometry: an end and a beginning in line, alike in thickness, with no
    more between them than what they cross. A limb that really leaves the crossed one has no such end behind it.
    """
    count = len(axes)
    if count < 3:
        return axes
    tip, ahead, thick = _ends(axes)
    near = cKDTree(tip)
    parent, leaves = axes.parent.copy(), axes.leaves.copy()
    taken = np.zeros(count, bool)
    found = []
    for k in range(1, count):
        begin, out, r = _beginning(axes, k)
        reach = min(LONGEST, 0.2 + 6 * r + 2 * _crossed(axes, int(axes.parent[k]), begin))
        for j in near.query_ball_point(begin, reach):
            if j in (k, int(axes.parent[k])) or axes.length(j) < max(0.3, 5 * thick[j]):
                continue
            off = _misfit(begin, out, r, tip[j], ahead[j], thick[j])
            if np.isfinite(off):
                found.append((off, k, j))
    joined = np.zeros(count, bool)
    for _, k, j in sorted(found):
        if not joined[k] and not taken[j] and not _carries(parent, k, j):
            parent[k], leaves[k] = j, tip[j]
            joined[k] = taken[j] = True
    return replace(axes, parent=parent, leaves=leaves)


def _crossed(axes: LimbAxes, m: int, place: Floats) -> float:
    """Radius of a limb beside a place. [m]"""
    rows = axes.rows(m)
    if rows.stop == rows.start:
        return 0.0
    return float(axes.r[rows][np.argmin(np.sum((axes.v[rows] - place) ** 2, axis=1))])


def _ends(axes: LimbAxes) -> tuple[Floats, Floats, Floats]:
    """Last point, direction there and radius there of every limb; far away where a limb has no end of its own."""
    count = len(axes)
    tip, ahead, thick = np.full((count, 3), 1e9), np.zeros((count, 3)), np.zeros(count)
    for k in range(count):
        rows = axes.rows(k)
        v, r, s = axes.v[rows], axes.r[rows], axes.s[rows]
        if len(v) < 3:
            continue
        thick[k] = np.median(r[-4:])
        back = int(np.searchsorted(s, s[-1] - max(0.15, 4 * thick[k])))
        tip[k], ahead[k] = v[-1], unit(v[-1] - v[min(back, len(v) - 2)])
    return tip, ahead, thick


def _beginning(axes: LimbAxes, k: int) -> tuple[Floats, Floats, float]:
    """First point that counts of a limb, its direction outward and its radius there."""
    rows = axes.rows(k)
    v, r, s = axes.v[rows], axes.r[rows], axes.s[rows]
    first = min(meeting(axes, k).first, len(v) - 1)
    thick = float(np.median(r[first : first + 4]))
    far = min(int(np.searchsorted(s, s[first] + max(0.15, 4 * thick))), len(v) - 1)
    return v[first], unit(v[far] - v[first]), thick


def _misfit(begin: Floats, out: Floats, r: float, tip: Floats, ahead: Floats, thick: float) -> float:
    """How far the beginning lies from being the end's continuation [m]; inf where it cannot be."""
    gap = begin - tip
    length = float(np.linalg.norm(gap))
    between = unit(gap) if length > 0.5 * r else out
    if not ALIKE[0] <= r / max(thick, 1e-6) <= ALIKE[1] or min(out @ ahead, out @ between, ahead @ between) < IN_LINE:
        return float("inf")
    across = float(np.linalg.norm(gap - (gap @ out) * out))
    return across + 0.2 * length if across < r + 0.02 else float("inf")


def _carries(parent: Ints, k: int, j: int) -> bool:
    """True when limb j hangs on limb k, however far out."""
    for _ in range(len(parent)):
        if j < 0:
            return False
        if j == k:
            return True
        j = int(parent[j])
    return True
