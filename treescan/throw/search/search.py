"""From where, how and with what chance can a line be set over each union? The whole tree at once.

1. A coarse sweep throws everything from everywhere (`sweep`): flights are the same from every place, so they are tabulated once.
2. The best places of each union, class and method are worked out finely (`refine`), and their chance is integrated anew.
3. The best of each is followed in full and put into words (`detail`).
"""

from __future__ import annotations

import os
from collections.abc import Collection
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from treescan.progress import Progress, quiet
from treescan.throw.ballistics.aim_scatter import cell_mass
from treescan.throw.ballistics.flight import flights
from treescan.throw.scene.flight_scene import Scene, build_scene
from treescan.throw.scene.stances import crown_heading
from treescan.throw.search.blocked import why_blocked
from treescan.throw.search.detail import work_out
from treescan.throw.search.refine import Aim, Sample, best_nearby, fine_sample, floor_of
from treescan.throw.search.sweep import Grid, sweep
from treescan.throw.settings import Method, ThrowSettings
from treescan.throw.throw_path import Stances, Throw, ThrowTable
from treescan.trees.beside import Beside, Site
from treescan.wood.graph import WoodGraph

Floats = NDArray[np.float64]

AZIMUTH_CELLS = 240
"""Coarse azimuths of the full round (1.5 degrees)."""

ELEVATION_CELL = np.radians(2.0)
SPEED_CELL = 0.045
"""Coarse steps of elevation [rad] and speed [share]."""


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
    spreads = sorted({(m.azimuth_sd, m.elevation_sd, m.speed_sd) for m in methods})
    w = int(np.ceil(max(4 * max(s[0] / step, s[1] / (elevation[1] - elevation[0]), s[2] / (speed[1] / speed[0] - 1)) for s in spreads)))
    offsets = np.arange(-w, w + 1)
    return Grid(
        step,
        AZIMUTH_CELLS,
        elevation,
        speed,
        table.height,
        table.step,
        np.array([spreads.index((m.azimuth_sd, m.elevation_sd, m.speed_sd)) for m in methods]),
        np.array([cell_mass([0.0], step * offsets, s[0])[0] for s in spreads]),
        np.array([cell_mass([0.0], (elevation[1] - elevation[0]) * offsets, s[1])[0] for s in spreads]),
        np.array([cell_mass([1.0], (speed[1] / speed[0]) ** offsets, s[2])[0] for s in spreads]),
        np.array([(elevation >= m.elevation_low - 1e-9) & (elevation <= m.elevation_high + 1e-9) for m in methods]),
        np.array([(speed >= m.speed_low - 1e-9) & (speed <= m.speed_high + 1e-9) for m in methods]),
    )


NOT_WANTED = "no line was looked for: not a candidate"
"""Why a union has no throw that was not asked for."""

_Place = tuple[int, str, Aim]


@dataclass(frozen=True)
class _Found:
    """A finely worked aim: chance, place, method, aim."""

    chance: float
    stance: int
    method: str
    aim: Aim


def search_throws(
    graph: WoodGraph,
    beside: Beside,
    site: Site,
    stances: Stances,
    settings: ThrowSettings,
    progress: Progress = quiet,
    wanted: Collection[int] | None = None,
) -> ThrowTable:
    """The best throw for every union and isolation class, and the chance from every standing place.

    Parameters
    ----------
    stances : Stances       Of `standing_places`.
    wanted : rows of unions Unions to set a line over; None = all of them. The others get no chance and say so in `blocked_by`.

    Returns
    -------
    ThrowTable      Empty arrays where there is no union or no place to stand.
    """
    m, s = len(graph.unions), len(stances)
    if m == 0 or s == 0:
        return ThrowTable(stances, {}, np.zeros((m, s, 3), np.float32), ("no place to stand and throw from",) * m)
    rows = list(range(m)) if wanted is None else sorted({int(u) for u in wanted})
    scene, _ = build_scene(graph, beside, site, settings, rows)
    grid = coarse_grid(scene, settings)
    origin = _origins(graph, stances)
    threads = os.cpu_count() or 1
    chance, aim, _ = sweep(
        scene, grid, stances.xyz, origin, settings.wire_chance, m, threads, lambda done: progress("throws", 0.6 * done / s)
    )
    best: dict[tuple[int, int], Throw] = {}
    blocked = [NOT_WANTED] * m

    def one(u: int) -> tuple[dict[int, Throw], str]:
        throws = _best_throws(graph, scene, grid, stances, origin, u, chance[:, u], aim[:, u], settings)
        return throws, "" if 3 in throws else why_blocked(graph, scene, grid, stances, u, settings)

    with ThreadPoolExecutor(max_workers=threads) as pool:
        for done, (u, (throws, why)) in enumerate(zip(rows, pool.map(one, rows), strict=True)):
            best.update({(u, k): throw for k, throw in throws.items()})
            blocked[u] = why
            progress("throws", 0.6 + 0.4 * (done + 1) / len(rows))
    return ThrowTable(stances, best, chance_map(chance, best, settings), tuple(blocked))


