"""Do two lines to one climber share the load, does the wood hold them, and what if one of them goes?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from types import MappingProxyType
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from treescan.geometry import angle_between, unit
from treescan.loads.checks.line_check import LineLost, TwoLineCheck, check_two_lines, hardest, one_line_lost
from treescan.loads.limb_check import AnchorConfiguration
from treescan.loads.rope.contacts import at_node
from treescan.loads.rope.strung_rope import TwoLines, hanging_between, line_tensions
from treescan.loads.statics.load_path import largest_uses
from treescan.loads.statics.structural_model import StructuralModel
from treescan.planning.candidates.contact import bearing_nodes, hanging_node
from treescan.planning.lines.line_loads import (
    lost_reason,
    passes,
    stays,
    strength_reason,
    weakened,
    wood_reason,
)
from treescan.planning.ranking.overrides import Override, strength_left
from treescan.planning.sets.independent import independence, independent
from treescan.planning.sets.sets import AnchorSet, Refused, paired, two_line_set
from treescan.planning.settings import PlanningSettings
from treescan.planning.tie_in_point import Floats, TieInPoint, Work
from treescan.reason import Reason
from treescan.units import G
from treescan.wood.graph import WoodGraph

SLACK = 0.2
"""A line that bears less than this share of the climber's weight does not share the load (project choice)."""

NARROWEST = np.deg2rad(15.0)
"""Two lines that meet at less than this hang side by side: one carries, the other is its back-up (project
choice)."""

MOST_ROUNDS = 6
"""Times the two-line set is looked for again after pairs of it were refused; then only pairs already judged count."""

UNSEEN_MARGIN = -1.0
"""Stands for a margin that is not known where the worst is looked for: nothing is lower than what was not
seen."""


@dataclass(frozen=True)
class LinePair:
    """Two lines to one climber, at the work point that asks most of the pair.

    labels, systems : of both; work : label of the work point; serves : at how many work points they share the
    load; case, factor : hardest ordinary case; lines : TwoLines at rest; check : TwoLineCheck under the case;
    lost : each line's LineLost when the other one goes; breach : as in `LineEnd`; reasons : what was found.
    """

    labels: tuple[str, str]
    systems: tuple[str, str]
    work: str
    serves: int
    case: str
    factor: float
    lines: TwoLines
    check: TwoLineCheck
    lost: tuple[LineLost, LineLost]
    breach: bool
    reasons: tuple[Reason, ...]


class Loaded(NamedTuple):
    """A pair at one work point: its row, the lines at rest, and the wood under the hardest ordinary case."""

    row: int
    lines: TwoLines
    check: TwoLineCheck


def two_lines_that_hold(
    tree: StructuralModel,
    points: tuple[TieInPoint, ...],
    work: Work,
    overrides: Sequence[Override],
    settings: PlanningSettings,
) -> tuple[AnchorSet, LinePair | None, int]:
    """The two-line set with no pair at a work point where the sums refuse it, the pair of it that shares the load
    over most of the work (None where no pair does), and how many pairs were refused somewhere.

    A pair shares the load where its straight ropes serve the work and both are tight and stand apart; elsewhere one
    carries and the other is its back-up. Where a pair shares the load it must hold the hardest ordinary case, and
    each line must rather hold than break when the other one goes.
    """
    refused: dict[frozenset[str], NDArray[np.bool_]] = {}
    judged: set[frozenset[str]] = set()
    for _ in range(MOST_ROUNDS):
        two = two_line_set(tree.graph, points, work, settings, refused)
        new = [(a, b) for a, b in combinations(two.points, 2) if _names(a, b) not in judged]
        if not new:
            break
        for a, b in new:
            judged.add(_names(a, b))
            rows = _refused_rows(tree, (a, b), work, overrides, settings)
            if rows.any():
                refused[_names(a, b)] = rows
    else:
        every = np.ones(len(work), bool)
        barred = {_names(a, b): every for a, b in combinations(paired(points), 2)}
        two = two_line_set(
            tree.graph, points, work, settings, {k: v for k, v in barred.items() if k not in judged} | refused
        )
    return two, line_pair(tree, two, work, overrides, settings, refused), len(refused)


