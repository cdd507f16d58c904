"""What do many throws in one plane serve?"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from treescan.arrays import Flags, Floats, Ints32
from treescan.throw.ballistics.flight import PIECES
from treescan.throw.ballistics.flight_line import INFINITE, Flight, height_on, strike_speed
from treescan.throw.outcome.coming_down import first_column, is_tall, landing_place, lands_badly
from treescan.throw.outcome.ends import (
    BAD_PLACE,
    HIT_BESIDE,
    HIT_LIMB,
    HIT_WIRE,
    LANDED,
    MAX_CAPTURED,
    crossings_under,
)
from treescan.throw.outcome.first_touch import first_touch
from treescan.throw.outcome.isolation import WORKABLE, Under, come_down, highest_limbs, judge
from treescan.throw.outcome.snags import unsnagged
from treescan.throw.outcome.way_down import shaft_clear, way_down_clear
from treescan.throw.scene.flight_scene import WIRE, FlightScene
from treescan.throw.scene.plane import (
    COLUMN_S,
    COLUMNS,
    COLUMNS_TOP,
    CROSS_HALF,
    CROSS_S,
    CROSS_SHARE,
    CROSS_TOP,
    CROSS_Z,
    CROSSINGS,
    FAR_SIDE,
    GROUND_TOP,
    NEAR_SIDE,
    OPEN,
    RANGE,
    TARGETS,
    UNKNOWN,
    WIRES,
    Plane,
)

ANY_UNION = -1
"""Look at every union."""


class Origin(NamedTuple):
    """From where a plane's throws go: release point [m, local] and azimuth [rad]."""

    x: float
    y: float
    hand: float
    azimuth: float


class Served(NamedTuple):
    """What the throws of one plane serve.

    flight, union, isolation (f x MAX_CAPTURED,)    A row for each union a throw serves: which throw, which union, which class.
    weight (f,)     Chance that twigs and leaves let the bag through; 0 where the throw serves nothing.
    end (f,)        How the flight ended (`ends`), BAD_PLACE where the bag must not land.
    near (f,)       Does the bag of a throw that serves come down near the thrower?
    """

    flight: Ints32
    union: Ints32
    isolation: Ints32
    weight: Floats
    end: NDArray[np.int8]
    near: Flags


@njit(cache=True, nogil=True)
def room_for(throws: int) -> Served:
    """Room for the answers of this many throws in one plane."""
    n = throws * MAX_CAPTURED
    return Served(
        np.empty(n, np.int32),
        np.empty(n, np.int32),
        np.empty(n, np.int32),
        np.empty(throws),
        np.empty(throws, np.int8),
        np.empty(throws, np.bool_),
    )


@njit(cache=True, nogil=True)
def first_target(plane: Plane, union: Ints32, wanted: int, flight: Flight) -> float:
    """Distance of the first wanted crossing that the flight passes over, INFINITE when there is none. [m]"""
    for m in range(plane.counts[TARGETS]):
        c = plane.target[m]
        s = plane.cross[c, CROSS_S]
        asked = wanted == ANY_UNION or union[plane.cross_item[c]] == wanted
        if asked and plane.cross[c, CROSS_Z] < height_on(flight.height, flight.step, s) + flight.hand:
            return s
    return INFINITE


@njit(cache=True, nogil=True)
def end_over(
    scene: FlightScene, plane: Plane, flight: Flight, s_first: float, over: Ints32
) -> tuple[int, float, int, int]:
    """As `ends.follow`, but left early, with no crossings, where the throw cannot serve what stands at s_first or beyond."""
    wires = plane.counts[WIRES] > 0
    wood, bag = scene.wood, scene.rules.bag_radius
    s_end, hit = first_touch(plane.shapes, wood.r_start, wood.r_end, bag, flight)
    end = LANDED
    if hit >= 0:
        end = HIT_WIRE if wood.limb[plane.shapes.item[hit]] == WIRE else HIT_LIMB
    s_end = min(s_end, PIECES * flight.step, RANGE)
    columns = plane.counts[COLUMNS]
    if columns > 0:
        k = first_column(plane.column, columns, plane.levels[COLUMNS_TOP], bag, flight, s_end)
        if k >= 0:
            tall = is_tall(plane.column, k, plane.ground, scene.rules.lift)
            end, s_end = HIT_BESIDE if tall else LANDED, plane.column[k, COLUMN_S]
    if end == HIT_WIRE or (s_end <= s_first and not wires):
        return end, s_end, hit, 0
    captured = crossings_under(
        plane.cross, plane.cross_item, plane.counts[CROSSINGS], wood.limb, flight, s_end, over
    )
    if captured < 0:
        return HIT_WIRE, s_end, hit, 0
    if s_end <= s_first or captured > MAX_CAPTURED or end == HIT_BESIDE:
        return end, s_end, hit, 0
    s_ground = landing_place(plane.ground, plane.levels[GROUND_TOP], flight)
    if s_ground < s_end:
        return LANDED, s_ground, hit, captured
    return end, s_end, hit, captured


