"""Which throws does the coarse sweep try, and how does each way of throwing scatter on them?"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from treescan.arrays import Flags, Floats, Floats32, Ints
from treescan.throw.ballistics.aim_scatter import OnGrid, cell_mass
from treescan.throw.ballistics.flight import flights
from treescan.throw.ballistics.wind import wind_about, wind_turn
from treescan.throw.scene.flight_scene import FlightScene, floor_of
from treescan.throw.settings import Method, ThrowSettings

AZIMUTH_CELLS = 240
"""Coarse azimuths of the full round (1.5 degrees)."""

ELEVATION_CELL = np.radians(2.0)
SPEED_CELL = 0.045
"""Coarse steps of elevation [rad] and speed [share]."""

SCATTER_REACH = 4.0
"""Cells within this many standard deviations of an aim count."""

ROUNDING = 1e-9


class Grid(NamedTuple):
    """The coarse grid of throws and the scatter of each method on it.

    azimuth_step : float            [rad]
    n_azimuth : int                 Cells of the full round.
    elevation (e,), speed (v,)      Centres. [rad], [m/s]
    height (e * v, PIECES + 1), step (e * v,)   Of `Flights`, elevation-major.
    scatter_of (methods,)           Which of the scatters below a method has.
    on_azimuth (scatters, e, 2 w + 1, v)    Chance of a cell -w .. w steps away from an aim of this elevation and speed,
    on_elevation, on_speed (scatters, 2 w + 1, v)   of this speed; w of its own for every axis.
    reach (scatters, e)             Steps of azimuth beyond which there is nothing.
    elevation_ok (methods, e), speed_ok (methods, v)        Aims within a method's limits.
    """

    azimuth_step: float
    n_azimuth: int
    elevation: Floats
    speed: Floats
    height: Floats
    step: Floats
    scatter_of: Ints
    on_azimuth: Floats32
    reach: Ints
    on_elevation: Floats32
    on_speed: Floats32
    elevation_ok: Flags
    speed_ok: Flags


def coarse_grid(scene: FlightScene, settings: ThrowSettings) -> Grid:
    """Flights and scatters for the coarse sweep, over the limits of all methods at hand."""
    methods = [settings.method(m) for m in settings.methods]
    low, high = min(m.elevation_low for m in methods), max(m.elevation_high for m in methods)
    elevation = np.linspace(low, high, max(2, round((high - low) / ELEVATION_CELL) + 1))
    slow, fast = min(m.speed_low for m in methods), max(m.speed_high for m in methods)
    speed = np.geomspace(slow, fast, max(2, round(np.log(fast / slow) / SPEED_CELL) + 1))
    ee, vv = np.meshgrid(elevation, speed, indexing="ij")
    table = flights(ee.ravel(), vv.ravel(), settings, floor_of(scene))
    steps = (2 * np.pi / AZIMUTH_CELLS, elevation[1] - elevation[0], speed[1] / speed[0])
    scatters = list({_scatter(m): m for m in methods}.values())
    on = [_on_grid(m, elevation, speed, steps, settings) for m in scatters]
    return Grid(
        azimuth_step=steps[0],
        n_azimuth=AZIMUTH_CELLS,
        elevation=elevation,
        speed=speed,
        height=table.height,
        step=table.step,
        scatter_of=np.array([[_scatter(s) for s in scatters].index(_scatter(m)) for m in methods]),
        on_azimuth=_as_wide([o.azimuth for o in on], axis=1),
        reach=np.array([o.reach for o in on]),
        on_elevation=_as_wide([o.elevation for o in on], axis=0),
        on_speed=_as_wide([o.speed for o in on], axis=0),
        elevation_ok=np.array([_within(elevation, m.elevation_low, m.elevation_high) for m in methods]),
        speed_ok=np.array([_within(speed, m.speed_low, m.speed_high) for m in methods]),
    )


def _scatter(method: Method) -> tuple[float, ...]:
    """All that the scatter of a method depends on."""
    fastest = method.speed_high if method.effort_growth > 0 else 0.0
    return method.side_sd, method.elevation_sd, method.speed_sd, method.effort_growth, fastest


def _on_grid(
    method: Method,
    elevation: Floats,
    speed: Floats,
    steps: tuple[float, float, float],
    settings: ThrowSettings,
) -> OnGrid:
    """Scatter of one method and the wind about every aim of the grid; `steps` of azimuth and elevation [rad], factor of the speed."""
    sd = np.array([method.spread_at(v) for v in speed])
    ee, vv = np.meshgrid(elevation, speed, indexing="ij")
    wind = wind_about(0.0, settings).sd
    blow = [wind * q.reshape(ee.shape) for q in wind_turn(ee.ravel(), vv.ravel(), settings)[:3]]
    side = np.hypot(sd[:, 0], blow[0]) / np.cos(ee)
    up_sd, fast_sd = (np.sqrt(sd[:, k] ** 2 + (blow[k] ** 2).mean(axis=0)) for k in (1, 2))
    half_round = AZIMUTH_CELLS // 2 - 1
    reach = np.minimum(np.ceil(SCATTER_REACH * side.max(axis=1) / steps[0]), half_round).astype(np.int64)
    round_about = steps[0] * _offsets(int(reach.max()))
    up = _offsets(int(np.ceil(SCATTER_REACH * up_sd.max() / steps[1])))
    fast = _offsets(int(np.ceil(SCATTER_REACH * fast_sd.max() / (steps[2] - 1))))
    across = np.array([[cell_mass([0.0], round_about, s)[0] for s in row] for row in side], np.float32)
    return OnGrid(
        np.moveaxis(across, 1, 2),
        reach,
        np.array([cell_mass([0.0], steps[1] * up, s)[0] for s in up_sd], np.float32).T,
        np.array([cell_mass([1.0], steps[2] ** fast, s)[0] for s in fast_sd], np.float32).T,
    )


def _offsets(w: int) -> Ints:
    """-w .. w"""
    return np.arange(-w, w + 1)


def _as_wide(arrays: list[Floats32], axis: int) -> Floats32:
    """Arrays put together, each filled up with zeros on both sides of an axis to the widest."""
    most = max(a.shape[axis] for a in arrays)
    wide = []
    for a in arrays:
        room = [(0, 0)] * a.ndim
        room[axis] = ((most - a.shape[axis]) // 2,) * 2
        wide.append(np.pad(a, room))
    return np.ascontiguousarray(wide, np.float32)


def _within(values: Floats, low: float, high: float) -> Flags:
    return (values >= low - ROUNDING) & (values <= high + ROUNDING)