def _names(one: TieInPoint, other: TieInPoint) -> frozenset[str]:
    return frozenset((one.name, other.name))


def _refused_rows(
    tree: StructuralModel,
    pair: tuple[TieInPoint, TieInPoint],
    work: Work,
    overrides: Sequence[Override],
    settings: PlanningSettings,
) -> NDArray[np.bool_]:
    """Work points (w,) where a pair that is independent shares the load and does not hold: those with the most
    stress are given up until the rest holds."""
    out = np.zeros(len(work), bool)
    rows = _shared_rows(pair, work, tree.settings.climber_mass * G)
    if not independent(tree.graph, *pair, settings.apart_on_stem) or not len(rows):
        return out
    anchors = np.stack([p.place for p in pair])
    tension = line_tensions(anchors, work.xyz[rows], tree.settings.climber_mass * G)
    stress = [_uses(tree, p, work.xyz[rows], tension[:, i]) for i, p in enumerate(pair)]
    rows = rows[np.argsort(np.max([s / max(s.max(), 1e-9) for s in stress], axis=0), kind="stable")]

    def holds(count: int) -> bool:
        return not judged_pair(tree, pair, work, rows[:count], overrides, settings).breach

    low, high = 0, len(rows)
    if holds(high):
        return out
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if holds(middle) else (low, middle)
    out[rows[low:]] = True
    return out


def line_pair(
    tree: StructuralModel,
    two: AnchorSet,
    work: Work,
    overrides: Sequence[Override],
    settings: PlanningSettings,
    refused: Refused = MappingProxyType({}),
) -> LinePair | None:
    """The pair of two lines that share the load over most of the work, at the work point that asks most of
    it; None where no pair does.

    Of the tie-in points of `two` every independent pair is looked at, without the work points where it is
    `refused`.
    """
    sharing = _sharing(tree.graph, two, work, tree.settings.climber_mass * G, settings, refused)
    return None if sharing is None else judged_pair(tree, sharing[0], work, sharing[1], overrides, settings)


def judged_pair(
    tree: StructuralModel,
    pair: tuple[TieInPoint, TieInPoint],
    work: Work,
    rows: NDArray[np.int64],
    overrides: Sequence[Override],
    settings: PlanningSettings,
) -> LinePair:
    """One pair at the work point, of `rows`, where the rope makes the most stress below either union."""
    configurations = (pair[0].check.configuration, pair[1].check.configuration)
    case, factor = hardest(tree.settings, at_work=True)
    left = [strength_left(tree.graph, bearing_nodes(tree.graph, r), overrides) for r in configurations]
    at, lines, check = _hardest_place(tree, pair, work.xyz, rows, factor, left)
    swings = [one_line_lost(tree, r, lines) for r in configurations]
    lost = (
        replace(swings[0], check=weakened(swings[0].check, left[0])),
        replace(swings[1], check=weakened(swings[1].check, left[1])),
    )
    holds = all(passes(c, settings.margin_gate) for c in (check.first, check.second, check.common))
    breach = not (holds and all(stays(tree, s) for s in lost))
    labels = (pair[0].label, pair[1].label)
    reasons = (
        _shares_reason(labels, work.label[at], len(rows), lines),
        Reason(
            "pair_load",
            case=case,
            factor=factor,
            first=labels[0],
            first_strength=strength_reason(tree.graph, check.first),
            second=labels[1],
            second_strength=strength_reason(tree.graph, check.second),
        ),
        Reason(
            "pair_common",
            wood=wood_reason(tree.graph, check.meet),
            strength=strength_reason(tree.graph, check.common),
        ),
        lost_reason(tree, labels[0], labels[1], lost[0], drawn=False),
        lost_reason(tree, labels[1], labels[0], lost[1], drawn=False),
        *((Reason("pair_too_weak"),) if breach else ()),
    )
    systems = (pair[0].system, pair[1].system)
    return LinePair(
        labels, systems, work.label[at], len(rows), case, factor, lines, check, lost, breach, reasons
    )


