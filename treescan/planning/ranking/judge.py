"""What do the sums say of one anchor by itself?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import inf

import numpy as np

from treescan.loads.checks.load_test import load_test
from treescan.loads.limb_check import AnchorCheck, AnchorConfiguration
from treescan.loads.rope.rope_systems import SYSTEMS
from treescan.loads.settings import LoadSettings
from treescan.planning.access.access_order import Hold, by_throw
from treescan.planning.access.at_the_union import at_the_union
from treescan.planning.access.retrieval import retrieval
from treescan.planning.access.rope_and_kit import rope_plan
from treescan.planning.candidates.contact import base_way, contact_point, round_stem
from treescan.planning.ranking import scores as score
from treescan.planning.ranking.gates import doubts, gates
from treescan.planning.ranking.ways_up import Ways
from treescan.planning.reach.clearances import (
    clearances_of_base_leg,
    clearances_of_throw,
    swings_over_building,
    throw_crosses,
)
from treescan.planning.reach.places import Places
from treescan.planning.reach.swing import limb_named
from treescan.planning.reach.two_trees import clear_between
from treescan.planning.sets.rescue_lines import rescued_work
from treescan.planning.settings import CRITERIA, PlanningSettings
from treescan.planning.tie_in_point import ROUND_STEM, Clearance, Floats, Judged, Reach, Work
from treescan.planning.tree_context import TreeContext
from treescan.planning.work.stage_alarms import dies_with
from treescan.reason import Reason
from treescan.throw.throw_path import Throw
from treescan.wood.graph import ScanFitness, WoodGraph

MOST_FOULING = 3
"""Limbs named that stand between the tie-in point and the work."""

LEAST_FOULED = 0.01
"""A limb with less than this share of the work behind it is not named."""


@dataclass(frozen=True)
class Ground:
    """What all candidates of one tree share: tree and work, how far the scan can be trusted, the places, the
    ways up, and who climbs."""

    context: TreeContext
    fitness: ScanFitness
    places: Places
    ways: Ways
    loads: LoadSettings


def judged(ground: Ground, check: AnchorCheck, throw: Throw | None) -> Judged:
    """One anchor with everything but its place in the list.

    throw : the one that sets the line as the configuration needs it; it is dropped where it comes too near a
    conductor.
    """
    context, configuration = ground.context, check.configuration
    graph, settings, site = context.graph, context.settings, context.site
    place = contact_point(graph, configuration)
    here = ground.places.at(configuration)
    reached = here.reach.out_to(check.within, context.work)
    if context.cut_off:
        stays = np.array([not dies_with(graph, configuration, gone) for gone in context.cut_off])
        reached = reached.only(stays, context.work)
    electric = _clearances(ground, configuration, throw)
    throw, refused = _throw_allowed(throw, electric)
    own = Hold.on(graph, check, throw)
    access = (
        by_throw(graph, configuration.union, throw, own)
        if throw is not None
        else ground.ways.up_to(graph, configuration.union, own)
    )
    against = gates(graph, ground.fitness, check, throw, reached, access, electric, settings)
    look_first = (
        *refused,
        *doubts(graph, check, throw, electric, settings),
        *(throw_crosses(throw, site) if throw is not None else ()),
        *_elsewhere(ground, configuration),
        *_outer_limbs(graph, check),
        *((Reason("swings_over_building"),) if swings_over_building(here.swept, site) else ()),
    )
    scored = _scores(ground, place, check, throw, reached)
    farthest = float(np.linalg.norm(context.work.xyz[reached.served] - place, axis=1).max(initial=0.0))
    return Judged(
        label=graph.unions.label[configuration.union],
        hardware=configuration.hardware + (ROUND_STEM if round_stem(graph, configuration) else ""),
        check=check,
        throw=throw,
        place=place,
        reach=reached,
        access=access,
        rope=rope_plan(graph, context.beside, configuration, throw, place, farthest, settings),
        clearances=electric,
        retrieval=retrieval(graph, configuration, place),
        fouling=_fouling(context, reached),
        care=at_the_union(graph, configuration, ground.loads) if not against else (),
        load_test=load_test(graph, check, ground.loads, _leg(context, check, place)) if not against else None,
        scores={c: scored[c][0] for c in CRITERIA},
        score_sd={c: scored[c][1] for c in CRITERIA},
        cautions=_cautions(configuration, throw, reached, bool(look_first), bool(ground.places.lines)),
        gates=against,
        doubts=look_first,
    )


def with_rescue_lines(
    graph: WoodGraph, points: Sequence[Judged], work: Work, settings: PlanningSettings
) -> tuple[Judged, ...]:
    """The same anchors; those that hold one climber only serve what a line for the rescuer gets to, and are refused where
    there is none. A statement that takes such a line away so takes what hung on it."""
    weight = np.asarray(work.weight, float)
    out = []
    for p in points:
        if not (p.usable and p.check.one_climber_only):
            out.append(p)
            continue
        reached = p.reach.only(rescued_work(graph, p, points, weight, settings), work)
        if not reached.served.any():
            out.append(replace(p, gates=(Reason("no_rescue_line"),), load_test=None))
            continue
        scored = {
            "coverage": score.coverage_score(reached, work, settings),
            "rope angle": score.rope_angle_score(reached, work, settings),
        }
        scores, errors = ({c: s[i] for c, s in scored.items()} for i in (0, 1))
        out.append(replace(p, reach=reached, scores={**p.scores, **scores}, score_sd={**p.score_sd, **errors}))
    return tuple(out)


def _leg(context: TreeContext, check: AnchorCheck, place: Floats) -> Floats:
    """Along the climber's leg in the governing case, (3,): where it is the only way the wood is pulled, that of the force; over a
    base leg too, from where it hangs to the climber."""
    if not SYSTEMS[check.configuration.system].basal:
        return np.asarray(check.force, float)
    row = check.worst_work_point
    return context.work.xyz[row] - place if row >= 0 else np.array([0.0, 0.0, -1.0])


def _clearances(
    ground: Ground, configuration: AnchorConfiguration, throw: Throw | None
) -> tuple[Clearance, ...]:
    """Of the place, of the throw, and of a base leg that leaves this tree, to every conductor."""
    lines, approach = ground.places.lines, ground.context.settings.approach
    out = ground.places.at(configuration).electric + clearances_of_throw(throw, lines, approach)
    if not configuration.tied_to:
        return out
    return out + clearances_of_base_leg(base_way(ground.context.graph, configuration), lines, approach)


def _elsewhere(ground: Ground, configuration: AnchorConfiguration) -> tuple[Reason, ...]:
    """What must be looked at where a basal line is tied to something else than the own stem."""
    if not configuration.tied_to:
        return ()
    graph = ground.context.graph
    away = float(np.hypot(*(configuration.base - graph.xyz[0])[:2]))
    clear = clear_between(ground.places.scene.scene, base_way(graph, configuration)[-2], configuration.base)
    return (Reason("tied_elsewhere", to=configuration.tied_to, away=away, fouled=not clear),)


def _outer_limbs(graph: WoodGraph, check: AnchorCheck) -> tuple[Reason, ...]:
    """The limbs under the climber's leg with what each bears, and the weakest of them."""
    configuration = check.configuration
    if not len(configuration.beyond):
        return ()
    forces = np.linalg.norm(np.atleast_2d(check.contact_forces)[1 + len(configuration.via) :], axis=1)
    limbs = tuple(
        Reason(
            "limb_bears",
            limb=int(graph.limb[n]),
            diameter=2 * float(graph.segment_radius[n]),
            force=float(force),
        )
        for n, force in zip(configuration.beyond, forces, strict=True)
    )
    weakest = check.outer if check.outer is not None and check.outer.known else None
    return (
        Reason(
            "hangs_from_outer_limbs",
            union=graph.unions.label[configuration.union],
            limbs=limbs,
            median=weakest.median if weakest is not None else None,
            p5=weakest.p5 if weakest is not None else None,
        ),
    )


