"""From where, how and with what chance can a line be set over each union? The whole tree at once.

1. A coarse sweep throws everything from everywhere (`sweep`): flights are the same from every place, so they are tabulated once.
2. The best places of each union, class and method are worked out finely (`refine`), and their chance is integrated anew.
3. The best of each is followed in full and put into words (`detail`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from treescan.progress import Progress, quiet
from treescan.throw.blocked import why_blocked
from treescan.throw.detail import work_out
from treescan.throw.flight import flights
from treescan.throw.refine import Aim, best_nearby, fine_sample, floor_of
from treescan.throw.scene import Scene, build_scene
from treescan.throw.settings import Method, ThrowSettings
from treescan.throw.spread import cell_mass
from treescan.throw.stances import crown_heading
from treescan.throw.sweep import Grid, sweep
from treescan.throw.throw_path import Stances, Throw, ThrowTable
from treescan.trees.beside import Beside, Site
from treescan.wood.graph import WoodGraph

Floats = NDArray[np.float64]

AZIMUTH_CELLS = 240
"""Coarse azimuths of the full round (1.5 degrees)."""

ELEVATION_CELL = np.radians(2.0)
SPEED_CELL = 0.045
"""Coarse steps of elevation [rad] and speed [share]."""

CHUNK = 32
"""Standing places between two progress reports."""


def coarse_grid(scene: Scene, settings: ThrowSettings) -> Grid:
    """Flights and spreads for the coarse sweep, over the limits of all methods at hand."""
    methods = [settings.method(m) for m in settings.methods]
    low, high = min(m.elevation_low for m in methods), max(m.elevation_high for m in methods)
    elevation = np.linspace(low, high, max(2, round((high - low) / ELEVATION_CELL) + 1))
    slow, fast = min(m.speed_low for m in methods), max(m.speed_high for m in methods)
    speed = np.geomspace(slow, fast, max(2, round(np.log(fast / slow) / SPEED_CELL) + 1))
    ee, vv = np.meshgrid(elevation, speed, indexing="ij")
    table = flights(ee.ravel(), vv.ravel(), settings, floor_of(scene))
    step = 2 * np.pi / AZIMUTH_CELLS
    around = step * np.arange(-8, 9)
    return Grid(
        step,
        AZIMUTH_CELLS,
        elevation,
        speed,
        table.height,
        table.step,
        np.array([cell_mass([0.0], around, m.azimuth_sd)[0, 8:] for m in methods]),
        np.array([_allowed(elevation, m.elevation_low, m.elevation_high) * cell_mass(elevation, elevation, m.elevation_sd) for m in methods]),
        np.array([_allowed(speed, m.speed_low, m.speed_high) * cell_mass(speed, speed, m.speed_sd * speed) for m in methods]),
    )


def _allowed(aims: Floats, low: float, high: float) -> Floats:
    """Column of ones where an aim is within a method's limits."""
    return ((aims >= low - 1e-9) & (aims <= high + 1e-9)).astype(float)[:, None]


@dataclass(frozen=True)
class _Found:
    """A finely worked aim: chance, place, method, aim."""

    chance: float
    stance: int
    method: str
    aim: Aim


def search_throws(graph: WoodGraph, beside: Beside, site: Site, stances: Stances, settings: ThrowSettings, progress: Progress = quiet) -> ThrowTable:
    """The best throw for every union and isolation class, and the chance from every standing place.

    Parameters
    ----------
    stances : Stances       Of `standing_places`.

    Returns
    -------
    ThrowTable      Empty arrays where there is no union or no place to stand.
    """
    m, s = len(graph.unions), len(stances)
    if m == 0 or s == 0:
        return ThrowTable(stances, {}, np.zeros((m, s, 3), np.float32), ("no place to stand and throw from",) * m)
    scene, _ = build_scene(graph, beside, site, settings)
    grid = coarse_grid(scene, settings)
    origin = _origins(graph, stances)
    chance, aim = _sweep_all(scene, grid, stances.xyz, origin, m, settings, progress)
    best: dict[tuple[int, int], Throw] = {}
    blocked = []
    for u in range(m):
        progress("throws", 0.5 + 0.5 * u / m)
        for k, throw in _best_throws(graph, scene, grid, stances, origin, u, chance[:, u], aim[:, u], settings).items():
            best[u, k] = throw
        blocked.append("" if (u, 3) in best else why_blocked(graph, scene, grid, stances, u, settings))
    progress("throws", 1.0)
    table = np.ascontiguousarray(chance.max(axis=2).transpose(1, 0, 2), np.float32)
    return ThrowTable(stances, best, np.minimum(table, 1.0), tuple(blocked))


