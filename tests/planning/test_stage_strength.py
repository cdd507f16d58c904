"""What an anchor bears in the tree as it stands at one cut."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hands import S, ranked, throw, tree
from loads.stick_trees import PLAIN
from loads.stick_trees import tree as sticks
from strategies import alone

from treescan.loads.checks.anchor import check_anchor
from treescan.loads.fall.failure_chain import failure_chain
from treescan.loads.rope.contacts import at_node
from treescan.loads.settings import LoadSettings
from treescan.loads.statics.structural_model import after_cuts, whole_tree
from treescan.planning.ranking.overrides import Override
from treescan.planning.removal.removal_plan import removal_plan, support_then
from treescan.planning.removal.stage_strength import StageLoads
from treescan.planning.tree_context import TreeContext
from treescan.planning.work.removal import Removal, cut_limb, cut_stem, standing
from treescan.planning.work.work_points import default_work
from treescan.reason import Reason, has
from treescan.trees.beside import Conductor, Site
from treescan.units import G

STEM = ([[0, 0, 0], [0, 0, 14]], 0.25, 0.12)
ANCHOR = ([[0, 0, 9], [2.5, 0, 11.5]], 0.09, 0.04)
HEAVY = ([[0, 0, 7], [-6, 0, 8]], 0.14, 0.08)
FAR_SIDE = ([[0, 0, 4], [6, 0, 5]], 0.16, 0.10)


def model(graph, **changes):
    return whole_tree(graph, alone(graph), PLAIN, LoadSettings(**changes))


def anchors(graph, **kind):
    return ranked(graph, [throw(graph, k) for k in range(len(graph.unions))], **kind)


def at_height(points, graph, z):
    return next(p for p in points if abs(float(graph.unions.height[p.union]) - z) < 0.3)


def stage_loads(graph, removal, overrides=(), **changes):
    work = default_work(graph, alone(graph), S)
    return StageLoads.of(model(graph, **changes), removal, work.xyz[:0], overrides, S)


def limb_from(graph, z):
    """The limb that leaves the stem at a height."""
    return next(
        k
        for k in range(1, len(graph.limbs))
        if abs(float(graph.xyz[graph.parent[graph.limbs.nodes[k][0]], 2]) - z) < 0.3
    )


def test_the_whole_tree_is_unchanged():
    """Where nothing was cut every section weighs and bears what it did, to the bit."""
    graph = tree(STEM, ANCHOR, HEAVY)
    whole = model(graph)
    same = after_cuts(whole, np.ones(len(graph)), np.zeros(len(graph), bool))

    for name in ("weight", "own_moment", "own_use"):
        assert np.array_equal(getattr(same.sections, name), getattr(whole.sections, name), equal_nan=True)
    assert np.array_equal(same.stops, whole.stops) and np.array_equal(same.leaves_limbs, whole.leaves_limbs)


def test_what_is_left_weighs_by_hand():
    """At the foot: the whole weight less that of the piece; a limb cut 2 m out loses the cone beyond. Twigs are weighed with limbs alone."""
    graph = tree(STEM, HEAVY, step=0.1)
    limb, whole = limb_from(graph, 7), model(graph)
    cut = cut_limb(graph, limb, at=2.0)
    after = standing(graph, Removal((cut,)))[1]
    now = after_cuts(whole, after.left, after.gone)
    length = float(np.hypot(6, 1))
    out = float(np.linalg.norm(cut.place(graph) - [0, 0, 7]))
    r = 0.14 - 0.06 * out / length
    by_hand = np.pi / 3 * (length - out) * (r * r + r * 0.08 + 0.0064) * PLAIN.density * (1 + LoadSettings().twig_share) * G
    foot = int(graph.limbs.nodes[0][1])

    assert whole.sections.weight[foot] - now.sections.weight[foot] == pytest.approx(by_hand, rel=2e-3)


@pytest.mark.parametrize("system", ["MRS", "SRS canopy"])
def test_an_anchor_bears_what_it_bears_on_a_tree_that_never_had_the_limb(system):
    """A limb cut off at its union, against the same tree made without it: the same low end, middle and weakest wood, within 1 %."""
    whole, without = tree(STEM, ANCHOR, HEAVY, step=0.1), tree(STEM, ANCHOR, step=0.1)
    removal = Removal((cut_limb(whole, limb_from(whole, 7)),))
    point = at_height(anchors(whole, systems=(system,)), whole, 9)
    then = stage_loads(whole, removal)._check(1, point).check
    alike = at_height(anchors(without, systems=(system,)), without, 9).check.configuration
    work = np.array([removal.cuts[0].place(whole)])
    fresh = check_anchor(model(without), alike, work, narrower=True).check

    assert then.margin.p5 == pytest.approx(fresh.margin.p5, rel=0.01)
    assert then.margin.median == pytest.approx(fresh.margin.median, rel=0.01)
    assert whole.xyz[then.governing, 2] == pytest.approx(without.xyz[fresh.governing, 2], abs=0.11)


LEANING = ([[0, 0, 0], [4.0, 0, 14]], 0.12, 0.06)
LOW_ANCHOR = ([[1.714, 0, 6], [3.2, 0, 7.5]], 0.09, 0.05)


@pytest.mark.parametrize(("tip", "weaker"), [(-9.0, True), (7.0, False)])
def test_weight_that_comes_off_counts_where_it_hurts_and_not_before_it_is_off(tip, weaker):
    """A leaning stem, hung on below a heavy limb. A limb that balanced the lean: without it the stem is bent more, and the lower figure is
    told. A limb on the side of the lean: the cut relieves the stem, and the figure of before the cut is told."""
    graph = tree(LEANING, LOW_ANCHOR, ([[2.571, 0, 9], [tip, 0, 10]], 0.09, 0.05), step=0.1)
    at = stage_loads(graph, Removal((cut_limb(graph, limb_from(graph, 9)),)))
    point = at_height(anchors(graph), graph, 6)
    before, after, told = at._check(0, point).check.margin, at._check(1, point).check.margin, at.at_cut(1, point)

    assert (after.p5 < 0.98 * before.p5) if weaker else (after.p5 > 1.02 * before.p5)
    assert told.margin == (after if weaker else before)


def test_nothing_catches_on_a_limb_that_is_gone():
    """Two level limbs above each other, a basal line over the upper one, base and climber either side: the lower one catches; once it is
    cut off, nothing does before the ground."""
    graph = sticks([(8.0, 0, 0, 3.0, 0.14, 0.14), (6.5, 0, 0, 3.0, 0.2, 0.2)], stem=0.5, top=0.3)
    upper, lower = (limb_from(graph, z) for z in (8, 6.5))
    node = int(graph.limbs.nodes[upper][1])
    contact, whole = at_node(graph, node, np.array([1.0, 0.0, 8.0])), model(graph)
    cut = standing(graph, Removal((cut_limb(graph, lower),)))[1]
    base, climber, breaks = np.array([1.0, -1.0, 0.0]), np.array([1.0, 1.5, 5.5]), int(graph.limbs.nodes[upper][0])
    first = failure_chain(whole, True, [contact], climber, base, breaks)
    then = failure_chain(after_cuts(whole, cut.left, cut.gone), True, [contact], climber, base, breaks)

    assert not first.catches[0].ground
    assert then.catches[0].ground and then.reason is not None


def test_what_was_refused_stays_refused_and_stated_defects_weaken():
    """No cut makes an anchor better that was refused; a defect that leaves half leaves half at every cut."""
    graph = tree(STEM, ANCHOR, HEAVY)
    removal = Removal((cut_limb(graph, limb_from(graph, 7)),))
    point = at_height(anchors(graph), graph, 9)
    refused, idle = (replace(point, gates=(Reason(code),)) for code in ("dead_suspect", "serves_no_work"))
    half = Override("defect", "A", "crack", "now", union=point.label, value=0.5)
    sound, weak = (stage_loads(graph, removal, o).at_cut(1, point) for o in ((), (half,)))

    assert not stage_loads(graph, removal).at_cut(1, refused).holds
    assert stage_loads(graph, removal).at_cut(1, idle).holds
    assert weak.margin.p5 == pytest.approx(0.5 * sound.margin.p5)


def plan_of(graph, removal, points, loads=None, site=None, overrides=()):
    context = TreeContext(graph, alone(graph), site or Site(), default_work(graph, alone(graph), S), S)
    return removal_plan(context, points, removal, PLAIN.density, loads, overrides)


def test_life_support_that_fails_then_is_an_alarm_and_is_not_offered():
    """A thin leaning stem that holds in nobody's sums: hung on by plan it is an alarm with why; it is not among those to hang on."""
    graph = tree(([[0, 0, 0], [2.0, 0, 14]], 0.09, 0.04), ([[1.3, 0, 9], [2.6, 0, 10.5]], 0.035, 0.02), ([[0.6, 0, 4], [-1.5, 0, 5]], 0.04, 0.02), step=0.1)
    points = anchors(graph, settings=replace(S, min_limb=0.03, min_candidate_diameter=0.03))
    point = at_height([p for p in points if p.usable], graph, 9)
    (stage,) = plan_of(graph, Removal((cut_limb(graph, limb_from(graph, 4)),), (point.label,)), points, model(graph))

    assert has(stage.alarms, "support_fails_then")
    assert point.name not in stage.hang and not any(s.name == point.name for s in stage.offered)
    assert [s.name for s in stage.support] == [p.name for p in points if p.label == point.label and p.usable]


