"""The order of access: always one secure attachment, quickest way."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import networkx as nx
import numpy as np
import pytest
from hands import throw, tree

from treescan.outputs.text.say import say
from treescan.planning.access.access_order import (
    ADVANCE,
    BASAL_LINE,
    GROUND,
    LADDER,
    SPURS,
    Hold,
    Holds,
    access_graph,
    by_throw,
    quickest_ways,
    sound_steps,
    steps,
)
from treescan.planning.settings import PlanningSettings

S = PlanningSettings()


def ladder_tree():
    """Unions at 3, 6, 9 and 14 m."""
    return tree(
        ([[0, 0, 0], [0, 0, 16]], 0.25, 0.1),
        ([[0, 0, 3], [2, 0, 4]], 0.08, 0.05),
        ([[0, 0, 6], [-2, 0, 7]], 0.08, 0.05),
        ([[0, 0, 9], [2, 0, 10]], 0.08, 0.05),
        ([[0, 0, 14], [-1, 0, 14.5]], 0.05, 0.04),
    )


def holding(graph, throws=(), holds=None):
    """Lines at every union but those said not to hold, and the thrown ones."""
    weak = {k for k, good in (holds or {}).items() if not good}
    rows = [k for k in range(len(graph.unions)) if k not in weak]
    stay = {k: Hold(f"{graph.unions.label[k]} MRS", 3.0, None) for k in rows}
    thrown = {t.union: Hold(f"{graph.unions.label[t.union]} MRS", 3.0, t) for t in throws if t.union not in weak}
    return Holds(stay, thrown, dict.fromkeys(rows, 3.0))


def ways_of(graph, throws=(), holds=None, settings=S):
    return access_graph(graph, holding(graph, throws, holds), settings)


def walked(graph, ways, route, throws=()):
    """The steps of one way, up to a line of its own."""
    return steps(graph, ways, route, holding(graph, throws), Hold("own", 2.0, None))


def test_shortest_way_matches_a_graph_built_by_hand():
    """Ladder to 3 m, then two advances of 3 m; the 14 m union is 5 m above the last and out of step reach."""
    graph = ladder_tree()
    minutes, routes = quickest_ways(ways_of(graph))
    by_hand = nx.DiGraph()
    by_hand.add_edge("ground", "U01", m=S.minutes_per_step + 3 * S.minutes_per_metre)
    by_hand.add_edge("U01", "U02", m=S.minutes_per_step + 3 * S.minutes_per_metre)
    by_hand.add_edge("U02", "U03", m=S.minutes_per_step + 3 * S.minutes_per_metre)

    assert routes[2] == [GROUND, 0, 1, 2]
    assert minutes[2] == pytest.approx(nx.shortest_path_length(by_hand, "ground", "U03", weight="m"))
    assert 3 not in routes


def test_a_throw_shortens_the_way():
    """One good throw to the 9 m union beats three stops; a hopeless one does not."""
    graph = ladder_tree()

    assert quickest_ways(ways_of(graph, [throw(graph, 2, 0.9)]))[1][2] == [GROUND, 2]
    assert quickest_ways(ways_of(graph, [throw(graph, 2, 0.02)]))[1][2] == [GROUND, 0, 1, 2]


def test_no_step_on_a_union_that_does_not_hold():
    """A union too weak, too thin or unseen may be an end, never a step."""
    graph = ladder_tree()
    routes = quickest_ways(ways_of(graph, holds={1: False}))[1]

    assert 1 in routes
    assert 2 not in routes
    assert not sound_steps(graph, {}, replace(S, step_limb=0.3)).any()


def test_every_step_of_every_way_is_within_reach():
    """Between neighbours on a way the rise is within step reach and the side step within its limit."""
    graph = ladder_tree()
    for route in quickest_ways(ways_of(graph))[1].values():
        for a, b in pairwise(route[1:]):
            rise = graph.unions.place[b] - graph.unions.place[a]

            assert 0 < rise[2] <= S.step_reach
            assert np.hypot(rise[0], rise[1]) <= S.step_sideways


def test_steps_keep_one_attachment():
    """Advancing says to stay on the lower line until the upper one is tested; each stop is an inspection."""
    graph = ladder_tree()
    ways = ways_of(graph)
    out = walked(graph, ways, quickest_ways(ways)[1][2])

    assert [s.label for s in out] == ["ground", "U01", "U02", "U03"]
    assert [s.how for s in out] == ["ground", LADDER, ADVANCE, ADVANCE]
    assert [s.line for s in out] == ["", "U01 MRS", "U02 MRS", "own"]
    told = say(out[2].words)
    assert told.startswith("stay on the line at U01") and told.endswith("then free U01")
    assert all("inspect" in say(s.words) for s in out)


def test_nothing_goes_over_what_nobody_judged():
    """A union that was neither judged nor screened is no step, and no lanyard goes round a stem that was not."""
    graph = ladder_tree()
    none = Holds({}, {}, {})

    assert set(quickest_ways(access_graph(graph, none, S))[1]) == {GROUND, 0}
    assert quickest_ways(access_graph(graph, none, replace(S, spurs=True)))[1] == quickest_ways(access_graph(graph, none, S))[1]


def test_a_line_over_several_limbs_is_called_basal():
    """A class 3 throw opens a way, named as a basal line."""
    graph = ladder_tree()
    thrown = [throw(graph, 3, 0.9, 3)]
    ways = ways_of(graph, thrown)

    assert ways.edges[GROUND, 3]["how"] == BASAL_LINE
    assert walked(graph, ways, [GROUND, 3], thrown)[1].how == BASAL_LINE


def test_thrown_line_needs_two_steps():
    """A thrown line: the ground, then the union itself."""
    graph = ladder_tree()

    assert [s.union for s in by_throw(graph, 2, throw(graph, 2), Hold("own", 2.0, None))] == [None, 2]


def test_spurs_open_the_bare_stem_of_a_removal_and_nothing_else():
    """A pole with its first limb at 9 m is out of reach; with spurs the stem itself is the way, on two lanyards; a stem thinner than a forearm is not."""
    tall = tree(([[0, 0, 0], [0, 0, 16]], 0.25, 0.1), ([[0, 0, 9], [2, 0, 10]], 0.08, 0.05), ([[0, 0, 14], [-1, 0, 14.5]], 0.05, 0.04))
    thin = tree(([[0, 0, 0], [0, 0, 16]], 0.05, 0.03), ([[0, 0, 9], [2, 0, 10]], 0.02, 0.015))
    spurs = replace(S, spurs=True)
    ways = ways_of(tall, settings=spurs)
    minutes, routes = quickest_ways(ways)

    assert quickest_ways(ways_of(tall))[1] == {GROUND: [GROUND]}
    assert routes[1] == [GROUND, 0, 1]
    assert minutes[0] == pytest.approx(S.minutes_per_step + 9 * S.minutes_per_metre_lanyard)
    assert walked(tall, ways, routes[1])[1].how == SPURS
    assert quickest_ways(ways_of(thin, settings=spurs))[1] == {GROUND: [GROUND]}
