"""job_sheet.pdf: one page for the climb, one for rescue and form; more only where a removal is planned. dossier.pdf: every page."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any, NamedTuple

from reportlab import rl_config
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.units import mm
from reportlab.platypus import BaseDocTemplate, Frame, PageBreak, PageTemplate

from treescan.assess import Assessment
from treescan.cautions import CAUTIONS
from treescan.outputs.job_sheet.back_page import back_page
from treescan.outputs.job_sheet.front_page import front_page
from treescan.outputs.job_sheet.sheet_climb import climb_page, removal_pages
from treescan.outputs.job_sheet.sheet_forms import form_pages, rescue_page
from treescan.outputs.job_sheet.sheet_pages import crew_pages, hopeless_page
from treescan.outputs.job_sheet.sheet_parts import may_run_on
from treescan.outputs.job_sheet.tagged_canvas import TaggedCanvas
from treescan.outputs.print_fonts import BOLD, REGULAR, width, wrapped, write
from treescan.outputs.text.say import text
from treescan.outputs.text.wording import american, file_name, reader, written_for

rl_config.useA85 = 0  # streams as bytes, not as text: a fifth smaller, and not written letter by letter

TITLE_LETTERS = 80
"""Of the heading of a page that fit beside the page number."""
SIDE, TOP = 11 * mm, 14 * mm
"""Margins; printers leave about 5 mm of a page white."""
PRINT, LEADING = 8.6, 10.0
"""Size of the standing cautions and their line. [points]"""

Blocks = list[Any]


class Paper(NamedTuple):
    """A page with its standing cautions: size, lines at the foot, and the text block's height. [points]"""

    size: tuple[float, float]
    foot: tuple[tuple[str, str], ...]

    @property
    def width(self) -> float:
        """Of the text block."""
        return self.size[0] - 2 * SIDE

    @property
    def foot_height(self) -> float:
        """Of the cautions at the foot, with the margin below them."""
        return LEADING * len(self.foot) + 9 * mm

    @property
    def height(self) -> float:
        """Of the text block."""
        return self.size[1] - TOP - self.foot_height


def sheet_bytes(a: Assessment) -> bytes:
    """The sheet as PDF, the same bytes for the same assessment."""
    with written_for(a.settings.reader):
        paper = _paper(("planning_aid",))
        usable = [p for p in a.points if p.usable]
        removal = removal_pages(a) if a.tree.fitness.assessable else []
        if not usable or not a.tree.fitness.assessable:
            return _built(a, paper, [hopeless_page(a, paper.height), *removal])
        first = front_page(a, usable, paper.width, paper.height)
        second = back_page(a, usable, paper.width, paper.height)
        return _built(a, paper, [first, second, *removal])


def dossier_bytes(a: Assessment) -> bytes | None:
    """Every page there is, for the file; None where it was not asked for or nothing is ranked."""
    usable = [p for p in a.points if p.usable]
    if not a.settings.job.dossier or not usable or not a.tree.fitness.assessable:
        return None
    with written_for(a.settings.reader):
        more = [page for page in (climb_page(a, usable), *removal_pages(a)) if page]
        pages = [*crew_pages(a, usable), *more, rescue_page(a, usable), *form_pages(a, usable)]
        return _built(a, _paper(("planning_aid", "local_rules", "silence")), pages)


def _paper(cautions: Sequence[str]) -> Paper:
    """A4, or Letter where American words are read."""
    size = LETTER if american() else A4
    foot = []
    for key in cautions:
        font = BOLD if key == "planning_aid" else REGULAR
        foot += [(font, line) for line in wrapped(CAUTIONS[key], font, PRINT, size[0] - 2 * SIDE)]
    return Paper(size, tuple(foot))


def _built(a: Assessment, paper: Paper, pages: Sequence[Blocks]) -> bytes:
    """The pages as PDF. A page longer than its paper goes on on the next: print is never shrunk."""
    count = _pages(a, paper, pages, 0)[1]
    return _pages(a, paper, pages, count)[0]


def _pages(a: Assessment, paper: Paper, pages: Sequence[Blocks], count: int) -> tuple[bytes, int]:
    """The file and its number of pages, printed as one of `count`."""
    out, (wide, high) = io.BytesIO(), paper.size
    ranked = any(p.usable for p in a.points) and a.tree.fitness.assessable
    title = text("sheet_title" if ranked else "sheet_title_none", name=file_name(a.tree.source))

    def frame_of_page(canvas: TaggedCanvas, doc: Any) -> None:
        canvas.saveState()
        with canvas.artifact():
            page = text("sheet_page", page=doc.page, pages=count)
            write(canvas, SIDE, high - 10 * mm, title[:TITLE_LETTERS], BOLD, 10)
            write(canvas, wide - SIDE - width(page, REGULAR, 9), high - 10 * mm, page, REGULAR, 9)
            canvas.setLineWidth(0.8)
            canvas.line(SIDE, high - 11.5 * mm, wide - SIDE, high - 11.5 * mm)
            canvas.line(SIDE, paper.foot_height - 1 * mm, wide - SIDE, paper.foot_height - 1 * mm)
        with canvas.marked("P"):
            for i, (font, line) in enumerate(paper.foot, start=1):
                write(canvas, SIDE, paper.foot_height - 1 * mm - LEADING * i, line, font, PRINT)
        canvas.restoreState()

    doc = BaseDocTemplate(
        out,
        pagesize=paper.size,
        title=title,
        author="treescan",
        subject=CAUTIONS["planning_aid"],
        lang=reader().language,
        invariant=1,
    )
    body = Frame(SIDE, paper.foot_height, paper.width, paper.height, 0, 0, 0, 0)
    doc.addPageTemplates([PageTemplate("sheet", [body], onPage=frame_of_page)])
    story: list[Any] = []
    for page in pages:
        for block in page:
            block.__dict__.pop("_postponed", None)  # the library's own mark of the first time round
            may_run_on(block, paper.width, paper.height)
        story += [*page, PageBreak()]
    doc.build(story[:-1], canvasmaker=TaggedCanvas)
    return out.getvalue(), doc.page
