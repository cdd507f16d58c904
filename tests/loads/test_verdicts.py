"""Verdicts: for the work that is asked, after a test that was passed, over limbs that really hold the line; and never a better one for more force."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from loads.by_hand import margins
from loads.stick_trees import PLAIN, configuration, tree
from strategies import alone, random_tree

from treescan.loads.chance.margin_kernel import MASS
from treescan.loads.chance.overload_chance import overload_chance
from treescan.loads.chance.reliability import section_draws
from treescan.loads.checks.anchor import check_anchor, checked
from treescan.loads.hidden_defects import HIDDEN, INSPECTED, PROOFS, TESTED, UNTESTED, chance_told
from treescan.loads.judging.judged import contacts_of
from treescan.loads.judging.stout_line import stout_line
from treescan.loads.limb_check import DOUBTFUL, FAILS, HOLDS, IF_TESTED, VERDICTS, WITHIN
from treescan.loads.rope.configuration_loads import configuration_loads
from treescan.loads.settings import LoadSettings
from treescan.loads.statics.governing import governed, weakened
from treescan.loads.statics.load_path import load_path
from treescan.loads.statics.load_test_evidence import SHORT_TEST, TEST_ERROR, passed_tests
from treescan.loads.statics.structural_model import whole_tree
from treescan.reason import has

FEW = settings(max_examples=10, deadline=None)
SYSTEM = st.sampled_from(["MRS", "SRS canopy", "SRS basal"])
AROUND = np.array([[3.2 * np.cos(a), 3.2 * np.sin(a), z] for a in np.linspace(0, 2 * np.pi, 8) for z in (2.0, 4.6)])


def whole(graph, wood=PLAIN, **changes):
    return whole_tree(graph, alone(graph), wood, LoadSettings(**changes))


def bough(thick, slope=10.0):
    return tree([(8.0, 0, slope, 4.0, thick, 0.6 * thick)], stem=0.5, top=0.4, step=0.25)


@FEW
@given(system=SYSTEM, thick=st.floats(0.08, 0.2), slope=st.floats(-5, 50))
def test_a_flatter_rope_is_never_safer(system, thick, slope):
    """The narrower the angle from plumb that is asked, the greater the low side."""
    graph = bough(thick, slope)
    r = configuration(graph, "U01", system)
    low = [check_anchor(whole(graph, rope_angle_limit_deg=a), r, AROUND).check.margin.p5 for a in (10.0, 20.0, 30.0, 45.0)]
    assert all(a >= b * 0.999 for a, b in pairwise(low))


@pytest.mark.parametrize("system", ["MRS", "SRS canopy", "SRS basal"])
@pytest.mark.parametrize("thick", [0.10, 0.12, 0.14, 0.16, 0.18])
def test_the_widest_angle_that_holds_is_told(system, thick):
    """What fails or is doubtful for all the work is judged for 30, 20 and 10 degrees as if only that had been asked, and the widest that holds is the
    answer; what holds is told for the angle asked."""
    graph = bough(thick)
    r = configuration(graph, "U01", system)
    (found,) = checked(whole(graph, rescue_apart=False), [r], AROUND)
    asked = check_anchor(whole(graph), r, AROUND)
    degrees = float(np.degrees(found.within))
    if asked.check.verdict not in (FAILS, DOUBTFUL):
        assert (degrees, found.check.verdict) == (pytest.approx(45.0), asked.check.verdict)
        return
    alone_ = {a: check_anchor(whole(graph, rope_angle_limit_deg=a), r, AROUND) for a in (30.0, 20.0, 10.0)}
    good = [a for a, c in alone_.items() if c.check.verdict in (HOLDS, IF_TESTED)]
    if asked.check.verdict == FAILS:
        good = good or [a for a, c in alone_.items() if c.check.verdict == DOUBTFUL]
    if check_anchor(whole(graph), r, AROUND[:0]).check.verdict == FAILS or not good:
        assert (degrees, found.check.verdict) == (pytest.approx(45.0), asked.check.verdict)
        return
    expected = alone_[good[0]].check
    assert degrees == pytest.approx(good[0])
    assert found.check.margin == expected.margin
    assert found.check.verdict == (WITHIN if expected.verdict == HOLDS else expected.verdict)
    assert found.check.reason.code == ("holds_within" if asked.check.verdict == FAILS else "holds_within_else_doubtful")


def test_some_anchor_holds_within_an_angle():
    """The search is not empty: upright leaders, which a flat rope bends and a plumb one hardly does, fail at 45 degrees and hold nearer to plumb."""
    words = set()
    for thick in np.arange(0.08, 0.2, 0.01):
        graph = bough(float(thick), 80.0)
        r = configuration(graph, "U01", "SRS canopy", distance=3.0)
        words |= {c.check.verdict for c in checked(whole(graph), [r], AROUND) if c.within < np.deg2rad(44)}
    assert words & {WITHIN, IF_TESTED}


@FEW
@given(thick=st.floats(0.08, 0.2), slope=st.floats(-5, 30), out=st.floats(0.3, 1.0))
def test_less_load_on_the_same_wood_is_never_refused_where_more_is_passed(thick, slope, out):
    """A moving rope bears the climber once, a basal line twice. Where a basal line uses the section that governs the moving rope at least as much as that
    does, the moving rope never has the lower margin; where it does not stand worse at an abrupt stop either (a rope that has slid out is stopped out
    there), it never has the worse verdict."""
    graph = bough(thick, slope)
    t = whole(graph)
    moving, basal = (check_anchor(t, configuration(graph, "U01", s, distance=0.25 + out), AROUND) for s in ("MRS", "SRS basal"))
    once, twice = moving.check, basal.check
    at = once.governing
    if at in twice.nodes and twice.utilisation[list(twice.nodes).index(at)] >= once.utilisation[list(once.nodes).index(at)]:
        assert once.margin.p5 >= twice.margin.p5 * 0.98
        if moving.exceptional.margin.p5 >= basal.exceptional.margin.p5:
            assert VERDICTS.index(once.verdict) <= VERDICTS.index(twice.verdict)


@FEW
@given(seed=st.integers(0, 400), mass=st.floats(60, 110), more=st.floats(1.05, 1.6), system=SYSTEM)
@example(seed=292, mass=66.0, more=1.5, system="SRS canopy")
def test_on_any_tree_a_heavier_climber_or_a_wider_angle_never_gets_the_better_verdict(seed, mass, more, system):
    """Random trees, a random union of each: the same wood under less force never has the lower low side, nor the worse verdict."""
    graph = random_tree(seed, height=14, dbh=0.45, limbs=6)
    k = seed % len(graph.unions)
    r = configuration(graph, graph.unions.label[k], system)
    place = graph.unions.place[k]
    work = place + np.array([[1.0, 0, -2.5], [-1.5, 1.0, -2.0], [0, -0.4, -3.0], [0.2, 0.2, -1.5]])
    light, heavy = (check_anchor(whole(graph, climber_mass=m, rescue_mass=m), r, work) for m in (mass, mass * more))
    near, wide = (check_anchor(whole(graph, climber_mass=mass, rescue_mass=mass, rope_angle_limit_deg=a), r, work) for a in (15.0, 45.0))
    few = check_anchor(whole(graph, climber_mass=mass, rescue_mass=mass, cases=("at rest", "ascent")), r, work)
    for less, more_ in ((light, heavy), (near, wide), (few, wide)):
        if less.check.margin.known and more_.check.margin.known and less.rope_slip == more_.rope_slip:
            assert less.check.margin.p5 >= more_.check.margin.p5 * (1 - 1e-9)
            assert VERDICTS.index(less.check.verdict) <= VERDICTS.index(more_.check.verdict)


@FEW
@given(thick=st.floats(0.07, 0.22), slope=st.floats(-5, 60), mass=st.floats(60, 110), more=st.floats(1.02, 1.6), system=SYSTEM)
def test_a_heavier_crew_is_never_told_to_hold_farther_out_nor_in_a_better_word(thick, slope, mass, more, system):
    """Judged nearer to plumb where it fails or is doubtful, an anchor that holds for the heavier crew holds for the lighter one out to there at least,
    and at one angle the lighter one has the higher low side."""
    graph = bough(thick, slope)
    r = configuration(graph, "U01", system)
    light, heavy = (check_anchor(whole(graph, climber_mass=m, rescue_mass=m), r, AROUND, narrower=True) for m in (mass, mass * more))
    carries = {HOLDS, WITHIN, IF_TESTED}
    if heavy.check.verdict in carries:
        assert light.check.verdict in carries and light.within >= heavy.within - 1e-9
    if heavy.check.verdict == DOUBTFUL:
        assert light.check.verdict in {*carries, DOUBTFUL}
        assert light.check.verdict != DOUBTFUL or light.within >= heavy.within - 1e-9
    if light.within == heavy.within and light.rope_slip == heavy.rope_slip:
        assert light.check.margin.p5 >= heavy.check.margin.p5 * (1 - 1e-9)


@pytest.mark.parametrize("slope", [0.0, 5.0, 8.0])
def test_slip_is_judged_under_the_load_that_causes_it(slope):
    """Two people straight below do not hang where only a pull from the side drags the rope: the margin is better than that of a rope laid there, and
    no better than that of a rope laid there for one climber."""
    graph = bough(0.18, slope)
    t = whole(graph)
    found = check_anchor(t, configuration(graph, "U01", "MRS", distance=0.5), AROUND[:2])
    assert found.rope_slip > 0.3
    far = configuration(graph, "U01", "MRS", distance=0.5 + found.rope_slip)
    before, one_climber = check_anchor(t, far, AROUND[:2]), check_anchor(whole(graph, cases=("at rest", "ascent", "work positioning")), far, AROUND[:0])
    assert before.check.margin.p5 < found.check.margin.p5 <= one_climber.check.margin.p5 * 1.02


@pytest.mark.parametrize("system", ["MRS", "SRS canopy", "SRS basal"])
@pytest.mark.parametrize("slope", [0.0, 80.0])
def test_what_does_not_hold_a_rescuer_is_told_for_one_climber(system, slope):
    """Over limbs of 7 to 20 cm: what holds two people as asked is answered as before; what fails is judged for one climber, who never holds less far
    out than two do, and is then never told to hold without a test. Two people hanging still are in it, at the low side."""
    told = {"two": 0, "one only": 0, "two nearer": 0}
    for thick in np.arange(0.07, 0.21, 0.02):
        graph = bough(float(thick), slope)
        r = configuration(graph, "U01", system, **({"distance": 3.0} if slope > 70 else {}))
        tree_ = whole(graph)
        (before,), (now,) = checked(whole(graph, rescue_apart=False), [r], AROUND), checked(tree_, [r], AROUND)
        refused = before.check.verdict == FAILS
        if now.rescued == np.inf:
            told["two"] += not refused
            assert (now.check.verdict, now.check.margin, now.within) == (before.check.verdict, before.check.margin, before.within)
            continue
        assert now.check.reason.code == "holds_one_climber"
        assert now.check.verdict in (IF_TESTED, DOUBTFUL)
        assert now.check.margin.p5 >= 1.0
        if refused:
            told["one only"] += 1
            assert now.one_climber_only and now.two_people_within == 0
            assert "rescue" not in now.cases and "load test" in now.cases
            still = check_anchor(whole(graph, cases=("load test",)), r, AROUND[:0])
            assert still.check.margin.p5 >= now.check.margin.p5 * 0.98
        else:
            told["two nearer"] += 1
            assert now.within > before.within == now.two_people_within
            assert now.check.margin.p5 <= before.check.margin.p5
    assert told["two"] and told["one only"] + told["two nearer"]


def test_a_report_is_not_lifted_for_one_climber():
    """A reported defect stays refused for one climber too; and where no second person was asked for, nothing changes."""
    graph = bough(0.1)
    r = configuration(graph, "U01", "MRS")
    (dead,) = checked(whole(graph, reported=("U01 dead",)), [r], AROUND)
    assert (dead.check.verdict, dead.rescued) == (FAILS, np.inf)
    (alone_,) = checked(whole(graph, cases=("at rest", "ascent", "work positioning", "load test")), [r], AROUND)
    assert alone_.rescued == np.inf


@pytest.mark.parametrize("report", ["U01 dead", "stem decay", "limb 1 crack"])
def test_no_proof_lifts_a_gate(report):
    """A reported defect refuses at every angle, and no load test is said to help."""
    graph = bough(0.22, 40.0)
    t = whole(graph, reported=(report,))
    for c in checked(t, [configuration(graph, "U01", s) for s in ("MRS", "SRS canopy")], AROUND):
        assert (c.check.verdict, c.check.tested, c.within) == (FAILS, (), pytest.approx(np.deg2rad(45.0)))


@FEW
@given(system=SYSTEM, thick=st.floats(0.1, 0.24), slope=st.floats(-5, 50))
def test_more_proof_never_lowers(system, thick, slope):
    """Untested, tested as hard as the climb, half as hard again: the low side rises, the chance falls; and no chance is told below its floor."""
    graph = bough(thick, slope)
    c = check_anchor(whole(graph), configuration(graph, "U01", system), AROUND).check
    if not c.tested:
        assert c.verdict == FAILS
        return
    low = [c.margin.p5, *(t.low for t in c.tested)]
    chance = [c.overload_chance, *(t.overload_chance for t in c.tested)]
    assert low == sorted(low)
    assert chance == sorted(chance, reverse=True)
    assert c.tested[1].moment >= c.tested[0].moment
    assert c.tested[1].moment_share <= 1.5 + 1e-9 or c.self_weight_share < 0.05
    told = [chance_told(x, p) for x in chance for p in PROOFS]
    assert min(told) >= 1 / 3000
    assert c.chance_told >= 3e-3


@pytest.mark.parametrize("diameter", [0.06, 0.15])
def test_the_chance_of_overload_is_that_of_the_cases_and_never_less_on_weaker_wood(diameter):
    """Worked out when it is asked for, as it is at once; in the tails where the middle holds, else the share of the draws."""
    t = whole(bough(diameter, 30.0), cases=("at rest",))
    contacts = contacts_of(t, configuration(t.graph, "U01", "MRS"))
    loads = configuration_loads("MRS", "rope on bark", contacts, np.array([0.6, 0.0, 1.0]), 0.0, np.zeros((0, 3)), t.settings)
    use = governed(t, loads, load_path(t, contacts), "MRS", "rope on bark")
    weak, sound = weakened(use, 1.2), weakened(use, 1.0)

    def at_once(cases):
        return overload_chance(section_draws(cases, t.few, t.widened[: len(t.few)], stands=use.standing))

    assert use.overload == (at_once(use.cases) if use.margin.median > 1 else use.counted)
    assert weak.overload == (max(at_once(use.cases), at_once(weak.cases)) if use.margin.median > 1.2 else use.overload)
    assert weak.overload >= sound.overload == use.overload


def test_after_a_test_as_plain_draws_have_it():
    """A limb under one pull: margin and test drawn plainly 400,000 times with heavy tails, those that stand and pass kept."""
    graph = bough(0.15, 30.0)
    t = whole(graph, cases=("at rest",))
    contacts = contacts_of(t, configuration(graph, "U01", "MRS"))
    loads = configuration_loads("MRS", "rope on bark", contacts, np.array([0.6, 0.0, 1.0]), 0.0, np.zeros((0, 3)), t.settings)
    use = governed(t, loads, load_path(t, contacts), "MRS", "rope on bark")
    case = use.cases[0]
    told = passed_tests(t, use, float(loads.pulls.tension[use.row]))[1]

    rng = np.random.default_rng(1)
    n = 400_000
    z = rng.standard_normal((n, case.dimensions))
    widened = np.sqrt(10 / rng.chisquare(10, n))
    z[:, [1, *range(5, 5 + 2 * case.limbs)]] *= widened[:, None]
    pulled = z.copy()
    pulled[:, MASS] = rng.standard_normal(n)
    test = replace(case, force=1.5 * case.force, moment=1.5 * case.moment, shift=1.5 * case.shift, mass_sd=TEST_ERROR)
    least, held = margins(case, z).min(axis=1), margins(test, pulled).min(axis=1) > SHORT_TEST
    kept = least[held]

    assert told.low == pytest.approx(np.quantile(kept, t.low_share), rel=0.05)
    assert told.overload_chance == pytest.approx(np.mean(kept < 1.0), abs=2e-4)
    assert told.people == pytest.approx(1.5)


def test_the_size_of_a_test_is_told_with_the_own_weight():
    """By hand: a level limb, rope plumb; the test's moment is own + 1.5 x rope, less than 1.5 times the whole."""
    graph = bough(0.2, 0.0)
    c = check_anchor(whole(graph, cases=("at rest",)), configuration(graph, "U01", "MRS", distance=1.5), np.zeros((0, 3))).check
    i = list(c.nodes).index(c.governing)
    one, more = c.tested
    assert one.moment == pytest.approx(c.moment[i], rel=1e-6)
    own = one.moment - (more.moment - one.moment) / 0.5
    assert own > 0
    assert more.moment_share == pytest.approx(1 + 0.5 * (one.moment - own) / one.moment, rel=1e-6)


