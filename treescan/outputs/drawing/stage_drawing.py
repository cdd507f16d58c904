"""The tree as it stands at one cut: what is left, the piece that comes off, what the climber and the block hang on."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from treescan.assess import Assessment
from treescan.outputs.drawing.svg import Drawing
from treescan.outputs.shapes.projection import Standpoint
from treescan.outputs.text.say import text
from treescan.planning.removal.stages import Stage
from treescan.planning.work.removal import Removal, Standing, standing
from treescan.planning.work.stage_alarms import points_at
from treescan.wood.graph import WoodGraph

Floats = NDArray[np.float64]
Paper = Callable[[Floats], Floats]

WIDE, HIGH, MARGIN = 300.0, 330.0, 16.0
LEAST_WIDE = 200.0
"""Room across for a slender tree and the names beside it, in drawing units."""
LINE = 0.02
"""Wood thinner than this is drawn as a line. [m]"""

STEP = 0.3
"""Wood is drawn with a corner at least this far apart. [m]"""

SIDES = 8
"""Compass directions tried for the standpoint."""

NEAR = 12.0
"""Conductors nearer to the wood than this are drawn. [m]"""

PARTS = 60
"""Places a straight piece of conductor is drawn with."""

END_ON = 10.0
"""A conductor shorter than this in the drawing is seen end on. [drawing units]"""

CROSS = 0.35
"""Half the length of the line that marks the cut. [m]"""


@dataclass(frozen=True)
class _View:
    """One frame for all stages, so that they can be held against each other."""

    stand: Standpoint
    low: Floats
    high: Floats
    scale: float

    def paper(self, xyz: Floats) -> Floats:
        """Places (..., 3) [m, local] as drawing units (..., 2)."""
        xy = self.stand.across_up_away(xyz)[..., :2]
        return np.stack(
            [(xy[..., 0] - self.low[0]) * self.scale + MARGIN, (self.high[1] - xy[..., 1]) * self.scale + MARGIN],
            axis=-1,
        )


def stage_pictures(a: Assessment) -> list[tuple[Drawing, str]]:
    """A drawing and its caption for every cut of the removal, all from one standpoint and in one scale; empty
    without a removal."""
    removal = a.asked.removal
    if removal is None or a.climb is None or not a.climb.stages:
        return []
    view, states = _view(a, removal), standing(a.tree.graph, removal)
    return [
        _picture(a, removal, view, stage, before, after)
        for stage, before, after in zip(a.climb.stages, states, states[1:], strict=False)
    ]


def _view(a: Assessment, removal: Removal) -> _View:
    """From where the pieces lie widest apart from the stem; everything hung on is in the frame."""
    graph = a.tree.graph
    base = graph.xyz[0].copy()
    places = np.array([s.centre for s in a.climb.stages] + [c.place(graph) for c in removal.cuts])

    def width(azimuth: float) -> float:
        return float(np.abs(Standpoint(azimuth, base).across_up_away(places)[:, 0]).sum())

    turns = np.arange(SIDES // 2) * 2 * np.pi / SIDES
    stand = Standpoint(float(turns[int(np.argmax([width(t) for t in turns]))]), base)
    others = [np.asarray(xyz, float) for name, xyz in a.site.anchors if name in removal.life_support]
    wires = [at for c in a.site.conductors if (at := _nearest(graph, c.line)) is not None]
    shown = stand.across_up_away(np.vstack([graph.xyz, *others, *wires]))[:, :2]
    low, high = shown.min(axis=0) - np.array([0.6, 0.3]), shown.max(axis=0) + np.array([0.6, 0.6])
    size = high - low
    scale = float(min((WIDE - 2 * MARGIN) / size[0], (HIGH - 2 * MARGIN) / size[1]))
    room = np.array([max(LEAST_WIDE / scale - size[0], 0.0) / 2, 0.0])  # names stand beside a slender tree
    return _View(stand, low - room, high + room, scale)


def _picture(
    a: Assessment, removal: Removal, view: _View, stage: Stage, before: Standing, after: Standing
) -> tuple[Drawing, str]:
    graph, size = a.tree.graph, (view.high - view.low) * view.scale + 2 * MARGIN
    side = {"number": stage.number, "side": view.stand.azimuth}
    d = Drawing(float(size[0]), float(size[1]), text("draw_stage", piece=stage.cut.piece, **side))
    _ground(d, a, view)
    _wires(d, a, view)
    _wood(d, graph, np.zeros(len(graph)), after.left, view, "wood", "limb")
    _wood(d, graph, after.left, before.left, view, "use3", "piece")
    _cut(d, graph, stage, view)
    _rigging(d, graph, stage, removal, view)
    _climber(d, a, stage, removal, view)
    return d, text("draw_stage_caption", piece=stage.cut.piece, alarms=len(stage.alarms) or None, **side)


def _wood(
    d: Drawing, graph: WoodGraph, lower: Floats, upper: Floats, view: _View, thick: str, thin: str
) -> None:
    """The wood between two shares of every segment's length: outlines, thin wood as lines; far limbs first."""
    here = upper > lower + 1e-9
    runs = [run for line in graph.limbs.nodes for run in _runs(np.asarray(line, int), here)]
    lines, areas = [], []
    for run in runs:
        foot = graph.xyz[np.maximum(graph.parent[run[0]], 0)]
        start = foot + lower[run[0]] * (graph.xyz[run[0]] - foot)
        last = graph.xyz[graph.parent[run[-1]]]
        tip = last + upper[run[-1]] * (graph.xyz[run[-1]] - last)
        xyz = np.vstack([start, graph.xyz[run[:-1]], tip])
        radius = np.nan_to_num(graph.radius[np.r_[run[:1], run]], nan=0.0)
        kept = _spaced(xyz)
        xyz, radius = xyz[kept], radius[kept]
        if radius.max() < LINE:
            lines.append(view.paper(xyz))
        else:
            away = float(view.stand.across_up_away(xyz)[:, 2].mean())
            areas.append((away, _outline(view.paper(xyz), np.maximum(radius * view.scale, 0.5))))
    d.shape(lines, thin, width=0.7)
    for _, area in sorted(areas, key=lambda found: -found[0]):
        d.line(area, thick, closed=True)


