"""Pages of the job sheet on the climb as a whole: sets and redirects, load test, rescue lines, a removal cut by cut."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from treescan.assess import Assessment
from treescan.outputs.data.redirect_rows import REDIRECT_HEAD, REDIRECT_NOTE, redirect_rows
from treescan.outputs.data.removal_rows import REMOVAL_HEAD, REMOVAL_NOTE, removal_rows, spar_rows
from treescan.outputs.job_sheet.sheet_parts import BAND, HEAD, SMALL, figures, gap, grid, numbered, side_by_side, words
from treescan.outputs.text import wording as w
from treescan.outputs.text.say import say
from treescan.planning.climb.climb_plan import ClimbPlan
from treescan.planning.tie_in_point import TieInPoint

Blocks = list[Any]
WIDTH = 515.0
HALF = WIDTH / 2 - 8
MOST = 6
"""Redirects and warnings printed; the rest stands in the report."""


def climb_page(a: Assessment, usable: Sequence[TieInPoint]) -> Blocks:
    """Which lines for all the work, how to test the first, and what helps a rope to the work."""
    c = a.climb
    if c is None:
        return []
    first = usable[0]
    blocks: Blocks = [words("The climb as a whole", HEAD), *approach_words(a)]
    if a.statements:
        blocks += [words("Stated by the competent person", BAND), *[words("- " + say(s), SMALL) for s in a.statements]]
    if c.warnings:
        blocks += [words("Site", BAND), *[words("- " + s) for s in c.warnings[:MOST]]]
    blocks += [words("Tie-in points for all the work, in visiting order", BAND), *[words(s) for s in c.anchors.words]]
    if c.anchors.points:
        blocks += [gap(3), _set_table(a, c.anchors.points), gap(3)]
    blocks += [words(f"Ways to the work: {', '.join(f'{how} {w.percent(share)}' for how, share in c.shares.items())}."), gap()]
    left = [words("Two lines on different wood", BAND), *[words(s) for s in c.two_line_words()]]
    right: Blocks = [words(f"Load test of {first.label}, {first.system}", BAND)]
    right += [numbered(first.load_test.words)] if first.load_test is not None else [words("None proposed: not seen well enough to be loaded.")]
    blocks += [side_by_side(left, right, WIDTH), words("Redirects", BAND)]
    rows = redirect_rows(c)[:MOST]
    if rows:
        blocks += [grid(REDIRECT_HEAD, rows, [52, 58, 70, 88, 62, 110, 75]), words(REDIRECT_NOTE, SMALL)]
    else:
        blocks.append(words("None found that brings more work into reach."))
    others = c.neighbours.words()[:MOST]
    if others:
        blocks += [words("Anchors in neighbouring trees", BAND), *[words("- " + s, SMALL) for s in others]]
    down = [say(p.retrieval.words) for p in (first, *(q for q in c.anchors.points if q.label != first.label)) if p.retrieval is not None]
    blocks += [words("Getting the rope down", BAND), *[words("- " + s, SMALL) for s in down]]
    return blocks


def approach_words(a: Assessment) -> Blocks:
    """The recommended approach with what speaks for and against it."""
    return [words("Approach, for and against", BAND), *[words(say(s)) for s in a.approach.reasons]]


def _set_table(a: Assessment, points: Sequence[TieInPoint]) -> Any:
    rows = [
        (
            f"{p.rank}. {p.label}",
            w.metres(float(a.tree.graph.unions.height[p.union])),
            f"{p.system}, {p.hardware}",
            w.percent(p.reach.share),
            f"{w.percent(p.throw.chance)} a throw" if p.throw else "by advancing",
            w.metres(p.rope.stock, 0),
        )
        for p in points
    ]
    return grid(("Candidate", "Height", "System", "Serves alone", "Line set", "Rope"), rows, [75, 90, 120, 80, 90, 60])


def rescue_lines(c: ClimbPlan, first: TieInPoint) -> Blocks:
    """The rescue line of the first candidate and of every tie-in point of the set."""
    names = [f"{first.label} {first.system}", *(f"{p.label} {p.system}" for p in c.anchors.points)]
    plans = {r.work_anchor: r for r in c.rescue}
    rows = []
    for name in dict.fromkeys(names):
        r = plans.get(name)
        if r is not None:
            free = sum(x.free for x in r.corridors)
            rows.append(
                (
                    name,
                    r.rescue_anchor or "none on other wood",
                    w.percent(r.share) if r.rescue_anchor else "",
                    w.plain(r.two_person_margin, 1) if r.rescue_anchor else "",
                    f"{free} of {len(r.corridors)} work points",
                )
            )
    head = ("Climber on", "Rescue line over", "Of its work in reach", "Margin, low, two people", "Clear plumb way down from")
    said = [words("- " + s, SMALL) for s in (plans[names[0]].words if names[0] in plans else ())]
    return [grid(head, rows, [100, 115, 95, 95, 110]), gap(3), *said] if rows else []


def removal_page(a: Assessment) -> Blocks:
    """A removal cut by cut, and the stem by height; empty when none is planned."""
    c = a.climb
    if c is None or not c.stages:
        return []
    spar = spar_rows(c)
    middle = -(-len(spar) // 2)
    return [
        words("Taking it down, cut by cut", HEAD),
        words(REMOVAL_NOTE),
        grid(REMOVAL_HEAD, removal_rows(c), [58, 62, 66, 104, 70, 58, 97]),
        words("The stem by height", BAND),
        side_by_side([figures(spar[:middle], HALF)], [figures(spar[middle:], HALF)] if spar[middle:] else [], WIDTH),
    ]
