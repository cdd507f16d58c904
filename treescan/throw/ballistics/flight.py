"""How does a bag fly that drags its line behind it?

A point mass with quadratic drag that picks its line up from rest::

    (m + l s) dv/dt = (m + l s) g - (l + rho Cd A / 2) |v| v,    ds/dt = |v|

m bag, l line mass a metre, s line paid out. Momentum of the line already flying is carried along; each new piece is brought
to speed, which acts like drag with coefficient l (throwing straight up without drag this gives an apex of (m / l) ((1 + 3 l v^2 / (2 g m))^(1/3) - 1)).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import ArrayLike

from treescan.arrays import Floats
from treescan.throw.settings import ThrowSettings
from treescan.units import G

PIECES = 128
"""Straight pieces of a tabulated flight: the chord lies below the curve by at most apex / PIECES^2, 1.5 mm at 25 m."""

STEP = 0.02
"""Time step of the integration. [s]"""

MAX_STEPS = 1500
"""A flight is followed for at most this many time steps."""


@dataclass(frozen=True)
class Flights:
    """Flights from a common release point, tabulated on equal steps of horizontal distance.

    Attributes
    ----------
    elevation, speed : (f,) float       Release. [rad], [m/s]
    height : (f, PIECES + 1) float      Above the release point. [m]
    step : (f,) float                   Horizontal distance between the columns. [m]
    """

    elevation: Floats
    speed: Floats
    height: Floats
    step: Floats

    def __len__(self) -> int:
        return len(self.speed)


class Bag(NamedTuple):
    """What flies: mass of the bag [kg], of the line a metre [kg/m], and rho Cd A / 2 [kg/m]."""

    mass: float
    line: float
    drag: float


def bag_of(settings: ThrowSettings) -> Bag:
    """The bag and line of the settings."""
    return Bag(settings.bag_mass, settings.line_density, drag_constant(settings))


def drag_constant(settings: ThrowSettings) -> float:
    """rho Cd A / 2. [kg/m]"""
    return float(0.5 * settings.air_density * settings.drag * np.pi * settings.bag_radius**2)


X, Z, VX, VZ, PAID_OUT = 0, 1, 2, 3, 4
"""Columns of a flight: place [m], velocity [m/s], line paid out [m]."""


@njit(cache=True, nogil=True)
def _rates(vx: float, vz: float, s: float, bag: Bag) -> tuple[float, float, float]:
    v = np.sqrt(vx * vx + vz * vz)
    b = (bag.drag + bag.line) * v / (bag.mass + bag.line * s)
    return -b * vx, -b * vz - G, v


@njit(cache=True, nogil=True)
def _advance(
    x: float, z: float, vx: float, vz: float, s: float, h: float, bag: Bag
) -> tuple[float, float, float, float, float]:
    """One Runge-Kutta step of length h."""
    ax1, az1, r1 = _rates(vx, vz, s, bag)
    vx2, vz2 = vx + 0.5 * h * ax1, vz + 0.5 * h * az1
    ax2, az2, r2 = _rates(vx2, vz2, s + 0.5 * h * r1, bag)
    vx3, vz3 = vx + 0.5 * h * ax2, vz + 0.5 * h * az2
    ax3, az3, r3 = _rates(vx3, vz3, s + 0.5 * h * r2, bag)
    vx4, vz4 = vx + h * ax3, vz + h * az3
    ax4, az4, r4 = _rates(vx4, vz4, s + h * r3, bag)
    return (
        x + h / 6 * (vx + 2 * vx2 + 2 * vx3 + vx4),
        z + h / 6 * (vz + 2 * vz2 + 2 * vz3 + vz4),
        vx + h / 6 * (ax1 + 2 * ax2 + 2 * ax3 + ax4),
        vz + h / 6 * (az1 + 2 * az2 + 2 * az3 + az4),
        s + h / 6 * (r1 + 2 * r2 + 2 * r3 + r4),
    )


@njit(cache=True, nogil=True)
def fly_into(out: Floats, elevation: float, speed: float, bag: Bag, floor: float, h: float) -> int:
    """One flight until it falls to `floor` [m] (negative, relative to the release), in time steps h [s]; returns the rows filled.

    out : (n, 5) float      Filled with a row a step: X, Z, VX, VZ, PAID_OUT; the last lies at or below the floor.
    """
    x, z, s = 0.0, 0.0, 0.0
    vx, vz = speed * np.cos(elevation), speed * np.sin(elevation)
    k = 0
    while k < len(out):
        out[k, X], out[k, Z], out[k, VX], out[k, VZ], out[k, PAID_OUT] = x, z, vx, vz, s
        k += 1
        if z <= floor and vz < 0.0:
            break
        x, z, vx, vz, s = _advance(x, z, vx, vz, s, h, bag)
    return k


@njit(cache=True, nogil=True)
def _tabulate(path: Floats, height: Floats) -> float:
    """Heights on equal steps of x by cubic Hermite interpolation in x; returns the step."""
    last = path[-1, X]
    step = last / PIECES
    j = 0
    for i in range(PIECES + 1):
        x = min(i * step, last)
        while j < len(path) - 2 and path[j + 1, X] < x:
            j += 1
        w = path[j + 1, X] - path[j, X]
        u = (x - path[j, X]) / w
        z0, z1 = path[j, Z], path[j + 1, Z]
        m0, m1 = path[j, VZ] / path[j, VX] * w, path[j + 1, VZ] / path[j + 1, VX] * w
        height[i] = (
            (1 + 2 * u) * (1 - u) ** 2 * z0
            + u * (1 - u) ** 2 * m0
            + u * u * (3 - 2 * u) * z1
            + u * u * (u - 1) * m1
        )
    return step


@njit(cache=True, nogil=True)
def _table(elevation: Floats, speed: Floats, bag: Bag, floor: float) -> tuple[Floats, Floats]:
    n = len(speed)
    height, step, path = np.empty((n, PIECES + 1)), np.empty(n), np.empty((MAX_STEPS, 5))
    for i in range(n):
        k = fly_into(path, elevation[i], speed[i], bag, floor, STEP)
        step[i] = _tabulate(path[:k], height[i])
    return height, step


def flights(elevation: ArrayLike, speed: ArrayLike, settings: ThrowSettings, floor: float = -12.0) -> Flights:
    """Tabulated flights, one for each pair of elevation and speed.

    Parameters
    ----------
    elevation, speed : (f,) float   [rad], [m/s]
    floor : float                   How far below the release the flight is followed; negative. [m]
    """
    both = np.broadcast(elevation, speed).shape
    a, v = (
        np.ascontiguousarray(np.broadcast_to(np.asarray(q, float), both).ravel()) for q in (elevation, speed)
    )
    height, step = _table(a, v, bag_of(settings), floor)
    return Flights(a, v, height, step)


def min_speed(x: ArrayLike, z: ArrayLike) -> Floats:
    """Least release speed to reach a point x away and z above the release, without drag or line. [m/s]

    v^2 = g (z + sqrt(x^2 + z^2)); drag and line only raise it.
    """
    x, z = np.asarray(x, float), np.asarray(z, float)
    return np.sqrt(np.maximum(G * (z + np.hypot(x, z)), 0.0))
