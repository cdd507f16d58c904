"""How does a flight end, and over which limbs has it passed by then?"""

from __future__ import annotations

from numba import njit

from treescan.arrays import Floats, Ints32
from treescan.throw.ballistics.flight import PIECES
from treescan.throw.ballistics.flight_line import height_on
from treescan.throw.outcome.coming_down import first_column, is_tall, landing_place
from treescan.throw.outcome.first_touch import first_touch
from treescan.throw.scene.flight_scene import WIRE, FlightScene
from treescan.throw.scene.plane import (
    COLUMN_S,
    COLUMNS,
    COLUMNS_TOP,
    CROSS_S,
    CROSS_Z,
    CROSSINGS,
    GROUND_TOP,
    RANGE,
    Plane,
    cells_of,
)

LANDED, HIT_LIMB, HIT_BESIDE, HIT_WIRE, BAD_PLACE = 0, 1, 2, 3, 4
"""How a flight ends."""

MAX_CAPTURED = 96
"""A line over more limbs than this is not looked at further."""


@njit(cache=True, nogil=True)
def first_obstacle(
    scene: FlightScene, plane: Plane, height: Floats, step: float, hand: float
) -> tuple[int, float, int]:
    """What a flight meets first, the ground left aside.

    Returns
    -------
    end : int           LANDED (nothing met), HIT_LIMB, HIT_BESIDE, HIT_WIRE.
    s_end : float       Where; the end of the table where nothing was met. [m]
    hit : int           Shape of the plane that was hit, -1 none.
    """
    bag = scene.rules.bag_radius
    shapes = plane.shapes
    cells = cells_of(shapes)
    s_end, hit = first_touch(
        shapes.shape, shapes.first, shapes.entry, shapes.looked, cells, height, step, hand
    )
    end = LANDED
    if hit >= 0:
        end = HIT_WIRE if scene.wood.limb[plane.shapes.item[hit]] == WIRE else HIT_LIMB
    s_end = min(s_end, PIECES * step, RANGE)
    k = first_column(
        plane.column, plane.counts[COLUMNS], plane.levels[COLUMNS_TOP], bag, height, step, hand, s_end
    )
    if k >= 0:
        tall = is_tall(plane.column, k, plane.ground, scene.rules.lift)
        return HIT_BESIDE if tall else LANDED, plane.column[k, COLUMN_S], -1
    return end, s_end, hit


@njit(cache=True, nogil=True)
def crossings_under(
    cross: Floats,
    limb: Ints32,
    count: int,
    height: Floats,
    step: float,
    hand: float,
    s_end: float,
    over: Ints32,
) -> int:
    """Limbs that pierce the curtain between the flight, up to s_end, and the ground: their crossings, near end first, put into `over`.

    Returns their number, or -1 when a wire is among them.
    """
    found = 0
    for c in range(count):
        s = cross[c, CROSS_S]
        if s >= s_end:
            break
        if cross[c, CROSS_Z] < height_on(height, step, s) + hand:
            if limb[c] == WIRE:
                return -1
            if found < MAX_CAPTURED:
                over[found] = c
            found += 1
    return found


@njit(cache=True, nogil=True)
def follow(
    scene: FlightScene, plane: Plane, height: Floats, step: float, hand: float, over: Ints32
) -> tuple[int, float, int, int]:
    """Fly one flight through the plane: how it ends, where [m], the shape hit, and how many crossings lie under it.

    A limb beyond the landing place cannot be under the flight, so the ground decides only where the bag comes down.
    """
    end, s_end, hit = first_obstacle(scene, plane, height, step, hand)
    count = crossings_under(
        plane.cross, plane.cross_limb, plane.counts[CROSSINGS], height, step, hand, s_end, over
    )
    if count < 0:
        return HIT_WIRE, s_end, hit, 0
    s_ground = landing_place(plane.ground, plane.levels[GROUND_TOP], height, step, hand)
    if s_ground < s_end:
        return LANDED, s_ground, -1, count
    return end, s_end, hit, count
