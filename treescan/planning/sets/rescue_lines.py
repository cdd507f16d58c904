"""Which work on one anchor does a rescuer on another line get to?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from treescan.planning.sets.independent import independent
from treescan.planning.settings import PlanningSettings
from treescan.planning.tie_in_point import Floats, Judged
from treescan.wood.graph import WoodGraph


def both_serve(point: Judged, line: Judged) -> NDArray[np.bool_]:
    """Work served on an anchor that another line serves too, no farther from plumb than that holds two people, (w,)."""
    theirs = line.reach.served & (line.reach.angle <= line.check.two_people_within + 1e-9)
    return point.reach.served & theirs


def rescued_share(point: Judged, line: Judged, weight: Floats) -> float:
    """Share of the work on one anchor that a rescuer on another line gets to.

    weight : (w,) float     Of the work points.
    """
    mine = float(weight[point.reach.served].sum())
    return float(weight[both_serve(point, line)].sum()) / max(mine, 1e-12)


def rescued_work(
    graph: WoodGraph, point: Judged, points: Sequence[Judged], weight: Floats, settings: PlanningSettings
) -> NDArray[np.bool_]:
    """The work on an anchor that one rescuer's line gets to, the one that gets to most, (w,); none where no usable line
    holds two people, is independent of the anchor and reaches any of it."""
    found = [
        both_serve(point, p)
        for p in points
        if p.usable and not p.check.one_climber_only and independent(graph, point, p, settings.apart_on_stem)
    ]
    return max(found, key=lambda of: float(weight[of].sum()), default=np.zeros(len(weight), bool))
