"""Which throws come out about one aim, and how far do they scatter?"""

from __future__ import annotations

import numpy as np

from treescan.arrays import Floats
from treescan.throw.ballistics.aim_scatter import even_draws, turned
from treescan.throw.ballistics.wind import mean_turn, wind_about, wind_draws, wind_turn
from treescan.throw.settings import AimError, Method, ThrowSettings
from treescan.throw.throw_path import Aim

FLATTEST, STEEPEST, SLOWEST = 0.02, float(np.pi / 2 - 0.005), 0.5
"""No throw goes flatter or steeper [rad] or slower [m/s]."""


def throws_about(
    aim: Aim, method: Method, settings: ThrowSettings, away: float, half: int, each: int
) -> tuple[Floats, Floats, Floats]:
    """Equally likely throws about one aim, as the still-air flights that pass where they pass (`wind`).

    Turns of the flight to the side and up, alike at every steepness, speeds, gusts and wind directions, from an even
    sequence; sorted by azimuth, `each` neighbours in one plane. Every throw has its mirror image, in mirrored wind.

    Parameters
    ----------
    away : float        Level distance to the wanted limb. [m]
    half, each : int    Half the planes; throws in each.

    Returns
    -------
    azimuth (2 half,) [rad]; elevation [rad] and speed [m/s], (2 half, each)
    """
    sd, (normal, even) = method.spread_at(aim.speed), even_draws(half * each)
    side, up, fast, gust = (np.tile(q, 2) for q in normal.T)
    mirror = np.repeat([1.0, -1.0], half * each)
    blow = wind_turn(aim.elevation, aim.speed, settings, away)
    aside, higher, faster = blow.of(*wind_draws(aim.azimuth, gust, mirror * np.tile(even, 2), settings))
    turn, elevation = turned(aim.elevation, sd.elevation * up + higher, mirror * sd.side * side + aside)
    speed = aim.speed * (1 + sd.speed * fast) * (1 + faster)
    order = np.argsort(turn, kind="stable")
    turn, elevation, speed = (q[order].reshape(2 * half, each) for q in (turn, elevation, speed))
    return (
        aim.azimuth + turn.mean(axis=1),
        np.clip(elevation, FLATTEST, STEEPEST),
        np.maximum(speed, SLOWEST),
    )


def spread_about(aim: Aim, method: Method, settings: ThrowSettings, away: float) -> AimError:
    """Standard deviations of the throws of one aim, the thrower's and the wind's together; `away` as in `throws_about`."""
    sd, wind = method.spread_at(aim.speed), wind_about(aim.azimuth, settings).sd
    blow = wind_turn(aim.elevation, aim.speed, settings, away)
    side, up, fast = (float(np.hypot(s, wind * b[0])) for s, b in zip(sd, blow[:3], strict=True))
    return AimError(side, up, fast)


INVERSIONS = 6
"""Steps in which an aim for a given flight in wind is found; each error is a small share of the one before."""

LEFT_OVER = 2e-3
"""An aim is found where it is carried within this of the flight: angles [rad], share of the speed."""

MOST_CARRIED = AimError(np.radians(9.0), np.radians(5.0), 0.08)
"""Beyond such a turn of azimuth or elevation [rad] or change of speed [share] by the mean wind the second order is not good enough: what is
left out reaches half the scatter of a hand."""


def carried(aim: Aim, settings: ThrowSettings, away: float) -> Aim:
    """The aim whose still-air flight is that of `aim` in the mean wind."""
    off = _carry(aim, settings, away)
    return Aim(aim.azimuth + off[0], aim.elevation + off[1], aim.speed * off[2])


def into_the_wind(still: Aim, settings: ThrowSettings, away: float) -> Aim | None:
    """The aim to take for a still-air flight: undoes `carried`. None where no aim is found in this wind."""
    aim = still
    if settings.wind_turns >= np.pi:
        return aim
    for _ in range(INVERSIONS):
        side, up, faster = _carry(aim, settings, away)
        if max(abs(side) / MOST_CARRIED.side, abs(up) / MOST_CARRIED.elevation, abs(faster - 1) / MOST_CARRIED.speed) > 1:
            return None
        elevation = min(max(still.elevation - up, FLATTEST), STEEPEST)
        aim = Aim(still.azimuth - side, elevation, still.speed / faster)
    there = carried(aim, settings, away)
    off = there.azimuth - still.azimuth, there.elevation - still.elevation, there.speed / still.speed - 1
    return aim if max(abs(q) for q in off) <= LEFT_OVER else None


def _carry(aim: Aim, settings: ThrowSettings, away: float) -> tuple[float, float, float]:
    """What the mean wind adds to azimuth and elevation [rad], and by what it multiplies the speed."""
    turn, wind = wind_turn(aim.elevation, aim.speed, settings, away), wind_about(aim.azimuth, settings)
    if settings.wind_turns >= np.pi:
        return 0.0, 0.0, 1.0
    off = mean_turn(turn, wind)
    return off.side / float(np.cos(aim.elevation)), off.elevation, 1 + off.speed