@njit(cache=True, nogil=True)
def _serve(
    scene: FlightScene,
    plane: Plane,
    under: Under,
    captured: int,
    wanted: int,
    s_end: float,
    lodged: bool,
    hand: float,
    served: Served,
    rows: int,
    f: int,
) -> int:
    """Enter every union that throw f serves into `served` from row `rows` on; returns the rows filled."""
    cross, item, over, wood, rules, start = under.cross, under.item, under.over, scene.wood, scene.rules, rows
    bag, droop = rules.bag_radius, -np.arctan(rules.friction)
    top, whose, next_top = highest_limbs(under, captured)
    for m in range(captured):
        c = over[m]
        i = item[c]
        if i < 0 or wood.union[i] < 0 or (wanted != ANY_UNION and wood.union[i] != wanted):
            continue
        if (
            wood.near[i] + cross[c, CROSS_SHARE] * (wood.far[i] - wood.near[i]) > wood.limit[i]
            or wood.slope[i] < droop
        ):
            continue
        if s_end < cross[c, CROSS_S] + cross[c, CROSS_HALF] + bag:
            continue
        room = cross[c, CROSS_HALF] + 2 * bag + rules.clearance
        outdone = (next_top if wood.limb[i] == whose else top) >= cross[c, CROSS_TOP]
        stem_node = scene.stem_node[wood.union[i]]
        verdict, back, front, stays, extent = judge(
            under, captured, m, stem_node, lodged, room, rules.max_worked, outdone
        )
        if verdict == 0:
            continue
        stays = stays and captured - 1 <= rules.max_between
        shafts = verdict == WORKABLE
        if shafts and back:
            known = plane.shaft[c, FAR_SIDE]
            shafts = known == OPEN if known != UNKNOWN else shaft_clear(scene, plane, c, FAR_SIDE)
        if shafts and front:
            known = plane.shaft[c, NEAR_SIDE]
            shafts = known == OPEN if known != UNKNOWN else shaft_clear(scene, plane, c, NEAR_SIDE)
        k = come_down(
            verdict,
            shafts,
            stays,
            extent,
            cross[c, CROSS_TOP] - hand,
            rules.line,
            rules.rough,
            rules.bag_mass,
        )
        if k == 0:
            continue
        found = False
        for q in range(start, rows):
            if served.union[q] == wood.union[i]:
                served.isolation[q] = min(served.isolation[q], k)
                found = True
        if not found:
            served.flight[rows], served.union[rows], served.isolation[rows] = f, wood.union[i], k
            rows += 1
    return rows


@njit(cache=True, nogil=True)
def throws_in_plane(
    scene: FlightScene,
    plane: Plane,
    origin: Origin,
    height: Floats,
    step: Floats,
    wanted: int,
    served: Served,
) -> int:
    """Many flights in one filled plane.

    Parameters
    ----------
    height (f, PIECES + 1), step (f,)       Of `Flights`.
    wanted : int                            Union to look at, ANY_UNION = all of them.
    served : Served                         Filled.

    Returns
    -------
    int     Rows of `served` filled.
    """
    wood, things, rules, leaves = scene.wood, scene.things, scene.rules, scene.leaves
    weight, end, near, wires = served.weight, served.end, served.near, plane.counts[WIRES] > 0
    ux, uy = np.sin(origin.azimuth), np.cos(origin.azimuth)
    over = np.empty(MAX_CAPTURED, np.int32)
    under = Under(plane.cross, plane.cross_item, wood.limb, wood.node, over)
    rows = 0
    for f in range(len(step)):
        flight = Flight(height[f], step[f], origin.hand)
        weight[f], end[f], near[f] = 0.0, LANDED, False
        s_first = first_target(plane, wood.union, wanted, flight)
        if s_first == INFINITE and not wires:
            continue
        how, s_end, hit, captured = end_over(scene, plane, flight, s_first, over)
        end[f] = how
        if captured == 0:
            continue
        if (
            how == LANDED
            and things.some
            and lands_badly(things, origin.x + s_end * ux, origin.y + s_end * uy)
        ):
            end[f] = BAD_PLACE
            continue
        if how == HIT_LIMB and strike_speed(flight, s_end) > rules.strike:
            continue
        lodged = False
        if how == HIT_LIMB:
            z = height_on(flight.height, flight.step, s_end) + flight.hand
            lodged = not way_down_clear(scene, plane, s_end, z, wood.limb[plane.shapes.item[hit]])
        start = rows
        rows = _serve(scene, plane, under, captured, wanted, s_end, lodged, origin.hand, served, rows, f)
        if rows > start:
            weight[f], near[f] = 1.0, not lodged and s_end < rules.near_thrower
            if leaves.some:
                weight[f] = unsnagged(leaves, rules.snag, flight, origin.x, origin.y, origin.azimuth, s_end)
    return rows
