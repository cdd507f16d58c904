"""How thick is one piece of limb, and where is its axis? Robust circle start, then a cylinder fit with outliers held off."""

from __future__ import annotations

import numpy as np
from numba import njit, prange

MOST_POINTS = 600
"""Points used for one fit; more are thinned evenly."""
SAMPLES = 80
"""Three-point circles tried for the start."""
TILT_SD = 0.12
"""How far the piece's axis may lean against the limb's smoothed direction [rad]: a prior, not a bound."""
CENTRE_X, CENTRE_Y, LEAN_X, LEAN_Y, RADIUS, SD_CENTRE, SD_RADIUS, NOISE, ON_BARK, ARC, USED = range(11)
"""Columns of a fit. [m], leans [rad], share of the points that lie on the bark, arc [rad], points used (their weights added up)."""
FIELDS = 11
"""How many columns a fit has."""
UNKNOWNS = 5
"""Columns that are fitted: centre, lean and radius."""
TUKEY = 4.685
"""Residuals beyond so many standard deviations count nothing: 95 % efficient where errors are normal (Tukey's biweight; memory)."""
MAD_TO_SD = 1.4826
"""A normal distribution's standard deviation over its median absolute deviation."""
MULTIPLIER, INCREMENT, HIGH_BITS = 6364136223846793005, 1442695040888963407, 33
"""Linear congruential generator modulo 2^64 (Knuth's; memory); its low bits repeat early and are not used."""
SEED_STEP, SEED_FIRST = 7919, 12345
"""Any numbers: they start every piece's draws elsewhere, and the same in every run."""
SCORED = 160
"""Points that score a start circle (project choice)."""
NO_PIVOT = 1e-300
"""A pivot this small is none."""
CAP_NOISE, CAP_RADIUS = 2.5, 0.06
"""A residual counts as no more than so many times the least noise, or this share of the radius (project choice)."""
ROUNDS, SCALE_ROUNDS = 12, 6
"""Most steps of a fit, and the first of them that read the scatter again (project choice)."""
STEP_RADIUS = 0.005
"""A step moves by half the radius at most, of a limb at least this thick [m] (project choice)."""
SETTLED = 2e-6
"""Steps smaller than this end the fit [m]."""
TRIMMED = 1.1
"""Tukey's weights make the scatter look smaller by about this factor (project choice)."""
BINS, ALL_BINS = 24, 23.9999
"""Parts of the round in which bark is looked for, 15 degrees each; just below their number, so that the last angle falls into the last part."""
EDGE_LOW, EDGE_HIGH, EDGE_LEAST = 70.0, 45.0, 0.05
"""Angles from a position's direction of view where its points weigh least and in full [deg], and that least weight (project choice)."""
EDGE_FEW, EDGE_SPREAD = 6, 0.3
"""Points a position must have on a piece, and the length of their mean normal that still shows a direction of view (project choice)."""


@njit(cache=True)
def _three_point(x1, y1, x2, y2, x3, y3):  # type: ignore[no-untyped-def]
    """Circle through three points: centre and radius; radius -1 where they lie on a line."""
    ax, ay, bx, by = x2 - x1, y2 - y1, x3 - x1, y3 - y1
    d = 2.0 * (ax * by - ay * bx)
    if abs(d) < 1e-12:
        return 0.0, 0.0, -1.0
    a2, b2 = ax * ax + ay * ay, bx * bx + by * by
    ux, uy = (by * a2 - ay * b2) / d, (ax * b2 - bx * a2) / d
    return x1 + ux, y1 + uy, np.sqrt(ux * ux + uy * uy)


@njit(cache=True)
def drawn_circle(x, y, n, state):  # type: ignore[no-untyped-def]
    """Circle through three points drawn at random, and the generator's next state; radius -1 where they are no circle's."""
    k = np.empty(3, np.int64)
    for q in range(3):
        state = state * np.uint64(MULTIPLIER) + np.uint64(INCREMENT)
        k[q] = np.int64((state >> np.uint64(HIGH_BITS)) % np.uint64(n))
    if k[0] == k[1] or k[1] == k[2] or k[0] == k[2]:
        return 0.0, 0.0, -1.0, state
    cx, cy, r = _three_point(x[k[0]], y[k[0]], x[k[1]], y[k[1]], x[k[2]], y[k[2]])
    return cx, cy, r, state


