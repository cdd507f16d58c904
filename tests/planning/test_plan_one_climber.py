"""An anchor that holds one climber is offered only with a line for the rescuer, and leads to no other."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hands import S, check, of_code, only, plain_tree, rank, table, throw
from strategies import alone

from treescan.planning.candidates.candidates import candidate_configurations
from treescan.planning.climb.rescue import corridors, rescue_plan
from treescan.planning.ranking.overrides import Override, with_overrides
from treescan.planning.reach.sightline import Scene
from treescan.planning.reach.work_scene import limb_of_work
from treescan.planning.sets.independent import independent
from treescan.planning.sets.rescue_lines import rescued_share
from treescan.planning.sets.sets import paired
from treescan.planning.tree_context import TreeContext
from treescan.planning.work.work_points import default_work
from treescan.trees.beside import Site


def listed(one_climber=(), rescued=0.0, median=6.0, **also):
    """The plain tree's three unions; those named hold two people out to `rescued` only (0 = one climber)."""
    graph = plain_tree()
    beside, t = alone(graph), table(graph, [throw(graph, k) for k in range(3)])
    work = default_work(graph, beside, S)
    found = candidate_configurations(graph, beside, t, ("MRS",), S)
    checks = [
        replace(c, rescued=rescued) if graph.unions.label[c.configuration.union] in one_climber else c
        for c in (check(graph, r, also.get(graph.unions.label[r.union], median)) for r, _ in found)
    ]
    return graph, work, rank(TreeContext(graph, beside, Site(), work, S), t, found, checks)


def rescued_by(graph, point, points, work):
    down = corridors(graph, Scene.of(graph, alone(graph)), work, limb_of_work(graph, work), S)
    return rescue_plan(graph, point, points, work, down, S, judged=True)


@pytest.mark.parametrize("named", [("U01",), ("U02",), ("U03",), ("U01", "U03")])
def test_it_is_offered_with_a_line_that_holds_two_on_other_wood(named):
    """While another union holds two people, reaches the work and shares no wood, it stays in the list: said to be for one climber, and the
    plan of the rescue names a line that holds two and is independent."""
    graph, work, points = listed(named)
    for label in named:
        p = only(points, label)
        assert p.usable and p.verdict == "inspect first" and of_code(p.doubts, "one_climber_only")
        assert p.scores["margin"] == 0.0
        plan = rescued_by(graph, p, points, work)
        (line,) = [q for q in points if q.name == plan.rescue_anchor]
        assert plan.share == pytest.approx(1.0) and p.reach.served.any()
        assert plan.independent and not line.check.one_climber_only and independent(graph, p, line)
    assert {p.label for p in paired(points)} == {"U01", "U02", "U03"} - set(named)


def test_without_a_line_for_the_rescuer_it_is_not_offered():
    """All three hold one climber only: none is offered, none carries a load test, and the reason is the missing line."""
    _, _, points = listed(("U01", "U02", "U03"))
    assert not any(p.usable for p in points)
    assert all([g.code for g in p.gates] == ["no_rescue_line"] and p.load_test is None for p in points)


def test_a_refused_line_is_no_rescue_line():
    """The two others do not hold at all: nobody rescues from them."""
    _, _, points = listed(("U03",), U01=0.5, U02=0.5)
    assert of_code(only(points, "U03").gates, "no_rescue_line")


def test_a_statement_that_takes_the_rescue_lines_takes_what_hung_on_them():
    """U03 holds one climber. One refused union of the other two leaves it, both take it out of the list; taking the statements back gives it back."""
    graph, _, points = listed(("U03",))
    said = [Override("refused", "A", "rot", "today", union=u) for u in ("U01", "U02")]
    assert only(with_overrides(graph, points, said[:1], S, 1).points, "U03").usable
    assert of_code(only(with_overrides(graph, points, said, S, 1).points, "U03").gates, "no_rescue_line")
    assert only(with_overrides(graph, points, [], S, 1).points, "U03").usable


def test_a_line_that_holds_two_nearer_to_plumb_rescues_no_farther_out():
    """It stays in the list without a second line asked for, says how far out it holds two, and as a rescue line reaches no farther than that."""
    narrow = np.deg2rad(20.0)  # of the 45 asked for
    _, work, points = listed(("U03",), rescued=narrow)
    p, other = only(points, "U03"), only(points, "U01")
    assert p.usable and not p.check.one_climber_only and of_code(p.doubts, "two_people_within")
    near = other.reach.served & p.reach.served & (p.reach.angle <= narrow + 1e-9)
    mine = work.weight * other.reach.served
    assert rescued_share(other, p, work.weight) == pytest.approx(float(mine @ near / mine.sum()))
    assert rescued_share(other, p, work.weight) <= rescued_share(other, only(listed()[2], "U03"), work.weight)


def test_no_way_up_hangs_on_a_line_for_one_climber():
    """It leads to itself alone: no step of another anchor's way is on it."""
    _, _, points = listed(("U01",))
    assert all(s.line.split()[0] != "U01" for p in points if p.usable and p.label != "U01" for s in p.access if s.line)