def test_anchors_offered_hold_then_and_carry_their_figures():
    """Every anchor offered was judged in the tree as it then stands; the sentence names each with both low ends."""
    graph = tree(STEM, ANCHOR, HEAVY)
    (stage,) = plan_of(graph, Removal((cut_limb(graph, limb_from(graph, 7)),)), anchors(graph), model(graph))

    assert stage.offered and stage.hang == tuple(s.name for s in stage.offered)
    assert all(s.holds and s.margin.known for s in stage.offered)
    (told,) = [r for r in stage.reasons() if r.code == "cut_strengths"]
    assert [r["anchor"] for r in told["anchors"]] == list(stage.hang)


def test_an_anchor_drawn_in_another_tree_is_offered_where_its_rope_reaches():
    """Overhead it is offered, 70 degrees from plumb it is not."""
    graph = tree(STEM, ANCHOR, HEAVY)
    site = Site(anchors=(("the oak", (-4.0, 1.0, 18.0)), ("the far one", (-40.0, 0.0, 18.0))))
    (stage,) = plan_of(graph, Removal((cut_limb(graph, limb_from(graph, 7), at=3.0),)), anchors(graph), model(graph), site)

    assert stage.elsewhere == ("the oak",)


def test_a_rope_from_above_the_limit_is_told():
    """Life support below the cut: no straight rope serves it, told with the angle."""
    graph = tree(STEM, ANCHOR, HEAVY)
    points = anchors(graph)
    low = at_height([p for p in points if p.usable], graph, 9)
    (stage,) = plan_of(graph, Removal((cut_stem(graph, 13.0),), (low.name,)), points, model(graph))

    assert has(stage.alarms, "support_not_straight")


