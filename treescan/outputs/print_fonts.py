"""Which letters stand on our paper? Fonts that every PDF carries with it, and what stands in for letters they lack.

The fonts lie in `outputs/fonts` with their licences: one sans in regular and bold (Latin, Greek, Cyrillic, Vietnamese letters), and
one with Chinese and Japanese ones. Letters of neither print as an empty box.
"""

from __future__ import annotations

from functools import cache
from itertools import groupby
from pathlib import Path
from xml.sax.saxutils import escape

from reportlab.pdfbase.pdfmetrics import getFont, registerFont, registerFontFamily, stringWidth
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

FOLDER = Path(__file__).parent / "fonts"
REGULAR, BOLD, OTHER = "Sheet", "Sheet-Bold", "Sheet-Other"
"""Names under which the fonts are known to a drawing; `OTHER` has the letters that the first two lack."""
FILES = {REGULAR: "LiberationSans-Regular.ttf", BOLD: "LiberationSans-Bold.ttf", OTHER: "DroidSansFallbackFull.ttf"}


def runs(text: str, font: str) -> list[tuple[str, str]]:
    """The text in pieces of one font each: (font, piece).

    >>> runs("Ἑλλάς Łódź", REGULAR)
    [('Sheet', 'Ἑλλάς Łódź')]
    >>> runs("site 桜", BOLD)
    [('Sheet-Bold', 'site '), ('Sheet-Other', '桜')]
    """
    return [(name, "".join(piece)) for name, piece in groupby(text, lambda letter: _font_for(letter, font))]


def marked_up(text: str) -> str:
    """The text as a paragraph wants it: its own signs escaped, letters that the sheet's fonts lack in the other one."""
    return "".join(
        escape(piece) if font == REGULAR else f'<font name="{font}">{escape(piece)}</font>' for font, piece in runs(text, REGULAR)
    )


def width(text: str, font: str, size: float) -> float:
    """Of a line. [points]"""
    return sum(float(stringWidth(piece, name, size)) for name, piece in runs(text, font))


def write(canvas: Canvas, x: float, y: float, text: str, font: str, size: float) -> None:
    """A line of text that begins at x, y. [points]"""
    for name, piece in runs(text, font):
        canvas.setFont(name, size)
        canvas.drawString(x, y, piece)
        x += stringWidth(piece, name, size)


def wrapped(text: str, font: str, size: float, room: float) -> list[str]:
    """The text in lines no wider than `room` [points], parted at blanks; a word that is wider is parted where it must be."""
    lines = [""]
    for word in text.split():
        tried = f"{lines[-1]} {word}".strip()
        if width(tried, font, size) <= room:
            lines[-1] = tried
            continue
        if lines[-1]:
            lines.append("")
        for letter in word:
            if lines[-1] and width(lines[-1] + letter, font, size) > room:
                lines.append("")
            lines[-1] += letter
    return lines if lines != [""] else []


def _font_for(letter: str, font: str) -> str:
    """The sheet's own font, or the other where only that has the letter."""
    code = ord(letter)
    return OTHER if code not in _letters(font) and code > 0xFF and code in _letters(OTHER) else font


@cache
def _letters(font: str) -> frozenset[int]:
    """Codes of all letters of a font; the other one is read when it is first needed."""
    if font == OTHER:
        _register(OTHER)
    return frozenset(getFont(font).face.charToGlyph)


def _register(name: str) -> None:
    registerFont(TTFont(name, FOLDER / FILES[name]))


_register(REGULAR)
_register(BOLD)
registerFontFamily(REGULAR, normal=REGULAR, bold=BOLD, italic=REGULAR, boldItalic=BOLD)
