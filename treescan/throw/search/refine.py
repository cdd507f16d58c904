"""How good is one aim really? Fine integrals round the aims the coarse sweep found."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from treescan.arrays import Flags, Floats
from treescan.throw.ballistics.aim_scatter import cell_mass, spread_block
from treescan.throw.ballistics.flight import Flights, flights
from treescan.throw.ballistics.throws_about import (
    FLATTEST,
    SLOWEST,
    STEEPEST,
    carried,
    into_the_wind,
    spread_about,
    throws_about,
)
from treescan.throw.outcome.ends import HIT_WIRE
from treescan.throw.outcome.many_throws import Outcomes, Throws, table_throws, throw_many
from treescan.throw.scene.flight_scene import FlightScene, floor_of, how_far
from treescan.throw.settings import AimError, Method, ThrowSettings
from treescan.throw.throw_path import Aim

ELEVATION_NODE = np.radians(0.35)
"""Spacing of the flights between which a sample's flights are interpolated; 1 mm of sag. [rad]"""

SPEED_NODES = 10
"""Flights on the squared speed: without drag heights and distances are linear in it."""

REACH = 3.0
"""Throws within this many standard deviations of the aims searched are followed."""

STEPS_A_SD = 3.0
"""Steps of the search a standard deviation."""

STEPS_A_CELL = 2.0
"""Steps at least of half a search's width: a steep throw scatters over many limbs' breadths of azimuth."""

RARE = 0.1
"""A class that fewer of the serving throws than this share come out in is shown by a better one."""


@dataclass(frozen=True)
class Sample:
    """Throws spread about one aim, all equally likely.

    azimuth (a,) [rad]; elevation, speed (a, k) [rad], [m/s]; weight, isolation, near, worth (a, k) as from `throw_many`; the throw in their
    middle and their standard deviations.
    """

    azimuth: Floats
    elevation: Floats
    speed: Floats
    weight: Floats
    isolation: NDArray[np.int8]
    near: Flags
    worth: Floats
    middle: Aim
    spread: AimError

    def chance(self, worst_class: int) -> float:
        """Share that serves the union in this class or better."""
        return float(np.where(self._serves(worst_class), self.weight, 0.0).mean())

    def near_chance(self, worst_class: int) -> float:
        """Share that serves the union in this class or better with the bag coming down near the thrower."""
        return float(np.where(self._serves(worst_class) & self.near, self.weight, 0.0).mean())

    def counted(self, worst_class: int) -> float:
        """The same share as it counts where place and aim are chosen."""
        return float(np.where(self._serves(worst_class), self.weight * self.worth, 0.0).mean())

    def _serves(self, worst_class: int) -> Flags:
        return (self.isolation > 0) & (self.isolation <= worst_class)


def fine_sample(
    scene: FlightScene, feet: Floats, aim: Aim, method: Method, union: int, settings: ThrowSettings
) -> Sample:
    """Evenly spread throws about one aim in the wind (`throws_about`), and what becomes of them."""
    away, half = how_far(scene, feet, union), (settings.fine_planes + 1) // 2
    azimuth, elevation, speed = throws_about(aim, method, settings, away, half, settings.fine_flights)
    count = max(2, int(np.ceil(np.ptp(elevation) / ELEVATION_NODE)) + 1)
    nodes = np.linspace(elevation.min(), elevation.max(), count)
    squares = np.linspace(speed.min() ** 2, speed.max() ** 2, SPEED_NODES)
    aa, ww = np.meshgrid(nodes, squares, indexing="ij")
    table = flights(aa.ravel(), np.sqrt(ww.ravel()), settings, floor_of(scene))
    no_rows = np.zeros((0, 0), np.int32)
    throws = Throws(azimuth, table.height, table.step, no_rows, elevation, speed, nodes, squares)
    found = throw_many(scene, feet, throws, union)
    middle, spread = carried(aim, settings, away), spread_about(aim, method, settings, away)
    return Sample(azimuth, elevation, speed, found.weight, found.isolation, found.near, found.worth, middle, spread)


def representative(sample: Sample, isolation_class: int) -> Aim | None:
    """The throw of the sample nearest to its middle that comes out in this class; a better class where this one is rare.

    Returns None when no throw of the sample serves the union.
    """
    good = (sample.isolation > 0) & (sample.isolation <= isolation_class)
    exact = sample.isolation == isolation_class
    if exact.sum() >= RARE * good.sum():
        good = exact
    if not good.any():
        return None
    aim = sample.middle
    azimuth, elevation, speed = _scatter_at(sample.spread, aim)
    off = (
        ((sample.azimuth - aim.azimuth) / azimuth)[:, None] ** 2
        + ((sample.elevation - aim.elevation) / elevation) ** 2
        + ((sample.speed - aim.speed) / speed) ** 2
    )
    a, k = np.unravel_index(int(np.where(good, off, np.inf).argmin()), good.shape)
    return Aim(float(sample.azimuth[a]), float(sample.elevation[a, k]), float(sample.speed[a, k]))


