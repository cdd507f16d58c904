"""job_sheet.pdf: two pages for the crew, then rescue, inspection form and a draft risk assessment, blanks left blank."""

from __future__ import annotations

import io
from typing import Any

from reportlab import rl_config
from reportlab.lib.pagesizes import A4
from reportlab.lib.units import mm
from reportlab.platypus import BaseDocTemplate, Frame, PageBreak, PageTemplate

from treescan.assess import Assessment
from treescan.cautions import CAUTIONS
from treescan.outputs.job_sheet.sheet_climb import climb_page, removal_page
from treescan.outputs.job_sheet.sheet_forms import form_pages, rescue_page
from treescan.outputs.job_sheet.sheet_pages import crew_pages, hopeless_page
from treescan.outputs.job_sheet.sheet_parts import Fold, wrapped
from treescan.outputs.text.say import text
from treescan.outputs.text.wording import file_name, written_for

rl_config.useA85 = 0  # streams as bytes, not as text: a fifth smaller, and not written letter by letter

WIDE, HIGH = A4
TITLE_LETTERS = 90
"""Of the heading of a page that fit beside the page number."""
LEFT, TOP, FOOT = 14 * mm, 13 * mm, 27 * mm
"""Margins that leave the text block inside both A4 and US Letter."""


def sheet_bytes(a: Assessment) -> bytes:
    """The sheet as PDF, the same bytes for the same assessment."""
    with written_for(a.settings.reader):
        return _written(a)


def _written(a: Assessment) -> bytes:
    out = io.BytesIO()
    usable = [p for p in a.points if p.usable]
    pages = [hopeless_page(a), *([removal_page(a)] if a.tree.fitness.assessable and removal_page(a) else [])]
    if a.tree.fitness.assessable and usable:
        more = [page for page in (climb_page(a, usable), removal_page(a)) if page]
        pages = [*crew_pages(a, usable), *more, rescue_page(a, usable), *form_pages(a, usable)]
    title = text(
        "sheet_title" if usable and a.tree.fitness.assessable else "sheet_title_none",
        name=file_name(a.tree.source),
    )
    story: list[Any] = []
    for page in pages:
        story += [Fold(page, WIDE - 2 * LEFT, HIGH - TOP - FOOT - 10 * mm), PageBreak()]

    def frame_of_page(canvas: Any, doc: Any) -> None:
        canvas.saveState()
        canvas.setFont("Helvetica-Bold", 9)
        canvas.drawString(LEFT, HIGH - 10 * mm, title[:TITLE_LETTERS])
        canvas.setFont("Helvetica", 8)
        canvas.drawRightString(
            WIDE - LEFT, HIGH - 10 * mm, text("sheet_page", page=doc.page, pages=len(pages))
        )
        canvas.setLineWidth(0.8)
        canvas.line(LEFT, HIGH - 11.5 * mm, WIDE - LEFT, HIGH - 11.5 * mm)
        canvas.line(LEFT, FOOT - 2 * mm, WIDE - LEFT, FOOT - 2 * mm)
        y = FOOT - 5 * mm
        for key, font in (
            ("planning_aid", "Helvetica-Bold"),
            ("local_rules", "Helvetica"),
            ("silence", "Helvetica"),
        ):
            canvas.setFont(font, 6.8)
            for line in wrapped(CAUTIONS[key], font, 6.8, WIDE - 2 * LEFT):
                canvas.drawString(LEFT, y, line)
                y -= 2.75 * mm
        canvas.restoreState()

    doc = BaseDocTemplate(
        out,
        pagesize=A4,
        title=title,
        author="treescan",
        subject=CAUTIONS["planning_aid"],
        invariant=1,
    )
    body = Frame(
        LEFT,
        FOOT,
        WIDE - 2 * LEFT,
        HIGH - TOP - FOOT,
        leftPadding=0,
        rightPadding=0,
        topPadding=0,
        bottomPadding=0,
    )
    doc.addPageTemplates([PageTemplate("sheet", [body], onPage=frame_of_page)])
    doc.build(story)
    return out.getvalue()