def _origins(graph: WoodGraph, stances: Stances) -> Floats:
    """Azimuth of the first coarse cell of each place: towards the stem, so that a turned tree gets the same cells."""
    d = graph.xyz[0, :2] - stances.xyz[:, :2]
    return np.where(np.hypot(*d.T) > 1e-9, np.arctan2(d[:, 0], d[:, 1]), crown_heading(graph))


def _sweep_all(
    scene: Scene, grid: Grid, feet: Floats, origin: Floats, unions: int, settings: ThrowSettings, progress: Progress
) -> tuple[Floats, NDArray[np.int16]]:
    chances, aims = [], []
    for first in range(0, len(feet), CHUNK):
        part = slice(first, first + CHUNK)
        c, a, _ = sweep(scene, grid, np.ascontiguousarray(feet[part]), origin[part], settings.wire_chance, unions)
        chances.append(c)
        aims.append(a)
        progress("throws", 0.5 * min(first + CHUNK, len(feet)) / len(feet))
    return np.concatenate(chances), np.concatenate(aims)


def _best_throws(
    graph: WoodGraph, scene: Scene, grid: Grid, stances: Stances, origin: Floats, union: int, chance: Floats, aim: NDArray[np.int16], settings: ThrowSettings
) -> dict[int, Throw]:
    """Best throw of one union per class; chance (s, methods, 3), aim (s, methods, 3, 3) of the coarse sweep."""
    found: dict[int, list[_Found]] = {1: [], 2: [], 3: []}
    for row, name in enumerate(settings.methods):
        method = settings.method(name)
        tried: dict[tuple[int, ...], dict[int, tuple[float, Aim]]] = {}
        for k in (1, 2, 3):
            order = np.argsort(-chance[:, row, k - 1], kind="stable")[: settings.candidates]
            for stance in order[chance[order, row, k - 1] > 0.3 * settings.least_chance]:
                cell = tuple(int(v) for v in aim[stance, row, k - 1])
                key = (int(stance), *cell)
                if key not in tried:
                    start = Aim(float(origin[stance] + cell[0] * grid.azimuth_step), float(grid.elevation[cell[1]]), float(grid.speed[cell[2]]))
                    half = (grid.azimuth_step, float(ELEVATION_CELL), SPEED_CELL)
                    tried[key] = best_nearby(scene, stances.xyz[stance], start, method, union, half, settings)
        for k in (1, 2, 3):
            options = [_Found(r[k][0], key[0], name, r[k][1]) for key, r in tried.items() if k in r]
            if options:
                found[k].append(max(options, key=lambda o: (o.chance, -o.stance)))
    return {k: throw for k in (1, 2, 3) if (throw := _quickest(graph, scene, stances, union, k, found[k], settings)) is not None}


def _quickest(graph: WoodGraph, scene: Scene, stances: Stances, union: int, isolation_class: int, options: list[_Found], settings: ThrowSettings) -> Throw | None:
    """The option with the least expected time, its chance integrated finely; None below the least chance reported."""
    best: tuple[float, Throw] | None = None
    for o in options:
        sample = fine_sample(scene, stances.xyz[o.stance], o.aim, settings.method(o.method), union, settings)
        chance = sample.chance(isolation_class)
        if chance < settings.least_chance:
            continue
        seconds = expected_seconds(chance, settings.method(o.method))
        if best is not None and seconds >= best[0]:
            continue
        throw = work_out(graph, scene, stances, o.stance, union, isolation_class, o.method, o.aim, chance, sample, settings)
        if throw is not None:
            best = (seconds, throw)
    return best[1] if best else None


def expected_seconds(chance: float, method: Method) -> float:
    """Set-up and the expected number of throws, 1 / chance, at the method's pace. [s]"""
    return method.seconds_setup + method.seconds_throw / chance
