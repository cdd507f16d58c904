"""From where, how and with what chance can a line be set over each union? The whole tree at once.

1. A coarse sweep throws everything from everywhere (`sweep`): flights are the same from every place, so they are tabulated once.
2. The best places of each union, class and method are worked out finely (`refine`), and their chance is integrated anew.
3. The best of each is followed in full (`detail`).
"""

from __future__ import annotations

import os
from collections.abc import Collection
from concurrent.futures import ThreadPoolExecutor

import numpy as np

from treescan.arrays import Floats, Floats32
from treescan.progress import Progress, quiet
from treescan.reason import Reason
from treescan.throw.detail.blocked import why_blocked
from treescan.throw.detail.landing import Grounds
from treescan.throw.scene.flight_scene import build_scene
from treescan.throw.scene.stances import crown_heading
from treescan.throw.search.best_throws import Coarse, ThrowSearch, best_throws, landing_distances
from treescan.throw.search.grid import AZIMUTH_CELLS, coarse_grid
from treescan.throw.search.sweep import sweep
from treescan.throw.settings import ThrowSettings
from treescan.throw.throw_path import Stances, Throw, ThrowTable
from treescan.trees.beside import Beside, Site
from treescan.wood.graph import WoodGraph

NO_DISTANCE = 1e-9
"""A place nearer than this to the stem's axis has no direction towards it. [m]"""

SWEEP_SHARE = 0.6
"""Of the time, told as progress."""


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
        return ThrowTable(stances, {}, np.zeros((m, s, 3), np.float32), (Reason("throw_no_place"),) * m)
    rows = list(range(m)) if wanted is None else sorted({int(u) for u in wanted})
    scene = build_scene(graph, beside, site, settings, rows)
    grid, origin = coarse_grid(scene, settings), origins(graph, stances)
    threads = os.cpu_count() or 1
    chance, aim, _ = sweep(
        scene,
        grid,
        stances.xyz,
        origin,
        settings.wire_chance,
        m,
        threads,
        lambda done: progress("throws", SWEEP_SHARE * done / s),
    )
    lands = landing_distances(grid.height, grid.step, settings.release_height)
    search = ThrowSearch(graph, scene, Grounds(site.areas(), beside.terrain), grid, stances, origin, settings, lands)
    best: dict[tuple[int, int], Throw] = {}
    blocked: list[Reason | None] = [Reason("throw_not_asked")] * m

    def one(u: int) -> tuple[dict[int, Throw], Reason | None]:
        throws, no_aim = best_throws(search, u, Coarse(chance[:, u], aim[:, u]))
        if 3 in throws:
            return throws, None
        if no_aim:
            return throws, Reason("throw_no_aim_in_wind", wind=settings.wind_speed)
        return throws, why_blocked(graph, scene, (grid.height, grid.step), stances, u, settings)

    with ThreadPoolExecutor(max_workers=threads) as pool:
        for done, (u, (throws, why)) in enumerate(zip(rows, pool.map(one, rows), strict=True)):
            best.update({(u, k): throw for k, throw in throws.items()})
            blocked[u] = why
            progress("throws", SWEEP_SHARE + (1 - SWEEP_SHARE) * (done + 1) / len(rows))
    return ThrowTable(stances, best, chance_map(chance, best, settings), tuple(blocked))


def chance_map(chance: Floats, best: dict[tuple[int, int], Throw], settings: ThrowSettings) -> Floats32:
    """Chance from every place by the method of the best throw, (m, s, 3), from the coarse chances (s, m, methods, 3) of all methods.

    A class is nowhere likelier than the next by one and the same method.
    """
    s, m, _, _ = chance.shape
    out = np.zeros((m, s, 3), np.float32)
    for u in range(m):
        for k in (1, 2, 3):
            throw = best.get((u, k))
            row = (
                settings.methods.index(throw.method)
                if throw
                else int(chance[:, u, :, k - 1].max(axis=0).argmax())
            )
            out[u, :, k - 1] = np.minimum(chance[:, u, row, k - 1], throw.chance if throw else 1.0)
            if throw:
                out[u, throw.stance, k - 1] = throw.chance
    return out


def origins(graph: WoodGraph, stances: Stances) -> Floats:
    """Azimuth of the first coarse cell of each place: half a cell beside the stem, so that a turned or mirrored tree gets the same cells
    and no plane runs along the stem's axis, where rounding decides what is met.
    """
    d = graph.xyz[0, :2] - stances.xyz[:, :2]
    towards = np.where(np.hypot(*d.T) > NO_DISTANCE, np.arctan2(d[:, 0], d[:, 1]), crown_heading(graph))
    return np.asarray(towards + np.pi / AZIMUTH_CELLS)
