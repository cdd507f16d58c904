"""One throw worked out in full: flight, taut line, supports, what is captured, steps."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from treescan.arrays import Ints32
from treescan.throw.ballistics.flight import flights
from treescan.throw.detail.followed import Followed, Wanted, follow_throw, other_crossings, wanted_crossing
from treescan.throw.detail.landing import Grounds, bag_comes_down
from treescan.throw.detail.limb_names import item_name, union_of_limb
from treescan.throw.detail.settled import Rest, rest_on_limb, settled_line
from treescan.throw.detail.steps import BagFlight, LineAsThrown, StandAndAim, throw_steps
from treescan.throw.detail.taut_line import TautLine
from treescan.throw.outcome.bag_mass import min_bag_mass, wrap_angle
from treescan.throw.outcome.ends import HIT_LIMB, LANDED
from treescan.throw.outcome.isolation import SEVERAL
from treescan.throw.scene.flight_scene import FlightScene, floor_of
from treescan.throw.scene.plane import CROSS_S, CROSS_TOP
from treescan.throw.settings import AimError, ThrowSettings
from treescan.throw.throw_path import Aim, Stances, Throw
from treescan.wood.graph import WoodGraph


@dataclass(frozen=True)
class Chosen:
    """A throw that was chosen: which union and class, from which place (row of the stances), how, and its chance.

    aim : Aim           Where one aims.
    nominal : Aim       The throw of those about the aim that is shown.
    """

    union: int
    isolation_class: int
    stance: int
    method: str
    aim: Aim
    nominal: Aim
    chance: float


@dataclass(frozen=True)
class _Captured:
    """Crossings of the line besides the wanted one `crossing`: on the thrower's side, beyond, and those it stays over."""

    crossing: int
    near: tuple[int, ...]
    far: tuple[int, ...]
    kept: tuple[int, ...]
    walk_round: bool

    @property
    def others(self) -> tuple[int, ...]:
        """All of them, near end first."""
        return (*self.near, *self.far)


def work_out(
    graph: WoodGraph,
    scene: FlightScene,
    grounds: Grounds,
    stances: Stances,
    chosen: Chosen,
    settings: ThrowSettings,
) -> Throw | None:
    """The full record of a throw; None when its nominal flight does not serve the union."""
    feet, limits = stances.xyz[chosen.stance], settings.method(chosen.method)
    flight = flights([chosen.nominal.elevation], [chosen.nominal.speed], settings, floor_of(scene))
    flown = follow_throw(scene, feet, chosen.nominal.azimuth, flight.height[0], float(flight.step[0]))
    wanted = wanted_crossing(scene, flown, chosen.union)
    if wanted is None:
        return None
    captured = _captured(scene, flown, wanted, chosen.union)
    worked = wanted.workings > 0
    worked_far, worked_near = worked and (bool(captured.far) or flown.lodged), worked and bool(captured.near)
    line, crossings = settled_line(scene, flown, captured.crossing, captured.kept, worked_far, worked_near)
    rest = rest_on_limb(graph, scene, flown, captured.crossing, chosen.union, settings)
    bag = _bag_flight(graph, scene, grounds, flown, captured, settings)
    limbs = _limbs(scene, flown, captured.others)
    aim = chosen.aim
    return Throw(
        union=chosen.union,
        isolation_class=chosen.isolation_class,
        stance=chosen.stance,
        stand=feet.copy(),
        method=chosen.method,
        azimuth=float(aim.azimuth % (2 * np.pi)),
        elevation=aim.elevation,
        speed=aim.speed,
        chance=chosen.chance,
        path=flown.in_space(flown.path),
        settled=flown.in_space(line.points),
        rest=rest.place,
        rest_distance=rest.distance,
        slides=rest.slides,
        supports=_supports(scene, flown, line, crossings),
        captured=limbs,
        captured_unions=tuple(dict.fromkeys(union_of_limb(graph, int(limb)) for limb in limbs)),
        workings=wanted.workings,
        min_weight=_min_bag(scene, flown, captured),
        steps=throw_steps(
            _stand_and_aim(graph, chosen, stances, limits.bias, settings.steep_aim),
            bag,
            _as_thrown(graph, scene, flown, captured, wanted, rest, chosen.union),
        ),
        pace=(limits.seconds_setup, limits.seconds_throw, limits.seconds_working),
        over_crown=bag.over_crown,
    )