def _spaced(xyz: Floats) -> NDArray[np.bool_]:
    """Places kept of a polyline: the ends, and one in every `STEP` of its length."""
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(xyz, axis=0), axis=1))])
    kept = np.r_[True, np.diff(np.floor(along / STEP)) > 0]
    kept[-1] = True
    return kept


def _runs(line: NDArray[np.int64], here: NDArray[np.bool_]) -> list[NDArray[np.int64]]:
    """Stretches of a limb's nodes that are drawn, from its start outward."""
    kept = here[line].astype(int)
    if not kept.any() or (kept[0] and line[0] == 0 and len(line) == 1):
        return []
    edges = np.flatnonzero(np.diff(np.r_[0, kept, 0]))
    return [line[i:j] for i, j in zip(edges[::2], edges[1::2], strict=True)]


def _outline(line: Floats, radius: Floats) -> Floats:
    """Outline of tapered wood in the drawing plane, (2k, 2)."""
    step = np.diff(line, axis=0)
    step = np.concatenate([step[:1], step[:-1] + step[1:], step[-1:]])
    normal = np.stack([-step[:, 1], step[:, 0]], axis=1)
    normal /= np.maximum(np.linalg.norm(step, axis=1, keepdims=True), 1e-9)
    return np.concatenate([line + radius[:, None] * normal, (line - radius[:, None] * normal)[::-1]])


def _ground(d: Drawing, a: Assessment, view: _View) -> None:
    """The terrain in the plane of the stem, square to the line of sight."""
    across = np.linspace(view.low[0], view.high[0], 40)
    s, c = np.sin(view.stand.azimuth), np.cos(view.stand.azimuth)
    xy = view.stand.centre[:2] + across[:, None] * np.array([-c, s])
    z = a.tree.beside.terrain.height_at(xy)
    seen = np.isfinite(z)
    d.line(view.paper(np.column_stack([xy, z])[seen]), "ground")


