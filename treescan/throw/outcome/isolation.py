"""Which union does a line serve, and in which isolation class?"""

from __future__ import annotations

from typing import NamedTuple

from numba import njit

from treescan.arrays import Floats, Ints32
from treescan.throw.ballistics.flight_line import INFINITE
from treescan.throw.outcome.bag_mass import min_bag_mass, wrap_angle
from treescan.throw.outcome.way_down import shaft_clear
from treescan.throw.scene.flight_scene import FlightScene
from treescan.throw.scene.plane import CROSS_HALF, CROSS_S, CROSS_TOP, FAR_SIDE, NEAR_SIDE, Plane

CLEAN, WORKED, SEVERAL = 1, 2, 3
"""Isolation classes: only the wanted limb between the legs; others are worked off; the line lies over several limbs."""

ALONE, WORKABLE, AS_IT_FELL = 1, 2, 3
"""What can be made of a line over a wanted limb: nothing else under it; others can be worked off; it must stay as it fell."""

NOBODY = -999
"""No limb's id."""


class Ask(NamedTuple):
    """What `judge` must know of a wanted crossing.

    stem_node : int     Last node of the stem below the union, that is walked round.
    lodged : bool       The bag is stuck.
    room : float        What pierces the curtain this near on both sides of the wanted limb can not be worked off. [m]
    max_worked : int    Limbs that one working clears at most.
    outdone : bool      A limb known to count stands higher, so that the line cannot stay as it fell: only saves looking further.
    """

    stem_node: int
    lodged: bool
    room: float
    max_worked: int
    outdone: bool


@njit(cache=True, nogil=True)
def highest_limbs(cross: Floats, limb: Ints32, over: Ints32, count: int) -> tuple[float, int, float]:
    """Highest top under the line besides the stem's, the limb it belongs to, and the highest top of any other limb. [m]"""
    first, whose, second = -INFINITE, NOBODY, -INFINITE
    for m in range(count):
        own = limb[over[m]]
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
    cross: Floats, limb: Ints32, node: Ints32, over: Ints32, count: int, which: int, ask: Ask
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
    cross, limb, node : of `Plane`; over : crossings under the line, near end first. The stem below the union is walked round; the wanted
    limb's own next crossing is the same limb.
    """
    lodged, room, max_worked = ask.lodged, ask.room, ask.max_worked
    c = over[which]
    s_t, top_t, half_t, own = cross[c, CROSS_S], cross[c, CROSS_TOP], cross[c, CROSS_HALF], limb[c]
    near, far, beneath = 0, 0, 0
    highest, first, last = -INFINITE, s_t, s_t
    for m in range(count):
        o = over[m]
        if o == c:
            continue
        s, half = cross[o, CROSS_S], cross[o, CROSS_HALF]
        if limb[o] == 0 and node[o] <= ask.stem_node:
            continue
        if limb[o] == own and abs(s - s_t) <= 2 * (half + half_t):
            continue
        highest = max(highest, cross[o, CROSS_TOP])
        first, last = min(first, s), max(last, s)
        if s - half > s_t + room:
            far += 1
        elif s + half < s_t - room:
            near += 1
        else:
            beneath += 1
        if (beneath > 0 or far > max_worked or near > max_worked) and (
            ask.outdone or lodged or highest >= top_t
        ):
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
    cross, union = plane.cross, plane.cross_union[c]
    if union < 0 or s_end < cross[c, CROSS_S] + cross[c, CROSS_HALF] + rules.bag_radius:
        return 0, 0
    room = cross[c, CROSS_HALF] + 2 * rules.bag_radius + rules.clearance
    ask = Ask(scene.stem_node[union], lodged, room, rules.max_worked, False)
    verdict, back, front, stays, extent = judge(
        cross, plane.cross_limb, plane.cross_node, over, count, which, ask
    )
    stays = stays and count - 1 <= rules.max_between
    clear_back = not back or shaft_clear(scene, plane, c, FAR_SIDE)
    shafts = verdict == WORKABLE and clear_back and (not front or shaft_clear(scene, plane, c, NEAR_SIDE))
    tail = cross[c, CROSS_TOP] - hand
    k = come_down(verdict, shafts, stays, extent, tail, rules.line, rules.rough, rules.bag_mass)
    return k, int(back) + int(front) if k == WORKED else 0
