"""How does a bag fly that drags its line behind it?

A point mass with quadratic drag that picks its line up from rest::

    (m + l s) dv/dt = (m + l s) g - (l + rho Cd A / 2) |v| v,    ds/dt = |v|

m bag, l line mass a metre, s line paid out. Momentum of the line already flying is carried along; each new piece is brought
to speed, which acts like drag with coefficient l (throwing straight up this gives the closed form of `apex_with_line`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

from treescan.throw.settings import ThrowSettings
from treescan.units import G

Floats = NDArray[np.float64]

PIECES = 128
"""Straight pieces of a tabulated flight: the chord lies below the curve by at most apex / PIECES^2, 1.5 mm at 25 m."""

STEP = 0.02
"""Time step of the integration. [s]"""

MOST_STEPS = 1500
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


def drag_constant(settings: ThrowSettings) -> float:
    """rho Cd A / 2. [kg/m]"""
    return float(0.5 * settings.air_density * settings.drag * np.pi * settings.bag_radius**2)


@njit(cache=True, nogil=True)
def _rates(vx: float, vz: float, s: float, m: float, line: float, kd: float) -> tuple[float, float, float]:
    v = np.sqrt(vx * vx + vz * vz)
    b = (kd + line) * v / (m + line * s)
    return -b * vx, -b * vz - G, v


@njit(cache=True, nogil=True)
def _advance(x: float, z: float, vx: float, vz: float, s: float, h: float, m: float, line: float, kd: float) -> tuple[float, float, float, float, float]:
    """One Runge-Kutta step of length h."""
    ax1, az1, r1 = _rates(vx, vz, s, m, line, kd)
    vx2, vz2 = vx + 0.5 * h * ax1, vz + 0.5 * h * az1
    ax2, az2, r2 = _rates(vx2, vz2, s + 0.5 * h * r1, m, line, kd)
    vx3, vz3 = vx + 0.5 * h * ax2, vz + 0.5 * h * az2
    ax3, az3, r3 = _rates(vx3, vz3, s + 0.5 * h * r2, m, line, kd)
    vx4, vz4 = vx + h * ax3, vz + h * az3
    ax4, az4, r4 = _rates(vx4, vz4, s + h * r3, m, line, kd)
    return (
        x + h / 6 * (vx + 2 * vx2 + 2 * vx3 + vx4),
        z + h / 6 * (vz + 2 * vz2 + 2 * vz3 + vz4),
        vx + h / 6 * (ax1 + 2 * ax2 + 2 * ax3 + ax4),
        vz + h / 6 * (az1 + 2 * az2 + 2 * az3 + az4),
        s + h / 6 * (r1 + 2 * r2 + 2 * r3 + r4),
    )


@njit(cache=True, nogil=True)
def fly(elevation: float, speed: float, m: float, line: float, kd: float, floor: float, h: float) -> Floats:
    """One flight until it falls to `floor` (negative, relative to the release), as rows (x, z, vx, vz, line paid out).

    Parameters
    ----------
    elevation [rad], speed [m/s], m : bag [kg], line [kg/m], kd : rho Cd A / 2 [kg/m], floor [m], h : time step [s]

    Returns
    -------
    (k, 5) float    The last row lies at or below the floor.
    """
    out = np.empty((MOST_STEPS, 5))
    return out[: _fly_into(out, elevation, speed, m, line, kd, floor, h)].copy()


@njit(cache=True, nogil=True)
def _fly_into(out: Floats, elevation: float, speed: float, m: float, line: float, kd: float, floor: float, h: float) -> int:
    x, z, s = 0.0, 0.0, 0.0
    vx, vz = speed * np.cos(elevation), speed * np.sin(elevation)
    k = 0
    while k < len(out):
        out[k, 0], out[k, 1], out[k, 2], out[k, 3], out[k, 4] = x, z, vx, vz, s
        k += 1
        if z <= floor and vz < 0.0:
            break
        x, z, vx, vz, s = _advance(x, z, vx, vz, s, h, m, line, kd)
    return k


@njit(cache=True, nogil=True)
def _tabulate(path: Floats, height: Floats) -> float:
    """Heights on equal steps of x by cubic Hermite interpolation in x; returns the step."""
    last = path[-1, 0]
    step = last / PIECES
    j = 0
    for i in range(PIECES + 1):
        x = min(i * step, last)
        while j < len(path) - 2 and path[j + 1, 0] < x:
            j += 1
        w = path[j + 1, 0] - path[j, 0]
        u = (x - path[j, 0]) / w
        m0, m1 = path[j, 3] / path[j, 2] * w, path[j + 1, 3] / path[j + 1, 2] * w
        height[i] = (
            (1 + 2 * u) * (1 - u) ** 2 * path[j, 1] + u * (1 - u) ** 2 * m0 + u * u * (3 - 2 * u) * path[j + 1, 1] + u * u * (u - 1) * m1
        )
    return step


@njit(cache=True, nogil=True)
def _table(elevation: Floats, speed: Floats, m: float, line: float, kd: float, floor: float) -> tuple[Floats, Floats]:
    n = len(speed)
    height, step, path = np.empty((n, PIECES + 1)), np.empty(n), np.empty((MOST_STEPS, 5))
    for i in range(n):
        k = _fly_into(path, elevation[i], speed[i], m, line, kd, floor, STEP)
        step[i] = _tabulate(path[:k], height[i])
    return height, step


def flights(elevation: ArrayLike, speed: ArrayLike, settings: ThrowSettings, floor: float = -12.0) -> Flights:
    """Tabulated flights, one for each pair of elevation and speed.

    Parameters
    ----------
    elevation, speed : (f,) float   [rad], [m/s]
    floor : float                   How far below the release the flight is followed; negative. [m]
    """
    a, v = (np.ascontiguousarray(np.broadcast_to(np.asarray(q, float), np.broadcast(elevation, speed).shape).ravel()) for q in (elevation, speed))
    height, step = _table(a, v, settings.bag_mass, settings.line_density, drag_constant(settings), floor)
    return Flights(a, v, height, step)


def min_speed(x: ArrayLike, z: ArrayLike) -> Floats:
    """Least release speed to reach a point x away and z above the release, without drag or line. [m/s]

    v^2 = g (z + sqrt(x^2 + z^2)); drag and line only raise it.
    """
    x, z = np.asarray(x, float), np.asarray(z, float)
    return np.sqrt(np.maximum(G * (z + np.hypot(x, z)), 0.0))


def apex_with_line(speed: ArrayLike, settings: ThrowSettings) -> Floats:
    """Height of a throw straight up that picks its line up from rest, no drag. [m]

    h = (m / l) ((1 + 3 l v^2 / (2 g m))^(1/3) - 1)
    """
    m, line, v = settings.bag_mass, settings.line_density, np.asarray(speed, float)
    if line == 0.0:
        return v**2 / (2 * G)
    return m / line * (np.cbrt(1 + 3 * line * v**2 / (2 * G * m)) - 1)


def terminal_speed(settings: ThrowSettings) -> float:
    """Fall speed at which drag carries the bag. [m/s]"""
    return float(np.sqrt(settings.bag_mass * G / drag_constant(settings)))
