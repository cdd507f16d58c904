"""The window of a throw as the thrower sees it: wood, the opening, where the bags go, and what stops them."""

from __future__ import annotations

import io
from typing import Any

import numpy as np
from matplotlib import rc_context
from matplotlib.axes import Axes
from matplotlib.collections import PolyCollection
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from numpy.typing import NDArray

from treescan.throw.throw_path import Throw
from treescan.throw.window import Window

Floats = NDArray[np.float64]

INK, BLUE, ORANGE, SAND = "#1b2a33", "#17507f", "#a8480b", "#c9bda6"
OVER = {1: (BLUE, "o", "over it, clean"), 2: ("#6fa8cf", "s", "over it, to be worked"), 3: (SAND, "^", "over it and other limbs")}
STYLE: dict[Any, Any] = {
    "font.family": "DejaVu Sans", "font.size": 8, "axes.spines.top": False, "axes.spines.right": False,
    "svg.fonttype": "none", "svg.hashsalt": "treescan",
}  # fmt: skip
LEAST_WIDTH = 0.12
"""Wood thinner than this in the picture is drawn this wide. [deg]"""

MARGIN = 12.0
"""Room in the picture round where the bags go. [deg]"""


def draw_window(ax: Axes, window: Window) -> None:
    """The view in degrees: right of the aim, and above level."""
    left, right, low, high = _frame(window)
    inside = np.all((np.degrees(window.limb_from) > [left - 20, low - 20]) & (np.degrees(window.limb_from) < [right + 20, high + 20]), axis=1)
    for wanted, colour in ((False, None), (True, ORANGE)):
        rows = np.flatnonzero(inside & (window.wanted == wanted))
        if len(rows) == 0:
            continue
        far = np.clip(window.limb_distance[rows] / max(float(window.limb_distance.max()), 1e-9), 0, 1)
        grey = 0.35 + 0.5 * far
        faces = colour if wanted else np.column_stack([grey, grey, grey])
        ax.add_collection(PolyCollection(list(_bars(window, rows)), facecolors=faces, edgecolors="none"))
    ax.plot(*np.degrees(window.path).T, color=INK, lw=0.8, ls="--", label="the flight aimed at")
    if len(window.stopped):
        ax.plot(*np.degrees(window.stopped).T, "x", color=INK, ms=3.5, mew=0.8, alpha=0.7, label="stopped")
    for isolation, (colour, mark, words) in OVER.items():
        some = np.degrees(window.over[window.over_class == isolation])
        if len(some):
            ax.plot(*some.T, mark, color=colour, ms=3.5, mec=INK, mew=0.2, label=words)
    x0, x1, y0, y1 = np.degrees(window.opening)
    if np.isfinite(x0):
        ax.add_patch(Rectangle((x0, y0), x1 - x0, y1 - y0, fill=False, ec=BLUE, lw=1.2))
    ax.set_xlim(left, right)
    ax.set_ylim(low, high)
    ax.set_aspect("equal")
    ax.set_xlabel("degrees right of the aim")
    ax.set_ylabel("degrees above level")


def _frame(window: Window) -> tuple[float, float, float, float]:
    """Left, right, lower and upper limit of the picture. [deg]"""
    marks = np.degrees(np.concatenate([window.over, window.stopped, window.limb_from[window.wanted]]))
    if len(marks) == 0:
        marks = np.degrees(window.path)
    low, high = np.percentile(marks, 2, axis=0), np.percentile(marks, 98, axis=0)
    return float(low[0]) - MARGIN, float(high[0]) + MARGIN, max(float(low[1]) - MARGIN, -10.0), min(float(high[1]) + MARGIN, 95.0)


def _bars(window: Window, rows: NDArray[np.int64]) -> Floats:
    """Outlines (k, 4, 2) of pieces of wood as seen. [deg]"""
    a, b = np.degrees(window.limb_from[rows]), np.degrees(window.limb_to[rows])
    d = b - a
    d /= np.maximum(np.linalg.norm(d, axis=1), 1e-9)[:, None]
    side = np.column_stack([-d[:, 1], d[:, 0]]) * np.maximum(np.degrees(window.limb_width[rows]), LEAST_WIDTH)[:, None] / 2
    return np.stack([a + side, b + side, b - side, a - side], axis=1)


def window_figure(window: Window, title: str) -> Figure:
    """The view with its legend and, below it, what becomes of the throws."""
    with rc_context(STYLE):
        figure = Figure(figsize=(5.2, 5.6))
        ax = figure.add_axes((0.12, 0.26, 0.84, 0.66))
        draw_window(ax, window)
        ax.legend(frameon=False, fontsize=7, loc="upper left")
        figure.suptitle(title, x=0.02, ha="left", fontsize=9, color=INK)
        figure.text(0.02, 0.02, "\n".join(falls_words(window)), fontsize=7, color=INK, va="bottom")
    return figure


def falls_words(window: Window, most: int = 6) -> list[str]:
    """What becomes of the throws about the aim, twigs left aside; the rest in one line."""
    out = [f"{100 * share:.0f} %  {words}" for words, share in window.falls[:most]]
    rest = sum(share for _, share in window.falls[most:])
    return out + ([f"{100 * rest:.0f} %  stopped by other limbs or lost otherwise"] if rest >= 0.005 else [])


def window_title(throw: Throw, label: str) -> str:
    """Such as "U07 as seen from the release point: 62 % a throw"."""
    return f"{label} as seen from the release point: {100 * throw.chance:.0f} % a throw"


def window_svg(window: Window, title: str) -> str:
    """The figure as one SVG text, the same for the same window; for a card or a page."""
    out = io.StringIO()
    with rc_context(STYLE):
        window_figure(window, title).savefig(out, format="svg", metadata={"Date": None})
    text = out.getvalue()
    return text[text.index("<svg") :]
