"""Does the wood hold a line hung to another tree, or two lines to one climber, and what if one of them goes?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from treescan.estimate import Estimate
from treescan.geometry import angle_between, unit
from treescan.loads.checks.line_check import LineCheck, Swing, TwoLineCheck, check_line, check_two_lines, hardest, one_line_lost
from treescan.loads.limb_check import AnchorConfiguration
from treescan.loads.rope.strung_rope import TwoLines, hanging_between, line_tensions
from treescan.loads.statics.load_path import StructuralModel
from treescan.planning.candidates.contact import hanging_node
from treescan.planning.climb.independent import independence
from treescan.planning.climb.redirect_loads import bearing
from treescan.planning.climb.redirects import path_stresses
from treescan.planning.climb.sets import AnchorSet
from treescan.planning.ranking.overrides import Override, strength_left
from treescan.planning.settings import PlanningSettings
from treescan.planning.tie_in_point import Floats, TieInPoint, Work
from treescan.units import G
from treescan.wood.graph import WoodGraph

SLACK = 0.2
"""A line that bears less than this share of the climber's weight does not share the load (project choice)."""


NARROWEST = np.deg2rad(15.0)
"""Two lines that meet at less than this hang side by side: one carries, the other is its back-up (project choice)."""


@dataclass(frozen=True)
class LineEnd:
    """The own union at the end of a line that another anchor holds too.

    label : of the union; case, factor : hardest ordinary case and its pull over the weight at rest; tension : in the line then [N];
    check : LineCheck under it; lost : Swing, the other end has let go (None where the line would pull upward); breach : too weak in
    use, or would more likely break than not when the other end lets go; words : sentences.
    """

    label: str
    case: str
    factor: float
    tension: float
    check: LineCheck
    lost: Swing | None
    breach: bool
    words: tuple[str, ...]


@dataclass(frozen=True)
class LinePair:
    """Two lines to one climber, at the work point that asks most of the pair.

    labels, systems : of both; work : label of the work point; serves : at how many work points they share the load; case,
    factor : hardest ordinary case; lines : TwoLines at rest; check : TwoLineCheck under the case; lost : each line's Swing when the other
    one goes; breach : as in `LineEnd`; words : sentences.
    """

    labels: tuple[str, str]
    systems: tuple[str, str]
    work: str
    serves: int
    case: str
    factor: float
    lines: TwoLines
    check: TwoLineCheck
    lost: tuple[Swing, Swing]
    breach: bool
    words: tuple[str, ...]


