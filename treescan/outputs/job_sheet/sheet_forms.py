"""Pages of the job sheet to be filled in by hand: rescue, inspection form and a draft risk assessment, blanks left blank."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from treescan.assess import Assessment
from treescan.cautions import CAUTIONS
from treescan.outputs.job_sheet.sheet_climb import rescue_lines
from treescan.outputs.job_sheet.sheet_parts import (
    BAND,
    FULL,
    HEAD,
    SMALL,
    Blank,
    blank,
    bullets,
    figures,
    framed,
    gap,
    grid,
    side_by_side,
    words,
)
from treescan.outputs.report.cards import row
from treescan.outputs.report.overview import overview
from treescan.outputs.report.phrases import margin_of
from treescan.outputs.text.say import figure, listed, say, say_all, text, word
from treescan.planning.tie_in_point import TieInPoint

Blocks = list[Any]
WIDTH = FULL
"""Of the text block. [points]"""
HALF = WIDTH / 2 - 8
MAX_OTHERS = 4
"""Other candidates offered for a rescue line."""
MAX_NOTES, MAX_UNIONS = 10, 5
"""Notes on the scan, and unions to inspect by hand, that are printed."""
SEEN_ROWS = 5
"""Rows of the tree's figures in the left column."""
FROM_HEAD = (
    "sheet_col_candidate",
    "page_height",
    "sheet_col_system",
    "rescue_col_from",
    "rescue_col_one",
    "rescue_col_note",
)
RESCUE_BLANKS = (
    "blank_rescuer",
    "blank_second",
    "blank_access",
    "blank_route",
    "blank_landing",
    "blank_call",
    "blank_address",
    "blank_hospital",
    "blank_signal",
)
FINDINGS = (
    "find_roots",
    "find_base",
    "find_stem",
    "find_unions",
    "find_crown",
    "find_failures",
    "find_wildlife",
)
INSPECT_HEAD = ("sheet_col_candidate", "page_height", "form_col_below", "form_col_noted", "form_col_found")
RISK_HEAD = ("risk_col_hazard", "risk_col_plan", "risk_col_likely", "risk_col_done")
RISK_SIGNS = ("sign_work", "sign_go", "sign_prepared", "sign_climber", "sign_ground")


def rescue_page(a: Assessment, usable: Sequence[TieInPoint]) -> Blocks:
    """How a casualty comes down: candidates for a rescue line, drawn from the same ranking; people and route blank."""
    first = usable[0]
    height = float(a.tree.graph.unions.height[first.union])
    hangs = text(
        "rescue_hangs_from", label=first.label, height=height, system=first.system, hardware=first.hardware
    )
    two = text("rescue_two_judged" if "rescue" in a.settings.loads.cases else "rescue_two_not_judged")
    main = [
        row("rescue_hangs", hangs),
        row("rescue_bight", text("rescue_bight_length", length=2 * height)),
        row("rescue_two", two),
    ]
    return [
        words(text("rescue_head"), HEAD),
        framed([words(CAUTIONS["rescue"])], WIDTH),
        words(text("rescue_main"), BAND),
        figures(main, WIDTH),
        words(text("rescue_lines"), BAND),
        *((rescue_lines(a.climb, first) if a.climb is not None else []) or [_others(a, usable)]),
        words(text("rescue_fill"), BAND),
        *[blank(code, WIDTH) for code in RESCUE_BLANKS],
        gap(8),
        words(text("rescue_sketch"), BAND),
        framed([gap(170)], WIDTH),
    ]


