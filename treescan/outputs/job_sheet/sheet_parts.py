"""Building blocks of the job sheet: headings, figure tables, ruled blanks, tick boxes, and pages that shrink to fit."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any
from xml.sax.saxutils import escape

from reportlab.lib.colors import HexColor, black
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.utils import simpleSplit
from reportlab.platypus import (
    Flowable,
    KeepInFrame,
    ListFlowable,
    ListItem,
    Paragraph,
    Spacer,
    Table,
    TableStyle,
)

from treescan.cautions import CAUTIONS
from treescan.outputs.text.say import text as text_of

TEXT = ParagraphStyle("text", fontName="Helvetica", fontSize=9.2, leading=11.4)
SMALL = ParagraphStyle("small", parent=TEXT, fontSize=7.7, leading=9.3)
BIG = ParagraphStyle("big", parent=TEXT, fontName="Times-Bold", fontSize=13, leading=15)
HEAD = ParagraphStyle("head", parent=TEXT, fontName="Times-Bold", fontSize=17, leading=20, spaceAfter=3)
BAND = ParagraphStyle(
    "band", parent=TEXT, fontName="Helvetica-Bold", fontSize=10, leading=12.4, spaceBefore=7, spaceAfter=2.5
)
RULE = HexColor("#999999")


class Fold(KeepInFrame):
    """One page's content, shrunk a little where it would not fit."""

    def __init__(self, content: Sequence[Any], width: float, height: float) -> None:
        """Keep the content inside width and height, in points."""
        super().__init__(width, height, list(content), mode="shrink", hAlign="LEFT", vAlign="TOP")


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
        c = self.canv
        c.setFont("Helvetica", 8)
        c.drawString(0, self.height - 14, self.words)
        start = c.stringWidth(self.words, "Helvetica", 8) + 5 if self.words else 0
        c.setLineWidth(0.5)
        for i in range(self.lines):
            y = self.height - 15 - 17 * i
            c.line(start if i == 0 else 0, y, self.width, y)


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
    return Paragraph(escape(text), style)


def bullets(items: Iterable[str], style: ParagraphStyle = TEXT) -> list[Paragraph]:
    """One paragraph each, with a dash before it."""
    return [words(text_of("sheet_item", what=item), style) for item in items]


def cautions_in_two(width: float) -> Table:
    """All cautions by number, in two columns."""
    each = [
        strong(text_of("sheet_number", n=i), caution, SMALL)
        for i, caution in enumerate(CAUTIONS.values(), start=1)
    ]
    middle = len(each) // 2
    return side_by_side(each[:middle], each[middle:], width)


def blank(code: str, width: float, lines: int = 1) -> Blank:
    """Ruled lines after the text of a code and a colon."""
    return Blank(text_of("sheet_blank", what=text_of(code)), width, lines)


def strong(label: str, text: str, style: ParagraphStyle = TEXT) -> Paragraph:
    """A bold label and its text."""
    return Paragraph(f"<b>{escape(label)}</b> {escape(text)}", style)


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
    """A table with a heading row; `roomy` points under every text and ruled cells leave space to write."""
    cells = [[strong(h, "", SMALL) for h in head]] + [[words(str(c), SMALL) for c in row] for row in rows]
    table = Table(cells, colWidths=list(widths), repeatRows=1, hAlign="LEFT")
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
    table.setStyle(TableStyle([*_FLUSH, ("RIGHTPADDING", (0, 0), (0, 0), gap)]))
    return table


def numbered(steps: Sequence[str]) -> ListFlowable:
    """Steps in order."""
    return ListFlowable(
        [ListItem(words(s), leftIndent=14) for s in steps],
        bulletType="1",
        bulletFormat="%s.",
        bulletFontSize=9.2,
        leftIndent=15,
    )


def boxes(items: Sequence[str]) -> Table:
    """Lines with an empty box to tick by hand."""
    table = Table([[Box(), words(item)] for item in items], colWidths=[15, None], hAlign="LEFT")
    table.setStyle(TableStyle(_TIGHT))
    return table


def framed(content: Sequence[Any], width: float) -> Table:
    """Blocks in a heavy frame."""
    table = Table([[list(content)]], colWidths=[width], hAlign="LEFT")
    table.setStyle(
        TableStyle(
            [
                *_FLUSH,
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
                *_FLUSH,
                ("LINEABOVE", (0, 0), (-1, -1), 1.4, black),
                ("LINEBELOW", (0, 0), (-1, -1), 0.4, RULE),
                ("RIGHTPADDING", (0, 0), (-1, -1), 6),
                ("TOPPADDING", (0, 0), (-1, -1), 3),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 5),
            ]
        )
    )
    return table


def gap(points: float = 5.0) -> Spacer:
    """Empty space."""
    return Spacer(1, points)


def wrapped(text: str, font: str, size: float, width: float) -> list[str]:
    """Lines of a text at a width in points."""
    return list(simpleSplit(text, font, size, width))


_TIGHT: list[Any] = [
    ("VALIGN", (0, 0), (-1, -1), "TOP"),
    ("LEFTPADDING", (0, 0), (-1, -1), 2),
    ("RIGHTPADDING", (0, 0), (-1, -1), 3),
    ("TOPPADDING", (0, 0), (-1, -1), 1.3),
    ("BOTTOMPADDING", (0, 0), (-1, -1), 1.6),
]
_FLUSH: list[Any] = [
    ("VALIGN", (0, 0), (-1, -1), "TOP"),
    ("LEFTPADDING", (0, 0), (-1, -1), 0),
    ("RIGHTPADDING", (0, 0), (-1, -1), 0),
    ("TOPPADDING", (0, 0), (-1, -1), 0),
    ("BOTTOMPADDING", (0, 0), (-1, -1), 0),
]
