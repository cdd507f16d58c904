"""What does the page show of a plan, in the reader's words? Rows, cards, differences: all as `outputs` says them."""

from __future__ import annotations

from typing import Any

import numpy as np

from treescan.assess import Assessment
from treescan.cautions import CAUTIONS
from treescan.errors import BadInput
from treescan.faces.served.desk import Desk, FirstAnswers
from treescan.faces.session.differences import differences
from treescan.faces.session.said import said
from treescan.faces.told.summary import plan_lines, tree_lines
from treescan.loads.limb_check import AnchorCheck, AnchorConfiguration
from treescan.outputs.report.cards import card
from treescan.outputs.report.why_not import never_judged, why_not
from treescan.outputs.text.say import figure, say, say_all, text, word
from treescan.outputs.text.wording import written_for
from treescan.planning.tie_in_point import TieInPoint
from treescan.throw.throw_path import Throw


def state(desk: Desk) -> dict[str, Any]:
    """All that changes on the page of one tree."""
    with desk._changed:
        history, work, version = desk.history, desk.work, desk.version
        fault, took, thrown, written, first = desk.fault, desk.took, desk.throws_told(), desk.written, desk.first
    now, before = desk.plan, desk.plan_before
    with written_for(history.inputs.all_settings().reader):
        plan, changed = _of_plan(desk, now, before)
        return {
            "version": version,
            "at": history.at,
            "lines": [{"line": n, "kind": c.kind, "says": say(said(c, desk.tree))} for n, c in history.lines],
            "named": list(history.named),
            "inputs": _inputs(desk),
            "work": None if work is None else {"stage": work.stage, "share": round(work.share, 3)},
            "fault": fault,
            "took": None if took is None else round(took, 3),
            "tree": say_all(tree_lines(desk.tree)),
            "plan": plan,
            "changed": changed,
            "first": _first(desk, first, before),
            "lacks": text("served_lacks", files=desk.lacks) if desk.lacks else "",
            "thrown": _thrown(thrown),
            "written": list(written),
        }


def _of_plan(desk: Desk, now: Assessment | None, before: Assessment | None) -> tuple[Any, Any]:
    """The plan and what the last change did, as shown; made once for each."""
    if now is None:
        return None, ()
    kept = desk.shown
    if not kept or kept[0] is not now or kept[1] is not before:
        kept = (now, before, told(now), say_all(differences(before, now)) if before is not None else ())
        desk.shown = kept
    return kept[2], kept[3]


def _first(desk: Desk, first: FirstAnswers | None, before: Assessment | None) -> dict[str, Any] | None:
    """Lines that are judged already while the plan is worked out, and what they were."""
    if first is None:
        return None
    was = {} if before is None else {_line(p.check.configuration): p for p in before.points}

    def row(check: AnchorCheck) -> dict[str, Any]:
        known = was.get(_line(check.configuration))
        return {
            "label": desk.tree.graph.unions.label[check.configuration.union],
            "system": word(check.configuration.system),
            "verdictSays": word(check.check.verdict),
            "low": figure(check.check.margin.p5, "x2"),
            "was": "" if known is None else figure(known.check.check.margin.p5, "x2"),
        }

    if first.throws:
        rows = [{"label": p.label, "system": word(p.system), "throw": _throw_now(p, now)} for p, now in first.throws]
        return {"says": text("served_first_throws", n=len(rows), of=first.of), "rows": rows}
    return {"says": text("served_first", n=len(first.checks), of=first.of), "rows": [row(c) for c in first.checks]}


def _throw_now(p: TieInPoint, now: Throw | None) -> str:
    """The throw that set a line, asked again from its place."""
    was = 0.0 if p.throw is None else p.throw.chance
    return text("served_throw_gone", was=was) if now is None else text("served_throw_now", chance=now.chance, was=was)


def _line(c: AnchorConfiguration) -> tuple[int, str, str]:
    return c.union, c.system, c.hardware


def _thrown(found: Any) -> dict[str, Any] | None:
    """The throws of the last question for a stand."""
    if found is None:
        return None
    line, throws = found
    return {
        "line": line,
        "says": [text("served_throw", method=t.method, chance=t.chance, azimuth=t.azimuth, elevation=t.elevation, speed=t.speed) for t in throws]
        or [text("served_no_throw")],
    }