def _others(a: Assessment, usable: Sequence[TieInPoint]) -> Any:
    """Other unions that might bear a rescue line; a sentence where none is ranked."""
    u, first = a.tree.graph.unions, usable[0]
    others = [p for p in usable if p.union != first.union][:MAX_OTHERS]
    if not others:
        return words(text("rescue_no_second"))
    rows = []
    for p in others:
        common = p.check.common_cause
        aside = float(np.hypot(*(u.place[p.union] - u.place[first.union])[:2]))
        rows.append(
            (
                text("candidate_ranked", rank=p.rank, label=p.label),
                figure(float(u.height[p.union]), "m"),
                word(p.system),
                text("rescue_aside", distance=aside),
                say(margin_of(p.check.check.margin)),
                text("rescue_shares", why=say(common)) if common else text("rescue_see_path"),
            )
        )
    return grid([text(code) for code in FROM_HEAD], rows, [60, 75, 70, 70, 100, 140])


def form_pages(a: Assessment, usable: Sequence[TieInPoint]) -> list[Blocks]:
    """Inspection form with the scan's figures filled in and every finding blank; risk assessment draft."""
    return [_inspection(a, usable), _risks(usable[0])]


def _inspection(a: Assessment, usable: Sequence[TieInPoint]) -> Blocks:
    seen = overview(a).seen
    notes = say_all((*a.tree.fitness.reasons, *a.tree.notes, *a.warnings))
    rows = [_union_row(a, p) for p in _one_per_union(usable)[:MAX_UNIONS]]
    return [
        words(text("form_inspection"), HEAD),
        words(text("form_parts")),
        words(text("form_scan"), BAND),
        side_by_side([figures(seen[:SEEN_ROWS], HALF)], [figures(seen[SEEN_ROWS:], HALF)], WIDTH),
        words(text("form_notes"), BAND),
        *bullets(list(dict.fromkeys(notes))[:MAX_NOTES], SMALL),
        words(text("form_seen"), BAND),
        *[blank(code, WIDTH, 2) for code in FINDINGS],
        words(text("form_unions"), BAND),
        grid([text(code) for code in INSPECT_HEAD], rows, [60, 80, 90, 110, 175], 14, True),
        gap(),
        side_by_side([Blank(text("form_competent"), HALF)], [Blank(text("form_signed"), HALF)], WIDTH),
    ]


def _union_row(a: Assessment, p: TieInPoint) -> tuple[str, ...]:
    """The columns of `INSPECT_HEAD`, the last left blank."""
    u = a.tree.graph.unions
    return (
        text("candidate_ranked", rank=p.rank, label=p.label),
        figure(float(u.height[p.union]), "m"),
        text("thickness", d=float(u.parent_diameter[p.union]), sd=None),
        listed((word(f) for f in u.flags[p.union]), "form_nothing"),
        "",
    )


def _risks(first: TieInPoint) -> Blocks:
    swing = text("risk_swing_plan", swing=first.reach.swing, label=first.label)
    hazards = (
        ("risk_anchor", text("risk_anchor_plan")),
        ("risk_wood", text("risk_wood_plan")),
        ("risk_swing", swing),
        ("risk_bag", text("risk_bag_plan")),
        ("risk_electricity", CAUTIONS["electricity"]),
        ("risk_falling", text("risk_falling_plan")),
        ("risk_casualty", text("risk_casualty_plan")),
        ("risk_weather", CAUTIONS["weather"]),
        ("risk_wildlife", CAUTIONS["wildlife"]),
        ("risk_other", ""),
    )
    rows = [(text(code), plan, "", "") for code, plan in hazards]
    return [
        words(text("risk_head"), HEAD),
        words(CAUTIONS["safer_access"]),
        words(CAUTIONS["unsure"]),
        gap(),
        grid([text(code) for code in RISK_HEAD], rows, [105, 190, 75, 145], 22, True),
        gap(8),
        *[blank(code, WIDTH) for code in RISK_SIGNS],
    ]


def _one_per_union(usable: Sequence[TieInPoint]) -> list[TieInPoint]:
    """The best-ranked way to rig each union."""
    first: dict[int, TieInPoint] = {}
    for p in usable:
        first.setdefault(p.union, p)
    return list(first.values())
