"""What does a person do to set the line, in order?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from treescan.reason import Reason
from treescan.throw.settings import AimError
from treescan.throw.throw_path import Aim

IN_THE_UNION = 0.1
"""A line this near the union's axis lies in the union. [m]"""

MIN_AIM_OFF = AimError(float(np.radians(0.3)), float(np.radians(0.3)), 0.01)
"""Smaller mean errors are not worth aiming off for."""

_ERRORS = (("went_right", "aim_left"), ("went_high", "aim_lower"), ("went_fast", "aim_softer"))
_OTHER_WAY = (("went_left", "aim_right"), ("went_low", "aim_higher"), ("went_slow", "aim_harder"))


@dataclass(frozen=True)
class StandAndAim:
    """Where one stands and how one throws.

    away : float        From the stem's foot. [m]
    bearing : float     Of the place as seen from the stem, clockwise from north. [rad]
    method : str        One of `settings.METHODS`.
    aim : Aim
    bias : AimError     Of this person's throws on average, 0 where unknown.
    steep : bool        The aim is steeper than one should take where another place does nearly as well.
    """

    away: float
    bearing: float
    method: str
    aim: Aim
    bias: AimError
    steep: bool


@dataclass(frozen=True)
class BagFlight:
    """What the bag does.

    height : float          Of the wanted limb's top above the feet. [m]
    apex : float            Top of the arc above the feet. [m]
    out : float or None     How far from the thrower the bag lands; None where it does not. [m]
    comes_back : float or None  How far from the thrower it comes down, where that is near. [m]
    strikes : Reason or None    Limb the bag strikes beyond the wanted one before it drops; None where it flies free.
    lodged : bool           It does not reach the ground by itself.
    down : Reason or None   Where it comes down, where that wants a word (`landing.bag_comes_down`).
    over_crown : bool       It passes over everything in its plane.
    """

    height: float
    apex: float
    out: float | None
    comes_back: float | None
    strikes: Reason | None
    lodged: bool
    down: Reason | None
    over_crown: bool


@dataclass(frozen=True)
class LineAsThrown:
    """What lies under the line, and where it comes to rest.

    union : str             Label of the wanted union.
    isolation_class : int   1, 2 or 3.
    near, far : tuple       Limbs to get the line off on the thrower's side and beyond, in the order they are met.
    walk_round : bool       The stem below stands between the legs.
    slides : bool           The line slides to the union by itself.
    rest_distance : float   From the union's axis. [m]
    """

    union: str
    isolation_class: int
    near: tuple[Reason, ...]
    far: tuple[Reason, ...]
    walk_round: bool
    slides: bool
    rest_distance: float


def throw_steps(stand: StandAndAim, bag: BagFlight, line: LineAsThrown) -> tuple[Reason, ...]:
    """What a person does, in order."""
    steps = [Reason("throw_clear_arc"), _stand_and_aim(stand, bag, line.union), *aim_off(stand.bias, stand.aim.elevation)]
    if stand.steep:
        steps.append(Reason("throw_steep", elevation=stand.aim.elevation))
    if bag.comes_back is not None:
        steps.append(Reason("throw_comes_back", out=bag.comes_back))
    if line.walk_round:
        steps.append(Reason("throw_walk_round"))
    if bag.strikes is not None:
        steps.append(Reason("throw_bag_strikes", limb=bag.strikes))
    if bag.down is not None:
        steps.append(bag.down)
    if bag.over_crown and line.far:
        steps.append(Reason("throw_over_crown"))
    return (
        *steps,
        *_workings(bag, line),
        _rest(line),
        Reason("throw_look_one_limb" if line.isolation_class < 3 else "throw_look_which_limbs"),
    )


def aim_off(bias: AimError, elevation: float) -> tuple[Reason, ...]:
    """How a person of this mean error aims off at an elevation [rad]; empty where it is small.

    An error across the flight is told as the azimuth it is at this steepness: error / cos(elevation).
    """
    went, aim = how_they_go(bias._replace(side=bias.side / float(np.cos(elevation))))
    return (Reason("throw_aim_off", went=went, aim=aim),) if went else ()


def how_they_go(bias: AimError) -> tuple[tuple[Reason, ...], tuple[Reason, ...]]:
    """How throws of this mean error go, and how to aim off; errors not worth aiming off for are left out."""
    went, aim = [], []
    for error, least, plus, minus in zip(bias, MIN_AIM_OFF, _ERRORS, _OTHER_WAY, strict=True):
        if abs(error) < least:
            continue
        went_code, aim_code = plus if error > 0 else minus
        went.append(Reason(went_code, by=abs(error)))
        aim.append(Reason(aim_code, by=abs(error)))
    return tuple(went), tuple(aim)


def each_once(names: tuple[Reason, ...]) -> tuple[Reason, ...]:
    """Each name once, in order."""
    return tuple(dict.fromkeys(names))


def _stand_and_aim(stand: StandAndAim, bag: BagFlight, union: str) -> Reason:
    return Reason(
        "throw_stand_and_aim",
        away=stand.away,
        bearing=stand.bearing,
        method=stand.method,
        azimuth=stand.aim.azimuth % (2 * np.pi),
        elevation=stand.aim.elevation,
        speed=stand.aim.speed,
        union=union,
        height=bag.height,
        apex=bag.apex,
        out=bag.out if bag.comes_back is None else None,
    )


def _workings(bag: BagFlight, line: LineAsThrown) -> tuple[Reason, ...]:
    """From the bag beyond the limb to a line with both legs down."""
    if line.isolation_class == 3:
        return Reason("throw_stays_over", over=each_once((*line.near, *line.far))), Reason("throw_bag_down")
    if line.isolation_class == 1:
        return (Reason("throw_bag_down"),)
    steps = []
    if line.near and (line.far or bag.lodged):
        steps.append(Reason("throw_two_bags"))
    if line.far or bag.lodged:
        steps.append(Reason("throw_pull_back", over=each_once(line.far[::-1]), union=line.union))
    if line.near:
        steps.append(Reason("throw_pull_over_near", over=each_once(line.near), union=line.union))
    return tuple(steps)


def _rest(line: LineAsThrown) -> Reason:
    if line.slides:
        return Reason("throw_slides_in", union=line.union)
    if line.rest_distance < IN_THE_UNION:
        return Reason("throw_lies_in", union=line.union)
    return Reason("throw_lies_out", out=line.rest_distance, union=line.union)
