"""What does a climber call a place in the tree? Leader by compass and rank, union by order and height, limb by direction.

Names are data: a `Reason` with figures, said by `outputs/text` in the reader's language. Every union has one name, the
same on report, sheet and tables.
"""

from __future__ import annotations

import math
from collections import Counter
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from treescan.outputs.shapes.cached import cached
from treescan.planning.tie_in_point import ROUND_STEM, TieInPoint
from treescan.reason import Reason
from treescan.wood.graph import WoodGraph

LEADER = 0.08
"""A codominant stem is called a leader from this thickness on. [m]  (Project choice.)"""
COUNTED = 0.05
"""Unions are counted, and limbs ranked, where the limb that leaves is at least this thick: what one sees from the
ground. [m]  (Project choice.)"""
OUT = 1.5
"""Of a limb that tells where it points. [m]  (Project choice.)"""
COUNTABLE = 6
"""Unions of a stem or limb that one counts from below; a higher one is told by where its limb points. (Project choice.)"""
UPRIGHT = 0.3
"""A leader whose middle stands less than this to the side of the fork is the middle one. [m]  (Project choice.)"""
SECTORS = 8
"""Directions that have a word of their own."""


class _Group(NamedTuple):
    """What a union is counted on: a leader (-1: the stem below all leaders) and a limb of it (-1: the leader itself)."""

    leader: int
    limb: int


@cached
def place_names(graph: WoodGraph) -> tuple[Reason, ...]:
    """The name of every union, in their order: `place_named` or, where the limb that leaves is thin, `place_small`.

    Values of each: `axis` (stem or leader), `limb` (None on the axis itself), `height` [m], and `nth` from below, or, of one too
    high to count to, `points`, where its limb points [rad, clockwise from north] (both where that alone would name two).
    """
    u, leaders = graph.unions, _leaders(graph)
    parting = _lowest_parting(graph, leaders)
    groups = [_group(graph, int(node), leaders, parting) for node in u.node]
    axes = _axis_names(graph, leaders)
    limbs = _limb_names(graph, {g for g in groups if g.limb >= 0})
    count: Counter[_Group] = Counter()
    out: list[Reason] = []
    for k, group in enumerate(groups):
        where = {"axis": axes[group.leader], "limb": limbs.get(group), "height": float(u.height[k])}
        if len(rows := u.laterals(k)) and float(u.arm_diameter[rows].max()) < COUNTED:
            out.append(Reason("place_small", **where))
            continue
        count[group] += 1
        high = count[group] > COUNTABLE and len(rows)
        out.append(Reason("place_named", nth=count[group], points=_lateral_points(graph, k) if high else None, **where))
    alike = Counter(_uncounted(name) for name in out)
    return tuple(_plain(name, alike[_uncounted(name)] == 1) for name in out)


def _uncounted(name: Reason) -> tuple[object, ...]:
    """What a name says besides the count."""
    limb = name["limb"]
    return (name["axis"], limb and repr(limb), round(name["height"], 1), _sector(name.values.get("points")))


def _plain(name: Reason, alone: bool) -> Reason:
    """Without the count where the limb's direction says it."""
    if name.values.get("points") is None or not alone:
        return name
    return Reason(name.code, **{**name.values, "nth": None})


def _lateral_points(graph: WoodGraph, k: int) -> float | None:
    """Where the thickest limb that leaves a union points [rad, clockwise from north]; None where none does."""
    rows = graph.unions.laterals(k)
    return _points(graph, int(graph.unions.arm_limb[rows[0]])) if len(rows) else None


def place_of(graph: WoodGraph, p: TieInPoint) -> Reason:
    """The union of a candidate with the limb its rope lies over, or that the rope goes round the stem."""
    name = place_names(graph)[p.union]
    if ROUND_STEM in p.hardware:
        points = None if name.values.get("points") is not None else _lateral_points(graph, p.union)
        return Reason("place_round_stem", place=name, points=points)
    toward = _points(graph, int(graph.limb[p.check.configuration.rest_node]), p.check.configuration.rest_node)
    return Reason("place_over_limb", place=name, points=toward)


def _leaders(graph: WoodGraph) -> tuple[int, ...]:
    """Limb numbers of the leaders, the stem's own continuation first; empty where nothing but the stem is one."""
    limbs = graph.limbs
    others = [
        k
        for k in range(1, len(limbs))
        if limbs.order[k] == 0 and len(limbs.nodes[k]) and 2 * _thickness(graph, k) >= LEADER
    ]
    return (0, *others) if others else ()


