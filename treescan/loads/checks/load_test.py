"""How might this anchor be load-tested before anyone hangs on it? A proposal for the competent person, never
a proof."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from treescan.geometry import unit
from treescan.loads.hidden_defects import TESTED, chance_told
from treescan.loads.judging.verdict import whole_people
from treescan.loads.limb_check import IF_TESTED, UNSEEN, AnchorCheck, PassedTest
from treescan.loads.rope.rope_systems import SYSTEMS
from treescan.loads.sections.section_stress import path_stress
from treescan.loads.settings import LoadSettings
from treescan.reason import Reason
from treescan.units import G
from treescan.wood.graph import Floats, WoodGraph


@dataclass(frozen=True)
class LoadTest:
    """One test.

    pull : float            On the rope. [N]
    on_union : float        Force it brings onto the union. [N]
    direction : (3,) float  Unit vector of the pull, as in use.
    people : int            Hanging on the rope.
    pullers : int           Or pulling by hand through a 2:1.
    share : float           Of the governing load in use that the test applies to the union.
    clear_centre : (2,), clear_radius : float   Nobody inside this circle in plan, whole metres. [m, local]
    steps : tuple of Reason What to do, one after the other.
    """

    pull: float
    on_union: float
    direction: Floats
    people: int
    pullers: int
    share: float
    clear_centre: Floats
    clear_radius: float
    steps: tuple[Reason, ...]


HANGS_WITHIN = np.radians(10.0)
"""A leg nearer to plumb than this is pulled as hanging people pull it (project choice). [rad]"""

FLATTEST = np.radians(60.0)
"""A leg flatter than this no crew pulls from the ground: it runs through the crown (project choice). [rad]"""

ASIDE = frozenset({"test_pull_from_ground", "test_cannot_pull"})
"""Codes of a test in which hanging people do not pull as in use."""

PULLED_FROM = 25.0
"""A crew pulls from the ground out to here from the point straight below (project choice). [m]"""


def load_test(
    graph: WoodGraph, check: AnchorCheck, settings: LoadSettings, leg: Floats | None = None
) -> LoadTest | None:
    """The test of one checked anchor; None where the anchor was not seen, for what cannot be judged is not to
    be loaded.

    leg : (3,) float        Along the climber's leg in the governing case, of any length; None = not told.

    Notes
    -----
    The pull is that of the hardest ordinary use on the rope path and in its direction, half as hard again where
    the anchor holds only if it passes that, and at least `settings.test_people` times the climber's weight;
    built up gently. Clear of people: `settings.clear_share` times as far as `falls_within`.
    """
    if check.check.verdict == UNSEEN:
        return None
    pull = settings.test_people * settings.climber_mass * G
    asked = size_asked(check)
    if asked is not None:
        pull = max(pull, asked.pull)
    multiple = check.multiple_of_weight if SYSTEMS[check.configuration.system].basal else 1.0
    on_union = pull * multiple
    direction = unit(check.force)
    foot = graph.unions.place[check.configuration.union][:2]
    reach, piece = falls_within(graph, check, foot)
    radius = float(np.ceil(max(settings.clear_least, settings.clear_share * reach) - 1e-9))
    people = whole_people(pull / (settings.climber_mass * G))
    pullers = int(np.ceil(pull / (2.0 * settings.hand_pull)))
    used = float(np.linalg.norm(check.force))
    aside = _how_to_pull(graph, check, leg, direction * on_union, pull)
    steps = (
        Reason("test_look_first"),
        Reason("test_rig_as_in_use", tilt=_from_plumb(direction)),
        *aside,
        Reason(
            "test_build_up",
            people=people,
            pullers=pullers,
            pull=pull,
            on_union=on_union,
            share=on_union / used,
            case=check.case,
            aside=bool(aside),
        ),
        Reason("test_stand_clear", radius=radius, reach=piece),
        *(_would_show(t, bool(aside)) for t in check.check.tested),
        Reason("test_watch"),
        Reason("test_proves_nothing_more"),
    )
    return LoadTest(pull, on_union, direction, people, pullers, on_union / used, foot, radius, steps)


def _from_plumb(direction: Floats) -> float:
    """Angle of a unit vector from straight down. [rad]"""
    return float(np.arccos(np.clip(-direction[2], -1.0, 1.0)))


def _how_to_pull(
    graph: WoodGraph, check: AnchorCheck, leg: Floats | None, on_union: Floats, pull: float
) -> tuple[Reason, ...]:
    """From where a crew pulls a leg that stands off plumb, and what hanging people make of it; () where they pull it
    as it stands.

    on_union : (3,) float   Force of the test on the union. [N]
    """
    way = None if leg is None or not np.linalg.norm(leg) > 0 else unit(leg)
    if way is None or _from_plumb(way) <= HANGS_WITHIN:
        return ()
    node, angle = int(check.configuration.rest_node), _from_plumb(way)
    place = graph.xyz[node]
    plumb = on_union + pull * (np.array([0.0, 0.0, -1.0]) - way)
    share = path_stress(graph, node, place, plumb) / path_stress(graph, node, place, on_union)
    height = float(place[2] - graph.xyz[0, 2])
    away = height * np.tan(angle) if angle < np.pi / 2 else np.inf
    told = {"leg": angle, "azimuth": float(np.arctan2(way[0], way[1])), "share": share}
    if away > PULLED_FROM or angle > FLATTEST:
        return (Reason("test_cannot_pull", **told),)
    return (Reason("test_pull_from_ground", away=float(away), **told),)


def size_asked(check: AnchorCheck) -> PassedTest | None:
    """The test asked for: half as hard again as the hardest ordinary use where the anchor holds only if it passes that, else as hard; None where
    no test helps."""
    tested = check.check.tested
    if not tested:
        return None
    return tested[-1] if check.check.verdict == IF_TESTED else tested[0]


def pulled_aside(test: LoadTest | None) -> bool:
    """Whether hanging people do not pull as in use: the climber's leg stands off plumb."""
    return test is not None and any(s.code in ASIDE for s in test.steps)


def _would_show(test: PassedTest, aside: bool) -> Reason:
    """What passing a test would tell; aside : people who hang do not pull as in use."""
    return Reason(
        "test_would_show",
        people=whole_people(test.people),
        aside=aside,
        size=test.size,
        moment=test.moment,
        share=test.moment_share,
        low=test.low,
        chance=chance_told(test.overload_chance, TESTED),
    )


def falls_within(graph: WoodGraph, check: AnchorCheck, centre: Floats) -> tuple[float, float]:
    """How far from a point in plan (2,) any piece that may break can lie, and how far that piece reaches from
    where it breaks. [m]

    Notes
    -----
    A piece can topple to any side with its full length, upright or not: its reach in space counts, not its
    plan. The break may lie off the centre by as much again as its plan distance. The furthest of the
    governing and of every likely break counts.
    """
    found = [(0.0, 0.0)]
    for node in dict.fromkeys([check.check.governing, *(b.node for b in check.breaks if b.likely)]):
        foot = graph.xyz[max(int(graph.parent[node]), 0)]  # the segment's lower end
        piece = float(np.linalg.norm(graph.xyz[graph.above(node)] - foot, axis=1).max())
        found.append((piece + float(np.linalg.norm(foot[:2] - centre)), piece))
    return max(found)
