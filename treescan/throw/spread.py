"""How does the thrower's spread turn outcomes into chances? Exact Gaussian masses of grid cells, one axis at a time."""

from __future__ import annotations

from math import erf, sqrt

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


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
    aim, edges = np.asarray(aims, float), cell_edges(centres)
    z = (edges[None, :] - aim[:, None]) / (np.broadcast_to(np.asarray(sd, float), aim.shape)[:, None] * sqrt(2.0))
    phi = 0.5 * (1.0 + np.vectorize(erf)(z))
    return np.diff(phi, axis=1)


def normal_nodes(n: int) -> Floats:
    """Mid-quantiles of the standard normal: n equally likely deviations."""
    return normal_quantile((np.arange(n) + 0.5) / n)


def normal_quantile(p: ArrayLike) -> Floats:
    """Inverse of the standard normal distribution by Newton steps from a logistic start (accurate to 1e-12)."""
    p = np.asarray(p, float)
    x = np.log(p / (1 - p)) / 1.702
    for _ in range(60):
        f = 0.5 * (1.0 + np.vectorize(erf)(x / sqrt(2.0))) - p
        d = np.exp(-0.5 * x * x) / sqrt(2 * np.pi)
        x = x - np.clip(f / np.maximum(d, 1e-300), -0.5, 0.5)
        if np.max(np.abs(f)) < 1e-14:
            break
    return x


def even_pairs(n: int) -> Floats:
    """n evenly spread points of the unit square, (n, 2): the additive recurrence of the plastic number.

    Roberts 2018, from memory; any low-discrepancy rule serves, the tests compare the integrals with Monte Carlo.
    """
    g = 1.32471795724474602596
    k = np.arange(1, n + 1)[:, None]
    return np.asarray((0.5 + k * np.array([1 / g, 1 / g**2])) % 1.0, float)


@njit(cache=True)
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
