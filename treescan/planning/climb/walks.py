"""Does the anchor also hold the rope of a climber who walks a limb farther out than a plain rope may
reach?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from treescan.loads.checks.anchor import check_anchor
from treescan.loads.checks.limb_walk import steps
from treescan.loads.statics.structural_model import StructuralModel
from treescan.planning.candidates.contact import bearing_nodes
from treescan.planning.ranking.overrides import Override, strength_left
from treescan.planning.reach.ways_to_work import LIMB_WALK, NOT_REACHED, WayToWork
from treescan.planning.settings import PlanningSettings
from treescan.planning.tie_in_point import TieInPoint, Work


def walks_that_hold(
    tree: StructuralModel,
    points: Sequence[TieInPoint],
    work: Work,
    ways: Sequence[WayToWork],
    overrides: Sequence[Override],
    settings: PlanningSettings,
) -> tuple[WayToWork, ...]:
    """The same ways to the work, with limb walks only as far out as their anchor was judged and holds, and only
    on wood that bears a step.

    Parameters
    ----------
    tree : StructuralModel             From `loads.anchor.whole_tree`.
    ways : sequence         From `ways_to_work.ways_to_work`, one a work point.
    overrides : sequence of Override    Strength they take off is taken off here too.

    Notes
    -----
    The ranked margins reach to the rope angle that counts as served; a walk goes beyond it. The walks of one
    anchor are judged together with all ordinary cases (those of one climber where it holds no more); where that fails the steepest part of them that holds
    is looked for by halving.
    """
    limit = max(settings.walk_limit_deg, tree.settings.rope_angle_limit_deg)
    wide = replace(tree, settings=replace(tree.settings, rope_angle_limit_deg=limit))
    named = {p.name: p for p in sorted((p for p in points if p.usable), key=lambda p: -p.rank)}
    out = list(ways)
    for name in dict.fromkeys(w.by for w in ways if w.how == LIMB_WALK):
        rows = np.array([i for i, w in enumerate(ways) if w.how == LIMB_WALK and w.by == name])
        rows = rows[np.argsort([ways[i].angle for i in rows], kind="stable")]
        held, low = _holding(wide, named[name], work, rows, overrides, settings)
        for i in rows[:held]:
            out[i] = replace(ways[i], low=low)
        for i in rows[held:]:
            out[i] = WayToWork(ways[i].label, NOT_REACHED, "", float("nan"))
    walked = [i for i, w in enumerate(out) if w.how == LIMB_WALK]
    for i, under in zip(walked, steps(tree, work.xyz[walked]), strict=True):
        if not (under.known and under.p5 >= settings.margin_gate):
            out[i] = WayToWork(ways[i].label, NOT_REACHED, "", float("nan"))
        else:
            out[i] = replace(out[i], low=min(out[i].low, under.p5))
    return tuple(out)


def _holding(
    tree: StructuralModel,
    point: TieInPoint,
    work: Work,
    rows: np.ndarray,
    overrides: Sequence[Override],
    settings: PlanningSettings,
) -> tuple[int, float]:
    """How many of the rows, the steepest ropes first, one anchor holds, and the low side of its margin over these
    (NaN over none)."""
    configuration = point.check.configuration
    if point.check.one_climber_only:
        cases = tuple(c for c in tree.settings.cases if c in point.check.cases or c in tree.settings.exceptional)
        tree = replace(tree, settings=replace(tree.settings, cases=cases))
    left = strength_left(tree.graph, bearing_nodes(tree.graph, configuration), overrides)

    def low_side(count: int) -> float:
        """Of so many rows; NaN where they are refused."""
        found = check_anchor(tree, configuration, work.xyz[rows[:count]]).check
        low = found.margin.p5 * left
        good = found.verdict not in {"does not hold", "not seen"} and low >= settings.margin_gate
        return low if good else float("nan")

    held, low, high = 0, float("nan"), len(rows)
    if (every := low_side(high)) >= settings.margin_gate:
        return high, every
    while high - held > 1:
        middle = (held + high) // 2
        found = low_side(middle)
        if np.isfinite(found):
            held, low = middle, found
        else:
            high = middle
    return held, low