def _fouling(context: TreeContext, reached: Reach) -> tuple[Reason, ...]:
    """The limbs that stand between the tie-in point and most of the work."""
    rows = reached.fouled >= 0
    if not rows.any():
        return ()
    graph, work = context.graph, context.work
    weight = (
        np.bincount(reached.fouled[rows], weights=work.weight[rows], minlength=len(graph.limbs))
        / work.weight.sum()
    )
    worst = [k for k in np.argsort(-weight, kind="stable")[:MOST_FOULING] if weight[k] >= LEAST_FOULED]
    return tuple(Reason("limb_fouls", limb=limb_named(graph, int(k)), share=float(weight[k])) for k in worst)


def _throw_allowed(
    throw: Throw | None, electric: tuple[Clearance, ...]
) -> tuple[Throw | None, tuple[Reason, ...]]:
    """A throw that comes too near a conductor is not used, and why."""
    near = [c for c in electric if c.what == "throw" and c.breach]
    if throw is None or not near:
        return throw, ()
    return None, (
        Reason("throw_near_conductor", to=near[0].to, distance=near[0].distance, limit=near[0].limit),
    )


def _scores(
    ground: Ground, place: Floats, check: AnchorCheck, throw: Throw | None, reached: Reach
) -> dict[str, score.Scored]:
    graph, work, settings = ground.context.graph, ground.context.work, ground.context.settings
    union = check.configuration.union
    minutes = score.effort_minutes(
        throw, ground.ways.minutes.get(union, inf), float(graph.unions.height[union]), settings
    )
    return {
        "height": score.height_over_work(place, work, settings.place_error),
        "margin": score.margin_score(graph, check, settings),
        "rope angle": score.rope_angle_score(reached, work, settings),
        "coverage": score.coverage_score(reached, work, settings),
        "isolation": score.isolation_score(throw, settings),
        "redundancy": score.redundancy_score(check, settings),
        "effort": score.effort_score(minutes, settings),
    }


def _cautions(
    configuration: AnchorConfiguration, throw: Throw | None, reached: Reach, doubtful: bool, wires: bool
) -> tuple[str, ...]:
    """Keys of the cautions that matter most for one candidate."""
    asked = (
        ("planning_aid", True),
        ("basal", configuration.system == "SRS basal"),
        ("swing", reached.swing_speed > 0),
        ("electricity", wires),
        ("throwing", throw is not None),
        ("condition", doubtful),
    )
    return tuple(key for key, here in asked if here)