def _inputs(desk: Desk) -> dict[str, Any]:
    """What is asked for now, as the panels show it."""
    inputs = desk.history.inputs
    settings = inputs.all_settings()
    flat: dict[str, Any] = {}
    for name in _SHOWN:
        value: Any = settings
        for part in name.split("."):
            value = getattr(value, part)
        flat[name] = list(value) if isinstance(value, tuple) else value
    return {
        "species": inputs.species,
        "systems": list(inputs.systems),
        "settings": flat,
        "cuts": [dict(r) for r in inputs.cuts],
        "work": None if inputs.work is None else {k: list(v) for k, v in inputs.work.items()},
        "drawn": [dict(d) for d in inputs.drawn],
        "wires": inputs.wires,
    }


_SHOWN = (
    "loads.climber_mass",
    "loads.rescue_mass",
    "loads.test_people",
    "loads.leaves",
    "loads.history.exposure",
    "loads.history.years",
    "planning.rope_angle_limit_deg",
    "planning.mrs_hardware",
    "planning.canopy_hardware",
    "planning.basal_hardware",
    "throw.methods",
    "throw.hand.side_sd",
    "throw.hand.elevation_sd",
    "reader.units",
    "reader.words",
)


def told(a: Assessment) -> dict[str, Any]:
    """One plan: its lines, its candidates, and the colours of its unions."""
    return {
        "says": say_all(plan_lines(a)),
        "warnings": say_all(a.warnings),
        "statements": say_all(a.statements),
        "rows": [_row(p, i) for i, p in enumerate(a.points)],
        "work": [[round(float(v), 2) for v in xyz] for xyz in a.work.xyz],
        "stages": [
            {"title": s.cut.label, "says": say_all(s.reasons())} for s in a.climb.stages
        ],
    }


def _row(p: TieInPoint, i: int) -> dict[str, Any]:
    """One candidate in the list."""
    low = p.check.check.margin.p5
    return {
        "id": i,
        "rank": p.rank if p.usable else 0,
        "label": p.label,
        "union": p.union,
        "system": word(p.system),
        "verdict": p.verdict,
        "verdictSays": word(p.verdict),
        "low": figure(low, "x2"),
        "use": _use(p),
        "share": figure(p.reach.share, "%"),
        "chance": "" if p.throw is None else figure(p.throw.chance, "chance"),
        "why": say(p.reasons[0]) if p.reasons else "",
    }


def _use(p: TieInPoint) -> float | None:
    """Largest median stress over strength on the way to the ground; None where it was not seen."""
    used = p.check.check.utilisation
    return round(float(used.max()), 3) if len(used) and np.isfinite(used.max()) else None


def asked_of(a: Assessment, label: str) -> dict[str, Any]:
    """The answer for one union: its candidates with their cards, or why it is none."""
    if label not in a.tree.graph.unions.label:
        raise BadInput(f"'{label[:20]}' is not a union of this tree")
    k = a.tree.graph.unions.label.index(label)
    with written_for(a.settings.reader):
        of = [(i, p) for i, p in enumerate(a.points) if p.union == k]
        if of:
            return {"label": label, "candidates": [_card(a, p, i) for i, p in of]}
        found = dict(never_judged(a)).get(k)
        why, helps = (found.why, found.helps) if found is not None else ((), ())
        place = found.place if found is not None else label
        return {"label": label, "candidates": [], "place": place, "why": list(why), "helps": list(helps)}


def _card(a: Assessment, p: TieInPoint, i: int) -> dict[str, Any]:
    c, no = card(a, p, i), why_not(a, p)
    return {
        "id": i,
        "title": c.title,
        "place": c.place,
        "verdict": p.verdict,
        "verdictSays": word(p.verdict),
        "rank": p.rank if p.usable else 0,
        "why": list(no.why) if not p.usable else say_all(p.reasons),
        "helps": list(no.helps),
        "answers": [
            {"question": text(q.question), "rows": [[r.label, r.text] for r in q.rows], "steps": list(q.steps)}
            for q in c.answers
        ],
        "cautions": list(c.cautions),
    }


def compared(one: Assessment, other: Assessment) -> dict[str, Any]:
    """Two whole plans side by side, and what the second changes."""
    with written_for(other.settings.reader):
        return {"changed": say_all(differences(one, other)), "plans": [told(one), told(other)]}


def cautions() -> dict[str, str]:
    """The standing safety text, all of it."""
    return dict(CAUTIONS)
