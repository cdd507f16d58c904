"""Is this slice of points a stem? Circles through many 3-point samples, scored by a capped residual: one side
is enough, twigs do not mislead."""

from __future__ import annotations

import numpy as np
from numba import njit, prange

from treescan.arrays import Floats, Ints

X, Y, RADIUS, ON_BARK, ARC, INSIDE = range(6)
"""Columns of a fitted circle: centre and radius [m], share of the points on it, arc seen [rad], share of the
points well inside it."""
SAMPLES, LEAST_POINTS = 120, 5
"""Circles tried for a group, and points a group must have."""
SEED = 88172645463325252
"""Of the draw of three points (xorshift, shifts 13, 7 and 17)."""
SECOND_DRAW, THIRD_DRAW = 20, 40
"""Bits left aside for the second and the third point of a draw."""
NARROWEST, WIDEST = 0.8, 1.2
"""A refined circle may leave the bounds of the radius by these factors."""
ON_BARK_SHARE = 0.1
"""Part of the radius within which, with the noise, a point is on the circle."""
INSIDE_SHARE = 0.7
"""A point nearer to the centre than this part of the radius is inside."""
SECTORS = 24
"""Sectors the seen arc is counted in."""
CAP_NOISE, CAP_SHARE = 1.5, 0.06
"""A residual counts no more than so many times the noise plus this part of the radius."""
SMALLER = 0.05
"""Of two circles that fit alike the smaller is taken: score for each metre of radius."""
REFINEMENTS, STILL = 8, 1e-5
"""Rounds of least squares, ended by a step below the second figure. [m]"""
TIE = 1e-3
"""Share of the radius' weight by which a badly seen circle is held to its start."""
INLIER = 0.015
"""Half width of the band round the circle in which a point counts as bark, plus a tenth of the radius. [m]"""


def fit_circles(xy: Floats, start: Ints, least: float, largest: float, noise: float) -> Floats:
    """One circle for each group of plan points.

    Parameters
    ----------
    xy : (n, 2) float       Points, group after group. [m]
    start : (g + 1,) int    Group i is xy[start[i] : start[i + 1]].
    least, largest : float  Bounds of the radius. [m]
    noise : float           Usual scatter of a point about the bark. [m]

    Returns
    -------
    (g, 6) float            Columns `X`, `Y`, `RADIUS`, `ON_BARK`, `ARC`, `INSIDE`; NaN where no circle was
    found.
    """
    return _fit_all(np.ascontiguousarray(xy), start, least, largest, noise)


@njit(cache=True, parallel=True)
def _fit_all(xy, start, least, largest, noise):  # type: ignore[no-untyped-def]
    out = np.full((len(start) - 1, INSIDE + 1), np.nan)
    for g in prange(len(start) - 1):
        n = start[g + 1] - start[g]
        if n < LEAST_POINTS:
            continue
        p = xy[start[g] : start[g + 1]]
        state = np.uint64(SEED)
        best, bx, by, br = np.inf, 0.0, 0.0, 0.0
        for _ in range(SAMPLES):
            state ^= state << np.uint64(13)
            state ^= state >> np.uint64(7)
            state ^= state << np.uint64(17)
            m = np.uint64(n)
            i, j = np.int64(state % m), np.int64((state >> np.uint64(SECOND_DRAW)) % m)
            k = np.int64((state >> np.uint64(THIRD_DRAW)) % m)
            x, y, r = _through(p[i], p[j], p[k])
            if not least <= r <= largest:
                continue
            score = _score(p, x, y, r, noise)
            if score < best:
                best, bx, by, br = score, x, y, r
        if best == np.inf:
            continue
        bx, by, br = _refined(p, bx, by, br, noise)
        if not NARROWEST * least <= br <= WIDEST * largest:
            continue
        on, inside = 0, 0
        seen = np.zeros(SECTORS, np.bool_)
        for q in range(n):
            d = np.hypot(p[q, 0] - bx, p[q, 1] - by)
            if abs(d - br) < noise + ON_BARK_SHARE * br:
                on += 1
                turn = np.arctan2(p[q, 1] - by, p[q, 0] - bx) + np.pi
                seen[min(int(turn / (2 * np.pi) * SECTORS), SECTORS - 1)] = True
            elif d < INSIDE_SHARE * br:
                inside += 1
        out[g, X], out[g, Y], out[g, RADIUS] = bx, by, br
        out[g, ON_BARK], out[g, ARC], out[g, INSIDE] = on / n, seen.sum() * 2 * np.pi / SECTORS, inside / n
    return out


@njit(cache=True)
def _through(a, b, c):  # type: ignore[no-untyped-def]
    ax, ay, bx, by = b[0] - a[0], b[1] - a[1], c[0] - a[0], c[1] - a[1]
    d = 2 * (ax * by - ay * bx)
    if abs(d) < 1e-12:
        return 0.0, 0.0, np.inf
    x = (by * (ax * ax + ay * ay) - ay * (bx * bx + by * by)) / d
    y = (ax * (bx * bx + by * by) - bx * (ax * ax + ay * ay)) / d
    return a[0] + x, a[1] + y, np.hypot(x, y)


@njit(cache=True)
def _score(p, x, y, r, noise):  # type: ignore[no-untyped-def]
    cap = CAP_NOISE * noise + CAP_SHARE * r
    total = 0.0
    for i in range(len(p)):
        d = np.hypot(p[i, 0] - x, p[i, 1] - y) - r
        total += min(abs(d) / cap, 1.0)
    return total / len(p) + SMALLER * r


@njit(cache=True)
def _refined(p, x, y, r, noise):  # type: ignore[no-untyped-def]
    for _ in range(REFINEMENTS):
        a = np.zeros((3, 3))
        b = np.zeros(3)
        for i in range(len(p)):
            dx, dy = p[i, 0] - x, p[i, 1] - y
            d = np.hypot(dx, dy)
            if d < 1e-9:
                continue
            e = d - r
            cap = CAP_NOISE * noise + CAP_SHARE * r
            if abs(e) > cap:
                continue
            w = (1 - (e / cap) ** 2) ** 2
            j = np.array([dx / d, dy / d, 1.0])
            for s in range(3):
                b[s] += w * j[s] * e
                for t in range(3):
                    a[s, t] += w * j[s] * j[t]
        for s in range(3):
            a[s, s] += TIE * a[2, 2] + 1e-9
        step = np.linalg.solve(a, b)
        x, y, r = x + step[0], y + step[1], r + step[2]
        if np.abs(step).max() < STILL:
            break
    return x, y, r
