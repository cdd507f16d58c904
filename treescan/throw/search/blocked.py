"""Why does nobody get a line over this union?"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from treescan.throw.ballistics.flight import min_speed
from treescan.throw.outcome.outcome import HIT_BESIDE, HIT_LIMB, HIT_WIRE, MOST_CAPTURED, follow, height_on
from treescan.throw.scene.flight_scene import Scene
from treescan.throw.scene.plane import empty_plane, fill_plane
from treescan.throw.search.sweep import Grid, near_items, room_for, throws_in_plane
from treescan.throw.settings import ThrowSettings
from treescan.throw.throw_path import Stances
from treescan.wood.graph import WoodGraph

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

ONE_LIMB = 10.0
"""Share of the stopped throws from which a limb is named. [%]"""

HIGH_ENOUGH = 3.0
"""Flights up to this far above the wanted limb are asked what stopped them. [m]"""


@njit(cache=True, nogil=True)
def _count_stops(sc: Scene, grid: Grid, feet: Floats, union: int, limbs: int) -> tuple[Ints, Ints]:
    """Of the flights that would pass over the union, how many each limb stops, and how they end otherwise.

    Returns (limbs,) stops by limb, and (5,): beside, wire, over but useless (lies over other limbs, slides off ...), own limb, tried.
    """
    by_limb, other = np.zeros(limbs, np.int64), np.zeros(5, np.int64)
    pl = empty_plane(len(sc.limb))
    items = np.empty(len(sc.limb), np.int32)
    over, weight, ends, back, served = np.empty(MOST_CAPTURED, np.int32), np.empty(1), np.empty(1, np.int8), np.empty(1, np.bool_), room_for(1)
    for f in range(len(feet)):
        x, y, z_hand = feet[f, 0], feet[f, 1], feet[f, 2] + sc.release
        for i in range(len(sc.limb)):
            if sc.union[i] != union:
                continue
            mx, my = 0.5 * (sc.start[i, 0] + sc.end[i, 0]) - x, 0.5 * (sc.start[i, 1] + sc.end[i, 1]) - y
            azimuth = np.arctan2(mx, my)
            fill_plane(sc, pl, x, y, azimuth, items, near_items(sc, x, y, azimuth, 1e-3, items))
            for c in range(pl.counts[1]):
                if pl.cross_item[c] != i:
                    continue
                s, top = pl.cross[c, 0], pl.cross[c, 2]
                for g in range(len(grid.step)):
                    if grid.step[g] * (grid.height.shape[1] - 1) <= s:
                        continue
                    above = height_on(grid.height[g], grid.step[g], s) + z_hand - top
                    if above < sc.bag_radius or above > HIGH_ENOUGH:
                        continue
                    other[4] += 1
                    end, s_end, hit, _ = follow(sc, pl, grid.height[g], grid.step[g], z_hand, over)
                    if s_end <= s:
                        if end == HIT_LIMB:
                            limb = sc.limb[pl.item[hit]]
                            by_limb[limb] += 1
                        elif end == HIT_WIRE:
                            other[1] += 1
                        elif end == HIT_BESIDE:
                            other[0] += 1
                    elif end == HIT_WIRE:
                        other[1] += 1
                    else:
                        heights, steps = grid.height[g : g + 1], grid.step[g : g + 1]
                        if throws_in_plane(sc, pl, x, y, z_hand, azimuth, heights, steps, union, weight, ends, back, served) == 0:
                            other[2] += 1
    return by_limb, other


def why_blocked(graph: WoodGraph, scene: Scene, grid: Grid, stances: Stances, union: int, settings: ThrowSettings) -> str:
    """In words, what stops most throws at a union."""
    rows = np.flatnonzero(scene.union == union)
    if len(stances) == 0:
        return "no place to stand and throw from"
    if len(rows) == 0:
        return "no limb above this union is thick enough to hold a line"
    middle = (scene.start[rows] + scene.end[rows]).mean(axis=0) / 2
    hand = stances.xyz + np.array([0.0, 0.0, scene.release])
    need = min_speed(np.hypot(*(hand[:, :2] - middle[:2]).T), middle[2] - hand[:, 2])
    fastest = max(settings.method(m).speed_high for m in settings.methods)
    if need.min() > fastest:
        return f"out of reach: the nearest place needs more than {need.min():.0f} m/s, the limit is {fastest:.0f} m/s"
    near = np.argsort(need)
    some = near[np.linspace(0, len(near) - 1, min(len(near), 40)).astype(int)]
    by_limb, other = _count_stops(scene, grid, stances.xyz[some], union, len(graph.limbs))
    if other[4] == 0:
        return "no aim within the limits passes over it"
    share = 100.0 * by_limb.max() / other[4]
    which = f"most often {_limb_words(graph, int(by_limb.argmax()))} ({share:.0f} %)" if share >= ONE_LIMB else f"no single limb of more than {share:.0f} %"
    reasons = [
        (int(by_limb.sum()), f"limbs stand in the way of {100.0 * by_limb.sum() / other[4]:.0f} % of the throws that would pass over it, {which}"),
        (int(other[0]), "things beside the tree stand in the way"),
        (int(other[1]), "the flight would come near a wire"),
        (int(other[2]), "the line passes over it but lies over higher limbs as well, slides off outward, or the bag strikes wood too hard"),
    ]
    count, words = max(reasons)
    return words if count else "the window is too small for the thrower's spread"


def _limb_words(graph: WoodGraph, limb: int) -> str:
    if limb == 0:
        return "the stem"
    u = graph.unions
    rows = np.flatnonzero((u.arm_limb == limb) & ~u.arm_continues)
    return f"the limb from {u.label[int(np.searchsorted(u.arm_start, rows[0], side='right') - 1)]}" if len(rows) else "thin limbs"