@dataclass(frozen=True)
class _Axes:
    """One coarse cell laid out finely: centres of throws, and aims among them, for azimuth [rad], elevation [rad] and speed [m/s]."""

    throws: tuple[Floats, Floats, Floats]
    aims: tuple[Floats, Floats, Floats]

    @property
    def shape(self) -> tuple[int, int, int]:
        """Throws along each axis."""
        return len(self.throws[0]), len(self.throws[1]), len(self.throws[2])

    def mass(self, spread: AimError) -> tuple[Floats, Floats, Floats]:
        """Chance that a throw at each aim comes out at each centre, axis by axis; azimuth for each elevation of the aims."""
        return (
            np.array([cell_mass(self.aims[0], self.throws[0], spread.side / np.cos(e)) for e in self.aims[1]]),
            cell_mass(self.aims[1], self.throws[1], spread.elevation),
            cell_mass(self.aims[2], self.throws[2], spread.speed * self.aims[2]),
        )


def _scatter_at(spread: AimError, aim: Aim) -> tuple[float, float, float]:
    """Standard deviations of azimuth and elevation [rad] and speed [m/s] of throws at an aim."""
    return spread.side / float(np.cos(aim.elevation)), spread.elevation, spread.speed * aim.speed


def _axes(aim: Aim, method: Method, spread: AimError, cell: tuple[float, float, float]) -> _Axes:
    """Throws and aims round one aim, within the limits of the method; `cell` as in `best_nearby`."""
    width = (cell[0], cell[1], cell[2] * aim.speed)
    throws: list[Floats] = []
    aims: list[Floats] = []
    for c, s, w in zip(
        (aim.azimuth, aim.elevation, aim.speed), _scatter_at(spread, aim), width, strict=True
    ):
        h = min(s / STEPS_A_SD, w / STEPS_A_CELL)
        n = int(np.ceil((w + REACH * s) / h))
        throws.append(np.asarray(c + h * np.arange(-n, n + 1), np.float64))
        k = int(np.floor(w / h))
        aims.append(np.asarray(c + h * np.arange(-k, k + 1), np.float64))
    azimuth, elevation, speed = throws
    elevation = elevation[(elevation > FLATTEST) & (elevation < STEEPEST)]
    return _Axes(
        (azimuth, elevation, speed[speed > SLOWEST]),
        (
            aims[0],
            aims[1][(aims[1] >= method.elevation_low - 1e-9) & (aims[1] <= method.elevation_high + 1e-9)],
            aims[2][(aims[2] >= method.speed_low - 1e-9) & (aims[2] <= method.speed_high + 1e-9)],
        ),
    )


def _within(method: Method, aim: Aim) -> Aim:
    """An aim brought within the limits of a method."""
    elevation = min(max(aim.elevation, method.elevation_low), method.elevation_high)
    return Aim(aim.azimuth, elevation, min(max(aim.speed, method.speed_low), method.speed_high))


def _throw_all(
    scene: FlightScene, feet: Floats, axes: _Axes, union: int, settings: ThrowSettings
) -> Outcomes:
    """Every throw of the axes at one union."""
    ee, vv = np.meshgrid(axes.throws[1], axes.throws[2], indexing="ij")
    table: Flights = flights(ee.ravel(), vv.ravel(), settings, floor_of(scene))
    rows = np.tile(np.arange(len(table), dtype=np.int32), (len(axes.throws[0]), 1))
    return throw_many(scene, feet, table_throws(axes.throws[0], table.height, table.step, rows), union)


def best_nearby(
    scene: FlightScene,
    feet: Floats,
    aim: Aim,
    method: Method,
    union: int,
    cell: tuple[float, float, float],
    settings: ThrowSettings,
) -> dict[int, tuple[float, Aim | None]]:
    """The best aim within one coarse cell of `aim`, for class <= 1, 2 and 3.

    Parameters
    ----------
    cell : (3,)     Half-widths of the search: azimuth [rad], elevation [rad], share of the speed.

    Returns
    -------
    mapping         Class to (chance, aim), throws whose bag comes down near the thrower counting for less; missing where the chance is nil.
                    The aim is None where the wind lets none be found.
    """
    away = how_far(scene, feet, union)
    spread = spread_about(aim, method, settings, away)
    axes = _axes(aim, method, spread, cell)
    if not all(len(a) for a in axes.aims):
        return {}
    found = _throw_all(scene, feet, axes, union, settings)
    shape, mass = axes.shape, axes.mass(spread)
    weight = found.worth * found.weight
    hits = found.end == HIT_WIRE
    wire = spread_block(hits.astype(float).reshape(shape), *mass) if np.any(hits) else None
    out: dict[int, tuple[float, Aim | None]] = {}
    for k in (1, 2, 3):
        block = np.where((found.isolation > 0) & (found.isolation <= k), weight, 0.0).reshape(shape)
        if not block.any():
            continue
        chance = spread_block(block, *mass)
        if wire is not None:
            chance = np.where(wire <= settings.wire_chance, chance, 0.0)
        best = np.unravel_index(int(chance.argmax()), chance.shape)
        if chance[best] > 0:
            windward = into_the_wind(Aim(*(float(axes.aims[axis][at]) for axis, at in enumerate(best))), settings, away)
            out[k] = (float(chance[best]), _within(method, windward) if windward is not None else None)
    return out
