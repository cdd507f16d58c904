"""The elevation drawing of one candidate: the tree from a named standpoint, hidden limbs dashed, with rope, throw and swing."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from treescan.assess import Assessment
from treescan.outputs.drawing.svg import Drawing
from treescan.outputs.shapes.first_line import first_line
from treescan.outputs.shapes.projection import SeenLimb, Standpoint, seen_limbs
from treescan.outputs.shapes.rope_lines import limb_to_use, rope_line, rope_rest, swing_arc
from treescan.outputs.shapes.use_of_capacity import low_end_use, shade_of
from treescan.outputs.text.say import say, text
from treescan.planning.tie_in_point import ROUND_STEM, TieInPoint
from treescan.throw.throw_path import Throw
from treescan.units import FOOT_M
from treescan.wood.graph import WoodGraph

Floats = NDArray[np.float64]
Paper = Callable[[Floats], Floats]
WIDE, HIGH, MARGIN = 560.0, 620.0, 64.0
"""Of a drawing on the page, and room beside it for heights. [drawing units]"""
APART = 0.1
"""From the middle to a leg of a doubled rope, so that two are seen. [m]"""
PAST = 3.0
"""Of the flight beyond the union that is drawn. [m]"""
PERSON = (
    np.array([[-0.12, 0.0], [0.0, -0.5], [0.12, 0.0]]),
    np.array([[0.0, -0.5], [0.0, -0.8]]),
    np.array([[-0.16, -0.55], [0.0, -0.75], [0.18, -0.93]]),
)
"""Legs, body and arms of the thrower, in body heights."""


def standpoint_for(a: Assessment, p: TieInPoint | None) -> Standpoint:
    """Square to the throw, so that the arc shows its true shape; from the south where there is no throw."""
    base = a.tree.graph.xyz[0].copy()
    t = None if p is None else first_line(a, p)
    if t is None:
        return Standpoint(np.pi, base)
    side = t.azimuth + np.pi / 2
    return Standpoint(float(np.round(side / (np.pi / 4)) * (np.pi / 4) % (2 * np.pi)), base)


def from_the_stand(
    a: Assessment, p: TieInPoint, box: tuple[float, float] = (WIDE, HIGH)
) -> tuple[Drawing, str] | None:
    """What the thrower faces from the standing place; None where there is no throw."""
    t = first_line(a, p)
    if t is None:
        return None
    base = a.tree.graph.xyz[0].copy()
    d = t.stand - base
    return elevation(a, p, Standpoint(float(np.arctan2(d[0], d[1]) % (2 * np.pi)), base), box)


def elevation(
    a: Assessment,
    p: TieInPoint | None,
    stand: Standpoint | None = None,
    box: tuple[float, float] = (WIDE, HIGH),
) -> tuple[Drawing, str]:
    """The drawing and its caption, at most as large as `box` [drawing units]; from the standing place when `stand` is given."""
    graph, view = a.tree.graph, stand or standpoint_for(a, p)
    use = np.full(len(graph), np.nan)
    if p is not None:
        use[p.check.check.nodes] = low_end_use(p.check.check)
    t = None if p is None else first_line(a, p)
    lines = (
        {}
        if p is None
        else {
            "throw": _shown(t, graph.unions.rope_place(t.union)) if t is not None else np.zeros((0, 3)),
            "swing": swing_arc(a, p),
            "rope": rope_line(a, p, APART * np.array([-np.cos(view.azimuth), np.sin(view.azimuth), 0.0])),
        }
    )
    seen_from = {"side": view.azimuth, "stand": stand is not None}
    drawn = tree_seen(a, view, lines, use, text("draw_elevation", **seen_from), box, None if p is None else limb_to_use(graph, p))
    if p is not None:
        if t is not None and not stand:
            _thrower(drawn, t.stand)
        _marks(drawn, a, p)
        _names(drawn, p, lines)
    return drawn.drawing, text("draw_elevation_caption", **seen_from)


@dataclass(frozen=True)
class Seen:
    """A drawing of the tree from a standpoint, and where things stand in it: `paper` turns metres right and up into drawing
    units, `scale` of them a metre."""

    drawing: Drawing
    view: Standpoint
    paper: Paper
    scale: float

    def at(self, xyz: Floats) -> tuple[float, float]:
        """A place on the paper. [drawing units]"""
        x, y = self.paper(self.view.across_up_away(xyz)[:2])
        return float(x), float(y)


def tree_seen(
    a: Assessment,
    view: Standpoint,
    lines: Mapping[str, Floats],
    use: Floats,
    title: str,
    box: tuple[float, float],
    chosen: NDArray[np.int32] | None = None,
) -> Seen:
    """The tree with ground and heights, and lines (k, 3) over it by the class of their style.

    Parameters
    ----------
    use : (n,) float    Use of capacity of each segment; NaN = not in the load path.
    chosen : (k,) int or None   Nodes of the wood to use, foot first, drawn in a heavy outline.
    """
    graph = a.tree.graph
    limbs = seen_limbs(graph, view, ~np.isnan(use))
    flat = {name: view.across_up_away(line)[:, :2] for name, line in lines.items() if len(line) >= 2}
    everything = [s.line[:, :2] for s in limbs] + list(flat.values())
    low = np.min([e.min(axis=0) for e in everything], axis=0) if everything else np.zeros(2)
    high = np.max([e.max(axis=0) for e in everything], axis=0) if everything else np.ones(2)
    slack = max(0.6, 0.2 * (high[1] - low[1]) - 0.5 * (high[0] - low[0]))
    low, high = low - np.array([slack, 0.4]), high + np.array([slack, 0.6])
    scale = min((box[0] - 2 * MARGIN) / (high[0] - low[0]), (box[1] - 40) / (high[1] - low[1]))
    d = Drawing((high[0] - low[0]) * scale + 2 * MARGIN, (high[1] - low[1]) * scale + 40, title)

    def paper(xy: Floats) -> Floats:
        return np.stack(
            [(xy[..., 0] - low[0]) * scale + MARGIN, (high[1] - xy[..., 1]) * scale + 14], axis=-1
        )

    _heights(d, low[1], high[1], float(graph.xyz[0, 2]), scale)
    _ground(d, a, view, low, high, paper)
    for limb in limbs:
        _limb(d, limb, paper, scale, use, graph.seen)
    for limb in limbs:
        _dashes(d, limb, paper)
    if chosen is not None and len(chosen):
        _wood_to_use(d, graph, view, chosen, paper, scale)
    for name, line in flat.items():
        d.line(paper(line), f"halo {name}-halo")
        d.line(paper(line), name)
    return Seen(d, view, paper, scale)


def _shown(t: Throw, union: Floats) -> Floats:
    """The flight until a little past the union: where the bag lands beyond would only make the tree small."""
    out = np.linalg.norm((t.path - t.stand)[:, :2], axis=1)
    return t.path[out <= float(np.linalg.norm((union - t.stand)[:2])) + PAST]


def _heights(d: Drawing, low: float, high: float, base: float, scale: float) -> None:
    """Metres on the left, feet on the right, above the stem's ground."""
    for h in range(0, int(high - base) + 1, 2):
        y = (high - base - h) * scale + 14
        d.line(np.array([[MARGIN - 6, y], [d.width - MARGIN + 6, y]]), "grid")
        d.text(MARGIN - 10, y + 4, f"{h} m" if h % 4 == 0 else "", "t small", "end")
        d.keep_clear(MARGIN - 34, y, 24)
    for f in range(0, int((high - base) / FOOT_M) + 1, 10):
        y = (high - base - f * FOOT_M) * scale + 14
        d.text(d.width - MARGIN + 10, y + 4, f"{f} ft", "t small")
        d.keep_clear(d.width - MARGIN + 34, y, 24)