def own_end(
    tree: StructuralModel, point: TieInPoint, lines: TwoLines, which: int, other: str, overrides: Sequence[Override], settings: PlanningSettings
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
    if not lines.place[2] < point.place[2] - 0.1:
        nothing = LineCheck(np.full(3, np.nan), Estimate(float("nan"), float("nan"), float("nan")), -1, "", "")
        words = (f"The line would pull {point.label} upward: not judged, do not use it.",)
        return LineEnd(point.label, case, factor, tension, nothing, None, True, words)
    none = np.zeros(0, np.int32)
    configuration = replace(point.check.configuration, system="SRS canopy", via=none, beyond=none)
    left = strength_left(tree.graph, bearing(tree.graph, configuration), overrides)
    check = _weaker(check_line(tree, configuration, lines.place, tension), left)
    swing = one_line_lost(tree, configuration, lines)
    lost = replace(swing, check=_weaker(swing.check, left))
    breach = not (_passes(check, settings.margin_gate) and _stays(tree, lost))
    told = (
        f"With the hardest ordinary load ({case}, {factor:.1f} times the weight) {tension / 1000:.1f} kN pull on {point.label}: "
        f"{margin_words(tree.graph, check)}",
        swing_words(tree, point.label, f"{other} lets go", lost),
    )
    return LineEnd(point.label, case, factor, tension, check, lost, breach, told)


def line_pair(
    tree: StructuralModel, two: AnchorSet, work: Work, overrides: Sequence[Override], settings: PlanningSettings
) -> LinePair | None:
    """The pair of two lines that share the load over most of the work, at the work point that asks most of it; None where no pair does.

    Of the tie-in points of `two` every independent pair is looked at; a pair shares the load where its straight ropes serve the work and both
    are tight and stand apart (elsewhere one carries and the other is its back-up). The work point told is the one where the rope makes the
    most stress below either union.
    """
    weight = tree.settings.climber_mass * G
    sharing = _sharing(tree.graph, two, work, weight, settings)
    if sharing is None:
        return None
    (a, b), rows = sharing
    anchors = np.stack([a.place, b.place])
    tension = line_tensions(anchors, work.xyz[rows], weight)
    configurations = (a.check.configuration, b.check.configuration)
    case, factor = hardest(tree.settings, at_work=True)
    left = [strength_left(tree.graph, bearing(tree.graph, r), overrides) for r in configurations]
    tried = []
    for which, p in enumerate((a, b)):
        row = int(np.argmax(_stress(tree.graph, p, work.xyz[rows], tension[:, which])))
        lines = hanging_between(anchors, work.xyz[rows[row]], weight)
        found = check_two_lines(tree, configurations, lines, factor=factor)
        check = replace(found, first=_weaker(found.first, left[0]), second=_weaker(found.second, left[1]), common=_weaker(found.common, min(left)))
        tried.append((int(rows[row]), lines, check))
        if len(rows) == 1:
            break
    at, lines, check = min(tried, key=lambda t: _least(t[2]))
    swings = [one_line_lost(tree, r, lines) for r in configurations]
    lost = (replace(swings[0], check=_weaker(swings[0].check, left[0])), replace(swings[1], check=_weaker(swings[1].check, left[1])))
    breach = not (all(_passes(c, settings.margin_gate) for c in (check.first, check.second, check.common)) and all(_stays(tree, s) for s in lost))
    labels = (a.label, b.label)
    words = _pair_words(tree, labels, work.label[at], len(rows), case, factor, lines, check, lost, breach)
    return LinePair(labels, (a.system, b.system), work.label[at], len(rows), case, factor, lines, check, lost, breach, words)


def _pair_words(
    tree: StructuralModel,
    labels: tuple[str, str],
    at: str,
    serves: int,
    case: str,
    factor: float,
    lines: TwoLines,
    check: TwoLineCheck,
    lost: tuple[Swing, Swing],
    breach: bool,
) -> tuple[str, ...]:
    g = tree.graph
    a, b = labels
    t = lines.tension / 1000
    flat = " Beyond 120 degrees each bears more than the load." if lines.flat else ""
    return (
        f"{a} and {b} share the load at {serves} work point(s); {at} asks most of them: the lines meet there at "
        f"{np.degrees(lines.between):.0f} degrees and pull with {t[0]:.1f} and {t[1]:.1f} kN at rest.{flat}",
        f"With the hardest ordinary load there ({case}, {factor:.1f} times the weight): {a}, {margin_words(g, check.first)} "
        f"{b}, {margin_words(g, check.second)}",
        f"Both stand on {wood_words(g, check.meet)} and all below: if that goes, both go. Under both lines at once: {margin_words(g, check.common)}",
        swing_words(tree, a, f"{b} goes", lost[0]),
        swing_words(tree, b, f"{a} goes", lost[1]),
        *(("Too weak as two lines for this work point: keep away from it on this pair.",) if breach else ()),
    )


def margin_words(graph: WoodGraph, check: LineCheck) -> str:
    """Strength over stress and the wood that would go first, or why there is none; a sentence's end."""
    if check.reason:
        return check.reason
    m = check.margin
    return f"strength over stress {m.median:.1f}, low end {m.p5:.1f}, first in {wood_words(graph, check.governing)}."


def wood_words(graph: WoodGraph, node: int) -> str:
    """A piece of wood by its limb, diameter and height."""
    limb = int(graph.limb[node])
    what = "the stem" if limb == 0 else f"limb {limb}"
    height = float(graph.xyz[node, 2] - graph.xyz[0, 2])
    return f"{what} ({200 * float(graph.segment_radius[node]):.0f} cm thick, {height:.1f} m up)"


def swing_words(tree: StructuralModel, label: str, when: str, lost: Swing) -> str:
    """What follows when the other line goes, one sentence or two."""
    down = float(lost.low[2]) - tree.ground_below(lost.low)
    ground = "" if down >= tree.settings.ground_clearance else " That is down to the ground."
    return (
        f"If {when}, the climber swings {lost.sideways:.1f} m sideways and {lost.drop:.1f} m down to below {label}, at up to {lost.speed:.1f} m/s, and "
        f"{lost.peak / 1000:.1f} kN pull on it: {margin_words(tree.graph, lost.check)}{ground}"
    )


def _sharing(
    graph: WoodGraph, two: AnchorSet, work: Work, weight: float, settings: PlanningSettings
) -> tuple[tuple[TieInPoint, TieInPoint], NDArray[np.int64]] | None:
    """The independent pair that shares the load over most of the work, and the rows of that work."""
    apart = independence(graph, two.points, settings.apart_on_stem)
    best: tuple[tuple[TieInPoint, TieInPoint], NDArray[np.int64]] | None = None
    most = 0.0
    for i, j in combinations(range(len(two.points)), 2):
        a, b = two.points[i], two.points[j]
        rows = np.flatnonzero(a.reach.served & b.reach.served)
        if not apart[i, j] or len(rows) == 0:
            continue
        tight = (line_tensions([a.place, b.place], work.xyz[rows], weight) > SLACK * weight).all(axis=1)
        rows = rows[tight & (angle_between(a.place - work.xyz[rows], b.place - work.xyz[rows]) >= NARROWEST)]
        if (share := float(work.weight[rows].sum())) > most:
            best, most = ((a, b), rows), share
    return best


def _stress(graph: WoodGraph, point: TieInPoint, places: Floats, tension: Floats) -> Floats:
    """Largest stress the line's pull makes below one union for every place, (w,), own weight left out: a screen."""
    configuration: AnchorConfiguration = point.check.configuration
    pull = unit(places - point.place)
    if point.system == "SRS basal":
        pull = pull + unit(np.asarray(configuration.base, float) - point.place)
    return path_stresses(graph, hanging_node(configuration), point.place, tension[:, None] * pull)


def _weaker(check: LineCheck, left: float) -> LineCheck:
    """The same with the share of strength that stated defects leave."""
    m = check.margin
    return check if left == 1.0 else replace(check, margin=Estimate(m.median * left, m.p5 * left, m.p95 * left))


def _passes(check: LineCheck, gate: float) -> bool:
    return bool(not check.reason and check.margin.p5 >= gate)


def _stays(tree: StructuralModel, lost: Swing) -> bool:
    """True where it would rather hold than break when the other line goes."""
    return bool(not lost.check.reason and lost.check.margin.median >= tree.settings.exceptional_median)


def _least(check: TwoLineCheck) -> float:
    """The lowest low end of the three; nothing is lower than what was not seen."""
    return min(c.margin.p5 if c.margin.known else -1.0 for c in (check.first, check.second, check.common))
