"""Redirects, two lines, strung ropes and releasable base anchors: forces by the pencil, and the wood under them."""

import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from loads.stick_trees import PLAIN, WEIGHTLESS, checked, configuration, tree
from strategies import alone

from treescan.errors import BadInput
from treescan.geometry import angle_between
from treescan.loads.checks.base_anchor import base_anchor
from treescan.loads.checks.line_check import check_line, check_together, check_two_lines, hardest, one_line_lost
from treescan.loads.checks.redirect_check import check_redirect
from treescan.loads.judging.judged import contacts_of
from treescan.loads.rope.configuration_loads import configuration_loads
from treescan.loads.rope.strung_rope import fixed_point, hanging_between, line_tensions, rope_for_angle, strung
from treescan.loads.settings import ONE_SHARE, LoadSettings
from treescan.loads.statics.structural_model import whole_tree
from treescan.outputs.text.say import say
from treescan.units import G
from treescan.wood.topology.assemble import assemble

W = 100 * G
OAK = [(9.0, 0, 30, 3.0, 0.20, 0.10), (7.0, 90, 20, 3.5, 0.18, 0.08), (8.5, 180, 20, 3.0, 0.20, 0.10)]


def whole(graph, wood=PLAIN, **changes):
    return whole_tree(graph, alone(graph), wood, LoadSettings(**changes))


@pytest.mark.parametrize("system", ["MRS", "SRS canopy", "SRS basal"])
def test_redirect_bears_both_legs_and_turns_the_main_anchors_load(system):
    """The redirect bears 2 sin(turn / 2) times the pull along the halving of its legs; the main anchor is pulled toward the redirect."""
    graph = tree(OAK)
    t = whole(graph, cases=("at rest",))
    main, over = configuration(graph, "U03", system), configuration(graph, "U01", "MRS", distance=1.5)
    found = check_redirect(t, main, over, np.zeros((0, 3)))
    assert found.reason is None
    assert np.linalg.norm(found.redirect_force) == pytest.approx(2 * np.sin(found.turn / 2) * W, rel=1e-6)
    a, b = (contacts_of(t, r)[-1].point for r in (main, over))
    if system != "SRS basal":
        assert np.linalg.norm(found.main_force) == pytest.approx(W, rel=1e-6)
        cosine = found.main_force @ (b - a) / (W * np.linalg.norm(b - a))
        assert cosine == pytest.approx(1.0, abs=0.02)  # from bark to bark, not axis to axis
    else:
        assert np.linalg.norm(found.main_force) > 1.2 * W


def test_redirect_on_a_thin_limb_governs():
    """Where the redirect hangs on the thinner wood, the weakest section is below it and the margin that of the redirect."""
    graph = tree([(9.0, 0, 30, 3.0, 0.26, 0.15), (7.0, 90, 20, 3.5, 0.07, 0.05)])
    t = whole(graph, strength_model=ONE_SHARE)  # narrow tails: no other wood is ever the weaker
    found = check_redirect(t, configuration(graph, "U02", "MRS"), configuration(graph, "U01", "MRS", distance=1.0), np.array([[0.0, 3.0, 3.0]]))
    (without,) = checked(graph, [configuration(graph, "U02", "MRS")], work=[[0.0, 3.0, 3.0]], strength_model=ONE_SHARE)
    assert found.at_redirect
    assert found.margin.p5 < without.check.margin.p5
    assert found.exceptional.p5 <= found.margin.p5
    assert found.redirect_margin.p5 == pytest.approx(found.margin.p5)
    assert found.main_margin.p5 > 1.5 * found.redirect_margin.p5


def test_redirect_over_what_was_not_seen_gives_no_number():
    """A gap below the redirect is a gap on the load path."""
    graph = tree(OAK)
    seen = np.ones(len(graph), bool)
    limb = graph.unions.arm_limb[graph.unions.laterals(graph.unions.index("U01"))[0]]
    seen[graph.limbs.nodes[limb][1]] = False
    graph = assemble(graph.xyz, graph.radius, graph.parent, radius_sd=graph.radius_sd, seen=seen)
    found = check_redirect(whole(graph), configuration(graph, "U03", "MRS"), configuration(graph, "U01", "MRS", distance=1.8), np.zeros((0, 3)))
    assert found.reason.code == "gap_bridged"
    assert not found.margin.known


