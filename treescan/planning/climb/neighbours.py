"""What do anchors in neighbouring trees offer, alone or with a line hung between two trees?"""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from treescan.loads.rope.strung_rope import TwoLines, fixed_point, hanging_between, rope_for_angle, strung
from treescan.loads.statics.load_path import StructuralModel
from treescan.planning.climb.line_loads import LineEnd, own_end
from treescan.planning.ranking.overrides import Override
from treescan.planning.reach.sightline import Scene
from treescan.planning.reach.two_trees import clear_between, reach_from_neighbour
from treescan.planning.settings import PlanningSettings
from treescan.planning.tie_in_point import Floats, Reach, TieInPoint, Work
from treescan.trees.beside import Site
from treescan.wood.graph import WoodGraph

SHARES = (0.3, 0.7)
"""Places along the line between two anchors where two lines fixed to one point are tried, as shares of the way; the third place is where a load
rests that runs freely on one rope."""

OWN = 2
"""Best-ranked unions of the tree itself that a line to a neighbour's anchor is tried from."""


@dataclass(frozen=True)
class Hung:
    """A line hung between two anchors.

    ends : their names; lines : TwoLines under the climber's weight at rest; runs : one rope on which the climber's point runs freely, else two
    lines fixed to that point; rope : length between the anchors [m]; reach : the work it serves; words : sentences; end : LineEnd, what the
    own union bears at its end, None where both ends are in other trees or the loads are not at hand.
    """

    ends: tuple[str, str]
    lines: TwoLines
    runs: bool
    rope: float
    reach: Reach
    words: str
    end: LineEnd | None = None


@dataclass(frozen=True)
class Neighbours:
    """Anchors in neighbouring trees: lines straight from them ((name, Reach, words), ...) and lines hung between two, the most work first."""

    straight: tuple[tuple[str, Reach, str], ...]
    hung: tuple[Hung, ...]

    def words(self) -> tuple[str, ...]:
        """Sentences, none where no anchor was drawn."""
        return (*(w for _, _, w in self.straight), *(h.words for h in self.hung))


def from_neighbours(
    graph: WoodGraph,
    scene: Scene,
    site: Site,
    points: tuple[TieInPoint, ...],
    work: Work,
    work_limb: NDArray[np.int32],
    settings: PlanningSettings,
    weight: float,
    tree: StructuralModel | None = None,
    overrides: Sequence[Override] = (),
) -> Neighbours:
    """Every anchor the user drew in a neighbouring tree, by itself and paired with the others and with the best own unions.

    Parameters
    ----------
    points : ranked list; weight : of the climber [N].
    tree : StructuralModel     From `loads.anchor.whole_tree`; without it the own unions are not judged under the line.
    overrides : sequence of Override    What was stated about them.
    """
    if not site.anchors:
        return Neighbours((), ())
    straight = []
    for name, place in site.anchors:
        r = reach_from_neighbour(graph, scene, place, work, work_limb, settings, weight)
        d = place - graph.xyz[0]
        text = (
            f"From {name}, {np.hypot(d[0], d[1]):.1f} m away and {d[2]:.1f} m over the foot of this stem, a straight rope serves "
            f"{100 * r.share:.0f} % of the work"
        )
        angle = f" at up to {np.degrees(r.worst_angle):.0f} degrees" if r.served.any() else ""
        straight.append((name, r, f"{text}{angle}; judge that tree on its own trace."))
    own: dict[int, TieInPoint] = {}
    for p in points:
        if p.usable:
            own.setdefault(p.union, p)
    hung = [_hung(graph, scene, a, b, work, work_limb, settings, weight) for a, b in combinations(site.anchors, 2)]
    for a in site.anchors:
        for p in list(own.values())[:OWN]:
            line = _hung(graph, scene, a, (p.label, p.place), work, work_limb, settings, weight)
            hung.append(line if tree is None else _judged(tree, p, line, overrides, settings))
    return Neighbours(tuple(straight), tuple(sorted(hung, key=lambda h: (h.end is not None and h.end.breach, -h.reach.share))))


def _hung(
    graph: WoodGraph,
    scene: Scene,
    a: tuple[str, Floats],
    b: tuple[str, Floats],
    work: Work,
    work_limb: NDArray[np.int32],
    settings: PlanningSettings,
    weight: float,
) -> Hung:
    """The line between two anchors, hung as high as the angle limit allows, at the place that serves most work."""
    limit = settings.floating_limit - np.radians(1.0)
    anchors = np.stack([a[1], b[1]])
    tried = [(hanging_between(anchors, fixed_point(anchors, limit, share), weight), False) for share in SHARES]
    with suppress(ValueError):  # one anchor so far above the other that the load would hang at the lower one
        tried.append((strung(anchors, rope_for_angle(anchors, limit), weight), True))
    reaches = [reach_from_neighbour(graph, scene, lines.place, work, work_limb, settings, weight) for lines, _ in tried]
    i = max(range(len(tried)), key=lambda k: (round(reaches[k].share, 6), tried[k][1]))
    (lines, runs), reached = tried[i], reaches[i]
    legs = np.linalg.norm(anchors - lines.place, axis=1)
    clear = clear_between(scene, a[1], lines.place) and clear_between(scene, b[1], lines.place)
    t = lines.tension / 1000
    how = (
        f"one rope of {legs.sum():.1f} m on which the point runs freely serves"
        if runs
        else f"two lines of {legs[0]:.1f} m and {legs[1]:.1f} m fixed to one point serve"
    )
    text = (
        f"Between {a[0]} and {b[0]}: {how} {100 * reached.share:.0f} % of the work. The lines meet at {np.degrees(lines.between):.0f} degrees and "
        f"pull with {t[0]:.1f} and {t[1]:.1f} kN at rest; shorter they are flatter than {settings.floating_limit_deg:.0f} degrees and pull much harder."
    )
    return Hung((a[0], b[0]), lines, runs, float(legs.sum()), reached, text + ("" if clear else " Wood of this tree touches the lines."))


def _judged(tree: StructuralModel, point: TieInPoint, line: Hung, overrides: Sequence[Override], settings: PlanningSettings) -> Hung:
    """The same with what the own union at its second end bears."""
    end = own_end(tree, point, line.lines, 1, line.ends[0], overrides, settings)
    bad = f" Not a line to use: {point.label} is too weak at its end." if end.breach and end.lost is not None else ""
    return replace(line, end=end, words=" ".join((line.words, *end.words)) + bad + f" What {line.ends[0]} holds is judged in its own tree.")
