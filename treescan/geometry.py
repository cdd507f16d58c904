"""Plane and solid geometry shared by the rooms: vectors, closest points, limbs as tapered capsules."""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


def unit(v: ArrayLike) -> Array:
    """Vectors of length 1 along the last axis; a zero vector stays zero.

    >>> unit([0.0, 3.0, 4.0])
    array([0. , 0.6, 0.8])
    """
    a = np.asarray(v, float)
    if a.ndim == 1:  # one vector, often asked for
        size = math.sqrt(a @ a)
        return a / size if size > 0 else a.copy()
    length = np.linalg.norm(a, axis=-1, keepdims=True)
    return np.divide(a, length, out=np.zeros_like(a), where=length > 0)


def angle_between(a: ArrayLike, b: ArrayLike) -> Array:
    """Angle between vectors along the last axis. [rad]"""
    u, v = unit(a), unit(b)
    return np.arctan2(np.linalg.norm(np.cross(u, v), axis=-1), np.sum(u * v, axis=-1))


def point_segment(points: ArrayLike, start: ArrayLike, end: ArrayLike) -> tuple[Array, Array]:
    """Distance of points to segments, and where along them.

    Parameters
    ----------
    points, start, end : (..., 3) float     Broadcast against each other. [m]

    Returns
    -------
    distance : (...) float                  [m]
    share : (...) float                     0 at the start, 1 at the end.
    """
    p, a, b = (np.asarray(x, float) for x in (points, start, end))
    d = b - a
    length2 = np.sum(d * d, axis=-1)
    share = np.clip(np.sum((p - a) * d, axis=-1) / np.where(length2 > 0, length2, 1.0), 0.0, 1.0)
    return np.linalg.norm(p - (a + share[..., None] * d), axis=-1), share


def segment_segment(p0: ArrayLike, p1: ArrayLike, q0: ArrayLike, q1: ArrayLike) -> tuple[Array, Array, Array]:
    """Shortest distance between segments p0-p1 and q0-q1, and where on each.

    Parameters
    ----------
    p0, p1, q0, q1 : (..., 3) float     Broadcast against each other. [m]

    Returns
    -------
    distance : (...) float [m]; share_p, share_q : (...) float in [0, 1]

    References
    ----------
    Ericson, Real-Time Collision Detection (2005), section 5.1.9 (from memory; the tests compare with brute force and shapely).
    """
    a0, a1, b0, b1 = np.broadcast_arrays(*(np.asarray(x, float) for x in (p0, p1, q0, q1)))
    d1, d2, r = a1 - a0, b1 - b0, a0 - b0
    a, e, f = np.sum(d1 * d1, -1), np.sum(d2 * d2, -1), np.sum(d2 * r, -1)
    b, c = np.sum(d1 * d2, -1), np.sum(d1 * r, -1)
    safe_a, safe_e = np.where(a > 0, a, 1.0), np.where(e > 0, e, 1.0)
    denom = a * e - b * b
    s = np.where(denom > 1e-14 * a * e, np.clip((b * f - c * e) / np.where(denom > 0, denom, 1.0), 0.0, 1.0), 0.0)
    s = np.where(e > 0, s, np.clip(-c / safe_a, 0.0, 1.0))  # q is a single place
    t = np.where(e > 0, (b * s + f) / safe_e, 0.0)
    s = np.where(t < 0.0, np.clip(-c / safe_a, 0.0, 1.0), np.where(t > 1.0, np.clip((b - c) / safe_a, 0.0, 1.0), s))
    t = np.clip(t, 0.0, 1.0)
    s = np.where(a > 0, s, 0.0)
    gap = np.linalg.norm(a0 + s[..., None] * d1 - (b0 + t[..., None] * d2), axis=-1)
    return gap, s, t


