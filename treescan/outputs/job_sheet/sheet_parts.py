"""Building blocks of the job sheet: headings, figure tables, ruled blanks, tick boxes, and pages that shrink to fit."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from contextlib import AbstractContextManager, nullcontext
from copy import copy
from typing import Any

from reportlab.lib.colors import HexColor, black
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.platypus import (
    Flowable,
    HRFlowable,
    ListFlowable,
    ListItem,
    Paragraph,
    Spacer,
    Table,
    TableStyle,
)

from treescan.cautions import CAUTIONS
from treescan.outputs import print_fonts as fonts
from treescan.outputs.print_fonts import BOLD, REGULAR, marked_up
from treescan.outputs.text.say import text as text_of

TEXT = ParagraphStyle("text", fontName=REGULAR, fontSize=9.2, leading=11.4)
SMALL = ParagraphStyle("small", parent=TEXT, fontSize=8.6, leading=10.4)
BIG = ParagraphStyle("big", parent=TEXT, fontName=BOLD, fontSize=13, leading=15)
HEAD = ParagraphStyle(
    "head", parent=TEXT, fontName=BOLD, fontSize=17, leading=20, spaceAfter=3, keepWithNext=1
)
BAND = ParagraphStyle(
    "band",
    parent=TEXT,
    fontName=BOLD,
    fontSize=10,
    leading=12.4,
    spaceBefore=7,
    spaceAfter=2.5,
    keepWithNext=1,
)
MAIN = ParagraphStyle("main", parent=TEXT, fontSize=10, leading=12, spaceAfter=2.5)
NOTE = ParagraphStyle("note", parent=TEXT, fontSize=8.6, leading=10.2)
TITLE = ParagraphStyle("title", parent=TEXT, fontName=BOLD, fontSize=14, leading=16.5)
LABEL = 10.0
"""Print of labels of fields. [points]"""
FULL = A4[0] - 22 * mm
"""Width of the text block. [points]"""
RULE = HexColor("#777777")


ROLES = {"title": "H1", "head": "H1", "band": "H2"}
"""What a paragraph of a style is to a reading program; others are plain paragraphs."""


def marked(canvas: Any, role: str, alt: str = "") -> AbstractContextManager[None]:
    """Marks what is drawn inside, on a canvas that keeps marks."""
    found: AbstractContextManager[None] = canvas.marked(role, alt) if hasattr(canvas, "marked") else nullcontext()
    return found


class Said(Paragraph):
    """A paragraph that a reading program finds by its role."""

    def draw(self) -> None:
        """The text, marked."""
        with marked(self.canv, ROLES.get(self.style.name, "P")):
            super().draw()


class Blank(Flowable):
    """Ruled lines to write on, with the role or question in small print before the first."""

    def __init__(self, words: str, width: float, lines: int = 1) -> None:
        """`width` in points."""
        super().__init__()
        self.words, self.width, self.lines = words, width, lines
        self.height = 17.0 * lines

    def wrap(self, _wide: float, _high: float) -> tuple[float, float]:
        """Size on the page."""
        return self.width, self.height

    def draw(self) -> None:
        """Words, then rules."""
        with marked(self.canv, "P"):
            self._draw(self.canv)

    def _draw(self, c: Any) -> None:
        fonts.write(c, 0, self.height - 14, self.words, REGULAR, LABEL)
        start = fonts.width(self.words, REGULAR, LABEL) + 5 if self.words else 0
        c.setLineWidth(0.5)
        for i in range(self.lines):
            y = self.height - 15 - 17 * i
            c.line(start if i == 0 else 0, y, self.width, y)


class Field(Flowable):
    """A label, and after it a value on a rule; where there is no value the rule is left to write on."""

    def __init__(self, label: str, value: str, width: float, height: float = 17.0) -> None:
        """`width` and `height` in points; a value too long for its line goes on below it."""
        super().__init__()
        self.label, self.width, self.value = label, width, value
        self.start = fonts.width(label, REGULAR, LABEL) + 5.0
        first = fonts.wrapped(value, BOLD, LABEL, max(width - self.start, 20.0))[:1]
        rest = value[len(first[0]) :].strip() if first else ""
        self.lines = [*first, *fonts.wrapped(rest, BOLD, LABEL, width)] if rest else list(first)
        self._alone, self.height = height, height + 12.0 * max(0, len(self.lines) - 1)

    def wrap(self, _wide: float, _high: float) -> tuple[float, float]:
        """Size on the page."""
        return self.width, self.height

    def draw(self) -> None:
        """Label, value, rule."""
        with marked(self.canv, "P"):
            self._draw(self.canv, 12.0 * max(0, len(self.lines) - 1))

    def split(self, _wide: float, high: float) -> list[Flowable]:
        """The lines that fit and, without the label, those that follow; nothing where not one fits."""
        fit = 1 + int((high - self._alone) // 12.0)
        if high < self._alone or fit >= len(self.lines):
            return []
        first, rest = copy(self), copy(self)
        first.lines, rest.lines, rest.label, rest.start = self.lines[:fit], self.lines[fit:], "", 0.0
        for part in (first, rest):
            part.height = self._alone + 12.0 * (len(part.lines) - 1)
        return [first, rest]

    def _draw(self, c: Any, down: float) -> None:
        fonts.write(c, 0, 4.0 + down, self.label, REGULAR, LABEL)
        for i, line in enumerate(self.lines):
            fonts.write(c, self.start if i == 0 else 0.0, 4.0 + down - 12.0 * i, line, BOLD, LABEL)
        c.setLineWidth(0.5)
        c.line(self.start if not down else 0.0, 1.5, self.width, 1.5)


class Box(Flowable):
    """An empty square to tick by hand."""

    def wrap(self, _wide: float, _high: float) -> tuple[float, float]:
        """Size on the page."""
        return 9.0, 9.0

    def draw(self) -> None:
        """The square."""
        self.canv.setLineWidth(0.7)
        self.canv.rect(0, 0, 8, 8)


def words(text: str, style: ParagraphStyle = TEXT) -> Paragraph:
    """A paragraph of plain text."""
    return Said(marked_up(text), style)


def bullets(items: Iterable[str], style: ParagraphStyle = TEXT) -> list[Paragraph]:
    """One paragraph each, with a dash before it."""
    return [words(text_of("sheet_item", what=item), style) for item in items]


def cautions_in_two(width: float, style: ParagraphStyle = SMALL) -> Table:
    """All cautions by number, in two columns."""
    each = [
        strong(text_of("sheet_number", n=i), caution, style)
        for i, caution in enumerate(CAUTIONS.values(), start=1)
    ]
    middle = len(each) // 2
    return side_by_side(each[:middle], each[middle:], width)


def blank(code: str, width: float, lines: int = 1) -> Blank:
    """Ruled lines after the text of a code and a colon."""
    return Blank(text_of("sheet_blank", what=text_of(code)), width, lines)


def strong(label: str, text: str, style: ParagraphStyle = TEXT) -> Paragraph:
    """A bold label and its text."""
    return Said(f"<b>{marked_up(label)}</b> {marked_up(text)}", style)


def figures(rows: Iterable[tuple[str, ...]], width: float, share: float = 0.36) -> Table:
    """Label and figure, the last two of each row."""
    cells = [[words(label, SMALL), words(text)] for *_, label, text in rows]
    table = Table(cells, colWidths=[width * share, width * (1 - share)], hAlign="LEFT")
    table.setStyle(
        TableStyle([*_TIGHT, ("LEFTPADDING", (0, 0), (0, -1), 0), ("LINEBELOW", (0, 0), (-1, -1), 0.3, RULE)])
    )
    return table


def grid(
    head: Sequence[str],
    rows: Sequence[Sequence[str]],
    widths: Sequence[float],
    roomy: float = 1.6,
    ruled: bool = False,
) -> Table:
    """A table over the full width with a heading row, columns in the proportion of `widths`; `roomy` points under every text and ruled cells leave space to write."""
    cells = [[strong(h, "", SMALL) for h in head]] + [[words(str(c), SMALL) for c in row] for row in rows]
    table = Table(cells, colWidths=[FULL * wide / sum(widths) for wide in widths], repeatRows=1, hAlign="LEFT")
    table.setStyle(
        TableStyle(
            [
                *_TIGHT,
                *(
                    (("GRID", (0, 0), (-1, -1), 0.4, RULE),)
                    if ruled
                    else (("LINEBELOW", (0, 1), (-1, -1), 0.3, RULE), ("LEFTPADDING", (0, 0), (0, -1), 0))
                ),
                ("LINEBELOW", (0, 0), (-1, 0), 0.9, black),
                ("BOTTOMPADDING", (0, 1), (-1, -1), roomy),
            ]
        )
    )
    return table


def side_by_side(
    left: Sequence[Any], right: Sequence[Any], width: float, share: float = 0.5, gap: float = 10.0
) -> Table:
    """Two columns of blocks."""
    table = Table([[list(left), list(right)]], colWidths=[width * share, width * (1 - share)], hAlign="LEFT")
    table.setStyle(TableStyle([*FLUSH, ("RIGHTPADDING", (0, 0), (0, 0), gap)]))
    return table


def numbered(steps: Sequence[str]) -> ListFlowable:
    """Steps in order."""
    return ListFlowable(
        [ListItem(words(s), leftIndent=14) for s in steps],
        bulletType="1",
        bulletFormat="%s.",
        bulletFontName=REGULAR,
        bulletFontSize=9.2,
        leftIndent=15,
    )


def boxes(items: Sequence[str]) -> Table:
    """Lines with an empty box to tick by hand."""
    table = Table([[Box(), words(item)] for item in items], colWidths=[15, None], hAlign="LEFT")
    table.setStyle(TableStyle(_TIGHT))
    return table


def rich(label: str, said: str, style: ParagraphStyle = TEXT) -> Paragraph:
    """A bold label, then its text in the same line."""
    return strong(label, said, style)


def rule() -> HRFlowable:
    """A line across the page."""
    return HRFlowable(width="100%", thickness=0.6, color=black, spaceBefore=2, spaceAfter=3)


def framed(content: Sequence[Any], width: float | None) -> Table:
    """Blocks in a heavy frame, over the whole width where none is given."""
    table = Table([[list(content)]], colWidths=[width or "100%"], hAlign="LEFT")
    table.setStyle(
        TableStyle(
            [
                *FLUSH,
                ("BOX", (0, 0), (-1, -1), 1.6, black),
                ("LEFTPADDING", (0, 0), (-1, -1), 6),
                ("RIGHTPADDING", (0, 0), (-1, -1), 6),
                ("TOPPADDING", (0, 0), (-1, -1), 4),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 5),
            ]
        )
    )
    return table


def strip(cells: Sequence[tuple[str, str, str]], width: float) -> Table:
    """Figures at a glance in one row: question, figure in large print, small words."""
    table = Table(
        [[[words(a, SMALL), words(b, BIG), words(c, SMALL)] for a, b, c in cells]],
        colWidths=[width / len(cells)] * len(cells),
        hAlign="LEFT",
    )
    table.setStyle(
        TableStyle(
            [
                *FLUSH,
                ("LINEABOVE", (0, 0), (-1, -1), 1.4, black),
                ("LINEBELOW", (0, 0), (-1, -1), 0.4, RULE),
                ("RIGHTPADDING", (0, 0), (-1, -1), 6),
                ("TOPPADDING", (0, 0), (-1, -1), 3),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 5),
            ]
        )
    )
    return table


def may_run_on(block: Flowable, width: float, height: float) -> None:
    """Lets a table with a row taller than the page [points] be parted within it: what people write in a file has no most length."""
    if isinstance(block, Table):
        block.wrap(width, 1e5)
        if max(block._rowHeights) > height:
            block.splitInRow = 1
            block._cellvalues = [[list(c) if isinstance(c, list | tuple) else [c] for c in row] for row in block._cellvalues]


def gap(points: float = 5.0) -> Spacer:
    """Empty space."""
    return Spacer(1, points)


_TIGHT: list[Any] = [
    ("FONTNAME", (0, 0), (-1, -1), REGULAR),
    ("VALIGN", (0, 0), (-1, -1), "TOP"),
    ("LEFTPADDING", (0, 0), (-1, -1), 2),
    ("RIGHTPADDING", (0, 0), (-1, -1), 3),
    ("TOPPADDING", (0, 0), (-1, -1), 1.3),
    ("BOTTOMPADDING", (0, 0), (-1, -1), 1.6),
]
FLUSH: list[Any] = [
    ("FONTNAME", (0, 0), (-1, -1), REGULAR),
    ("VALIGN", (0, 0), (-1, -1), "TOP"),
    ("LEFTPADDING", (0, 0), (-1, -1), 0),
    ("RIGHTPADDING", (0, 0), (-1, -1), 0),
    ("TOPPADDING", (0, 0), (-1, -1), 0),
    ("BOTTOMPADDING", (0, 0), (-1, -1), 0),
]
