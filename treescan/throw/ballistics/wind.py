"""Which turn of the aim does the same to a flight as the wind?

Flights are tabulated once for still air; a flight in wind is taken as the still-air flight that passes where it passes::

    (m + l s) dv/dt = (m + l s) g - rho Cd A / 2 |u| u - l |v| v + s q w / 2,    u = v - w,    ds/dt = |v|

w wind (level), q w its push on a metre of line, half of which the bag bears. To the right the turn is the drift over
the distance, to first order in the wind; ahead it is the change of elevation and speed that fits the heights best
round that distance, to second order. Where the wind would blow the bag back before it passes, both come from a weaker wind.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import ArrayLike

from treescan.arrays import Floats
from treescan.throw.ballistics.flight import MAX_STEPS, STEP, Bag, bag_of
from treescan.throw.settings import AimError, ThrowSettings
from treescan.units import G

PLACES = np.array([0.6, 0.8, 1.0, 1.2])
"""Shares of the distance at which the heights are fitted."""

AT_LIMB = 2
"""Which of them is the distance itself."""

EARLIEST, LATEST = 0.5, 1.8
"""Where a flight is compared at the earliest and latest, as shares of the distance of its top: a throw passes its limb about there."""

SMALL_TURN, SMALL_SHARE = 2e-3, 2e-3
"""Steps of the numerical slopes: elevation [rad], share of the speed."""

LEAST_WIND = 0.1
"""Wind at which the first order is taken at least. [m/s]"""

NOT_PASSED = -1e3
"""Height told where a flight never passes. [m]"""

HALVINGS = 6
"""A wind that blows a bag back before it passes is halved at most so often."""


AimErrors = tuple[Floats, Floats, Floats]


class WindTurn(NamedTuple):
    """What a metre a second of wind does to throws, each (k,).

    side [rad] : turn across the flight by wind to the right;  up [rad], faster [share] : by wind ahead.
    ahead2, right2 : what goes with the square of the wind ahead and to the right, (up, faster): wind from any side slows a bag.
    """

    side: Floats
    up: Floats
    faster: Floats
    ahead2: tuple[Floats, Floats]
    right2: tuple[Floats, Floats]

    def of(self, ahead: Floats, right: Floats) -> AimErrors:
        """What winds (n,) [m/s] do to one throw (k = 1): side, up and faster, (n,) each."""
        return (
            self.side * right,
            self.up * ahead + self.ahead2[0] * ahead**2 + self.right2[0] * right**2,
            self.faster * ahead + self.ahead2[1] * ahead**2 + self.right2[1] * right**2,
        )


class Wind(NamedTuple):
    """Wind of the settings as it meets a throw: mean ahead and to the right, and standard deviation of both. [m/s]"""

    ahead: float
    right: float
    sd: float


def wind_about(azimuth: float, settings: ThrowSettings) -> Wind:
    """The wind as met by throws of this azimuth [rad].

    Speed W (1 + gust n), direction even within `wind_turns` T either side: mean W sin(T) / T, and what is left of
    W^2 (1 + gust^2) is shared between both axes.
    """
    w, gust, steady = settings.wind_speed, settings.wind_gust, float(np.sinc(settings.wind_turns / np.pi))
    towards = settings.wind_from + np.pi - azimuth
    sd = w * np.sqrt(max(1 + gust**2 - steady**2, 0.0) / 2)
    return Wind(w * steady * float(np.cos(towards)), w * steady * float(np.sin(towards)), float(sd))


def wind_draws(azimuth: float, gust: Floats, turn: Floats, settings: ThrowSettings) -> tuple[Floats, Floats]:
    """Wind ahead and to the right of throws of one azimuth [rad], (k,) each. [m/s]

    Parameters
    ----------
    gust : (k,)     Standard normal.
    turn : (k,)     -1 .. 1, even: share of `wind_turns`.
    """
    speed = settings.wind_speed * (1 + settings.wind_gust * gust)
    known = settings.wind_turns < np.pi
    towards = (settings.wind_from + np.pi - azimuth if known else 0.0) + settings.wind_turns * turn
    return speed * np.cos(towards), speed * np.sin(towards)


def wind_turn(
    elevation: ArrayLike, speed: ArrayLike, settings: ThrowSettings, away: float | None = None
) -> WindTurn:
    """What the wind does to throws.

    Parameters
    ----------
    elevation, speed : (k,)     [rad], [m/s]
    away : float                Level distance to what is to be passed, held to `EARLIEST` .. `LATEST` of that of the
                                flight's top without drag; None: that top. [m]
    """
    e, v = (np.atleast_1d(np.asarray(q, float)) for q in (elevation, speed))
    top = v**2 * np.sin(2 * e) / (2 * G)
    at = top if away is None else np.clip(away, EARLIEST * top, LATEST * top)
    points, bag = at[:, None] * PLACES, bag_of(settings)
    strongest = max(settings.wind_speed, LEAST_WIND)
    push = 0.5 * settings.air_density * settings.line_drag * settings.line_width * strongest
    calm = np.zeros(len(e))
    still, _ = _passes(e, v, calm, calm, bag, push, points)
    w = np.full(len(e), strongest)
    for _ in range(HALVINGS):
        behind, against = (_passes(e, v, sense * w, calm, bag, push, points)[0] for sense in (1.0, -1.0))
        back = (against == NOT_PASSED).any(axis=1)
        if not back.any():
            break
        w = np.where(back, w / 2, w)
    beside, aside = _passes(e, v, calm, w, bag, push, points)
    by_e = (_passes(e + SMALL_TURN, v, calm, calm, bag, push, points)[0] - still) / SMALL_TURN
    by_v = (_passes(e, v * (1 + SMALL_SHARE), calm, calm, bag, push, points)[0] - still) / SMALL_SHARE
    wide = w[:, None]
    up, faster = _fitted(by_e, by_v, (behind - against) / (2 * wide))
    return WindTurn(
        aside[:, AT_LIMB] / w / at * np.cos(e),
        up,
        faster,
        _fitted(by_e, by_v, (behind + against - 2 * still) / (2 * wide**2)),
        _fitted(by_e, by_v, (beside - still) / wide**2),
    )


def _fitted(by_e: Floats, by_v: Floats, change: Floats) -> tuple[Floats, Floats]:
    """Change of elevation [rad] and of the speed [share] that fits a change of heights (k, p) [m] in the least squares, (k,) each."""
    ee, ev, vv = (by_e**2).sum(axis=1), (by_e * by_v).sum(axis=1), (by_v**2).sum(axis=1)
    ec, vc = (by_e * change).sum(axis=1), (by_v * change).sum(axis=1)
    det = ee * vv - ev**2
    return (ec * vv - vc * ev) / det, (vc * ee - ec * ev) / det


def mean_turn(turn: WindTurn, wind: Wind) -> AimError:
    """What the mean wind does to one throw (`turn` of one)."""
    side, up, faster = turn.of(np.array([wind.ahead]), np.array([wind.right]))
    return AimError(float(side[0]), float(up[0]), float(faster[0]))


@njit(cache=True, nogil=True)
def _rates(
    v: tuple[float, float, float], s: float, wind: tuple[float, float], bag: Bag, push: float
) -> tuple[float, float, float, float]:
    """Accelerations ahead, to the right and up [m/s2], and speed [m/s]."""
    ux, uy = v[0] - wind[0], v[1] - wind[1]
    u, fast = np.sqrt(ux * ux + uy * uy + v[2] * v[2]), np.sqrt(v[0] * v[0] + v[1] * v[1] + v[2] * v[2])
    m = bag.mass + bag.line * s
    b, pick_up, blow = bag.drag * u / m, bag.line * fast / m, 0.5 * push * s / m
    return (
        -b * ux - pick_up * v[0] + blow * wind[0],
        -b * uy - pick_up * v[1] + blow * wind[1],
        -b * v[2] - pick_up * v[2] - G,
        fast,
    )


@njit(cache=True, nogil=True)
def _passes(
    elevation: Floats, speed: Floats, ahead: Floats, right: Floats, bag: Bag, push: float, points: Floats
) -> tuple[Floats, Floats]:
    """Heights and drifts to the right (k, p) [m] of flights in wind, ahead and right (k,) each, where they pass level distances points (k, p), rising
    along p; `NOT_PASSED` high where they never do.

    Midpoint rule, steps of `STEP`; push [kg/(m s)]: force of a metre a second of wind on a metre of line.
    """
    z, y, h = np.full(points.shape, NOT_PASSED), np.zeros(points.shape), STEP
    for i in range(len(speed)):
        wind = (ahead[i], right[i])
        x0, y0, z0, s, p = 0.0, 0.0, 0.0, 0.0, 0
        v = (speed[i] * np.cos(elevation[i]), 0.0, speed[i] * np.sin(elevation[i]))
        for _ in range(MAX_STEPS):
            a = _rates(v, s, wind, bag, push)
            m = (v[0] + 0.5 * h * a[0], v[1] + 0.5 * h * a[1], v[2] + 0.5 * h * a[2])
            a = _rates(m, s + 0.5 * h * a[3], wind, bag, push)
            x1, y1, z1 = x0 + h * m[0], y0 + h * m[1], z0 + h * m[2]
            while p < points.shape[1] and x1 >= points[i, p]:
                f = (points[i, p] - x0) / (x1 - x0)
                y[i, p] = y0 + f * (y1 - y0)
                z[i, p] = z0 + f * (z1 - z0) + 0.5 * G * h * h * f * (1 - f)
                p += 1
            if p == points.shape[1]:
                break
            v = (v[0] + h * a[0], v[1] + h * a[1], v[2] + h * a[2])
            s += h * a[3]
            x0, y0, z0 = x1, y1, z1
    return z, y