def test_a_line_over_a_twig_is_judged_without_it():
    """A basal line that also lies over a 2 cm twig further up is judged as if the twig were not there, with the drop as slack: less margin in a stop,
    the same in ordinary use; the twig bears nothing. Drop by hand: the rope that comes free."""
    graph = tree([(8.0, 0, 10, 3.0, 0.18, 0.10), (9.5, 0, 0, 2.0, 0.02, 0.01)], stem=0.5, top=0.4)
    thin = int(np.argmin([graph.segment_radius[line[0]] for line in graph.limbs.nodes]))
    twig = int(graph.limbs.nodes[thin][2])
    label = next(n for n, h in zip(graph.unions.label, graph.unions.height, strict=True) if h == graph.unions.height.min())
    plain = configuration(graph, label, "SRS basal", distance=1.0)
    over = replace(plain, via=np.array([twig], np.int32))
    t = whole(graph)
    line = stout_line(t, over)
    with_twig, without = (check_anchor(t, r, AROUND) for r in (over, plain))
    points = [c.point for c in contacts_of(t, over)]
    full = np.linalg.norm(points[0] - over.base) + np.linalg.norm(points[1] - points[0])
    free = full - np.linalg.norm(points[1] - over.base)

    assert line.twigs == 1
    assert line.drop == pytest.approx(free)
    assert with_twig.check.margin.p5 == pytest.approx(without.check.margin.p5, rel=0.05)
    assert np.all(with_twig.contact_forces[1] == 0)
    assert next(n for n in with_twig.check.notes if n.code == "twigs_give_way")["drop"] == pytest.approx(line.drop)
    assert not has(without.check.notes, "twigs_give_way")
    if line.drop > t.settings.slack:
        assert with_twig.exceptional.margin.p5 < without.exceptional.margin.p5


