"""A drawing on paper: the marks of `outputs.svg` drawn by reportlab, in tones that a black-and-white printer keeps apart."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from reportlab.lib.colors import HexColor
from reportlab.pdfgen.canvas import FILL_NON_ZERO
from reportlab.platypus import Flowable

from treescan.outputs.drawing.svg import Circle, Drawing, Shape, Words
from treescan.outputs.print_fonts import BOLD, REGULAR, width, write

LEAST = 8.6
"""Smallest print of a drawing on paper. [points]"""


class Look(NamedTuple):
    """Fill, line colour, line width in points, dashes."""

    fill: str = ""
    stroke: str = ""
    width: float = 0.6
    dash: tuple[float, ...] = ()


LOOKS = {
    "grid": Look(stroke="#d5d5d5", width=0.4),
    "limit": Look(stroke="#000000", width=1.2, dash=(4, 2)),
    "wood": Look("#ffffff", "#333333", 0.4),
    "hidden": Look(stroke="#333333", width=0.4, dash=(2, 2)),
    "ground": Look(stroke="#222222", width=1.4),
    "use0": Look("#f1f6fa", "#1d5c8f", 0.4),
    "use1": Look("#bcd3e5", "#1d5c8f", 0.4),
    "use2": Look("#cf9543", "#5a3500", 0.5),
    "use3": Look("#96480b", "#5a3500", 0.5),
    "use4": Look("#2e0d00", "#000000", 0.5),
    "use6": Look("#c4c8cb", "#555555", 0.5, (1, 1)),
    "to-use-halo": Look(stroke="#ffffff", width=4.4),
    "to-use": Look(stroke="#000000", width=2.6),
    "rope": Look(stroke="#000000", width=1.6),
    "throw": Look(stroke="#8f3d08", width=1.0),
    "swing": Look(stroke="#000000", width=0.9, dash=(4, 3)),
    "rescue": Look(stroke="#000000", width=1.4, dash=(7, 2, 1.5, 2)),
    "halo": Look(stroke="#ffffff", width=2.6),
    "person": Look(stroke="#000000", width=1.1),
    "head": Look("#000000"),
    "anchor": Look("#ffffff", "#10324d", 2.0),
    "catch": Look("#ffffff", "#000000", 0.9, (1.5, 1.5)),
    "weakest": Look(stroke="#5c1c00", width=1.8),
    "ring": Look(stroke="#cccccc", width=0.5),
    "clear": Look(stroke="#5c1c00", width=1.0, dash=(6, 3)),
    "place": Look("#1d5c8f", "#333333", 0.3),
    "none": Look("#ffffff", "#999999", 0.3),
    "piece": Look(stroke="#5a3500"),
    "limb": Look(stroke="#b3aa9b"),
    "building": Look("#dddddd", "#333333", 0.8),
    "road": Look("#eeeeee", "#999999", 0.5),
    "water": Look("#e6eef3", "#6fa8cf", 0.5),
    "nostand": Look("#f6e3d2", "#8f3d08", 0.8, (3, 2)),
    "wire": Look(stroke="#000000", width=0.9, dash=(8, 2, 1, 2)),
    "wire-seen": Look(stroke="#000000", width=1.2, dash=(5, 3)),
    "around": Look("#dddddd"),
    "neighbour": Look("#999999", "#333333", 0.5),
    "stand": Look("#8f3d08", "#ffffff", 1.0),
    "north": Look("#000000"),
    "scalebar": Look(stroke="#000000", width=2.2),
    "spread": Look("#d3dfe8", "#17507f", 0.5),
    "median": Look(stroke="#10324d", width=1.8),
    "low": Look(stroke="#17507f", width=1.2),
    "wood0": Look("#e2e2e2"),
    "wood1": Look("#c2c2c2"),
    "wood2": Look("#969696"),
    "wood3": Look("#5f5f5f"),
    "wanted-edge": Look("#000000"),
    "wanted": Look("#e3b066"),
    "aim": Look(stroke="#000000", width=0.8, dash=(4, 3)),
    "stopped": Look(stroke="#000000", width=0.6),
    "bag1": Look("#10324d", "#ffffff", 0.4),
    "bag2": Look("#2f79ad", "#ffffff", 0.4),
    "bag3": Look("#6fa8cf", "#ffffff", 0.4),
    "opening": Look(stroke="#000000", width=1.4),
    "bar0": Look("#17507f"),
    "bar1": Look("#6fa8cf"),
    "bar2": Look("#c7d8e4"),
}


class Picture(Flowable):
    """A drawing as a block of the page, as large as the given width and height allow."""

    def __init__(self, drawing: Drawing, width: float, height: float) -> None:
        """Fit the drawing into width and height, in points."""
        super().__init__()
        self.drawing = drawing
        self.scale = min(width / drawing.width, height / drawing.height)
        self.width, self.height = drawing.width * self.scale, drawing.height * self.scale

    def wrap(self, _wide: float, _high: float) -> tuple[float, float]:
        """Size on the page."""
        return self.width, self.height

    def draw(self) -> None:
        """Draw every mark; y is turned round once, here. The drawing's title stands for it where it cannot be seen."""
        if hasattr(self.canv, "marked"):
            with self.canv.marked("Figure", self.drawing.title):
                self._draw(self.canv)
        else:
            self._draw(self.canv)

    def _draw(self, c: Any) -> None:
        c.saveState()
        frame = c.beginPath()
        frame.rect(0, 0, self.width, self.height)
        c.clipPath(frame, stroke=0, fill=0)
        for mark in self.drawing.marks:
            self._mark(c, mark)
        c.restoreState()

    def _at(self, x: float, y: float) -> tuple[float, float]:
        return float(x) * self.scale, self.height - float(y) * self.scale

    def _mark(self, c: Any, mark: Shape | Circle | Words) -> None:
        words = mark.css.split()
        if isinstance(mark, Words):
            self._text(c, mark, words)
            return
        look = next((LOOKS[w] for w in reversed(words) if w in LOOKS), Look(stroke="#000000"))
        fill = mark.fill if isinstance(mark, Circle) and mark.fill else look.fill
        thick = mark.width * self.scale if isinstance(mark, Shape) and mark.width is not None else look.width
        if fill:
            c.setFillColor(HexColor(fill))
        if look.stroke:
            c.setStrokeColor(HexColor(look.stroke))
        c.setLineWidth(thick)
        c.setLineJoin(1)
        c.setDash(*([list(look.dash)] if look.dash else [[]]))
        if isinstance(mark, Circle):
            x, y = self._at(mark.x, mark.y)
            c.circle(x, y, max(mark.r * self.scale, 0.6), stroke=int(bool(look.stroke)), fill=int(bool(fill)))
            return
        path = c.beginPath()
        for part in mark.parts:
            for i, (px, py) in enumerate(np.asarray(part)):
                (path.lineTo if i else path.moveTo)(*self._at(px, py))
            if mark.closed:
                path.close()
        c.drawPath(
            path, stroke=int(bool(look.stroke)), fill=int(bool(fill) and mark.closed), fillMode=FILL_NON_ZERO
        )

    def _text(self, c: Any, mark: Words, words: list[str]) -> None:
        size = max(LEAST, (12 if "small" in words else 14) * self.scale)
        font = BOLD if "strong" in words else REGULAR
        x, y = self._at(mark.x, mark.y)
        wide = width(mark.text, font, size)
        x -= {"start": 0.0, "middle": wide / 2, "end": wide}[mark.anchor]
        if "halo-text" in words:
            c.setFillColor(HexColor("#ffffff"))
            c.rect(x - 1, y - 1.5, wide + 2, size + 0.5, stroke=0, fill=1)
        c.setFillColor(HexColor("#666666" if "faint" in words else "#000000"))
        write(c, x, y, mark.text, font, size)
