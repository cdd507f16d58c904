"""Pages of the job sheet on the climb as a whole: sets and redirects, load test, rescue lines, a removal cut by cut."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from treescan.assess import Assessment
from treescan.outputs.drawing.pdf_drawing import Picture
from treescan.outputs.drawing.stage_drawing import stage_pictures
from treescan.outputs.drawing.svg import Drawing
from treescan.outputs.job_sheet.sheet_parts import (
    BAND,
    FULL,
    HEAD,
    SMALL,
    bullets,
    figures,
    gap,
    grid,
    numbered,
    side_by_side,
    strong,
    words,
)
from treescan.outputs.rows.redirect_rows import redirect_head, redirect_note, redirect_rows
from treescan.outputs.rows.removal_rows import removal_head, removal_note, removal_rows, spar_rows
from treescan.outputs.text.say import figure, say_all, text
from treescan.planning.climb.climb_plan import ClimbPlan
from treescan.planning.climb.rescue import RescuePlan
from treescan.planning.removal.stages import Stage
from treescan.planning.tie_in_point import TieInPoint
from treescan.planning.work.removal import Removal
from treescan.reason import Reason

Blocks = list[Any]
WIDTH = FULL
HALF = WIDTH / 2 - 8
CUT_WIDE, CUT_HIGH = 0.36 * WIDTH - 8, 190.0
"""Room for the drawing of one cut, in points."""
FEW_CUTS = 2
"""So many cuts stand below their table; more begin on a page of their own."""
MAX_LINES = 6
"""Redirects and warnings printed; the rest stands in the report."""


def climb_page(a: Assessment, usable: Sequence[TieInPoint]) -> Blocks:
    """Which lines for all the work, how to test the first, and what helps a rope to the work."""
    c = a.climb
    if c is None:
        return []
    blocks: Blocks = [words(text("climb_head"), HEAD), *approach_words(a)]
    if a.statements:
        blocks += [words(text("climb_stated"), BAND), *bullets(say_all(a.statements), SMALL)]
    if c.warnings:
        blocks += [words(text("climb_site"), BAND), *bullets(say_all(c.warnings[:MAX_LINES]))]
    blocks += [words(text("climb_all_work"), BAND), *[words(s) for s in say_all(c.anchors.reasons)]]
    if c.anchors.points:
        blocks += [gap(3), _set_table(a, c.anchors.points), gap(3)]
    ways = tuple(Reason("climb_way", way=way, share=share) for way, share in c.shares.items())
    blocks += [words(text("climb_ways", ways=ways)), gap()]
    left = [words(text("climb_two_lines"), BAND), *[words(s) for s in say_all(c.two_line_reasons())]]
    return [
        *blocks,
        side_by_side(left, _load_test(usable[0]), WIDTH),
        *_redirects(c),
        *_other_trees(c),
        *_rope_down(c, usable[0]),
    ]


def _load_test(first: TieInPoint) -> Blocks:
    head = words(text("climb_test", label=first.label, system=first.system), BAND)
    if first.load_test is None:
        return [head, words(text("climb_no_test"))]
    return [head, numbered(say_all(first.load_test.steps))]


def _redirects(c: ClimbPlan) -> Blocks:
    head, rows = words(text("climb_redirects"), BAND), redirect_rows(c)[:MAX_LINES]
    if not rows:
        return [head, words(text("climb_no_redirects"))]
    return [head, grid(redirect_head(), rows, [52, 58, 70, 88, 62, 110, 75]), words(redirect_note(), SMALL)]


def _other_trees(c: ClimbPlan) -> Blocks:
    others = tuple(" ".join(say_all(line)) for line in c.neighbours.reasons()[:MAX_LINES])
    return [words(text("climb_other_trees"), BAND), *bullets(others, SMALL)] if others else []


def _rope_down(c: ClimbPlan, first: TieInPoint) -> Blocks:
    points = (first, *(q for q in c.anchors.points if q.label != first.label))
    down = say_all(p.retrieval.words for p in points if p.retrieval is not None)
    return [words(text("climb_down"), BAND), *bullets(down, SMALL)]


def approach_words(a: Assessment) -> Blocks:
    """The recommended approach with what speaks for and against it."""
    return [words(text("climb_approach"), BAND), *[words(s) for s in say_all(a.approach.reasons)]]


SET_HEAD = (
    "sheet_col_candidate",
    "page_height",
    "sheet_col_system",
    "climb_col_serves",
    "climb_col_line",
    "sheet_col_rope",
)


def _set_table(a: Assessment, points: Sequence[TieInPoint]) -> Any:
    rows = [
        (
            text("candidate_ranked", rank=p.rank, label=p.label),
            figure(float(a.tree.graph.unions.height[p.union]), "m"),
            text("sheet_system", system=p.system, hardware=p.hardware),
            figure(p.reach.share, "%"),
            text("climb_line_throw", chance=p.throw.chance) if p.throw else text("climb_line_advance"),
            figure(p.rope.stock, "m0"),
        )
        for p in points
    ]
    return grid([text(code) for code in SET_HEAD], rows, [75, 90, 120, 80, 90, 60])


RESCUE_HEAD = (
    "rescue_col_on",
    "rescue_col_line",
    "rescue_col_reach",
    "rescue_col_margin",
    "rescue_col_clear",
)


def rescue_lines(c: ClimbPlan, first: TieInPoint) -> Blocks:
    """The rescue line of the first candidate and of every tie-in point of the set."""
    names = [f"{p.label} {p.system}" for p in (first, *c.anchors.points)]
    plans = {r.work_anchor: r for r in c.rescue}
    shown = [plans[name] for name in dict.fromkeys(names) if name in plans]
    if not shown:
        return []
    rows = [
        (
            r.work_anchor,
            _rescue_line(r),
            figure(r.share, "%") if r.rescue_anchor else "",
            figure(r.two_person_margin, "x2") if r.two_person_margin == r.two_person_margin else "",
            text("rescue_clear", free=sum(x.free for x in r.corridors), all=len(r.corridors)),
        )
        for r in shown
    ]
    table = grid([text(code) for code in RESCUE_HEAD], rows, [100, 115, 95, 95, 110])
    return [table, gap(3), *bullets(say_all(plans[names[0]].reasons if names[0] in plans else ()), SMALL)]


def _rescue_line(r: RescuePlan) -> str:
    """Its name, and whether the wood that governs carries the work anchor too."""
    if r.rescue_anchor is None:
        return text("rescue_no_other")
    return r.rescue_anchor if r.independent else text("rescue_shared", anchor=r.rescue_anchor)


def removal_pages(a: Assessment) -> list[Blocks]:
    """A removal: all cuts in a table, then, for more than a few on pages of their own, every cut with its drawing, alarms first, and
    the stem by height; empty when none is planned."""
    c = a.climb
    if c is None or not c.stages:
        return []
    cuts = [_cut(stage, *picture) for stage, picture in zip(c.stages, stage_pictures(a), strict=True)]
    table, each = _all_cuts(c, a.asked.removal), [*(block for cut in cuts for block in cut), *_stem(c)]
    return [table, each] if len(cuts) > FEW_CUTS else [[*table, gap(8), *each]]


def _cut(stage: Stage, drawing: Drawing, caption: str) -> Blocks:
    """One cut: the tree as it then stands, what must not be done, and what is known of the piece."""
    told = say_all(stage.reasons())
    alarms, rest = told[: len(stage.alarms)], told[len(stage.alarms) :]
    left = [Picture(drawing, CUT_WIDE, CUT_HIGH), words(caption, SMALL)]
    right = [
        words(text("removal_cell_cut", number=stage.number, piece=stage.cut.piece), BAND),
        *[strong(s, "", SMALL) for s in alarms],
        *bullets(rest, SMALL),
    ]
    return [side_by_side(left, right, WIDTH, share=0.36), gap(6)]


def _all_cuts(c: ClimbPlan, removal: Removal | None) -> Blocks:
    return [
        words(text("climb_removal"), HEAD),
        words(removal_note()),
        grid(removal_head(), removal_rows(c, removal, counted=True), [74, 40, 52, 56, 84, 84, 80, 45]),
    ]


def _stem(c: ClimbPlan) -> Blocks:
    """The stem by height, half beside half."""
    spar = spar_rows(c)
    middle = -(-len(spar) // 2)
    return [
        words(text("climb_stem"), BAND),
        side_by_side(
            [figures(spar[:middle], HALF)], [figures(spar[middle:], HALF)] if spar[middle:] else [], WIDTH
        ),
    ]
