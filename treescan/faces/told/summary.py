"""What came of it? The figures that a command prints when it is done."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from treescan.assess import Assessment
from treescan.cautions import CAUTIONS
from treescan.planning.tie_in_point import TieInPoint
from treescan.reason import Reason, has
from treescan.wood.graph import TracedTree

MOST_ANCHORS = 5
"""Anchors told after `plan`; the report has them all."""
MOST_OF_EACH = 2
"""Findings told of the climb as a whole, and of the approach."""
FIRST = ("wires_claimed", "wires_said")
"""Codes of what is told before any candidate: it may alter all of them."""
PLANNING_AID = Reason("own_words", words=CAUTIONS["planning_aid"])


def tree_lines(tree: TracedTree) -> list[Reason]:
    """The tree's figures, and what was noted about the scan."""
    stem, graph = tree.stem, tree.graph
    figures = Reason(
        "summary_tree",
        dbh=stem.dbh,
        dbh_seen=bool(np.isfinite(stem.dbh)),
        height=stem.height,
        limbs=len(graph.limbs),
        unions=len(graph.unions),
        verdict=tree.fitness.verdict,
    )
    return [figures, *(Reason("summary_note", note=note) for note in (*tree.fitness.reasons, *tree.notes))]


def plan_lines(done: Assessment) -> list[Reason]:
    """The best candidates, and what to know of the climb."""
    usable = [p for p in done.points if p.usable]
    counts = Reason("summary_counts", usable=len(usable), refused=len(done.points) - len(usable))
    return [
        *(Reason("summary_first", finding=w) for w in (*_said(done), *_site(done)) if has((w,), *FIRST)),
        counts if done.points else Reason("summary_no_candidate"),
        *(_anchor(done, p) for p in usable[:MOST_ANCHORS]),
        *_climb(done),
    ]


def _said(done: Assessment) -> list[Reason]:
    """Findings about the scan and its reading, without a person's own words."""
    return [w for w in done.warnings if isinstance(w, Reason)]


def _site(done: Assessment) -> tuple[Reason, ...]:
    """What concerns the whole site."""
    return () if done.climb is None else done.climb.warnings


def _anchor(done: Assessment, point: TieInPoint) -> Reason:
    margin = point.check.check.margin
    return Reason(
        "summary_anchor",
        rank=point.rank,
        union=point.label,
        height=done.tree.graph.unions.height[point.union],
        system=point.system,
        force=np.linalg.norm(point.check.force),
        verdict=point.verdict,
        tied=point.tie,
        low=margin.p5,
        median=margin.median,
        why=point.reasons[0] if point.reasons else None,
    )


def _climb(done: Assessment) -> Iterator[Reason]:
    for statement in done.statements:
        yield Reason("summary_statement", statement=statement)
    if done.climb is not None:
        for finding in done.climb.anchors.reasons[:MOST_OF_EACH]:
            yield Reason("summary_set", finding=finding)
        for stage in done.climb.stages:
            for alarm in stage.alarms:
                yield Reason("summary_removal", alarm=alarm)
    for finding in done.approach.reasons[:MOST_OF_EACH]:
        yield Reason("summary_approach", finding=finding)
