"""One anchor pulled by a line in a known direction: one of two lines to a climber, or one end of a rope strung between two trees."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from treescan.errors import BadInput
from treescan.estimate import Estimate
from treescan.loads.anchor import NOT_SEEN, contacts_of
from treescan.loads.governing import gate, governed
from treescan.loads.limb_check import Rig
from treescan.loads.load_path import Tree, load_path, unseen
from treescan.loads.rig_loads import rig_loads
from treescan.loads.strung_rope import TwoLines
from treescan.loads.verdict import misread
from treescan.units import G
from treescan.wood.graph import Floats


@dataclass(frozen=True)
class LineCheck:
    """Margin of one anchor under one line; NaN with the reason where the scan cannot tell or a reported defect forbids it.

    force : (3,) float on the wood at the union [N]; margin : Estimate; governing : int node; mode : str; reason : str; gate : str,
    "" or the reported defect.
    """

    force: Floats
    margin: Estimate
    governing: int
    mode: str
    reason: str
    gate: str = ""


def check_line(tree: Tree, rig: Rig, toward: Floats, tension: float) -> LineCheck:
    """Strength over stress of an anchor whose line is pulled with `tension` [N] toward a point (3,) [m] below it, own weight included."""
    contacts = contacts_of(tree, rig)
    why = unseen(tree, contacts)
    if why:
        return LineCheck(np.full(3, np.nan), NOT_SEEN, -1, "", f"Not seen: {why}.")
    still = replace(tree.settings, cases=("at rest",), rope_angle_limit_deg=90.0, preload=0.0)
    base, place = np.asarray(rig.base, float), np.asarray(toward, float)
    loads = rig_loads(rig.system, rig.hardware, contacts, base, tree.ground_below(contacts[-1].point), place, still)
    row = np.flatnonzero(loads.pulls.work == 0)
    if len(row) == 0:
        raise BadInput("the line must be pulled downward", remedy="take a point below the anchor")
    pull = np.zeros(len(loads.pulls.tension))
    pull[row] = tension
    loads = replace(loads, pulls=replace(loads.pulls, tension=pull))
    path = load_path(tree, contacts)
    use = governed(tree, loads, path, rig.system, rig.hardware)
    force, reported, s = use.legs.force[-1].sum(axis=0), gate(tree, path), tree.sections
    if reported:
        return LineCheck(force, NOT_SEEN, use.node, use.mode, f"Not an anchor: {reported}.", reported)
    if not use.margin.known or s.own_use[use.node] * s.reported.keep[use.node] > 1.0:
        return LineCheck(force, NOT_SEEN, use.node, use.mode, f"Not seen: {misread(tree, use.node)}.")
    return LineCheck(force, use.margin, use.node, use.mode, "")


def check_two_lines(trees: Sequence[Tree], rigs: Sequence[Rig], lines: TwoLines, *, factor: float) -> tuple[LineCheck, LineCheck]:
    """Both anchors of two lines that carry one load, or of a rope strung between two trees (the same tree twice, or two).

    Parameters
    ----------
    trees, rigs : two of each, in the order of `lines`.
    lines : TwoLines            From `strung_rope.hanging_between` or `strung_rope.strung`, under the weight at rest.
    factor : float              Of the load case over the weight at rest, as in `LoadSettings` (1.5 in ascent and rescue, 2 put on at once).
    """
    found = [check_line(t, r, lines.place, factor * float(lines.tension[i])) for i, (t, r) in enumerate(zip(trees, rigs, strict=True))]
    return found[0], found[1]


def one_line_lost(tree: Tree, rig: Rig, lines: TwoLines) -> tuple[LineCheck, float]:
    """The other line fails: this one swings down with the whole weight.

    Returns its check under the swing's peak, 3 - 2 cos of the angle it starts at, and the height of the swing's fall [m].
    """
    anchor = contacts_of(tree, rig)[-1].point
    leg = anchor - lines.place
    length = float(np.linalg.norm(leg))
    start = leg[2] / length  # cosine of the angle from plumb
    weight = tree.settings.climber_mass * G
    below = anchor - np.array([0.0, 0.0, length])
    return check_line(tree, rig, below, weight * (3.0 - 2.0 * start)), length * (1.0 - start)