def _fine(line: Floats) -> Floats:
    """A conductor's line with places close enough to be cut off at the frame, (k, 3)."""
    line = np.asarray(line, float).reshape(-1, 3)
    parts = [p + np.linspace(0, 1, PARTS)[:, None] * (q - p) for p, q in pairwise(line)]
    return np.concatenate(parts) if parts else line


def _nearest(graph: WoodGraph, line: Floats) -> Floats | None:
    """The place of a conductor nearest to the tree, (3,); None where it is too far off to be drawn."""
    fine = _fine(line)
    away, _ = cKDTree(graph.xyz).query(fine)
    return fine[int(np.argmin(away))] if away.min() <= NEAR else None


def _wires(d: Drawing, a: Assessment, view: _View) -> None:
    """Drawn conductors near the tree as far as they cross the frame; one seen end on as a cross."""
    for i, conductor in enumerate(a.site.conductors):
        at = view.paper(_fine(conductor.line))
        near = _nearest(a.tree.graph, conductor.line)
        inside = (at >= 0).all(axis=1) & (at[:, 0] <= d.width) & (at[:, 1] <= d.height)
        if near is None or not inside.any():
            continue
        d.line(at[inside], "wire")
        x, y = view.paper(near).tolist()
        if np.ptp(at[inside], axis=0).max(initial=0.0) < END_ON:
            d.cross(x, y, 4.0, "weakest")
        _label(d, [x + 6.0, y - 7.0], conductor.name or text("draw_stage_wire", number=i + 1))


def _cut(d: Drawing, graph: WoodGraph, stage: Stage, view: _View) -> None:
    """A line across the wood where the saw goes."""
    node, place = stage.cut.node, stage.cut.place(graph)
    along = view.paper(np.vstack([place, place + graph.direction[node]]))
    way = along[1] - along[0]
    size = float(np.linalg.norm(way))
    across = np.array([-way[1], way[0]]) / size if size > 0 else np.array([1.0, 0.0])
    half = (CROSS + stage.diameter / 2) * view.scale if np.isfinite(stage.diameter) else CROSS * view.scale
    d.line(np.vstack([along[0] - half * across, along[0] + half * across]), "weakest")


def _rigging(d: Drawing, graph: WoodGraph, stage: Stage, removal: Removal, view: _View) -> None:
    """The block, and its rope to the piece's centre of mass."""
    node = removal.rigging_at(stage.number - 1)
    if node is None:
        return
    at = view.paper(np.vstack([graph.xyz[node], stage.centre]))
    d.line(at, "swing")
    d.circle(float(at[0, 0]), float(at[0, 1]), 5.0, "place", fill="#10324d")
    label = next(
        (name for name, n in zip(graph.unions.label, graph.unions.node, strict=True) if int(n) == node), ""
    )
    _label(d, at[0] + [8.0, 12.0], text("draw_stage_block", union=label))


def _climber(d: Drawing, a: Assessment, stage: Stage, removal: Removal, view: _View) -> None:
    """What the climber hangs on and the straight rope to the cut."""
    life = removal.support_at(stage.number - 1)
    if life is None:
        return
    others = dict(a.site.anchors)
    places = (
        [np.asarray(others[life], float)] if life in others else [p.place for p in points_at(a.points, life)][:1]
    )
    for place in places:
        at = view.paper(np.vstack([place, stage.cut.place(a.tree.graph)]))
        d.line(at, "halo rope-halo")
        d.line(at, "rope")
        d.circle(float(at[0, 0]), float(at[0, 1]), 5.5, "anchor")
        _label(d, at[0] + [8.0, -6.0], life)


def _label(d: Drawing, at: Sequence[float] | Floats, words: str) -> None:
    """A name beside a mark, kept inside the frame."""
    right = float(at[0]) > d.width * 0.7
    x = float(at[0]) - (16.0 if right else 0.0)
    d.text(x, float(at[1]), words, "t small strong halo-text", "end" if right else "start")
