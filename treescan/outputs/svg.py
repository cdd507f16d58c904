"""The few SVG marks our drawings are made of. Styles are classes of the page's style sheet, so that print and screen can differ."""

from __future__ import annotations

from html import escape

import numpy as np


class Drawing:
    """Marks collected in drawing order; x to the right, y down, in drawing units."""

    def __init__(self, width: float, height: float, title: str) -> None:
        """Start an empty drawing with the sentence a screen reader says for it."""
        self.width, self.height, self.title = width, height, title
        self.marks: list[str] = []

    def line(self, points: np.ndarray, css: str, *, closed: bool = False) -> None:
        """A polyline, (k, 2); nothing for fewer than two points."""
        if len(points) >= 2:
            self.marks.append(f'<path class="{css}" d="{path(points, closed)}"/>')

    def circle(self, x: float, y: float, r: float, css: str, tip: str = "", style: str = "") -> None:
        """A circle with an optional tooltip."""
        inner = f"<title>{escape(tip)}</title>" if tip else ""
        look = f' style="{style}"' if style else ""
        self.marks.append(f'<circle class="{css}" cx="{x:.1f}" cy="{y:.1f}" r="{r:.1f}"{look}>{inner}</circle>')

    def rect(self, x: float, y: float, w: float, h: float, css: str, style: str = "") -> None:
        """A rectangle."""
        look = f' style="{style}"' if style else ""
        self.marks.append(f'<rect class="{css}" x="{x:.1f}" y="{y:.1f}" width="{max(w, 0):.1f}" height="{max(h, 0):.1f}"{look}/>')

    def text(self, x: float, y: float, words: str, css: str = "t", anchor: str = "start") -> None:
        """A line of text."""
        at = "" if anchor == "start" else f' text-anchor="{anchor}"'
        self.marks.append(f'<text class="{css}" x="{x:.1f}" y="{y:.1f}"{at}>{escape(words)}</text>')

    def raw(self, mark: str) -> None:
        """A mark written out by the caller."""
        self.marks.append(mark)

    def __str__(self) -> str:
        head = f'<svg class="drawing" viewBox="0 0 {self.width:.0f} {self.height:.0f}" role="img" aria-label="{escape(self.title)}">'
        return head + "".join(self.marks) + "</svg>"


def path(points: np.ndarray, closed: bool = False) -> str:
    """Path data of a polyline, one decimal."""
    p = np.round(np.asarray(points, float), 1) + 0.0
    return "M" + "L".join(f"{x:g} {y:g}" for x, y in p) + ("Z" if closed else "")
