"""Which points lie on which short piece of which limb? Projection to the axis, cutting into pieces, local coordinates."""

from __future__ import annotations

import numpy as np
from numba import njit, prange


@njit(cache=True, inline="always")
def _nearest_of_one(p, v, i, low, high):  # type: ignore[no-untyped-def]
    """Squared distance to segment i of a polyline and the share of it where that is; inf for a segment without length."""
    dx, dy, dz = v[i + 1, 0] - v[i, 0], v[i + 1, 1] - v[i, 1], v[i + 1, 2] - v[i, 2]
    l2 = dx * dx + dy * dy + dz * dz
    if l2 <= 0:
        return np.inf, 0.0
    f = ((p[0] - v[i, 0]) * dx + (p[1] - v[i, 1]) * dy + (p[2] - v[i, 2]) * dz) / l2
    if f < 0.0 and i > low:
        f = 0.0
    if f > 1.0 and i < high - 2:
        f = 1.0
    ex, ey, ez = v[i, 0] + f * dx - p[0], v[i, 1] + f * dy - p[1], v[i, 2] + f * dz - p[2]
    return ex * ex + ey * ey + ez * ez, f


@njit(cache=True)
def _nearest_on(p, v, s, low, high):  # type: ignore[no-untyped-def]
    """Distance and place along a polyline (rows low..high of v); the end segments go on beyond their ends."""
    best, where = np.inf, 0.0
    for i in range(low, high - 1):
        d2, f = _nearest_of_one(p, v, i, low, high)
        if d2 < best:
            best = d2
            where = s[i] + f * (s[i + 1] - s[i])
    return np.sqrt(best), where


BLOCK = 12
"""Segments of a limb whose common ball is tried before each of them."""
CHUNK = 4096
"""Points one thread takes at a time."""
BALL_RADIUS, BALL_SIZE = 3, 4
"""Column of a ball that holds its radius, behind the middle's x, y, z; and how many columns it has."""
SEARCHED_WHOLE = 8
"""Limbs with no more vertices than this are searched as a whole: faster than finding the rows round a hint."""
ROOM = 4
"""Pieces of a limb beyond its length over the least piece that room is kept for."""
PIECE_RADII = 2.5
"""A piece of a thick limb grows to so many radii while points are few (project choice)."""
TRIED, HOPELESS = 60, 9
"""Points of a limb tried on a host; after so many with fewer than two on it the host is given up (project choice)."""
SPREAD = 7919
"""A prime: steps of it spread the tried points over the limb."""
PAST_END = 0.3
"""A point may lie so far past the host's ends [m] (project choice)."""
ON_HOST, ON_HOST_MORE = 1.12, 0.006
"""A point within so many radii of the host's axis, and so much more [m], lies on its bark or inside (project choice)."""


@njit(cache=True)
def _balls(v, low, high):  # type: ignore[no-untyped-def]
    """Middle and radius of a ball round every `BLOCK` segments of a polyline (rows low..high of v)."""
    count = (high - low - 2) // BLOCK + 1
    ball = np.zeros((count, BALL_SIZE))
    for q in range(count):
        a, b = low + q * BLOCK, min(low + (q + 1) * BLOCK, high - 1)
        for c in range(3):
            for i in range(a, b + 1):
                ball[q, c] += v[i, c] / (b + 1 - a)
        for i in range(a, b + 1):
            d = (v[i, 0] - ball[q, 0]) ** 2 + (v[i, 1] - ball[q, 1]) ** 2 + (v[i, 2] - ball[q, 2]) ** 2
            ball[q, BALL_RADIUS] = max(ball[q, BALL_RADIUS], np.sqrt(d))
    return ball


@njit(cache=True)
def _nearest_of_all(p, v, s, low, high, ball, begin):  # type: ignore[no-untyped-def]
    """As `_nearest_on` over a whole long limb: blocks that cannot hold the nearest place are passed by. Also the block it lies in."""
    best, where, block = np.inf, 0.0, 0
    for turn in range(len(ball)):
        q = begin if turn == 0 else (turn - 1 if turn <= begin else turn)
        end = q == 0 or q == len(ball) - 1  # the limb's ends go on as lines: no ball holds them
        if not end:
            d = np.sqrt((p[0] - ball[q, 0]) ** 2 + (p[1] - ball[q, 1]) ** 2 + (p[2] - ball[q, 2]) ** 2)
            if d - ball[q, BALL_RADIUS] >= best:
                continue
        for i in range(low + q * BLOCK, min(low + (q + 1) * BLOCK, high - 1)):
            d2, f = _nearest_of_one(p, v, i, low, high)
            d = np.sqrt(d2)
            if d < best:
                best, where, block = d, s[i] + f * (s[i + 1] - s[i]), q
    return where, block


