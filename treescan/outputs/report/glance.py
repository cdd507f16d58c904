"""What must the crew know at a glance of the first candidate? One figure a question, with its qualification in small print."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from treescan.assess import Assessment
from treescan.outputs.report.phrases import stand_of, way_start
from treescan.outputs.shapes.first_line import first_line
from treescan.outputs.shapes.seen_share import seen_share
from treescan.outputs.text import wording as w
from treescan.outputs.text.say import figure, text
from treescan.planning.tie_in_point import TieInPoint


@dataclass(frozen=True)
class Figure:
    """One cell: question, the figure in large print, what qualifies it, and the number of the question that explains it."""

    question: str
    figure: str
    words: str
    section: int


def glance(a: Assessment, p: TieInPoint) -> tuple[Figure, ...]:
    """Six cells, in the climber's order."""
    return (_where(a, p), _stand(a, p), _hold(a, p), _fail(p), _work(p), _bring(p))


def _where(a: Assessment, p: TieInPoint) -> Figure:
    height = float(a.tree.graph.unions.height[p.union])
    about = text("glance_first_words", height=height, system=p.system, hardware=p.hardware)
    return Figure(text("glance_first"), p.label, about, 1)


def _stand(a: Assessment, p: TieInPoint) -> Figure:
    t = first_line(a, p)
    if t is None:
        return Figure(
            text("glance_line"), text("glance_no_throw"), text("glance_no_throw_words", start=way_start(p)), 2
        )
    place = stand_of(a, p)
    how = text(
        "glance_stand_words",
        distance=place["distance"],
        over=None if t.union == p.union else a.tree.graph.unions.label[t.union],
        method=t.method,
        chance=t.chance,
        throws=t.expected_throws,
    )
    return Figure(text("glance_stand"), text("glance_stand_figure", **place.values), how, 2)


def _hold(a: Assessment, p: TieInPoint) -> Figure:
    m, seen = p.check.check.margin, seen_share(a.tree.graph, p.check.check.nodes)
    force = float(np.linalg.norm(p.check.force))
    if not m.known:
        unseen = text("glance_hold_unseen_words", force=force, seen=seen)
        return Figure(text("glance_hold"), text("glance_hold_unseen"), unseen, 3)
    about = text("glance_hold_words", median=m.median, force=force, seen=seen)
    return Figure(text("glance_hold"), text("glance_hold_figure", low=m.p5), about, 3)


def _fail(p: TieInPoint) -> Figure:
    c = next((c for c in p.check.catches if not c.ground), None)
    if c is None:
        return Figure(text("glance_fail"), text("glance_fail_ground"), text("glance_fail_ground_words"), 4)
    after = text("glance_fail_next_words", drop=c.drop, peak=c.peak)
    return Figure(text("glance_fail"), text("glance_fail_next", label=c.label), after, 4)


def _work(p: TieInPoint) -> Figure:
    about = text("glance_work_words", angle=p.reach.worst_angle, swing=p.reach.swing)
    return Figure(text("glance_work"), figure(p.reach.share, "%"), about, 5)


def _bring(p: TieInPoint) -> Figure:
    if not w.finite(p.rope.stock):
        return Figure(text("glance_bring"), figure(p.rope.length, "m_first"), text("glance_bring_long"), 6)
    line = p.rope.throwline if p.rope.throwline > 0 else None
    about = text("glance_bring_words", stock=p.rope.stock, throwline=line)
    return Figure(text("glance_bring"), text("glance_bring_figure", stock=p.rope.stock), about, 6)
