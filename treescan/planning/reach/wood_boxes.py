"""Boxes round neighbouring pieces of wood, so that a straight rope or a swinging climber meets only the few that can matter."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from treescan.geometry import gap_segments
from treescan.planning.tie_in_point import Floats

PIECES = 12
"""Segments in one box at most; a box never spans two limbs."""


def boxes_of(start: Floats, end: Floats, r_start: Floats, r_end: Floats, limb: NDArray[np.int32]) -> tuple[NDArray[np.int32], Floats, Floats]:
    """Rows where boxes begin, (b + 1,), and their corners, (b, 3) each; segments must be sorted by limb. [m]"""
    n = len(limb)
    if n == 0:
        return np.zeros(1, np.int32), np.zeros((0, 3)), np.zeros((0, 3))
    new_limb = np.r_[True, limb[1:] != limb[:-1]]
    first = np.maximum.accumulate(np.where(new_limb, np.arange(n), 0))
    begins = np.flatnonzero((np.arange(n) - first) % PIECES == 0)
    thick = np.maximum(r_start, r_end)[:, None]
    low = np.minimum.reduceat(np.minimum(start, end) - thick, begins)
    high = np.maximum.reduceat(np.maximum(start, end) + thick, begins)
    return np.r_[begins, n].astype(np.int32), np.ascontiguousarray(low), np.ascontiguousarray(high)


@njit(cache=True)
def closest(p0, p1, q0, q1):  # type: ignore[no-untyped-def]
    """Distance between two segments and the shares along both."""
    square, s, t = gap_segments(
        p0[0], p0[1], p0[2], p1[0] - p0[0], p1[1] - p0[1], p1[2] - p0[2], q0[0], q0[1], q0[2], q1[0] - q0[0], q1[1] - q0[1], q1[2] - q0[2]
    )
    return np.sqrt(square), s, t


@njit(cache=True)
def passes(p, q, low, high, room):  # type: ignore[no-untyped-def]
    """Does the piece p-q pass through a box made larger by `room` on every side?"""
    enter, leave = 0.0, 1.0
    for i in range(3):
        d = q[i] - p[i]
        lo, hi = low[i] - room - p[i], high[i] + room - p[i]
        if abs(d) < 1e-12:
            if lo > 0.0 or hi < 0.0:
                return False
            continue
        t1, t2 = lo / d, hi / d
        if t1 > t2:
            t1, t2 = t2, t1
        enter, leave = max(enter, t1), min(leave, t2)
        if enter > leave:
            return False
    return True


@njit(cache=True, nogil=True)
def fouls(  # type: ignore[no-untyped-def]
    start, end, r_start, r_end, limb, box, box_low, box_high, anchor, points, own_a, own_b, work_limb, lean_limit, near, far
):
    """See `sightline.first_fouls`; (w,) int32."""
    out = np.full(len(points), -1, np.int32)
    for w in range(len(points)):
        p = points[w]
        length = np.sqrt((p[0] - anchor[0]) ** 2 + (p[1] - anchor[1]) ** 2 + (p[2] - anchor[2]) ** 2)
        if length <= near + far:
            continue
        first = length
        for k in range(len(box_low)):
            of = limb[box[k]]
            if of == own_a or of == own_b or of == work_limb[w]:  # noqa: PLR1714, SIM109 (compiled)
                continue
            if not passes(anchor, p, box_low[k], box_high[k], 0.0):
                continue
            for i in range(box[k], box[k + 1]):
                gap, s, t = closest(anchor, p, start[i], end[i])
                push = r_start[i] + (r_end[i] - r_start[i]) * t - gap
                if push <= 0.0:
                    continue
                a, b = s * length, (1.0 - s) * length
                if a < near or b < far or a >= first:
                    continue
                if push / a + push / max(b, 1e-9) > lean_limit:
                    first = a
                    out[w] = of
    return out


@njit(cache=True)
def touch(start, end, r_start, r_end, limb, box, box_low, box_high, path, radius, skip_limb, skip_length):  # type: ignore[no-untyped-def]
    """See `sightline.first_touch`; (step, limb)."""
    low, high = path[0].copy(), path[0].copy()
    for j in range(len(path)):
        for c in range(3):
            low[c], high[c] = min(low[c], path[j, c]), max(high[c], path[j, c])
    near = np.empty(len(box_low), np.int32)
    found = 0
    for k in range(len(box_low)):
        apart = limb[box[k]] == skip_limb
        for c in range(3):
            apart = apart or box_low[k, c] - radius > high[c] or box_high[k, c] + radius < low[c]
        if not apart:
            near[found] = k
            found += 1
    run = 0.0
    for j in range(len(path)):
        p = path[j]
        if j > 0:
            run += np.sqrt((p[0] - path[j - 1, 0]) ** 2 + (p[1] - path[j - 1, 1]) ** 2 + (p[2] - path[j - 1, 2]) ** 2)
        if run < skip_length:
            continue
        for m in range(found):
            k = near[m]
            if not passes(p, p, box_low[k], box_high[k], radius):
                continue
            for i in range(box[k], box[k + 1]):
                gap, _, t = closest(p, p, start[i], end[i])
                if gap < r_start[i] + (r_end[i] - r_start[i]) * t + radius:
                    return j, limb[i]
    return -1, -1
