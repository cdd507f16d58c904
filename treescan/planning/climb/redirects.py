"""Would a redirect bring the rope to the work at a better angle, and what does it do to both unions?"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from treescan.geometry import unit
from treescan.loads.limb_check import AnchorConfiguration
from treescan.loads.rope.load_cases import rope_angles
from treescan.loads.statics.section_stress import section_forces, utilisation
from treescan.planning.access.access_order import sound_steps
from treescan.planning.candidates.candidates import bearing_arm
from treescan.planning.candidates.contact import contact_point, hanging_node, in_the_union, own_limbs, place_on_limb
from treescan.planning.reach.sightline import Scene, first_fouls
from treescan.planning.settings import PlanningSettings
from treescan.planning.tie_in_point import Floats, TieInPoint, Work
from treescan.wood.graph import WoodGraph

PLUMB = np.array([0.0, 0.0, -1.0])


@dataclass(frozen=True)
class Redirect:
    """One redirect for one tie-in point.

    union, label, place : where; work : labels of the work it newly serves; angle_before, angle_after : largest rope angle over
    that work [rad]; way_angle : rope angle at the main anchor on the way to it [rad]; force : on the redirect, over one leg's
    tension; turn : bend of the rope there [rad]; main_ratio : stress from the main anchor to the ground after over before;
    main_margin, margin : low side of strength over stress at the main anchor and at the redirect (NaN: not checked, or not seen);
    spoils : either falls below the gate; exact : the margins are of all forces with the tree's own weight (`redirect_loads`), else scaled
    by the rope's stress alone, which may flatter; reason : "" or why the scan cannot tell; swing : fall back to the main anchor's plumb if the redirect fails [m]; words : sentences.
    """

    union: int
    label: str
    place: Floats
    work: tuple[str, ...]
    angle_before: float
    angle_after: float
    way_angle: float
    force: float
    turn: float
    main_ratio: float
    main_margin: float
    margin: float
    spoils: bool
    swing: float
    words: tuple[str, ...]
    exact: bool = False
    reason: str = ""


def redirect_force(turn: float) -> float:
    """Force on a frictionless redirect over the rope's tension, 2 sin(turn / 2); turn = bend of the rope from straight. [rad]

    With theta the angle between the two legs this is 2 cos(theta / 2): 2 at 0, 1.41 at 90, 1 at 120 degrees.
    """
    return float(2 * np.sin(turn / 2))


def path_stresses(graph: WoodGraph, node: int, place: Floats, forces: Floats) -> Floats:
    """Largest stress each of some point loads (l, 3) makes alone on any section from where it acts down to the ground, (l,) [Pa]; round
    sections, no own weight."""
    path = graph.path_to_base(node)[:-1]
    lower = graph.xyz[graph.parent[path]]
    load = np.asarray(forces, float).reshape(-1, 1, 3)
    found = section_forces(lower, graph.direction[path], np.ones((len(path), 1), bool), np.broadcast_to(place, load.shape), load)
    same = np.ones(1)
    along, _ = utilisation(found, graph.segment_radius[path], same, same, same)
    return np.asarray(along.max(axis=1), float)


def path_stress(graph: WoodGraph, node: int, place: Floats, force: Floats) -> float:
    """Largest stress of one point load (3,), as `path_stresses`. [Pa]"""
    return float(path_stresses(graph, node, place, force)[0])


def redirects(
    graph: WoodGraph,
    scene: Scene,
    point: TieInPoint,
    points: Sequence[TieInPoint],
    work: Work,
    work_limb: NDArray[np.int32],
    settings: PlanningSettings,
    barred: Collection[int] = (),
) -> tuple[Redirect, ...]:
    """Redirects that bring work into reach which the tie-in point does not serve: those judged to hold first, the most work first.

    Notes
    -----
    The redirect must hang below the main anchor, no flatter from it than a limb walk may be (the climber has to get there first), the rope
    must run clear from the main anchor to it and from it to the work, and the angle from it to the work must keep the limit. Force and direction are judged at both unions: at the redirect by the two
    legs, at the main anchor by the leg that now points at the redirect instead of straight down. This is a screen: the tree's own weight is
    left out, so the margins may be too high; `redirect_loads.with_all_forces` gives the exact ones. Unions in `barred` are left out.
    """
    missing = np.flatnonzero(~point.reach.served)
    if len(missing) == 0:
        return ()
    sound = sound_steps(graph, {}, settings)
    by_union = {p.union: p for p in sorted(points, key=lambda p: -(p.check.check.margin.p5 if p.check.check.margin.known else -1.0))[::-1]}
    out = []
    reach_up = np.hypot(*(graph.unions.place[:, :2] - point.place[:2]).T) <= np.tan(settings.walk_limit) * (point.place[2] - graph.unions.place[:, 2]) + 2.0
    for union in np.flatnonzero(sound & reach_up):
        if int(union) == point.union or int(union) in barred:
            continue
        found = _one(graph, scene, point, by_union.get(int(union)), int(union), work, work_limb, missing, settings)
        if found is not None:
            out.append(found)
    return in_order(out, work)


def in_order(found: Sequence[Redirect], work: Work) -> tuple[Redirect, ...]:
    """Those judged to hold first, then those nobody can judge, then those that spoil; among them the most work first."""
    weight = dict(zip(work.label, work.weight, strict=True))
    return tuple(sorted(found, key=lambda r: (r.spoils, not np.isfinite(r.margin), -sum(weight[w] for w in r.work))))


def redirect_configuration(graph: WoodGraph, union: int, settings: PlanningSettings) -> AnchorConfiguration:
    """Where a redirect hangs at a union: in the crotch of the limb that bears best. Its system and base do not matter."""
    arm = bearing_arm(graph, union, settings)
    distance = in_the_union(graph, union, arm)
    node, place = place_on_limb(graph, union, int(graph.unions.arm_node[arm]), distance)
    return AnchorConfiguration(union, "MRS", "ring", node, distance, np.zeros(0, np.int32), place)


def _one(
    graph: WoodGraph,
    scene: Scene,
    point: TieInPoint,
    checked: TieInPoint | None,
    union: int,
    work: Work,
    work_limb: NDArray[np.int32],
    missing: NDArray[np.int64],
    settings: PlanningSettings,
) -> Redirect | None:
    configuration = redirect_configuration(graph, union, settings)
    node, place = int(configuration.rest_node), contact_point(graph, configuration)
    way = float(rope_angles(point.place, place))
    if way > settings.walk_limit:
        return None
    own = int(graph.limb[graph.unions.node[union]]), int(graph.limb[node])
    main_own = own_limbs(graph, point.check.configuration)
    on_the_way = first_fouls(
        scene,
        point.place,
        place[None],
        main_own,
        np.array([own[1]], np.int32),
        settings.lean_limit,
        settings.own_wood,
        settings.own_wood,
    )
    if on_the_way[0] not in {-1, own[0]}:
        return None
    angle = rope_angles(place, work.xyz[missing])
    rows = missing[angle <= settings.rope_angle_limit]
    if len(rows) == 0:
        return None
    fouled = first_fouls(scene, place, work.xyz[rows], own, work_limb[rows], settings.lean_limit, settings.own_wood, settings.hand_reach)
    rows = rows[fouled < 0]
    return _judged(graph, point, checked, union, node, place, way, work, rows, settings) if len(rows) else None


def _judged(
    graph: WoodGraph,
    point: TieInPoint,
    checked: TieInPoint | None,
    union: int,
    node: int,
    place: Floats,
    way: float,
    work: Work,
    rows: NDArray[np.int64],
    settings: PlanningSettings,
) -> Redirect:
    """Forces and margins at both unions, for the served work that bends the rope most."""
    to_redirect = unit(place - point.place)
    down = unit(work.xyz[rows] - place)
    turns = np.arccos(np.clip(down @ to_redirect, -1.0, 1.0))
    worst = int(np.argmax(turns))
    turn = float(turns[worst])
    tension, base = _tension(point)
    before = path_stress(graph, hanging_node(point.check.configuration), point.place, tension * PLUMB + base)
    after = path_stress(graph, hanging_node(point.check.configuration), point.place, tension * to_redirect + base)
    ratio = after / before if before > 0 else float("nan")
    governing = path_stress(graph, hanging_node(point.check.configuration), point.place, np.asarray(point.check.force, float))
    main_margin = point.check.check.margin.p5 * governing / after if after > 0 else float("inf")
    pull = tension * (down[worst] - to_redirect)
    margin = _margin_at(graph, checked, node, place, pull)
    spoils = bool(main_margin < settings.margin_gate or margin < settings.margin_gate)
    angle_before = float(point.reach.angle[rows].max())
    angle_after = float(rope_angles(place, work.xyz[rows]).max())
    label = graph.unions.label[union]
    fouled = int((point.reach.fouled[rows] >= 0).sum())
    why = f"lie at up to {np.degrees(angle_before):.0f} degrees" + (f" and limbs foul {fouled} of the ropes" if fouled else "")
    words = [
        f"A redirect at {label} serves {len(rows)} more work point(s) at rope angles up to {np.degrees(angle_after):.0f} "
        "degrees; "
        f"straight from the main anchor they {why}.",
        f"It bears {redirect_force(turn):.2f} times the rope's tension, and the main anchor is pulled {np.degrees(way):.0f} "
        "degrees off plumb: "
        f"the stress the rope makes there becomes {ratio:.2f} times what it was.",
        *margin_words(label, main_margin, margin, settings.margin_gate),
    ]
    legs = 2 if point.system == "MRS" else 1
    straight = np.linalg.norm(work.xyz[rows] - point.place, axis=1)
    bent = float(np.linalg.norm(place - point.place)) + np.linalg.norm(work.xyz[rows] - place, axis=1)
    words.append(f"It takes {legs * float((bent - straight).max()):.1f} m more rope than the straight way.")
    side = float(np.hypot(*(place - point.place)[:2]))
    words.append(f"If the redirect fails, the rope springs back {side:.1f} m to the main anchor's plumb.")
    return Redirect(
        union,
        label,
        place,
        tuple(work.label[i] for i in rows),
        angle_before,
        angle_after,
        way,
        redirect_force(turn),
        turn,
        ratio,
        main_margin,
        margin,
        spoils,
        side,
        tuple(words),
    )


def margin_words(label: str, main_margin: float, margin: float, gate: float, exact: bool = False, reason: str = "") -> tuple[str, ...]:
    """Whether both unions hold, how that was found, and what it means."""
    if reason:
        return (f"{reason} Inspect and load-test {label}, or treat it as not holding.",)
    how = "With all forces and the tree's own weight" if exact else "First estimate only, by the rope's pull without the tree's own weight, so it may be lower:"
    low = f"{how} the low side of strength over stress is {main_margin:.1f} at the main anchor"
    out = [f"{low} and {margin:.1f} at the redirect." if np.isfinite(margin) else f"{low}."] if np.isfinite(main_margin) else []
    spoiled = [f"the {which}, whose low-side margin falls to {m:.1f}" for which, m in (("main anchor", main_margin), ("redirect", margin)) if m < gate]
    if spoiled:
        out.append(f"Not ranked: it spoils {' and '.join(spoiled)}.")
    if not np.isfinite(margin):
        out.append(f"The strength of {label} was not checked: inspect and load-test it, or treat it as not holding.")
    return tuple(out)


def _tension(point: TieInPoint) -> tuple[float, Floats]:
    """Tension of the climber's leg in the governing case, and the pull of a basal leg that stays where it is. [N]"""
    size = float(np.linalg.norm(point.check.force))
    if point.system != "SRS basal":
        return size, np.zeros(3)
    configuration = point.check.configuration
    after = np.asarray(configuration.base, float)
    leg = unit(after - point.place)
    tension = size / float(np.linalg.norm(PLUMB + leg))
    return tension, tension * leg


def _margin_at(graph: WoodGraph, checked: TieInPoint | None, node: int, place: Floats, pull: Floats) -> float:
    """Low side of the margin under a pull, from the checked margin scaled by stress; NaN when the union was not checked."""
    if checked is None or not checked.check.check.margin.known:
        return float("nan")
    known = path_stress(graph, hanging_node(checked.check.configuration), checked.place, np.asarray(checked.check.force, float))
    asked = path_stress(graph, node, place, pull)
    return checked.check.check.margin.p5 * known / asked if asked > 0 else float("inf")