def test_a_doubt_is_told_once_and_a_refusal_silences_it():
    """Against and doubt never stand together."""
    graph = tree(STEM, ANCHOR, HEAVY)
    at = stage_loads(graph, Removal((cut_limb(graph, limb_from(graph, 7)),)))
    found = at.at_cut(1, at_height(anchors(graph), graph, 9))
    doubted = replace(found, doubt=Reason("margin_doubtful_then", low=1.2, whole=1.6, asked=1.5))
    both = replace(doubted, against=Reason("margin_low_then", low=0.9, middle=2.0, asked=1.0))

    assert [r.code for r in support_then([found, doubted, both])] == ["support_doubtful_then", "support_fails_then"]


def test_alarms_stand_in_the_order_in_which_they_kill():
    """Life support on the piece first, then the wire, then the road to close off."""
    graph = tree(STEM, ANCHOR, HEAVY)
    site = Site(
        conductors=(Conductor(np.array([[-8.0, -50, 8], [-8.0, 50, 8]]), 20e3),), roads=(np.array([[-9.0, -9], [-4, -9], [-4, 9], [-9, 9.0]]),)
    )
    k = int(np.argmin(np.abs(graph.unions.height - 7)))
    cut = cut_limb(graph, limb_from(graph, 7))
    (stage,) = plan_of(graph, Removal((cut,), (graph.unions.label[k],)), anchors(graph), model(graph), site)
    codes = [a.code for a in stage.alarms]

    assert codes[0] in {"support_on_piece", "support_refused"}
    assert codes.index("support_on_piece") < codes.index("piece_near_conductor") < codes.index("piece_over_area")


def test_a_rope_from_another_tree_is_told_where_it_hangs_too_far_from_plumb():
    """Planned on an anchor 8 m beside and 4 m over the cut: 63 degrees."""
    graph = tree(STEM, ANCHOR, HEAVY)
    site = Site(anchors=(("the oak", (8.0, 0.0, 17.0)),))
    (stage,) = plan_of(graph, Removal((cut_stem(graph, 13.0),), ("the oak",)), anchors(graph), model(graph), site)
    (why,) = [a["why"] for a in stage.alarms if a.code == "support_not_straight"]

    assert why.code == "rope_far_from_plumb"
    assert why["angle"] == pytest.approx(np.arctan2(8, 4), abs=0.01)
    assert has(stage.alarms, "support_in_other_tree")
