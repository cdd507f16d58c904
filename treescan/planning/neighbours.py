"""What do anchors in neighbouring trees offer, alone or with a line hung between two trees?"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from treescan.planning.settings import PlanningSettings
from treescan.planning.sightline import Scene
from treescan.planning.tie_in_point import Floats, Reach, TieInPoint, Work
from treescan.planning.two_trees import FloatingAnchor, clear_between, floating_anchor, lowest_pull_point, reach_from_neighbour
from treescan.trees.beside import Site
from treescan.wood.graph import WoodGraph

SHARES = (0.3, 0.5, 0.7)
"""Places along the line between two anchors that are tried, as shares of the way."""

OWN = 2
"""Best-ranked unions of the tree itself that a line to a neighbour's anchor is tried from."""


@dataclass(frozen=True)
class Hung:
    """A line hung between two anchors: their names, the forces, the work it serves and a sentence."""

    ends: tuple[str, str]
    anchor: FloatingAnchor
    reach: Reach
    words: str


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
) -> Neighbours:
    """Every anchor the user drew in a neighbouring tree, by itself and paired with the others and with the best own unions.

    Parameters
    ----------
    points : ranked list; weight : of the climber [N].
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
    ends = list(combinations(site.anchors, 2))
    ends += [(a, (p.label, p.place)) for a in site.anchors for p in list(own.values())[:OWN]]
    hung = [_hung(graph, scene, a, b, work, work_limb, settings, weight) for a, b in ends]
    return Neighbours(tuple(straight), tuple(sorted(hung, key=lambda h: -h.reach.share)))


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
    """The line between two anchors, hung as high as the angle limit allows, at the share of the way that serves most work."""
    limit = settings.floating_limit - np.radians(1.0)
    places = [lowest_pull_point(a[1], b[1], limit, share) for share in SHARES]
    reaches = [reach_from_neighbour(graph, scene, p, work, work_limb, settings, weight) for p in places]
    i = int(np.argmax([r.share for r in reaches]))
    found = floating_anchor(a[1], b[1], places[i], weight, settings)
    straight = a[1] + SHARES[i] * (b[1] - a[1])
    clear = clear_between(scene, a[1], places[i]) and clear_between(scene, b[1], places[i])
    fouled = "" if clear else " Wood of this tree touches the lines."
    text = (
        f"Between {a[0]} and {b[0]}: at least {straight[2] - places[i][2]:.1f} m below the straight line, it serves "
        f"{100 * reaches[i].share:.0f} % of the work. {found.words} Hung higher the lines are flatter than "
        f"{settings.floating_limit_deg:.0f} degrees and pull much harder.{fouled}"
    )
    return Hung((a[0], b[0]), found, reaches[i], text)
