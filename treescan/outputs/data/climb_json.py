"""The climb as a whole in anchors.json: sets, second lines, redirects, rescue, ways to the work, removal;
and what each anchor needs of it."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from treescan.assess import Assessment
from treescan.loads.checks.line_check import LineCheck, LineLost
from treescan.outputs.data.reason_data import all_with_data, as_one_text, with_data
from treescan.outputs.strict_json import number, place, vector
from treescan.planning.climb.climb_plan import ClimbPlan
from treescan.planning.climb.rescue import RescuePlan
from treescan.planning.lines.line_loads import LineEnd
from treescan.planning.lines.line_pair import LinePair
from treescan.planning.lines.neighbours import Hung, StraightLine
from treescan.planning.redirects.redirect import Redirect
from treescan.planning.removal.block_load import BlockLoad
from treescan.planning.removal.piece_swing import PieceSwing
from treescan.planning.removal.stage_strength import Strength
from treescan.planning.removal.stages import Stage
from treescan.planning.sets.sets import AnchorSet
from treescan.planning.tie_in_point import Clearance, TieInPoint


def climb_out(a: Assessment) -> dict[str, Any] | None:
    """The content of "climb"; None where nothing was planned."""
    c = a.climb
    if c is None:
        return None
    return {
        **all_with_data("warnings", c.warnings),
        "set": _set(a, c.anchors),
        "two_lines": {
            **_set(a, c.two_lines),
            "pair": _pair(a, c.pair),
            "pairs_refused": c.pairs_refused,
            **all_with_data("words", c.two_line_reasons()),
        },
        "redirects": [_redirect(a, label, r) for label, r in c.redirects],
        **all_with_data("redirects_left_out", c.redirect_reasons()),
        "neighbours": {
            "straight": [_straight(n) for n in c.neighbours.straight],
            "hung": [_hung(a, h) for h in c.neighbours.hung],
        },
        "rescue": [_rescue(r) for r in c.rescue],
        "ways": [
            {
                "work": w.label,
                "how": w.how,
                "by": w.by or None,
                "angle_deg": _degrees(w.angle),
                "margin_p5": number(w.low),
                **with_data("why", w.why),
            }
            for w in c.ways
        ],
        **all_with_data("left_over", c.left_over),
        "shares": {how: number(share) for how, share in c.shares.items()},
        "strata": _strata(c),
        **all_with_data("kit", c.kit),
        "removal": [_stage(a, s) for s in c.stages],
        "spar": [
            {
                "height_m": number(s.height),
                "diameter_m": number(s.diameter),
                "diameter_sd_m": number(s.diameter_sd),
            }
            for s in c.spar
        ],
    }


def beside_the_rank(p: TieInPoint) -> dict[str, Any]:
    """What one anchor adds: distances to conductors, getting the rope down, a load test."""
    t, r = p.load_test, p.retrieval
    return {
        "clearances": [_clearance(c) for c in p.clearances],
        **all_with_data("care", p.care),
        **all_with_data("fouling", p.fouling),
        "retrieval": None
        if r is None
        else {"verdict": r.verdict, "snags": list(r.snags), **with_data("words", r.words)},
        "load_test": None
        if t is None
        else {
            "pull_kn": number(t.pull / 1000.0),
            "on_union_kn": number(t.on_union / 1000.0),
            "direction": vector(t.direction),
            "people": t.people,
            "pullers_on_2_to_1": t.pullers,
            "share_of_governing_load": number(t.share),
            "clear_radius_m": number(t.clear_radius),
            **all_with_data("words", t.steps),
        },
    }


def _clearance(c: Clearance) -> dict[str, Any]:
    """One distance to one conductor."""
    return {
        "what": c.what,
        **with_data("to", c.to),
        "distance_m": number(c.distance),
        "limit_m": number(c.limit),
        "breach": c.breach,
        **with_data("words", c.words),
    }


def _straight(n: StraightLine) -> dict[str, Any]:
    """A rope straight from an anchor in another tree."""
    figures = {
        "anchor": n.anchor,
        "share": number(n.reach.share),
        "worst_angle_deg": _degrees(n.reach.worst_angle),
    }
    return {**figures, **with_data("words", n.reason)}


def _hung(a: Assessment, h: Hung) -> dict[str, Any]:
    """A line hung between two anchors."""
    return {
        "between": list(h.ends),
        "xyz": place(a.tree.frame.to_map(h.lines.place)),
        "angle_deg": _degrees(h.lines.between),
        "tension_kn": [number(t / 1000.0) for t in h.lines.tension],
        "runs_freely": h.runs,
        "rope_m": number(h.rope),
        "share": number(h.reach.share),
        "own_end": _end(h.end),
        **as_one_text("words", h.reasons),
    }


def _degrees(angle: float) -> float | None:
    return number(math.degrees(angle))


def _set(a: Assessment, s: AnchorSet) -> dict[str, Any]:
    names = [{"union": p.label, "system": p.system} for p in s.points]
    lines = [
        {
            "work": label,
            "line": int(first) if first >= 0 else None,
            "angle_deg": _degrees(s.points[first].reach.angle[w]) if first >= 0 else None,
            "second": int(second) if second >= 0 else None,
            "second_angle_deg": _degrees(s.points[second].reach.angle[w]) if second >= 0 else None,
        }
        for w, (label, first, second) in enumerate(zip(a.work.label, s.served, s.second, strict=True))
    ]
    return {
        "anchors": names,
        "share": number(s.share),
        "lines": lines,
        "unserved": list(s.unserved),
        **all_with_data("words", s.reasons),
    }


def _pair(a: Assessment, p: LinePair | None) -> dict[str, Any] | None:
    """Two lines to one climber, where they bear most."""
    if p is None:
        return None
    sides = zip(p.labels, p.systems, p.lines.tension, (p.check.first, p.check.second), p.lost, strict=True)
    return {
        "work": p.work,
        "work_points_shared": p.serves,
        "xyz": place(a.tree.frame.to_map(p.lines.place)),
        "angle_deg": _degrees(p.lines.between),
        "sideways_kn": number(p.lines.sideways / 1000.0),
        "case": p.case,
        "times_weight": number(p.factor),
        "lines": [
            {
                "union": label,
                "system": system,
                "tension_kn": number(t / 1000.0),
                **_line(check),
                "if_the_other_goes": _swing(lost),
            }
            for label, system, t, check, lost in sides
        ],
        "common": {"node": p.check.meet, **_line(p.check.common)},
        "breach": p.breach,
        **all_with_data("words", p.reasons),
    }


def _end(e: LineEnd | None) -> dict[str, Any] | None:
    """The own union at the end of a line hung to another tree."""
    if e is None:
        return None
    return {
        "union": e.label,
        "case": e.case,
        "times_weight": number(e.factor),
        "tension_kn": number(e.tension / 1000.0),
        **_line(e.check),
        "if_the_other_goes": None if e.lost is None else _swing(e.lost),
        "breach": e.breach,
    }


def _line(c: LineCheck | None) -> dict[str, Any]:
    """The wood under one line; all null where it was not judged."""
    if c is None:
        return {
            name: None
            for name in ("force_kn", "margin", "margin_p5", "governing_node", "mode", "reason", "reason_data")
        }
    return {
        "force_kn": number(float(np.linalg.norm(c.force)) / 1000.0),
        "margin": number(c.margin.median),
        "margin_p5": number(c.margin.p5),
        "governing_node": c.governing if c.governing >= 0 else None,
        "mode": c.mode or None,
        **with_data("reason", c.reason),
    }


def _swing(s: LineLost) -> dict[str, Any]:
    return {
        "sideways_m": number(s.sideways),
        "drop_m": number(s.drop),
        "speed_m_s": number(s.speed),
        "peak_kn": number(s.peak / 1000.0),
        **_line(s.check),
    }


def _redirect(a: Assessment, main: str, r: Redirect) -> dict[str, Any]:
    way, margins = r.way, r.margins
    return {
        "main": main,
        "union": way.label,
        "xyz": place(a.tree.frame.to_map(way.place)),
        "work": list(way.work),
        "angle_before_deg": _degrees(way.angle_before),
        "angle_after_deg": _degrees(way.angle_after),
        "angle_at_main_deg": _degrees(way.way_angle),
        "turn_deg": _degrees(way.turn),
        "force_over_tension": number(way.force),
        "main_stress_ratio": number(way.main_ratio),
        "main_margin_p5": number(margins.main),
        "margin_p5": number(margins.redirect),
        "spoils": margins.spoils,
        "exact": margins.exact,
        "swing_back_m": number(way.swing),
        **all_with_data("words", r.reasons),
    }


def _rescue(r: RescuePlan) -> dict[str, Any]:
    return {
        "work_anchor": r.work_anchor,
        "rescue_anchor": r.rescue_anchor,
        "independent": r.independent if r.rescue_anchor else None,
        "share": number(r.share),
        "two_person_margin_p5": number(r.two_person_margin),
        "ways_down": [
            {
                "work": c.label,
                "clear_m": number(c.clear),
                "height_m": number(c.height),
                **with_data("blocked_by", c.blocked_by),
            }
            for c in r.corridors
        ],
        **all_with_data("words", r.reasons),
    }


def _strata(c: ClimbPlan) -> list[dict[str, Any]]:
    return [
        {
            "height_class": s.height_class,
            "distance_class": s.distance_class,
            "height_m": [number(v) for v in s.height],
            "distance_m": [number(v) for v in s.distance],
            "weight": number(s.weight),
            "by_rope": number(s.by_rope),
            "with_walking": number(s.with_walking),
        }
        for s in c.strata
    ]


def _strength(s: Strength) -> dict[str, Any]:
    """One anchor in the tree as it stands at one cut."""
    return {
        "anchor": s.name,
        "margin": number(s.margin.median),
        "margin_p5": number(s.margin.p5),
        "whole_tree_margin_p5": number(s.whole.p5),
        "governing_node": s.governing if s.governing >= 0 else None,
        "catches": s.catches,
        "redundant": s.redundant,
        "holds": s.holds,
        "inspect_first": s.first,
        **with_data("against", s.against),
        **with_data("doubt", s.doubt),
    }


def _block(b: BlockLoad | None) -> dict[str, Any] | None:
    """What the rigging block bears at one cut."""
    if b is None:
        return None
    hard = b.stopped
    return {
        "union": b.union,
        "piece_kn": number(b.weight / 1000.0),
        "rope_over": b.over,
        "at_rest_kn": number(b.at_rest / 1000.0),
        "hauled_kn": number(b.hauled / 1000.0),
        "swing_from_deg": _degrees(b.swing_angle),
        "swing_peak_kn": number(b.swing_peak / 1000.0),
        "free_fall_m": number(b.free),
        "drop_m": number(b.drop),
        "stopped_computed_kn": number(b.computed / 1000.0),
        "stopped_friction": number(b.friction),
        "in_use": _line(b.calm.check),
        "stopped": None if hard is None else _line(hard.check),
    }


def _piece_swing(a: Assessment, s: PieceSwing | None) -> dict[str, Any] | None:
    """How the piece swings below its block."""
    if s is None:
        return None
    return {
        "sideways_m": number(s.sideways),
        "speed_m_s": number(s.speed),
        "reach_m": number(s.radius),
        "lowest": place(a.tree.frame.to_map(s.path[int(np.argmin(s.path[:, 2]))])),
    }


def _stage(a: Assessment, s: Stage) -> dict[str, Any]:
    removal = a.asked.removal
    life = removal.support_at(s.number - 1) if removal is not None else None
    return {
        "number": s.number,
        "label": s.cut.label,
        **with_data("cut", s.cut.piece),
        "node": s.cut.node,
        "height_m": number(s.height),
        "piece_length_m": number(s.length),
        "diameter_m": number(s.diameter),
        "diameter_sd_m": number(s.diameter_sd),
        "mass_kg": number(s.mass.median),
        "mass_p5_kg": number(s.mass.p5),
        "mass_p95_kg": number(s.mass.p95),
        "centre_of_mass": vector(s.centre),
        "moment_at_cut_knm": number(s.moment / 1000.0),
        "lost": list(s.lost),
        "left": list(s.left),
        "hang": list(s.hang),
        "spar": s.spar,
        "hang_elsewhere": list(s.elsewhere),
        "planned_life_support": life,
        "block": _block(s.block),
        "swing": _piece_swing(a, s.swing),
        "life_support": [_strength(x) for x in s.support],
        "strength_then": [_strength(x) for x in s.offered],
        **all_with_data("alarms", s.alarms),
        **all_with_data("room", s.room),
        **all_with_data("rigging", s.rigging),
        **as_one_text("words", s.reasons()),
    }