def _ground(d: Drawing, a: Assessment, view: Standpoint, low: Floats, high: Floats, paper: Paper) -> None:
    """The terrain in the plane of the stem, square to the line of sight."""
    across = np.linspace(low[0], high[0], 60)
    s, c = np.sin(view.azimuth), np.cos(view.azimuth)
    xy = view.centre[:2] + across[:, None] * np.array([-c, s])
    z = a.tree.beside.terrain.height_at(xy)
    seen = np.isfinite(z)
    if seen.sum() > 1:
        d.line(paper(np.column_stack([across, z])[seen]), "ground")


def _outline(line: Floats, radius: Floats) -> Floats:
    """Outline of a tapered limb in the drawing plane, (2k, 2)."""
    step = np.diff(line, axis=0)
    step = np.concatenate([step[:1], step[:-1] + step[1:], step[-1:]])
    length = np.linalg.norm(step, axis=1, keepdims=True)
    normal = np.stack([-step[:, 1], step[:, 0]], axis=1) / np.maximum(length, 1e-9)
    return np.concatenate([line + radius[:, None] * normal, (line - radius[:, None] * normal)[::-1]])


def _limb(d: Drawing, s: SeenLimb, paper: Paper, scale: float, use: Floats, seen: NDArray[np.bool_]) -> None:
    """A limb's outline, its loaded pieces in the colour of the scale, its unseen pieces hatched."""
    xy = s.line[:, :2]
    d.line(paper(_outline(xy, np.maximum(s.radius, 0.6 / scale))), "wood", closed=True)
    shade = shade_of(use[s.nodes], seen[s.nodes])
    for row in np.unique(shade):
        if row == 5:
            continue
        pieces = np.unique(s.piece_of_node[shade == row])
        thick = np.maximum(s.radius, 1.2 / scale)
        d.shape([paper(_outline(xy[i : i + 2], thick[i : i + 2])) for i in pieces], f"use{row}", closed=True)


