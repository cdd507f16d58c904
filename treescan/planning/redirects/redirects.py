"""Would a redirect bring the rope to the work at a better angle, and what does it do to both unions?"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from treescan.geometry import unit
from treescan.loads.limb_check import AnchorConfiguration
from treescan.loads.pull.load_cases import rope_angles
from treescan.loads.sections.section_stress import path_stress, redirect_force
from treescan.planning.access.access_order import sound_steps
from treescan.planning.candidates.candidates import bearing_arm
from treescan.planning.candidates.contact import (
    contact_point,
    hanging_node,
    in_the_union,
    own_limbs,
    place_on_limb,
)
from treescan.planning.reach.sightline import first_fouls
from treescan.planning.reach.work_scene import WorkScene
from treescan.planning.redirects.redirect import Redirect, RedirectMargins, RedirectWay, in_order, judged
from treescan.planning.settings import PlanningSettings
from treescan.planning.tie_in_point import Floats, TieInPoint
from treescan.wood.graph import WoodGraph

PLUMB = np.array([0.0, 0.0, -1.0])

SIDE_ROOM = 2.0
"""A union this far outside the cone a climber may walk in is still looked at: where the rope lies on it may
be nearer [m] (project choice)."""


def redirects(
    at: WorkScene, point: TieInPoint, points: Sequence[TieInPoint], barred: Collection[int] = ()
) -> tuple[Redirect, ...]:
    """Redirects that bring work into reach which the tie-in point does not serve: those judged to hold
    first, the most work first.

    Notes
    -----
    The redirect must hang below the main anchor, no flatter from it than a limb walk may be (the climber has
    to get there first), the rope must run clear from the main anchor to it and from it to the work, and the
    angle from it to the work must keep the limit. Force and direction are judged at both unions: at the
    redirect by the two legs, at the main anchor by the leg that now points at the redirect instead of
    straight down. This is a screen: the tree's own weight is left out, so the margins may be too high;
    `redirect_loads.with_all_forces` gives the exact ones. Unions in `barred` are left out.
    """
    if point.reach.served.all():
        return ()
    graph, settings = at.graph, at.settings
    sound = sound_steps(graph, {}, settings)
    by_union = _least_known(points)
    away = np.hypot(*(graph.unions.place[:, :2] - point.place[:2]).T)
    below = point.place[2] - graph.unions.place[:, 2]
    out = []
    for union in np.flatnonzero(sound & (away <= np.tan(settings.walk_limit) * below + SIDE_ROOM)):
        if int(union) == point.union or int(union) in barred:
            continue
        hung = _hung_at(at, point, int(union))
        rows = _served(at, point, hung) if hung is not None else ()
        if hung is not None and len(rows):
            out.append(_screened(at, point, by_union.get(int(union)), hung, np.asarray(rows)))
    return in_order(out, at.work)


def _least_known(points: Sequence[TieInPoint]) -> dict[int, TieInPoint]:
    """The row of every union whose margin is the lowest, not seen the lowest of all."""
    ordered = sorted(
        points, key=lambda p: -(p.check.check.margin.p5 if p.check.check.margin.known else -1.0)
    )[::-1]
    return {p.union: p for p in ordered}


def redirect_configuration(graph: WoodGraph, union: int, settings: PlanningSettings) -> AnchorConfiguration:
    """Where a redirect hangs at a union: in the crotch of the limb that bears best. Its system and base do
    not matter."""
    arm = bearing_arm(graph, union, settings)
    distance = in_the_union(graph, union, arm)
    node, place = place_on_limb(graph, union, int(graph.unions.arm_node[arm]), distance)
    return AnchorConfiguration(union, "MRS", "ring", node, distance, np.zeros(0, np.int32), place)


@dataclass(frozen=True)
class _HungAt:
    """A redirect at one union: segment and place it hangs at, the rope's angle there from the main anchor,
    the limbs it lies between."""

    union: int
    node: int
    place: Floats
    way: float
    own: tuple[int, int]


def _hung_at(at: WorkScene, point: TieInPoint, union: int) -> _HungAt | None:
    """The redirect at a union, None where the climber cannot get there along a clear rope."""
    graph, settings = at.graph, at.settings
    configuration = redirect_configuration(graph, union, settings)
    node, place = int(configuration.rest_node), contact_point(graph, configuration)
    way = float(rope_angles(point.place, place))
    if way > settings.walk_limit:
        return None
    own = int(graph.limb[graph.unions.node[union]]), int(graph.limb[node])
    on_the_way = first_fouls(
        at.scene,
        point.place,
        place[None],
        own_limbs(graph, point.check.configuration),
        np.array([own[1]], np.int32),
        settings.lean_limit,
        settings.own_wood,
        settings.own_wood,
    )
    return _HungAt(union, node, place, way, own) if on_the_way[0] in {-1, own[0]} else None


def _served(at: WorkScene, point: TieInPoint, hung: _HungAt) -> NDArray[np.int64]:
    """Rows of work that the anchor alone does not serve and a straight rope from the redirect does."""
    settings, missing = at.settings, np.flatnonzero(~point.reach.served)
    rows = missing[rope_angles(hung.place, at.work.xyz[missing]) <= settings.rope_angle_limit]
    if len(rows) == 0:
        return rows
    limits = settings.lean_limit, settings.own_wood, settings.hand_reach
    return rows[
        first_fouls(at.scene, hung.place, at.work.xyz[rows], hung.own, at.work_limb[rows], *limits) < 0
    ]


def _screened(
    at: WorkScene, point: TieInPoint, checked: TieInPoint | None, hung: _HungAt, rows: NDArray[np.int64]
) -> Redirect:
    """Forces and margins at both unions, for the served work that bends the rope most."""
    graph, work, place = at.graph, at.work, hung.place
    to_redirect = unit(place - point.place)
    down = unit(work.xyz[rows] - place)
    turns = np.arccos(np.clip(down @ to_redirect, -1.0, 1.0))
    worst = int(np.argmax(turns))
    tension, base = _tension(point)
    hanging = hanging_node(point.check.configuration)
    before = path_stress(graph, hanging, point.place, tension * PLUMB + base)
    after = path_stress(graph, hanging, point.place, tension * to_redirect + base)
    governing = path_stress(graph, hanging, point.place, np.asarray(point.check.force, float))
    main_margin = point.check.check.margin.p5 * governing / after if after > 0 else float("inf")
    margin = _margin_at(graph, checked, hung.node, place, tension * (down[worst] - to_redirect))
    legs = 2 if point.system == "MRS" else 1
    straight = np.linalg.norm(work.xyz[rows] - point.place, axis=1)
    bent = float(np.linalg.norm(place - point.place)) + np.linalg.norm(work.xyz[rows] - place, axis=1)
    way = RedirectWay(
        union=hung.union,
        label=graph.unions.label[hung.union],
        place=place,
        work=tuple(work.label[i] for i in rows),
        angle_before=float(point.reach.angle[rows].max()),
        angle_after=float(rope_angles(place, work.xyz[rows]).max()),
        fouled=int((point.reach.fouled[rows] >= 0).sum()),
        way_angle=hung.way,
        turn=float(turns[worst]),
        force=redirect_force(float(turns[worst])),
        main_ratio=after / before if before > 0 else float("nan"),
        more_rope=legs * float((bent - straight).max()),
        swing=float(np.hypot(*(place - point.place)[:2])),
    )
    gate = at.settings.margin_gate
    spoils = bool(main_margin < gate or margin < gate)
    return judged(
        way, RedirectMargins(main_margin, margin, spoils, exact=False, unseen=None, barred=None), gate
    )


def _tension(point: TieInPoint) -> tuple[float, Floats]:
    """Tension of the climber's leg in the governing case, and the pull of a basal leg that stays where it
    is. [N]"""
    size = float(np.linalg.norm(point.check.force))
    if point.system != "SRS basal":
        return size, np.zeros(3)
    configuration = point.check.configuration
    after = np.asarray(configuration.base, float)
    leg = unit(after - point.place)
    tension = size / float(np.linalg.norm(PLUMB + leg))
    return tension, tension * leg


def _margin_at(graph: WoodGraph, checked: TieInPoint | None, node: int, place: Floats, pull: Floats) -> float:
    """Low side of the margin under a pull, from the checked margin scaled by stress; NaN when the union was
    not checked."""
    if checked is None or not checked.check.check.margin.known:
        return float("nan")
    known = path_stress(
        graph,
        hanging_node(checked.check.configuration),
        checked.place,
        np.asarray(checked.check.force, float),
    )
    asked = path_stress(graph, node, place, pull)
    return checked.check.check.margin.p5 * known / asked if asked > 0 else float("inf")
