"""What must the crew know at a glance of the first candidate? One figure a question, with its qualification in small print."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from treescan.assess import Assessment
from treescan.outputs.shapes.first_line import first_line, first_stop
from treescan.outputs.text import wording as w
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


def seen_of_path(a: Assessment, p: TieInPoint) -> float:
    """Share of the load path that the scan saw rather than bridged; NaN without a path."""
    nodes = np.asarray(p.check.check.nodes)
    if not len(nodes):
        return math.nan
    length = a.tree.graph.length[nodes]
    return float((length * a.tree.graph.seen[nodes]).sum() / max(length.sum(), 1e-9))


def _where(a: Assessment, p: TieInPoint) -> Figure:
    first, other = w.length_pair(float(a.tree.graph.unions.height[p.union]))
    return Figure("First to inspect", p.label, f"{first} ({other}) up; {p.system}, {p.hardware}", 1)


def _stand(a: Assessment, p: TieInPoint) -> Figure:
    t, stop = first_line(a, p), first_stop(p)
    if t is None:
        start = f"the way up starts at {stop.label}, {w.metres(stop.height)} up, by ladder or lanyards" if stop else "climb or advance to it"
        return Figure("Get a line in", "no throw", "found from the ground: " + start, 2)
    d = t.stand - a.tree.graph.xyz[0]
    first, other = w.length_pair(float(np.hypot(d[0], d[1])))
    how = "launcher" if t.method == "launcher" else "hand throw"
    over = "" if t.union == p.union else f"first line over {a.tree.graph.unions.label[t.union]}: "
    side = w.compass(math.atan2(d[0], d[1]))
    return Figure("Stand", f"{first} {side}", f"({other}) of the stem; {over}{how}, {w.percent(t.chance)} each, {w.throws(t.expected_throws)}", 2)


def _hold(a: Assessment, p: TieInPoint) -> Figure:
    m, seen = p.check.check.margin, seen_of_path(a, p)
    force = w.force(float(np.linalg.norm(p.check.force)))
    path = "all of the load path seen" if seen > 0.9995 else f"{w.percent(seen)} of the load path seen"
    if not m.known:
        return Figure("Strength over stress", "not seen", f"under {force}; {path}", 3)
    return Figure("Strength over stress", f"{m.p5:.1f} times", f"low figure, if sound (median {m.median:.1f}), under {force}; {path}", 3)


def _fail(p: TieInPoint) -> Figure:
    c = next((c for c in p.check.catches if not c.ground), None)
    if c is None:
        return Figure("If it fails", "the ground", "nothing below is shown to catch: use a second attachment", 4)
    return Figure("If it fails", f"{c.label} next", f"after a drop of {w.metres(c.drop)}, peak {w.force(c.peak)}", 4)


def _work(p: TieInPoint) -> Figure:
    swing = f"; a slip swings up to {w.metres(p.reach.swing)}" if w.finite(p.reach.swing) else ""
    return Figure("Work in reach", w.percent(p.reach.share), f"rope up to {w.degrees(p.reach.worst_angle)} from plumb{swing}", 5)


def _bring(p: TieInPoint) -> Figure:
    if not w.finite(p.rope.stock):
        return Figure("Bring", w.length_pair(p.rope.length)[0], "of climbing rope are needed, more than any stocked length", 6)
    first, other = w.length_pair(p.rope.stock, 0)
    line = f"; throwline {w.metres(p.rope.throwline, 0)}" if p.rope.throwline > 0 else ""
    return Figure("Bring", f"{first} rope", f"({other}) of climbing rope{line}; kit below", 6)