def test_a_line_straight_down_is_the_check_at_rest():
    """One line with the weight straight below is the anchor check's case at rest, with the same margin."""
    graph = tree(OAK)
    (check,) = checked(graph, [configuration(graph, "U03", "SRS canopy")], cases=("at rest",))
    t = whole(graph)
    top = contacts_of(t, configuration(graph, "U03", "SRS canopy"))[-1].point
    found = check_line(t, configuration(graph, "U03", "SRS canopy"), top - [0, 0, 5.0], W)
    assert found.force == pytest.approx(check.force, abs=0.02 * W)  # one hangs from the bark, the other straight below the axis
    assert found.margin.p5 == pytest.approx(check.check.margin.p5, rel=0.05)
    assert found.mode == check.check.mode


def test_a_line_upward_is_refused():
    """A point above the anchor is no pull of a line under load."""
    graph = tree(OAK)
    with pytest.raises(BadInput, match="downward"):
        check_line(whole(graph), configuration(graph, "U03", "SRS canopy"), np.array([5.0, 0, 30.0]), W)


@pytest.mark.parametrize("report", ["limb 1 dead", "stem decay", "U03 crack"])
def test_a_line_on_reported_wood_gives_the_reason_and_no_margin(report):
    """Wood that a report forbids as an anchor forbids it to a line too: its reason, and no figure that could pass for a margin."""
    graph = tree([(9.0, 0, 30, 3.0, 0.20, 0.10)] if report.startswith("limb") else OAK)
    r = configuration(graph, "U01" if report.startswith("limb") else "U03", "SRS canopy")
    (check,) = checked(graph, [r], reported=(report,))
    t = whole(graph, reported=(report,))
    found = check_line(t, r, contacts_of(t, r)[-1].point - [0, 0, 5.0], W)
    assert check.check.verdict == "does not hold"
    assert found.gate["report"] == report
    assert found.reason == found.gate == check.check.reason
    assert not found.margin.known


def test_a_line_on_wood_that_could_not_stand_as_read_gives_no_margin():
    """A limb that, as read, could not carry itself was misread: not seen, for a line as for an anchor."""
    graph = tree([(9.0, 0, 0, 12.0, 0.05, 0.05), (10.5, 180, 30, 2.0, 0.15, 0.10)])
    r = configuration(graph, "U01", "SRS canopy")
    (check,) = checked(graph, [r])
    t = whole(graph)
    found = check_line(t, r, contacts_of(t, r)[-1].point - [0, 0, 5.0], W)
    assert check.check.verdict == "not seen"
    assert found.reason == check.check.reason
    assert not found.margin.known


def test_two_lines_in_one_tree_are_each_judged_by_their_share():
    """Half-way between two anchors of the same height both bear W / (2 cos a); together their plumb parts carry the weight."""
    graph = tree(OAK)
    t = whole(graph, WEIGHTLESS)
    configurations = [configuration(graph, "U02", "SRS canopy", distance=2.0), configuration(graph, "U03", "SRS canopy", distance=2.0)]
    anchors = np.array([contacts_of(t, r)[-1].point for r in configurations])
    lines = hanging_between(anchors, anchors.mean(axis=0) - [0, 0, 3.0], W)
    found = check_two_lines(t, configurations, lines, factor=1.5)
    a, b = found.first, found.second
    assert a.force[2] + b.force[2] == pytest.approx(-1.5 * W, rel=0.02)
    assert a.margin.known
    assert b.margin.known
    alone_ = check_line(t, configurations[0], anchors[0] - [0, 0, 3.0], 1.5 * W)
    assert a.margin.median > alone_.margin.median  # it shares


def test_wood_below_two_lines_bears_both_at_once():
    """Two level pulls that cancel leave the stem below them in peace, however hard each pulls: judged one by one it would bend."""
    graph = tree([(9.0, 0, 30, 3.0, 0.20, 0.10), (9.0, 180, 30, 3.0, 0.20, 0.10)], stem=0.24, top=0.20)
    t = whole(graph, WEIGHTLESS)
    row = graph.unions.index("U01")
    arms = graph.unions.laterals(row)
    configurations = [replace(configuration(graph, "U01", "SRS canopy", distance=1.5), rest_node=int(graph.unions.arm_node[a])) for a in arms[:2]]
    anchors = np.array([contacts_of(t, r)[-1].point for r in configurations])
    lines = hanging_between(anchors, anchors.mean(axis=0) - [0, 0, 1.2], W)
    assert lines.tension == pytest.approx(lines.tension[::-1])
    found = check_two_lines(t, configurations, lines, factor=1.0)
    one = check_line(t, configurations[0], lines.place, float(lines.tension[0]))
    assert graph.limb[found.meet] == 0
    assert graph.limb[one.governing] == 0  # the level pull at 9 m bends the thin stem at its foot
    assert found.common.margin.p5 > 5 * one.margin.p5
    assert found.common.force == pytest.approx([0, 0, -W], abs=0.06 * W)  # from bark to bark, not axis to axis


