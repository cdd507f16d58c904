"""Which throw over one union is quickest, for each isolation class?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from treescan.arrays import Floats, Ints
from treescan.throw.ballistics.flight import flights
from treescan.throw.detail.landing import Grounds
from treescan.throw.detail.work_out import Chosen, work_out
from treescan.throw.scene.flight_scene import FlightScene, floor_of
from treescan.throw.search.grid import Grid
from treescan.throw.search.refine import Sample, best_nearby, fine_sample, representative
from treescan.throw.settings import Method, ThrowSettings
from treescan.throw.throw_path import Aim, Stances, Throw
from treescan.wood.graph import WoodGraph

WORTH_A_LOOK = 0.3
"""Places are worked out finely where their coarse chance is above this share of the least chance reported."""

ROUGHLY = 2.0
"""The coarse chance may be off: by it, places do nearly as well within this many times the share that counts."""

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
    lands : (e * v,)    How far away the grid's flights come down on level ground. [m]
    """

    graph: WoodGraph
    scene: FlightScene
    grounds: Grounds
    grid: Grid
    stances: Stances
    origin: Floats
    settings: ThrowSettings
    lands: Floats

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
_Tried = dict[tuple[int, ...], dict[int, tuple[float, Aim | None]]]


def best_throws(search: ThrowSearch, union: int, coarse: Coarse) -> tuple[dict[int, Throw], bool]:
    """Best throw of one union per class, and whether the wind let no aim be found for a flight that would have served it."""
    tried: _Tried = {}
    best: dict[int, Throw] = {}
    samples: dict[_Place, Sample] = {}
    for k in (1, 2, 3):
        options = _options(search, union, coarse, k, tried)
        throw = _quickest(search, union, k, options, samples)
        if throw is not None:
            best[k] = throw
    return best, any(aim is None for found in tried.values() for _, aim in found.values())


def _options(
    search: ThrowSearch,
    union: int,
    coarse: Coarse,
    isolation_class: int,
    tried: _Tried,
) -> list[_Found]:
    """The best aim of every promising method; `tried` remembers what was worked out for another class."""
    settings, k = search.settings, isolation_class
    options: list[_Found] = []
    for row in promising(coarse.chance[:, :, k - 1], settings):
        name, chance = settings.methods[row], coarse.chance[:, row, k - 1]
        for stance in _places(search, chance, coarse.aim[:, row, k - 1]):
            cell = coarse.aim[stance, row, k - 1]
            key = (row, int(stance), *(int(v) for v in cell))
            if key not in tried:
                feet, method = search.stances.xyz[stance], settings.method(name)
                tried[key] = best_nearby(
                    search.scene, feet, search.aim(stance, cell), method, union, search.cell, settings
                )
        here = [(key[1], *r[k]) for key, r in tried.items() if key[0] == row and k in r]
        near = [_Found(chance, stance, name, aim) for stance, chance, aim in here if aim is not None]
        if near:
            options.append(_as_a_crew_would(search, near))
    return options


def _places(search: ThrowSearch, chance: Floats, aim: NDArray[np.int16]) -> Ints:
    """Places to work out for one method and class: those of the best coarse chance (s,), and the best where the coarse aim (s, 3) is
    not steep and the bag comes down far from the thrower, if it does nearly as well.
    """
    settings, g = search.settings, search.grid
    order = np.argsort(-chance, kind="stable")
    order = order[chance[order] > WORTH_A_LOOK * settings.min_chance]
    cell = aim[:, 1].astype(int) * len(g.speed) + aim[:, 2]
    easy = (g.elevation[aim[:, 1]] <= settings.steep_aim) & (search.lands[cell] >= settings.near_thrower)
    near_best = chance >= (1 - ROUGHLY * settings.nearly_as_good) * chance.max(initial=0.0)
    others = [s for s in order[settings.candidates :] if easy[s] and near_best[s]]
    kept = order[: settings.candidates]
    return kept if easy[kept].any() else np.concatenate([kept, others[:1]]).astype(np.int64)


def _as_a_crew_would(search: ThrowSearch, found: list[_Found]) -> _Found:
    """Of aims within a tenth of the best chance one whose bag comes down away from the thrower, then one that is not steep, then the
    likeliest.
    """
    settings, best = search.settings, max(o.chance for o in found)
    nearly = [o for o in found if o.chance >= (1 - settings.nearly_as_good) * best]
    if len(nearly) == 1:
        return nearly[0]
    table = flights([o.aim.elevation for o in nearly], [o.aim.speed for o in nearly], settings, floor_of(search.scene))
    back = landing_distances(table.height, table.step, settings.release_height) < settings.near_thrower
    rank = [(bool(b), o.aim.elevation > settings.steep_aim, -o.chance, o.stance) for b, o in zip(back, nearly, strict=True)]
    return nearly[rank.index(min(rank))]


def landing_distances(height: Floats, step: Floats, release: float) -> Floats:
    """How far from the thrower flights (f, PIECES + 1) come down on level ground, (f,). [m]"""
    down = height < -release
    return step * np.where(down.any(axis=1), down.argmax(axis=1), height.shape[1] - 1)


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

    Throws whose bag comes down near the thrower, far beyond or with the line over other limbs count for less here, as in the sweep;
    the chance that is told counts them in full.
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
        seconds = min_seconds(samples[place].counted(isolation_class), limits)
        if best is not None and seconds >= best[0]:
            continue
        nominal = representative(samples[place], isolation_class)
        if nominal is None:
            continue
        chosen = Chosen(union, isolation_class, o.stance, o.method, o.aim, nominal, chance)
        throw = work_out(search.graph, search.scene, search.grounds, search.stances, chosen, settings)
        if throw is None:
            continue
        seconds += throw.workings * limits.seconds_working
        if best is None or seconds < best[0]:
            best = (seconds, throw)
    return best[1] if best else None


def min_seconds(chance: float, method: Method) -> float:
    """Set-up and the expected number of throws, 1 / chance, at the method's pace, without workings. [s]"""
    return method.seconds_setup + method.seconds_throw / chance if chance > 0 else float("inf")
