"""Do two anchors hang on different wood?"""

from __future__ import annotations

import numpy as np

from treescan.loads.fall.backup import common_node
from treescan.loads.limb_check import AnchorConfiguration
from treescan.planning.candidates.contact import round_stem
from treescan.planning.settings import PlanningSettings
from treescan.planning.tie_in_point import TieInPoint
from treescan.wood.graph import WoodGraph


def independent(graph: WoodGraph, a: TieInPoint, b: TieInPoint, thicker: float = PlanningSettings().apart_on_stem) -> bool:
    """True when no limb carries both: their ways meet on a stem (order 0), and neither rope bears on wood that carries the other.

    The stem below the lower of the two is shared all the same; only another tree is free of that. So a rope choked round the stem counts as
    independent of one above it where the stem at the lower is `thicker` times as thick as at the upper.
    """
    configurations = a.check.configuration, b.check.configuration
    if a.union == b.union:
        return False
    return all(_apart(graph, (configurations[0], i), (configurations[1], j), thicker) for i in _bearing(configurations[0]) for j in _bearing(configurations[1]))


def _bearing(configuration: AnchorConfiguration) -> tuple[int, ...]:
    """Segments that hold the climber up: at the union, and under the climber's leg beyond it."""
    return int(configuration.rest_node), *(int(n) for n in configuration.beyond)


def _apart(graph: WoodGraph, a: tuple[AnchorConfiguration, int], b: tuple[AnchorConfiguration, int], thicker: float) -> bool:
    """`independent` for one segment of either rope."""
    (_, first), (_, second) = a, b
    if first == second:
        return False
    meet = int(common_node(graph.parent, first, second))
    if graph.limbs.order[graph.limb[meet]] != 0:
        return False
    if meet in {first, second}:
        (lower, low), (_, high) = (a, b) if meet == first else (b, a)
        return round_stem(graph, lower) and bool(graph.segment_radius[low] >= thicker * graph.segment_radius[high])
    return bool(graph.limb[first] != graph.limb[second])


def independence(graph: WoodGraph, points: tuple[TieInPoint, ...], thicker: float = PlanningSettings().apart_on_stem) -> np.ndarray:
    """`independent` for every pair, (n, n) bool."""
    n = len(points)
    out = np.zeros((n, n), bool)
    for i in range(n):
        for j in range(i + 1, n):
            out[i, j] = out[j, i] = independent(graph, points[i], points[j], thicker)
    return out
