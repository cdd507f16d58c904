"""Does the own wood hold a line hung to another tree, and what if the other end lets go?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from treescan.estimate import Estimate
from treescan.loads.checks.line_check import LineCheck, LineLost, check_line, hardest, one_line_lost
from treescan.loads.rope.strung_rope import TwoLines
from treescan.loads.statics.structural_model import StructuralModel
from treescan.planning.candidates.contact import bearing_nodes
from treescan.planning.ranking.overrides import Override, strength_left
from treescan.planning.settings import PlanningSettings
from treescan.planning.tie_in_point import TieInPoint
from treescan.reason import Reason
from treescan.wood.graph import WoodGraph

BELOW = 0.1
"""A climber who hangs less than this below the own union would lift it [m] (project choice)."""


@dataclass(frozen=True)
class LineEnd:
    """The own union at the end of a line that another anchor holds too.

    label : of the union; case, factor : hardest ordinary case and its pull over the weight at rest; tension :
    in the line then [N]; check : LineCheck under it; lost : LineLost, the other end has let go (both None
    where the line would pull upward: not judged); breach : too weak in use, or would more likely break than
    not when the other end lets go; reasons : what was found.
    """

    label: str
    case: str
    factor: float
    tension: float
    check: LineCheck | None
    lost: LineLost | None
    breach: bool
    reasons: tuple[Reason, ...]


def own_end(
    tree: StructuralModel,
    point: TieInPoint,
    lines: TwoLines,
    which: int,
    other: str,
    overrides: Sequence[Override],
    settings: PlanningSettings,
) -> LineEnd:
    """The own union under a line hung between it and another anchor, choked round the limb there.

    Parameters
    ----------
    lines : TwoLines        Under the climber's weight at rest, from its place.
    which : int             Row of the own union in `lines`.
    other : str             Name of the anchor at the other end.
    overrides : sequence of Override    Strength they take off a limb is taken off here too.
    """
    case, factor = hardest(tree.settings, at_work=False)
    tension = factor * float(lines.tension[which])
    if not lines.place[2] < point.place[2] - BELOW:
        return LineEnd(
            point.label,
            case,
            factor,
            tension,
            None,
            None,
            True,
            (Reason("line_pulls_upward", union=point.label),),
        )
    none = np.zeros(0, np.int32)
    configuration = replace(point.check.configuration, system="SRS canopy", via=none, beyond=none)
    left = strength_left(tree.graph, bearing_nodes(tree.graph, configuration), overrides)
    check = weakened(check_line(tree, configuration, lines.place, tension), left)
    swing = one_line_lost(tree, configuration, lines)
    lost = replace(swing, check=weakened(swing.check, left))
    breach = not (passes(check, settings.margin_gate) and stays(tree, lost))
    reasons = (
        Reason(
            "line_end_load",
            case=case,
            factor=factor,
            force=tension,
            union=point.label,
            strength=strength_reason(tree.graph, check),
        ),
        lost_reason(tree, point.label, other, lost, drawn=True),
    )
    return LineEnd(point.label, case, factor, tension, check, lost, breach, reasons)


def strength_reason(graph: WoodGraph, check: LineCheck) -> Reason:
    """Strength over stress and the wood that would go first, or why there is none."""
    if check.reason:
        return check.reason
    m = check.margin
    return Reason("line_strength", low=m.p5, median=m.median, wood=wood_reason(graph, check.governing))


def wood_reason(graph: WoodGraph, node: int) -> Reason:
    """A piece of wood by its limb, diameter and height."""
    limb, diameter = int(graph.limb[node]), 2 * float(graph.segment_radius[node])
    height = float(graph.xyz[node, 2] - graph.xyz[0, 2])
    if limb == 0:
        return Reason("line_wood_stem", diameter=diameter, height=height)
    return Reason("line_wood_limb", limb=limb, diameter=diameter, height=height)


def lost_reason(tree: StructuralModel, label: str, other: str, lost: LineLost, *, drawn: bool) -> Reason:
    """What follows at one union when the line over the other anchor goes; drawn : that one is a name a person wrote."""
    down = float(lost.low[2]) - tree.ground_below(lost.low)
    return Reason(
        "line_lost",
        other=other,
        drawn=drawn,
        union=label,
        sideways=lost.sideways,
        drop=lost.drop,
        speed=lost.speed,
        peak=lost.peak,
        strength=strength_reason(tree.graph, lost.check),
        ground=down < tree.settings.ground_clearance,
    )


def weakened(check: LineCheck, left: float) -> LineCheck:
    """The same with the share of strength that stated defects leave."""
    m = check.margin
    return (
        check if left == 1.0 else replace(check, margin=Estimate(m.median * left, m.p5 * left, m.p95 * left))
    )


def passes(check: LineCheck, gate: float) -> bool:
    """True where the low end of the margin is known and reaches the gate."""
    return bool(not check.reason and check.margin.p5 >= gate)


def stays(tree: StructuralModel, lost: LineLost) -> bool:
    """True where it would rather hold than break when the other line goes."""
    return bool(not lost.check.reason and lost.check.margin.median >= tree.settings.exceptional_median)
