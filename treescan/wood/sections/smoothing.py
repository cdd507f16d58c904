"""Smooth curves along a limb: the axis, which may kink, and the radius, which does not grow outward without evidence."""

from __future__ import annotations

import numpy as np
from numba import njit, prange

AXIS_ROUNDS, RADIUS_ROUNDS = 4, 8
"""Solutions of the axis and of the radius, each with weights from the one before (project choice)."""
STANDS_OUT, RADIUS_OUT = 3.0, 2.5
"""At so many standard deviations a centre or a bend, and a radius, keeps half its weight (Cauchy; project choice)."""
THICK_OUT = 1.3
"""Readings too thick stand out so many times sooner than readings too thin: the safe side (project choice)."""

@njit(cache=True)
def _factor(d0, d1, d2, n):  # type: ignore[no-untyped-def]
    """L D L' of a symmetric five-band matrix, in place: d0 diagonal, d1 and d2 the bands below."""
    for i in range(n):
        if i >= 1:
            if i >= 2:
                d1[i - 1] = (d1[i - 1] - d2[i - 2] * d0[i - 2] * d1[i - 2]) / d0[i - 1]
                d0[i] -= d2[i - 2] * d2[i - 2] * d0[i - 2]
            else:
                d1[i - 1] = d1[i - 1] / d0[i - 1]
            d0[i] -= d1[i - 1] * d1[i - 1] * d0[i - 1]
        if i + 2 < n:
            d2[i] = d2[i] / d0[i]


@njit(cache=True)
def _back(d0, d1, d2, b, n):  # type: ignore[no-untyped-def]
    """Solve with the factors, in place."""
    for i in range(1, n):
        b[i] -= d1[i - 1] * b[i - 1]
        if i >= 2:
            b[i] -= d2[i - 2] * b[i - 2]
    for i in range(n):
        b[i] /= d0[i]
    for i in range(n - 2, -1, -1):
        b[i] -= d1[i] * b[i + 1]
        if i + 2 < n:
            b[i] -= d2[i] * b[i + 2]


@njit(cache=True)
def _assemble(s, w, wc, wg, n, d0, d1, d2):  # type: ignore[no-untyped-def]
    """Normal matrix of data weights w, bend weights wc (interior vertices) and step weights wg (between vertices)."""
    for i in range(n):
        d0[i] = w[i]
        d1[i] = 0.0
        d2[i] = 0.0
    for i in range(1, n - 1):
        a, b = 1.0 / (s[i] - s[i - 1]), 1.0 / (s[i + 1] - s[i])
        m = -(a + b)
        d0[i - 1] += wc[i] * a * a
        d0[i] += wc[i] * m * m
        d0[i + 1] += wc[i] * b * b
        d1[i - 1] += wc[i] * a * m
        d1[i] += wc[i] * m * b
        d2[i - 1] += wc[i] * a * b
    for i in range(n - 1):
        d0[i] += wg[i]
        d0[i + 1] += wg[i]
        d1[i] -= wg[i]


@njit(cache=True)
def _bend(s, y, i):  # type: ignore[no-untyped-def]
    return (y[i + 1] - y[i]) / (s[i + 1] - s[i]) - (y[i] - y[i - 1]) / (s[i] - s[i - 1])


@njit(cache=True)
def _axis_one(s, y, sd, bend_sd, out):  # type: ignore[no-untyped-def]
    n = len(s)
    if n < 3:
        out[:] = y
        return
    w, wc, wg = 1.0 / sd**2, np.zeros(n), np.zeros(n)
    for i in range(1, n - 1):
        wc[i] = 1.0 / bend_sd[i] ** 2
    d0, d1, d2 = np.empty(n), np.empty(n), np.empty(n)
    for it in range(AXIS_ROUNDS):
        _assemble(s, w, wc, wg, n, d0, d1, d2)
        _factor(d0, d1, d2, n)
        for a in range(3):
            b = w * y[:, a]
            _back(d0, d1, d2, b, n)
            out[:, a] = b
        if it == AXIS_ROUNDS - 1:
            break
        for i in range(n):
            e2 = 0.0
            for a in range(3):
                e2 += (out[i, a] - y[i, a]) ** 2
            w[i] = 1.0 / sd[i] ** 2 / (1.0 + e2 / (STANDS_OUT * sd[i]) ** 2)
        for i in range(1, n - 1):
            k2 = 0.0
            for a in range(3):
                k2 += _bend(s, out[:, a], i) ** 2
            wc[i] = 1.0 / bend_sd[i] ** 2 / (1.0 + k2 / (STANDS_OUT * bend_sd[i]) ** 2)


