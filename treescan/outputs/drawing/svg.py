"""The few marks our drawings are made of, kept as data so that the page (SVG) and the job sheet (PDF) show the same drawing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Shape:
    """Lines or areas: `parts` of (k, 2) points, styled by the class words in `css`; `fill` and `width` override the style."""

    parts: tuple[Floats, ...]
    css: str
    closed: bool = False
    tip: str = ""
    width: float | None = None


@dataclass(frozen=True)
class Circle:
    """A circle with an optional tooltip and a fill of its own."""

    x: float
    y: float
    r: float
    css: str
    tip: str = ""
    fill: str = ""


@dataclass(frozen=True)
class Words:
    """A line of text; `anchor` is start, middle or end."""

    x: float
    y: float
    text: str
    css: str = "t"
    anchor: str = "start"


LABEL_SIZE, LETTER = 19.5, 0.56
"""Height of the largest print a label gets (on a phone, on paper), in drawing units, and width of a letter over it."""


def _spots(away: float, high: float) -> list[tuple[float, float, str]]:
    """Where a label may stand beside its mark, the best first."""
    near = [(away, 5.0, "start"), (-away, 5.0, "end")]
    steps = (1.0, -1.0, 2.0, -2.0, 3.0, -3.0, 4.5, -4.5, 6.0, -6.0)
    return near + [(side * away, 5.0 + k * high, how) for k in steps for side, how in ((1, "start"), (-1, "end"), (0, "middle"))]


def _meet(one: tuple[float, float, float, float], other: tuple[float, float, float, float]) -> bool:
    """Whether two boxes overlap."""
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


class Drawing:
    """Marks collected in drawing order; x to the right, y down, in drawing units."""

    def __init__(self, width: float, height: float, title: str, print_size: float = LABEL_SIZE) -> None:
        """Start an empty drawing with the sentence a screen reader says for it, and the largest print its labels will get."""
        self.width, self.height, self.title, self.print_size = width, height, title, print_size
        self.marks: list[Shape | Circle | Words] = []
        self._taken: list[tuple[float, float, float, float]] = []

    def line(self, points: Floats, css: str, *, closed: bool = False, width: float | None = None) -> None:
        """A polyline, (k, 2); nothing for fewer than two points."""
        self.shape([points], css, closed=closed, width=width)

    def shape(
        self,
        parts: Sequence[Floats],
        css: str,
        *,
        closed: bool = False,
        tip: str = "",
        width: float | None = None,
    ) -> None:
        """Several polylines or areas as one mark."""
        kept = tuple(np.asarray(p, float) for p in parts if len(p) >= 2)
        if kept:
            self.marks.append(Shape(kept, css, closed, tip, width))

    def circle(self, x: float, y: float, r: float, css: str, tip: str = "", fill: str = "") -> None:
        """A circle with an optional tooltip."""
        self.marks.append(Circle(x, y, r, css, tip, fill))

    def rect(self, x: float, y: float, w: float, h: float, css: str) -> None:
        """A rectangle."""
        w, h = max(w, 0.0), max(h, 0.0)
        self.line(np.array([[x, y], [x + w, y], [x + w, y + h], [x, y + h]]), css, closed=True)

    def cross(self, x: float, y: float, half: float, css: str, tip: str = "") -> None:
        """A lying cross."""
        down = np.array([[x - half, y - half], [x + half, y + half]])
        self.shape([down, down * [1, -1] + [0, 2 * y]], css, tip=tip)

    def text(self, x: float, y: float, words: str, css: str = "t", anchor: str = "start") -> None:
        """A line of text."""
        if words:
            self.marks.append(Words(x, y, words, css, anchor))

    def label(
        self, x: float, y: float, words: str, css: str = "t", away: float = 10.0, *, must: bool = False
    ) -> None:
        """A line of text beside a mark, where no other label stands; the mark's own place is x, y. Where there is no room it is
        left out, but for one that `must` stand: that goes across the middle at the height of its mark."""
        if not words:
            return
        wide, high = LETTER * self.print_size * len(words), self.print_size * 1.25
        for dx, dy, anchor in _spots(away, high):
            left = x + dx - (wide if anchor == "end" else wide / 2 if anchor == "middle" else 0.0)
            box = (left, y + dy - 0.8 * high, left + wide, y + dy + 0.25 * high)
            inside = box[0] >= 0 and box[2] <= self.width and box[1] >= 0 and box[3] <= self.height
            if inside and not any(_meet(box, other) for other in self._taken):
                self._taken.append(box)
                self.text(x + dx, y + dy, words, css, anchor)
                return
        if must:
            self.text(self.width / 2, min(max(y, 1.2 * high), self.height - high), words, css, "middle")

    def keep_clear(self, x: float, y: float, half: float) -> None:
        """A square that no label may cover."""
        self._taken.append((x - half, y - half, x + half, y + half))

    def __str__(self) -> str:
        head = f'<svg class="drawing" viewBox="0 0 {self.width:.0f} {self.height:.0f}" role="img" aria-label="{escape(self.title)}">'
        return head + "".join(_svg(m) for m in self.marks) + "</svg>"


def _svg(m: Shape | Circle | Words) -> str:
    """One mark as SVG."""
    if isinstance(m, Words):
        at = "" if m.anchor == "start" else f' text-anchor="{m.anchor}"'
        return f'<text class="{m.css}" x="{m.x:.1f}" y="{m.y:.1f}"{at}>{escape(m.text)}</text>'
    tip = f"<title>{escape(m.tip)}</title>" if m.tip else ""
    if isinstance(m, Circle):
        fill = f' style="fill:{m.fill}"' if m.fill else ""
        return f'<circle class="{m.css}" cx="{m.x:.1f}" cy="{m.y:.1f}" r="{m.r:.1f}"{fill}>{tip}</circle>'
    wide = f' style="stroke-width:{m.width:.1f}"' if m.width is not None else ""
    data = "".join(_path(p, m.closed) for p in m.parts)
    return (
        f'<path class="{m.css}"{wide} d="{data}">{tip}</path>'
        if tip
        else f'<path class="{m.css}"{wide} d="{data}"/>'
    )


def _path(points: Floats, closed: bool) -> str:
    """Path data of a polyline, one decimal."""
    p = np.round(points, 1) + 0.0
    return "M" + "L".join([f"{x:g} {y:g}" for x, y in p.tolist()]) + ("Z" if closed else "")
