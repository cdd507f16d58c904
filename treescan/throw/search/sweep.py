"""Every throw from every standing place, on a coarse grid: which unions does it serve, in which class?"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any, NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from treescan.throw.ballistics.aim_scatter import spread_on_grid
from treescan.throw.ballistics.flight import PIECES
from treescan.throw.outcome.outcome import (
    BAD_PLACE,
    HIT_BESIDE,
    HIT_LIMB,
    HIT_WIRE,
    LANDED,
    MOST_CAPTURED,
    WORKABLE,
    come_down,
    crossings_under,
    first_column,
    first_touch,
    height_on,
    highest_limbs,
    is_tall,
    judge,
    landing_place,
    lands_badly,
    shaft_clear,
    strike_on,
    unsnagged,
    way_down,
)
from treescan.throw.scene.flight_scene import WIRE, Scene
from treescan.throw.scene.plane import INFINITE, MIN_S, RANGE, Plane, empty_plane, fill_plane
from treescan.units import G

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]


class Grid(NamedTuple):
    """The coarse grid of throws and the spread of each method on it.

    azimuth_step : float            [rad]
    n_azimuth : int                 Cells of the full round.
    elevation (e,), speed (v,)      Centres. [rad], [m/s]
    height (e * v, PIECES + 1), step (e * v,)   Of `Flights`, elevation-major.
    spread_of (methods,)            Which of the spreads below a method has.
    on_azimuth, on_elevation, on_speed (spreads, 2 w + 1)   Chance of a cell -w .. w steps away from the aim, the same for every aim.
    elevation_ok (methods, e), speed_ok (methods, v)        Aims within a method's limits.
    """

    azimuth_step: float
    n_azimuth: int
    elevation: Floats
    speed: Floats
    height: Floats
    step: Floats
    spread_of: NDArray[np.int64]
    on_azimuth: Floats
    on_elevation: Floats
    on_speed: Floats
    elevation_ok: NDArray[np.bool_]
    speed_ok: NDArray[np.bool_]


@njit(cache=True, nogil=True)
def near_items(sc: Scene, x: float, y: float, azimuth: float, half: float, out: Ints) -> int:
    """Rows of the scene that the half-planes within `half` of an azimuth can meet; returns how many were put into `out`."""
    return near_among(sc, x, y, azimuth, half, np.arange(len(sc.limb), dtype=np.int32), len(sc.limb), out)


@njit(cache=True, nogil=True)
def near_among(sc: Scene, x: float, y: float, azimuth: float, half: float, among: Ints, number: int, out: Ints) -> int:
    """`near_items` among the rows among[:number] of the scene."""
    start, end, r_start, r_end, bag = sc.start, sc.end, sc.r_start, sc.r_end, sc.bag_radius
    ux, uy = np.sin(azimuth), np.cos(azimuth)
    tan = np.tan(min(half, 1.5))
    count = 0
    for m in range(number):
        i = among[m]
        x0, y0, x1, y1 = start[i, 0] - x, start[i, 1] - y, end[i, 0] - x, end[i, 1] - y
        reach = max(r_start[i], r_end[i]) + bag
        s0, s1 = x0 * ux + y0 * uy, x1 * ux + y1 * uy
        s = max(s0, s1) + reach
        if s < 0.0:
            continue
        n0, n1 = x0 * uy - y0 * ux, x1 * uy - y1 * ux
        width = s * tan + reach
        if (n0 > width and n1 > width) or (n0 < -width and n1 < -width):
            continue
        out[count] = i
        count += 1
    return count


class Found(NamedTuple):
    """Room for what the throws of one plane serve: (flights x MOST_CAPTURED,) rows of flight, union, class."""

    flight: Ints
    union: Ints
    isolation: Ints


@njit(cache=True, nogil=True)
def room_for(throws: int) -> Found:
    """Room for the answers of this many throws in one plane."""
    n = throws * MOST_CAPTURED
    return Found(np.empty(n, np.int32), np.empty(n, np.int32), np.empty(n, np.int32))


@njit(cache=True, nogil=True)
def throws_in_plane(
    sc: Scene,
    pl: Plane,
    x: float,
    y: float,
    z_hand: float,
    azimuth: float,
    height: Floats,
    step: Floats,
    wanted: int,
    weight: Floats,
    end: NDArray[np.int8],
    near: NDArray[np.bool_],
    found: Found,
) -> int:
    """Many flights in one filled plane.

    Parameters
    ----------
    height (f, PIECES + 1), step (f,)       Of `Flights`.
    wanted : int                            Union to look at, -1 = all of them.
    weight (f,), end (f,)                   Filled: chance that twigs and leaves let the bag through, 0 where nothing is served; how
                                            the flight ended (`outcome`), BAD_PLACE where the bag must not land.
    near (f,)                               Filled: does the bag of a throw that serves come down near the thrower?
    found : Found                           Filled with every union served and its isolation class.

    Returns
    -------
    int     Rows of `found` filled.

    Notes
    -----
    All arrays are taken out of their tuples once a plane; that is most of the speed.
    """
    shape, item, first, entry, frame, size, looked = pl.shape, pl.item, pl.first, pl.entry, pl.frame, pl.size, pl.looked
    cross, cross_item, target, shaft, ground, column = pl.cross, pl.cross_item, pl.target, pl.shaft, pl.ground, pl.column
    crossings, columns, targets, wires = pl.counts[1], pl.counts[2], pl.counts[3], pl.counts[4] > 0
    limb, node, union, r_start, r_end, stem_node, slope = sc.limb, sc.node, sc.union, sc.r_start, sc.r_end, sc.stem_node, sc.slope
    s_near, s_far, limit, bag, leaf, leaf_corner = sc.near, sc.far, sc.limit, sc.bag_radius, sc.leaf, sc.leaf_corner
    droop = -np.arctan(sc.friction)
    ux, uy = np.sin(azimuth), np.cos(azimuth)
    over, best = np.empty(MOST_CAPTURED, np.int32), found.isolation
    rows = 0
    for f in range(len(step)):
        zs, ds = height[f], step[f]
        weight[f], end[f], near[f] = 0.0, LANDED, False
        s_first = INFINITE
        for m in range(targets):
            c = target[m]
            if (wanted < 0 or union[cross_item[c]] == wanted) and cross[c, 1] < height_on(zs, ds, cross[c, 0]) + z_hand:
                s_first = cross[c, 0]
                break
        if s_first == INFINITE and not wires:
            continue
        s_end, hit = first_touch(shape, item, first, entry, frame, size, looked, r_start, r_end, bag, zs, ds, z_hand)
        how = LANDED
        if hit >= 0:
            how = HIT_WIRE if limb[item[hit]] == WIRE else HIT_LIMB
        s_end = min(s_end, PIECES * ds, RANGE)
        if columns > 0:
            k = first_column(column, columns, frame[5], bag, zs, ds, z_hand, s_end)
            if k >= 0:
                how, s_end = HIT_BESIDE if is_tall(column, k, ground, sc.lift) else LANDED, column[k, 0]
        end[f] = how
        if how == HIT_WIRE or (s_end <= s_first and not wires):
            continue
        captured = crossings_under(cross, cross_item, crossings, limb, zs, ds, z_hand, s_end, over)
        if captured < 0:
            end[f] = HIT_WIRE
            continue
        if s_end <= s_first or captured > MOST_CAPTURED or how == HIT_BESIDE:
            continue
        s_ground = landing_place(ground, frame[4], zs, ds, z_hand)
        if s_ground < s_end:
            how, s_end = LANDED, s_ground
            end[f] = LANDED
        if how == LANDED and sc.has_side and lands_badly(sc.bad, sc.side_corner, sc.side_cell, x + s_end * ux, y + s_end * uy):
            end[f] = BAD_PLACE
            continue
        if how == HIT_LIMB and strike_on(zs, ds, s_end) > sc.strike:
            continue
        lodged = False
        if how == HIT_LIMB:
            z = height_on(zs, ds, s_end) + z_hand
            lodged = not way_down(
                shape, item, first, entry, frame, size, column, columns, ground, limb, r_start, r_end, bag, sc.side_cell, sc.lift,
                s_end, z, limb[item[hit]],
            )  # fmt: skip
        start = rows
        top, whose, next_top = highest_limbs(cross, cross_item, limb, over, captured)
        for m in range(captured):
            c = over[m]
            i = cross_item[c]
            if i < 0 or union[i] < 0 or (wanted >= 0 and union[i] != wanted):
                continue
            if s_near[i] + cross[c, 4] * (s_far[i] - s_near[i]) > limit[i] or s_end < cross[c, 0] + cross[c, 3] + bag or slope[i] < droop:
                continue
            room = cross[c, 3] + 2 * bag + sc.clearance
            verdict, back, front, stays, extent = judge(
                cross, cross_item, limb, node, stem_node[union[i]], over, captured, m, lodged, z_hand, room, sc.max_worked,
                (next_top if limb[i] == whose else top) >= cross[c, 2],
            )  # fmt: skip
            if verdict == 0:
                continue
            stays = stays and captured - 1 <= sc.max_between
            shafts = verdict == WORKABLE
            if shafts and back:
                shafts = shaft[c, 1] == 1 if shaft[c, 1] >= 0 else shaft_clear(sc, pl, c, 1)
            if shafts and front:
                shafts = shaft[c, 0] == 1 if shaft[c, 0] >= 0 else shaft_clear(sc, pl, c, 0)
            k = come_down(verdict, shafts, stays, extent, cross[c, 2] - z_hand, sc.line, sc.rough, sc.bag_mass)
            if k == 0:
                continue
            known = False
            for q in range(start, rows):
                if found.union[q] == union[i]:
                    best[q] = min(best[q], k)
                    known = True
            if not known:
                found.flight[rows], found.union[rows], best[rows] = f, union[i], k
                rows += 1
        if rows > start:
            weight[f], near[f] = 1.0, not lodged and s_end < sc.near_thrower
            if sc.has_leaf:
                weight[f] = unsnagged(leaf, leaf_corner, sc.leaf_cell, sc.snag, zs, ds, x, y, z_hand, azimuth, s_end)
    return rows


@njit(cache=True, nogil=True)
def _active_azimuths(sc: Scene, grid: Grid, x: float, y: float, z_hand: float, origin: float, fastest: float, active: NDArray[np.bool_]) -> None:
    """Mark the azimuth cells whose plane can pierce a target within reach."""
    n = grid.n_azimuth
    for i in range(len(sc.limb)):
        if sc.union[i] < 0:
            continue
        x0, y0, x1, y1 = sc.start[i, 0] - x, sc.start[i, 1] - y, sc.end[i, 0] - x, sc.end[i, 1] - y
        d = min(np.sqrt(x0 * x0 + y0 * y0), np.sqrt(x1 * x1 + y1 * y1))
        z = min(sc.start[i, 2], sc.end[i, 2]) - z_hand
        if G * (z + np.sqrt(d * d + z * z)) > fastest * fastest:
            continue
        a0, a1 = np.arctan2(x0, y0) - origin, np.arctan2(x1, y1) - origin
        turn = (a1 - a0 + np.pi) % (2 * np.pi) - np.pi
        lo, hi = min(a0, a0 + turn), max(a0, a0 + turn)
        for k in range(int(np.ceil(lo / grid.azimuth_step)), int(np.floor(hi / grid.azimuth_step)) + 1):
            active[k % n] = True


@njit(cache=True, nogil=True)
def sweep_stance(
    sc: Scene, grid: Grid, x: float, y: float, z: float, origin: float, chance: Floats, aim: NDArray[np.int16], wire_chance: float
) -> int:
    """All throws of the grid from one place; fills the best chance and aim of every union, method and class.

    Parameters
    ----------
    x, y, z : float             Feet. [m]
    origin : float              Azimuth of cell 0. [rad]
    chance : (m, methods, 3)    Chance of class <= 1, 2, 3 at the best aim; throws whose bag comes down near the thrower count for less.
    aim : (m, methods, 3, 3)    Cell of that aim (azimuth, elevation, speed).

    Returns
    -------
    int     Throws evaluated.
    """
    z_hand = z + sc.release
    n, ne, nv = grid.n_azimuth, len(grid.elevation), len(grid.speed)
    active = np.zeros(n, np.bool_)
    _active_azimuths(sc, grid, x, y, z_hand, origin, grid.speed[-1], active)
    n_active = 0
    for a in range(n):
        n_active += active[a]
    chance[:] = 0.0
    if n_active == 0:
        return 0
    capacity = max(4096, n_active * ne * nv)
    ev_union, ev_cell = np.empty(capacity, np.int32), np.empty((capacity, 3), np.int16)
    ev_class, ev_weight = np.empty(capacity, np.int8), np.empty(capacity)
    weight, end, back, served = np.empty(ne * nv), np.empty(ne * nv, np.int8), np.empty(ne * nv, np.bool_), room_for(ne * nv)
    wires = np.zeros((n, ne, nv), np.bool_) if sc.has_wire else np.zeros((1, 1, 1), np.bool_)
    events, thrown = 0, 0
    pl = empty_plane(len(sc.limb))
    wide, items = np.empty(len(sc.limb), np.int32), np.empty(len(sc.limb), np.int32)
    sector, number, group, count = -1, 0, -1, 0
    for a in range(n):
        if not active[a]:
            continue
        if a // 40 != sector:
            sector = a // 40
            number = near_items(sc, x, y, origin + (40 * sector + 19.5) * grid.azimuth_step, 20.1 * grid.azimuth_step, wide)
        if a // 4 != group:
            group = a // 4
            count = near_among(sc, x, y, origin + (4 * group + 1.5) * grid.azimuth_step, 1.6 * grid.azimuth_step, wide, number, items)
        azimuth = origin + a * grid.azimuth_step
        fill_plane(sc, pl, x, y, azimuth, items, count)
        if pl.counts[3] == 0 and pl.counts[4] == 0:
            continue
        rows = throws_in_plane(sc, pl, x, y, z_hand, azimuth, grid.height, grid.step, -1, weight, end, back, served)
        thrown += ne * nv
        if sc.has_wire:
            for f in range(ne * nv):
                wires[a, f // nv, f % nv] = end[f] == HIT_WIRE
        while events + rows > capacity:
            capacity *= 2
            ev_union, ev_cell = _longer(ev_union, capacity), _longer(ev_cell, capacity)
            ev_class, ev_weight = _longer(ev_class, capacity), _longer(ev_weight, capacity)
        for q in range(rows):
            f = served.flight[q]
            ev_union[events], ev_class[events] = served.union[q], served.isolation[q]
            ev_weight[events] = weight[f] * (sc.near_worth if back[f] else 1.0)
            ev_cell[events, 0], ev_cell[events, 1], ev_cell[events, 2] = a, f // nv, f % nv
            events += 1
    order = np.argsort(ev_union[:events])
    first = 0
    while first < events:
        last = first
        while last < events and ev_union[order[last]] == ev_union[order[first]]:
            last += 1
        _best_aims(grid, ev_cell, ev_class, ev_weight, order[first:last], chance[ev_union[order[first]]], aim[ev_union[order[first]]], wires, wire_chance)
        first = last
    return thrown


@njit(cache=True, nogil=True)
def _longer(a: NDArray[Any], n: int) -> NDArray[Any]:
    """The same array with room for n rows."""
    out = np.empty((n, *a.shape[1:]), a.dtype)
    out[: len(a)] = a
    return out


@njit(cache=True, nogil=True)
def _best_aims(
    grid: Grid,
    cell: NDArray[np.int16],
    isolation: NDArray[np.int8],
    weight: Floats,
    rows: NDArray[np.int64],
    chance: Floats,
    aim: NDArray[np.int16],
    wires: NDArray[np.bool_],
    wire_chance: float,
) -> None:
    """Spread one union's outcomes and keep the best aim of every method and class."""
    n = grid.n_azimuth
    a_first = cell[rows[0], 0]
    low, high = np.array([0, 999, 999]), np.array([0, 0, 0])
    for r in rows:
        a = (cell[r, 0] - a_first + n // 2) % n - n // 2
        low[0], high[0] = min(low[0], a), max(high[0], a)
        for d in range(1, 3):
            low[d], high[d] = min(low[d], cell[r, d]), max(high[d], cell[r, d])
    na, ne, nv = high[0] - low[0] + 1, high[1] - low[1] + 1, high[2] - low[2] + 1
    offset = a_first + low[0]
    block = np.zeros((3, na, ne, nv), np.float32)
    for r in rows:
        a = (cell[r, 0] - a_first + n // 2) % n - n // 2
        block[isolation[r] - 1, a - low[0], cell[r, 1] - low[1], cell[r, 2] - low[2]] = weight[r]
    spread = -1
    p = np.zeros((na, ne, nv), np.float32)
    for method in np.argsort(grid.spread_of):
        if grid.spread_of[method] != spread:
            spread = grid.spread_of[method]
            parts = np.zeros((3, na, ne, nv), np.float32)
            for k in range(3):
                spread_on_grid(block[k], grid.on_azimuth[spread], grid.on_elevation[spread], grid.on_speed[spread], parts[k])
        p[:] = 0.0
        for k in range(3):
            p += parts[k]
            _keep_best(grid, p, offset, low[1], low[2], method, wires, wire_chance, chance[method], aim[method], k)


@njit(cache=True, nogil=True)
def _keep_best(
    grid: Grid,
    p: NDArray[np.float32],
    a0: int,
    e0: int,
    v0: int,
    method: int,
    wires: NDArray[np.bool_],
    wire_chance: float,
    chance: Floats,
    aim: NDArray[np.int16],
    k: int,
) -> None:
    """The best aim within a method's limits and clear of wires, written to row k of chance and aim."""
    na, ne, nv = p.shape
    limit = 2.0
    while True:
        best, bi, bj, bh = 0.0, -1, -1, -1
        for j in range(ne):
            if not grid.elevation_ok[method, e0 + j]:
                continue
            for h in range(nv):
                if not grid.speed_ok[method, v0 + h]:
                    continue
                for i in range(na):
                    if best < p[i, j, h] < limit:
                        best, bi, bj, bh = p[i, j, h], i, j, h
        if bi < 0:
            return
        a = (a0 + bi) % grid.n_azimuth
        if wires.shape[0] == 1 or _near_wire(grid, wires, grid.spread_of[method], a, e0 + bj, v0 + bh) <= wire_chance:
            chance[k] = best
            aim[k, 0], aim[k, 1], aim[k, 2] = a, e0 + bj, v0 + bh
            return
        limit = best


@njit(cache=True, nogil=True)
def _near_wire(grid: Grid, wires: NDArray[np.bool_], spread: int, a: int, e: int, v: int) -> float:
    """Chance that a throw at this aim comes near a wire."""
    w = grid.on_azimuth.shape[1] // 2
    total = 0.0
    for i in range(-w, w + 1):
        for j in range(max(e - w, 0), min(e + w + 1, len(grid.elevation))):
            p = grid.on_azimuth[spread, w + i] * grid.on_elevation[spread, w + j - e]
            if p < 1e-7:
                continue
            for k in range(max(v - w, 0), min(v + w + 1, len(grid.speed))):
                if wires[(a + i) % grid.n_azimuth, j, k]:
                    total += p * grid.on_speed[spread, w + k - v]
    return total


def sweep(
    sc: Scene, grid: Grid, feet: Floats, origin: Floats, wire_chance: float, unions: int, threads: int = 2, done: Callable[[int], None] | None = None
) -> tuple[Floats, NDArray[np.int16], int]:
    """`sweep_stance` for many places: chance (s, m, methods, 3), aim (s, m, methods, 3, 3), throws evaluated.

    The compiled loop lets go of Python's lock, so plain threads share the places out.
    """
    s, methods = len(feet), len(grid.spread_of)
    chance = np.zeros((s, unions, methods, 3))
    aim = np.zeros((s, unions, methods, 3, 3), np.int16)

    def one(i: int) -> int:
        return int(sweep_stance(sc, grid, feet[i, 0], feet[i, 1], feet[i, 2], origin[i], chance[i], aim[i], wire_chance))

    thrown = 0
    with ThreadPoolExecutor(max_workers=threads) as pool:
        for i, count in enumerate(pool.map(one, range(s))):
            thrown += count
            if done is not None:
                done(i + 1)
    return chance, aim, thrown


@njit(cache=True, nogil=True)
def throw_many(
    sc: Scene, feet: Floats, azimuths: Floats, height: Floats, step: Floats, flight: Ints, union: int
) -> tuple[Floats, NDArray[np.int8], NDArray[np.int8], NDArray[np.bool_]]:
    """Throws at one union from one place, one plane an azimuth.

    Parameters
    ----------
    feet : (3,), azimuths : (a,)    [m], [rad]
    height, step                    Of `Flights`.
    flight : (a, k) int32           Flights thrown in each plane.

    Returns
    -------
    weight (a, k)       Chance to come through the twigs where the union is served, else 0.
    isolation (a, k)    Class, 0 = not served.
    end (a, k)          How the flight ended.
    near (a, k)         Where the union is served: does the bag come down near the thrower?
    """
    na, nk = flight.shape
    near = np.zeros((na, nk), np.bool_)
    weight, isolation, ends = np.zeros((na, nk)), np.zeros((na, nk), np.int8), np.zeros((na, nk), np.int8)
    x, y = feet[0], feet[1]
    z_hand = feet[2] + sc.release
    pl, items, served = empty_plane(len(sc.limb)), np.empty(len(sc.limb), np.int32), room_for(nk)
    heights, steps = np.empty((nk, height.shape[1])), np.empty(nk)
    wide, lo, hi = np.empty(len(sc.limb), np.int32), azimuths.min(), azimuths.max()
    number = near_items(sc, x, y, 0.5 * (lo + hi), 0.5 * (hi - lo) + 2e-6, wide)
    for b in range(0, na, 16):
        last = min(b + 16, na)
        lo, hi = azimuths[b:last].min(), azimuths[b:last].max()
        count = near_among(sc, x, y, 0.5 * (lo + hi), 0.5 * (hi - lo) + 1e-6, wide, number, items)
        for a in range(b, last):
            if not sc.has_wire and not can_pierce(sc, x, y, azimuths[a], items, count, union):
                continue
            fill_plane(sc, pl, x, y, azimuths[a], items, count)
            if pl.counts[3] == 0 and pl.counts[4] == 0:
                continue
            for k in range(nk):
                heights[k], steps[k] = height[flight[a, k]], step[flight[a, k]]
            rows = throws_in_plane(sc, pl, x, y, z_hand, azimuths[a], heights, steps, union, weight[a], ends[a], near[a], served)
            for q in range(rows):
                isolation[a, served.flight[q]] = served.isolation[q]
    return weight, isolation, ends, near


@njit(cache=True, nogil=True)
def between_flights(nodes: Floats, squares: Floats, height: Floats, step: Floats, elevation: float, speed: float, out: Floats) -> float:
    """A flight interpolated between tabulated ones, linear in elevation and squared speed: heights into `out`, returns its step.

    nodes (e,) [rad], squares (v,) [m2/s2]: even axes of the table height (e * v, PIECES + 1), step (e * v,), elevation-major.
    """
    ne, nv = len(nodes), len(squares)
    p = (elevation - nodes[0]) / max(nodes[-1] - nodes[0], 1e-12) * (ne - 1)
    q = (speed * speed - squares[0]) / max(squares[-1] - squares[0], 1e-12) * (nv - 1)
    i, j = min(max(int(p), 0), ne - 2), min(max(int(q), 0), nv - 2)
    fp, fq = p - i, q - j
    f00, f01, f10, f11 = i * nv + j, i * nv + j + 1, (i + 1) * nv + j, (i + 1) * nv + j + 1
    w00, w01, w10, w11 = (1 - fp) * (1 - fq), (1 - fp) * fq, fp * (1 - fq), fp * fq
    for k in range(len(out)):
        out[k] = w00 * height[f00, k] + w01 * height[f01, k] + w10 * height[f10, k] + w11 * height[f11, k]
    return w00 * step[f00] + w01 * step[f01] + w10 * step[f10] + w11 * step[f11]


@njit(cache=True, nogil=True)
def throw_spread(
    sc: Scene,
    feet: Floats,
    azimuths: Floats,
    elevation: Floats,
    speed: Floats,
    nodes: Floats,
    squares: Floats,
    height: Floats,
    step: Floats,
    union: int,
) -> tuple[Floats, NDArray[np.int8], NDArray[np.int8], NDArray[np.bool_]]:
    """Like `throw_many` with flights of any elevation and speed (a, k), interpolated between tabulated ones (`between_flights`)."""
    na, nk = elevation.shape
    near = np.zeros((na, nk), np.bool_)
    weight, isolation, ends = np.zeros((na, nk)), np.zeros((na, nk), np.int8), np.zeros((na, nk), np.int8)
    x, y = feet[0], feet[1]
    z_hand = feet[2] + sc.release
    pl, items, served = empty_plane(len(sc.limb)), np.empty(len(sc.limb), np.int32), room_for(nk)
    heights, steps = np.empty((nk, height.shape[1])), np.empty(nk)
    wide, lo, hi = np.empty(len(sc.limb), np.int32), azimuths.min(), azimuths.max()
    number = near_items(sc, x, y, 0.5 * (lo + hi), 0.5 * (hi - lo) + 2e-6, wide)
    for b in range(0, na, 16):
        last = min(b + 16, na)
        lo, hi = azimuths[b:last].min(), azimuths[b:last].max()
        count = near_among(sc, x, y, 0.5 * (lo + hi), 0.5 * (hi - lo) + 1e-6, wide, number, items)
        for a in range(b, last):
            if not can_pierce(sc, x, y, azimuths[a], items, count, union):
                continue
            fill_plane(sc, pl, x, y, azimuths[a], items, count)
            for k in range(nk):
                steps[k] = between_flights(nodes, squares, height, step, elevation[a, k], speed[a, k], heights[k])
            rows = throws_in_plane(sc, pl, x, y, z_hand, azimuths[a], heights, steps, union, weight[a], ends[a], near[a], served)
            for q in range(rows):
                isolation[a, served.flight[q]] = served.isolation[q]
    return weight, isolation, ends, near


@njit(cache=True, nogil=True)
def can_pierce(sc: Scene, x: float, y: float, azimuth: float, items: Ints, count: int, union: int) -> bool:
    """Does a wanted limb of this union pierce the plane, ahead of the thrower? Asked before the plane is filled."""
    ux, uy, of = np.sin(azimuth), np.cos(azimuth), sc.union
    start, end = sc.start, sc.end
    for m in range(count):
        i = items[m]
        if of[i] != union:
            continue
        x0, y0, x1, y1 = start[i, 0] - x, start[i, 1] - y, end[i, 0] - x, end[i, 1] - y
        n0, n1 = x0 * uy - y0 * ux, x1 * uy - y1 * ux
        if (n0 < 0.0) != (n1 < 0.0):
            s0, s1 = x0 * ux + y0 * uy, x1 * ux + y1 * uy
            if s0 + n0 / (n0 - n1) * (s1 - s0) > MIN_S:
                return True
    return False
