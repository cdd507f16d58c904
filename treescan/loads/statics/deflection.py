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


def chain(
    points: Floats, radius: Floats, loads: Floats, moments: Floats, moe: float, shear_modulus: float
) -> tuple[Floats, Floats]:
    """Displacement and rotation at the far end of a chain of points (k, 3) that starts at the ground, (3,)
    each. [m], [rad]"""
    parent: Ints = np.arange(-1, len(points) - 1, dtype=np.int32)
    u, turn = displacements(points, parent, radius, moe, shear_modulus, loads, moments)
    return u[-1], turn[-1]