def _captured(scene: FlightScene, flown: Followed, wanted: Wanted, union: int) -> _Captured:
    c = int(flown.over[wanted.which])
    others, walk = other_crossings(scene, flown, wanted.which, union)
    near = tuple(o for o in others if flown.at(o) < flown.at(c))
    far = tuple(o for o in others if flown.at(o) >= flown.at(c))
    return _Captured(c, near, far, others if wanted.isolation_class == SEVERAL else (), walk)


def _bag_flight(
    graph: WoodGraph,
    scene: FlightScene,
    grounds: Grounds,
    flown: Followed,
    captured: _Captured,
    settings: ThrowSettings,
) -> BagFlight:
    landed, feet = flown.end == LANDED, float(flown.feet[2])
    place = flown.in_space(flown.path[-1:])[0, :2]
    return BagFlight(
        height=float(flown.plane.cross[captured.crossing, CROSS_TOP]) - feet,
        apex=float(flown.path[:, 1].max() - flown.feet[2]),
        out=flown.s_end if landed else None,
        comes_back=flown.s_end if not flown.lodged and flown.s_end < settings.near_thrower else None,
        strikes=item_name(graph, scene, int(flown.plane.shapes.item[flown.hit]))
        if flown.end == HIT_LIMB
        else None,
        lodged=flown.lodged,
        down=None if flown.lodged else bag_comes_down(grounds, graph.xyz[0], flown.feet, place),
        over_crown=landed and flown.over_everything,
    )


def _stand_and_aim(
    graph: WoodGraph, chosen: Chosen, stances: Stances, bias: AimError, steepest: float
) -> StandAndAim:
    d = stances.xyz[chosen.stance, :2] - graph.xyz[0, :2]
    steep, away = chosen.aim.elevation > steepest, float(np.hypot(*d))
    return StandAndAim(away, float(np.arctan2(d[0], d[1])), chosen.method, chosen.aim, bias, steep)


def _as_thrown(
    graph: WoodGraph,
    scene: FlightScene,
    flown: Followed,
    captured: _Captured,
    wanted: Wanted,
    rest: Rest,
    union: int,
) -> LineAsThrown:
    return LineAsThrown(
        union=graph.unions.label[union],
        isolation_class=wanted.isolation_class,
        near=tuple(item_name(graph, scene, flown.item(o)) for o in captured.near),
        far=tuple(item_name(graph, scene, flown.item(o)) for o in captured.far),
        walk_round=captured.walk_round,
        slides=rest.slides,
        rest_distance=rest.distance,
    )


def _supports(scene: FlightScene, flown: Followed, line: TautLine, crossings: tuple[int, ...]) -> Ints32:
    """Graph nodes the line bears on, outermost first."""
    items = [flown.item(crossings[k]) for k in line.order]
    return np.array([int(scene.wood.node[i]) for i in items if i >= 0], np.int32)


def _limbs(scene: FlightScene, flown: Followed, crossings: tuple[int, ...]) -> Ints32:
    """Limbs of some crossings, each once."""
    limbs = [int(scene.wood.limb[flown.item(o)]) for o in crossings if flown.item(o) >= 0]
    return np.array(list(dict.fromkeys(limbs)), np.int32)


def _min_bag(scene: FlightScene, flown: Followed, captured: _Captured) -> float:
    """Lightest bag that comes down by itself on rough bark. [kg]"""
    lies_on = [captured.crossing, *captured.kept]
    tail = float(flown.plane.cross[lies_on, CROSS_TOP].max()) - flown.hand
    wrap = wrap_angle(float(np.ptp(flown.plane.cross[lies_on, CROSS_S])), tail)
    return float(min_bag_mass(scene.rules.line, tail, scene.rules.rough, wrap))