def _thickness(graph: WoodGraph, limb: int) -> float:
    """Radius of a limb's first own segment. [m]"""
    return float(graph.segment_radius[graph.limbs.nodes[limb][0]])


def _lowest_parting(graph: WoodGraph, leaders: tuple[int, ...]) -> float:
    """Height along the stem from which it is called a leader, as the node number's z. [m, local]"""
    feet = [
        graph.xyz[graph.parent[graph.limbs.nodes[k][0]], 2] for k in leaders if k and graph.limbs.parent[k] == 0
    ]
    return float(min(feet)) if feet else math.inf


def _group(graph: WoodGraph, node: int, leaders: tuple[int, ...], parting: float) -> _Group:
    """Leader and main limb that carry a union."""
    limb, own = int(graph.limb[node]), -1
    while limb != 0 and limb not in leaders:
        own, node = limb, int(graph.parent[graph.limbs.nodes[limb][0]])
        limb = int(graph.limb[node])
    below = limb == 0 and not (leaders and graph.xyz[node, 2] > parting)
    return _Group(-1 if below else limb, own)


def _axis_names(graph: WoodGraph, leaders: tuple[int, ...]) -> dict[int, Reason]:
    """The stem, and every leader by compass and, among those of one direction, by thickness."""
    out = {-1: Reason("place_stem")}
    word: dict[int, float | None] = {k: _stands(graph, k, leaders) for k in leaders}
    for k in leaders:
        thicker = [
            j
            for j in leaders
            if _sector(word[j]) == _sector(word[k]) and (-_top_thickness(graph, j), j) < (-_top_thickness(graph, k), k)
        ]
        rank, side = len(thicker) + 1, word[k]
        out[k] = (
            Reason("place_middle_leader", rank=rank if rank > 1 else None)
            if side is None
            else Reason("place_leader", rank=rank if rank > 1 else None, side=side)
        )
    return out


def _top_thickness(graph: WoodGraph, leader: int) -> float:
    """Radius where a leader begins; the stem's continuation begins above its lowest fork. [m]"""
    if leader:
        return _thickness(graph, leader)
    return float(np.median(graph.segment_radius[graph.limbs.nodes[0]]))


def _stands(graph: WoodGraph, leader: int, leaders: tuple[int, ...]) -> float | None:
    """On which side of its fork a leader stands [rad, clockwise from north]; None where it goes straight up."""
    own = graph.limbs.nodes[leader]
    fork = graph.xyz[graph.parent[own[0]]] if leader else graph.xyz[0]
    if leader == 0:
        parting = _lowest_parting(graph, leaders)
        own = own[graph.xyz[own, 2] > parting]
        if not len(own):
            return None
        fork = graph.xyz[own[0]]
    away = np.average(graph.xyz[own, :2], axis=0, weights=np.maximum(graph.length[own], 1e-9)) - fork[:2]
    return None if float(np.hypot(*away)) < UPRIGHT else float(np.arctan2(*away) % (2 * np.pi))


def _limb_names(graph: WoodGraph, groups: set[_Group]) -> dict[_Group, Reason]:
    """Main limbs by the way they point and, among those of one leader that point the same way, by their order from below."""
    out: dict[_Group, Reason] = {}
    seen: Counter[tuple[int, int | None]] = Counter()
    for group in sorted(groups, key=lambda g: (float(graph.xyz[graph.limbs.nodes[g.limb][0], 2]), g.limb)):
        side = _points(graph, group.limb)
        seen[group.leader, _sector(side)] += 1
        rank = seen[group.leader, _sector(side)]
        out[group] = Reason("place_limb", rank=rank if rank > 1 else None, side=side)
    return out


def _points(graph: WoodGraph, limb: int, at: int | None = None) -> float:
    """Azimuth in which a limb leaves its foot, or runs on from one of its nodes. [rad, clockwise from north]"""
    own: NDArray[np.int32] = graph.limbs.nodes[limb]
    own = own[own > 0]
    if at is not None and len(later := own[own >= at]):
        own = later
    start = graph.xyz[graph.parent[own[0]]]
    along = np.cumsum(graph.length[own])
    end = graph.xyz[own[min(int(np.searchsorted(along, OUT)), len(own) - 1)]]
    return float(np.arctan2(*(end - start)[:2]) % (2 * np.pi))


def _sector(side: float | None) -> int | None:
    """The word a direction has, by number."""
    return None if side is None else round(side / (2 * np.pi / SECTORS)) % SECTORS
