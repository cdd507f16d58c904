"""anchors.json: every candidate with every number behind it, in map coordinates and the units of the
contract."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from treescan.assess import Assessment
from treescan.cautions import all_cautions
from treescan.loads.hidden_defects import TESTED, chance_told
from treescan.loads.limb_check import AnchorCheck, Borne, Break, Catch, PassedTest
from treescan.outputs.data.climb_json import beside_the_rank, climb_out
from treescan.outputs.data.for_programs import for_programs
from treescan.outputs.data.reason_data import all_with_data, with_data
from treescan.outputs.rows.contact_rows import ContactRow, contact_rows
from treescan.outputs.shapes.place_names import place_names, place_of
from treescan.outputs.strict_json import number, place, tame, vector
from treescan.outputs.text.say import text, word
from treescan.outputs.text.wording import file_name
from treescan.planning.climb.left_out import ScreenedUnion
from treescan.planning.tie_in_point import AccessStep, Reach, TieInPoint
from treescan.reason import Reason
from treescan.throw.throw_path import ISOLATION, Throw
from treescan.units import G

FORMAT, VERSION = "treescan-anchors", 1


@for_programs
def anchors_out(a: Assessment) -> dict[str, Any]:
    """The content of anchors.json."""
    fitness = a.tree.fitness
    return {
        "format": FORMAT,
        "version": VERSION,
        "units": "m",
        "crs": a.tree.frame.crs,
        "source": file_name(a.tree.source),
        **with_data("species", a.species),
        "assessable": fitness.assessable,
        **all_with_data("not_assessable_because", () if fitness.assessable else fitness.reasons),
        **all_with_data("approach", a.approach.reasons),
        **all_with_data("warnings", a.warnings),
        **all_with_data("statements", a.statements),
        "climb": climb_out(a),
        "left_out": {
            "screened": [_screened(a, s) for s in a.left_out.screened],
            "changes": [
                {
                    "union": c.label,
                    "line": c.line,
                    "height": number(c.height),
                    **all_with_data("words", c.changes),
                }
                for c in a.left_out.changes
            ],
            **all_with_data("words", a.left_out.reasons),
        },
        "settings": tame(a.settings),
        "cautions": list(all_cautions()),
        "anchors": [anchor_out(a, p) for p in a.points],
    }


@for_programs
def anchor_out(a: Assessment, p: TieInPoint) -> dict[str, Any]:
    """One candidate."""
    unions, frame = a.tree.graph.unions, a.tree.frame
    return {
        "rank": p.rank if p.usable and p.rank > 0 else None,
        "union": p.label,
        **with_data("place", place_of(a.tree.graph, p)),
        "xyz": place(frame.to_map(unions.place[p.union])),
        "height": number(unions.height[p.union]),
        "system": p.system,
        "hardware": p.hardware,
        "tied_to": p.check.configuration.tied_to or None,
        "usable": bool(p.usable),
        "verdict": p.verdict,
        **all_with_data("reasons", p.reasons),
        "load": _load(a, p.check) | {"contacts": [_contact(r) for r in contact_rows(a, p)]},
        "exceptional": _exceptional(p.check),
        "capacity": _capacity(p.check),
        "throw": None if p.throw is None else _throw(a, p.throw),
        "fallback": [_catch(c) for c in p.check.catches],
        "breaks": [_break(b) for b in p.check.breaks],
        "redundant": bool(p.check.redundant),
        **_cause(p.check.common_cause),
        "coverage": _coverage(p.reach),
        "access": [_step(s) for s in p.access],
        "rope": {
            "length_m": number(p.rope.length),
            "throwline_m": number(p.rope.throwline),
            "parts": [{"what": what, "length_m": number(m)} for what, m in p.rope.parts],
            "stock_m": number(p.rope.stock),
            "reaches_ground": bool(p.rope.reaches_ground),
            **all_with_data("kit", p.rope.kit),
        },
        "scores": {k: number(v) for k, v in p.scores.items()},
        "score": number(p.score),
        "rank_stability": number(p.rank_stability),
        "pareto": bool(p.pareto),
        "tie_with_next": bool(p.tie),
        "tie_ranks": list(p.level) if p.tied else None,
        "first_chance": number(p.first_chance),
        **all_with_data("look_first", p.doubts),
        **beside_the_rank(p),
        "cautions": list(p.cautions),
    }


def _screened(a: Assessment, s: ScreenedUnion) -> dict[str, Any]:
    """A union judged by one line only."""
    configuration = s.check.configuration
    return {
        "union": s.label,
        **with_data("place", place_names(a.tree.graph)[a.tree.graph.unions.index(s.label)]),
        "height": number(s.height),
        "diameter_m": number(s.diameter),
        "system": configuration.system,
        "hardware": configuration.hardware,
        "thrown": s.throw is not None,
        "usable": not s.gates,
        "capacity": _capacity(s.check),
        **all_with_data("reasons", s.gates),
    }


def _step(s: AccessStep) -> dict[str, Any]:
    """One step of the way up."""
    return {
        "union": s.label if s.union is not None else None,
        "place": s.label,
        "height": number(s.height),
        "way": s.how,
        "line": s.line or None,
        "line_margin_p5": number(s.low),
        **with_data("how", s.words),
    }


def worst_work_point(a: Assessment, check: AnchorCheck) -> str:
    """The work point that governs the load by its label, or that it is the rope straight below."""
    row = check.worst_work_point
    return a.work.label[row] if 0 <= row < len(a.work) else text("work_straight_below")


def _load(a: Assessment, check: AnchorCheck) -> dict[str, Any]:
    """The governing load in ordinary use.

    `multiple_of_weight` is the force over the rope's pull at the climber: what the configuration makes of
    the weight of a climber hanging still; `force_over_weight` is all of the force over the weight, as in the
    exceptional case.
    """
    size = float(np.linalg.norm(check.force))
    known = math.isfinite(size) and size > 0
    return {
        "force_kn": number(size / 1000.0),
        "multiple_of_weight": number(check.multiple_of_weight),
        "direction": vector(check.force / size) if known else [None, None, None],
        "force_over_weight": number(size / (a.settings.loads.climber_mass * G)),
        "case": check.case,
        "worst_work_point": worst_work_point(a, check),
        "friction_multiple": number(check.friction_multiple),
        "contact_forces_kn": [
            [number(v / 1000.0) for v in f] for f in np.atleast_2d(check.contact_forces) if len(f)
        ],
    }


def _contact(r: ContactRow) -> dict[str, Any]:
    """One contact of the rope under the governing load; a turning of null is a choke, or was not seen."""
    return {
        **with_data("on", r.on),
        "side": r.side,
        "node": r.node,
        "height_m": number(r.height),
        "diameter_m": number(r.diameter),
        "force_kn": [number(v / 1000.0) for v in r.force],
        "size_kn": number(float(np.linalg.norm(r.force)) / 1000.0),
        "turn_deg": number(math.degrees(r.turn)),
    }


def _exceptional(check: AnchorCheck) -> dict[str, Any] | None:
    """The abrupt stop or swing, beside ordinary use; both multiples are the whole shock over the climber's
    weight."""
    hard = check.exceptional
    if hard is None:
        return None
    return {
        "case": hard.case,
        "force_kn": number(float(np.linalg.norm(hard.force)) / 1000.0),
        "multiple_of_weight": number(hard.multiple_of_weight),
        "force_over_weight": number(hard.multiple_of_weight),
        "margin_median": number(hard.margin.median),
        "margin_p5": number(hard.margin.p5),
        "margin_p95": number(hard.margin.p95),
        "overload_chance": number(hard.overload_chance),
        "chance_told": number(hard.chance_told),
        "governing": {"node": int(hard.governing), "mode": hard.mode},
    }


def _capacity(check: AnchorCheck) -> dict[str, Any]:
    c = check.check
    at = np.flatnonzero(np.asarray(c.nodes) == c.governing)
    return {
        "margin_median": number(c.margin.median),
        "margin_p5": number(c.margin.p5),
        "margin_p95": number(c.margin.p95),
        "overload_chance": number(c.overload_chance),
        "chance_told": number(c.chance_told),
        "proof": c.proof,
        "verdict": c.verdict,
        "within_deg": number(math.degrees(check.within)),
        "two_people_within_deg": number(math.degrees(check.two_people_within)),
        "if_tested": [_passed(t) for t in c.tested],
        "borne": _borne(c.borne),
        **with_data("reason", c.reason),
        "governing": {
            "node": int(c.governing) if c.governing >= 0 else None,
            "mode": c.mode,
            "utilisation": number(c.utilisation[at[0]]) if len(at) else None,
        },
        "way_down_nodes": [int(n) for n in c.nodes],
        "self_weight_share": number(c.self_weight_share),
        "deflection_m": number(c.deflection),
        **all_with_data("notes", c.notes),
        "sources": list(c.sources),
    }


def _borne(b: Borne | None) -> dict[str, Any] | None:
    """What the wood has borne before; None where nothing counts."""
    if b is None:
        return None
    return {
        "years": b.years,
        "gust_ms": number(b.gust),
        "share": number(b.share.median),
        "share_p5": number(b.share.p5),
        "margin_p5": number(b.low),
        "overload_chance": number(b.overload_chance),
        "rain": b.rain,
        "snow": b.snow,
    }


def _passed(t: PassedTest) -> dict[str, Any]:
    """What a load test would show, if it is passed."""
    return {
        "size": number(t.size),
        "pull_kn": number(t.pull / 1000.0),
        "people": number(t.people),
        "moment_knm": number(t.moment / 1000.0),
        "moment_share": number(t.moment_share),
        "margin_p5": number(t.low),
        "overload_chance": number(t.overload_chance),
        "chance_told": number(chance_told(t.overload_chance, TESTED)),
    }


def _throw(a: Assessment, t: Throw) -> dict[str, Any]:
    frame = a.tree.frame
    return {
        "isolation_class": int(t.isolation_class),
        "isolation": word(ISOLATION[t.isolation_class]),
        "chance": number(t.chance),
        "expected_throws": number(t.expected_throws),
        "stand_xyz": place(frame.to_map(t.stand)),
        "aim": {
            "azimuth_deg": number(math.degrees(t.azimuth) % 360.0),
            "elevation_deg": number(math.degrees(t.elevation)),
            "speed_ms": number(t.speed),
        },
        "method": t.method,
        "captured": [word(u) for u in t.captured_unions],
        "workings": int(t.workings),
        "rest_xyz": place(frame.to_map(t.rest)),
        "rest_distance_m": number(t.rest_distance),
        "slides_to_union": bool(t.slides),
        "least_weight_kg": number(t.min_weight),
        **all_with_data("steps", t.steps),
    }


def _cause(cause: Reason | None) -> dict[str, Any]:
    """The wood anchor and back-up share; an empty text where there is none."""
    return (
        with_data("common_cause", cause)
        if cause is not None
        else {"common_cause": "", "common_cause_data": None}
    )


def _break(b: Break) -> dict[str, Any]:
    """One place where it may give way, and what follows."""
    return {
        "kind": b.kind,
        "node": int(b.node),
        **with_data("words", b.reason),
        "redundant": bool(b.redundant),
        "likely": bool(b.likely),
        "fallback": [_catch(c) for c in b.catches],
    }


def _catch(c: Catch) -> dict[str, Any]:
    out: dict[str, Any] = {
        "union": c.label if not c.ground else None,
        "slide_m": number(c.slide),
        "drop_m": number(c.drop),
        "peak_kn": number(c.peak / 1000.0),
        "margin_p5": number(c.margin.p5),
        "margin_median": number(c.margin.median),
        **with_data("words", c.reason),
    }
    if c.ground:
        out["ground"] = True
    return out


def _coverage(r: Reach) -> dict[str, Any]:
    return {
        "share": number(r.share),
        "share_at": [
            {"angle_deg": number(math.degrees(limit)), "share": number(share)} for limit, share in r.share_at
        ],
        "worst_angle_deg": number(math.degrees(r.worst_angle)),
        "swing_m": number(r.swing),
        "swing_speed_ms": number(r.swing_speed),
        **with_data("swing_hits", r.swing_hits),
        "swing_force_kn": number(r.swing_force / 1000.0),
    }
