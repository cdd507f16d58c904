"""The climb as a whole in anchors.json: sets, second lines, redirects, rescue, ways to the work, removal; and what each anchor needs of it."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from treescan.assess import Assessment
from treescan.loads.checks.line_check import LineCheck, Swing
from treescan.outputs.data.reason_data import all_with_data, with_data
from treescan.outputs.strict_json import number, place, vector
from treescan.planning.climb.climb_plan import ClimbPlan
from treescan.planning.climb.line_loads import LineEnd, LinePair
from treescan.planning.climb.redirects import Redirect
from treescan.planning.climb.rescue import RescuePlan
from treescan.planning.climb.sets import AnchorSet
from treescan.planning.tie_in_point import TieInPoint
from treescan.planning.work.removal import Stage


def climb_out(a: Assessment) -> dict[str, Any] | None:
    """The content of "climb"; None where nothing was planned."""
    c = a.climb
    if c is None:
        return None
    return {
        "warnings": list(c.warnings),
        "set": _set(a, c.anchors),
        "two_lines": {**_set(a, c.two_lines), "pair": _pair(a, c.pair)},
        "redirects": [_redirect(a, label, r) for label, r in c.redirects],
        "neighbours": {
            "straight": [{"anchor": name, "share": number(r.share), "worst_angle_deg": _degrees(r.worst_angle)} for name, r, _ in c.neighbours.straight],
            "hung": [
                {
                    "between": list(h.ends),
                    "xyz": place(a.tree.frame.to_map(h.lines.place)),
                    "angle_deg": _degrees(h.lines.between),
                    "tension_kn": [number(t / 1000.0) for t in h.lines.tension],
                    "runs_freely": h.runs,
                    "rope_m": number(h.rope),
                    "share": number(h.reach.share),
                    "own_end": _end(h.end),
                    "words": h.words,
                }
                for h in c.neighbours.hung
            ],
        },
        "rescue": [_rescue(r) for r in c.rescue],
        "ways": [{"work": w.label, "how": w.how, "by": w.by or None, "angle_deg": _degrees(w.angle)} for w in c.ways],
        "shares": {how: number(share) for how, share in c.shares.items()},
        "strata": _strata(c),
        **all_with_data("kit", c.kit),
        "removal": [_stage(s) for s in c.stages],
        "spar": [{"height_m": number(h), "diameter_m": number(d), "diameter_sd_m": number(sd)} for h, d, sd in c.spar],
    }


def beside_the_rank(p: TieInPoint) -> dict[str, Any]:
    """What one anchor adds: distances to conductors, getting the rope down, a load test."""
    t, r = p.load_test, p.retrieval
    return {
        "clearances": [
            {"what": c.what, **with_data("to", c.to), "distance_m": number(c.distance), "limit_m": number(c.limit), "breach": c.breach} for c in p.clearances
        ],
        **all_with_data("care", p.care),
        **all_with_data("fouling", p.fouling),
        "retrieval": None if r is None else {"verdict": r.verdict, "snags": list(r.snags), **with_data("words", r.words)},
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
            "words": list(t.words),
        },
    }


def _degrees(angle: float) -> float | None:
    return number(math.degrees(angle))


def _set(a: Assessment, s: AnchorSet) -> dict[str, Any]:
    names = [{"union": p.label, "system": p.system} for p in s.points]
    lines = [
        {"work": label, "line": int(first) if first >= 0 else None, "second": int(second) if second >= 0 else None}
        for label, first, second in zip(a.work.label, s.served, s.second, strict=True)
    ]
    return {"anchors": names, "share": number(s.share), "lines": lines, "unserved": list(s.unserved), "words": list(s.words)}


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
            {"union": label, "system": system, "tension_kn": number(t / 1000.0), **_line(check), "if_the_other_goes": _swing(lost)}
            for label, system, t, check, lost in sides
        ],
        "common": {"node": p.check.meet, **_line(p.check.common)},
        "breach": p.breach,
        "words": list(p.words),
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


def _line(c: LineCheck) -> dict[str, Any]:
    return {
        "force_kn": number(float(np.linalg.norm(c.force)) / 1000.0),
        "margin": number(c.margin.median),
        "margin_p5": number(c.margin.p5),
        "governing_node": c.governing if c.governing >= 0 else None,
        "mode": c.mode or None,
        "reason": c.reason or None,
    }


def _swing(s: Swing) -> dict[str, Any]:
    return {
        "sideways_m": number(s.sideways),
        "drop_m": number(s.drop),
        "speed_m_s": number(s.speed),
        "peak_kn": number(s.peak / 1000.0),
        **_line(s.check),
    }


def _redirect(a: Assessment, label: str, r: Redirect) -> dict[str, Any]:
    return {
        "main": label,
        "union": r.label,
        "xyz": place(a.tree.frame.to_map(r.place)),
        "work": list(r.work),
        "angle_before_deg": _degrees(r.angle_before),
        "angle_after_deg": _degrees(r.angle_after),
        "angle_at_main_deg": _degrees(r.way_angle),
        "turn_deg": _degrees(r.turn),
        "force_over_tension": number(r.force),
        "main_stress_ratio": number(r.main_ratio),
        "main_margin_p5": number(r.main_margin),
        "margin_p5": number(r.margin),
        "spoils": r.spoils,
        "swing_back_m": number(r.swing),
        "words": list(r.words),
    }


def _rescue(r: RescuePlan) -> dict[str, Any]:
    return {
        "work_anchor": r.work_anchor,
        "rescue_anchor": r.rescue_anchor or None,
        "share": number(r.share),
        "two_person_margin_p5": number(r.two_person_margin),
        "ways_down": [
            {"work": c.label, "clear_m": number(c.clear), "height_m": number(c.height), "blocked_by": c.blocked_by or None} for c in r.corridors
        ],
        "words": list(r.words),
    }


def _strata(c: ClimbPlan) -> list[dict[str, Any]]:
    return [
        {
            "height_class": s.height_class,
            "distance_class": s.distance_class,
            "weight": number(s.weight),
            "by_rope": number(s.by_rope),
            "with_walking": number(s.with_walking),
        }
        for s in c.strata
    ]


def _stage(s: Stage) -> dict[str, Any]:
    return {
        "number": s.number,
        "cut": s.cut.label,
        "node": s.cut.node,
        "height_m": number(s.height),
        "piece_length_m": number(s.length),
        "diameter_m": number(s.diameter),
        "diameter_sd_m": number(s.diameter_sd),
        "mass_kg": number(s.mass.median),
        "mass_p5_kg": number(s.mass.p5),
        "mass_p95_kg": number(s.mass.p95),
        "lost": list(s.lost),
        "left": list(s.left),
        "hang": list(s.hang),
        "spar": s.spar,
        "alarms": list(s.alarms),
        "words": s.words(),
    }
