"""What the thrower sees, as a drawing for page and sheet: the wood, the opening, where the bags pass and what stops them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from treescan.assess import Assessment
from treescan.outputs.drawing.svg import Drawing
from treescan.outputs.text.say import figure, say, text, word
from treescan.reason import Reason
from treescan.throw.detail.window import THROWS, Window, throw_window
from treescan.throw.throw_path import Throw

Floats = NDArray[np.float64]
WIDE, TALL, LEFT, FOOT = 560.0, 640.0, 40.0, 34.0
ROOM, LEAST, MOST = 10.0, 0.14, 2200
"""Room round the useful bags and the wanted limb [deg], least drawn width of wood [deg], most pieces of wood drawn, the widest of them."""
SMALLEST = np.array([34.0, 30.0])
"""Least width and height of the picture: less would show no way to the opening. [deg]"""
ROUNDED = 0.4
"""Share of its width by which a piece of wood is drawn longer at both ends, so that bends have no gaps."""
APART = 5.0
"""Marks nearer to a drawn one than this are left out, so that single marks stay readable."""
EDGE = 0.12
"""Dark edge round the wanted limb. [deg]"""
LEAST_TOLD = 0.02
"""Rarer fates of a bag are not told."""
FALLS_TOLD = 4
"""Fates of the bags that are told, the most frequent first."""
FAR = 4
"""Shades of wood, from the farthest (palest) to the nearest."""
MARKS = {
    1: np.array([[-4.0, 0], [0, -4], [4, 0], [0, 4]]),
    2: np.array([[-3.2, -3.2], [3.2, -3.2], [3.2, 3.2], [-3.2, 3.2]]),
    3: np.array([[-4.0, 3.4], [0, -4], [4, 3.4]]),
}
"""Diamond, square and triangle for the three isolation classes: told apart without colour."""
MARK_WORDS = {1: "bag_isolated", 2: "bag_isolable", 3: "bag_several"}


def window_picture(a: Assessment, t: Throw, *, brief: bool = False) -> tuple[Drawing, str]:
    """The drawing and its caption, a brief one for paper."""
    window = throw_window(a.tree.graph, a.tree.beside, a.site, t, a.settings.throw)
    label = a.tree.graph.unions.label[t.union]
    low, high = _frame(window)
    scale = min((WIDE - LEFT - 10) / (high[0] - low[0]), (TALL - FOOT) / (high[1] - low[1]))
    d = Drawing(
        (high[0] - low[0]) * scale + LEFT + 10,
        (high[1] - low[1]) * scale + FOOT,
        text("draw_window", label=label),
    )

    def paper(deg: Floats) -> Floats:
        return np.stack([LEFT + (deg[..., 0] - low[0]) * scale, (high[1] - deg[..., 1]) * scale], axis=-1)

    _degrees(d, low, high, scale)
    for css, bars in _wood(window, low, high):
        d.shape(list(paper(bars)), css, closed=True)
    path = np.degrees(window.path)
    d.line(paper(path[(path > low).all(axis=1) & (path < high).all(axis=1)]), "aim")
    _bags(d, window, paper, low, high)
    return d, _brief(window, label) if brief else _caption(window, label, t)


def _brief(window: Window, label: str) -> str:
    """What the marks mean, for a sheet whose text already tells aim and chance."""
    return text("draw_window_brief", label=label, marks=_marks(window))


def _marks(window: Window) -> tuple[str, ...]:
    """The words of the marks that are drawn."""
    return tuple(word(MARK_WORDS[c]) for c in sorted({int(c) for c in window.over_class}))


def _caption(window: Window, label: str, t: Throw) -> str:
    """What the marks mean, and what becomes of a hundred throws."""
    outside = _outside(window)
    through = float(np.sum(window.over_class <= t.isolation_class)) / THROWS
    return text(
        "draw_window_caption",
        label=label,
        elevation=t.elevation,
        marks=_marks(window),
        outside=outside if outside >= LEAST_TOLD else None,
        falls=tuple(
            Reason("draw_fall", share=s, what=say(what))
            for what, s in window.falls[:FALLS_TOLD]
            if s >= LEAST_TOLD
        ),
        chance=t.chance if t.chance < through - LEAST_TOLD else None,
    )


def _frame(window: Window) -> tuple[Floats, Floats]:
    """Lower left and upper right corner of the picture. [deg]"""
    marks = np.degrees(np.concatenate([window.over, window.limb_from[window.wanted]]))
    marks = marks if len(marks) else np.degrees(window.path)
    low, high = np.percentile(marks, 2, axis=0) - ROOM, np.percentile(marks, 98, axis=0) + ROOM
    more = np.maximum(SMALLEST - (high - low), 0.0)
    low, high = low - more * [0.5, 1.0], high + more * [0.5, 0.0]
    return np.array([low[0], max(low[1], -10.0)]), np.array([high[0], min(high[1], 95.0)])


def _outside(window: Window) -> float:
    """Share of all throws that are stopped outside the picture."""
    low, high = _frame(window)
    deg = np.degrees(window.stopped)
    return float(np.sum(~((deg > low) & (deg < high)).all(axis=1))) / THROWS


def _wood(window: Window, low: Floats, high: Floats) -> list[tuple[str, Floats]]:
    """Outlines (k, 4, 2) of the wood in the picture by css class, the farthest first, the wanted limb last. [deg]"""
    a, b = np.degrees(window.limb_from), np.degrees(window.limb_to)
    middle = (a + b) / 2
    width = np.maximum(np.degrees(window.limb_width), LEAST)
    inside = np.flatnonzero(((middle > low) & (middle < high)).all(axis=1))
    kept = np.sort(inside[np.argsort(-width[inside] - 1e3 * window.wanted[inside], kind="stable")[:MOST]])
    limits = (
        np.quantile(window.limb_distance[kept], np.linspace(0, 1, FAR + 1)[1:-1])
        if len(kept)
        else np.zeros(FAR - 1)
    )
    near = FAR - 1 - np.searchsorted(limits, window.limb_distance)
    rows = [(f"wood{k}", kept[(near[kept] == k) & ~window.wanted[kept]], 0.0) for k in range(FAR)]
    rows += [(css, kept[window.wanted[kept]], edge) for css, edge in (("wanted-edge", EDGE), ("wanted", 0.0))]
    return [
        (css, np.clip(_bars(a[r], b[r], width[r] + 2 * edge), low, high)) for css, r, edge in rows if len(r)
    ]


def _bars(a: Floats, b: Floats, width: Floats) -> Floats:
    """Oblong outlines (k, 4, 2) from a to b (k, 2), a little longer than they are so that bends have no gaps."""
    along = (b - a) / np.maximum(np.linalg.norm(b - a, axis=1), 1e-9)[:, None]
    side = np.column_stack([-along[:, 1], along[:, 0]]) * width[:, None] / 2
    more = along * width[:, None] * ROUNDED
    return np.stack([a - more + side, b + more + side, b + more - side, a - more - side], axis=1)


def _bags(d: Drawing, window: Window, paper: object, low: Floats, high: Floats) -> None:
    """Opening, useful bags by class, stopped bags."""
    assert callable(paper)

    def inside(directions: Floats) -> Floats:
        deg = np.degrees(directions)
        return deg[((deg > low) & (deg < high)).all(axis=1)]

    for x, y in _thinned(paper(inside(window.stopped))) if len(window.stopped) else ():
        d.cross(float(x), float(y), 3, "stopped")
    for isolation, mark in MARKS.items():
        places = inside(window.over[window.over_class == isolation]) if len(window.over) else np.zeros((0, 2))
        if len(places):
            d.shape([place + mark for place in _thinned(paper(places))], f"bag{isolation}", closed=True)
    left, right, bottom, top = np.degrees(window.opening)
    if np.isfinite(left):
        d.line(
            paper(np.array([[left, bottom], [right, bottom], [right, top], [left, top], [left, bottom]])),
            "opening",
        )


def _thinned(places: Floats) -> Floats:
    """The first of the marks (k, 2) that would lie on one another."""
    kept: list[Floats] = []
    for place in places:
        if all(np.abs(place - other).max() >= APART for other in kept):
            kept.append(place)
    return np.array(kept).reshape(-1, 2)


def _degrees(d: Drawing, low: Floats, high: Floats, scale: float) -> None:
    """Ten-degree lines with their figures."""
    bottom = (high[1] - low[1]) * scale
    for tick in range(int(np.ceil(low[0] / 10)) * 10, int(high[0]) + 1, 10):
        x = LEFT + (tick - low[0]) * scale
        d.line(np.array([[x, 0.0], [x, bottom]]), "grid")
        side = "draw_right" if tick > 0 else "draw_left"
        words = text("draw_aim") if tick == 0 else text(side, angle=np.radians(abs(tick)))
        d.text(x, bottom + 16, words, "t small", "middle")
    for tick in range(int(np.ceil(low[1] / 10)) * 10, int(high[1]) + 1, 10):
        y = (high[1] - tick) * scale
        d.line(np.array([[LEFT, y], [d.width - 10, y]]), "grid")
        d.text(LEFT - 5, y + 4, figure(np.radians(tick), "deg"), "t small", "end")
