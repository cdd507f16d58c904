"""Which limbs and wires can a flight in some direction meet? Asked before a plane is filled."""

from __future__ import annotations

import numpy as np
from numba import njit

from treescan.arrays import Ints32
from treescan.throw.scene.flight_scene import FlightScene
from treescan.throw.scene.plane import MIN_S

STEEPEST = 1.5
"""A wider half-angle of a sector takes everything in. [rad]"""


@njit(cache=True, nogil=True)
def near_items(scene: FlightScene, x: float, y: float, azimuth: float, half: float, out: Ints32) -> int:
    """Rows of the scene that the half-planes within `half` of an azimuth can meet; returns how many were put into `out`."""
    rows = len(scene.wood.limb)
    return near_among(scene, x, y, azimuth, half, np.arange(rows, dtype=np.int32), rows, out)


@njit(cache=True, nogil=True)
def near_among(
    scene: FlightScene,
    x: float,
    y: float,
    azimuth: float,
    half: float,
    among: Ints32,
    number: int,
    out: Ints32,
) -> int:
    """`near_items` among the rows among[:number] of the scene."""
    start, end, r_start, r_end = scene.wood.start, scene.wood.end, scene.wood.r_start, scene.wood.r_end
    bag = scene.rules.bag_radius
    ux, uy = np.sin(azimuth), np.cos(azimuth)
    tan = np.tan(min(half, STEEPEST))
    if half > STEEPEST:
        out[:number] = among[:number]
        return number
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


@njit(cache=True, nogil=True)
def can_pierce(
    scene: FlightScene, x: float, y: float, azimuth: float, items: Ints32, count: int, union: int
) -> bool:
    """Does a wanted limb of this union pierce the plane, ahead of the thrower?"""
    ux, uy, of = np.sin(azimuth), np.cos(azimuth), scene.wood.union
    start, end = scene.wood.start, scene.wood.end
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
