"""How good is a candidate, criterion by criterion, and how well is each score known?"""

from __future__ import annotations

from math import exp, log

import numpy as np

from treescan.loads.limb_check import WITHIN, AnchorCheck
from treescan.planning.access.access_order import throw_minutes
from treescan.planning.settings import PlanningSettings
from treescan.planning.tie_in_point import Floats, Reach, Work
from treescan.throw.throw_path import Throw
from treescan.wood.graph import WoodGraph

Scored = tuple[float, float]
"""A desirability in [0, 1] and its error."""

FULL_MARGIN = 3.0
"""A margin of this many times the gate scores 1 (project choice): beyond it more wood adds nothing."""


STEP = 0.5
"""A drop no longer than a step [m]: costs no redundancy."""


def height_over_work(place: Floats, work: Work, error: float) -> Scored:
    """Share of the work that lies below the tie-in point; the error is what moves when the place is off by
    `error` metres."""
    total = float(work.weight.sum())

    def below(z: float) -> float:
        return float(work.weight[work.xyz[:, 2] < z].sum()) / total

    return below(place[2]), (below(place[2] + error) - below(place[2] - error)) / 2


def margin_score(graph: WoodGraph, check: AnchorCheck, settings: PlanningSettings) -> Scored:
    """ln(p5 / gate) / ln(FULL_MARGIN), held in [0, 1]; none where it holds one climber only.

    Where it was judged nearer to plumb than was asked, for it fails or is doubtful farther out, or holds a rescuer
    only nearer to plumb, no more than what is asked of it counts: a heavier crew, judged so, gains nothing by that.
    Its error comes from the limb's own diameter alone: strength goes with d^3, so the logarithm errs by 3 sd
    / d. What is common to the whole tree (species strength) moves all candidates alike and cannot change the
    order.
    """
    p5 = check.check.margin.p5
    if not p5 > 0 or check.one_climber_only:
        return 0.0, 0.0
    if check.two_people_within < settings.rope_angle_limit - 1e-6:
        p5 = min(p5, settings.margin_doubt if check.check.verdict == WITHIN else settings.margin_gate)
    node = int(check.check.governing)
    cv = float(graph.radius_sd[node] / graph.radius[node]) if np.isfinite(graph.radius_sd[node]) else 0.05
    return _held(log(p5 / settings.margin_gate) / log(FULL_MARGIN)), 3 * cv / log(FULL_MARGIN)


def rope_angle_score(reach: Reach, work: Work, settings: PlanningSettings) -> Scored:
    """1 - mean rope angle over the work within the limit / the limit; work that the rope would reach and the wood
    does not hold out to counts as if at the limit."""
    if not reach.served.any():
        return 0.0, 0.0
    limit = settings.rope_angle_limit
    near = reach.served | ((reach.fouled < 0) & (reach.angle <= limit))
    mean = float(np.average(np.where(reach.served, reach.angle, limit)[near], weights=work.weight[near]))
    return _held(1 - mean / limit), settings.angle_error / limit


def coverage_score(reach: Reach, work: Work, settings: PlanningSettings) -> Scored:
    """Share of the work served; the error is what moves when the angle limit is off by the angle error."""
    clear = reach.fouled < 0
    total = float(work.weight.sum())
    wide = (
        float(work.weight[clear & (reach.angle <= settings.rope_angle_limit + settings.angle_error)].sum())
        / total
    )
    tight = (
        float(work.weight[clear & (reach.angle <= settings.rope_angle_limit - settings.angle_error)].sum())
        / total
    )
    return reach.share, max(wide - tight, 0.0) / 2


def isolation_score(throw: Throw | None, settings: PlanningSettings) -> Scored:
    """1 - ln(expected throws) / ln(most throws): 1 when the first throw sets it, 0 when no throw does."""
    if throw is None or throw.chance <= 0:
        return 0.0, 0.0
    scale = log(settings.max_throws)
    return _held(1 - log(max(throw.expected_throws, 1.0)) / scale), settings.chance_error / scale


def redundancy_score(check: AnchorCheck, settings: PlanningSettings) -> Scored:
    """From 1 down to 0 by what happens when the union gives out.

    1: a later limb holds the climber above the ground with margin after a drop of a step's height; falling
    evenly to 0.4 when the drop is `hard_drop` or more; 0.6 of that when anchor and back-up share wood; 0.2:
    something catches, without margin; 0: nothing does.

    The error is that of the catching margin near 1: how likely the answer flips.
    """
    caught = [c for c in check.catches if not c.ground]
    value = 0.2 * bool(caught)
    if check.redundant:
        drop = caught[0].drop if caught else settings.hard_drop
        value = 1.0 - 0.6 * _held((drop - STEP) / max(settings.hard_drop - STEP, 1e-9))
        value *= 0.6 if check.common_cause else 1.0
    known = [c.margin for c in caught if c.margin.known and c.margin.p5 > 0]
    if not known:
        return value, 0.0
    best = max(known, key=lambda m: m.p5)
    spread = max((log(best.p95) - log(best.p5)) / 3.29, 1e-6)
    flip = exp(-0.5 * (log(best.p5) / spread) ** 2)
    return value, 0.35 * flip


def effort_minutes(throw: Throw | None, way: float, place_height: float, settings: PlanningSettings) -> float:
    """Expected minutes until the first climber hangs at the tie-in point. [min]

    way : minutes of the quickest way up where no throw sets the line itself; one change-over comes on top of
    it. inf = no way.
    """
    if throw is not None:
        return throw_minutes(throw) + place_height * settings.minutes_per_metre
    return way + settings.minutes_per_step


def effort_score(minutes: float, settings: PlanningSettings) -> Scored:
    """1 - minutes / full, held in [0, 1]; minutes are guessed within `effort_error`."""
    return _held(1 - minutes / settings.minutes_full), float(
        min(settings.effort_error * minutes / settings.minutes_full, 0.25)
    )


def _held(x: float) -> float:
    return float(min(1.0, max(0.0, x)))
