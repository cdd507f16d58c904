"""Do two anchors hang on different wood?"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from treescan.loads.fall.backup import common_node
from treescan.loads.limb_check import AnchorConfiguration
from treescan.planning.candidates.contact import round_stem
from treescan.planning.settings import PlanningSettings
from treescan.planning.tie_in_point import Judged, TieInPoint
from treescan.wood.graph import WoodGraph


def independent(
    graph: WoodGraph, one: Judged, other: Judged, thicker: float = PlanningSettings().apart_on_stem
) -> bool:
    """True when no limb carries both, and the wood that governs either does not carry the other: their ways meet
    on a stem (order 0), and neither rope bears on wood that carries the other, nor is a break told as likely for
    either that takes the other with it.

    The stem below the lower of the two is shared all the same; only another tree is free of that. So a rope
    choked round the stem counts as independent of one above it where the stem at the lower is `thicker`
    times as thick as at the upper. Where that shared stem is what would break first under either line, or a
    likely break of it, the two are not independent, whatever lies above it.
    """
    return on_other_limbs(graph, one, other, thicker) and shared_governing(graph, one, other) is None


def shared_governing(graph: WoodGraph, one: Judged, other: Judged) -> int | None:
    """Node that would break first under one of the two lines, or is told as a likely break, and carries the other
    too, the lower where several do; None where there is none."""
    found = []
    for a, b in ((one, other), (other, one)):
        holding = _holding(graph, b.check.configuration)
        found += [node for node in _may_go(a) if any(graph.carries(node, s.node) for s in holding)]
    return min(found, default=None)


def _may_go(point: Judged) -> tuple[int, ...]:
    """Nodes where what holds a line up may give way: the section that governs, wherever it is, and every likely
    break."""
    check = point.check
    likely = (b.node for b in check.breaks if b.likely)
    return tuple(n for n in dict.fromkeys((int(check.check.governing), *likely)) if n > 0)


def on_other_limbs(
    graph: WoodGraph, one: Judged, other: Judged, thicker: float = PlanningSettings().apart_on_stem
) -> bool:
    """`independent` but for what governs."""
    if one.union == other.union:
        return False
    first, second = _holding(graph, one.check.configuration), _holding(graph, other.check.configuration)
    return all(_apart(graph, i, j, thicker) for i in first for j in second)


class _Support(NamedTuple):
    """One segment that holds the climber up, and whether its rope is choked round the stem there."""

    node: int
    round_stem: bool


def _holding(graph: WoodGraph, configuration: AnchorConfiguration) -> tuple[_Support, ...]:
    """Segments that hold the climber up: at the union, and under the climber's leg beyond it."""
    choked = round_stem(graph, configuration)
    return tuple(_Support(int(n), choked) for n in (configuration.rest_node, *configuration.beyond))


def _apart(graph: WoodGraph, first: _Support, second: _Support, thicker: float) -> bool:
    """`independent` for one segment of either rope."""
    if first.node == second.node:
        return False
    meet = int(common_node(graph.parent, first.node, second.node))
    if graph.limbs.order[graph.limb[meet]] != 0:
        return False
    if meet in {first.node, second.node}:
        lower, upper = (first, second) if meet == first.node else (second, first)
        return lower.round_stem and bool(
            graph.segment_radius[lower.node] >= thicker * graph.segment_radius[upper.node]
        )
    return bool(graph.limb[first.node] != graph.limb[second.node])


def independence(
    graph: WoodGraph, points: tuple[TieInPoint, ...], thicker: float = PlanningSettings().apart_on_stem
) -> np.ndarray:
    """`independent` for every pair, (n, n) bool."""
    n = len(points)
    out = np.zeros((n, n), bool)
    for i in range(n):
        for j in range(i + 1, n):
            out[i, j] = out[j, i] = independent(graph, points[i], points[j], thicker)
    return out
