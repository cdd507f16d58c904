"""The rescue drawing: where a casualty may hang, which line a rescuer comes up on, and the way down to the ground."""

from __future__ import annotations

import numpy as np

from treescan.assess import Assessment
from treescan.outputs.drawing.elevation import HIGH, WIDE, standpoint_for, tree_seen
from treescan.outputs.drawing.svg import Drawing
from treescan.outputs.shapes.rope_lines import ground_below, rope_line, rope_rest, swing_from
from treescan.outputs.text.say import text
from treescan.planning.climb.rescue import RescuePlan
from treescan.planning.tie_in_point import TieInPoint

ARROW = np.array([[-6.0, -11.0], [0.0, 0.0], [6.0, -11.0]])
"""Head of an arrow that points down. [drawing units]"""


def rescue_drawing(
    a: Assessment, p: TieInPoint, box: tuple[float, float] = (WIDE, HIGH)
) -> tuple[Drawing, str]:
    """The drawing and its caption: the casualty at the farthest work that the first candidate serves, the rescuer's line,
    and the way a casualty comes down on the main line."""
    graph, view = a.tree.graph, standpoint_for(a, None)
    rest = rope_rest(graph, p)
    row = swing_from(a, p)
    casualty = a.work.xyz[row] if row >= 0 else rest - np.array([0.0, 0.0, 2.0])
    ground = ground_below(a.tree.beside.terrain, rest, float(graph.xyz[0, 2]))
    plumb = np.array([rest[0], rest[1], min(float(casualty[2]), float(rest[2]) - 0.5)])
    other = rescuers_point(a, p)
    lines = {"swing": np.array([casualty, plumb, ground]), "rope": np.array([rest, casualty])}
    if other is not None:
        lines = {"rescue": rope_line(a, other), **lines}
    drawn = tree_seen(a, view, lines, np.full(len(graph), np.nan), text("draw_rescue", side=view.azimuth), box)
    d = drawn.drawing
    x, y = drawn.at(ground)
    d.line(ARROW + np.array([x, y]), "anchor")
    for place, words, css in (
        (rest, text("draw_hangs_from", label=p.label), "t strong halo-text"),
        (casualty, text("draw_casualty"), "t halo-text"),
        *(((rope_rest(graph, other), text("draw_rescuer", label=other.label), "t strong halo-text"),) if other else ()),
        ((ground + plumb) / 2, text("draw_way_down"), "t halo-text"),
    ):
        x, y = drawn.at(place)
        d.circle(x, y, 6, "anchor" if "strong" in css else "catch", words)
        d.keep_clear(x, y, 7)
        d.label(x, y, words, css, 12)
    return d, text("draw_rescue_caption", side=view.azimuth)


def rescue_of(a: Assessment, p: TieInPoint) -> RescuePlan | None:
    """The rescue plan for the work on a candidate."""
    plans = a.climb.rescue if a.climb is not None else ()
    return next((r for r in plans if r.work_anchor == p.name), None)


def rescuers_point(a: Assessment, p: TieInPoint) -> TieInPoint | None:
    """The candidate a rescuer comes up on; None where none was found."""
    found = rescue_of(a, p)
    return None if found is None else next((q for q in a.points if q.name == found.rescue_anchor), None)
