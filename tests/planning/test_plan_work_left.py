"""What a redirect and a pole saw add to the work reached, and why the rest is left over."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hands import S, plain_tree, ranked, throw
from hypothesis import given, settings
from hypothesis import strategies as st

from treescan.outputs.text.say import say
from treescan.planning.climb.work_left import LEFT, by_pole_saw, by_redirects, left_over, with_reasons
from treescan.planning.reach.ways_to_work import (
    HOW,
    NOT_REACHED,
    POLE_SAW,
    REDIRECT,
    reached_shares,
    ways_to_work,
)
from treescan.planning.redirects.redirect import Redirect, RedirectMargins, RedirectWay
from treescan.planning.work.work_points import work_at_points


def ways_of(places, median=6.0, planning=S):
    graph = plain_tree()
    work = work_at_points(graph, places, farthest=99.0)
    points = ranked(graph, [throw(graph, k) for k in range(3)], median, work=work, settings=planning)
    return graph, work, points, ways_to_work(graph, points, work, planning)


PLACES = [[0.2, 0.3, 4.0], [0.0, 1.4, 4.2], [4.6, 0, 9.0], [0, 0, 13.5], [-7.0, 0, 6.0], [0.5, -2.5, 10.8]]


def redirect(work, main=2.0, at=2.0, exact=True, spoils=False):
    way = RedirectWay(1, "U02", np.array([4.5, 0.0, 11.0]), work, 1.0, 0.1, 0, 0.5, 0.6, 1.2, 1.1, 0.5, 2.0)
    return Redirect(way, RedirectMargins(main, at, spoils, exact, None, None), ())


@settings(max_examples=20, deadline=None)
@given(reach=st.floats(0.0, 6.0), more=st.floats(0.0, 3.0))
def test_a_longer_pole_reaches_no_less_and_nothing_farther_than_it_is_long(reach, more):
    """Shares still sum to 1; what rope and walk reach stays; each point by the pole lies within its length of a place reached without it."""
    _, work, _, ways = ways_of(PLACES)
    short, long = (by_pole_saw(ways, work, r) for r in (reach, reach + more))
    there = np.array([w.how != NOT_REACHED for w in ways])
    for before, after, at in zip(ways, short, work.xyz, strict=True):
        assert before == after or (before.how, after.how) == (NOT_REACHED, POLE_SAW)
        if after.how == POLE_SAW:
            assert np.linalg.norm(work.xyz[there] - at, axis=1).min() <= reach and after.by
    assert {w.label for w in short if w.how == POLE_SAW} <= {w.label for w in long if w.how == POLE_SAW}
    assert sum(reached_shares(work, short).values()) == pytest.approx(1.0)


def test_without_a_pole_nothing_changes():
    """Reach 0: none is carried."""
    _, work, _, ways = ways_of(PLACES)
    assert by_pole_saw(ways, work, 0.0) == ways


def test_only_a_redirect_that_holds_by_all_forces_adds_work():
    """An estimate, one that spoils its anchor and one not seen add nothing; one that holds adds the work it serves, with the lower of its two low sides."""
    _, work, points, ways = ways_of(PLACES)
    missing = tuple(w.label for w in ways if w.how == NOT_REACHED)
    assert missing
    main = next(p for p in points if p.usable).label
    for bad in (redirect(missing, exact=False), redirect(missing, spoils=True), redirect(missing, at=float("nan"))):
        assert by_redirects(ways, [(main, bad)], points, work) == ways
    found = by_redirects(ways, [(main, redirect(missing[:1], 1.7, 1.3))], points, work)
    assert [(w.how, w.low, w.by.split()[0]) for w in found if w.label == missing[0]] == [(REDIRECT, 1.3, main)]
    assert [w for w in found if w.label != missing[0]] == [w for w in ways if w.label != missing[0]]


@pytest.mark.parametrize("median", [6.0, 0.5])
def test_every_point_left_says_why_and_the_groups_hold_all_of_it(median):
    """Above every line, beside a refused one, too flat: each point not reached has one reason, no other has, and the groups' shares sum to what is not reached."""
    graph, work, points, ways = ways_of(PLACES, median)
    told = with_reasons(graph, ways, points, work, S)
    assert all((w.why is not None) == (w.how == NOT_REACHED) for w in told)
    groups = left_over(told, work, graph.xyz[0])
    assert {g["why"] for g in groups} <= set(LEFT)
    assert sum(g["share"] for g in groups) == pytest.approx(reached_shares(work, told)[NOT_REACHED])
    for g in groups:
        assert "Left over" in say(g)
    by_code = {w.label: w.why.code for w in told if w.why is not None}
    top = work.label[3]
    assert by_code[top] == ("left_above" if median > 1 else "left_no_anchor")
    assert HOW[-1] == NOT_REACHED


def test_a_refused_anchor_that_would_reach_it_is_named():
    """The highest union is refused: what it alone would serve names it, with its low side."""
    graph = plain_tree()
    work = work_at_points(graph, [[0.4, -0.6, 9.5], [0.0, 0.4, 3.0]], farthest=99.0)
    points = ranked(
        graph, [throw(graph, k) for k in range(3)], lambda r: 0.5 if r.union == 2 else 6.0, work=work, settings=replace(S, walk_limit_deg=46.0)
    )
    told = with_reasons(graph, ways_to_work(graph, points, work, S), points, work, S)
    assert told[0].why is not None and told[0].why.code == "left_refused"
    assert told[0].why["anchor"]["label"] == "U03" and told[0].why["low"] == pytest.approx(0.5 / 1.6)
    assert told[1].how != NOT_REACHED
