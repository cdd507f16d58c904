"""What does the thrower see: the opening the bag must pass, and what catches the bags that miss it?"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

import numpy as np

from treescan.arrays import Flags, Floats, Ints
from treescan.reason import Reason
from treescan.throw.ballistics.flight import flights
from treescan.throw.ballistics.throws_about import throws_about
from treescan.throw.detail.followed import Followed, Wanted, follow_throw, wanted_crossing
from treescan.throw.detail.limb_names import item_name
from treescan.throw.outcome.ends import HIT_BESIDE, HIT_LIMB, HIT_WIRE
from treescan.throw.scene.flight_scene import WIRE, FlightScene, build_scene, floor_of, how_far
from treescan.throw.scene.plane import CROSS_S
from treescan.throw.settings import ThrowSettings
from treescan.throw.throw_path import Aim, Throw
from treescan.trees.beside import Beside, Site
from treescan.wood.graph import WoodGraph

THROWS = 300
"""Throws spread about the aim that are followed for the picture."""

SERVES = {1: "bag_over_clean", 2: "bag_over_workable", 3: "bag_over_several"}
"""What is said of a throw that serves the union, by isolation class."""

NEAREST = 0.5
"""Wood nearer than this in front of the release point is not drawn. [m]"""


@dataclass(frozen=True)
class Window:
    """A throw as seen from the release point. Directions are (azimuth right of the aim, angle above level). [rad]

    Attributes
    ----------
    limb_from, limb_to : (k, 2)     Ends of the wood in view.
    limb_width : (k,)               Its apparent width. [rad]
    limb_distance : (k,)            [m]
    wanted : (k,) bool              Belongs to the wanted part of the union's limbs.
    path : (j, 2)                   The nominal flight as seen.
    over : (n, 2)                   Where bags that serve the union pass over its limb,
    over_class : (n,)               and the isolation class they give.
    stopped : (q, 2)                Where bags are stopped.
    falls : tuple of (Reason, share) What becomes of all the throws about the aim, most frequent first; shares add up to 1.
    """

    limb_from: Floats
    limb_to: Floats
    limb_width: Floats
    limb_distance: Floats
    wanted: Flags
    path: Floats
    over: Floats
    over_class: Ints
    stopped: Floats
    falls: tuple[tuple[Reason, float], ...]

    @property
    def opening(self) -> tuple[float, float, float, float]:
        """Left, right, lower and upper end of the opening: the middle 90 % of the bags that serve the union. [rad]  NaN when none does."""
        if len(self.over) == 0:
            return (float("nan"),) * 4
        left, low = np.percentile(self.over, 5, axis=0)
        right, high = np.percentile(self.over, 95, axis=0)
        return float(left), float(right), float(low), float(high)


def throw_window(
    graph: WoodGraph, beside: Beside, site: Site, throw: Throw, settings: ThrowSettings
) -> Window:
    """The window of one throw, with `THROWS` throws of its method's spread followed one by one."""
    scene = build_scene(graph, beside, site, settings, [throw.union])
    feet, method = throw.stand, settings.method(throw.method)
    hand = feet + np.array([0.0, 0.0, scene.rules.release])
    aim, away = Aim(throw.azimuth, throw.elevation, throw.speed), how_far(scene, feet, throw.union)
    azimuth, elevation, speed = (q.ravel() for q in throws_about(aim, method, settings, away, THROWS // 2, 1))
    table = flights(elevation, speed, settings, floor_of(scene))
    over, classes, stopped, falls = [], [], [], Counter[Reason]()
    for i in range(THROWS):
        flown = follow_throw(scene, feet, azimuth[i], table.height[i], float(table.step[i]))
        wanted = wanted_crossing(scene, flown, throw.union)
        right = azimuth[i] - throw.azimuth
        if wanted is not None:
            s = float(flown.plane.cross[flown.over[wanted.which], CROSS_S])
            over.append((right, np.arctan2(float(np.interp(s, *flown.path.T)) - hand[2], s)))
            classes.append(wanted.isolation_class)
        elif flown.end in (HIT_LIMB, HIT_WIRE, HIT_BESIDE):
            s, z = flown.path[-1]
            stopped.append((right, np.arctan2(z - hand[2], max(s, 1e-6))))
        falls[_fall(graph, scene, flown, wanted)] += 1
    ends, width, distance, belongs = _wood_in_view(scene, hand, throw)
    return Window(
        ends[:, 0],
        ends[:, 1],
        width,
        distance,
        belongs,
        _seen(throw.path[1:], hand, throw.azimuth),
        np.array(over, float).reshape(-1, 2),
        np.array(classes, np.int64),
        np.array(stopped, float).reshape(-1, 2),
        tuple((fall, count / THROWS) for fall, count in falls.most_common()),
    )


def _fall(graph: WoodGraph, scene: FlightScene, flown: Followed, wanted: Wanted | None) -> Reason:
    """What became of one throw."""
    if wanted is not None:
        return Reason(SERVES[wanted.isolation_class])
    if flown.end == HIT_LIMB:
        return Reason("bag_stopped", limb=item_name(graph, scene, int(flown.plane.shapes.item[flown.hit])))
    if flown.end == HIT_WIRE:
        return Reason("bag_near_wire")
    return (
        Reason("bag_stopped", limb=Reason("stands_beside"))
        if flown.end == HIT_BESIDE
        else Reason("bag_lands")
    )


def _seen(points: Floats, hand: Floats, ahead: float) -> Floats:
    """Directions (k, 2) of points (k, 3) from the release point."""
    d = points - hand
    right = (np.arctan2(d[:, 0], d[:, 1]) - ahead + np.pi) % (2 * np.pi) - np.pi
    return np.column_stack([right, np.arctan2(d[:, 2], np.hypot(d[:, 0], d[:, 1]))])


def _wood_in_view(scene: FlightScene, hand: Floats, throw: Throw) -> tuple[Floats, Floats, Floats, Flags]:
    """Ends as seen (k, 2, 2), apparent width, distance and whether wanted, of the wood ahead; farthest first, so that near wood covers it."""
    wood = scene.wood
    middle = (wood.start + wood.end) / 2 - hand
    ahead = middle[:, 0] * np.sin(throw.azimuth) + middle[:, 1] * np.cos(throw.azimuth)
    rows = np.flatnonzero((wood.limb != WIRE) & (ahead > NEAREST))
    distance = np.linalg.norm(middle[rows], axis=1)
    order = np.argsort(-distance, kind="stable")
    rows, distance = rows[order], distance[order]
    ends = np.stack(
        [_seen(wood.start[rows], hand, throw.azimuth), _seen(wood.end[rows], hand, throw.azimuth)], axis=1
    )
    width = (wood.r_start[rows] + wood.r_end[rows]) / distance
    return ends, width, distance, (wood.union[rows] == throw.union)
