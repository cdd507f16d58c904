"""The crew's two pages, and the one page where nothing is ranked."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np

from treescan.assess import Assessment
from treescan.outputs.drawing.elevation import elevation
from treescan.outputs.drawing.pdf_drawing import Picture
from treescan.outputs.drawing.plan_drawing import plan
from treescan.outputs.drawing.window_drawing import window_picture
from treescan.outputs.job_sheet.front_page import LEAST_PICTURE, block_height, fields_of_the_job, stated_dead_wood, what_threatens
from treescan.outputs.job_sheet.sheet_climb import approach_words
from treescan.outputs.job_sheet.sheet_parts import (
    BAND,
    FULL,
    HEAD,
    NOTE,
    SMALL,
    Field,
    blank,
    boxes,
    cautions_in_two,
    figures,
    gap,
    grid,
    numbered,
    rich,
    side_by_side,
    strip,
    strong,
    words,
)
from treescan.outputs.report.cards import (
    Answer,
    Row,
    breaks_row,
    force_row,
    line_answer,
    order_answer,
    reach_answer,
    row,
    stopped_rows,
)
from treescan.outputs.report.glance import glance
from treescan.outputs.report.overview import overview
from treescan.outputs.report.phrases import margin_of, section_of, stand_of, work_place
from treescan.outputs.report.threats import cuts
from treescan.outputs.shapes.first_line import first_line
from treescan.outputs.text.say import figure, say, say_all, text
from treescan.planning.tie_in_point import TieInPoint
from treescan.throw.throw_path import Throw

Blocks = list[Any]
WIDTH = FULL
"""Of the text block. [points]"""
HALF = WIDTH / 2 - 8
PICTURES = 172.0
"""Height of map and window side by side. [points]"""
NOT_ON_THE_SHEET = ("card_fouled", "card_in_the_way", "card_angles", "card_wire")
"""Answers on reach that stand in the report only; conductors have their own page."""
ON_THE_SHEET = ("card_rope", "card_bring", "card_throwline", "card_kit")
ON_THE_FIELDS = ("over_height", "over_dbh", "over_scan", "over_volume", "over_traced")
"""What the head of the page names already, or no crew asks."""
CATCHES_SHOWN = 3
CHECKS = (
    "check_tree",
    "check_line",
    "check_test",
    "check_second",
    "check_hand",
    "check_swing",
    "check_site",
    "check_answer",
)
ROLES = ("role_competent", "role_climber", "role_ground", "role_rescuer")
SITE = ("site_date", "site_meeting", "site_hospital", "site_base")
NEXT_HEAD = (
    "sheet_col_candidate",
    "page_height",
    "sheet_col_system",
    "page_col_force",
    "page_col_margin",
    "sheet_col_stand",
    "sheet_col_fails",
    "sheet_col_rope",
)


def crew_pages(a: Assessment, usable: Sequence[TieInPoint]) -> list[Blocks]:
    """Two pages: the first candidate with its drawing, then the next two, kit, people and all cautions."""
    return [_first_page(a, usable[0]), _second_page(a, usable)]


def _first_page(a: Assessment, p: TieInPoint) -> Blocks:
    drawing, caption = elevation(a, p)
    height = float(a.tree.graph.unions.height[p.union])
    first, second = (*say_all(p.reasons[:2]), None, None)[:2]
    left = [Picture(drawing, HALF, 285), words(caption, SMALL)]
    right = [
        words(text("ask_hold"), BAND),
        figures(_hold_rows(a, p), HALF),
        words(text("ask_fail"), BAND),
        figures(_fail_rows(p), HALF),
        words(text("ask_reach"), BAND),
        figures(reach_answer(a, p).without(*NOT_ON_THE_SHEET), HALF),
    ]
    line, checks = line_answer(a, p), [text(code) for code in CHECKS]
    middle = len(checks) // 2
    return [
        words(text("sheet_first", label=p.label, height=height, system=p.system, hardware=p.hardware), HEAD),
        strip([(g.question, g.figure, g.words) for g in glance(a, p)[1:]], WIDTH),
        words(
            text(
                "sheet_verdict",
                verdict=p.verdict,
                first=first,
                second=second,
                mass=a.settings.loads.climber_mass,
            )
        ),
        gap(),
        side_by_side(left, right, WIDTH),
        words(text("ask_line"), BAND),
        side_by_side([figures(line.rows, HALF)], _steps(line), WIDTH)
        if line.steps
        else figures(line.rows, WIDTH, 0.17),
        words(text("sheet_checks"), BAND),
        side_by_side([boxes(checks[:middle])], [boxes(checks[middle:])], WIDTH),
    ]


def _hold_rows(a: Assessment, p: TieInPoint) -> list[Row]:
    """Force, hardest load, strength over stress with its verdict, chance of breaking, weakest section."""
    k = p.check
    return [
        force_row(p),
        row("card_case", text("card_case_at", case=k.case, work=work_place(a, k.worst_work_point))),
        row(
            "sheet_margin",
            text("sheet_margin_verdict", margin=margin_of(k.check.margin), verdict=k.check.verdict),
        ),
        breaks_row(p),
        row("card_section", say(section_of(a, p))),
    ]


def _fail_rows(p: TieInPoint) -> list[Row]:
    """What catches, in figures only; how it comes about stands in the report."""
    rows = []
    for i, c in enumerate(p.check.catches[:CATCHES_SHOWN], start=1):
        if c.ground:
            rows.append(row("card_ground", text("sheet_ground", drop=c.drop), i=i))
        else:
            caught = text("sheet_caught", drop=c.drop, peak=c.peak, margin=margin_of(c.margin))
            rows.append(row("card_catch", caught, i=i, label=c.label))
    return [*rows, *stopped_rows(p)]


def _steps(line: Answer) -> Blocks:
    return [numbered(line.steps)] if line.steps else [words(text("sheet_no_steps"))]


def _second_page(a: Assessment, usable: Sequence[TieInPoint]) -> Blocks:
    parts = _where_and_how(a, usable[0])
    if len(usable) > 1:
        parts += [words(text("sheet_next"), BAND), _next_table(a, usable[1:3])]
    people, site = [blank(code, HALF) for code in ROLES], [blank(code, HALF) for code in SITE]
    parts += [words(text("sheet_people"), BAND), side_by_side(people, site, WIDTH), gap()]
    return [*parts, words(text("page_cautions"), BAND), cautions_in_two(WIDTH)]


def _where_and_how(a: Assessment, first: TieInPoint) -> Blocks:
    """Map, what the thrower sees where there is a throw, the way up, rope and kit."""
    drawing, caption = plan(a, first)
    order, throw = order_answer(a, first), first_line(a, first)
    kit, how = order.only(*ON_THE_SHEET), [words(text("ask_order"), BAND), numbered(order.steps)]
    more: list[Any] = approach_words(a) if a.climb is None else []
    where, kit_head = words(text("sheet_where"), BAND), words(text("sheet_kit"), BAND)
    if throw is None:
        left = [where, Picture(drawing, 0.44 * WIDTH - 10, 235), words(caption, SMALL)]
        return [side_by_side(left, [*how, kit_head, figures(kit, 0.56 * WIDTH, 0.2), *more], WIDTH, 0.44)]
    left = [where, Picture(drawing, HALF, PICTURES), words(caption, SMALL)]
    below = side_by_side(how, [kit_head, figures(kit, 0.64 * WIDTH, 0.16)], WIDTH, 0.36)
    return [side_by_side(left, _window(a, throw), WIDTH), gap(), below, *more]


def _window(a: Assessment, throw: Throw) -> Blocks:
    seen, meaning = window_picture(a, throw, brief=True)
    return [words(text("sheet_window"), BAND), Picture(seen, HALF, PICTURES), words(meaning, SMALL)]


def _next_table(a: Assessment, points: Iterable[TieInPoint]) -> Any:
    head = [text(code) for code in NEXT_HEAD]
    return grid(head, [_next_row(a, p) for p in points], [48, 56, 66, 62, 58, 100, 70, 55])


def _next_row(a: Assessment, p: TieInPoint) -> tuple[str, ...]:
    """The columns of `NEXT_HEAD`."""
    caught = next((c for c in p.check.catches if not c.ground), None)
    chance = p.throw.chance if p.throw else None
    on_the_way = p.throw is None and first_line(a, p) is not None
    throwline = p.rope.throwline if p.rope.throwline > 0 else None
    return (
        text("candidate_ranked", rank=p.rank, label=p.label),
        figure(float(a.tree.graph.unions.height[p.union]), "m"),
        text("sheet_system", system=p.system, hardware=p.hardware),
        figure(float(np.linalg.norm(p.check.force)), "kN"),
        say(margin_of(p.check.check.margin)),
        text("sheet_next_stand", stand=stand_of(a, p), chance=chance, way=on_the_way),
        text("sheet_next_catch", label=caught.label, drop=caught.drop)
        if caught
        else text("sheet_next_ground"),
        text("sheet_next_rope", stock=p.rope.stock, throwline=throwline),
    )


def hopeless_page(a: Assessment, height: float) -> Blocks:
    """One page where nothing is ranked: which tree, why, what a rescan needs, the tree as seen, what threatens all the same; the drawing
    as large as `height` leaves it [points]."""
    assessable, over = a.tree.fitness.assessable, overview(a)
    refused = [text("none_refusal", why=why, n=count) for why, count in over.refusals]
    why = refused if assessable else list(say_all(a.tree.fitness.reasons))
    drawing, caption = elevation(a, None)
    told = {text(code) for code in ON_THE_FIELDS}
    seen = [r for r in over.seen if r[0] not in told]
    right = [words(text("none_seen"), BAND), figures(seen, HALF), gap(), *what_threatens(a, None)]
    signed = [Field(text(code), "", HALF, 22.0) for code in ("none_signed", "record_time")]
    head = [
        fields_of_the_job(a, WIDTH),
        gap(),
        words(text("none_ranked" if assessable else "none_assessable"), HEAD),
        words(text("none_do_not_plan")),
        *[strong(text(t.head), say(t.found), SMALL) for t in cuts(a)],
        *stated_dead_wood(a, None),
        words(text("none_why_only" if assessable else "none_why"), BAND),
        *(rich(text("sheet_number", n=i), one) for i, one in enumerate(why or [text("none_no_union")], start=1)),
        gap(),
    ]
    foot = [gap(), side_by_side(signed[:1], signed[1:], WIDTH), words(text("page_cautions"), BAND), cautions_in_two(WIDTH, NOTE)]
    room = height - block_height([*head, *foot], WIDTH) - 12.0
    below = words(caption, NOTE)
    left = [Picture(drawing, HALF, max(LEAST_PICTURE, room - block_height([below], HALF))), below]
    return [*head, side_by_side(left, right, WIDTH), *foot]
