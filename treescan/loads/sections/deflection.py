"""How far does the wood give under a load? Slender beams of the tree, added up from the ground outward."""

from __future__ import annotations

import numpy as np
from numba import njit

from treescan.wood.graph import Floats, Ints


@njit(cache=True, error_model="numpy")
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
    bent, turning = points, np.zeros(3)
    for _ in range(ROUNDS):
        _, turn = _chain(bent, radius, loads, moments, moe, shear_modulus)
        step = np.diff(points, axis=0)
        middle = 0.5 * (turn[1:] + turn[:-1])
        after = np.vstack([points[:1], points[0] + np.cumsum(_turned(step, middle), axis=0)])
        moved = float(np.abs(after - bent).max())
        bent, turning = after, turn[-1]
        if moved < 1e-4:
            break
    return bent, float(np.linalg.norm(turning))


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


def _turned(step: Floats, turn: Floats) -> Floats:
    """Vectors (k, 3) turned about rotation vectors (k, 3) (Rodrigues)."""
    angle = np.linalg.norm(turn, axis=1, keepdims=True)
    axis = turn / np.where(angle > 0, angle, 1.0)
    along = (axis * step).sum(axis=1, keepdims=True) * axis
    return np.asarray(along + (step - along) * np.cos(angle) + np.cross(axis, step) * np.sin(angle), float)
