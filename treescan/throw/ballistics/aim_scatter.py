"""How does the thrower's spread turn outcomes into chances? Exact Gaussian masses of grid cells, one axis at a time."""

from __future__ import annotations

from functools import lru_cache
from math import erf, sqrt
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import ArrayLike
from scipy.special import ndtri
from scipy.stats import qmc

from treescan.arrays import Floats, Floats32, Ints


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


def turned(elevation: ArrayLike, up: ArrayLike, side: ArrayLike) -> tuple[Floats, Floats]:
    """Directions turned from an aim by `up` in its plane and `side` across it, alike at every steepness.

    The turn goes along the great circle (side, up). Near plumb a small turn across the flight is a large one of the
    azimuth, about side / cos(elevation).

    Parameters
    ----------
    elevation, up, side : (k,)      Of the aim; turns. [rad]

    Returns
    -------
    (turn of the azimuth to the right, elevation), (k,) each    [rad]
    """
    e, u, s = (np.asarray(q, float) for q in (elevation, up, side))
    turn = np.hypot(s, u)
    share = np.sinc(turn / np.pi)
    ahead = np.cos(turn) * np.cos(e) - share * u * np.sin(e)
    right, high = share * s, np.cos(turn) * np.sin(e) + share * u * np.cos(e)
    return np.arctan2(right, ahead), np.arctan2(high, np.hypot(ahead, right))


def turn_between(elevation: ArrayLike, azimuth: ArrayLike, got: ArrayLike) -> tuple[Floats, Floats]:
    """The turn (up, side) that brings an aim to a direction; undoes `turned`.

    Parameters
    ----------
    elevation, azimuth, got : (k,)      Elevation of the aim; how far right of it and how high it went. [rad]
    """
    e, a, g = (np.asarray(q, float) for q in (elevation, azimuth, got))
    right, ahead = np.cos(g) * np.sin(a), np.cos(g) * np.cos(a)
    up = np.sin(g) * np.cos(e) - ahead * np.sin(e)
    across = np.hypot(right, up)
    turn = np.arctan2(across, np.sin(g) * np.sin(e) + ahead * np.cos(e))
    share = turn / np.where(across > 0, across, 1.0)
    return share * up, share * right


@lru_cache(maxsize=32)
def even_draws(n: int) -> tuple[Floats, Floats]:
    """n equally likely draws of four independent standard normals (n, 4), the first negative, and of an even number in -1 .. 1 (n,).

    Half of the normals' first: the other half is the mirror image. Sobol's points (most even where n is a power of
    two), each in the middle of its cell of every axis.
    """
    power = max(int(n - 1).bit_length(), 1)
    u = qmc.Sobol(5, scramble=False).random_base2(power)[:n] + 0.5 / 2**power
    u[:, 0] /= 2
    return _frozen(normal_quantile(u[:, :4])), _frozen(2 * u[:, 4] - 1)


def _frozen(a: Floats) -> Floats:
    a.flags.writeable = False
    return a


def normal_quantile(p: ArrayLike) -> Floats:
    """Inverse of the standard normal distribution, to rounding."""
    return np.asarray(ndtri(np.asarray(p, float)))


@njit(cache=True, nogil=True)
def spread_block(block: Floats, on_azimuth: Floats, on_elevation: Floats, on_speed: Floats) -> Floats:
    """Chances for every aim from outcomes on a grid.

    block (a, e, v): outcome weight of each cell; on_azimuth (E, A, a), one for each elevation of the aims; on_elevation (E, e),
    on_speed (V, v): `cell_mass`. Returns (A, E, V).
    """
    na, ne, nv = block.shape
    ma, me, mv = on_azimuth.shape[1], on_elevation.shape[0], on_speed.shape[0]
    first, used = np.zeros((na, ne, mv)), np.zeros(na, np.bool_)
    for a in range(na):
        for e in range(ne):
            for v in range(nv):
                w = block[a, e, v]
                if w != 0.0:
                    used[a] = True
                    for k in range(mv):
                        first[a, e, k] += w * on_speed[k, v]
    second = np.zeros((na, me, mv))
    for a in range(na):
        if not used[a]:
            continue
        for e in range(ne):
            for j in range(me):
                w = on_elevation[j, e]
                if w > 1e-9:
                    for k in range(mv):
                        second[a, j, k] += w * first[a, e, k]
    third = np.zeros((ma, me, mv))
    for a in range(na):
        if not used[a]:
            continue
        for j in range(me):
            for i in range(ma):
                w = on_azimuth[j, i, a]
                if w > 1e-9:
                    for k in range(mv):
                        third[i, j, k] += w * second[a, j, k]
    return third


class OnGrid(NamedTuple):
    """The scatter of throws aimed at the cells of a grid, single precision: chance of the cell some steps from the aim.

    azimuth (e, 2 w + 1, v)     By the aim's elevation and speed; w of its own for every axis.
    reach (e,)                  Steps of azimuth beyond which there is nothing.
    elevation (2 w + 1, v), speed (2 w + 1, v)      By the aim's speed.
    """

    azimuth: Floats32
    reach: Ints
    elevation: Floats32
    speed: Floats32


@njit(cache=True, nogil=True)
def spread_on_grid(block: Floats32, on: OnGrid, e0: int, v0: int, out: Floats32) -> None:
    """Like `spread_block` for aims on the cells themselves.

    block, out (a, e, v) : their first elevation and speed are cells e0 and v0 of the grid.
    Empty rows are skipped: the throws that serve a union fill a thin band of the grid.
    """
    na, ne, nv = block.shape
    wa, we, wv = on.azimuth.shape[1] // 2, on.elevation.shape[0] // 2, on.speed.shape[0] // 2
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
                    for d in range(max(-wv, -v), min(wv, nv - 1 - v) + 1):
                        row[v + d] += x * on.speed[wv - d, v0 + v + d]
            if not any_here:
                continue
            used[a] = True
            for d in range(max(-we, -e), min(we, ne - 1 - e) + 1):
                for v in range(nv):
                    second[a, e + d, v] += on.elevation[we - d, v0 + v] * row[v]
    for a in range(na):
        if not used[a]:
            continue
        for e in range(ne):
            far = on.reach[e0 + e]
            for d in range(max(-far, -a), min(far, na - 1 - a) + 1):
                for v in range(nv):
                    out[a + d, e, v] += on.azimuth[e0 + e, wa - d, v0 + v] * second[a, e, v]
