"""Why does nobody get a line over this union?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit

from treescan.arrays import Floats, Ints
from treescan.reason import Reason
from treescan.throw.ballistics.flight import PIECES, min_speed
from treescan.throw.ballistics.flight_line import Origin, height_on
from treescan.throw.detail.limb_names import limb_name
from treescan.throw.outcome.ends import HIT_BESIDE, HIT_LIMB, HIT_WIRE, MAX_CAPTURED, follow
from treescan.throw.outcome.plane_throws import Served, room_for, throws_in_plane
from treescan.throw.scene.fill_plane import fill_plane
from treescan.throw.scene.flight_scene import FlightScene
from treescan.throw.scene.nearby import near_items
from treescan.throw.scene.plane import CROSS_S, CROSS_TOP, CROSSINGS, Plane, empty_plane
from treescan.throw.settings import ThrowSettings
from treescan.throw.throw_path import Stances
from treescan.wood.graph import WoodGraph

ONE_LIMB = 0.1
"""Share of the stopped throws from which a limb is named."""

HIGH_ENOUGH = 3.0
"""Flights up to this far above the wanted limb are asked what stopped them. [m]"""

PLACES = 40
"""Standing places asked, from the one with the slowest throw to the one with the fastest."""

ONE_PLANE = 1e-3
"""Half-angle of the sector in which limbs are picked for a single plane. [rad]"""

BESIDE_TREE, WIRE_NEAR, USELESS, TRIED = 0, 1, 2, 3
"""Columns of the counts: stopped by things beside the tree, by a wire, over but useless, all."""


@dataclass(frozen=True)
class Stops:
    """What becomes of throws that would pass over a union: how many each limb stops (limbs,), how many end otherwise, how many there are."""

    by_limb: Ints
    beside: int
    wire: int
    useless: int
    tried: int

    @property
    def limbs(self) -> int:
        """Throws stopped by limbs."""
        return int(self.by_limb.sum())


@njit(cache=True, nogil=True)
def _count_stops(
    scene: FlightScene, height: Floats, step: Floats, feet: Floats, union: int, limbs: int
) -> tuple[Ints, Ints]:
    """Of the flights that would pass over the union, how many each limb stops (limbs,), and the other counts (4,)."""
    by_limb, other = np.zeros(limbs, np.int64), np.zeros(4, np.int64)
    wood, rows = scene.wood, len(scene.wood.limb)
    plane, items, served = empty_plane(rows), np.empty(rows, np.int32), room_for(1)
    for f in range(len(feet)):
        x, y, hand = feet[f, 0], feet[f, 1], feet[f, 2] + scene.rules.release
        for i in range(rows):
            if wood.union[i] != union:
                continue
            mx, my = (
                0.5 * (wood.start[i, 0] + wood.end[i, 0]) - x,
                0.5 * (wood.start[i, 1] + wood.end[i, 1]) - y,
            )
            azimuth = np.arctan2(mx, my)
            fill_plane(scene, plane, x, y, azimuth, items, near_items(scene, x, y, azimuth, ONE_PLANE, items))
            for c in range(plane.counts[CROSSINGS]):
                if plane.cross_item[c] == i:
                    _stops_at(
                        scene, plane, Origin(x, y, hand, azimuth), height, step, c, served, by_limb, other
                    )
    return by_limb, other


@njit(cache=True, nogil=True)
def _stops_at(
    scene: FlightScene,
    plane: Plane,
    origin: Origin,
    height: Floats,
    step: Floats,
    c: int,
    served: Served,
    by_limb: Ints,
    other: Ints,
) -> None:
    """Count what becomes of the flights that would pass closely over crossing c."""
    s, top, union = plane.cross[c, CROSS_S], plane.cross[c, CROSS_TOP], scene.wood.union[plane.cross_item[c]]
    over = np.empty(MAX_CAPTURED, np.int32)
    for g in range(len(step)):
        if step[g] * PIECES <= s:
            continue
        above = height_on(height[g], step[g], s) + origin.hand - top
        if above < scene.rules.bag_radius or above > HIGH_ENOUGH:
            continue
        other[TRIED] += 1
        end, s_end, hit, _ = follow(scene, plane, height[g], step[g], origin.hand, over)
        if end == HIT_WIRE:
            other[WIRE_NEAR] += 1
        elif s_end <= s:
            if end == HIT_LIMB:
                by_limb[scene.wood.limb[plane.shapes.item[hit]]] += 1
            elif end == HIT_BESIDE:
                other[BESIDE_TREE] += 1
        elif throws_in_plane(scene, plane, origin, height[g : g + 1], step[g : g + 1], union, served) == 0:
            other[USELESS] += 1


def why_blocked(
    graph: WoodGraph,
    scene: FlightScene,
    table: tuple[Floats, Floats],
    stances: Stances,
    union: int,
    settings: ThrowSettings,
) -> Reason:
    """What stops most throws at a union; `table` is (height, step) of `Flights`."""
    if len(stances) == 0:
        return Reason("throw_no_place")
    rows = np.flatnonzero(scene.wood.union == union)
    if len(rows) == 0:
        return Reason("throw_limbs_too_thin")
    middle = (scene.wood.start[rows] + scene.wood.end[rows]).mean(axis=0) / 2
    hand = stances.xyz + np.array([0.0, 0.0, scene.rules.release])
    need = min_speed(np.hypot(*(hand[:, :2] - middle[:2]).T), middle[2] - hand[:, 2])
    fastest = max(settings.method(m).speed_high for m in settings.methods)
    if need.min() > fastest:
        return Reason("throw_out_of_reach", needed=need.min(), limit=fastest)
    near = np.argsort(need)
    some = near[np.linspace(0, len(near) - 1, min(len(near), PLACES)).astype(int)]
    by_limb, other = _count_stops(scene, *table, stances.xyz[some], union, len(graph.limbs))
    return _commonest(
        graph,
        Stops(
            by_limb, int(other[BESIDE_TREE]), int(other[WIRE_NEAR]), int(other[USELESS]), int(other[TRIED])
        ),
    )


def _commonest(graph: WoodGraph, stops: Stops) -> Reason:
    """The reason that stops most throws."""
    if stops.tried == 0:
        return Reason("throw_no_aim")
    most = max(stops.limbs, stops.beside, stops.wire, stops.useless)
    if most == 0:
        return Reason("throw_too_inexact")
    if stops.beside == most:
        return Reason("throw_things_in_the_way")
    if stops.useless == most:
        return Reason("throw_line_useless")
    if stops.wire == most:
        return Reason("throw_near_wire")
    share = stops.by_limb.max() / stops.tried
    named = share >= ONE_LIMB
    return Reason(
        "throw_limbs_in_the_way",
        share=stops.limbs / stops.tried,
        limb=limb_name(graph, int(stops.by_limb.argmax())) if named else None,
        most=share if named else None,
        at_most=None if named else share,
    )
