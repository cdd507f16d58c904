"""The whole plan of the climb from one ranked list."""

from __future__ import annotations

import pytest
from hands import S, ranked, throw, tree
from strategies import alone, random_tree

from treescan.planning.candidates.candidates import candidate_unions
from treescan.planning.climb.climb_plan import Climbers, climb_plan
from treescan.planning.tree_context import TreeContext
from treescan.planning.work.removal import Cut, Removal, cut_limb
from treescan.planning.work.work_points import default_work
from treescan.reason import Reason
from treescan.trees.beside import Site

ONE = Climbers(float("nan"), two_people=False)


def test_plan_of_the_climb_holds_together():
    """A rescue plan for each ranked tie-in point, a retrieval for the first and the set, one way for each
    work point, shares that sum to 1."""
    graph = random_tree(8, height=20, dbh=0.6, limbs=20)
    beside = alone(graph)
    points = ranked(graph, [throw(graph, k, 0.3) for k in candidate_unions(graph, S)], systems=())
    work = default_work(graph, beside, S)
    plan = climb_plan(TreeContext(graph, beside, Site(), work, S), points, ONE)

    usable = [f"{p.label} {p.system}" for p in points if p.usable]
    in_set = [f"{p.label} {p.system}" for p in plan.anchors.points]

    assert [r.work_anchor for r in plan.rescue] == usable
    assert len(plan.retrieval) == len({usable[0], *in_set}) > 0
    assert [w.label for w in plan.ways] == list(work.label)
    assert sum(plan.shares.values()) == pytest.approx(1)
    assert plan.shares["rope"] == pytest.approx(plan.anchors.share)
    serves = Reason(
        "set_serves", n=len(in_set), share=plan.anchors.share, anchors=tuple(in_set), ordered=len(in_set) > 1
    )
    assert plan.anchors.reasons[0] == serves
    assert plan.two_line_reasons()[-1].code in {"two_lines_reach", "two_lines_none"}


def test_a_tree_without_usable_anchors_still_has_a_plan():
    """Nothing usable: empty sets, no way to any work, and the sentences say so instead of failing."""
    graph = random_tree(8, height=20, dbh=0.6, limbs=20)
    beside = alone(graph)
    plan = climb_plan(
        TreeContext(graph, beside, Site(), default_work(graph, beside, S), S), ranked(graph, median=0.1), ONE
    )

    assert plan.shares["not reached"] == pytest.approx(1)
    assert plan.anchors.reasons == (Reason("set_none"),)
    assert plan.two_lines.reasons == (Reason("two_lines_none"),)
    assert all(r.code == "rescue_none" for p in plan.rescue for r in p.reasons)


def test_wood_that_is_gone_stands_in_nobodys_way():
    """A thick limb between the top anchor and the cut below it: asked first, the cut is out of reach; asked
    after that limb came off, it is not. An anchor that went with an earlier cut is never among those to hang
    from."""
    graph = tree(
        ([[0, 0, 0], [0, 0, 16]], 0.3, 0.1),
        ([[0, 0, 4], [3, 0, 4.5]], 0.1, 0.06),
        ([[0, 0, 5.5], [3, 0, 6.0]], 0.16, 0.14),
        ([[0, 0, 13], [1.2, 0, 14.2]], 0.12, 0.05),
    )
    beside, work = alone(graph), default_work(graph, alone(graph), S)
    points = ranked(graph, [throw(graph, k) for k in range(3)])
    low, thick, top = (
        cut_limb(graph, int(graph.unions.arm_limb[graph.unions.laterals(k)[0]])) for k in range(3)
    )
    far = Cut(int(graph.limbs.nodes[graph.limb[low.node]][-2]), "tip of the low limb")
    name = f"{graph.unions.label[2]} MRS"

    def hang(*cuts):
        plan = climb_plan(TreeContext(graph, beside, Site(), work, S), points, ONE, removal=Removal(cuts))
        return [s.hang for s in plan.stages]

    assert any(p.usable and p.label == graph.unions.label[2] for p in points)
    assert name not in hang(far, thick)[0]
    assert name in hang(thick, far)[1]
    assert name not in hang(top, thick, far)[2]
