"""Where does one limb's axis, carried straight back, meet the axis of the limb it leaves?"""

from __future__ import annotations

import numpy as np
from numba import njit

AHEAD, AHEAD_RADII = 0.12, 3
"""A limb's direction past a vertex is read over this way [m], and at least so many radii (project choice)."""
TURN = 0.64
"""Cosine of a turn of 50 degrees."""
ENOUGH = 4
"""Rows ahead that a parabola needs."""
OFF, BEND_SD = 0.004, 0.15
"""How far rows lie off the axis [m], and the bend believed beforehand [1/m] (project choice)."""
OF_HALF = 4
"""Half a curvature has a quarter of its variance."""
NO_LENGTH = 1e-6
"""A way shorter than this has no direction [m]."""
FINE, COARSE = 0.01, 400
"""Step along the parent at which the place is looked for [m]; rows of it that are tried for being near (project choice)."""
CLEAR = 0.4
"""A vertex so many of its radii off the parent's bark no longer lies on it (project choice)."""
BACK, BACK_RADII = 0.22, 5
"""The heading is read over this way [m], and at least so many radii (project choice)."""
LEAN_COST, BEHIND_COST = 0.12, 4
"""Cost of a place for every metre the limb is carried back, and of one that lies ahead of its foot (project choice)."""

@njit(cache=True)
def _past_bends(v, s, r, first, reach):  # type: ignore[no-untyped-def]
    """The first row past every turn of more than 50 degrees up to the place `reach`: before it the limb ran along another one's bark."""
    out = first
    for i in range(first, len(v) - 2):
        if s[i + 1] > reach:
            break
        far = i + 2
        while far < len(v) - 1 and s[far] - s[i + 1] < max(AHEAD_RADII * r[i + 1], AHEAD):
            far += 1
        a, b = v[i + 1] - v[i], v[far] - v[i + 1]
        if np.sum(a * b) < TURN * np.sqrt(np.sum(a * a) * np.sum(b * b)):
            out = i + 1
    return out


@njit(cache=True)
def _heading(v, s, first, reach, leaves):  # type: ignore[no-untyped-def]
    """Direction of the limb at its row `first`, half its curvature there [1/m], and how far ahead they were read [m].

    A parabola through the axis up to `reach` ahead (least squares, the row `first` kept); straight where fewer than four rows lie there.
    The bend is held back by a prior of 0.15 per metre: rows are some millimetres off.
    """
    far = first
    while far < len(v) - 1 and s[far] - s[first] < reach:
        far += 1
    u, bend = np.empty(3), np.zeros(3)
    if far - first >= ENOUGH:
        t1, t2, t3 = 0.0, 0.0, 0.0
        for i in range(first + 1, far + 1):
            t = s[i] - s[first]
            t1 += t * t
            t2 += t**3
            t3 += t**4
        t3 += (OFF / BEND_SD) ** 2 * OF_HALF
        det = t1 * t3 - t2 * t2
        for a in range(3):
            b1, b2 = 0.0, 0.0
            for i in range(first + 1, far + 1):
                t = s[i] - s[first]
                b1 += t * (v[i, a] - v[first, a])
                b2 += t * t * (v[i, a] - v[first, a])
            u[a] = (b1 * t3 - b2 * t2) / det
            bend[a] = (b2 * t1 - b1 * t2) / det
    else:
        u = v[far] - v[first]
    if np.sqrt(np.sum(u * u)) < NO_LENGTH:
        u = v[first] - leaves
    if np.sqrt(np.sum(u * u)) < NO_LENGTH:
        u = np.array([0.0, 0.0, 1.0])
    u = u / np.sqrt(np.sum(u * u))
    return u, bend - np.sum(bend * u) * u, s[far] - s[first]


@njit(cache=True)
def meet(v, s, r, fitted, pv, ps, pr, leaves):  # type: ignore[no-untyped-def]
    """Place along the parent's axis where the limb's axis meets it, and the limb's first row that counts.

    Parameters
    ----------
    v, s, r, fitted         Axis, places, radii of the limb, True where a fit stands behind the piece.
    pv, ps, pr              The same of the parent. [m]
    leaves : (3,)           About where the limb leaves, for limbs without a direction. [m]
    """
    count = max(2, int((ps[-1] - ps[0]) / FINE))
    fine = np.linspace(ps[0], ps[-1], count)
    p = np.empty((count, 3))
    for a in range(3):
        p[:, a] = np.interp(fine, ps, pv[:, a])
    thick = np.interp(fine, ps, pr)
    step = max(1, count // COARSE)
    first, fallback, away = -1, -1, 0.0
    for i in range(len(v)):
        best, at = np.inf, 0
        for j in range(0, count, step):
            d2 = (v[i, 0] - p[j, 0]) ** 2 + (v[i, 1] - p[j, 1]) ** 2 + (v[i, 2] - p[j, 2]) ** 2
            if d2 < best:
                best, at = d2, j
        best = np.sqrt(best)
        if i == 0:
            away = best
        if best > thick[at] + CLEAR * r[i]:
            if fallback < 0:
                fallback = i
                if first < 0 and not fitted[i]:
                    away = best
            if fitted[i]:
                first, away = i, best
                break
    if first < 0:
        first = max(fallback, 0)
    first = _past_bends(v, s, r, first, s[first] + 2 * thick[at] + 2 * r[first])
    u, bend, reach = _heading(v, s, first, max(BACK_RADII * r[first], BACK), leaves)
    limit = away + 3 * thick.max() + 0.5
    best, place = np.inf, fine[0]
    for j in range(count):
        w2, t = 0.0, 0.0
        for a in range(3):
            w = v[first, a] - p[j, a]
            w2 += w * w
            t += w * u[a]
        if w2 > limit * limit:
            continue
        back = min(max(t, 0.0), reach)  # the bow goes on as far back as it was seen ahead, then straight
        off2 = 0.0
        for a in range(3):
            on = v[first, a] - t * u[a] + bend[a] * (back * back + 2 * back * max(t - back, 0.0))
            off2 += (p[j, a] - on) ** 2
        behind = max(-t, 0.0)
        cost = off2 + (LEAN_COST * t) ** 2 + BEHIND_COST * behind * behind
        if cost < best:
            best, place = cost, fine[j]
    return place, first
