"""How good is one aim really? Fine integrals round the aims the coarse sweep found."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from treescan.throw.ballistics.aim_scatter import cell_mass, normal_nodes, normal_pairs, spread_block
from treescan.throw.ballistics.flight import flights
from treescan.throw.outcome.outcome import HIT_WIRE
from treescan.throw.scene.flight_scene import Scene
from treescan.throw.search.sweep import throw_many, throw_spread
from treescan.throw.settings import Method, ThrowSettings

Floats = NDArray[np.float64]

ELEVATION_NODE = np.radians(0.35)
"""Spacing of the flights between which a sample's flights are interpolated; 1 mm of sag. [rad]"""

SPEED_NODES = 10
"""Flights on the squared speed: without drag heights and distances are linear in it."""


@dataclass(frozen=True)
class Aim:
    """Where and how one aims: azimuth clockwise from north [rad], elevation [rad], speed [m/s]."""

    azimuth: float
    elevation: float
    speed: float


@dataclass(frozen=True)
class Sample:
    """Throws spread about one aim, all equally likely.

    azimuth (a,) [rad]; elevation, speed (a, k) [rad], [m/s]; weight, isolation, end, near (a, k) as from `throw_spread`.
    """

    azimuth: Floats
    elevation: Floats
    speed: Floats
    weight: Floats
    isolation: NDArray[np.int8]
    end: NDArray[np.int8]
    near: NDArray[np.bool_]

    def chance(self, worst_class: int) -> float:
        """Share that serves the union in this class or better."""
        return float(np.where(self._serves(worst_class), self.weight, 0.0).mean())

    def near_chance(self, worst_class: int) -> float:
        """Share that serves the union in this class or better with the bag coming down near the thrower."""
        return float(np.where(self._serves(worst_class) & self.near, self.weight, 0.0).mean())

    def _serves(self, worst_class: int) -> NDArray[np.bool_]:
        return (self.isolation > 0) & (self.isolation <= worst_class)


def floor_of(scene: Scene) -> float:
    """How far below a release flights are followed: down to the lowest ground. [m]"""
    return -(float(np.ptp(scene.ground)) + scene.release + 2.0)


def fine_sample(scene: Scene, feet: Floats, aim: Aim, method: Method, union: int, settings: ThrowSettings) -> Sample:
    """Evenly spread throws about one aim.

    Azimuths at the mid-quantiles; in each plane the next few points of an even sequence of elevations and speeds, so that the
    whole set is even in all three. Right of the aim the points are those left of it, so that a mirrored tree gets the same chance.
    """
    planes, each = settings.fine_planes, settings.fine_flights
    azimuth = aim.azimuth + method.azimuth_sd * normal_nodes(planes)
    left = normal_pairs((planes + 1) // 2 * each).reshape(-1, each, 2)
    pairs = np.concatenate([left, left[: planes // 2][::-1]])
    elevation = np.clip(aim.elevation + method.elevation_sd * pairs[..., 0], 0.02, np.pi / 2 - 0.005)
    speed = np.maximum(aim.speed * (1 + method.speed_sd * pairs[..., 1]), 0.5)
    count = max(2, int(np.ceil(np.ptp(elevation) / ELEVATION_NODE)) + 1)
    nodes = np.linspace(elevation.min(), elevation.max(), count)
    squares = np.linspace(speed.min() ** 2, speed.max() ** 2, SPEED_NODES)
    aa, ww = np.meshgrid(nodes, squares, indexing="ij")
    table = flights(aa.ravel(), np.sqrt(ww.ravel()), settings, floor_of(scene))
    weight, isolation, end, near = throw_spread(scene, feet, azimuth, elevation, speed, nodes, squares, table.height, table.step, union)
    return Sample(azimuth, elevation, speed, weight, isolation, end, near)


def best_nearby(
    scene: Scene, feet: Floats, aim: Aim, method: Method, union: int, cell: tuple[float, float, float], settings: ThrowSettings
) -> dict[int, tuple[float, Aim]]:
    """The best aim within one coarse cell of `aim`, for class <= 1, 2 and 3.

    Parameters
    ----------
    cell : (3,)     Half-widths of the search: azimuth [rad], elevation [rad], share of the speed.

    Returns
    -------
    mapping         Class to (chance, aim), throws whose bag comes down near the thrower counting for less; missing where the chance is nil.
    """
    sd = (method.azimuth_sd, method.elevation_sd, method.speed_sd * aim.speed)
    width = (cell[0], cell[1], cell[2] * aim.speed)
    middle = (aim.azimuth, aim.elevation, aim.speed)
    axes, aims = [], []
    for c, s, w in zip(middle, sd, width, strict=True):
        h = s / 2
        n = int(np.ceil((w + 3 * s) / h))
        axes.append(c + h * np.arange(-n, n + 1))
        k = int(np.floor(w / h))
        aims.append(c + h * np.arange(-k, k + 1))
    axes[1] = axes[1][(axes[1] > 0.02) & (axes[1] < np.pi / 2 - 0.005)]
    axes[2] = axes[2][axes[2] > 0.5]
    aims[1] = aims[1][(aims[1] >= method.elevation_low - 1e-9) & (aims[1] <= method.elevation_high + 1e-9)]
    aims[2] = aims[2][(aims[2] >= method.speed_low - 1e-9) & (aims[2] <= method.speed_high + 1e-9)]
    if not all(len(a) for a in aims):
        return {}
    ee, vv = np.meshgrid(axes[1], axes[2], indexing="ij")
    table = flights(ee.ravel(), vv.ravel(), settings, floor_of(scene))
    flight = np.tile(np.arange(len(table), dtype=np.int32), (len(axes[0]), 1))
    weight, isolation, end, near = throw_many(scene, feet, np.asarray(axes[0], np.float64), table.height, table.step, flight, union)
    shape = (len(axes[0]), len(axes[1]), len(axes[2]))
    mass = (cell_mass(aims[0], axes[0], sd[0]), cell_mass(aims[1], axes[1], sd[1]), cell_mass(aims[2], axes[2], method.speed_sd * aims[2]))
    weight = np.where(near, settings.near_worth, 1.0) * weight
    wire = spread_block((end == HIT_WIRE).astype(float).reshape(shape), *mass) if np.any(end == HIT_WIRE) else None
    out: dict[int, tuple[float, Aim]] = {}
    for k in (1, 2, 3):
        block = np.where((isolation > 0) & (isolation <= k), weight, 0.0).reshape(shape)
        if not block.any():
            continue
        chance = spread_block(block, *mass)
        if wire is not None:
            chance = np.where(wire <= settings.wire_chance, chance, 0.0)
        best = np.unravel_index(int(chance.argmax()), chance.shape)
        if chance[best] > 0:
            out[k] = (float(chance[best]), Aim(*(float(aims[axis][at]) for axis, at in enumerate(best))))
    return out