@njit(cache=True)
def _score(x, y, n, step, cx, cy, r, cap):  # type: ignore[no-untyped-def]
    """Capped residuals; a point inside the wood is worse than one outside, for a scanner sees no inside."""
    s = 0.0
    i = 0
    while i < n:
        e = np.sqrt((x[i] - cx) ** 2 + (y[i] - cy) ** 2) - r
        e2 = (e / cap) ** 2
        s += min(e2, 1.0) if e > 0 else min(e2, 3.0)
        i += step
    return s


@njit(cache=True)
def _start(x, y, n, r_low, r_high, r_guess, cap, seed):  # type: ignore[no-untyped-def]
    """Best of many three-point circles by the capped score; the guess (centre 0) takes part."""
    step = max(1, n // SCORED)
    best = _score(x, y, n, step, 0.0, 0.0, r_guess, cap)
    bx, by, br = 0.0, 0.0, r_guess
    state = np.uint64(seed * SEED_STEP + SEED_FIRST)
    for _ in range(SAMPLES):
        cx, cy, r, state = drawn_circle(x, y, n, state)
        if r < r_low or r > r_high:
            continue
        s = _score(x, y, n, step, cx, cy, r, cap)
        if s < best:
            best, bx, by, br = s, cx, cy, r
    return bx, by, br


@njit(cache=True)
def _median_abs(e, n):  # type: ignore[no-untyped-def]
    return np.median(np.abs(e[:n]))


@njit(cache=True)
def _solve(a, b, m):  # type: ignore[no-untyped-def]
    """Solve a small symmetric positive system in place (Cholesky); False when it is not positive."""
    for j in range(m):
        s = a[j, j]
        for k in range(j):
            s -= a[j, k] ** 2
        if s <= NO_PIVOT:
            return False
        a[j, j] = np.sqrt(s)
        for i in range(j + 1, m):
            s = a[i, j]
            for k in range(j):
                s -= a[i, k] * a[j, k]
            a[i, j] = s / a[j, j]
    for i in range(m):
        s = b[i]
        for k in range(i):
            s -= a[i, k] * b[k]
        b[i] = s / a[i, i]
    for i in range(m - 1, -1, -1):
        s = b[i]
        for k in range(i + 1, m):
            s -= a[k, i] * b[k]
        b[i] = s / a[i, i]
    return True


@njit(cache=True)
def _normal(x, y, t, weight, n, p, scale, a, g):  # type: ignore[no-untyped-def]
    """Weighted normal equations of the cylinder residual at p = (cx, cy, lean x, lean y, r). Tukey weights."""
    a[:] = 0.0
    g[:] = 0.0
    used = 0.0
    ss = 0.0
    j = np.empty(UNKNOWNS)
    for i in range(n):
        dx, dy = x[i] - p[CENTRE_X] - p[LEAN_X] * t[i], y[i] - p[CENTRE_Y] - p[LEAN_Y] * t[i]
        d = np.sqrt(dx * dx + dy * dy)
        if d < 1e-9:
            continue
        e = d - p[RADIUS]
        u = e / (TUKEY * scale)
        if abs(u) >= 1.0:
            continue
        w = (1 - u * u) ** 2 * weight[i]
        j[CENTRE_X], j[CENTRE_Y] = -dx / d, -dy / d
        j[LEAN_X], j[LEAN_Y] = j[CENTRE_X] * t[i], j[CENTRE_Y] * t[i]
        j[RADIUS] = -1.0
        for q in range(UNKNOWNS):
            g[q] -= w * j[q] * e
            for k in range(q + 1):
                a[q, k] += w * j[q] * j[k]
        used += w
        ss += w * e * e
    return used, ss


@njit(cache=True)
def _round_seen(x, y, t, n, p, reach):  # type: ignore[no-untyped-def]
    """Points within `reach` of the bark, and the parts of the round they lie in; a part between two seen ones counts."""
    bins = np.zeros(BINS, np.bool_)
    on = 0
    for i in range(n):
        dx, dy = x[i] - p[CENTRE_X] - p[LEAN_X] * t[i], y[i] - p[CENTRE_Y] - p[LEAN_Y] * t[i]
        r = np.sqrt(dx * dx + dy * dy) - p[RADIUS]
        if abs(r) < reach:
            on += 1
            bins[int((np.arctan2(dy, dx) + np.pi) / (2 * np.pi) * ALL_BINS)] = True
    filled = 0
    for q in range(BINS):
        if bins[q] or (bins[q - 1] and bins[(q + 1) % BINS]):
            filled += 1
    return on, filled


@njit(cache=True)
def fit_one(x, y, t, weight, n, r_low, r_high, r_guess, floor, seed, out):  # type: ignore[no-untyped-def]
    """One piece; `out` receives cx, cy, lean x, lean y, r, sd of cx, cy (larger), sd of r, noise, share on the bark, arc, points used."""
    cap = max(CAP_NOISE * floor, CAP_RADIUS * r_guess)
    bx, by, br = _start(x, y, n, r_low, r_high, r_guess, cap, seed)
    p = np.array([bx, by, 0.0, 0.0, br])
    e = np.empty(n)
    scale = cap
    a = np.empty((UNKNOWNS, UNKNOWNS))
    g = np.empty(UNKNOWNS)
    half = 1e-3
    for i in range(n):
        half = max(half, abs(t[i]))
    ok = True
    for it in range(ROUNDS):
        if it < SCALE_ROUNDS:
            m = 0
            for i in range(n):
                dx, dy = x[i] - p[CENTRE_X] - p[LEAN_X] * t[i], y[i] - p[CENTRE_Y] - p[LEAN_Y] * t[i]
                r = np.sqrt(dx * dx + dy * dy) - p[RADIUS]
                if abs(r) < 3 * scale:
                    e[m] = r
                    m += 1
            if m >= UNKNOWNS:
                scale = min(max(MAD_TO_SD * _median_abs(e, m), floor), cap)
        used, ss = _normal(x, y, t, weight, n, p, scale, a, g)
        if used < 3:
            ok = False
            break
        s2 = scale * scale
        for q in range(LEAN_X, RADIUS):  # prior on the lean
            a[q, q] += s2 / TILT_SD**2
            g[q] -= s2 / TILT_SD**2 * p[q]
        for q in range(UNKNOWNS):
            a[q, q] += 1e-9 * used
        if not _solve(a, g, UNKNOWNS):
            ok = False
            break
        limit = 0.5 * max(p[RADIUS], STEP_RADIUS)
        big = 0.0
        for q in range(UNKNOWNS):
            size = abs(g[q]) * (half if q in (LEAN_X, LEAN_Y) else 1.0)
            big = max(big, size)
        k = 1.0 if big < limit else limit / big
        for q in range(UNKNOWNS):
            p[q] += k * g[q]
        p[RADIUS] = min(max(p[RADIUS], r_low), r_high)
        if big < SETTLED:
            break
    for q in range(UNKNOWNS):
        out[q] = p[q]
    if not ok:
        out[SD_CENTRE] = out[SD_RADIUS] = np.inf
        out[NOISE], out[ON_BARK], out[ARC], out[USED] = scale, 0.0, 0.0, 0.0
        return
    used, ss = _normal(x, y, t, weight, n, p, scale, a, g)
    noise = np.sqrt(ss / max(used, 1.0)) * TRIMMED
    for q in range(LEAN_X, RADIUS):
        a[q, q] += noise**2 / TILT_SD**2
    for q in range(UNKNOWNS):
        a[q, q] += 1e-9 * max(used, 1.0)
    inverse = np.zeros((UNKNOWNS, UNKNOWNS))
    full = True
    for q in range(UNKNOWNS):
        b = a.copy()
        v = np.zeros(UNKNOWNS)
        v[q] = 1.0
        if not _solve(b, v, UNKNOWNS):
            full = False
            break
        inverse[:, q] = v
    on, filled = _round_seen(x, y, t, n, p, 3 * max(noise, floor))
    if full:
        out[SD_CENTRE] = noise * np.sqrt(max(inverse[CENTRE_X, CENTRE_X], inverse[CENTRE_Y, CENTRE_Y]))
        out[SD_RADIUS] = noise * np.sqrt(inverse[RADIUS, RADIUS])
    else:
        out[SD_CENTRE] = out[SD_RADIUS] = np.inf
    out[NOISE], out[ON_BARK], out[ARC], out[USED] = noise, on / n, filled * 2 * np.pi / BINS, used


@njit(cache=True, parallel=True)
def fit_pieces(x, y, t, weight, start, r_low, r_high, r_guess, floor):  # type: ignore[no-untyped-def]
    """Fit every piece of limb.

    Parameters
    ----------
    x, y : (n,) float       Offsets from the present axis across the limb, sorted by piece. [m]
    t : (n,) float          Along the limb from the middle of the piece. [m]
    weight : (n,) float     Trust in every point (`edge_weights`).
    start : (p + 1,) int    First row of every piece.
    r_low, r_high, r_guess : (p,) float     Bounds and guess. [m]
    floor : float           Least noise believed. [m]

    Returns
    -------
    (p, 11) float           Columns `CENTRE_X` to `USED`; sd inf where the piece could not be fitted.

    Notes
    -----
    Start: `SAMPLES` circles through three points, scored by a capped residual, points inside counting three times (a robust loss after
    an ordinary start cannot leave a wrong minimum). Then Gauss-Newton with Tukey weights, scale from the median residual; five
    unknowns: centre, lean and radius. The geometric fit reads sigma^2 / 2 r too thick (Al-Sharadqah and Chernov 2009: its essential
    bias, whatever the arc); the caller takes that off.
    """
    pieces = len(start) - 1
    out = np.zeros((pieces, FIELDS))
    for k in prange(pieces):
        a, b = start[k], start[k + 1]
        n = b - a
        if n < UNKNOWNS:
            out[k, RADIUS] = r_guess[k]
            out[k, SD_CENTRE] = out[k, SD_RADIUS] = np.inf
            continue
        if n > MOST_POINTS:
            m = MOST_POINTS
            px, py, pt, pw = np.empty(m), np.empty(m), np.empty(m), np.empty(m)
            for i in range(m):
                row = a + (i * n) // m
                px[i], py[i], pt[i], pw[i] = x[row], y[row], t[row], weight[row]
            fit_one(px, py, pt, pw, m, r_low[k], r_high[k], r_guess[k], floor, k, out[k])
        else:
            fit_one(x[a:b], y[a:b], t[a:b], weight[a:b], n, r_low[k], r_high[k], r_guess[k], floor, k, out[k])
    return out


@njit(cache=True, parallel=True)
def edge_weights(x, y, position, start, count):  # type: ignore[no-untyped-def]
    """Less trust in points at the edge of a limb as each scan position sees it; 1 where fewer than two positions see the piece.

    Parameters
    ----------
    x, y : (n,) float       Offsets from the axis, sorted by piece. [m]
    position : (n,) int     Scan position of every point, 0 .. count - 1.

    Notes
    -----
    A beam as wide as it is returns from bark beside its middle; at the edge of the limb that puts the point outside the bark by up to the
    beam's radius (the published cause of too thick twigs). A position's mean normal on the piece stands for its direction of view; the
    weight falls from 1 at 45 degrees from it to a twentieth at 70.
    """
    weight = np.ones(len(x))
    low, high = np.cos(np.radians(EDGE_LOW)), np.cos(np.radians(EDGE_HIGH))
    for k in prange(len(start) - 1):
        sx, sy, n = np.zeros(count), np.zeros(count), np.zeros(count)
        for i in range(start[k], start[k + 1]):
            r = max(np.hypot(x[i], y[i]), 1e-9)
            sx[position[i]] += x[i] / r
            sy[position[i]] += y[i] / r
            n[position[i]] += 1
        if np.sum(n >= EDGE_FEW) < 2:
            continue
        for i in range(start[k], start[k + 1]):
            p = position[i]
            m = np.hypot(sx[p], sy[p])
            r = max(np.hypot(x[i], y[i]), 1e-9)
            if n[p] < EDGE_FEW or m < EDGE_SPREAD * n[p]:
                continue
            c = (x[i] * sx[p] + y[i] * sy[p]) / (r * m)
            weight[i] = min(max((c - low) / (high - low), EDGE_LEAST), 1.0)
    return weight
