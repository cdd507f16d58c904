"""What do many throws in one plane serve?"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from treescan.arrays import Flags, Floats, Ints32
from treescan.throw.ballistics.flight import PIECES
from treescan.throw.ballistics.flight_line import INFINITE, Origin, height_on, strike_speed
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
from treescan.throw.outcome.isolation import WORKABLE, Ask, come_down, highest_limbs, judge
from treescan.throw.outcome.snags import unsnagged
from treescan.throw.outcome.way_down import shaft_clear, way_down_clear
from treescan.throw.scene.flight_scene import WIRE, FlightScene, Rules
from treescan.throw.scene.plane import (
    COLUMN_S,
    COLUMNS,
    COLUMNS_TOP,
    CROSS_HALF,
    CROSS_S,
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
    cells_of,
)

ANY_UNION = -1
"""Look at every union."""


class Served(NamedTuple):
    """What the throws of one plane serve.

    flight, union, isolation (f x MAX_CAPTURED,)    A row for each union a throw serves: which throw, which union, which class.
    weight (f,)     Chance that twigs and leaves let the bag through; 0 where the throw serves nothing.
    end (f,)        How the flight ended (`ends`), BAD_PLACE where the bag must not land.
    near (f,)       Does the bag of a throw that serves come down near the thrower?
    worth (f,)      What a throw that serves counts where place and aim are chosen (`worth_of`).
    """

    flight: Ints32
    union: Ints32
    isolation: Ints32
    weight: Floats
    end: NDArray[np.int8]
    near: Flags
    worth: Floats


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
        np.ones(throws),
    )


@njit(cache=True, nogil=True)
def enter(
    flight: Ints32, union: Ints32, isolation: Ints32, start: int, rows: int, answer: tuple[int, int, int]
) -> int:
    """Enter (flight, union, class) among rows[start:rows] of `Served`, the better class of a union entered before; returns the rows."""
    for q in range(start, rows):
        if union[q] == answer[1]:
            isolation[q] = min(isolation[q], answer[2])
            return rows
    flight[rows], union[rows], isolation[rows] = answer
    return rows + 1


@njit(cache=True, nogil=True)
def worth_of(rules: Rules, cross: Floats, over: Ints32, captured: int, s_end: float, near: bool) -> float:
    """What a throw that serves counts where place and aim are chosen.

    1 / (1 + a x other limbs the line falls over + b x metres the bag flies beyond the last of them), times `near_worth`
    where it comes down near the thrower.
    """
    last = 0.0
    for m in range(captured):
        last = max(last, cross[over[m], CROSS_S])
    cost = rules.limb_cost * (captured - 1) + rules.overshoot_cost * max(s_end - last, 0.0)
    return (rules.near_worth if near else 1.0) / (1.0 + cost)


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

    Notes
    -----
    All arrays are taken out of their tuples once a plane; that is most of the speed.
    """
    shapes, cells, rules, things, leaves = (
        plane.shapes,
        cells_of(plane.shapes),
        scene.rules,
        scene.things,
        scene.leaves,
    )
    shape, item, first, entry, looked = shapes.shape, shapes.item, shapes.first, shapes.entry, shapes.looked
    cross, limb, node, union = plane.cross, plane.cross_limb, plane.cross_node, plane.cross_union
    target, shaft, ground, column, counts = (
        plane.target,
        plane.shaft,
        plane.ground,
        plane.column,
        plane.counts,
    )
    crossings, columns, targets, wires = (
        counts[CROSSINGS],
        counts[COLUMNS],
        counts[TARGETS],
        counts[WIRES] > 0,
    )
    ground_top, columns_top = plane.levels[GROUND_TOP], plane.levels[COLUMNS_TOP]
    of_item, stem_node, bag, hand = scene.wood.limb, scene.stem_node, rules.bag_radius, origin.hand
    weight, end, near, worth = served.weight, served.end, served.near, served.worth
    ux, uy, over, rows = np.sin(origin.azimuth), np.cos(origin.azimuth), np.empty(MAX_CAPTURED, np.int32), 0
    for f in range(len(step)):
        z, ds, s_first = height[f], step[f], INFINITE
        weight[f], end[f], near[f] = 0.0, LANDED, False
        for m in range(targets):
            c = target[m]
            s = cross[c, CROSS_S]
            if (wanted == ANY_UNION or union[c] == wanted) and cross[c, CROSS_Z] < height_on(z, ds, s) + hand:
                s_first = s
                break
        if s_first == INFINITE and not wires:
            continue
        s_end, hit = first_touch(shape, first, entry, looked, cells, z, ds, hand)
        how = LANDED
        if hit >= 0:
            how = HIT_WIRE if of_item[item[hit]] == WIRE else HIT_LIMB
        s_end = min(s_end, PIECES * ds, RANGE)
        k = first_column(column, columns, columns_top, bag, z, ds, hand, s_end) if columns > 0 else -1
        if k >= 0:
            how, s_end = HIT_BESIDE if is_tall(column, k, ground, rules.lift) else LANDED, column[k, COLUMN_S]
        end[f] = how
        if how == HIT_WIRE or (s_end <= s_first and not wires):
            continue
        captured = crossings_under(cross, limb, crossings, z, ds, hand, s_end, over)
        if captured < 0:
            end[f] = HIT_WIRE
            continue
        if s_end <= s_first or captured > MAX_CAPTURED or how == HIT_BESIDE:
            continue
        s_ground = landing_place(ground, ground_top, z, ds, hand)
        if s_ground < s_end:
            how, s_end = LANDED, s_ground
            end[f] = LANDED
        if (
            how == LANDED
            and things.some
            and lands_badly(things, origin.x + s_end * ux, origin.y + s_end * uy)
        ):
            end[f] = BAD_PLACE
            continue
        if how == HIT_LIMB and strike_speed(z, ds, s_end) > rules.strike:
            continue
        lodged = False
        if how == HIT_LIMB:
            lodged = not way_down_clear(
                scene, plane, s_end, height_on(z, ds, s_end) + hand, of_item[item[hit]]
            )
        start = rows
        top, whose, next_top = highest_limbs(cross, limb, over, captured)
        for m in range(captured):
            c = over[m]
            u, half, tail = union[c], cross[c, CROSS_HALF], cross[c, CROSS_TOP] - hand
            if u < 0 or (wanted != ANY_UNION and u != wanted) or s_end < cross[c, CROSS_S] + half + bag:  # noqa: PLR1714 (compiled)
                continue
            outdone = (next_top if limb[c] == whose else top) >= cross[c, CROSS_TOP]
            ask = Ask(stem_node[u], lodged, half + 2 * bag + rules.clearance, rules.max_worked, outdone)
            verdict, back, front, stays, extent = judge(cross, limb, node, over, captured, m, ask)
            if verdict == 0:
                continue
            shafts = verdict == WORKABLE
            if shafts and back:
                far = shaft[c, FAR_SIDE]
                shafts = far == OPEN if far != UNKNOWN else shaft_clear(scene, plane, c, FAR_SIDE)
            if shafts and front:
                by = shaft[c, NEAR_SIDE]
                shafts = by == OPEN if by != UNKNOWN else shaft_clear(scene, plane, c, NEAR_SIDE)
            stays = stays and captured - 1 <= rules.max_between
            k = come_down(verdict, shafts, stays, extent, tail, rules.line, rules.rough, rules.bag_mass)
            if k > 0:
                rows = enter(served.flight, served.union, served.isolation, start, rows, (f, u, k))
        if rows > start:
            weight[f], near[f] = 1.0, not lodged and s_end < rules.near_thrower
            worth[f] = worth_of(rules, cross, over, captured, s_end, near[f])
            if leaves.some:
                weight[f] = unsnagged(leaves, rules.snag, z, ds, origin, s_end)
    return rows
