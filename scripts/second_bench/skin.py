"""Which closed surface does a limb have? Rings around its axis, with both ends shut."""

from __future__ import annotations

import numpy as np

from second_bench.axis import Limb


def frames(limb: Limb):
    """Tangent, normal and binormal at each station, at right angles."""
    t = limb.tangent
    n = limb.normal - t * (limb.normal * t).sum(axis=1)[:, None]
    n = n / np.linalg.norm(n, axis=1)[:, None]
    return t, n, np.cross(t, n)


def skin(limb: Limb, rings: np.ndarray, first: int = 0, last: int | None = None):
    """Corners (v, 3) and triangles (k, 3), outward, of the limb between two stations."""
    _, n, b = frames(limb)
    part = slice(first, last)
    rings, xyz, n, b = rings[part], limb.xyz[part], n[part], b[part]
    count, m = rings.shape
    theta = np.arange(m) * 2 * np.pi / m
    corner = xyz[:, None, :] + rings[:, :, None] * (
        np.cos(theta)[:, None] * n[:, None, :] + np.sin(theta)[:, None] * b[:, None, :]
    )
    corners = np.vstack([corner.reshape(-1, 3), xyz[:1], xyz[-1:]])
    i = np.arange(count - 1)[:, None] * m
    j = np.arange(m)
    k = (j + 1) % m
    a, bb, c, d = i + j, i + k, i + m + k, i + m + j
    sides = np.stack([np.stack([a, bb, c], axis=-1), np.stack([a, c, d], axis=-1)], axis=2).reshape(-1, 3)
    low, high = count * m, count * m + 1
    top = (count - 1) * m
    caps = np.vstack(
        [np.stack([np.full(m, low), k, j], axis=1), np.stack([np.full(m, high), top + j, top + k], axis=1)]
    )
    return corners, np.vstack([sides, caps])


def volume(corners, triangles):
    """Of a closed surface, by the divergence theorem. [m3]"""
    a, b, c = (corners[triangles[:, k]] for k in range(3))
    return float((a * np.cross(b, c)).sum() / 6)


def tube(points, radius, corners=8):
    """A plain round bar along points; radius one figure or one a point. Corners and triangles."""
    points = np.asarray(points, float)
    t = np.gradient(points, axis=0)
    t /= np.linalg.norm(t, axis=1)[:, None]
    helper = np.where(np.abs(t[:, :1]) < 0.8, [[1.0, 0.0, 0.0]], [[0.0, 1.0, 0.0]])
    fixed = helper[:1].repeat(len(t), axis=0) if len(np.unique(helper, axis=0)) > 1 else helper
    n = np.cross(t, fixed)
    n /= np.maximum(np.linalg.norm(n, axis=1), 1e-9)[:, None]
    limb = Limb(points, n, np.broadcast_to(np.asarray(radius, float), len(points)), -1, 0, 0, "bar")
    return skin(limb, np.repeat(np.asarray(limb.radius)[:, None], corners, axis=1))


def box(low, high):
    """Corners and triangles of an upright box."""
    low, high = np.asarray(low, float), np.asarray(high, float)
    corners = np.array(
        [[x, y, z] for x in (low[0], high[0]) for y in (low[1], high[1]) for z in (low[2], high[2])]
    )
    quads = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    return corners, np.array([t for a, b, c, d in quads for t in ((a, b, c), (a, c, d))])
