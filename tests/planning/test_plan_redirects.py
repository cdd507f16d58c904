"""Redirects judged by all forces: own weight counted, what was stated taken off, not seen said, estimates
called estimates."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hands import S, rank, table, throw, tree
from loads.by_hand import check_anchors
from strategies import alone

from treescan.loads.checks.redirect_check import check_redirect
from treescan.loads.material.wood_strength import wood_of
from treescan.loads.settings import LoadSettings
from treescan.loads.statics.structural_model import whole_tree
from treescan.outputs.text.say import say_all
from treescan.planning.candidates.candidates import candidate_configurations
from treescan.planning.climb.climb_plan import Climbers, climb_plan
from treescan.planning.ranking.overrides import Override, barred_unions, strength_left
from treescan.planning.reach.work_scene import WorkScene
from treescan.planning.redirects.redirect import RedirectMargins, RedirectWay, judged
from treescan.planning.redirects.redirect_loads import with_all_forces
from treescan.planning.redirects.redirects import redirect_configuration, redirects
from treescan.planning.tie_in_point import NOT_RANKED, TieInPoint
from treescan.planning.tree_context import TreeContext
from treescan.planning.work.work_points import work_at_points
from treescan.reason import Reason, has
from treescan.trees.beside import Site
from treescan.wood.topology.assemble import assemble

AT_REST = LoadSettings(samples=400, cases=("at rest",))
CLIMBERS = Climbers(float("nan"), two_people=False)
LOOSE = replace(S, rope_angle_limit_deg=80.0, margin_gate=0.2)


def leaning_tree():
    """A long heavy limb leans out at 45 degrees with the main anchor 4 m out on it; the redirect is a stout
    limb of the stem below, inward."""
    return tree(
        ([[0, 0, 0], [0, 0, 14]], 0.40, 0.15),
        ([[0, 0, 8], [4, 0, 12], [8, 0, 15]], 0.124, 0.06),
        ([[4, 0, 12], [4, 1.5, 13]], 0.09, 0.04),
        ([[0, 0, 4.5], [0, 3, 6], [0, 6, 7]], 0.14, 0.06),
    )


def scene_of(graph, loads=AT_REST, settings=LOOSE):
    """The tree's loads, its points, the highest of them serving only the stem, and work a redirect would
    newly serve."""
    work = work_at_points(graph, [[0, 4.5, 4.0], [3.0, 0, 3.0]], ["far", "near"])
    wood, beside = wood_of("Quercus robur", loads), alone(graph)
    throws = table(graph, [throw(graph, k) for k in range(len(graph.unions))])
    found = candidate_configurations(graph, beside, throws, ("MRS",), settings)
    checks = check_anchors(graph, beside, wood, [r for r, _ in found], work.xyz, loads, 1)
    points = rank(TreeContext(graph, beside, Site(), work, settings), throws, found, checks)
    return whole_tree(graph, beside, wood, loads, 1), points, work


def screened(graph, points, work, settings=LOOSE):
    """The point out on the leaning limb, with only the near work served, and its redirects by the screen
    alone."""
    main = next(p for p in points if p.place[0] > 2)
    short = replace(main, reach=replace(main.reach, served=np.array([False, True])))
    return short, redirects(at(graph, work, settings), short, points)


def at(graph, work, settings=LOOSE):
    """The tree with its work as ropes meet them."""
    return WorkScene.of(TreeContext(graph, alone(graph), Site(), work, settings))


def test_own_weight_is_not_scaled_away():
    """A pull inward takes most of the rope's bending off a leaning limb but none of the limb's own weight.
    By the pencil, no pull can leave more than the weight alone does, 1 / its share; scaling with the rope's
    stress promises more than that, the exact figure does not, and is much lower.
    """
    graph = leaning_tree()
    tree_loads, points, work = scene_of(
        graph, replace(AT_REST, samples=20_000, stands=False)
    )  # that the tree stands lifts every median
    main, found = screened(graph, points, work)
    exact = with_all_forces(tree_loads, main, found, work, (), LOOSE)
    own, low = main.check.check, {r.way.label: r for r in exact}
    assert found

    for r in found:
        most = 1.0 / own.self_weight_share
        assert r.way.main_ratio < 0.6
        assert r.margins.main * own.margin.median / own.margin.p5 > most
        checked = check_redirect(
            tree_loads, main.check.configuration, redirect_configuration(graph, r.way.union, LOOSE), work.xyz
        )
        assert checked.main_margin.median < most
        assert low[r.way.label].margins.main == pytest.approx(checked.main_margin.p5)
        assert low[r.way.label].margins.redirect == pytest.approx(checked.redirect_margin.p5)
        assert low[r.way.label].margins.main < 0.75 * r.margins.main


def test_verdict_and_words_follow_the_exact_figures():
    """With the gate between the two figures the screen lets the redirect pass and the exact check does not;
    each says which kind it is."""
    graph = leaning_tree()
    tree_loads, points, work = scene_of(graph)
    main, found = screened(graph, points, work)
    low = with_all_forces(tree_loads, main, found, work, (), LOOSE)[0]
    strict = replace(LOOSE, margin_gate=1.05 * low.margins.main)
    _, found = screened(graph, points, work, strict)
    (before,) = [r for r in found if r.way.label == low.way.label]
    (after,) = [
        r for r in with_all_forces(tree_loads, main, found, work, (), strict) if r.way.label == low.way.label
    ]

    assert before.margins.main > strict.margin_gate and after.margins.main < strict.margin_gate
    assert (before.margins.exact, after.margins.exact, after.margins.spoils) == (False, True, True)
    assert has(before.reasons, "redirect_margins_estimate") and not has(
        after.reasons, "redirect_margins_estimate"
    )
    assert Reason("redirect_spoils_main", low=after.margins.main, asked=strict.margin_gate) in after.reasons
    assert before.way == after.way
    assert before.reasons[:2] == after.reasons[:2] and before.reasons[-2:] == after.reasons[-2:]


def test_a_redirect_is_told_in_whole_sentences():
    """One redirect read aloud: what it brings, what it bears, what that means, and what happens if it
    fails."""
    way = RedirectWay(
        3,
        "U04",
        np.zeros(3),
        ("W01",),
        np.radians(70),
        np.radians(30),
        1,
        np.radians(25),
        np.radians(90),
        2**0.5,
        1.2,
        3.4,
        1.1,
    )
    told = judged(way, RedirectMargins(4.0, 1.2, True, exact=True, unseen=None, barred=None), 1.5)
    assert say_all(told.reasons) == (
        "A redirect at U04 brings 1 more work point into reach, at rope angles up to 30°. Straight from the "
        "main anchor the rope angle is up to "
        "70°, and limbs foul 1 of those ropes.",
        "The redirect bears 1.41 times the tension in the rope. The main anchor is pulled 25° off plumb; "
        "the stress the rope makes there becomes "
        "1.20 times what it was.",
        "With all forces and the tree's own weight, strength over stress at the low end is 4.0 at the main anchor and 1.2 at the redirect.",
        "Not ranked: strength over stress at the redirect is 1.2 at the low end; 1.5 is needed.",
        "It takes 3.4 m (11.2 ft) more rope than the straight way.",
        "If the redirect fails, the rope springs back 1.1 m (3.6 ft) to the main anchor's plumb.",
    )


def test_stated_defects_weaken_redirects_too():
    """Half the strength stated for the stem halves both margins, for a limb elsewhere neither; a refused or
    dead union bears no redirect."""
    graph = leaning_tree()
    tree_loads, points, work = scene_of(graph)
    main, found = screened(graph, points, work)
    said = {"who": "inspector", "why": "soft", "when": "on the day"}
    (plain, *_), (half, *_) = (
        with_all_forces(tree_loads, main, found[:1], work, o, LOOSE)
        for o in ((), (Override("defect", limb=0, value=0.5, **said),))
    )
    over = redirect_configuration(graph, found[0].way.union, LOOSE)
    mine = int(graph.limb[over.rest_node])
    other = next(
        i
        for i in range(1, len(graph.limbs))
        if not graph.above(int(graph.limbs.nodes[i][0]))[
            [over.rest_node, graph.unions.node[over.union]]
        ].any()
    )

    assert (half.margins.main, half.margins.redirect) == pytest.approx(
        (plain.margins.main / 2, plain.margins.redirect / 2)
    )
    assert strength_left(graph, [over.rest_node], [Override("defect", limb=other, value=0.5, **said)]) == 1.0
    assert (
        strength_left(graph, [over.rest_node], [Override("defect", limb=mine, value=0.5, **said)] * 2) == 0.25
    )
    for o in (
        Override("refused", union=found[0].way.label, **said),
        Override("dead", limb=mine, **said),
        Override("dead", above=0.5, **said),
    ):
        barred = barred_unions(graph, [o])
        again = redirects(at(graph, work), main, points, barred)
        assert found[0].way.union in barred
        assert all(r.way.union != found[0].way.union for r in again)


def test_a_redirect_over_a_gap_is_said_to_be_not_seen():
    """Where the scan bridged a gap below either union no figure is given, and the words say so."""
    graph = leaning_tree()
    _, points, work = scene_of(graph)
    main, found = screened(graph, points, work)
    seen = np.ones(len(graph), bool)
    seen[graph.limbs.nodes[0][4:20]] = False
    gap = assemble(graph.xyz, graph.radius, graph.parent, radius_sd=graph.radius_sd, seen=seen)
    blind = whole_tree(gap, alone(gap), wood_of("Quercus robur", AT_REST), AT_REST, 1)
    for r in with_all_forces(blind, main, found, work, (), LOOSE):
        assert not np.isfinite(r.margins.main) and not np.isfinite(r.margins.redirect)
        assert Reason("redirect_unseen", why=r.margins.unseen, union=r.way.label) in r.reasons
        assert not has(r.reasons, "redirect_margins", "redirect_margins_estimate")


def test_only_the_first_points_of_a_plan_are_checked_exactly(monkeypatch):
    """Redirects of a plan are exact up to a number of tie-in points; beyond it, and without the tree's
    loads, they are called first estimates."""
    graph = leaning_tree()
    tree_loads, points, work = scene_of(graph)
    main, _ = screened(graph, points, work)
    refused = Reason("stated_against", kind="refused", who="a", when="b", why="c")
    others = (
        TieInPoint.of(replace(p, gates=(refused,)), NOT_RANKED, (refused,))
        for p in points
        if p.union != main.union
    )
    only_main = (
        TieInPoint.of(replace(main, gates=()), replace(main.standing, rank=1), main.reasons),
        *others,
    )

    def shown(loads):
        return climb_plan(
            TreeContext(graph, alone(graph), Site(), work, LOOSE), only_main, CLIMBERS, loads
        ).redirects

    assert shown(None) and not any(r.margins.exact for _, r in shown(None))
    assert all(r.margins.holds for _, r in shown(tree_loads))
