"""Where does a bag come down: on the ground, on a thing beside the tree, on a place where it must not land?"""

from __future__ import annotations

import numpy as np
from numba import njit

from treescan.arrays import Floats
from treescan.throw.ballistics.flight import PIECES
from treescan.throw.ballistics.flight_line import INFINITE, apex_column, height_on
from treescan.throw.scene.flight_scene import Things
from treescan.throw.scene.plane import COLUMN_HIGH, COLUMN_LOW, COLUMN_S, GROUND_STEP, RANGE

NOT_AT_ONCE = 0.3
"""No bag comes down nearer than this to the hand. [m]"""

MIN_STEP = 0.05
"""Shortest step in which the ground is looked at. [m]"""


@njit(cache=True, nogil=True)
def ground_on(ground: Floats, s: float) -> float:
    """Ground height at distance s, from the profile of a plane. [m]"""
    u = s / GROUND_STEP
    k = min(int(u), len(ground) - 2)
    return ground[k] + (u - k) * (ground[k + 1] - ground[k])


@njit(cache=True, nogil=True)
def landing_place(ground: Floats, top: float, height: Floats, step: float, hand: float) -> float:
    """Distance s at which the flight meets the ground [m]; `top` is the highest of `ground` (of `Plane`)."""
    j = PIECES
    while j > 1 and height[j - 1] + hand < top and height[j - 1] >= height[j]:
        j -= 1
    s = max((j - 1) * step, min(NOT_AT_ONCE, step))
    s_last = min(PIECES * step, RANGE)
    z_before = height_on(height, step, s) + hand - ground_on(ground, s)
    if z_before <= 0.0:
        return s
    ds = min(GROUND_STEP, max(step, MIN_STEP))
    while s < s_last:
        s1 = min(s + ds, s_last)
        z = height_on(height, step, s1) + hand - ground_on(ground, s1)
        if z <= 0.0:
            return s + (s1 - s) * z_before / (z_before - z)
        s, z_before = s1, z
    return s_last


@njit(cache=True, nogil=True)
def is_tall(column: Floats, k: int, ground: Floats, lift: float) -> bool:
    """Does solid column k reach higher than a person does? A bag on a lower thing is as good as on the ground."""
    return column[k, COLUMN_HIGH] > ground_on(ground, column[k, COLUMN_S]) + lift


@njit(cache=True, nogil=True)
def first_column(
    column: Floats,
    count: int,
    highest: float,
    bag: float,
    height: Floats,
    step: float,
    hand: float,
    s_end: float,
) -> int:
    """The first of `count` solid columns before s_end that a flight meets; -1 when it meets none.

    Above the highest column (top at `highest`) it need not look: a flight rises, then falls.
    """
    if count == 0:
        return -1
    top = highest + bag - hand
    apex = apex_column(height)
    up, down = INFINITE, -INFINITE
    if height[apex] > top:
        lo, hi = 0, apex
        while lo < hi:
            mid = (lo + hi) // 2
            if height[mid] > top:
                hi = mid
            else:
                lo = mid + 1
        up = lo * step
        lo, hi = apex, PIECES
        while lo < hi:
            mid = (lo + hi + 1) // 2
            if height[mid] > top:
                lo = mid
            else:
                hi = mid - 1
        down = lo * step
    for k in range(count):
        s = column[k, COLUMN_S]
        if s >= s_end:
            break
        if up <= s <= down:
            continue
        z = height_on(height, step, s) + hand
        if column[k, COLUMN_LOW] - bag <= z <= column[k, COLUMN_HIGH] + bag:
            return k
    return -1


@njit(cache=True, nogil=True)
def lands_badly(things: Things, x: float, y: float) -> bool:
    """Would the bag come down on a road, roof, water or other closed area?"""
    j, i = (
        int(np.floor((x - things.corner[0]) / things.cell)),
        int(np.floor((y - things.corner[1]) / things.cell)),
    )
    return 0 <= i < things.bad.shape[0] and 0 <= j < things.bad.shape[1] and things.bad[i, j]