def _shares_reason(labels: tuple[str, str], work: str, serves: int, lines: TwoLines) -> Reason:
    """Where two lines share the load, and what each then bears at rest."""
    return Reason(
        "pair_shares",
        first=labels[0],
        second=labels[1],
        n=serves,
        work=work,
        between=lines.between,
        first_force=lines.tension[0],
        second_force=lines.tension[1],
        flat=bool(lines.flat),
    )


def _hardest_place(
    tree: StructuralModel,
    pair: tuple[TieInPoint, TieInPoint],
    places: Floats,
    rows: NDArray[np.int64],
    factor: float,
    left: Sequence[float],
) -> Loaded:
    """Of the rows of work the pair shares, the one with the lowest margin: those that use the wood most below
    either union are judged."""
    anchors = np.stack([p.place for p in pair])
    weight = tree.settings.climber_mass * G
    tension = line_tensions(anchors, places[rows], weight)
    configurations = [p.check.configuration for p in pair]
    tried = []
    for which, p in enumerate(pair):
        row = int(rows[np.argmax(_uses(tree, p, places[rows], tension[:, which]))])
        lines = hanging_between(anchors, places[row], weight)
        found = check_two_lines(tree, configurations, lines, factor=factor)
        check = replace(
            found,
            first=weakened(found.first, left[0]),
            second=weakened(found.second, left[1]),
            common=weakened(found.common, min(left)),
        )
        tried.append(Loaded(row, lines, check))
        if len(rows) == 1:
            break
    return min(tried, key=lambda t: _lowest(t.check))


def _sharing(
    graph: WoodGraph,
    two: AnchorSet,
    work: Work,
    weight: float,
    settings: PlanningSettings,
    refused: Refused,
) -> tuple[tuple[TieInPoint, TieInPoint], NDArray[np.int64]] | None:
    """The independent pair that shares the load over most of the work, and the rows of that work."""
    apart = independence(graph, two.points, settings.apart_on_stem)
    best: tuple[tuple[TieInPoint, TieInPoint], NDArray[np.int64]] | None = None
    most = 0.0
    for i, j in combinations(range(len(two.points)), 2):
        a, b = two.points[i], two.points[j]
        if not apart[i, j]:
            continue
        rows = _shared_rows((a, b), work, weight)
        if _names(a, b) in refused:
            rows = rows[~refused[_names(a, b)][rows]]
        if (share := float(work.weight[rows].sum())) > most:
            best, most = ((a, b), rows), share
    return best


def _shared_rows(pair: tuple[TieInPoint, TieInPoint], work: Work, weight: float) -> NDArray[np.int64]:
    """Rows of the work that both lines serve, both tight and standing apart there."""
    a, b = pair
    rows = np.flatnonzero(a.reach.served & b.reach.served)
    if not len(rows):
        return rows
    tight = (line_tensions([a.place, b.place], work.xyz[rows], weight) > SLACK * weight).all(axis=1)
    between = angle_between(a.place - work.xyz[rows], b.place - work.xyz[rows])
    return rows[tight & (between >= NARROWEST)]


def _uses(tree: StructuralModel, point: TieInPoint, places: Floats, tension: Floats) -> Floats:
    """Largest stress over strength the line's pull makes below one union for every place, (w,): a screen."""
    configuration: AnchorConfiguration = point.check.configuration
    pull = unit(places - point.place)
    if point.system == "SRS basal":
        pull = pull + unit(np.asarray(configuration.base, float) - point.place)
    contact = at_node(tree.graph, hanging_node(configuration), point.place)
    return largest_uses(tree, contact, tension[:, None] * pull)


def _lowest(check: TwoLineCheck) -> float:
    """The lowest low end of the three."""
    return min(
        c.margin.p5 if c.margin.known else UNSEEN_MARGIN for c in (check.first, check.second, check.common)
    )