def test_chances_have_their_floors():
    """Untested 3 in 1,000 on top, tested 1 in 1,000, tested and inspected never below 1 in 3,000; not seen stays not seen."""
    assert chance_told(0.0) == HIDDEN[UNTESTED] == 3e-3
    assert chance_told(0.0, TESTED) == 1e-3
    assert chance_told(0.0, INSPECTED) == pytest.approx(1 / 3000)
    assert chance_told(0.02) == pytest.approx(0.023)
    assert np.isnan(chance_told(float("nan")))


@FEW
@given(system=SYSTEM, thick=st.floats(0.06, 0.3), slope=st.floats(-5, 60))
def test_margin_chance_and_verdict_never_contradict(system, thick, slope):
    """Holds: at most 1.3 in 100 is told. Holds if tested: at most 2 in 1,000 after the test. The low side is above 1 in all but what fails."""
    graph = bough(thick, slope)
    (found,) = checked(whole(graph), [configuration(graph, "U01", system)], AROUND)
    c = found.check
    if c.verdict in (HOLDS, WITHIN):
        assert c.margin.p5 >= 1.5
        assert c.chance_told <= 0.013
    if c.verdict == IF_TESTED:
        assert c.margin.p5 >= 1.0
        assert chance_told(c.tested[-1].overload_chance, TESTED) <= 2e-3
    if c.verdict == DOUBTFUL:
        assert c.margin.p5 >= 1.0
        assert c.chance_told <= 0.06
