"""What do anchors in neighbouring trees offer, alone or with a line hung between two trees?"""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from treescan.loads.rope.strung_rope import TwoLines, fixed_point, hanging_between, rope_for_angle, strung
from treescan.loads.settings import LoadSettings
from treescan.loads.statics.structural_model import StructuralModel
from treescan.planning.lines.line_loads import LineEnd, own_end
from treescan.planning.ranking.overrides import Override
from treescan.planning.reach.two_trees import clear_between, reach_from_neighbour
from treescan.planning.reach.work_scene import WorkScene
from treescan.planning.tie_in_point import Floats, Reach, TieInPoint
from treescan.reason import Reason
from treescan.short_repr import ShortRepr
from treescan.units import G

SHARES = (0.3, 0.7)
"""Places along the line between two anchors where two lines fixed to one point are tried, as shares of the
way; the third place is where a load rests that runs freely on one rope."""

OWN = 2
"""Best-ranked unions of the tree itself that a line to a neighbour's anchor is tried from."""

SHORT_OF_LIMIT = np.radians(1.0)
"""A line is hung this much less flat than the limit [rad] (project choice)."""

SAME_SHARE = 6
"""Shares of the work that agree to so many decimals count as equal; then the rope on which the climber runs
freely is taken."""


@dataclass(frozen=True)
class StraightLine:
    """A rope straight from an anchor in another tree: the anchor as the user named it, the work it serves,
    and what was found."""

    anchor: str
    reach: Reach
    reason: Reason


@dataclass(frozen=True)
class Hung:
    """A line hung between two anchors.

    ends : their names; lines : TwoLines under the climber's weight at rest; runs : one rope on which the
    climber's point runs freely, else two lines fixed to that point; rope : length between the anchors [m];
    reach : the work it serves; end : LineEnd, what the own union bears at its end, None where both ends are
    in other trees or the loads are not at hand; reasons : what was found.
    """

    ends: tuple[str, str]
    lines: TwoLines
    runs: bool
    rope: float
    reach: Reach
    end: LineEnd | None
    reasons: tuple[Reason, ...]


@dataclass(frozen=True, repr=False)
class Neighbours(ShortRepr):
    """Anchors in neighbouring trees: lines straight from them, and lines hung between two anchors, the most
    work first."""

    straight: tuple[StraightLine, ...]
    hung: tuple[Hung, ...]

    def reasons(self) -> tuple[tuple[Reason, ...], ...]:
        """What was found, one entry a line; empty where no anchor was drawn."""
        return (*((line.reason,) for line in self.straight), *(line.reasons for line in self.hung))


def from_neighbours(
    at: WorkScene,
    anchors: Sequence[tuple[str, Floats]],
    points: tuple[TieInPoint, ...],
    weight: float,
    tree: StructuralModel | None,
    overrides: Sequence[Override],
) -> Neighbours:
    """Every anchor the user drew in a neighbouring tree, by itself and paired with the others and with the
    best own unions.

    Parameters
    ----------
    anchors : ((name, (3,) place), ...)     As drawn. [m, local]
    points : ranked list; weight : of the climber [N].
    tree : StructuralModel     From `loads.anchor.whole_tree`; without it the own unions are not judged under
        the line.
    overrides : sequence of Override    What was stated about them.
    """
    loads = LoadSettings() if tree is None else tree.settings
    loads = replace(loads, climber_mass=weight / G) if np.isfinite(weight) else loads
    own: dict[int, TieInPoint] = {}
    for p in points:
        if p.usable:
            own.setdefault(p.union, p)
    hung = [_hung(at, _strung(at, a, b, loads), None, own=False) for a, b in combinations(anchors, 2)]
    for a in anchors:
        for p in list(own.values())[:OWN]:
            line = _strung(at, a, (p.label, p.place), loads)
            hung.append(
                _hung(
                    at,
                    line,
                    None if tree is None else own_end(tree, p, line.lines, 1, a[0], overrides, at.settings),
                    own=True,
                )
            )
    straight = tuple(_straight(at, name, place, loads) for name, place in anchors)
    return Neighbours(
        straight, tuple(sorted(hung, key=lambda h: (h.end is not None and h.end.breach, -h.reach.share)))
    )


def _straight(at: WorkScene, name: str, place: Floats, loads: LoadSettings) -> StraightLine:
    """A rope straight from one anchor."""
    r = reach_from_neighbour(at.graph, at.scene, place, at.work, at.work_limb, at.settings, loads)
    away, height = float(np.hypot(*(place - at.graph.xyz[0])[:2])), float(place[2] - at.graph.xyz[0, 2])
    angle = float(r.worst_angle) if r.served.any() else None
    return StraightLine(
        name,
        r,
        Reason("neighbour_straight", anchor=name, away=away, height=height, share=r.share, angle=angle),
    )


@dataclass(frozen=True)
class _Strung:
    """A line between two anchors at the place that serves most work: names, lines at rest, lengths of both
    legs [m], reach, free of wood."""

    ends: tuple[str, str]
    lines: TwoLines
    runs: bool
    legs: Floats
    reach: Reach
    clear: bool


def _strung(
    at: WorkScene, first: tuple[str, Floats], second: tuple[str, Floats], loads: LoadSettings
) -> _Strung:
    """The line between two anchors, hung as high as the angle limit allows, at the place that serves most
    work."""
    limit, weight = at.settings.floating_limit - SHORT_OF_LIMIT, loads.climber_mass * G
    anchors = np.stack([first[1], second[1]])
    tried = [
        (hanging_between(anchors, fixed_point(anchors, limit, share), weight), False) for share in SHARES
    ]
    with suppress(ValueError):  # one anchor so far above the other that the load would hang at the lower one
        tried.append((strung(anchors, rope_for_angle(anchors, limit), weight), True))
    reaches = [
        reach_from_neighbour(at.graph, at.scene, lines.place, at.work, at.work_limb, at.settings, loads)
        for lines, _ in tried
    ]
    i = max(range(len(tried)), key=lambda k: (round(reaches[k].share, SAME_SHARE), tried[k][1]))
    lines, runs = tried[i]
    legs = np.linalg.norm(anchors - lines.place, axis=1)
    clear = clear_between(at.scene, first[1], lines.place) and clear_between(at.scene, second[1], lines.place)
    return _Strung((first[0], second[0]), lines, runs, legs, reaches[i], clear)


def _hung(at: WorkScene, line: _Strung, end: LineEnd | None, *, own: bool) -> Hung:
    """A strung line with what the own union at its second end bears; own : that end is a union of this tree."""
    first, second = line.ends
    values = {
        "first": first,
        "second": second,
        "own": own,
        "share": line.reach.share,
        "between": line.lines.between,
        "first_force": line.lines.tension[0],
        "second_force": line.lines.tension[1],
        "limit": at.settings.floating_limit,
    }
    if line.runs:
        reasons = [Reason("hung_running", rope=line.legs.sum(), **values)]
    else:
        reasons = [Reason("hung_fixed", first_rope=line.legs[0], second_rope=line.legs[1], **values)]
    if not line.clear:
        reasons.append(Reason("hung_touches"))
    if end is not None:
        reasons += end.reasons
        if end.breach and end.lost is not None:
            reasons.append(Reason("hung_too_weak", union=end.label))
        reasons.append(Reason("hung_other_tree", anchor=first))
    return Hung(line.ends, line.lines, line.runs, float(line.legs.sum()), line.reach, end, tuple(reasons))
