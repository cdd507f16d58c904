"""What do page and sheet both say of a candidate? Clauses as reasons, each made in one place."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from treescan.assess import Assessment
from treescan.estimate import Estimate
from treescan.outputs.shapes.first_line import first_line, first_stop
from treescan.outputs.text import wording as w
from treescan.outputs.text.say import text, word
from treescan.planning.tie_in_point import TieInPoint
from treescan.reason import Reason
from treescan.throw.throw_path import ISOLATION

MAX_POINTS = 8
"""Work points out of reach that are named; more are counted."""
LINE_KINDS_SHORT = {1: "line_isolated_short", 2: "line_isolable_short", 3: "line_several_short"}
"""Isolation class to the identifier of its words in a table cell."""


def line_kind(isolation_class: int, *, short: bool = False) -> str:
    """Identifier of the words for an isolation class."""
    return (LINE_KINDS_SHORT if short else ISOLATION)[isolation_class]


def candidate_name(p: TieInPoint) -> str:
    """Label, system and hardware."""
    return text("candidate_name", label=p.label, system=p.system, hardware=p.hardware)


def margin_of(margin: Estimate) -> Reason:
    """Strength over stress: the low figure first, for decisions are made on it."""
    return Reason("margin", low=margin.p5, median=margin.median)


def stand_of(a: Assessment, p: TieInPoint) -> Reason:
    """Where to stand, from the stem."""
    t = first_line(a, p)
    if t is None:
        return Reason("no_stand")
    east, north = (t.stand - a.tree.graph.xyz[0])[:2]
    return Reason("place_from_stem", distance=float(np.hypot(east, north)), side=math.atan2(east, north))


def way_start(p: TieInPoint) -> Reason:
    """How the way up starts when nothing is thrown from the ground."""
    stop = first_stop(p)
    return Reason("start_at_stop", stop=stop.label, height=stop.height) if stop else Reason("start_open")


def section_of(a: Assessment, p: TieInPoint) -> Reason:
    """The weakest section: thickness, height, the way it would go."""
    graph, node = a.tree.graph, p.check.check.governing
    if not 0 <= node < len(graph):
        return Reason("section_unseen")
    return Reason(
        "section",
        d=2 * float(graph.segment_radius[node]),
        sd=2 * float(graph.radius_sd[node]),
        height=float(graph.xyz[node, 2] - graph.xyz[0, 2]),
        mode=p.check.check.mode,
    )


def work_place(a: Assessment, row: int) -> Reason:
    """A work point with its height and distance from the stem; straight below for none."""
    if not 0 <= row < len(a.work):
        return Reason("work_straight_below")
    d = a.work.xyz[row] - a.tree.graph.xyz[0]
    return Reason(
        "work_at", label=a.work.label[row], height=float(d[2]), distance=float(np.hypot(d[0], d[1]))
    )


def missed_work(a: Assessment, missed: NDArray[np.bool_]) -> Reason:
    """Work points by name where they are few, else how many and between which heights."""
    rows = np.flatnonzero(missed)
    if not len(rows):
        return Reason("work_all_reached")
    if len(rows) <= MAX_POINTS:
        return Reason("list_all", items=tuple(a.work.label[i] for i in rows))
    up = a.work.xyz[rows, 2] - a.tree.graph.xyz[0, 2]
    return Reason("work_missed_many", n=len(rows), all=len(a.work), low=float(up.min()), high=float(up.max()))


def rope_to_bring(p: TieInPoint) -> Reason:
    """The stocked rope that is long enough, or that none is."""
    if not w.finite(p.rope.stock):
        return Reason("rope_no_stock", length=p.rope.length)
    return Reason("rope_stock", stock=p.rope.stock, short=not p.rope.reaches_ground)


def scope_of(a: Assessment) -> str:
    """The work that was asked for, where nobody put it in words."""
    kinds = tuple(dict.fromkeys(a.work.kind))
    return text("scope_of_work", kinds=tuple(word(k) for k in kinds), n=len(a.work)) if kinds else ""
