"""Which union does a line serve, and in which isolation class?"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit

from treescan.arrays import Floats, Ints32
from treescan.throw.ballistics.flight_line import INFINITE
from treescan.throw.outcome.bag_mass import min_bag_mass, wrap_angle
from treescan.throw.outcome.way_down import shaft_clear
from treescan.throw.scene.flight_scene import BESIDE, FlightScene
from treescan.throw.scene.plane import CROSS_HALF, CROSS_S, CROSS_SHARE, CROSS_TOP, FAR_SIDE, NEAR_SIDE, Plane

CLEAN, WORKED, SEVERAL = 1, 2, 3
"""Isolation classes: only the wanted limb between the legs; others are worked off; the line lies over several limbs."""

ALONE, WORKABLE, AS_IT_FELL = 1, 2, 3
"""What can be made of a line over a wanted limb: nothing else under it; others can be worked off; it must stay as it fell."""

NOBODY = -999
"""No limb's id."""


class Under(NamedTuple):
    """What lies under a line: crossings over[:count] of the plane (`CROSS_S` ...), near end first.

    cross (q, 5), item (q,)     Of `Plane`.
    limb, node (k,)             Of `Capsules`.
    over (d,)                   Rows of `cross`.
    """

    cross: Floats
    item: Ints32
    limb: Ints32
    node: Ints32
    over: Ints32


@njit(cache=True, nogil=True)
def highest_limbs(under: Under, count: int) -> tuple[float, int, float]:
    """Highest top under the line besides the stem's, the limb it belongs to, and the highest top of any other limb. [m]"""
    cross, item, limb, over = under.cross, under.item, under.limb, under.over
    first, whose, second = -INFINITE, NOBODY, -INFINITE
    for m in range(count):
        j = item[over[m]]
        own = limb[j] if j >= 0 else BESIDE
        if own == 0:
            continue
        top = cross[over[m], CROSS_TOP]
        if top > first:
            if own != whose:
                second = first
            first, whose = top, own
        elif own != whose:
            second = max(second, top)
    return first, whose, second


@njit(cache=True, nogil=True)
def judge(
    under: Under,
    count: int,
    which: int,
    stem_node: int,
    lodged: bool,
    room: float,
    max_worked: int,
    outdone: bool,
) -> tuple[int, bool, bool, bool, float]:
    """What is under the line besides the wanted crossing over[which]?

    Returns
    -------
    verdict : int           ALONE, WORKABLE, AS_IT_FELL; 0 where not even the last serves (a higher limb bears the line, or the bag is stuck).
    back, front : bool      Limbs to work the line off beyond the wanted one (or a stuck bag), and on the thrower's side.
    highest : bool          The wanted limb is the highest of all and the bag is not stuck: the line may stay as it fell.
    extent : float          From the nearest to the farthest thing under the line, besides the stem that is walked round. [m]

    Notes
    -----
    `outdone` says that a limb known to count stands higher, so that the line cannot stay as it fell: it only saves looking further.
    `room` on both sides of the wanted limb belongs to it: what pierces the curtain there can not be worked off. The stem below the
    union (up to `stem_node`) is walked round; the wanted limb's own next crossing is the same limb.
    """
    cross, item, limb, node, over = under.cross, under.item, under.limb, under.node, under.over
    c = over[which]
    s_t, top_t, half_t, own = cross[c, CROSS_S], cross[c, CROSS_TOP], cross[c, CROSS_HALF], limb[item[c]]
    near, far, beneath = 0, 0, 0
    highest, first, last = -INFINITE, s_t, s_t
    for m in range(count):
        o = over[m]
        if o == c:
            continue
        j = item[o]
        s, half = cross[o, CROSS_S], cross[o, CROSS_HALF]
        if j >= 0:
            if limb[j] == 0 and node[j] <= stem_node:
                continue
            if limb[j] == own and abs(s - s_t) <= 2 * (half + half_t):
                continue
        highest = max(highest, cross[o, CROSS_TOP])
        first, last = min(first, s), max(last, s)
        if s - half > s_t + room:
            far += 1
        elif s + half < s_t - room:
            near += 1
        else:
            beneath += 1
        if (beneath > 0 or far > max_worked or near > max_worked) and (outdone or lodged or highest >= top_t):
            return 0, False, False, False, 0.0
    stays = not lodged and top_t > highest
    if near + far + beneath == 0 and not lodged:
        return ALONE, False, False, stays, 0.0
    if beneath == 0 and far <= max_worked and near <= max_worked:
        return WORKABLE, far > 0 or lodged, near > 0, stays, last - first
    return AS_IT_FELL, False, False, stays, last - first