@njit(cache=True, nogil=True)
def gap_segments(
    px: float, py: float, pz: float, dx: float, dy: float, dz: float, qx: float, qy: float, qz: float, ex: float, ey: float, ez: float
) -> tuple[float, float, float]:
    """Squared distance of the segments p + a d and q + b e (a, b in [0, 1]), and the nearest a and b (as `segment_segment`)."""
    rx, ry, rz = px - qx, py - qy, pz - qz
    a = dx * dx + dy * dy + dz * dz
    e = ex * ex + ey * ey + ez * ez
    f = ex * rx + ey * ry + ez * rz
    c = dx * rx + dy * ry + dz * rz
    b = dx * ex + dy * ey + dz * ez
    den = a * e - b * b
    s = 0.0
    if e <= 0.0:
        s = min(max(-c / a, 0.0), 1.0) if a > 0.0 else 0.0
    elif den > 1e-14 * a * e and den > 0.0:
        s = min(max((b * f - c * e) / den, 0.0), 1.0)
    t = (b * s + f) / e if e > 0.0 else 0.0
    if t < 0.0:
        t = 0.0
        s = min(max(-c / a, 0.0), 1.0) if a > 0.0 else 0.0
    elif t > 1.0:
        t = 1.0
        s = min(max((b - c) / a, 0.0), 1.0) if a > 0.0 else 0.0
    gx, gy, gz = rx + s * dx - t * ex, ry + s * dy - t * ey, rz + s * dz - t * ez
    return gx * gx + gy * gy + gz * gz, s, t


@njit(cache=True, nogil=True)
def upper_hull(points: Array) -> NDArray[np.int64]:
    """Rows of the upper hull of points (k, 2), taken in their order (rising first coordinate); the first and last row always belong to it."""
    hull, n = np.empty(len(points), np.int64), 0
    for k in range(len(points)):
        r = points[k]
        while n >= 2:
            p, q = points[hull[n - 2]], points[hull[n - 1]]
            if (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0]) < 0:
                break
            n -= 1
        hull[n] = k
        n += 1
    return hull[:n]


def rotated_z(xyz: ArrayLike, angle: float) -> Array:
    """Points turned about the vertical axis through the origin by `angle` [rad], counter-clockwise seen from above."""
    c, s = np.cos(angle), np.sin(angle)
    return np.asarray(xyz, float) @ np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]])


def inside(ring: ArrayLike, xy: ArrayLike) -> NDArray[np.bool_]:
    """True for plan points inside a polygon, (n,): even-odd rule.

    >>> inside([[0, 0], [2, 0], [2, 2], [0, 2]], [[1, 1], [3, 1]])
    array([ True, False])
    """
    p, a = np.asarray(xy, float).reshape(-1, 2), np.asarray(ring, float).reshape(-1, 2)
    b = np.roll(a, -1, axis=0)
    between = (a[:, 1] > p[:, None, 1]) != (b[:, 1] > p[:, None, 1])
    rise = np.where(b[:, 1] != a[:, 1], b[:, 1] - a[:, 1], 1.0)
    crossing = a[:, 0] + (p[:, None, 1] - a[:, 1]) * (b[:, 0] - a[:, 0]) / rise
    return (np.sum(between & (p[:, None, 0] < crossing), axis=1) % 2).astype(bool)


def drawn_rings(ring: ArrayLike) -> tuple[Array, ...]:
    """The rings (p, 2) a polygon was drawn with, the outer first, counter-clockwise, and its holes after it, clockwise: edges run
    there and back, which join holes to it, are left out.

    >>> [len(r) for r in drawn_rings([[0, 0], [9, 0], [9, 9], [0, 0], [6, 3], [7, 3], [7, 4], [6, 3], [0, 0]])]
    [4, 4]
    """
    a = np.asarray(ring, float).reshape(-1, 2)
    edges = [(tuple(p), tuple(q)) for p, q in zip(a, np.roll(a, -1, axis=0), strict=True) if tuple(p) != tuple(q)]
    there = set(edges)
    out: list[list[tuple[float, ...]]] = []
    for p, q in edges:
        if (q, p) in there:
            continue
        if out and out[-1][-1] == p:
            out[-1].append(q)
        else:
            out.append([p, q])
    if len(out) > 1 and out[-1][-1] == out[0][0]:  # a ring that was not closed in the file ends with the list
        out[0] = out.pop()[:-1] + out[0]
    rings = [np.array(r) for r in out]
    return tuple(r if (_turns(r) > 0) == (k == 0) else r[::-1] for k, r in enumerate(rings))


def _turns(ring: Array) -> float:
    """Twice the area of a ring (p, 2), positive where it runs counter-clockwise."""
    x, y = ring.T
    return float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)))


def ring_edges(ring: ArrayLike) -> tuple[Array, Array]:
    """Starts and ends (k, 2) of the edges a polygon was drawn with, those of its holes included."""
    rings = [r if (r[0] == r[-1]).all() else np.vstack([r, r[:1]]) for r in drawn_rings(ring)] or [np.zeros((1, 2))]
    return np.vstack([r[:-1] for r in rings]), np.vstack([r[1:] for r in rings])
