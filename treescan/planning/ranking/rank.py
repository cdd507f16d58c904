"""Which tie-in point first? Gates, then scores, then an order with its firmness. The main thing of this room."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import inf

import networkx as nx
import numpy as np
from numpy.typing import NDArray

from treescan.loads.limb_check import AnchorCheck, AnchorConfiguration
from treescan.loads.rope.shock import arc
from treescan.loads.settings import LoadSettings
from treescan.planning.access.access_order import access_graph, by_throw, quickest_ways, sound_steps, steps
from treescan.planning.candidates.contact import base_way, contact_point, looks_dead, own_limbs, round_stem
from treescan.planning.kit.retrieval import retrieval
from treescan.planning.kit.rope_and_kit import rope_plan
from treescan.planning.ranking import scores as score
from treescan.planning.ranking.gates import doubts, gates, verdict
from treescan.planning.ranking.order import order_points
from treescan.planning.reach.clearances import (
    Line,
    clearances_at,
    clearances_of_base_leg,
    clearances_of_throw,
    conductors,
    swings_over_building,
    throw_crosses,
)
from treescan.planning.reach.reach import reach
from treescan.planning.reach.sightline import Scene
from treescan.planning.reach.swing import limb_named
from treescan.planning.reach.two_trees import clear_between
from treescan.planning.settings import CRITERIA, PlanningSettings
from treescan.planning.tie_in_point import AccessStep, Clearance, Floats, Reach, TieInPoint, Work
from treescan.planning.work.work_points import limb_of_work
from treescan.progress import Progress, quiet
from treescan.reason import Reason
from treescan.throw.throw_path import Throw, ThrowTable
from treescan.trees.beside import Beside, Site
from treescan.units import G
from treescan.wood.graph import ScanFitness, WoodGraph


@dataclass(frozen=True)
class _Place:
    """What all systems share that hang from one place: its reach (swing force over the climber's weight), the widest slip (k, 3) [m], the
    clearances of both."""

    reach: Reach
    swept: Floats
    electric: tuple[Clearance, ...]


@dataclass(frozen=True)
class Places:
    """What neither the strength of the wood nor the climber nor the rope system changes: limb of every work point (w,), the scene, the
    conductors, and what is found out about a place when it is first asked for."""

    work_limb: NDArray[np.int32]
    scene: Scene
    lines: tuple[Line, ...]
    found: dict[tuple, _Place]

    @classmethod
    def of(cls, graph: WoodGraph, beside: Beside, site: Site, work: Work) -> Places:
        """Of one tree, its surroundings and its work; nothing is found out yet."""
        return cls(limb_of_work(graph, work), Scene.of(graph, beside), conductors(site, beside), {})


@dataclass(frozen=True)
class _Ground:
    """What all candidates of one tree share, made once."""

    graph: WoodGraph
    beside: Beside
    site: Site
    fitness: ScanFitness
    work: Work
    places: Places
    ways: nx.DiGraph
    routes: dict[int, list[int]]
    minutes: dict[int, float]
    settings: PlanningSettings
    weight: float


def rank_points(
    graph: WoodGraph,
    beside: Beside,
    site: Site,
    fitness: ScanFitness,
    work: Work,
    throws: ThrowTable,
    configurations_and_throws: Sequence[tuple[AnchorConfiguration, Throw | None]],
    checks: Sequence[AnchorCheck],
    settings: PlanningSettings,
    seed: int,
    progress: Progress = quiet,
    climber_mass: float = LoadSettings().climber_mass,
    places: Places | None = None,
) -> tuple[TieInPoint, ...]:
    """All candidates, judged, ranked and explained.

    Parameters
    ----------
    configurations_and_throws : from `candidates.candidate_configurations`.
    checks : one `AnchorCheck` per configuration, in the same order (`loads.checks.anchor.checked`).
    seed : int      Of the perturbed rankings behind the stability figures.
    climber_mass : float    With gear, for the force of a swing; the one the checks were made with. [kg]
    places : Places         Of the same tree, site, work and settings, to use what an earlier ranking found out; default: made anew.

    Returns
    -------
    tuple of TieInPoint     Usable ones by rank (the best system of each union first, see `order.order_points`), then the rest
                            with their reasons.
    """
    if len(configurations_and_throws) != len(checks):
        raise ValueError(f"{len(configurations_and_throws)} configurations but {len(checks)} checks")
    places = places or Places.of(graph, beside, site, work)
    ground = _ground(graph, beside, site, fitness, work, places, throws, checks, settings, climber_mass * G)
    points = []
    for i, ((configuration, throw), check) in enumerate(zip(configurations_and_throws, checks, strict=True)):
        progress("ranking", i / max(len(checks), 1))
        points.append(_judged(ground, configuration, throw, check))
    progress("ranking", 1.0)
    return order_points(graph, points, settings, seed)


def _ground(
    graph: WoodGraph,
    beside: Beside,
    site: Site,
    fitness: ScanFitness,
    work: Work,
    places: Places,
    throws: ThrowTable,
    checks: Sequence[AnchorCheck],
    settings: PlanningSettings,
    weight: float,
) -> _Ground:
    holds: dict[int, bool] = {}
    for c in checks:
        good = c.check.verdict not in {"does not hold", "not seen"} and c.check.margin.p5 >= settings.margin_gate
        holds[c.configuration.union] = holds.get(c.configuration.union, False) or bool(good)
    ways = access_graph(graph, throws, sound_steps(graph, holds, settings), settings)
    minutes, routes = quickest_ways(ways)
    return _Ground(graph, beside, site, fitness, work, places, ways, routes, minutes, settings, weight)


def _judged(g: _Ground, configuration: AnchorConfiguration, throw: Throw | None, check: AnchorCheck) -> TieInPoint:
    """One candidate with everything but its place in the list."""
    place = contact_point(g.graph, configuration)
    here = _at(g, configuration, place)
    reached = replace(here.reach, swing_force=here.reach.swing_force * g.weight)
    electric = here.electric + clearances_of_throw(throw, g.places.lines, g.settings.approach)
    if configuration.tied_to:
        electric += clearances_of_base_leg(base_way(g.graph, configuration), g.places.lines, g.settings.approach)
    throw, refused = _throw_allowed(throw, electric)
    access = by_throw(g.graph, configuration.union, throw) if throw is not None else _climbed(g, configuration.union)
    stands_against = gates(g.graph, g.fitness, check, throw, reached, access, electric, g.settings) + _dead_outer_limbs(g.graph, configuration)
    look_first = refused + doubts(g.graph, check, throw, electric, g.settings) + (throw_crosses(throw, g.site) if throw is not None else ())
    look_first += _elsewhere(g, configuration) + _outer_limbs(g.graph, check)
    look_first += (Reason("swings_over_building"),) if swings_over_building(here.swept, g.site) else ()
    scored = _scores(g, place, check, throw, reached, configuration)
    lengths = np.linalg.norm(g.work.xyz[reached.served] - place, axis=1)
    point = TieInPoint(
        rank=0,
        union=configuration.union,
        label=g.graph.unions.label[configuration.union],
        system=configuration.system,
        hardware=f"{configuration.hardware}, round the stem" if round_stem(g.graph, configuration) else configuration.hardware,
        usable=not stands_against,
        verdict=verdict(stands_against, look_first),
        reasons=stands_against,
        check=check,
        throw=throw,
        reach=reached,
        access=access,
        rope=rope_plan(g.graph, g.beside, configuration, throw, place, float(lengths.max(initial=0.0)), g.settings),
        scores={c: scored[c][0] for c in CRITERIA},
        cautions=_cautions(configuration, throw, reached, look_first, g.places.lines),
        gates=stands_against,
        doubts=look_first,
        place=place,
        score_sd={c: scored[c][1] for c in CRITERIA},
        clearances=electric,
        fouling=_fouling(g, reached),
    )
    return replace(point, retrieval=retrieval(g.graph, point))


def _at(g: _Ground, configuration: AnchorConfiguration, place: Floats) -> _Place:
    """Reach and clearances of a place, computed once for all systems that share it."""
    p, seen = g.places, g.places.found
    own = own_limbs(g.graph, configuration)
    key = (*np.round(place, 3), *own)
    if key not in seen:
        reached = reach(g.graph, p.scene, place, own, g.work, p.work_limb, g.settings, 1.0)
        swept = _worst_arc(place, reached, g.work)
        seen[key] = _Place(reached, swept, clearances_at(place, g.work.xyz[reached.served], swept, p.lines, g.settings.approach))
    return seen[key]


def _elsewhere(g: _Ground, configuration: AnchorConfiguration) -> tuple[Reason, ...]:
    """What must be looked at where a basal line is tied to something else than the own stem."""
    if not configuration.tied_to:
        return ()
    away = float(np.hypot(*(configuration.base - g.graph.xyz[0])[:2]))
    clear = clear_between(g.places.scene, base_way(g.graph, configuration)[-2], configuration.base)
    return (Reason("tied_elsewhere", to=configuration.tied_to, away=away, fouled=not clear),)


def _outer_limbs(graph: WoodGraph, check: AnchorCheck) -> tuple[Reason, ...]:
    """The limbs under the climber's leg with what each bears, and the weakest of them."""
    configuration = check.configuration
    if not len(configuration.beyond):
        return ()
    forces = np.linalg.norm(np.atleast_2d(check.contact_forces)[1 + len(configuration.via) :], axis=1)
    limbs = tuple(
        Reason("limb_bears", limb=int(graph.limb[n]), diameter=2 * float(graph.segment_radius[n]), force=float(force))
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


def _dead_outer_limbs(graph: WoodGraph, configuration: AnchorConfiguration) -> tuple[Reason, ...]:
    """A limb under the climber's leg that looks dead stands against the line as one at the union does."""
    if not len(configuration.beyond):
        return ()
    u = graph.unions
    dead = {int(u.arm_limb[u.laterals(k)[0]]) for k in range(len(u)) if looks_dead(graph, k)}
    found = sorted({int(graph.limb[n]) for n in configuration.beyond} & dead)
    return tuple(Reason("outer_limb_dead", limb=k) for k in found)


def _fouling(g: _Ground, reached: Reach, most: int = 3) -> tuple[Reason, ...]:
    """The limbs that stand between the tie-in point and most of the work."""
    rows = reached.fouled >= 0
    if not rows.any():
        return ()
    weight = np.bincount(reached.fouled[rows], weights=g.work.weight[rows], minlength=len(g.graph.limbs)) / g.work.weight.sum()
    worst = [k for k in np.argsort(-weight, kind="stable")[:most] if weight[k] >= 0.01]
    return tuple(Reason("limb_fouls", limb=limb_named(g.graph, int(k)), share=float(weight[k])) for k in worst)


def _worst_arc(place: Floats, reached: Reach, work: Work) -> Floats:
    """The widest swept arc over the served work, (k, 3), empty when none is served."""
    rows = np.flatnonzero(reached.served)
    if len(rows) == 0:
        return np.zeros((0, 3))
    out = np.hypot(*(work.xyz[rows] - place)[:, :2].T)
    from_here = work.xyz[rows[np.argmax(out)]]
    return arc(place, from_here)[0]


def _throw_allowed(throw: Throw | None, electric: tuple[Clearance, ...]) -> tuple[Throw | None, tuple[Reason, ...]]:
    """A throw that comes too near a conductor is not used, and why."""
    near = [c for c in electric if c.what == "throw" and c.breach]
    if throw is None or not near:
        return throw, ()
    return None, (Reason("throw_near_conductor", to=near[0].to, distance=near[0].distance, limit=near[0].limit),)


def _climbed(g: _Ground, union: int) -> tuple[AccessStep, ...]:
    route = g.routes.get(union)
    return steps(g.graph, g.ways, route) if route else ()


def _scores(g: _Ground, place: Floats, check: AnchorCheck, throw: Throw | None, reached: Reach, configuration: AnchorConfiguration) -> dict[str, score.Scored]:
    minutes = score.effort_minutes(throw, g.minutes.get(configuration.union, inf), float(g.graph.unions.height[configuration.union]), g.settings)
    return {
        "height": score.height_over_work(place, g.work, g.settings.place_error),
        "margin": score.margin_score(g.graph, check, g.settings),
        "rope angle": score.rope_angle_score(reached, g.work, g.settings),
        "coverage": score.coverage_score(reached, g.work, g.settings),
        "isolation": score.isolation_score(throw, g.settings),
        "redundancy": score.redundancy_score(check, g.settings),
        "effort": score.effort_score(minutes, g.settings),
    }


def _cautions(configuration: AnchorConfiguration, throw: Throw | None, reached: Reach, look_first: tuple[Reason, ...], lines: tuple) -> tuple[str, ...]:
    """Keys of the cautions that matter most for one candidate."""
    out = ["planning_aid"]
    if configuration.system == "SRS basal":
        out.append("basal")
    if reached.swing_speed > 0:
        out.append("swing")
    if lines:
        out.append("electricity")
    if throw is not None:
        out.append("throwing")
    if look_first:
        out.append("condition")
    return tuple(out)
