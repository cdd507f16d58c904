"""The first page of the job sheet: one candidate, its tree drawn large, all a crew asks before it leaves the ground."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product
from typing import Any

import numpy as np
from reportlab.platypus import Flowable, Table, TableStyle

from treescan.assess import Assessment
from treescan.loads.checks.load_test import pulled_aside
from treescan.outputs.drawing.elevation import elevation, from_the_stand
from treescan.outputs.drawing.pdf_drawing import LEAST, Picture
from treescan.outputs.drawing.plan_drawing import plan
from treescan.outputs.drawing.rescue_drawing import rescue_of, rescuers_point
from treescan.outputs.job_sheet.sheet_parts import (
    FLUSH,
    MAIN,
    NOTE,
    TITLE,
    Field,
    framed,
    gap,
    rich,
    rule,
    side_by_side,
    words,
)
from treescan.outputs.report.phrases import line_kind, margin_of, scope_of, stand_of, way_start
from treescan.outputs.report.threats import STATED, Threat, said_dead, threats
from treescan.outputs.shapes.first_line import first_line, first_stop
from treescan.outputs.shapes.place_names import place_names, place_of
from treescan.outputs.text import wording as w
from treescan.outputs.text.say import figure, say, say_all, text
from treescan.planning.access.access_order import ADVANCE, LANYARDS, SPURS
from treescan.planning.tie_in_point import TieInPoint
from treescan.reason import Reason, has

Blocks = list[Any]
PICTURES = (0.6, 0.56, 0.52, 0.48, 0.44)
"""Shares of the width that the drawing may take, the largest that leaves the text its room."""
SAID_ALREADY = {"margin_doubtful", "test_first", "works_within", "common_wood"}
"""Codes of doubts whose figures the page gives under another heading."""
LEAST_PICTURE = 230.0
"""The drawing never gets lower than this. [points]"""
LEAST_MAP = 130.0
"""Room from which on the map with the stand is drawn under the tree. [points]"""
PRINT = LEAST + 1.0
"""Of the map's labels, with room between them. [points]"""
ALWAYS_THERE = {"kit_rescue", "kit_load_test"}
"""Codes of kit that every climb takes along: named where there is room."""
ON_THE_WAY = {LANYARDS: "front_on_lanyards", ADVANCE: "front_on_advance", SPURS: "front_on_spurs"}
"""Codes of the ways on from the first place."""
MOST_NEXT = 2
"""Further candidates named."""
RECORD = ("record_used", "record_test", "record_result", "record_time")
SIGNS = ("role_competent", "role_climber", "role_ground", "role_rescuer")


def front_page(a: Assessment, usable: Sequence[TieInPoint], width: float, height: float) -> Blocks:
    """The blocks of the page; text keeps its size, the drawing gives way, then what stands elsewhere too.

    Parameters
    ----------
    width, height : float       Of the text block. [points]
    """
    p = usable[0]
    head = [fields_of_the_job(a, width), gap(4), *_headline(a, p), *stated_dead_wood(a, p)]
    foot = [*_next(a, usable), gap(3), _record(width)]
    room = height - block_height([*head, *foot], width) - 12.0
    share, column = PICTURES[-1], _column(a, p, 3)
    for drop, wanted in (*((d, s) for s in PICTURES for d in (0, 1)), *product((2, 3), PICTURES)):
        tried = _column(a, p, drop)
        if block_height(tried, width * (1 - wanted)) <= room:
            share, column = wanted, tried
            break
    left = _picture(a, p, width * share - 8.0, max(room, LEAST_PICTURE))
    return [*head, gap(4), side_by_side(left, column, width, share, 8.0), gap(4), *foot]


