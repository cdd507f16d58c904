"""How far does the wood give under a load? Slender beams of the tree, added up from the ground outward."""

from __future__ import annotations

import numpy as np
from numba import njit

from treescan.wood.graph import Floats, Ints


@njit(cache=True, error_model="numpy", nogil=True)
def displacements(  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    xyz, parent, radius, moe, shear_modulus, force, moment,
):
    """Displacement and rotation of every node of a rooted tree of round, straight, even beams
    (Euler-Bernoulli), clamped at node 0.

    Parameters
    ----------
    xyz : (n, 3) float; parent : (n,) int; radius : (n,) float      Of the segment down to the parent. [m]
    moe, shear_modulus : float      [Pa]
    force, moment : (n, 3) float    At the nodes. [N], [N m]

    Returns
    -------
    displacement [m], rotation [rad] : (n, 3) float
    """
    n = len(xyz)
    f, m = force.copy(), moment.copy()
    for i in range(n - 1, 0, -1):
        p = parent[i]
        d = xyz[i] - xyz[p]
        f[p] += f[i]
        m[p] += m[i]
        m[p, 0] += d[1] * f[i, 2] - d[2] * f[i, 1]
        m[p, 1] += d[2] * f[i, 0] - d[0] * f[i, 2]
        m[p, 2] += d[0] * f[i, 1] - d[1] * f[i, 0]
    u, turn = np.zeros((n, 3)), np.zeros((n, 3))
    for i in range(1, n):
        p = parent[i]
        d = xyz[i] - xyz[p]
        length = np.sqrt(d[0] ** 2 + d[1] ** 2 + d[2] ** 2)
        r = radius[i]
        inertia, area = np.pi * r**4 / 4, np.pi * r * r
        rx, ry, rz = turn[p]
        u[i, 0] = u[p, 0] + ry * d[2] - rz * d[1]
        u[i, 1] = u[p, 1] + rz * d[0] - rx * d[2]
        u[i, 2] = u[p, 2] + rx * d[1] - ry * d[0]
        turn[i] = turn[p]
        if length <= 0.0:
            continue
        t = d / length
        along = f[i, 0] * t[0] + f[i, 1] * t[1] + f[i, 2] * t[2]
        twist = m[i, 0] * t[0] + m[i, 1] * t[1] + m[i, 2] * t[2]
        # across the axis: tip force c and tip moment b of this one cantilever; b x t points the way b bends
        # the tip
        c = f[i] - along * t
        b = m[i] - twist * t
        bt = np.array([b[1] * t[2] - b[2] * t[1], b[2] * t[0] - b[0] * t[2], b[0] * t[1] - b[1] * t[0]])
        tc = np.array([t[1] * c[2] - t[2] * c[1], t[2] * c[0] - t[0] * c[2], t[0] * c[1] - t[1] * c[0]])
        ei = moe * inertia
        for k in range(3):
            u[i, k] += (
                c[k] * length**3 / (3 * ei)
                + bt[k] * length**2 / (2 * ei)
                + t[k] * along * length / (moe * area)
            )
            turn[i, k] += (
                tc[k] * length**2 / (2 * ei)
                + b[k] * length / ei
                + t[k] * twist * length / (shear_modulus * 2 * inertia)
            )
    return u, turn


ROUNDS = 20
"""Rounds of the bent shape at most; a limb of 0.3 rad is settled within 1 in 1000 after five."""


def chain(
    points: Floats, radius: Floats, loads: Floats, moments: Floats, moe: float, shear_modulus: float
) -> tuple[Floats, Floats]:
    """Displacement and rotation at the far end of a chain of points (k, 3) that starts at the ground, (3,)
    each. [m], [rad]"""
    u, turn = _chain(points, radius, loads, moments, moe, shear_modulus)
    return u[-1], turn[-1]


def settled(
    points: Floats, radius: Floats, loads: Floats, moments: Floats, moe: float, shear_modulus: float
) -> tuple[Floats, float]:
    """Points (k, 3) of the bent chain under loads that keep their direction, and the turning at its far end
    [rad]: the shape is found anew from the bent one until it stays.

    Every piece keeps its length and takes on the turning of its middle.
    """
    bent: Floats
    bent, turning = _settle(points, radius, loads, moments, moe, shear_modulus)
    return bent, float(turning)


@njit(cache=True, error_model="numpy", nogil=True)
def _settle(  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    points, radius, loads, moments, moe, shear_modulus,
):
    """See `settled`."""
    k = len(points)
    parent = np.arange(-1, k - 1)
    bent, turning = points.copy(), 0.0
    for _ in range(ROUNDS):
        _, turn = displacements(bent, parent, radius, moe, shear_modulus, loads, moments)
        moved, x, y, z = 0.0, points[0, 0], points[0, 1], points[0, 2]
        turning = np.sqrt(turn[k - 1, 0] ** 2 + turn[k - 1, 1] ** 2 + turn[k - 1, 2] ** 2)
        moved = max(abs(x - bent[0, 0]), abs(y - bent[0, 1]), abs(z - bent[0, 2]))
        bent[0] = points[0]
        for i in range(1, k):
            sx, sy, sz = points[i, 0] - points[i - 1, 0], points[i, 1] - points[i - 1, 1], points[i, 2] - points[i - 1, 2]
            u, v, w = 0.5 * (turn[i, 0] + turn[i - 1, 0]), 0.5 * (turn[i, 1] + turn[i - 1, 1]), 0.5 * (turn[i, 2] + turn[i - 1, 2])
            angle = np.sqrt(u * u + v * v + w * w)
            if angle > 0.0:  # turned about a vector (Rodrigues)
                u, v, w = u / angle, v / angle, w / angle
                part, c, s = u * sx + v * sy + w * sz, np.cos(angle), np.sin(angle)
                ax, ay, az = part * u, part * v, part * w
                sx, sy, sz = (
                    ax + (sx - ax) * c + (v * sz - w * sy) * s,
                    ay + (sy - ay) * c + (w * sx - u * sz) * s,
                    az + (sz - az) * c + (u * sy - v * sx) * s,
                )
            x, y, z = x + sx, y + sy, z + sz
            moved = max(moved, abs(x - bent[i, 0]), abs(y - bent[i, 1]), abs(z - bent[i, 2]))
            bent[i, 0], bent[i, 1], bent[i, 2] = x, y, z
        if moved < 1e-4:
            break
    return bent, turning


def moment_about(point: Floats, points: Floats, loads: Floats, moments: Floats) -> Floats:
    """Moment (3,) about a point of the loads (k, 3) and moments (k, 3) at some points (k, 3). [N m]"""
    return np.asarray((np.cross(points - point, loads) + moments).sum(axis=0), float)


def _chain(
    points: Floats, radius: Floats, loads: Floats, moments: Floats, moe: float, shear_modulus: float
) -> tuple[Floats, Floats]:
    """Displacement and rotation of every point of a chain, (k, 3) each."""
    parent: Ints = np.arange(-1, len(points) - 1, dtype=np.int32)
    u, turn = displacements(points, parent, radius, moe, shear_modulus, loads, moments)
    return u, turn
