"""How does the thrower's spread turn outcomes into chances? Exact Gaussian masses of grid cells, one axis at a time."""

from __future__ import annotations

from functools import lru_cache
from math import erf, sqrt

import numpy as np
from numba import njit
from numpy.typing import ArrayLike
from scipy.special import ndtri

from treescan.arrays import Floats, Floats32


def cell_edges(centres: ArrayLike) -> Floats:
    """Edges half-way between neighbouring centres, (n + 1,)."""
    c = np.asarray(centres, float)
    if len(c) == 1:
        return np.array([c[0] - 0.5, c[0] + 0.5])
    mid = (c[1:] + c[:-1]) / 2
    return np.concatenate([[2 * c[0] - mid[0]], mid, [2 * c[-1] - mid[-1]]])


def cell_mass(aims: ArrayLike, centres: ArrayLike, sd: ArrayLike) -> Floats:
    """Chance that a throw aimed at aims[i] comes out in the cell round centres[j]: Gaussian mass between the cell's edges.

    Parameters
    ----------
    aims : (a,), centres : (n,)     Same unit.
    sd : float or (a,)              Spread about each aim.

    Returns
    -------
    (a, n) float
    """
    aim = np.asarray(aims, float)
    return np.asarray(
        _mass(aim, cell_edges(centres), np.broadcast_to(np.asarray(sd, float), aim.shape).copy())
    )


@njit(cache=True, nogil=True)
def _mass(aim: Floats, edges: Floats, sd: Floats) -> Floats:
    out = np.empty((len(aim), len(edges) - 1))
    for i in range(len(aim)):
        before = 0.5 * (1.0 + erf((edges[0] - aim[i]) / (sd[i] * sqrt(2.0))))
        for j in range(len(edges) - 1):
            here = 0.5 * (1.0 + erf((edges[j + 1] - aim[i]) / (sd[i] * sqrt(2.0))))
            out[i, j] = here - before
            before = here
    return out


@lru_cache(maxsize=32)
def normal_nodes(n: int) -> Floats:
    """Mid-quantiles of the standard normal: n equally likely deviations, (n,)."""
    return _frozen(normal_quantile((np.arange(n) + 0.5) / n))


@lru_cache(maxsize=32)
def normal_pairs(n: int) -> Floats:
    """n equally likely pairs of independent standard normal deviations, evenly spread, (n, 2)."""
    return _frozen(normal_quantile(even_pairs(n)))


def _frozen(a: Floats) -> Floats:
    a.flags.writeable = False
    return a


def normal_quantile(p: ArrayLike) -> Floats:
    """Inverse of the standard normal distribution, to rounding."""
    return np.asarray(ndtri(np.asarray(p, float)))


def even_pairs(n: int) -> Floats:
    """n evenly spread points of the unit square, (n, 2): the additive recurrence of the plastic number.

    Roberts 2018, from memory; any low-discrepancy rule serves, the tests compare the integrals with Monte Carlo.
    """
    g = 1.32471795724474602596
    k = np.arange(1, n + 1)[:, None]
    return np.asarray((0.5 + k * np.array([1 / g, 1 / g**2])) % 1.0, float)


@njit(cache=True, nogil=True)
def spread_block(block: Floats, on_azimuth: Floats, on_elevation: Floats, on_speed: Floats) -> Floats:
    """Chances for every aim from outcomes on a grid.

    block (a, e, v): outcome weight of each cell; on_azimuth (A, a), on_elevation (E, e), on_speed (V, v): `cell_mass`.
    Returns (A, E, V).
    """
    na, ne, nv = block.shape
    ma, me, mv = on_azimuth.shape[0], on_elevation.shape[0], on_speed.shape[0]
    first = np.zeros((na, ne, mv))
    for a in range(na):
        for e in range(ne):
            for v in range(nv):
                w = block[a, e, v]
                if w != 0.0:
                    for k in range(mv):
                        first[a, e, k] += w * on_speed[k, v]
    second = np.zeros((na, me, mv))
    for a in range(na):
        for e in range(ne):
            for j in range(me):
                w = on_elevation[j, e]
                if w > 1e-9:
                    for k in range(mv):
                        second[a, j, k] += w * first[a, e, k]
    third = np.zeros((ma, me, mv))
    for a in range(na):
        for i in range(ma):
            w = on_azimuth[i, a]
            if w > 1e-9:
                for j in range(me):
                    for k in range(mv):
                        third[i, j, k] += w * second[a, j, k]
    return third


@njit(cache=True, nogil=True)
def spread_on_grid(
    block: Floats32, on_azimuth: Floats, on_elevation: Floats, on_speed: Floats, out: Floats32
) -> None:
    """Like `spread_block` for aims on the cells themselves and the same spread for every aim.

    block, out (a, e, v); on_azimuth, on_elevation, on_speed (2 w + 1,): chance of the cell -w .. w steps from the aim.
    Empty rows are skipped: the throws that serve a union fill a thin band of the grid.
    """
    na, ne, nv = block.shape
    w = len(on_azimuth) // 2
    second = np.zeros((na, ne, nv), np.float32)
    used = np.zeros(na, np.bool_)
    row = np.empty(nv, np.float32)
    for a in range(na):
        for e in range(ne):
            row[:] = 0.0
            any_here = False
            for v in range(nv):
                x = block[a, e, v]
                if x != 0.0:
                    any_here = True
                    for d in range(max(-w, -v), min(w, nv - 1 - v) + 1):
                        row[v + d] += x * np.float32(on_speed[w - d])
            if not any_here:
                continue
            used[a] = True
            for d in range(max(-w, -e), min(w, ne - 1 - e) + 1):
                x = np.float32(on_elevation[w - d])
                if x > 1e-7:
                    for v in range(nv):
                        second[a, e + d, v] += x * row[v]
    for a in range(na):
        if not used[a]:
            continue
        for d in range(max(-w, -a), min(w, na - 1 - a) + 1):
            x = np.float32(on_azimuth[w - d])
            if x > 1e-7:
                for e in range(ne):
                    for v in range(nv):
                        out[a + d, e, v] += x * second[a, e, v]
