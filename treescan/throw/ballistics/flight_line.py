"""Where is a tabulated flight, and how fast, at some distance from the thrower?"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit

from treescan.arrays import Floats
from treescan.throw.ballistics.flight import PIECES
from treescan.units import G

INFINITE = 1e9
"""Farther, higher, faster than anything."""


class Origin(NamedTuple):
    """From where throws go in one plane: release point [m, local] and azimuth [rad]."""

    x: float
    y: float
    hand: float
    azimuth: float


@njit(cache=True, nogil=True)
def height_on(height: Floats, step: float, s: float) -> float:
    """Height above the release point at distance s, from a row of `Flights`. [m]"""
    u = s / step
    j = int(u)
    if j >= PIECES:
        return height[PIECES]
    return height[j] + (u - j) * (height[j + 1] - height[j])


@njit(cache=True, nogil=True)
def strike_speed(height: Floats, step: float, s: float) -> float:
    """How fast a bag strikes something at distance s: its speed while it rises, its level speed while it falls. [m/s]

    From the flight's bend: z'' = -g / vx^2 with any drag along the path. A falling bag drops on where it strikes, however fast.
    """
    z = height
    j = min(max(int(s / step + 0.5), 1), PIECES - 1)
    bend = 2.0 * z[j] - z[j - 1] - z[j + 1]
    rise = (z[j + 1] - z[j - 1]) / (2.0 * step) - bend / step * (s / step - j)
    return step * np.sqrt(G / bend * (1.0 + max(rise, 0.0) ** 2)) if bend > 0.0 else INFINITE


@njit(cache=True, nogil=True)
def apex_column(height: Floats) -> int:
    """Column of a flight's highest point (bisection: heights rise, then fall)."""
    lo, hi = 0, PIECES
    while lo < hi:
        mid = (lo + hi) // 2
        if height[mid + 1] > height[mid]:
            lo = mid + 1
        else:
            hi = mid
    return lo
