"""Redirects, two lines, strung ropes and releasable base anchors: forces by the pencil, and the wood under them."""

import numpy as np
import pytest
from loads.stick_trees import PLAIN, WEIGHTLESS, checked, rig, tree
from strategies import alone

from treescan.errors import BadInput
from treescan.geometry import angle_between
from treescan.loads.anchor import contacts_of, whole_tree
from treescan.loads.base_anchor import base_anchor
from treescan.loads.line_check import check_line, check_two_lines, one_line_lost
from treescan.loads.redirect_check import check_redirect
from treescan.loads.rig_loads import rig_loads
from treescan.loads.settings import LoadSettings
from treescan.loads.strung_rope import hanging_between, strung
from treescan.units import G
from treescan.wood.assemble import assemble

W = 100 * G
OAK = [(9.0, 0, 30, 3.0, 0.20, 0.10), (7.0, 90, 20, 3.5, 0.18, 0.08), (8.5, 180, 20, 3.0, 0.20, 0.10)]


def whole(graph, wood=PLAIN, **changes):
    return whole_tree(graph, alone(graph), wood, LoadSettings(**changes))


@pytest.mark.parametrize("system", ["MRS", "SRS canopy", "SRS basal"])
def test_redirect_bears_both_legs_and_turns_the_main_anchors_load(system):
    """The redirect bears 2 sin(turn / 2) times the pull along the halving of its legs; the main anchor is pulled toward the redirect."""
    graph = tree(OAK)
    t = whole(graph, cases=("at rest",))
    main, over = rig(graph, "U03", system), rig(graph, "U01", "MRS", distance=1.5)
    found = check_redirect(t, main, over, np.zeros((0, 3)))
    assert found.reason == ""
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
    t = whole(graph)
    found = check_redirect(t, rig(graph, "U02", "MRS"), rig(graph, "U01", "MRS", distance=1.0), np.array([[0.0, 3.0, 3.0]]))
    (without,) = checked(graph, [rig(graph, "U02", "MRS")], work=[[0.0, 3.0, 3.0]])
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
    found = check_redirect(whole(graph), rig(graph, "U03", "MRS"), rig(graph, "U01", "MRS", distance=1.8), np.zeros((0, 3)))
    assert found.reason.startswith("Not seen")
    assert not found.margin.known


def test_a_line_straight_down_is_the_check_at_rest():
    """One line with the weight straight below is the anchor check's case at rest, with the same margin."""
    graph = tree(OAK)
    (check,) = checked(graph, [rig(graph, "U03", "SRS canopy")], cases=("at rest",))
    t = whole(graph)
    top = contacts_of(t, rig(graph, "U03", "SRS canopy"))[-1].point
    found = check_line(t, rig(graph, "U03", "SRS canopy"), top - [0, 0, 5.0], W)
    assert found.force == pytest.approx(check.force, abs=0.02 * W)  # one hangs from the bark, the other straight below the axis
    assert found.margin.p5 == pytest.approx(check.check.margin.p5, rel=0.05)
    assert found.mode == check.check.mode


def test_a_line_upward_is_refused():
    """A point above the anchor is no pull of a line under load."""
    graph = tree(OAK)
    with pytest.raises(BadInput, match="downward"):
        check_line(whole(graph), rig(graph, "U03", "SRS canopy"), np.array([5.0, 0, 30.0]), W)


@pytest.mark.parametrize("report", ["limb 1 dead", "stem decay", "U03 crack"])
def test_a_line_on_reported_wood_gives_the_reason_and_no_margin(report):
    """Wood that a report forbids as an anchor forbids it to a line too: its reason, and no figure that could pass for a margin."""
    graph = tree([(9.0, 0, 30, 3.0, 0.20, 0.10)] if report.startswith("limb") else OAK)
    r = rig(graph, "U01" if report.startswith("limb") else "U03", "SRS canopy")
    (check,) = checked(graph, [r], reported=(report,))
    t = whole(graph, reported=(report,))
    found = check_line(t, r, contacts_of(t, r)[-1].point - [0, 0, 5.0], W)
    assert check.check.verdict == "does not hold"
    assert found.gate.startswith(report)
    assert report in found.reason
    assert not found.margin.known


def test_a_line_on_wood_that_could_not_stand_as_read_gives_no_margin():
    """A limb that, as read, could not carry itself was misread: not seen, for a line as for an anchor."""
    graph = tree([(9.0, 0, 0, 12.0, 0.05, 0.05), (10.5, 180, 30, 2.0, 0.15, 0.10)])
    r = rig(graph, "U01", "SRS canopy")
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
    rigs = [rig(graph, "U02", "SRS canopy", distance=2.0), rig(graph, "U03", "SRS canopy", distance=2.0)]
    anchors = np.array([contacts_of(t, r)[-1].point for r in rigs])
    lines = hanging_between(anchors, anchors.mean(axis=0) - [0, 0, 3.0], W)
    a, b = check_two_lines((t, t), rigs, lines, factor=1.5)
    assert a.force[2] + b.force[2] == pytest.approx(-1.5 * W, rel=0.02)
    assert a.margin.known
    assert b.margin.known
    alone_ = check_line(t, rigs[0], anchors[0] - [0, 0, 3.0], 1.5 * W)
    assert a.margin.median > alone_.margin.median  # it shares


def test_a_flat_strung_rope_loads_its_anchors_many_times():
    """The flatter the rope between two trees, the less the margin of its anchors; beyond 120 degrees each bears more than the load."""
    graph = tree(OAK)
    t = whole(graph)
    r = rig(graph, "U03", "SRS canopy", distance=1.0)
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
    r = rig(graph, "U03", "SRS canopy")
    anchor = contacts_of(t, r)[-1].point
    place = anchor + 4.0 * np.array([np.sin(0.7), 0.0, -np.cos(0.7)])
    lines = hanging_between([anchor, place + np.array([3.0, 0, 4.0])], place, W)
    found, fall = one_line_lost(t, r, lines)
    assert fall == pytest.approx(4.0 * (1 - np.cos(0.7)))
    assert np.linalg.norm(found.force) == pytest.approx(W * (3 - 2 * np.cos(0.7)), rel=1e-6)


def test_lowering_from_the_base_loads_less_and_hauling_more():
    """A base that lowers loads the union at most twice, one that hauls more than twice: 1 -+ exp(-+ mu beta) of the leg, legs parallel."""
    graph = tree(OAK)
    t = whole(graph)
    r = rig(graph, "U03", "SRS basal")
    contacts = contacts_of(t, r)
    loads = rig_loads(r.system, r.hardware, contacts, np.asarray(r.base), 0.0, np.zeros((0, 3)), t.settings)
    found = base_anchor(loads, r.hardware, 0, t.settings)
    assert 1.0 < found.lowering < found.hanging <= 2.0 < found.hauling
    low, _, high = t.settings.mu_bark
    beta = loads.turn[0, -1]
    gap = float(angle_between(*loads.leg_toward[0, -1]))
    for share, value in ((np.exp(-low * beta), found.lowering), (np.exp(high * beta), found.hauling)):
        assert value == pytest.approx(np.sqrt(1 + share**2 + 2 * share * np.cos(gap)), rel=1e-9)
    assert np.linalg.norm(found.pull) == pytest.approx(loads.pulls.tension[0])
    assert found.pull[2] > 0  # upward
    (check,) = checked(graph, [r])
    assert any("hauling a climber up" in n for n in check.check.notes)