@njit(cache=True, nogil=True)
def come_down(
    verdict: int,
    shafts: bool,
    stays: bool,
    extent: float,
    tail: float,
    line: float,
    rough: float,
    mass: float,
) -> int:
    """Isolation class once the bag must come down by itself; 0 where it hangs.

    Parameters
    ----------
    shafts : bool       The ways down needed for working are clear.
    stays, extent       Of `judge`; whether the line may stay over everything, and how far apart that lies. [m]
    tail : float        The wanted limb's top above the hand. [m]
    line, mass : float  Of the line a metre [kg/m], of the bag [kg].
    rough : float       Friction of the line on rough bark: a bag said to come down shall.
    """
    alone = min_bag_mass(line, tail, rough, wrap_angle(0.0, tail)) <= mass
    if verdict == ALONE:
        return CLEAN if alone else 0
    if verdict == WORKABLE and shafts and alone:
        return WORKED
    if verdict > 0 and stays and min_bag_mass(line, tail, rough, wrap_angle(extent, tail)) <= mass:
        return SEVERAL
    return 0


@njit(cache=True, nogil=True)
def bears(scene: FlightScene, plane: Plane, c: int, s_end: float) -> bool:
    """Does crossing c count as over its union: within reach of it, passed with the bag's width to spare, and not drooping too much to
    hold the line?"""
    i, cross, wood = plane.cross_item[c], plane.cross, scene.wood
    if wood.near[i] + cross[c, CROSS_SHARE] * (wood.far[i] - wood.near[i]) > wood.limit[i]:
        return False
    if s_end < cross[c, CROSS_S] + cross[c, CROSS_HALF] + scene.rules.bag_radius:
        return False
    return wood.slope[i] >= -np.arctan(scene.rules.friction)


@njit(cache=True, nogil=True)
def classify(
    scene: FlightScene, plane: Plane, over: Ints32, which: int, s_end: float, lodged: bool, hand: float
) -> tuple[int, int]:
    """Isolation class for the target crossing over[which], and the workings it needs; class 0 = the throw does not serve this union.

    Parameters
    ----------
    over                Crossings under the line, near end first.
    s_end               Where the flight ended. [m]
    lodged : bool       The bag does not lie on the ground.
    hand : float        Height of the release point. [m, local]
    """
    c, count, rules = over[which], len(over), scene.rules
    if not bears(scene, plane, c, s_end):
        return 0, 0
    stem_node = scene.stem_node[scene.wood.union[plane.cross_item[c]]]
    room = plane.cross[c, CROSS_HALF] + 2 * rules.bag_radius + rules.clearance
    under = Under(plane.cross, plane.cross_item, scene.wood.limb, scene.wood.node, over)
    verdict, back, front, stays, extent = judge(
        under, count, which, stem_node, lodged, room, rules.max_worked, False
    )
    stays = stays and count - 1 <= rules.max_between
    clear_back = not back or shaft_clear(scene, plane, c, FAR_SIDE)
    shafts = verdict == WORKABLE and clear_back and (not front or shaft_clear(scene, plane, c, NEAR_SIDE))
    tail = plane.cross[c, CROSS_TOP] - hand
    k = come_down(verdict, shafts, stays, extent, tail, rules.line, rules.rough, rules.bag_mass)
    return k, int(back) + int(front) if k == WORKED else 0
