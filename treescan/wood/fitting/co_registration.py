"""How far are the scan positions off each other? Read from the limbs themselves, and taken off the points.

Registration error thickens every limb: each position's bark lies a few millimetres beside the others'. All limbs show the same shift per
position, so thousands of pieces together give it far better than any one of them.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from treescan.cloud.point_cloud import PointCloud
from treescan.wood.fitting.limb_axes import KEY, KEY_LOW, LimbAxes, along
from treescan.wood.graph import Floats, Ints
from treescan.wood.skeleton.thinned_wood import group_rows

MOST_POSITIONS = 40
"""With more scan numbers than this they are not tripod positions."""
PER_PIECE = 90
"""Points of a piece that take part."""
SHIFT_SD = 0.01
"""Registration error believed beforehand, for a shift and, 15 m from the middle, for a turn [m]: a weak prior."""
ARM = 15.0
"""How far from the middle a turn moves a point by `SHIFT_SD` [m]."""
UNKNOWNS, OWN = 6, 5
"""A position's shift and turn; a piece's centre, lean and radius."""
LEAN_X, LEAN_Y, RADIUS = 2, 3, 4
"""Places of a piece's leans and radius among its own unknowns, behind the centre's two."""
ON_BARK, POINTS, ARC, THICK = 0.7, 24, np.radians(120), 0.012
"""Share on the bark, points, arc [rad] and radius [m] of pieces that take part must be larger (project choice)."""
LEAST_HALF = 0.05
"""Directions are read over at least so far to either side [m] (project choice)."""
LEAST_NOISE = 0.001
"""No piece is taken for cleaner than this [m]."""
FEW = 12
"""Pieces of fewer points are left out (project choice)."""
STEEP = 0.9
"""An axis closer to the vertical than this cosine is crossed with another direction."""
ON_AXIS = 1e-6
"""A point this close to the axis has no direction from it [m]."""
CUT, CUT_MORE = 4.7, 0.004
"""Residuals beyond so many times the scatter, and so much [m] more for the shifts themselves, count nothing (Tukey's biweight)."""
LEAN_PRIOR, OWN_PRIOR = 1e4, 1e-3
"""Inverse variance of a lean believed beforehand [1/rad^2]; share of one point's weight that keeps the rest solvable."""


def position_of_points(cloud: PointCloud) -> Ints | None:
    """Scan position of every point from 0 up, or None where the file does not tell several apart."""
    if "scan" not in cloud.columns:
        return None
    names, number = np.unique(cloud.columns["scan"], return_inverse=True)
    return number.astype(np.int32) if 2 <= len(names) <= MOST_POSITIONS else None


def co_registered(xyz: Floats, position: Ints, limb: Ints, place: Floats, axes: LimbAxes) -> Floats:
    """The points with every position's shift and small turn taken off.

    Parameters
    ----------
    xyz : (n, 3) float [m];  position, limb : (n,) int;  place : (n,) float [m]

    Notes
    -----
    The residual of a point on a limb changes by n . (shift + turn x p), n the outward normal. Centre, lean and radius of every piece are
    eliminated (Schur complement), so a shift is only read from where positions see the same piece. Tukey weights; three rounds. The
    mean movement over all points is taken out.
    """
    count = int(position.max()) + 1
    middle = xyz.mean(axis=0)
    good = np.isfinite(axes.raw_sd) & (axes.share > ON_BARK) & (axes.points > POINTS) & (axes.arc > ARC) & (axes.r > THICK)
    piece = piece_of(limb, place, axes)
    piece = np.where((piece >= 0) & good[np.maximum(piece, 0)], piece, -1)
    start, rows = group_rows(piece, len(axes.s))
    _, axis = along(axes.start, axes.v, axes.s, axes.of_vertex, axes.s, np.maximum(axes.r, LEAST_HALF))
    moved = xyz.copy()
    for _ in range(3):
        normal, right = _normal_equations(
            moved - middle, position, start, rows, axes.v - middle, axis, axes.raw_r, np.maximum(axes.noise, LEAST_NOISE), count
        )
        prior = np.tile([1 / SHIFT_SD**2] * 3 + [1 / (SHIFT_SD / ARM) ** 2] * 3, count)
        step = np.linalg.solve(normal + np.diag(prior), right).reshape(count, UNKNOWNS)
        share = np.bincount(position, minlength=count) / len(position)
        step -= share @ step
        moved += step[position, :3] + np.cross(step[position, 3:], moved - middle)
    return moved


def piece_of(limb: Ints, place: Floats, axes: LimbAxes) -> Ints:
    """Vertex (piece) nearest to every point along its limb, -1 for none."""
    key = axes.of_vertex * KEY + axes.s
    mid = 0.5 * (key[1:] + key[:-1])
    at = np.searchsorted(mid, np.maximum(limb, 0) * KEY + np.clip(place, 0.0, KEY_LOW * KEY))
    first, last = axes.start[np.maximum(limb, 0)], axes.start[np.maximum(limb, 0) + 1] - 1
    return np.where((limb >= 0) & (last >= first), np.clip(at, first, np.maximum(last, first)), -1)


@njit(cache=True)
def _normal_equations(xyz, position, start, rows, centre, axis, radius, noise, count):  # type: ignore[no-untyped-def]
    """Normal matrix and right side for shift and turn of every position, pieces' own unknowns eliminated."""
    n6 = UNKNOWNS * count
    total, right = np.zeros((n6, n6)), np.zeros(n6)
    for k in range(len(start) - 1):
        n = start[k + 1] - start[k]
        if n < FEW:
            continue
        step = max(1, n // PER_PIECE)
        u = axis[k]
        e1 = np.array([-u[1], u[0], 0.0]) if abs(u[2]) < STEEP else np.array([0.0, -u[2], u[1]])
        e1 /= np.sqrt(np.sum(e1**2))
        e2 = np.array([u[1] * e1[2] - u[2] * e1[1], u[2] * e1[0] - u[0] * e1[2], u[0] * e1[1] - u[1] * e1[0]])
        own, cross, own_b = np.zeros((OWN, OWN)), np.zeros((OWN, n6)), np.zeros(OWN)
        block, block_b = np.zeros((count, UNKNOWNS, UNKNOWNS)), np.zeros((count, UNKNOWNS))
        w0 = 1.0 / noise[k] ** 2
        jl, jg = np.empty(OWN), np.empty(UNKNOWNS)
        for q in range(start[k], start[k + 1], step):
            i = rows[q]
            d = xyz[i] - centre[k]
            x, y, t = np.dot(d, e1), np.dot(d, e2), np.dot(d, u)
            r = np.sqrt(x * x + y * y)
            if r < ON_AXIS:
                continue
            e = r - radius[k]
            z = e / (CUT * noise[k] + CUT_MORE)
            if abs(z) >= 1.0:
                continue
            w = w0 * (1 - z * z) ** 2
            nx = (x * e1 + y * e2) / r
            jl[0], jl[1], jl[RADIUS] = -x / r, -y / r, -1.0
            jl[LEAN_X], jl[LEAN_Y] = jl[0] * t, jl[1] * t
            p = xyz[i]
            jg[0], jg[1], jg[2] = nx[0], nx[1], nx[2]
            jg[3:] = p[1] * nx[2] - p[2] * nx[1], p[2] * nx[0] - p[0] * nx[2], p[0] * nx[1] - p[1] * nx[0]
            s = position[i]
            for a in range(OWN):
                own_b[a] -= w * jl[a] * e
                for b in range(OWN):
                    own[a, b] += w * jl[a] * jl[b]
                for b in range(UNKNOWNS):
                    cross[a, UNKNOWNS * s + b] += w * jl[a] * jg[b]
            for a in range(UNKNOWNS):
                block_b[s, a] -= w * jg[a] * e
                for b in range(UNKNOWNS):
                    block[s, a, b] += w * jg[a] * jg[b]
        own[LEAN_X, LEAN_X] += LEAN_PRIOR
        own[LEAN_Y, LEAN_Y] += LEAN_PRIOR
        for a in range(OWN):
            own[a, a] += OWN_PRIOR * w0
        inverse = np.linalg.inv(own)
        total -= cross.T @ inverse @ cross
        right -= cross.T @ (inverse @ own_b)
        for s in range(count):
            mine = slice(UNKNOWNS * s, UNKNOWNS * s + UNKNOWNS)
            total[mine, mine] += block[s]
            right[mine] += block_b[s]
    return total, right
