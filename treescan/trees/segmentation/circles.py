"""Is this slice of points a stem? Circles through many 3-point samples, scored by a capped residual: one side is enough, twigs do not mislead."""

from __future__ import annotations

import numpy as np
from numba import njit, prange
from numpy.typing import NDArray

Floats = NDArray[np.float64]
SAMPLES = 120
INLIER = 0.015
"""Half width of the band round the circle in which a point counts as bark, plus a tenth of the radius. [m]"""


def fit_circles(xy: Floats, start: NDArray[np.int64], least: float, largest: float, noise: float) -> Floats:
    """One circle for each group of plan points.

    Parameters
    ----------
    xy : (n, 2) float       Points, group after group. [m]
    start : (g + 1,) int    Group i is xy[start[i] : start[i + 1]].
    least, largest : float  Bounds of the radius. [m]
    noise : float           Usual scatter of a point about the bark. [m]

    Returns
    -------
    (g, 6) float            x, y, radius [m], share of the points on the circle, arc seen [rad], share of the points inside 0.7 radius.
    """
    return _fit_all(np.ascontiguousarray(xy), start, least, largest, noise)


@njit(cache=True, parallel=True)
def _fit_all(xy, start, least, largest, noise):  # type: ignore[no-untyped-def]
    out = np.full((len(start) - 1, 6), np.nan)
    for g in prange(len(start) - 1):
        n = start[g + 1] - start[g]
        if n < 5:
            continue
        p = xy[start[g] : start[g + 1]]
        state = np.uint64(88172645463325252)
        best, bx, by, br = np.inf, 0.0, 0.0, 0.0
        for _ in range(SAMPLES):
            state ^= state << np.uint64(13)
            state ^= state >> np.uint64(7)
            state ^= state << np.uint64(17)
            m = np.uint64(n)
            i, j, k = np.int64(state % m), np.int64((state >> np.uint64(20)) % m), np.int64((state >> np.uint64(40)) % m)
            x, y, r = _through(p[i], p[j], p[k])
            if not least <= r <= largest:
                continue
            score = _score(p, x, y, r, noise)
            if score < best:
                best, bx, by, br = score, x, y, r
        if best == np.inf:
            continue
        bx, by, br = _refined(p, bx, by, br, noise)
        if not 0.8 * least <= br <= 1.2 * largest:
            continue
        on, inside = 0, 0
        seen = np.zeros(24, np.bool_)
        for q in range(n):
            d = np.hypot(p[q, 0] - bx, p[q, 1] - by)
            if abs(d - br) < noise + 0.1 * br:
                on += 1
                seen[min(int((np.arctan2(p[q, 1] - by, p[q, 0] - bx) + np.pi) / (2 * np.pi) * 24), 23)] = True
            elif d < 0.7 * br:
                inside += 1
        out[g, 0], out[g, 1], out[g, 2] = bx, by, br
        out[g, 3], out[g, 4], out[g, 5] = on / n, seen.sum() * 2 * np.pi / 24, inside / n
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
    cap = 1.5 * noise + 0.06 * r
    total = 0.0
    for i in range(len(p)):
        d = np.hypot(p[i, 0] - x, p[i, 1] - y) - r
        total += min(abs(d) / cap, 1.0)
    return total / len(p) + 0.05 * r


@njit(cache=True)
def _refined(p, x, y, r, noise):  # type: ignore[no-untyped-def]
    for _ in range(8):
        a = np.zeros((3, 3))
        b = np.zeros(3)
        for i in range(len(p)):
            dx, dy = p[i, 0] - x, p[i, 1] - y
            d = np.hypot(dx, dy)
            if d < 1e-9:
                continue
            e = d - r
            cap = 1.5 * noise + 0.06 * r
            if abs(e) > cap:
                continue
            w = (1 - (e / cap) ** 2) ** 2
            j = np.array([dx / d, dy / d, 1.0])
            for s in range(3):
                b[s] += w * j[s] * e
                for t in range(3):
                    a[s, t] += w * j[s] * j[t]
        for s in range(3):
            a[s, s] += 1e-3 * a[2, 2] + 1e-9
        step = np.linalg.solve(a, b)
        x, y, r = x + step[0], y + step[1], r + step[2]
        if np.abs(step).max() < 1e-5:
            break
    return x, y, r
