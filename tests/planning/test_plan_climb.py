"""The whole plan of the climb from one ranked list."""

from __future__ import annotations

import pytest
from hands import S, ranked, throw
from strategies import alone, random_tree

from treescan.planning.candidates import candidate_unions
from treescan.planning.climb_plan import climb_plan
from treescan.planning.work import default_work
from treescan.trees.beside import Site


def test_plan_of_the_climb_holds_together():
    """A rescue plan for each ranked tie-in point, a retrieval for the first and the set, one way for each work point, shares that sum to 1."""
    graph = random_tree(8, height=20, dbh=0.6, limbs=20)
    beside = alone(graph)
    points = ranked(graph, [throw(graph, k, 0.3) for k in candidate_unions(graph, S)], systems=())
    work = default_work(graph, beside, S)
    plan = climb_plan(graph, beside, Site(), work, points, S)

    usable = [f"{p.label} {p.system}" for p in points if p.usable]
    in_set = [f"{p.label} {p.system}" for p in plan.anchors.points]

    assert [r.work_anchor for r in plan.rescue] == usable
    assert {r.work_anchor for r in plan.rescue_on_set()} == {usable[0], *in_set}
    assert len(plan.retrieval) == len({usable[0], *in_set}) > 0
    assert [w.label for w in plan.ways] == list(work.label)
    assert sum(plan.shares.values()) == pytest.approx(1)
    assert plan.shares["rope"] == pytest.approx(plan.anchors.share)
    assert [h for h, _ in plan.sections()][:2] == ["Tie-in points for all the work", "Two lines"]
    assert all(words for _, words in plan.sections())


def test_a_tree_without_usable_anchors_still_has_a_plan():
    """Nothing usable: empty sets, no way to any work, and the sentences say so instead of failing."""
    graph = random_tree(8, height=20, dbh=0.6, limbs=20)
    beside = alone(graph)
    plan = climb_plan(graph, beside, Site(), default_work(graph, beside, S), ranked(graph, median=0.1), S)

    assert plan.shares["not reached"] == pytest.approx(1)
    assert "No usable tie-in point" in plan.anchors.words[0]
    assert "no two-line plan" in plan.two_lines.words[0]
