"""Every throw from every standing place, on a coarse grid: which unions does it serve, in which class?"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from treescan.arrays import Flags, Floats
from treescan.throw.ballistics.flight_line import Origin
from treescan.throw.outcome.ends import HIT_WIRE
from treescan.throw.outcome.plane_throws import ANY_UNION, room_for, throws_in_plane
from treescan.throw.scene.fill_plane import fill_plane
from treescan.throw.scene.flight_scene import FlightScene
from treescan.throw.scene.nearby import near_among, near_items
from treescan.throw.scene.plane import TARGETS, WIRES, empty_plane
from treescan.throw.search.best_aim import Events, best_aims
from treescan.throw.search.grid import Grid
from treescan.units import G

SECTOR, GROUP = 40, 4
"""Cells of azimuth for which the limbs that can be met are picked together: roughly, then finely."""

SECTOR_HALF, GROUP_HALF = 0.5 * SECTOR + 0.1, 0.5 * (GROUP - 1) + 0.1
"""Half-widths for that, in cells, a little wider than needed."""

FIRST_ROOM = 4096
"""Events for which there is room at least."""


@njit(cache=True, nogil=True)
def _active_azimuths(
    scene: FlightScene, grid: Grid, x: float, y: float, hand: float, origin: float, active: Flags
) -> None:
    """Mark the azimuth cells whose plane can pierce a target within reach of the fastest throw."""
    n, fastest, wood = grid.n_azimuth, grid.speed[-1], scene.wood
    for i in range(len(wood.limb)):
        if wood.union[i] < 0:
            continue
        x0, y0, x1, y1 = wood.start[i, 0] - x, wood.start[i, 1] - y, wood.end[i, 0] - x, wood.end[i, 1] - y
        d = min(np.sqrt(x0 * x0 + y0 * y0), np.sqrt(x1 * x1 + y1 * y1))
        z = min(wood.start[i, 2], wood.end[i, 2]) - hand
        if G * (z + np.sqrt(d * d + z * z)) > fastest * fastest:
            continue
        a0, a1 = np.arctan2(x0, y0) - origin, np.arctan2(x1, y1) - origin
        turn = (a1 - a0 + np.pi) % (2 * np.pi) - np.pi
        lo, hi = min(a0, a0 + turn), max(a0, a0 + turn)
        for k in range(int(np.ceil(lo / grid.azimuth_step)), int(np.floor(hi / grid.azimuth_step)) + 1):
            active[k % n] = True


@njit(cache=True, nogil=True)
def _all_throws(
    scene: FlightScene, grid: Grid, feet: Floats, origin: float, active: Flags, wires: Flags
) -> tuple[Events, int, int]:
    """Every throw of the active azimuths: those that serve a union, their number, and the throws evaluated; marks cells near wires."""
    x, y, hand, nv, rows = (
        feet[0],
        feet[1],
        feet[2] + scene.rules.release,
        len(grid.speed),
        len(scene.wood.limb),
    )
    each = len(grid.elevation) * nv
    capacity = max(FIRST_ROOM, active.sum() * each)
    union, cell = np.empty(capacity, np.int32), np.empty((capacity, 3), np.int16)
    isolation, weight = np.empty(capacity, np.int8), np.empty(capacity)
    plane, served = empty_plane(rows), room_for(each)
    wide, items = np.empty(rows, np.int32), np.empty(rows, np.int32)
    events, thrown, sector, number, group, count = 0, 0, -1, 0, -1, 0
    step = grid.azimuth_step
    for a in range(grid.n_azimuth):
        if not active[a]:
            continue
        if a // SECTOR != sector:
            sector = a // SECTOR
            middle = origin + (SECTOR * sector + 0.5 * (SECTOR - 1)) * step
            number = near_items(scene, x, y, middle, SECTOR_HALF * step, wide)
        if a // GROUP != group:
            group = a // GROUP
            middle = origin + (GROUP * group + 0.5 * (GROUP - 1)) * step
            count = near_among(scene, x, y, middle, GROUP_HALF * step, wide, number, items)
        azimuth = origin + a * step
        fill_plane(scene, plane, x, y, azimuth, items, count)
        if plane.counts[TARGETS] == 0 and plane.counts[WIRES] == 0:
            continue
        found = throws_in_plane(
            scene, plane, Origin(x, y, hand, azimuth), grid.height, grid.step, ANY_UNION, served
        )
        thrown += each
        if scene.has_wire:
            for f in range(each):
                wires[a, f // nv, f % nv] = served.end[f] == HIT_WIRE
        while events + found > capacity:
            capacity *= 2
            union, cell = _longer(union, capacity), _longer(cell, capacity)
            isolation, weight = _longer(isolation, capacity), _longer(weight, capacity)
        for q in range(found):
            f = served.flight[q]
            union[events], isolation[events] = served.union[q], served.isolation[q]
            weight[events] = served.weight[f] * served.worth[f]
            cell[events, 0], cell[events, 1], cell[events, 2] = a, f // nv, f % nv
            events += 1
    return Events(union, cell, isolation, weight), events, thrown


@njit(cache=True, nogil=True)
def sweep_stance(
    scene: FlightScene,
    grid: Grid,
    feet: Floats,
    origin: float,
    chance: Floats,
    aim: NDArray[np.int16],
    wire_chance: float,
) -> int:
    """All throws of the grid from one place; fills the best chance and aim of every union, method and class.

    Parameters
    ----------
    feet : (3,)                 [m, local]
    origin : float              Azimuth of cell 0. [rad]
    chance : (m, methods, 3)    Chance of class <= 1, 2, 3 at the best aim; throws whose bag comes down near the thrower count for less.
    aim : (m, methods, 3, 3)    Cell of that aim (azimuth, elevation, speed).

    Returns
    -------
    int     Throws evaluated.
    """
    n = grid.n_azimuth
    active = np.zeros(n, np.bool_)
    _active_azimuths(scene, grid, feet[0], feet[1], feet[2] + scene.rules.release, origin, active)
    chance[:] = 0.0
    if not active.any():
        return 0
    wires = np.zeros((n, len(grid.elevation), len(grid.speed)) if scene.has_wire else (1, 1, 1), np.bool_)
    events, count, thrown = _all_throws(scene, grid, feet, origin, active, wires)
    order = np.argsort(events.union[:count])
    first = 0
    while first < count:
        last, union = first, events.union[order[first]]
        while last < count and events.union[order[last]] == union:
            last += 1
        best_aims(grid, events, order[first:last], wires, wire_chance, chance[union], aim[union])
        first = last
    return thrown


@njit(cache=True, nogil=True)
def _longer(a: NDArray[Any], n: int) -> NDArray[Any]:
    """The same array with room for n rows."""
    out = np.empty((n, *a.shape[1:]), a.dtype)
    out[: len(a)] = a
    return out


def sweep(
    scene: FlightScene,
    grid: Grid,
    feet: Floats,
    origin: Floats,
    wire_chance: float,
    unions: int,
    threads: int = 2,
    done: Callable[[int], None] | None = None,
) -> tuple[Floats, NDArray[np.int16], int]:
    """`sweep_stance` for many places: chance (s, m, methods, 3), aim (s, m, methods, 3, 3), throws evaluated.

    The compiled loop lets go of Python's lock, so plain threads share the places out.
    """
    s, methods = len(feet), len(grid.scatter_of)
    chance = np.zeros((s, unions, methods, 3))
    aim = np.zeros((s, unions, methods, 3, 3), np.int16)

    def one(i: int) -> int:
        return int(sweep_stance(scene, grid, feet[i], origin[i], chance[i], aim[i], wire_chance))

    thrown = 0
    with ThreadPoolExecutor(max_workers=threads) as pool:
        for i, count in enumerate(pool.map(one, range(s))):
            thrown += count
            if done is not None:
                done(i + 1)
    return chance, aim, thrown
