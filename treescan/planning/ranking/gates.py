"""What stands against a candidate, and what must be looked at first?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from treescan.loads.judging.verdict import whole_people
from treescan.loads.limb_check import FAILS, IF_TESTED, AnchorCheck
from treescan.loads.limb_check import UNSEEN as UNSEEN_VERDICT
from treescan.planning.candidates.contact import looks_dead, round_stem
from treescan.planning.candidates.rescan_advice import rescan_advice
from treescan.planning.settings import PlanningSettings
from treescan.planning.tie_in_point import AccessStep, Clearance, Reach
from treescan.reason import Reason
from treescan.throw.throw_path import Throw
from treescan.wood.graph import ScanFitness, WoodGraph

NEXT_TO = 0.5
"""A weakest section nearer to the rope than this is next to it. [m]"""

SD_90 = 1.645
"""Standard deviations on one side of the middle that hold 95 % of a normal distribution."""


def rest_diameter(graph: WoodGraph, check: AnchorCheck) -> tuple[float, float]:
    """Diameter of the limb the rope bears on and its standard deviation; NaN = not stated. [m]"""
    node = check.configuration.rest_node
    return 2 * float(graph.segment_radius[node]), 2 * float(graph.radius_sd[node])


def bearing_row(graph: WoodGraph, check: AnchorCheck) -> int:
    """Row of the arm table the rope bears on, -1 where the rest node lies on no arm of this union."""
    u = graph.unions
    rows = np.arange(u.arm_start[check.configuration.union], u.arm_start[check.configuration.union + 1])
    found = rows[u.arm_limb[rows] == graph.limb[check.configuration.rest_node]]
    return int(found[0]) if len(found) else -1


def gates(
    graph: WoodGraph,
    fitness: ScanFitness,
    check: AnchorCheck,
    throw: Throw | None,
    reach: Reach,
    access: tuple[AccessStep, ...],
    electric: tuple[Clearance, ...],
    settings: PlanningSettings,
) -> tuple[Reason, ...]:
    """Reasons not to rank a candidate; empty when there is none."""
    return (
        *refusals(graph, fitness, check, electric, settings),
        *((Reason("not_reachable"),) if throw is None and not access else ()),
        *((Reason("serves_no_work"),) if reach.share <= 0 else ()),
    )


def refusals(
    graph: WoodGraph,
    fitness: ScanFitness,
    check: AnchorCheck,
    electric: Sequence[Clearance],
    settings: PlanningSettings,
) -> tuple[Reason, ...]:
    """What stands against hanging on a line at all, whatever the work and the way up; empty when nothing does."""
    unseen = _scan_gates(graph, fitness, check)
    return (
        *unseen,
        *((rescan_advice(graph, check),) if unseen and fitness.assessable else ()),
        *_wood_gates(graph, check, settings),
        *_margin_gate(graph, check, settings),
        *(
            Reason("anchor_near_conductor", to=c.to, distance=c.distance, limit=c.limit)
            for c in electric
            if c.breach and c.what == "tie-in point"
        ),
        *_dead_outer_limbs(graph, check),
    )


def _dead_outer_limbs(graph: WoodGraph, check: AnchorCheck) -> tuple[Reason, ...]:
    """A limb under the climber's leg that looks dead stands against the line as one at the union does."""
    if not len(check.configuration.beyond):
        return ()
    u = graph.unions
    dead = {int(u.arm_limb[u.laterals(k)[0]]) for k in range(len(u)) if looks_dead(graph, k)}
    found = sorted({int(graph.limb[n]) for n in check.configuration.beyond} & dead)
    return tuple(Reason("outer_limb_dead", limb=k) for k in found)


def _scan_gates(graph: WoodGraph, fitness: ScanFitness, check: AnchorCheck) -> list[Reason]:
    out = []
    if not fitness.assessable:
        out += [Reason("scan_not_assessable", why=why) for why in fitness.reasons or (None,)]
    union, node = check.configuration.union, check.configuration.rest_node
    height = float(graph.unions.height[union])
    for band in fitness.bands:
        if band["from_m"] <= height < band["to_m"] and band["fit_for"] == "nothing":
            out.append(Reason("height_not_seen", low=band["from_m"], high=band["to_m"]))
    limb = fitness.of_limb(int(graph.limb[node]))
    if limb.get("fit_for") == "nothing":
        out.append(Reason("limb_not_seen", rescan=limb["rescan"]))
    if "bridged" in graph.unions.flags[union]:
        out.append(Reason("union_bridged"))
    elif not graph.seen[node]:
        out.append(Reason("limb_bridged"))
    elif not np.isfinite(graph.segment_radius[node]):
        out.append(Reason("diameter_not_seen"))
    elif check.check.verdict == "not seen":
        out.append(Reason("strength_not_seen", why=check.check.reason))
    return out