@pytest.mark.parametrize("report", ["limb 2 dead", "stem decay"])
def test_two_lines_over_reported_wood_get_the_reason_where_it_lies(report):
    """A dead limb forbids its own line, a decayed stem both."""
    graph = tree(OAK)
    t = whole(graph, reported=(report,))
    configurations = [configuration(graph, "U02", "SRS canopy", distance=2.0), configuration(graph, "U03", "SRS canopy", distance=2.0)]
    assert {int(graph.limb[r.rest_node]) for r in configurations} == {2, 3} or report != "limb 2 dead"
    anchors = np.array([contacts_of(t, r)[-1].point for r in configurations])
    found = check_two_lines(t, configurations, hanging_between(anchors, anchors.mean(axis=0) - [0, 0, 3.0], W), factor=1.0)
    gates = [c.gate is not None for c in (found.first, found.second, found.common)]
    if report == "stem decay":
        assert gates[2]
    else:
        assert gates == [int(graph.limb[r.rest_node]) == 2 for r in configurations] + [False]


def test_the_hardest_case_of_a_line_is_that_of_the_settings():
    """Where a rope hangs plumb two people count 1.5 times, at a place of work as they are; fewer cases, less; none asked for, the weight."""
    assert hardest(LoadSettings(), at_work=False) == ("rescue", pytest.approx(3.0))
    assert hardest(LoadSettings(rescue_mass=50.0), at_work=True) == ("work positioning", pytest.approx(1.5))
    assert hardest(LoadSettings(rescue_mass=150.0), at_work=True) == ("rescue", pytest.approx(2.5))
    assert hardest(LoadSettings(cases=("ascent",)), at_work=False) == ("ascent", pytest.approx(1.5))
    assert hardest(LoadSettings(cases=("ascent",)), at_work=True) == ("at rest", 1.0)


def test_a_flat_strung_rope_loads_its_anchors_many_times():
    """The flatter the rope between two trees, the less the margin of its anchors; beyond 120 degrees each bears more than the load."""
    graph = tree(OAK)
    t = whole(graph)
    r = configuration(graph, "U03", "SRS canopy", distance=1.0)
    here = contacts_of(t, r)[-1].point
    there = here + np.array([12.0, 0, 0])
    margins = []
    for rope in (16.0, 13.0, 12.2):
        lines = strung(np.array([here, there]), rope, W)
        margins.append(check_line(t, r, lines.place, float(lines.tension[0])).margin.median)
        assert lines.flat == (np.linalg.norm(check_line(t, r, lines.place, float(lines.tension[0])).force) > W)
    assert margins[0] > margins[1] > margins[2]


def test_one_line_lost_swings_the_whole_weight_onto_the_other():
    """When the other line goes, the climber swings: 3 - 2 cos a times the weight and L (1 - cos a) of fall (pendulum)."""
    graph = tree(OAK)
    t = whole(graph)
    r = configuration(graph, "U03", "SRS canopy")
    anchor = contacts_of(t, r)[-1].point
    place = anchor + 4.0 * np.array([np.sin(0.7), 0.0, -np.cos(0.7)])
    lines = hanging_between([anchor, place + np.array([3.0, 0, 4.0])], place, W)
    found = one_line_lost(t, r, lines)
    assert found.drop == pytest.approx(4.0 * (1 - np.cos(0.7)))
    assert found.sideways == pytest.approx(4.0 * np.sin(0.7))
    assert found.speed == pytest.approx(np.sqrt(2 * G * found.drop))
    assert found.low == pytest.approx(anchor - [0, 0, 4.0])
    assert found.peak == pytest.approx(1.3 * W * (3 - 2 * np.cos(0.7)), rel=1e-6)
    assert np.linalg.norm(found.check.force) == pytest.approx(found.peak, rel=1e-6)