def _wood_to_use(d: Drawing, graph: WoodGraph, view: Standpoint, chosen: NDArray[np.int32], paper: Paper, scale: float) -> None:
    """The wood the rope lies on in a heavy outline, in front of everything."""
    ends = np.concatenate([graph.xyz[graph.parent[chosen[:1]]], graph.xyz[chosen]])
    radius = graph.segment_radius[np.concatenate([chosen[:1], chosen])]
    line = view.across_up_away(ends)[:, :2]
    outline = paper(_outline(line, np.maximum(radius, 2.0 / scale)))
    d.line(outline, "to-use-halo", closed=True)
    d.line(outline, "to-use", closed=True)


def _dashes(d: Drawing, s: SeenLimb, paper: Paper) -> None:
    """Centre lines of the hidden stretches."""
    edge = np.flatnonzero(np.diff(np.concatenate([[0], s.hidden.astype(int), [0]])))
    for i, j in zip(edge[::2], edge[1::2], strict=True):
        d.line(paper(s.line[i : j + 1, :2]), "hidden")


def _thrower(drawn: Seen, stand: Floats) -> None:
    """A person of 1.7 m at the standing place."""
    (x, y), d = drawn.at(stand), drawn.drawing
    h = 1.7 * drawn.scale
    d.shape([np.array([x, y]) + h * part for part in PERSON], "person")
    d.circle(x, y - 0.9 * h, max(0.09 * h, 1.5), "head", text("draw_stand_tip"))
    d.label(x, y - 1.12 * h, text("draw_stand"), "t small strong halo-text", 12)


def _names(drawn: Seen, p: TieInPoint, lines: Mapping[str, Floats]) -> None:
    """What each line of the drawing is, in words beside it; no more than fit."""
    for name, code in (("rope", "draw_rope"), ("throw", "draw_flight"), ("swing", "draw_swing")):
        line = lines[name]
        if len(line) < 2:
            continue
        if name == "rope":
            leg = int(np.argmax(np.abs(np.diff(line[:, 2]))))
            low, high = sorted((line[leg], line[leg + 1]), key=lambda end: float(end[2]))
            at = low + 0.3 * (high - low)
        else:
            at = line[int(np.argmax(line[:, 2]) if name == "throw" else np.argmin(line[:, 2]))]
        drawn.drawing.label(*drawn.at(at), text(code, two=p.system == "MRS"), "t small halo-text", 12)


def _marks(drawn: Seen, a: Assessment, p: TieInPoint) -> None:
    """The candidate, its weakest section, and what catches."""
    graph, d, at = a.tree.graph, drawn.drawing, drawn.at
    x, y = at(rope_rest(graph, p))
    d.circle(x, y, 7, "anchor", text("candidate_system", label=p.label, system=p.system))
    d.keep_clear(x, y, 8)
    d.label(
        x,
        y - 6,
        text("draw_anchor", label=p.label, height=float(graph.unions.height[p.union])),
        "t strong halo-text",
        12,
    )
    chosen = limb_to_use(graph, p)
    if len(chosen):
        round_stem = ROUND_STEM in p.hardware
        x, y = at(graph.xyz[chosen[len(chosen) // 2 if round_stem else -1]])
        d.label(x, y, text("draw_to_use", round_stem=round_stem), "t small strong halo-text", 14)
    for c in p.check.catches:
        if c.union is not None:
            x, y = at(graph.unions.rope_place(c.union))
            d.circle(x, y, 5, "catch", say(c.reason))
            d.label(x, y, text("draw_catch", label=c.label), "t small halo-text")
    t = first_line(a, p)
    if t is not None and t.union != p.union:
        x, y = at(graph.unions.rope_place(t.union))
        d.circle(x, y, 5, "catch", text("draw_first_line_tip"))
        d.label(x, y, text("draw_first_line", union=graph.unions.label[t.union]), "t small halo-text")
    configuration = p.check.configuration
    if configuration.tied_to:
        x, y = at(configuration.base)
        d.circle(x, y, 5, "anchor", text("draw_base_tip", name=configuration.tied_to))
        d.label(x, y - 6, text("draw_base", name=configuration.tied_to), "t small halo-text")
    governing = p.check.check.governing
    if 0 < governing < len(graph):
        x, y = at((graph.xyz[governing] + graph.xyz[graph.parent[governing]]) / 2)
        d.cross(x, y, 6, "weakest", text("draw_weakest"))
        d.label(x, y + 8, text("draw_weakest"), "t small halo-text", 12)
