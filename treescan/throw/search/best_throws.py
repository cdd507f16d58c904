"""Which throw over one union is quickest, for each isolation class?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from treescan.arrays import Floats
from treescan.throw.detail.work_out import Chosen, work_out
from treescan.throw.scene.flight_scene import FlightScene
from treescan.throw.search.grid import Grid
from treescan.throw.search.refine import Sample, best_nearby, fine_sample, representative
from treescan.throw.settings import Method, ThrowSettings
from treescan.throw.throw_path import Aim, Stances, Throw
from treescan.wood.graph import WoodGraph

WORTH_A_LOOK = 0.3
"""Places are worked out finely where their coarse chance is above this share of the least chance reported."""

NOT_MUCH_SLOWER = 1.5
"""Ways of throwing within this many times the least expected time are worked out."""


class Coarse(NamedTuple):
    """What the sweep found for one union: best chance (s, methods, 3), and the cell of its aim (s, methods, 3, 3)."""

    chance: Floats
    aim: NDArray[np.int16]


@dataclass(frozen=True)
class ThrowSearch:
    """What every throw of one tree is searched among.

    origin : (s,)       Azimuth of the grid's cell 0 from each place. [rad]
    """

    graph: WoodGraph
    scene: FlightScene
    grid: Grid
    stances: Stances
    origin: Floats
    settings: ThrowSettings

    @property
    def cell(self) -> tuple[float, float, float]:
        """One cell of the grid: azimuth [rad], elevation [rad], share of the speed."""
        g = self.grid
        return g.azimuth_step, float(g.elevation[1] - g.elevation[0]), float(g.speed[1] / g.speed[0] - 1)

    def aim(self, stance: int, cell: NDArray[np.int16]) -> Aim:
        """The aim of a cell (azimuth, elevation, speed) of the grid from one place."""
        g = self.grid
        return Aim(
            float(self.origin[stance] + cell[0] * g.azimuth_step),
            float(g.elevation[cell[1]]),
            float(g.speed[cell[2]]),
        )


@dataclass(frozen=True)
class _Found:
    """A finely worked aim."""

    chance: float
    stance: int
    method: str
    aim: Aim


_Place = tuple[int, str, Aim]


def best_throws(search: ThrowSearch, union: int, coarse: Coarse) -> dict[int, Throw]:
    """Best throw of one union per class."""
    tried: dict[tuple[int, ...], dict[int, tuple[float, Aim]]] = {}
    best: dict[int, Throw] = {}
    samples: dict[_Place, Sample] = {}
    for k in (1, 2, 3):
        options = _options(search, union, coarse, k, tried)
        throw = _quickest(search, union, k, options, samples)
        if throw is not None:
            best[k] = throw
    return best


def _options(
    search: ThrowSearch,
    union: int,
    coarse: Coarse,
    isolation_class: int,
    tried: dict[tuple[int, ...], dict[int, tuple[float, Aim]]],
) -> list[_Found]:
    """The best aim of every promising method; `tried` remembers what was worked out for another class."""
    settings, k = search.settings, isolation_class
    options: list[_Found] = []
    for row in promising(coarse.chance[:, :, k - 1], settings):
        name, chance = settings.methods[row], coarse.chance[:, row, k - 1]
        order = np.argsort(-chance, kind="stable")[: settings.candidates]
        for stance in order[chance[order] > WORTH_A_LOOK * settings.min_chance]:
            cell = coarse.aim[stance, row, k - 1]
            key = (row, int(stance), *(int(v) for v in cell))
            if key not in tried:
                feet, method = search.stances.xyz[stance], settings.method(name)
                tried[key] = best_nearby(
                    search.scene, feet, search.aim(stance, cell), method, union, search.cell, settings
                )
        near = [
            _Found(r[k][0], key[1], name, r[k][1]) for key, r in tried.items() if key[0] == row and k in r
        ]
        if near:
            options.append(max(near, key=lambda o: (o.chance, -o.stance)))
    return options


def promising(chance: Floats, settings: ThrowSettings) -> list[int]:
    """Methods worth working out: those whose expected time by the coarse chance (s, methods) comes within half again of the least."""
    seconds = [
        min_seconds(float(c), settings.method(m))
        for c, m in zip(chance.max(axis=0), settings.methods, strict=True)
    ]
    return [row for row, t in enumerate(seconds) if t <= NOT_MUCH_SLOWER * min(seconds) and np.isfinite(t)]


def _quickest(
    search: ThrowSearch,
    union: int,
    isolation_class: int,
    options: list[_Found],
    samples: dict[_Place, Sample],
) -> Throw | None:
    """The option with the least expected time, its chance integrated finely; None below the least chance reported.

    Throws whose bag comes down near the thrower count for less here, as in the sweep; the chance that is told counts them in full.
    """
    best: tuple[float, Throw] | None = None
    settings = search.settings
    for o in options:
        place, limits = (o.stance, o.method, o.aim), settings.method(o.method)
        if place not in samples:
            samples[place] = fine_sample(
                search.scene, search.stances.xyz[o.stance], o.aim, limits, union, settings
            )
        chance = samples[place].chance(isolation_class)
        if chance < settings.min_chance:
            continue
        counted = chance - (1 - settings.near_worth) * samples[place].near_chance(isolation_class)
        seconds = min_seconds(counted, limits)
        if best is not None and seconds >= best[0]:
            continue
        nominal = representative(samples[place], o.aim, limits, isolation_class)
        if nominal is None:
            continue
        chosen = Chosen(union, isolation_class, o.stance, o.method, o.aim, nominal, chance)
        throw = work_out(search.graph, search.scene, search.stances, chosen, settings)
        if throw is None:
            continue
        seconds += throw.workings * limits.seconds_working
        if best is None or seconds < best[0]:
            best = (seconds, throw)
    return best[1] if best else None


def min_seconds(chance: float, method: Method) -> float:
    """Set-up and the expected number of throws, 1 / chance, at the method's pace, without workings. [s]"""
    return method.seconds_setup + method.seconds_throw / chance if chance > 0 else float("inf")