def test_lowering_from_the_base_loads_less_and_hauling_more():
    """A base that lowers loads the union at most twice, one that hauls more than twice: 1 -+ exp(-+ mu beta) of the leg, legs parallel."""
    graph = tree(OAK)
    t = whole(graph)
    r = configuration(graph, "U03", "SRS basal")
    contacts = contacts_of(t, r)
    loads = configuration_loads(r.system, r.hardware, contacts, np.asarray(r.base), 0.0, np.zeros((0, 3)), t.settings)
    found = base_anchor(loads, r.hardware, len(contacts) - 1, t.settings)
    assert 1.0 < found.lowering < found.hanging <= 2.0 < found.hauling
    low, _, high = t.settings.mu_bark
    beta = loads.turn[0, -1]
    gap = float(angle_between(*loads.leg_toward[0, -1]))
    for share, value in ((np.exp(-low * beta), found.lowering), (np.exp(high * beta), found.hauling)):
        assert value == pytest.approx(np.sqrt(1 + share**2 + 2 * share * np.cos(gap)), rel=1e-9)
    assert np.linalg.norm(found.pull) == pytest.approx(loads.pulls.most[0])
    assert loads.pulls.most[0] == pytest.approx(1.5 * 2 * 100 * G, rel=1e-3)  # the hard end of two people
    assert found.pull[2] > 0  # upward
    (check,) = checked(graph, [r])
    (note,) = [n for n in check.check.notes if n.code == "base_lowering_hauling"]
    assert (note["lowering"], note["hauling"]) == (found.lowering, found.hauling)


@pytest.mark.parametrize("slope", [40, 75])
def test_the_base_is_told_its_hardest_pull_from_any_place(slope):
    """What a base is tied to feels the largest pull of all places and cases, not only of the place that governs the wood; the exceptional one is
    told beside it, and "up to" is never less than the sum."""
    graph = tree([(8.0, 0, slope, 4.0, 0.16, 0.10)])
    t = whole(graph)
    r = configuration(graph, "U01", "SRS basal", distance=1.5)
    x, z = 1.5 * np.cos(np.radians(slope)), 8 + 1.5 * np.sin(np.radians(slope))
    work = np.array([[x, 3.0, z - 3.2], [x + 1.0, 0.5, z - 6.0]])
    loads = configuration_loads(r.system, r.hardware, contacts_of(t, r), np.asarray(r.base), 0.0, work, t.settings)
    found = base_anchor(loads, r.hardware, 0, t.settings)
    assert np.linalg.norm(found.pull) == pytest.approx(loads.pulls.most.max())
    assert np.linalg.norm(found.hard_pull) == pytest.approx(loads.pulls.hard.max())
    (check,) = checked(graph, [r], work=work)
    (note,) = [n for n in check.check.notes if n.code == "base_anchor_pulled"]
    told = [float(x) for x in re.findall(r"(\d+\.\d) kN", say(note))]
    assert told == pytest.approx([note["at_most"] / 1000, note["shock_at_most"] / 1000])
    for kn, most in zip(told, (loads.pulls.most.max(), loads.pulls.hard.max()), strict=True):
        assert most / 1000 <= kn + 1e-9 < most / 1000 + 0.1 + 1e-9


def test_a_pre_load_left_in_the_anchor_leg_pulls_the_base_too():
    """Three times the weight left in the leg by the test is what the base feels, more than the climber's own pull at rest."""
    graph = tree(OAK)
    t = whole_tree(graph, alone(graph), PLAIN, LoadSettings(cases=("at rest",), preload=3.0))
    r = configuration(graph, "U03", "SRS basal")
    loads = configuration_loads(r.system, r.hardware, contacts_of(t, r), np.asarray(r.base), 0.0, np.zeros((0, 3)), t.settings)
    assert np.linalg.norm(base_anchor(loads, r.hardware, 0, t.settings).pull) == pytest.approx(3 * W)


def test_lines_out_of_their_plane_still_carry_all_the_weight():
    """A climber pulled out of the plumb plane of two lines: their plumb parts are the weight, the level rest is left to the feet, and no other
    pair of pulls leaves less of it."""
    anchors, place = np.array([[-2.0, 0, 6.0], [3.0, 0, 7.0]]), np.array([0.3, 1.2, 1.0])
    found = hanging_between(anchors, place, W)
    u = (anchors - place) / np.linalg.norm(anchors - place, axis=1, keepdims=True)
    assert found.tension @ u[:, 2] == pytest.approx(W)
    assert found.sideways == pytest.approx(np.hypot(*(found.tension @ u)[:2]))
    for more in (0.9, 0.99, 1.01, 1.1):
        first = more * found.tension[0]
        other = np.array([first, (W - first * u[0, 2]) / u[1, 2]])
        assert np.hypot(*(other @ u)[:2]) > found.sideways


