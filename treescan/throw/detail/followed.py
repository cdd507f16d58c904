"""How does one throw go, step by step through its plane?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from treescan.arrays import Floats, Ints32
from treescan.throw.ballistics.flight import PIECES
from treescan.throw.ballistics.flight_line import strike_speed
from treescan.throw.outcome.ends import HIT_BESIDE, HIT_LIMB, MAX_CAPTURED, follow
from treescan.throw.outcome.isolation import classify
from treescan.throw.outcome.way_down import bag_lodges
from treescan.throw.scene.fill_plane import fill_plane
from treescan.throw.scene.flight_scene import FlightScene
from treescan.throw.scene.nearby import near_items
from treescan.throw.scene.plane import CROSS_HALF, CROSS_S, CROSSINGS, Plane, empty_plane

ONE_PLANE = 1e-3
"""Half-angle of the sector in which limbs are picked for a single plane. [rad]"""


@dataclass(frozen=True)
class Followed:
    """One throw followed through its plane.

    feet : (3,) float       Of the thrower. [m, local]
    hand : float            Height of the release point. [m, local]
    azimuth : float         [rad]
    over : (d,) int32       Crossings under the line, near end first.
    end, s_end, hit         As from `ends.follow`.
    lodged : bool           The bag does not reach the ground.
    strike : float          Speed at which it strikes a limb, 0 where it does not. [m/s]
    path : (k, 2) float     (s, z) down to the end. [m]
    """

    plane: Plane
    feet: Floats
    hand: float
    azimuth: float
    over: Ints32
    end: int
    s_end: float
    hit: int
    lodged: bool
    strike: float
    path: Floats

    def at(self, crossing: int) -> float:
        """Distance of a crossing from the thrower. [m]"""
        return float(self.plane.cross[crossing, CROSS_S])

    def item(self, crossing: int) -> int:
        """Row of the scene a crossing belongs to, negative for what stands beside the tree."""
        return int(self.plane.cross_item[crossing])

    def in_space(self, points: Floats) -> Floats:
        """Points (k, 2) of the plane, (s, z), as local xyz (k, 3)."""
        return in_space(self.feet, self.azimuth, points)

    @property
    def over_everything(self) -> bool:
        """Whether all wood of the plane lies under the line."""
        wood = int(np.sum(self.plane.cross_item[: self.plane.counts[CROSSINGS]] >= 0))
        return int(np.sum(self.plane.cross_item[self.over] >= 0)) == wood


@dataclass(frozen=True)
class Wanted:
    """A crossing that the line serves its union by: row of `Followed.over`, isolation class, workings."""

    which: int
    isolation_class: int
    workings: int


def follow_throw(scene: FlightScene, feet: Floats, azimuth: float, height: Floats, step: float) -> Followed:
    """Follow one flight, a row of `Flights` (height, step), from a standing place."""
    items = np.empty(len(scene.wood.limb), np.int32)
    count = near_items(scene, feet[0], feet[1], azimuth, ONE_PLANE, items)
    plane = empty_plane(len(scene.wood.limb))
    fill_plane(scene, plane, feet[0], feet[1], azimuth, items, count)
    over = np.empty(MAX_CAPTURED, np.int32)
    hand = feet[2] + scene.rules.release
    end, s_end, hit, n = follow(scene, plane, height, step, hand, over)
    lodged = bool(bag_lodges(scene, plane, height, step, hand, end, s_end, hit))
    strike = float(strike_speed(height, step, s_end)) if end == HIT_LIMB else 0.0
    s = np.arange(PIECES + 1) * step
    kept = s < s_end
    path = np.column_stack(
        [np.append(s[kept], s_end), np.append(height[kept], np.interp(s_end, s, height)) + hand]
    )
    under = over[: min(n, MAX_CAPTURED)].copy()
    return Followed(
        plane,
        feet.copy(),
        float(hand),
        azimuth,
        under,
        int(end),
        float(s_end),
        int(hit),
        lodged,
        strike,
        path,
    )


def in_space(feet: Floats, azimuth: float, points: Floats) -> Floats:
    """Points (k, 2) of a plane, (s, z), as local xyz (k, 3)."""
    return np.column_stack(
        [feet[0] + points[:, 0] * np.sin(azimuth), feet[1] + points[:, 0] * np.cos(azimuth), points[:, 1]]
    )


def wanted_crossing(scene: FlightScene, flown: Followed, union: int) -> Wanted | None:
    """The best crossing of this union; None when there is none, or the bag strikes something too hard."""
    best: Wanted | None = None
    if flown.end == HIT_BESIDE or flown.strike > scene.rules.strike:
        return None
    for m, c in enumerate(flown.over):
        item = flown.item(c)
        if item < 0 or scene.wood.union[item] != union:
            continue
        k, workings = classify(scene, flown.plane, flown.over, m, flown.s_end, flown.lodged, flown.hand)
        if k > 0 and (best is None or k < best.isolation_class):
            best = Wanted(m, int(k), int(workings))
    return best


def other_crossings(
    scene: FlightScene, flown: Followed, which: int, union: int
) -> tuple[tuple[int, ...], bool]:
    """Crossings between the legs besides the wanted one, near end first, and whether the stem below must be walked round."""
    c, cross, wood = int(flown.over[which]), flown.plane.cross, scene.wood
    out, walk = [], False
    for o in flown.over:
        j = flown.item(o)
        if o == c:
            continue
        if j >= 0 and wood.limb[j] == 0 and wood.node[j] <= scene.stem_node[union]:
            walk = True
            continue
        gap = abs(cross[o, CROSS_S] - cross[c, CROSS_S])
        if (
            j >= 0
            and wood.limb[j] == wood.limb[flown.item(c)]
            and gap <= 2 * (cross[o, CROSS_HALF] + cross[c, CROSS_HALF])
        ):
            continue
        out.append(int(o))
    return tuple(out), walk
