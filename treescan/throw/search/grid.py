"""Which throws does the coarse sweep try, and how does each way of throwing scatter on them?"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from treescan.arrays import Flags, Floats, Ints
from treescan.throw.ballistics.aim_scatter import cell_mass
from treescan.throw.ballistics.flight import flights
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
    on_azimuth, on_elevation, on_speed (scatters, 2 w + 1)   Chance of a cell -w .. w steps away from the aim, the same for every aim.
    elevation_ok (methods, e), speed_ok (methods, v)        Aims within a method's limits.
    """

    azimuth_step: float
    n_azimuth: int
    elevation: Floats
    speed: Floats
    height: Floats
    step: Floats
    scatter_of: Ints
    on_azimuth: Floats
    on_elevation: Floats
    on_speed: Floats
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
    scatters = sorted({_scatter(m) for m in methods})
    reach = max(
        SCATTER_REACH * max(s[0] / steps[0], s[1] / steps[1], s[2] / (steps[2] - 1)) for s in scatters
    )
    offsets = np.arange(-int(np.ceil(reach)), int(np.ceil(reach)) + 1)
    return Grid(
        azimuth_step=steps[0],
        n_azimuth=AZIMUTH_CELLS,
        elevation=elevation,
        speed=speed,
        height=table.height,
        step=table.step,
        scatter_of=np.array([scatters.index(_scatter(m)) for m in methods]),
        on_azimuth=np.array([cell_mass([0.0], steps[0] * offsets, s[0])[0] for s in scatters]),
        on_elevation=np.array([cell_mass([0.0], steps[1] * offsets, s[1])[0] for s in scatters]),
        on_speed=np.array([cell_mass([1.0], steps[2] ** offsets, s[2])[0] for s in scatters]),
        elevation_ok=np.array([_within(elevation, m.elevation_low, m.elevation_high) for m in methods]),
        speed_ok=np.array([_within(speed, m.speed_low, m.speed_high) for m in methods]),
    )


def _scatter(method: Method) -> tuple[float, float, float]:
    return method.azimuth_sd, method.elevation_sd, method.speed_sd


def _within(values: Floats, low: float, high: float) -> Flags:
    return (values >= low - ROUNDING) & (values <= high + ROUNDING)