def test_a_line_that_would_push_hangs_slack():
    """Out beyond both anchors the steeper line carries all, as one line does for a climber braced at the feet: W / cos of its angle."""
    anchors, place = np.array([[0.0, 0, 8.0], [4.0, 0, 8.0]]), np.array([6.0, 0, 4.0])
    found = hanging_between(anchors, place, W)
    assert found.tension == pytest.approx([0.0, W / np.cos(np.arctan2(2, 4))])
    assert found.sideways == pytest.approx(W * 0.5)
    with pytest.raises(ValueError, match="above"):
        hanging_between(anchors, [2.0, 0, 9.0], W)


@given(hnp.arrays(float, (2, 3), elements=st.floats(-8, 8)), hnp.arrays(float, 3, elements=st.floats(-8, 8)))
def test_two_lines_carry_the_weight_wherever_one_can(anchors, place):
    """Neither line pushes, their plumb parts are the weight, and where neither anchor lies above the load there is no answer."""
    legs = anchors - place
    length = np.linalg.norm(legs, axis=1)
    assume((length > 0.5).all())
    z = legs[:, 2] / length
    assume((np.abs(z) > 0.02).all())
    (t,) = line_tensions(anchors, place, W)
    if (z < 0).all():
        assert np.isnan(t).all()
    else:
        assert (t >= 0).all()
        assert t @ z == pytest.approx(W, rel=1e-6)


@pytest.mark.parametrize("between", [60.0, 90.0, 119.0])
def test_a_rope_strung_to_an_angle_meets_at_it_and_a_fixed_point_too(between):
    """A load that runs freely on the rope found for an angle makes that angle; so do two lines to the fixed point; level anchors, one place."""
    for rise in (0.0, 2.0):
        a = np.array([[0.0, 0, 10.0], [9.0, 3.0, 10.0 + rise]])
        free = strung(a, rope_for_angle(a, np.deg2rad(between)), W)
        fixed = [hanging_between(a, fixed_point(a, np.deg2rad(between), share), W) for share in (0.3, 0.5, 0.7)]
        assert [np.rad2deg(x.between) for x in (free, *fixed)] == pytest.approx([between] * 4, abs=1e-5)
        assert free.tension[0] == pytest.approx(free.tension[1])
        if rise == 0.0:
            assert free.place == pytest.approx(fixed[1].place, abs=1e-5)
            assert fixed[0].place[2] > free.place[2]


def test_two_lines_on_stems_that_part_at_the_ground_share_no_wood():
    """Nothing carries both: the weaker one stands for the common wood, and the lines meet at the foot."""
    one, other = [(0, 0, z) for z in range(13)], [(0.2 * z, 0, z) for z in range(1, 13)]
    limbs = [(-1.2, 0, 9.4), (-2.4, 0, 9.8)], [(3.0, 0, 9.4), (4.2, 0, 9.8)]
    xyz = np.array([*one, *other, *limbs[0], *limbs[1]], float)
    parent = [-1, *range(12), 0, *range(13, 24), 9, 25, 21, 27]
    radius = np.array([0.2 - 0.007 * z for z in range(13)] + [0.16 - 0.006 * z for z in range(1, 13)] + [0.07, 0.05, 0.06, 0.04])
    graph = assemble(xyz, radius, parent)
    t = whole(graph, WEIGHTLESS)
    names = [graph.unions.label[k] for k in range(len(graph.unions)) if graph.unions.place[k, 2] > 5]
    configurations = [configuration(graph, name, "SRS canopy", distance=0.5) for name in names]
    anchors = np.array([contacts_of(t, r)[-1].point for r in configurations])
    lines = hanging_between(anchors, anchors.mean(axis=0) - [0, 0, 2.0], W)
    found = check_two_lines(t, configurations, lines, factor=1.0)
    both = check_together(t, configurations, anchors - [0, 0, 2.0], (W, W))

    assert len(names) == 2
    assert found.meet == 0
    assert found.common.margin == min(found.first.margin, found.second.margin, key=lambda m: m.p5)
    assert both.margin.known