def fields_of_the_job(a: Assessment, width: float) -> Table:
    """Client, site, tree, day of the scan, planner, scope; species, height and stem: blank where nobody said."""
    job, stem = a.settings.job, a.tree.stem
    shown = (
        ("field_client", job.client),
        ("field_site", job.site),
        ("field_tree", job.tree),
        ("field_scan_date", job.scan_date),
        ("field_planner", job.planner),
        ("field_scope", job.scope or scope_of(a)),
        ("field_species", a.asked.species or ""),
        ("field_height", figure(stem.height, "m") if w.finite(stem.height) else ""),
        ("field_dbh", text("thickness", d=stem.dbh, sd=stem.dbh_sd) if w.finite(stem.dbh) else ""),
    )
    third = width / 3
    cells = [Field(text(code), value, third - 8.0) for code, value in shown]
    table = Table([cells[i : i + 3] for i in (0, 3, 6)], colWidths=[third] * 3, hAlign="LEFT")
    table.setStyle(TableStyle([*FLUSH, ("RIGHTPADDING", (0, 0), (-1, -1), 8), ("BOTTOMPADDING", (0, 0), (-1, -1), 2)]))
    return table


def _headline(a: Assessment, p: TieInPoint) -> Blocks:
    """Which place, in words, and the verdict with its first reason."""
    about = text("front_verdict", low=_low(p), mass=a.settings.loads.climber_mass)
    place = text("place_with_code", place=place_of(a.tree.graph, p), label=p.label)
    return [
        words(text("front_first", place=place), TITLE),
        gap(2),
        framed([rich(text("verdict_is", verdict=p.verdict), about, MAIN)], None),
    ]


def stated_dead_wood(a: Assessment, p: TieInPoint | None) -> Blocks:
    """What people stated of dead wood, in their words, and what it means; nothing where nobody did."""
    return [block for t in said_dead(a, p) for block in (gap(2), rich(text(t.head), say(t.found), MAIN))]


def _low(p: TieInPoint) -> float | None:
    """Low end of strength over stress; None where it is not known."""
    margin = p.check.check.margin
    return float(margin.p5) if margin.known else None


def _column(a: Assessment, p: TieInPoint, drop: int) -> Blocks:
    """The answers beside the drawing; `drop` 1 to 3 leaves out what a crew can read on the second page or in the report."""
    found = threats(a, p)
    parts: list[tuple[str, Sequence[str]]] = [
        ("front_line", _line(a, p)),
        ("front_rig", (text("front_system", system=p.system, hardware=p.hardware), *_needs(a, p))),
        ("front_load", _load(p, drop)),
        ("front_fail", _fail(a, p)),
        ("front_work", (text("front_reach", share=p.reach.share, angle=p.reach.worst_angle, swing=p.reach.swing),)),
        ("front_near", (*_told(found, ("wire", "area"), drop), *_no_area(found), *_bank(a))),
        ("front_also", _told(found, ("dead", "unseen"), drop)),
        ("front_kit", _kit(p, drop)),
        ("front_rescue", _rescue(a, p)),
    ]
    if any(t.alarm for t in found if t.kind in {"wire", "area"}):
        parts.insert(0, parts.pop(5))
    parts.insert(0, ("front_cuts", _told(found, ("cuts",), drop)))
    parts.insert(0, ("front_eased", _told(found, ("eased",), drop)))
    return [rich(text(code), " ".join(said), MAIN) for code, said in parts if said]


def what_threatens(a: Assessment, p: TieInPoint | None) -> Blocks:
    """Wires, roads and people; dead wood and what was not seen: a tree that is not climbed is dangerous too."""
    found = threats(a, p)
    near = (*_told(found, ("wire", "area"), 0), *_no_area(found), *_bank(a))
    eased = _told(found, ("eased",), 0)
    first = [rich(text("front_eased"), " ".join(eased), MAIN)] if eased else []
    return [*first, rich(text("front_near"), " ".join(near), MAIN), rich(text("front_also"), " ".join(_told(found, ("dead", "unseen"), 0)), MAIN)]


