"""Which aim on the coarse grid is best, for each way of throwing and class?"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from treescan.arrays import Flags, Floats, Floats32, Ints
from treescan.throw.ballistics.aim_scatter import OnGrid, spread_on_grid
from treescan.throw.search.grid import Grid

AZIMUTH, ELEVATION, SPEED = 0, 1, 2
"""Columns of a cell of the grid."""

CLASSES = 3
"""Isolation classes."""

NEGLIGIBLE = 1e-7
"""Smaller chances of a cell are left out."""

FAR = 999
"""More cells than any axis has."""


class Events(NamedTuple):
    """Throws that serve a union, a row each.

    union (n,), cell (n, 3)         Which union; azimuth, elevation and speed of the throw as cells of the grid.
    isolation (n,), weight (n,)     Class, and what the throw counts.
    """

    union: NDArray[np.int32]
    cell: NDArray[np.int16]
    isolation: NDArray[np.int8]
    weight: Floats


@njit(cache=True, nogil=True)
def best_aims(
    grid: Grid,
    events: Events,
    rows: Ints,
    wires: Flags,
    wire_chance: float,
    chance: Floats,
    aim: NDArray[np.int16],
) -> None:
    """Spread one union's outcomes (events[rows]) and keep the best aim of every method and class.

    Parameters
    ----------
    wires (a, e, v)         Cells whose throw comes near a wire; (1, 1, 1) where there is none.
    wire_chance : float     Largest chance of that at an aim.
    chance (methods, 3), aim (methods, 3, 3)    Filled.
    """
    cell, isolation, weight = events.cell, events.isolation, events.weight
    n = grid.n_azimuth
    a_first = cell[rows[0], AZIMUTH]
    low, high = np.array([0, FAR, FAR]), np.array([0, 0, 0])
    for r in rows:
        a = (cell[r, AZIMUTH] - a_first + n // 2) % n - n // 2
        low[AZIMUTH], high[AZIMUTH] = min(low[AZIMUTH], a), max(high[AZIMUTH], a)
        for d in range(ELEVATION, SPEED + 1):
            low[d], high[d] = min(low[d], cell[r, d]), max(high[d], cell[r, d])
    na, ne, nv = (
        high[AZIMUTH] - low[AZIMUTH] + 1,
        high[ELEVATION] - low[ELEVATION] + 1,
        high[SPEED] - low[SPEED] + 1,
    )
    first = np.array([a_first + low[AZIMUTH], low[ELEVATION], low[SPEED]])
    block = np.zeros((CLASSES, na, ne, nv), np.float32)
    for r in rows:
        a = (cell[r, AZIMUTH] - a_first + n // 2) % n - n // 2
        block[
            isolation[r] - 1,
            a - low[AZIMUTH],
            cell[r, ELEVATION] - low[ELEVATION],
            cell[r, SPEED] - low[SPEED],
        ] = weight[r]
    scatter = -1
    p = np.zeros((na, ne, nv), np.float32)
    for method in np.argsort(grid.scatter_of):
        if grid.scatter_of[method] != scatter:
            scatter = grid.scatter_of[method]
            parts = np.zeros((CLASSES, na, ne, nv), np.float32)
            on = OnGrid(
                grid.on_azimuth[scatter], grid.reach[scatter], grid.on_elevation[scatter], grid.on_speed[scatter]
            )
            for k in range(CLASSES):
                spread_on_grid(block[k], on, first[ELEVATION], first[SPEED], parts[k])
        p[:] = 0.0
        for k in range(CLASSES):
            p += parts[k]
            chance[method, k] = _keep_best(grid, p, first, method, wires, wire_chance, aim[method, k])


@njit(cache=True, nogil=True)
def _keep_best(
    grid: Grid,
    p: Floats32,
    first: Ints,
    method: int,
    wires: Flags,
    wire_chance: float,
    aim: NDArray[np.int16],
) -> float:
    """The best aim within a method's limits and clear of wires, written to `aim`; returns its chance, 0 where there is none.

    p (a, e, v) : chance of every aim; its corner is cell `first` (3,) of the grid.
    """
    na, ne, nv = p.shape
    limit = 2.0
    while True:
        best, bi, bj, bh = 0.0, -1, -1, -1
        for j in range(ne):
            if not grid.elevation_ok[method, first[ELEVATION] + j]:
                continue
            for h in range(nv):
                if not grid.speed_ok[method, first[SPEED] + h]:
                    continue
                for i in range(na):
                    if best < p[i, j, h] < limit:
                        best, bi, bj, bh = p[i, j, h], i, j, h
        if bi < 0:
            return 0.0
        a, e, v = (first[AZIMUTH] + bi) % grid.n_azimuth, first[ELEVATION] + bj, first[SPEED] + bh
        if wires.shape[0] == 1 or _near_wire(grid, wires, grid.scatter_of[method], a, e, v) <= wire_chance:
            aim[AZIMUTH], aim[ELEVATION], aim[SPEED] = a, e, v
            return best
        limit = best


@njit(cache=True, nogil=True)
def _near_wire(grid: Grid, wires: Flags, scatter: int, a: int, e: int, v: int) -> float:
    """Chance that a throw at this aim comes near a wire."""
    wa, we, wv = grid.on_azimuth.shape[2] // 2, grid.on_elevation.shape[1] // 2, grid.on_speed.shape[1] // 2
    far, total = grid.reach[scatter, e], 0.0
    for i in range(-far, far + 1):
        for j in range(max(e - we, 0), min(e + we + 1, len(grid.elevation))):
            p = grid.on_azimuth[scatter, e, wa + i, v] * grid.on_elevation[scatter, we + j - e, v]
            if p < NEGLIGIBLE:
                continue
            for k in range(max(v - wv, 0), min(v + wv + 1, len(grid.speed))):
                if wires[(a + i) % grid.n_azimuth, j, k]:
                    total += p * grid.on_speed[scatter, wv + k - v, v]
    return total
