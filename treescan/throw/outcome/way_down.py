"""Can a bag fall to the ground from where it is?"""

from __future__ import annotations

from numba import njit

from treescan.arrays import Floats
from treescan.geometry import gap_segments
from treescan.throw.ballistics.flight_line import height_on
from treescan.throw.outcome.coming_down import ground_on
from treescan.throw.outcome.ends import HIT_LIMB, LANDED
from treescan.throw.scene.flight_scene import FlightScene
from treescan.throw.scene.plane import (
    CELL_SIDE,
    CELLS_END,
    CELLS_LOW,
    CLOSED,
    COLUMN_HIGH,
    COLUMN_LOW,
    COLUMN_S,
    COLUMNS,
    CROSS_HALF,
    CROSS_S,
    CROSS_Z,
    END_N,
    END_S,
    END_Z,
    FAR_SIDE,
    OPEN,
    S_MAX,
    S_MIN,
    START_N,
    START_S,
    START_Z,
    UNKNOWN,
    UP,
    Z_MAX,
    Z_MIN,
    Plane,
)


@njit(cache=True, nogil=True)
def way_down_clear(scene: FlightScene, plane: Plane, s: float, z_top: float, skip_limb: int) -> bool:
    """Can the bag fall from z_top to the ground at distance s without touching another limb than `skip_limb`?"""
    if s <= 0.0:
        return False
    shapes, column, wood, bag = plane.shapes, plane.column, scene.wood, scene.rules.bag_radius
    shape, frame, first = shapes.shape, shapes.frame, shapes.first
    z_low = ground_on(plane.ground, s)
    if s < frame[CELLS_END] and z_top >= frame[CELLS_LOW]:
        inv, nz = 1.0 / frame[CELL_SIDE], shapes.size[UP]
        row = int(s * inv) * nz
        b0 = int(max(z_low - frame[CELLS_LOW], 0.0) * inv)
        b1 = min(int((z_top - frame[CELLS_LOW]) * inv), nz - 1)
        for e in range(first[row + min(b0, nz)], first[row + b1 + 1]):
            k = shapes.entry[e]
            i = shapes.item[k]
            if (
                shape[k, S_MIN] > s
                or shape[k, S_MAX] < s
                or shape[k, Z_MIN] > z_top
                or shape[k, Z_MAX] < z_low
            ):
                continue
            if wood.limb[i] == skip_limb:
                continue
            sk, zk, nk = shape[k, START_S], shape[k, START_Z], shape[k, START_N]
            es, ez, en = shape[k, END_S] - sk, shape[k, END_Z] - zk, shape[k, END_N] - nk
            d2, _, v = gap_segments(s, z_low, 0.0, 0.0, z_top - z_low, 0.0, sk, zk, nk, es, ez, en)
            reach = wood.r_start[i] + v * (wood.r_end[i] - wood.r_start[i]) + bag
            if d2 < reach * reach:
                return False
    beside = 0.5 * scene.things.cell + bag
    for k in range(plane.counts[COLUMNS]):
        near = abs(column[k, COLUMN_S] - s) <= beside
        if near and column[k, COLUMN_LOW] < z_top and column[k, COLUMN_HIGH] > z_low + scene.rules.lift:
            return False
    return True


@njit(cache=True, nogil=True)
def shaft_clear(scene: FlightScene, plane: Plane, c: int, side: int) -> bool:
    """Is the strip beside crossing c, NEAR_SIDE or FAR_SIDE, clear for a falling bag? Looked up once a plane."""
    if plane.shaft[c, side] == UNKNOWN:
        away = plane.cross[c, CROSS_HALF] + scene.rules.bag_radius + scene.rules.clearance
        s = plane.cross[c, CROSS_S] + (away if side == FAR_SIDE else -away)
        clear = way_down_clear(scene, plane, s, plane.cross[c, CROSS_Z], plane.cross_limb[c])
        plane.shaft[c, side] = OPEN if clear else CLOSED
    return plane.shaft[c, side] == OPEN


@njit(cache=True, nogil=True)
def bag_lodges(
    scene: FlightScene,
    plane: Plane,
    height: Floats,
    step: float,
    hand: float,
    end: int,
    s_end: float,
    hit: int,
) -> bool:
    """After hitting something the bag drops straight down: does it stay up in the tree?  `end`, `s_end`, `hit` of `follow`."""
    if end == LANDED:
        return False
    if end != HIT_LIMB:
        return True
    z = height_on(height, step, s_end) + hand
    return not way_down_clear(scene, plane, s_end, z, scene.wood.limb[plane.shapes.item[hit]])