def _line(a: Assessment, p: TieInPoint) -> tuple[str, ...]:
    """Stand, aim, method and chance of the line the plan starts with; says so where it lies over another union."""
    t = first_line(a, p)
    if t is None:
        return (text("front_no_line", start=way_start(p)), *_way_on(p))
    over = None
    if t.union != p.union:
        u = a.tree.graph.unions
        over = text("place_with_code", place=place_names(a.tree.graph)[t.union], label=u.label[t.union])
    return (
        text(
            "front_throw",
            over=over,
            stand=stand_of(a, p),
            azimuth=t.azimuth % (2 * np.pi),
            elevation=t.elevation,
            method=t.method,
            chance=t.chance,
            throws=t.expected_throws,
            line=line_kind(t.isolation_class),
        ),
        *_way_on(p),
        *say_all(s for s in t.steps if has((s,), "throw_bag_comes_down")),
    )


def _way_on(p: TieInPoint) -> tuple[str, ...]:
    """How the climber gets from the first place on the way up to the candidate; nothing where that is the candidate."""
    first = first_stop(p)
    if first is None or first.union == p.union:
        return ()
    later = [s.how for s in p.access[p.access.index(first) + 1 :] if s.how in ON_THE_WAY]
    ways = tuple(Reason(ON_THE_WAY[how]) for how in dict.fromkeys(later))
    return (text("front_on", start=first.label, label=p.label, ways=ways),) if ways else ()


def _needs(a: Assessment, p: TieInPoint) -> tuple[str, ...]:
    """The load test in size, the angle it holds to, and what to look at first."""
    test = p.load_test
    said = [text("front_angle", angle=p.check.within)]
    if test is None:
        said.append(text("front_no_test"))
    else:
        aside = pulled_aside(test)
        said.append(text("front_test", pull=test.pull, people=test.people, radius=test.clear_radius, aside=aside))
        said += [text("front_test_share", share=s["share"]) for s in test.steps if s.code == "test_cannot_pull"]
    return tuple(said)


def _load(p: TieInPoint, drop: int) -> tuple[str, ...]:
    """Force, margin and chance; what to look at first."""
    c = p.check.check
    force = float(np.linalg.norm(p.check.force))
    kept = [d for d in p.doubts if d.code not in SAID_ALREADY]
    if any(d.code == "exceptional_margin_low" for d in kept):  # says the same figure in fewer words
        kept = [d for d in kept if d.code != "check_doubtful" or d["why"] is None or d["why"].code != "shock_doubtful"]
    first = say_all(kept[: 3 - drop])
    return (
        text("front_force", force=force, case=p.check.case, margin=margin_of(c.margin), chance=c.chance_told),
        *first,
    )


def _fail(a: Assessment, p: TieInPoint) -> tuple[str, ...]:
    """What follows if it goes."""
    caught = next((c for c in p.check.catches if not c.ground), None)
    first = next(iter(p.check.breaks), None)
    said = [text("front_stem_first", height=first.reason["height"])] if first is not None and first.kind == "stem" else []
    if caught is not None and caught.union is not None:
        place = text("place_with_code", place=place_names(a.tree.graph)[caught.union], label=caught.label)
        said.append(text("front_caught", place=place, drop=caught.drop, peak=caught.peak))
    said.append(text("front_stopped" if p.check.redundant else "front_not_stopped"))
    if p.check.common_cause:
        said.append(text("front_common", why=p.check.common_cause))
    return tuple(said)


def _told(found: Sequence[Threat], kinds: tuple[str, ...], drop: int) -> tuple[str, ...]:
    """The threats of some kinds in words; the calm ones go first where room is short. What people stated stands above."""
    mine = [t for t in found if t.kind in kinds and t.found.code not in STATED]
    if drop >= 1 and any(t.alarm for t in mine):
        mine = [t for t in mine if t.alarm]
    return tuple(_threat(t) for t in mine[: 4 if drop < 3 else 2])