@njit(cache=True, parallel=True)
def smooth_axes(start, s, y, sd, bend_sd):  # type: ignore[no-untyped-def]
    """Smooth centre lines, one per limb.

    Parameters
    ----------
    start : (l + 1,) int    First row of every limb.
    s : (m,) float          Along the limb, increasing within it. [m]
    y : (m, 3) float        Measured centres, with sd : (m,). [m]
    bend_sd : (m,) float    Usual change of direction at the vertex. [rad]

    Notes
    -----
    Least squares of data plus bends; both lose weight where they stand out (Cauchy), so that a wrong centre is passed by and a
    real kink is kept.
    """
    out = y.copy()
    for k in prange(len(start) - 1):
        a, b = start[k], start[k + 1]
        if b > a:
            _axis_one(s[a:b], y[a:b], sd[a:b], bend_sd[a:b], out[a:b])
    return out


@njit(cache=True)
def _radius_one(s, y, sd, bend_sd, grow_sd, out, out_sd):  # type: ignore[no-untyped-def]
    n = len(s)
    if n == 1:
        out[0], out_sd[0] = y[0], sd[0]
        return
    w, wc, wg = 1.0 / sd**2, np.zeros(n), np.zeros(n)
    for i in range(1, n - 1):
        wc[i] = 1.0 / bend_sd[i] ** 2
    d0, d1, d2 = np.empty(n), np.empty(n), np.empty(n)
    for it in range(RADIUS_ROUNDS):
        _assemble(s, w, wc, wg, n, d0, d1, d2)
        _factor(d0, d1, d2, n)
        b = w * y
        _back(d0, d1, d2, b, n)
        out[:] = b
        if it == RADIUS_ROUNDS - 1:
            break
        for i in range(n):
            u = (y[i] - out[i]) / (RADIUS_OUT * sd[i])
            if u > 0:
                u *= THICK_OUT
            w[i] = 1.0 / sd[i] ** 2 / (1.0 + u * u)
        for i in range(1, n - 1):
            k = _bend(s, out, i) / (STANDS_OUT * bend_sd[i])
            wc[i] = 1.0 / bend_sd[i] ** 2 / (1.0 + k * k)
        for i in range(n - 1):
            wg[i] = 1.0 / grow_sd[i] ** 2 if out[i + 1] > out[i] else 0.0
    for i in range(n):
        v = np.zeros(n)
        v[i] = 1.0
        _back(d0, d1, d2, v, n)
        out_sd[i] = np.sqrt(max(v[i], 0.0))


@njit(cache=True, parallel=True)
def smooth_radii(start, s, y, sd, bend_sd, grow_sd):  # type: ignore[no-untyped-def]
    """Smooth radius along every limb, with its standard deviation.

    Parameters
    ----------
    y, sd : (m,) float      Measured radii. [m]
    bend_sd : (m,) float    Usual change of taper at a vertex. [m/m]
    grow_sd : (m,) float    How much the radius may grow outward from one vertex to the next. [m]

    Notes
    -----
    As `smooth_axes`; in addition a radius growing tipwards is held against `grow_sd`, so a real swelling seen by many points stays
    and a chance one goes. Readings too thick lose weight sooner than readings too thin. The sd is that of the weighted solution.
    """
    out, out_sd = y.copy(), sd.copy()
    for k in prange(len(start) - 1):
        a, b = start[k], start[k + 1]
        if b > a:
            _radius_one(s[a:b], y[a:b], sd[a:b], bend_sd[a:b], grow_sd[a:b], out[a:b], out_sd[a:b])
    return out, out_sd