def chance_map(chance: Floats, best: dict[tuple[int, int], Throw], settings: ThrowSettings) -> NDArray[np.float32]:
    """Chance from every place by the method of the best throw, (m, s, 3), from the coarse chances (s, m, methods, 3) of all methods.

    A class is nowhere likelier than the next by one and the same method.
    """
    s, m, _, _ = chance.shape
    out = np.zeros((m, s, 3), np.float32)
    for u in range(m):
        for k in (1, 2, 3):
            throw = best.get((u, k))
            row = settings.methods.index(throw.method) if throw else int(chance[:, u, :, k - 1].max(axis=0).argmax())
            out[u, :, k - 1] = np.minimum(chance[:, u, row, k - 1], throw.chance if throw else 1.0)
            if throw:
                out[u, throw.stance, k - 1] = throw.chance
    return out


def _origins(graph: WoodGraph, stances: Stances) -> Floats:
    """Azimuth of the first coarse cell of each place: towards the stem, so that a turned tree gets the same cells."""
    d = graph.xyz[0, :2] - stances.xyz[:, :2]
    return np.where(np.hypot(*d.T) > 1e-9, np.arctan2(d[:, 0], d[:, 1]), crown_heading(graph))


def _best_throws(
    graph: WoodGraph, scene: Scene, grid: Grid, stances: Stances, origin: Floats, union: int, chance: Floats, aim: NDArray[np.int16], settings: ThrowSettings
) -> dict[int, Throw]:
    """Best throw of one union per class; chance (s, methods, 3), aim (s, methods, 3, 3) of the coarse sweep."""
    tried: dict[tuple[int, ...], dict[int, tuple[float, Aim]]] = {}
    half = (grid.azimuth_step, float(grid.elevation[1] - grid.elevation[0]), float(grid.speed[1] / grid.speed[0] - 1))
    best: dict[int, Throw] = {}
    samples: dict[_Place, Sample] = {}
    for k in (1, 2, 3):
        options: list[_Found] = []
        for row in _promising(chance[:, :, k - 1], settings):
            name = settings.methods[row]
            order = np.argsort(-chance[:, row, k - 1], kind="stable")[: settings.candidates]
            for stance in order[chance[order, row, k - 1] > 0.3 * settings.min_chance]:
                cell = aim[stance, row, k - 1]
                key = (row, int(stance), *(int(v) for v in cell))
                if key not in tried:
                    start = Aim(float(origin[stance] + cell[0] * grid.azimuth_step), float(grid.elevation[cell[1]]), float(grid.speed[cell[2]]))
                    tried[key] = best_nearby(scene, stances.xyz[stance], start, settings.method(name), union, half, settings)
            near = [_Found(r[k][0], key[1], name, r[k][1]) for key, r in tried.items() if key[0] == row and k in r]
            if near:
                options.append(max(near, key=lambda o: (o.chance, -o.stance)))
        throw = _quickest(graph, scene, stances, union, k, options, samples, settings)
        if throw is not None:
            best[k] = throw
    return best


def _promising(chance: Floats, settings: ThrowSettings) -> list[int]:
    """Methods worth working out: those whose expected time by the coarse chance (s, methods) comes within half again of the least."""
    seconds = [min_seconds(float(c), settings.method(m)) for c, m in zip(chance.max(axis=0), settings.methods, strict=True)]
    return [row for row, t in enumerate(seconds) if t <= 1.5 * min(seconds) and np.isfinite(t)]


def _quickest(
    graph: WoodGraph,
    scene: Scene,
    stances: Stances,
    union: int,
    isolation_class: int,
    options: list[_Found],
    samples: dict[_Place, Sample],
    settings: ThrowSettings,
) -> Throw | None:
    """The option with the least expected time, its chance integrated finely; None below the least chance reported.

    Throws whose bag comes down near the thrower count for less here, as in the sweep; the chance that is told counts them in full.
    """
    best: tuple[float, Throw] | None = None
    for o in options:
        place = (o.stance, o.method, o.aim)
        if place not in samples:
            samples[place] = fine_sample(scene, stances.xyz[o.stance], o.aim, settings.method(o.method), union, settings)
        chance, limits = samples[place].chance(isolation_class), settings.method(o.method)
        if chance < settings.min_chance:
            continue
        counted = chance - (1 - settings.near_worth) * samples[place].near_chance(isolation_class)
        seconds = min_seconds(counted, limits)
        if best is not None and seconds >= best[0]:
            continue
        throw = work_out(graph, scene, stances, o.stance, union, isolation_class, o.method, o.aim, chance, samples[place], settings)
        if throw is not None and (best is None or seconds + throw.workings * limits.seconds_working < best[0]):
            best = (seconds + throw.workings * limits.seconds_working, throw)
    return best[1] if best else None


def min_seconds(chance: float, method: Method) -> float:
    """Set-up and the expected number of throws, 1 / chance, at the method's pace, without workings. [s]"""
    return method.seconds_setup + method.seconds_throw / chance if chance > 0 else float("inf")