def _wood_gates(graph: WoodGraph, check: AnchorCheck, settings: PlanningSettings) -> list[Reason]:
    out = []
    choked = round_stem(graph, check.configuration)
    if looks_dead(graph, check.configuration.union) and not choked:
        out.append(Reason("dead_suspect"))
    diameter, _ = rest_diameter(graph, check)
    if diameter < settings.min_limb:
        out.append(Reason("too_thin", stem=choked, diameter=diameter, asked=settings.min_limb))
    arm = bearing_row(graph, check)
    if arm >= 0 and not choked and graph.unions.arm_slope[arm] < -settings.steepest_droop:
        out.append(Reason("limb_droops", angle=-float(graph.unions.arm_slope[arm])))
    return out


def _margin_gate(graph: WoodGraph, check: AnchorCheck, settings: PlanningSettings) -> list[Reason]:
    found = check.check
    if found.verdict == "not seen":
        return []
    margin, where = found.margin, _breaks_first(graph, check)
    if found.verdict == "does not hold" and margin.p5 >= settings.margin_gate:
        return [Reason("does_not_hold", why=found.reason, where=where)]
    if not margin.p5 >= settings.margin_gate:
        median, p5 = (margin.median, margin.p5) if margin.known else (None, None)
        asked = settings.margin_gate
        return [
            Reason(
                "margin_low", median=median, p5=p5, asked=asked, mode=found.mode, case=check.case, where=where
            )
        ]
    return []


def _breaks_first(graph: WoodGraph, check: AnchorCheck) -> Reason | None:
    """Where it would go first; None where that is not known."""
    node = check.check.governing
    if not 0 < node < len(graph):
        return None
    away = float(np.linalg.norm(graph.xyz[node] - graph.xyz[check.configuration.rest_node]))
    return Reason(
        "breaks_first",
        diameter=2 * float(graph.segment_radius[node]),
        height=float(graph.xyz[node, 2] - graph.xyz[0, 2]),
        away=away if away >= NEXT_TO else None,
    )


def doubts(
    graph: WoodGraph,
    check: AnchorCheck,
    throw: Throw | None,
    electric: tuple[Clearance, ...],
    settings: PlanningSettings,
) -> tuple[Reason, ...]:
    """What to look at first although nothing stands against it."""
    return (
        *_strength_doubts(check, settings),
        *_wood_doubts(graph, check, settings),
        *_rope_doubts(graph, check, throw),
        *(c.words for c in electric if c.breach and c.what != "tie-in point"),
    )


def _strength_doubts(check: AnchorCheck, settings: PlanningSettings) -> list[Reason]:
    out = []
    margin, hard = check.check.margin, check.exceptional
    if check.within < settings.rope_angle_limit - 1e-6 and check.check.verdict not in {FAILS, UNSEEN_VERDICT}:
        out.append(Reason("works_within", angle=check.within))
    if check.one_climber_only:
        out.append(Reason("one_climber_only"))
    if 0 < check.rescued < check.within - 1e-6 and check.check.verdict not in {FAILS, UNSEEN_VERDICT}:
        out.append(Reason("two_people_within", angle=check.rescued))
    if check.check.verdict == IF_TESTED:
        test = check.check.tested[-1]
        out.append(Reason("test_first", people=whole_people(test.people), pull=test.pull, size=test.size, moment=test.moment, low=margin.p5))
    elif margin.known and margin.p5 < settings.margin_doubt:
        out.append(Reason("margin_doubtful", p5=margin.p5, asked=settings.margin_doubt))
    elif check.check.verdict == "doubtful":
        out.append(Reason("check_doubtful", why=check.check.reason))
    if hard is not None and hard.margin.known and hard.low:
        out.append(Reason("exceptional_margin_low", case=hard.case, p5=hard.margin.p5))
    return out


def _wood_doubts(graph: WoodGraph, check: AnchorCheck, settings: PlanningSettings) -> list[Reason]:
    out = []
    union, arc = check.configuration.union, float(graph.arc[check.configuration.rest_node])
    diameter, sd = rest_diameter(graph, check)
    if np.isfinite(sd) and diameter - SD_90 * sd < settings.min_limb <= diameter:
        stem = round_stem(graph, check.configuration)
        out.append(Reason("may_be_too_thin", stem=stem, asked=settings.min_limb, diameter=diameter, sd=sd))
    if arc < settings.min_arc:
        out.append(Reason("one_side_seen", arc=arc))
    arms = graph.unions.arm_diameter[graph.unions.arms(union)]
    if len(arms) > 1 and arms[1] >= settings.max_included * arms[0]:
        out.append(Reason("codominant", ratio=float(arms[1] / arms[0])))
    return out


def _rope_doubts(graph: WoodGraph, check: AnchorCheck, throw: Throw | None) -> list[Reason]:
    out = []
    if check.check.lively:
        out.append(Reason("lively", deflection=check.check.deflection, turn=check.check.slope_change))
    if check.rope_slip > 0:
        out.append(Reason("rope_can_slide", way=check.rope_slip))
    if check.common_cause:
        out.append(Reason("common_wood", why=check.common_cause))
    if throw is not None and throw.isolation_class == 3:
        unions = [u for u in throw.captured_unions if u in graph.unions.label]
        more = len(throw.captured_unions) - len(unions) if unions else 0
        out.append(Reason("line_over_unions", unions=unions, more=more))
    return out