@njit(cache=True, parallel=True)
def place_points(xyz, rows, start, vstart, v, s, hint, window):  # type: ignore[no-untyped-def]
    """Place of every point along its limb, and the rows of every limb sorted by it.

    Parameters
    ----------
    rows, start             Points of every limb (counting-sorted); `rows` comes back sorted along the limb.
    vstart, v, s            Vertices of every limb and their place along it. [m]
    hint : (n,) float       Where the point lay along the limb before; NaN = not known. [m]
    window : float          Search no farther than this from the hint. [m]
    """
    place = np.empty(len(xyz))
    limbs = len(start) - 1
    ball_start = np.zeros(limbs + 1, np.int64)
    for k in range(limbs):
        size = vstart[k + 1] - vstart[k]
        ball_start[k + 1] = ball_start[k] + ((size - 2) // BLOCK + 1 if size > 3 * BLOCK and start[k + 1] > start[k] else 0)
    balls = np.empty((ball_start[limbs], BALL_SIZE))
    for k in prange(limbs):
        if ball_start[k + 1] > ball_start[k]:
            balls[ball_start[k] : ball_start[k + 1]] = _balls(v, vstart[k], vstart[k + 1])
    chunks = (len(rows) + CHUNK - 1) // CHUNK
    for c in prange(chunks):
        first, last = c * CHUNK, min((c + 1) * CHUNK, len(rows))
        k = int(np.searchsorted(start, first, side="right")) - 1
        block = 0
        for q in range(first, last):
            while q >= start[k + 1]:
                k += 1
                block = 0
            i, low, high = rows[q], vstart[k], vstart[k + 1]
            lo, hi = low, high
            if not np.isnan(hint[i]) and high - low > SEARCHED_WHOLE:
                lo = max(low, low + np.searchsorted(s[low:high], hint[i] - window) - 2)
                hi = min(high, low + np.searchsorted(s[low:high], hint[i] + window) + 2)
                if hi - lo < 2:
                    lo, hi = low, high
            if lo == low and hi == high and ball_start[k + 1] > ball_start[k]:
                place[i], block = _nearest_of_all(xyz[i], v, s, low, high, balls[ball_start[k] : ball_start[k + 1]], block)
            else:
                place[i] = _nearest_on(xyz[i], v, s, lo, hi)[1]
    for k in prange(limbs):
        a, b = start[k], start[k + 1]
        if b - a > 1:
            order = np.argsort(place[rows[a:b]])
            rows[a:b] = rows[a:b][order]
    return place


@njit(cache=True)
def cut_pieces(place, rows, start, vstart, s, r, least, few, longest):  # type: ignore[no-untyped-def]
    """Cut every limb into pieces about one radius long, longer where points are few.

    Parameters
    ----------
    place, rows, start      As from `place_points`.
    vstart, s, r            Vertices, their place and radius. [m]
    least, longest : float  Shortest and longest piece of a thin limb. [m]
    few : int               A piece goes on until it has this many points.

    Returns
    -------
    first : (p + 1,) int    First row (of `rows`) of every piece
    limb : (p,) int, low, high : (p,) float     Where it lies. [m]
    """
    cap = 0
    for k in range(len(start) - 1):
        if start[k + 1] > start[k]:
            cap += ROOM + int((place[rows[start[k + 1] - 1]] - place[rows[start[k]]]) / least)
    first, limb = np.empty(cap + 1, np.int64), np.empty(cap, np.int32)
    low, high = np.empty(cap), np.empty(cap)
    count = 0
    for k in range(len(start) - 1):
        a, b = start[k], start[k + 1]
        if b == a:
            continue
        q = a
        end = place[rows[b - 1]]
        at = place[rows[a]]
        while q < b:
            v = vstart[k]
            while v < vstart[k + 1] - 1 and s[v] < at:
                v += 1
            size = max(least, r[v])
            far = max(longest, PIECE_RADII * r[v])
            stop = at + size
            if end - stop < 0.5 * size:
                stop = end + 1e-9
            z = q
            while z < b and place[rows[z]] <= stop:
                z += 1
            while z < b and z - q < few and place[rows[z]] <= at + far:
                z += 1
                stop = max(stop, place[rows[z - 1]])
            if count >= cap:
                break
            first[count], limb[count] = q, k
            low[count], high[count] = at, min(stop, end)
            count += 1
            q, at = z, stop
    first[count] = start[len(start) - 1]
    return first[: count + 1], limb[:count], low[:count], high[:count]


@njit(cache=True, parallel=True)
def lay_out(xyz, rows, first, origin, axis, side, up):  # type: ignore[no-untyped-def]
    """Coordinates of every point of every piece: across (x, y) and along (t) from the piece's origin. [m]"""
    n = len(rows)
    x, y, t = np.empty(n), np.empty(n), np.empty(n)
    for k in prange(len(first) - 1):
        for q in range(first[k], first[k + 1]):
            i = rows[q]
            dx, dy, dz = xyz[i, 0] - origin[k, 0], xyz[i, 1] - origin[k, 1], xyz[i, 2] - origin[k, 2]
            x[q] = dx * side[k, 0] + dy * side[k, 1] + dz * side[k, 2]
            y[q] = dx * up[k, 0] + dy * up[k, 1] + dz * up[k, 2]
            t[q] = dx * axis[k, 0] + dy * axis[k, 1] + dz * axis[k, 2]
    return x, y, t


@njit(cache=True)
def radius_at(s, r, low, high, place):  # type: ignore[no-untyped-def]
    """Radius at a place along one limb (rows low..high), constant beyond its ends."""
    j = low + np.searchsorted(s[low:high], place)
    if j <= low:
        return r[low]
    if j >= high:
        return r[high - 1]
    f = (place - s[j - 1]) / max(s[j] - s[j - 1], 1e-12)
    return r[j - 1] + f * (r[j] - r[j - 1])


@njit(cache=True, parallel=True)
def distance_and_radius(points, of_limb, vstart, v, s, r):  # type: ignore[no-untyped-def]
    """Distance of every point to one limb's axis, place along it and radius there; inf, 0, 0 where the limb is -1 or empty."""
    n = len(points)
    d, at, thick = np.full(n, np.inf), np.zeros(n), np.zeros(n)
    for i in prange(n):
        k = of_limb[i]
        if k >= 0 and vstart[k + 1] > vstart[k]:
            d[i], at[i] = _nearest_on(points[i], v, s, vstart[k], vstart[k + 1])
            thick[i] = radius_at(s, r, vstart[k], vstart[k + 1], at[i])
    return d, at, thick


@njit(cache=True, parallel=True)
def best_host(xyz, rows, bounds, pair_start, hosts, vstart, v, s, r):  # type: ignore[no-untyped-def]
    """For every limb the other limb on whose bark, or inside which, most of its points lie: that limb and the share.

    Parameters
    ----------
    rows, bounds            Points of every limb.
    pair_start, hosts       Limbs to be tried for limb k: hosts[pair_start[k] : pair_start[k + 1]].
    """
    count = len(bounds) - 1
    host, share = np.full(count, -1, np.int32), np.zeros(count)
    for k in prange(count):
        n = bounds[k + 1] - bounds[k]
        step = max(1, n // TRIED)
        for h in range(pair_start[k], pair_start[k + 1]):
            m = hosts[h]
            low, high = vstart[m], vstart[m + 1]
            if high - low < 2:
                continue
            on, tried = 0, 0
            for turn in range(n // step):
                q = bounds[k] + (turn * SPREAD % (n // step)) * step  # spread over the limb
                if tried == HOPELESS and on < 2:  # hopeless: most hosts are not even near
                    break
                d, at = _nearest_on(xyz[rows[q]], v, s, low, high)
                tried += 1
                if at < s[low] - PAST_END or at > s[high - 1] + PAST_END:
                    continue
                if d < ON_HOST * radius_at(s, r, low, high, at) + ON_HOST_MORE:
                    on += 1
            if tried > 0 and on / tried > share[k]:
                share[k] = on / tried
                host[k] = m
    return host, share
