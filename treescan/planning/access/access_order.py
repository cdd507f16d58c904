"""In what order does the climber get from the ground to the tie-in point, always on one secure attachment?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import pairwise

import networkx as nx
import numpy as np

from treescan.loads.limb_check import AnchorCheck
from treescan.planning.candidates.contact import bearing_nodes, looks_dead
from treescan.planning.settings import PlanningSettings
from treescan.planning.tie_in_point import AccessStep
from treescan.reason import Reason
from treescan.throw.throw_path import Throw
from treescan.wood.graph import WoodGraph

THROWN_LINE = "thrown line"
"""From the ground by a line that can be isolated."""

BASAL_LINE = "basal line"
"""From the ground by a line over several limbs that cannot be isolated."""

LADDER = "ladder"
"""From the ground by ladder or lanyards."""

ADVANCE = "advance"
"""From one union to a higher one by a line thrown in the tree."""

LANYARDS = "lanyards"
"""Up an upright stem with limbs close together, two lanyards in turn."""

SPURS = "spurs"
"""Up a bare stem that is to come down anyway, on spurs and two lanyards."""

WAYS_UP = (THROWN_LINE, BASAL_LINE, LADDER, ADVANCE, LANYARDS, SPURS)
"""How a climber gets from one place to the next: "how" of the edges and of their steps."""

GROUND = -1
"""Node of the ground in the access graph; the others are union rows."""


def throw_minutes(throw: Throw) -> float:
    """Expected time to set a line: getting ready, throws until success, and working the weight back, as the
    throw itself says. [min]"""
    return throw.expected_seconds / 60.0


@dataclass(frozen=True)
class Hold:
    """A line the climber may hang on, as judged: name, as "U07 MRS"; low : low side of its margin; throw : that
    sets it from the ground, None where none does; bears : nodes its rope bears on."""

    name: str
    low: float
    throw: Throw | None
    bears: tuple[int, ...] = ()

    @classmethod
    def on(cls, graph: WoodGraph, check: AnchorCheck, throw: Throw | None) -> Hold:
        """The line of one check."""
        at = check.configuration
        name = f"{graph.unions.label[at.union]} {at.system}"
        return cls(name, float(check.check.margin.p5), throw, tuple(bearing_nodes(graph, at)))


@dataclass(frozen=True)
class Holds:
    """Every line that nothing stands against, by union row.

    stay : set from inside the tree, to hang on while advancing; thrown : set from the ground by the very throw
    it was judged with; stem : low side of the margin of two lanyards round the stem there.
    """

    stay: Mapping[int, Hold]
    thrown: Mapping[int, Hold]
    stem: Mapping[int, float]


def sound_steps(graph: WoodGraph, holds: Mapping[int, bool], settings: PlanningSettings) -> np.ndarray:
    """Unions one may hang on while advancing, (m,) bool: thick enough, seen, no dead suspect, and not found
    to be too weak."""
    u = graph.unions
    lateral = ~u.arm_continues
    size = np.zeros(len(u))
    np.maximum.at(size, np.repeat(np.arange(len(u)), np.diff(u.arm_start))[lateral], u.arm_diameter[lateral])
    thick = size >= settings.step_limb
    plain = np.array([not looks_dead(graph, k) and "bridged" not in u.flags[k] for k in range(len(u))], bool)
    strong = np.array([holds.get(k, True) for k in range(len(u))], bool)
    return thick & plain & strong


def access_graph(graph: WoodGraph, holds: Holds, settings: PlanningSettings) -> nx.DiGraph:
    """Ground and unions as nodes, ways between them as edges with "minutes" and "how".

    Notes
    -----
    - from the ground by a throw whose own line was judged and holds (class 3: a basal line) to a sound union,
    - from the ground by ladder or lanyards to a sound union within `ladder_reach`,
    - from one sound union to one above within `step_reach` and `step_sideways`: throw, load-test, change
    over,
    - from one union to the next on the same upright stem within `lanyard_reach`, thick enough for a lanyard
    round it, seen, judged to hold two lanyards, and with a
      limb to hold: two lanyards in turn; with `spurs` from the ground on and whatever the gap.
    A union is sound where a line of `holds` can be hung on there. An unsound one can be the end of a way but
    never a step on it: nothing leaves it but lanyards that hold round the stem, and then no line leads to it.
    """
    u = graph.unions
    stays = sound_steps(graph, {k: k in holds.stay for k in range(len(u))}, settings)
    thick = sound_steps(graph, {}, settings)
    ways = nx.DiGraph()
    ways.add_node(GROUND)
    ways.add_nodes_from(range(len(u)))
    for k in range(len(u)):
        climb = float(u.height[k]) * settings.minutes_per_metre
        if u.height[k] <= settings.ladder_reach:
            ways.add_edge(GROUND, k, minutes=settings.minutes_per_step + climb, how=LADDER)
        best = holds.thrown[k].throw if k in holds.thrown else None
        if best is not None and thick[k]:
            how = BASAL_LINE if best.isolation_class == 3 else THROWN_LINE
            minutes = throw_minutes(best) + climb
            if not ways.has_edge(GROUND, k) or minutes < ways.edges[GROUND, k]["minutes"]:
                ways.add_edge(GROUND, k, minutes=minutes, how=how)
    rise = u.place[None, :, 2] - u.place[:, None, 2]
    side = np.hypot(*(u.place[None, :, k] - u.place[:, None, k] for k in (0, 1)))
    can = (rise > 0) & (rise <= settings.step_reach) & (side <= settings.step_sideways) & stays[:, None]
    lower, upper = np.nonzero(can)
    needed = settings.minutes_per_step + rise[lower, upper] * settings.minutes_per_metre
    ways.add_weighted_edges_from(
        zip(lower.tolist(), upper.tolist(), needed.tolist(), strict=True), weight="minutes", how=ADVANCE
    )
    steps_up = lanyard_steps(graph, settings)
    if settings.spurs and len(u):
        first = int(np.argmin(u.node))
        bare = graph.limbs.nodes[0]
        bare = bare[bare <= u.node[first]]
        if (
            graph.limb[u.node[first]] == 0
            and graph.seen[bare].all()
            and 2 * graph.segment_radius[bare].min() >= settings.min_limb
            and first in holds.stem
        ):
            minutes = settings.minutes_per_step + float(u.height[first]) * settings.minutes_per_metre_lanyard
            if not ways.has_edge(GROUND, first) or minutes < ways.edges[GROUND, first]["minutes"]:
                ways.add_edge(GROUND, first, minutes=minutes, how=SPURS)
    for i, j in steps_up:
        if i not in holds.stem or j not in holds.stem:
            continue
        if i not in holds.stay:
            ways.remove_edges_from([(k, i) for k, _, how in ways.in_edges(i, "how") if how == ADVANCE])
        rise_here = float(u.height[j] - u.height[i])
        minutes = max(rise_here, 0.0) * settings.minutes_per_metre_lanyard
        if not ways.has_edge(i, j) or minutes < ways.edges[i, j]["minutes"]:
            ways.add_edge(i, j, minutes=minutes, how=LANYARDS)
    return ways


def lanyard_steps(graph: WoodGraph, settings: PlanningSettings) -> list[tuple[int, int]]:
    """Neighbouring unions (lower, upper) of one stem between which a climber gets with two lanyards in
    turn."""
    u = graph.unions
    out = []
    for line in np.unique(graph.limb[u.node]):
        rows = np.flatnonzero(graph.limb[u.node] == line)
        rows = rows[np.argsort(u.node[rows])]
        for i, j in pairwise(rows.tolist()):
            between = graph.limbs.nodes[line]
            between = between[(between > u.node[i]) & (between <= u.node[j])]
            thick = 2 * graph.segment_radius[between].min(initial=np.inf) >= settings.min_limb
            gap = graph.xyz[u.node[j]] - graph.xyz[u.node[i]]
            upright = gap[2] > np.linalg.norm(gap) * np.sin(settings.upright)
            near = settings.spurs or gap[2] <= settings.lanyard_reach
            if thick and upright and near and graph.seen[between].all():
                out.append((i, j))
    return out


def stems_passed(graph: WoodGraph, settings: PlanningSettings) -> tuple[int, ...]:
    """Rows of the unions where two lanyards may go round the stem."""
    found = {k for step in lanyard_steps(graph, settings) for k in step}
    if settings.spurs and len(graph.unions):
        found.add(int(np.argmin(graph.unions.node)))
    return tuple(sorted(found))


def quickest_ways(ways: nx.DiGraph) -> tuple[dict[int, float], dict[int, list[int]]]:
    """Minutes and nodes of the quickest way from the ground to every union that can be reached."""
    return nx.single_source_dijkstra(ways, GROUND, weight="minutes")


def steps(
    graph: WoodGraph, ways: nx.DiGraph, route: list[int], holds: Holds, own: Hold
) -> tuple[AccessStep, ...]:
    """A way step by step; every union on it is an inspection stop, those that two lanyards pass without a
    change-over apart.

    own : the line the way leads to, hung on at its last union.
    """
    out = [AccessStep(None, "ground", 0.0, "ground", Reason("access_ground"))]
    u = graph.unions
    start = -1
    for i, (a, b) in enumerate(pairwise(route)):
        how = ways.edges[a, b]["how"]
        start = a if start < 0 else start
        goes_on = i + 2 < len(route) and ways.edges[b, route[i + 2]]["how"] == LANYARDS
        if how == LANYARDS and goes_on:
            continue
        words = _done(how, u.label[start] if start != GROUND else "", u.label[b])
        line = _hung_on(how, b, b == route[-1], holds, own)
        out.append(
            AccessStep(b, u.label[b], float(u.height[b]), how, words, line.name, line.low, line.throw)
        )
        start = -1
    return tuple(out)


def _hung_on(how: str, union: int, last: bool, holds: Holds, own: Hold) -> Hold:
    """The line the climber hangs on at the end of one step."""
    if how in {THROWN_LINE, BASAL_LINE}:
        return holds.thrown[union]
    if how in {LANYARDS, SPURS}:
        return Hold("", holds.stem[union], None)
    if last:
        return replace(own, throw=None)
    return holds.stay[union] if union in holds.stay else Hold("", holds.stem[union], None)


def _done(how: str, start: str, union: str) -> Reason:
    """What is done on one step, from the union it starts at ("" = the ground) to the next."""
    if how == LANYARDS:
        return Reason("access_lanyards", start=start, union=union)
    if how == ADVANCE:
        return Reason("access_advance", start=start, union=union)
    if how == SPURS:
        return Reason("access_spurs", union=union)
    if how == LADDER:
        return Reason("access_ladder", union=union)
    return (
        Reason("access_basal_line", union=union)
        if how == BASAL_LINE
        else Reason("access_thrown_line", union=union)
    )


def by_throw(graph: WoodGraph, union: int, throw: Throw, own: Hold) -> tuple[AccessStep, ...]:
    """The way when one throw from the ground sets the line itself, `own`."""
    u = graph.unions
    ground = Reason("access_throw", method=throw.method, throws=throw.expected_throws)
    words = Reason("access_ascend")
    up = AccessStep(union, u.label[union], float(u.height[union]), "ascend", words, own.name, own.low, throw)
    return AccessStep(None, "ground", 0.0, "ground", ground), up