def _no_area(found: Sequence[Threat]) -> tuple[str, ...]:
    """That the plan shows no road or building, so that silence is not taken for safety."""
    return () if any(t.kind == "area" for t in found) else (text("front_no_area"),)


def _rescue(a: Assessment, p: TieInPoint) -> tuple[str, ...]:
    """The line a rescuer comes up on, and where the rest of it stands."""
    plan_of, other = rescue_of(a, p), rescuers_point(a, p)
    if plan_of is None or other is None:
        return (text("front_rescue_none"),)
    place = text("place_with_code", place=place_names(a.tree.graph)[other.union], label=other.label)
    found = {"shared": not plan_of.independent, "part": plan_of.part, "share": plan_of.share}
    return (text("front_rescue_line", place=place, **found),)


def _bank(a: Assessment) -> tuple[str, ...]:
    """Which way the ground falls, where it is steep."""
    warned = a.climb.warnings if a.climb is not None else ()
    steep = [w for w in warned if w.code == "ground_falls"]
    return tuple(text("front_bank", angle=w["angle"], downhill=w["downhill"]) for w in steep)


def _threat(t: Threat) -> str:
    """One of them; a wire that only the scan claims in the words of a crew."""
    if t.found.code == "wires_claimed":
        return text("front_wire_claimed", distance=t.found["away"], side=t.found["azimuth"])
    return say(t.found)


def _kit(p: TieInPoint, drop: int) -> tuple[str, ...]:
    """Rope, throwline and kit; the last of it stands in the report where room is short."""
    kit = say_all(k for k in p.rope.kit if drop < 2 or k.code not in ALWAYS_THERE)
    return ("; ".join(kit) + ".",)


def _picture(a: Assessment, p: TieInPoint, width: float, height: float) -> Blocks:
    """The tree from the stand, as large as the room allows, and its caption."""
    box = (560.0, 560.0 * (height - 40.0) / width)
    seen = from_the_stand(a, p, box) or elevation(a, p, None, box)
    caption = words(text("front_picture", what=seen[1]), NOTE)
    tree = Picture(seen[0], width, height - block_height([caption], width) - 2.0)
    left = height - block_height([tree, caption], width) - 6.0
    if left < LEAST_MAP:
        return [tree, caption]
    side = min(left, width)
    drawn, _ = plan(a, p, PRINT * 560.0 / side)
    return [tree, caption, gap(3), Picture(drawn, width, side)]


def _next(a: Assessment, usable: Sequence[TieInPoint]) -> Blocks:
    """The next candidates on other unions, one line each."""
    out: Blocks = []
    seen = {usable[0].union}
    for q in usable[1:]:
        if q.union in seen or len(out) == MOST_NEXT:
            continue
        seen.add(q.union)
        place = text("place_with_code", place=place_names(a.tree.graph)[q.union], label=q.label)
        level = usable[0].level[1] >= q.rank
        said = text("front_next", rank=q.rank, place=place, system=q.system, verdict=q.verdict, low=_low(q), level=level)
        out.append(words(said, MAIN))
    return [rule(), rich(text("sheet_next"), "", MAIN), *out] if out else []


def _record(width: float) -> Table:
    """What was used and found, and signatures: blank."""
    fields = [Field(text(code), "", width / 2 - 8.0, 22.0) for code in (*RECORD, *SIGNS)]
    table = Table([fields[i : i + 2] for i in range(0, len(fields), 2)], colWidths=[width / 2] * 2, hAlign="LEFT")
    table.setStyle(TableStyle([*FLUSH, ("RIGHTPADDING", (0, 0), (-1, -1), 8)]))
    return table


def block_height(blocks: Sequence[Flowable], width: float) -> float:
    """Height of blocks one below the other. [points]"""
    return sum(b.wrap(width, 1e5)[1] + b.getSpaceBefore() + b.getSpaceAfter() for b in blocks)
