"""Whole checks: the worst place governs, what was not seen stays without numbers, and it is quick."""


from dataclasses import replace

import numpy as np
import pytest
from loads.by_hand import check_anchors
from loads.stick_trees import PLAIN, checked, configuration, tree
from scipy.integrate import solve_ivp
from strategies import alone, random_tree

from treescan.loads.checks.load_test import load_test
from treescan.loads.limb_check import VERDICTS, AnchorConfiguration
from treescan.loads.material.wood_strength import wood_of
from treescan.loads.rope.strung_rope import hanging_between, strung
from treescan.loads.settings import CASES, ONE_SHARE, LoadSettings
from treescan.outputs.text.say import say
from treescan.planning.candidates.contact import contact_point
from treescan.planning.ranking.gates import doubts
from treescan.planning.settings import PlanningSettings
from treescan.reason import Reason, has
from treescan.settings import lines, merged
from treescan.sources import SOURCES
from treescan.units import G
from treescan.wood.topology.assemble import assemble

STEPS = ["test_look_first", "test_rig_as_in_use", "test_build_up", "test_stand_clear", "test_would_show", "test_would_show", "test_watch", "test_proves_nothing_more"]
OAK = [(8.0, 0, 40, 3.0, 0.16, 0.08), (5.0, 120, 30, 3.0, 0.14, 0.06)]


def test_worst_place_is_the_worst_of_them_all():
    """The check over many work points has the least margin of the checks over each of them alone."""
    graph = tree(OAK)
    rng = np.random.default_rng(0)
    work = np.column_stack([rng.uniform(-3, 3, 15), rng.uniform(-3, 3, 15), rng.uniform(1, 6, 15)])
    for system in ("MRS", "SRS canopy", "SRS basal"):
        r = configuration(graph, "U02", system)
        whole = checked(graph, [r], work=work)[0]
        alone_ = [checked(graph, [r], work=w)[0] for w in work]
        most = [np.max(c.check.utilisation) for c in alone_]
        assert np.max(whole.check.utilisation) == pytest.approx(max(most))


def test_work_beyond_the_rope_angle_or_above_does_not_count():
    """Work above the anchor or further out than the allowed rope angle is left to another anchor or a redirect."""
    graph = tree(OAK)
    r = configuration(graph, "U02", "MRS")
    none = checked(graph, [r])[0]
    far = checked(graph, [r], work=[[9.0, 0, 7.5], [0.3, 0, 11.0]])[0]
    assert far.worst_work_point == none.worst_work_point == -1
    assert np.allclose(far.force, none.force)


def test_a_place_just_within_the_angle_from_where_the_rope_was_laid_is_judged():
    """A plan measures rope angles from the limb's axis, the rope bears on its top: what lies within the limit from there is judged, as steep as the
    limit at the most, and nothing level with the rope or above."""
    graph = tree(OAK)
    r = configuration(graph, "U02", "MRS", distance=1.0)
    laid = contact_point(graph, r)
    out = np.deg2rad(44.9)
    for far in (0.5, 1.0, 3.0):
        (found,) = checked(graph, [r], work=[laid + far * np.array([0, np.sin(out), -np.cos(out)])], cases=("limb walk",))
        assert found.case == "limb walk"
        assert 1.0 < np.linalg.norm(found.force) / (100 * G) <= 1 / np.cos(np.deg2rad(45)) + 1e-6
    (found,) = checked(graph, [r], work=[laid + np.array([0.1, 0.1, 0.3])], cases=("limb walk",))
    assert found.case == "at rest"
    (found,) = checked(graph, [r], work=[laid + 0.12 * np.array([0, np.sin(out), -np.cos(out)])], cases=("limb walk",))
    assert found.case == "limb walk"
    assert np.arccos(-found.force[2] / np.linalg.norm(found.force)) <= np.deg2rad(45.0) + 0.02
    for angle, far in ((46.0, 0.4), (62.0, 0.8), (80.0, 0.3)):
        beyond = laid + far * np.array([0, np.sin(np.deg2rad(angle)), -np.cos(np.deg2rad(angle))])
        (found,) = checked(graph, [r], work=[beyond], cases=("limb walk",))
        assert found.case == "at rest" and found.worst_work_point == -1


FIXED = {"slack_most": 1.0, "rope_modulus_bounds": (30e3, 30e3), "rope_in_service": (1.0, 1.0, 1.0)}
"""An abrupt stop of which nothing is drawn."""


def test_each_load_case_can_govern():
    """Every case can be asked for alone and then governs; the abrupt stop follows the spring formula."""
    graph = tree(OAK)
    r = configuration(graph, "U02", "MRS")
    out = {"limb walk", "swing"}  # these need somewhere to stand out at
    s = LoadSettings()
    w = s.climber_mass * G
    pulls = {
        c: float(np.linalg.norm(checked(graph, [r], **FIXED, cases=(c,), work=[[2.5, 0, 5.0]] if c in out else None)[0].force)) for c in CASES
    }
    assert pulls["at rest"] == pytest.approx(w, rel=1e-3)
    assert pulls["ascent"] == pytest.approx(1.5 * w, rel=1e-3)
    assert pulls["work positioning"] == pytest.approx(1.5 * w, rel=1e-3)
    assert pulls["rescue"] == pytest.approx(np.sqrt(1.1 * 1.5) * 2 * w, rel=1e-3)
    assert pulls["load test"] == pytest.approx(2 * w, rel=1e-3)
    assert pulls["abrupt stop"] == pytest.approx(w + np.sqrt(w * w + 2 * w * 2 * s.rope_modulus * s.slack / s.shortest_rope), rel=1e-2)
    assert w < pulls["swing"] < 3 * w
    assert np.linalg.norm(checked(graph, [r], cases=("worst stop",))[0].force) == pytest.approx(10.6 * w, rel=1e-3)


@pytest.mark.parametrize(("system", "strands"), [("MRS", 2), ("SRS canopy", 1)])
def test_an_abrupt_stop_is_as_hard_as_a_weight_on_springs_integrated_in_time(system, strands):
    """Equation of motion of the climber on as many rope strands side by side as end at the climber, solved by scipy."""
    s, mass = LoadSettings(), LoadSettings().climber_mass
    stiffness = strands * s.rope_modulus / s.shortest_rope

    def motion(_, y):
        return [y[1], G - stiffness * max(y[0], 0.0) / mass]

    way = solve_ivp(motion, (0.0, 1.0), [0.0, np.sqrt(2 * G * s.slack)], max_step=1e-3, rtol=1e-9)
    graph = tree(OAK)
    found = checked(graph, [configuration(graph, "U02", system)], **FIXED, cases=("abrupt stop",))[0]

    assert np.linalg.norm(found.force) == pytest.approx(stiffness * way.y[0].max(), rel=5e-3)


def test_ordinary_use_governs_and_the_exceptional_case_is_stated_beside_it():
    """The margin that gates is that of ordinary use, two people in a rescue included; the abrupt stop or swing has its own, and asking
    for one kind alone gives the same number as asking for both."""
    graph = tree(OAK)
    r = configuration(graph, "U02", "MRS")
    ordinary = tuple(c for c in CASES if c not in LoadSettings().exceptional)
    (worst,) = checked(graph, [r], cases=(*CASES, "worst stop"))
    assert worst.exceptional.case == "worst stop"
    assert worst.exceptional.multiple_of_weight == pytest.approx(10.6, rel=1e-3)
    (both,) = checked(graph, [r])
    (alone_,) = checked(graph, [r], cases=ordinary)
    (shock,) = checked(graph, [r], cases=("swing", "abrupt stop"))
    assert both.case == "rescue"
    assert both.cases == ordinary
    assert both.check.margin == alone_.check.margin
    assert alone_.exceptional is None
    assert both.exceptional is not None
    assert both.exceptional.case == "abrupt stop"
    assert shock.exceptional is None  # asked for alone it is judged like any other case
    assert both.exceptional.margin == shock.check.margin
    assert np.allclose(both.exceptional.force, shock.force)
    assert both.exceptional.multiple_of_weight == pytest.approx(np.linalg.norm(shock.force) / (100 * G))
    (stop,) = [n for n in both.check.notes if n.code == "shock_as_measured"]
    assert (stop["case"], stop["low"]) == ("abrupt stop", both.exceptional.margin.p5)


def test_an_anchor_a_stop_would_more_likely_break_does_not_hold():
    """Enough for ordinary use is not enough where an abrupt stop would more likely break the wood than not; in between it is doubtful."""
    graph = tree(OAK)
    r = configuration(graph, "U02", "MRS", distance=0.5)
    (calm,) = checked(graph, [r])
    assert calm.check.verdict == "holds"
    (hard,) = checked(graph, [r], slack=3.0)
    assert hard.check.margin == calm.check.margin
    assert hard.exceptional.margin.p5 < 1.0 <= hard.exceptional.margin.median
    assert hard.check.verdict == "doubtful"
    assert (hard.check.reason.code, hard.check.reason["case"]) == ("shock_doubtful", "abrupt stop")
    assert hard.check.reason["shock_low"] == hard.exceptional.margin.p5
    (broken,) = checked(graph, [r], slack=20.0, shortest_rope=1.0)
    assert broken.exceptional.margin.median < 1.0
    assert broken.check.verdict == "does not hold"
    assert broken.check.reason.code == "shock_breaks"
    assert broken.check.margin.p5 == pytest.approx(calm.check.margin.p5, rel=0.02)


def test_bridged_gap_on_the_load_path_gives_no_number():
    """Where the scan bridged a gap on the way to the ground the verdict is "not seen" and no number is stated."""
    graph = tree(OAK)
    seen = np.ones(len(graph), bool)
    seen[6] = False  # on the stem, below both unions
    graph = assemble(graph.xyz, graph.radius, graph.parent, radius_sd=graph.radius_sd, seen=seen)
    for system in ("MRS", "SRS basal"):
        (check,) = checked(graph, [configuration(graph, "U02", system)])
        assert check.check.verdict == "not seen"
        assert not check.check.margin.known
        assert np.isnan(check.multiple_of_weight)
        assert np.isnan(check.force).all()
        assert check.check.utilisation.size == 0
        assert check.check.reason == Reason("gap_bridged", height=graph.xyz[6, 2], wood=Reason("stem_itself"))
        assert load_test(graph, check, LoadSettings()) is None


def test_missing_diameter_gives_no_number():
    """A section without a diameter is not guessed."""
    graph = tree(OAK)
    radius = graph.radius.copy()
    radius[8] = np.nan
    graph = assemble(graph.xyz, radius, graph.parent)
    (check,) = checked(graph, [configuration(graph, "U02", "MRS")])
    assert check.check.verdict == "not seen"
    assert not check.check.margin.known


def test_gap_off_the_load_path_does_not_matter():
    """A gap in another limb does not spoil the answer."""
    graph = tree(OAK)
    seen = np.ones(len(graph), bool)
    other = graph.unions.arm_limb[graph.unions.laterals(graph.unions.index("U01"))[0]]
    seen[graph.limbs.nodes[other][2]] = False
    graph = assemble(graph.xyz, graph.radius, graph.parent, radius_sd=graph.radius_sd, seen=seen)
    assert checked(graph, [configuration(graph, "U02", "MRS")])[0].check.margin.known


def test_reported_dead_limb_does_not_hold_whatever_its_size():
    """A limb reported dead is refused with the report as the reason."""
    graph = tree([(8.0, 0, 40, 3.0, 0.30, 0.2)], stem=0.7, top=0.5)
    (check,) = checked(graph, [configuration(graph, "U01", "MRS")], reported=("U01 dead",))
    assert check.check.verdict == "does not hold"
    assert check.check.reason == Reason("reported_dead", report="U01 dead")


def test_thin_limbs_do_not_hold():
    """A limb of 5 cm holds nobody, one of 20 cm in the union does; nothing is called by a word outside the four verdicts."""
    verdicts = {}
    for thick in (0.05, 0.20):
        graph = tree([(8.0, 0, 30, 3.0, thick, thick / 2)], stem=0.6, top=0.4)
        for system in ("MRS", "SRS canopy", "SRS basal"):
            verdicts[thick, system] = checked(graph, [configuration(graph, "U01", system)])[0].check.verdict
    assert set(verdicts.values()) <= set(VERDICTS)
    assert all(v == "does not hold" for (d, _), v in verdicts.items() if d == 0.05)
    assert all(v == "holds" for (d, _), v in verdicts.items() if d == 0.20)


def test_rope_never_rests_without_a_lever():
    """A rest distance inside the parent's bark is moved out to half a limb diameter beyond it: a thin limb cannot pass for want of an arm."""
    graph = tree([(8.0, 0, 0, 3.0, 0.10, 0.05)], stem=0.6, top=0.4)
    a, b = (checked(graph, [configuration(graph, "U01", "MRS", distance=d)])[0] for d in (0.0, 0.1))
    assert a.check.margin == b.check.margin
    bark = graph.unions.parent_diameter[0] / 2
    own = 2 * graph.segment_radius[graph.unions.arm_node[graph.unions.laterals(0)[0]]]
    c = checked(graph, [configuration(graph, "U01", "MRS", distance=bark + 0.5 * own)])[0]
    assert np.max(a.check.utilisation) == pytest.approx(np.max(c.check.utilisation), rel=1e-9)


def test_path_runs_from_the_rope_to_the_ground():
    """The sections listed run from the contact down to the stem's foot, and the governing one is the most used."""
    graph = tree(OAK)
    (check,) = checked(graph, [configuration(graph, "U02", "MRS")])
    nodes = check.check.nodes
    z = graph.xyz[nodes, 2]
    assert nodes[-1] == 1
    assert np.all(np.diff(z) < 0)
    assert check.check.governing == nodes[np.argmax(check.check.utilisation)]
    assert check.check.stress / check.check.strength == pytest.approx(check.check.utilisation)


@pytest.mark.parametrize("section", ["circle outside bark", "inside bark"])
@pytest.mark.parametrize(("reported", "inner"), [((), 0.0), (("limb 1 hollow 0.3",), 0.7)])
def test_deflection_of_a_level_limb_by_hand(section, reported, inner):
    """A rope 1.5 m out on an even, level limb of a very stout stem sinks by P a^3 / (3 E I), a from the limb's clamped foot, I that of the wood
    inside bark less the hollow, whatever section its strength is told on."""
    graph = tree([(6.0, 0, 0, 3.0, 0.12, 0.12)], stem=3.0, top=3.0)
    bark = graph.unions.parent_diameter[0] / 2
    r = configuration(graph, "U01", "MRS", distance=bark + 1.0)
    (check,) = checked(graph, [r], cases=("at rest",), section=section, reported=reported)
    force = LoadSettings().climber_mass * G
    wood = 0.06 * (1 - PLAIN.bark_share)
    stiff = PLAIN.moe * np.pi * (wood**4 - (inner * wood) ** 4) / 4
    by_hand = force * (bark + 1.0) ** 3 / (3 * stiff)
    assert check.check.deflection == pytest.approx(by_hand, rel=0.01)
    assert check.check.slope_change == pytest.approx(force * (bark + 1.0) ** 2 / (2 * stiff), rel=0.01)


@pytest.mark.parametrize(("limits", "lively"), [({}, False), ({"lively": 0.001}, True), ({"lively_deg": 0.01}, True)])
def test_what_gives_or_turns_too_far_is_lively(limits, lively):
    """By give or by turning alone; the note, the answer and what planning looks at first say the same."""
    graph = tree(OAK)
    r = configuration(graph, "U02", "MRS")
    (check,) = checked(graph, [r], **limits)
    assert check.check.lively is lively
    (note,) = [n for n in check.check.notes if n.code in {"place_lively", "place_stiff"}]
    assert note == Reason("place_lively" if lively else "place_stiff", sag=check.check.deflection, turn=check.check.slope_change)
    assert has(doubts(graph, check, None, (), PlanningSettings()), "lively") is lively


def test_self_weight_takes_its_share():
    """The share of capacity the tree's own weight uses is between 0 and 1 and grows with leaves or density."""
    graph = tree([(8.0, 0, 0, 5.0, 0.16, 0.10)])
    bare = checked(graph, [configuration(graph, "U01", "MRS")])[0].check
    none = checked(graph, [configuration(graph, "U01", "MRS")], self_weight=False)[0].check
    assert 0 < bare.self_weight_share < 1
    assert none.self_weight_share == 0
    assert none.margin.median > bare.margin.median


def test_what_is_not_assessed_is_said():
    """Every judged anchor says that roots and ground are not assessed, with the moment at the stem's foot; one-sided scans are named."""
    graph = tree(OAK)
    (check,) = checked(graph, [configuration(graph, "U02", "SRS basal")])
    assert check.check.notes[0] == Reason("roots_not_assessed", moment=check.check.moment[-1])
    assert say(check.check.notes[0]).startswith("Roots and ground: not assessed.")
    assert has(check.check.notes, "anchor_leg_in_full")
    assert not has(check.check.notes, "seen_from_one_side", "gaps_spanned")
    half = tree(OAK, arc=np.full(len(graph), np.deg2rad(80)))
    (check,) = checked(half, [configuration(half, "U02", "MRS")])
    assert Reason("seen_from_one_side", arc=np.deg2rad(80)) in check.check.notes
    (check,) = checked(graph, [configuration(graph, "U02", "MRS")], slack=4.0)
    (stop,) = [n for n in check.check.notes if n.code == "shock_beyond_measured"]
    assert stop["measured"] == 10.6 < stop["multiple"]


def test_short_gap_is_spanned_by_its_thinner_end_and_said():
    """A gap shorter than the limb is thick takes the thinner of its ends with a wide spread; a longer one gives no number."""
    fine = tree(OAK, step=0.05)
    r = configuration(fine, "U02", "MRS", distance=1.0)
    limb = fine.limbs.nodes[fine.limb[r.rest_node]]
    for count, known in ((2, True), (12, False)):
        seen, radius = np.ones(len(fine), bool), fine.radius.copy()
        seen[limb[6 : 6 + count]] = False
        radius[limb[6 : 6 + count]] *= 1.5  # what a bridge guesses must not help
        graph = assemble(fine.xyz, radius, fine.parent, radius_sd=0.02 * fine.radius, seen=seen)
        (check,) = checked(graph, [r])
        assert check.check.margin.known == known
        assert has(check.check.notes, "gaps_spanned") == known
        if known:
            (whole,) = checked(fine, [r])
            assert check.check.margin.p5 <= whole.check.margin.p5 * 1.001


def test_limb_that_could_not_carry_itself_is_not_judged():
    """A long level limb measured as thin as a broomstick stands only in a misread scan: no number is given for it."""
    graph = tree([(8.0, 0, 0, 9.0, 0.05, 0.05)], stem=0.6, top=0.4)
    (check,) = checked(graph, [configuration(graph, "U01", "MRS")])
    assert check.check.verdict == "not seen"
    assert check.check.reason.code == "wood_misread"
    assert check.check.reason["diameter"] == pytest.approx(0.05)


def test_load_test_plan():
    """The proposed test pulls in the direction of use as hard as the hardest ordinary use (a rescue), and names itself a proposal."""
    graph = tree(OAK)
    (check,) = checked(graph, [configuration(graph, "U02", "SRS basal")])
    plan = load_test(graph, check, LoadSettings())
    assert plan.pull == pytest.approx(np.sqrt(1.1 * 1.5) * 2 * 100 * G)  # the middle of what is drawn for two people
    assert plan.on_union == pytest.approx(plan.pull * check.multiple_of_weight)
    assert plan.people == 3
    assert plan.direction == pytest.approx(check.force / np.linalg.norm(check.force))
    assert [s.code for s in plan.steps] == STEPS
    assert say(plan.steps[-1]) == "A proposal for the competent person. Passing it proves nothing beyond the load applied."


@pytest.mark.parametrize(("tilt", "code"), [(5, None), (40, "test_pull_from_ground"), (80, "test_cannot_pull")])
def test_a_crew_is_told_from_where_it_can_pull(tilt, code):
    """A leg off plumb is not what hanging people pull: from where on the ground, or that it cannot be pulled so, and what they make of it.

    By hand: on the ground it is the height times the tangent away.
    """
    graph = tree(OAK)
    (check,) = checked(graph, [configuration(graph, "U02", "SRS canopy")])
    leg = np.array([np.sin(np.radians(tilt)), 0.0, -np.cos(np.radians(tilt))])
    used = replace(check, force=leg * np.linalg.norm(check.force))
    plan = load_test(graph, used, LoadSettings(), 5.0 * leg)
    told = [s for s in plan.steps if s.code in {"test_pull_from_ground", "test_cannot_pull"}]

    assert [s.code for s in told] == ([code] if code else [])
    if code:
        height = graph.xyz[check.configuration.rest_node, 2] - graph.xyz[0, 2]
        assert np.degrees(told[0]["leg"]) == pytest.approx(tilt) and np.degrees(told[0]["azimuth"]) == pytest.approx(90)
        assert 0 < told[0]["share"] < 3
        if code == "test_pull_from_ground":
            assert told[0]["away"] == pytest.approx(height * np.tan(np.radians(tilt)))
            assert say(told[0]).count("cannot be tested in that direction") == 1


@pytest.mark.parametrize("slope", [10, 85])
def test_nobody_stands_where_a_piece_may_topple(slope):
    """Half as far again as any likely piece reaches, however it stands: an upright 8 m leader keeps people as far off as a level limb; the
    words and the number are the same whole metres, never less than the sum."""
    graph = tree([(6.0, 0, slope, 8.0, 0.18, 0.06)], height=6.5, stem=0.40, top=0.30)
    (check,) = checked(graph, [configuration(graph, "U01", "MRS", distance=3.0)])
    plan = load_test(graph, check, LoadSettings())
    for node in [check.check.governing, *(b.node for b in check.breaks)]:
        foot = graph.xyz[graph.parent[node]]
        for at in graph.xyz[graph.above(node)]:
            assert plan.clear_radius >= 1.5 * (np.linalg.norm(at - foot) + np.linalg.norm(foot[:2] - plan.clear_centre)) - 1e-9
    assert plan.clear_radius >= 1.5 * 7.0
    assert [s["radius"] for s in plan.steps if s.code == "test_stand_clear"] == [plan.clear_radius]
    assert plan.clear_radius == int(plan.clear_radius)


def test_two_lines_share_the_weight():
    """Two lines at 60 degrees to each other, level anchors: each carries W / (2 cos 30); a flat pair is flagged."""
    t = hanging_between([[-1.0, 0, 5], [1.0, 0, 5]], [0, 0, 5 - np.sqrt(3)], 1000.0)
    assert t.tension == pytest.approx(np.full(2, 1000 / (2 * np.cos(np.pi / 6))))
    assert t.force.sum(axis=0) == pytest.approx([0, 0, -1000.0], abs=1e-9)
    assert not t.flat
    assert hanging_between([[-3.0, 0, 5], [3.0, 0, 5]], [0, 0, 4], 1000.0).flat


def test_strung_rope_runs_to_equal_tension():
    """A load that runs freely on a strung rope stands where both legs pull alike and the rope's length is used up.

    Arboriculture Australia 2022, p. 129: 100 kg on a flat line can put about 5 kN on each anchor (force f / (2 sin phi)).
    """
    anchors = np.array([[0.0, 0, 10], [8.0, 6, 12]])
    found = strung(anchors, 12.0, 1000.0)
    assert found.tension[0] == pytest.approx(found.tension[1])
    assert np.linalg.norm(anchors - found.place, axis=1).sum() == pytest.approx(12.0)
    assert found.force.sum(axis=0) == pytest.approx([0, 0, -1000.0], abs=1e-6)
    flat = strung([[0.0, 0, 10], [10.0, 0, 10]], 10.0 / np.cos(np.arcsin(0.0981)), 100 * 9.81)
    assert flat.tension[0] == pytest.approx(5000, rel=0.01)
    assert flat.flat


def test_settings_name_known_sources():
    """Every setting of loads has a unit or none needed, a meaning and a source key that exists."""
    for line in lines(LoadSettings()):
        assert line.meaning
        assert line.source in SOURCES


def test_checks_name_known_sources():
    """The sources a check lists are all in the list of sources."""
    graph = tree(OAK)
    for check in checked(graph, [configuration(graph, "U02", s) for s in ("MRS", "SRS canopy", "SRS basal")]):
        assert check.check.sources
        assert set(check.check.sources) <= set(SOURCES)


def test_an_anchors_answer_does_not_depend_on_what_else_is_asked():
    """All configurations are drawn with the same luck: asked alone, in another order or among others, a configuration gets the same numbers."""
    graph = tree(OAK)
    configurations = [configuration(graph, label, system) for label in ("U01", "U02") for system in ("MRS", "SRS canopy", "SRS basal")]
    together = checked(graph, configurations)
    backwards = checked(graph, configurations[::-1])[::-1]
    alone_ = [checked(graph, [r])[0] for r in configurations]
    for a, b, c in zip(together, backwards, alone_, strict=True):
        assert a.check.margin == b.check.margin == c.check.margin
        assert a.exceptional.margin == b.exceptional.margin == c.exceptional.margin
        assert [x.reason for x in a.catches] == [x.reason for x in b.catches] == [x.reason for x in c.catches]


@pytest.mark.parametrize(("exceptional", "case"), [(["rescue"], "rescue"), (["swing"], "swing"), (["load test", "ascent"], "load test")])
def test_what_counts_as_exceptional_can_be_changed_from_a_file(exceptional, case):
    """The hardest of the cases named there is told beside the others, which are judged without it."""
    graph = tree(OAK)
    r = configuration(graph, "U02", "MRS")
    (check,) = checked_with(graph, r, {"exceptional": exceptional})
    assert check.exceptional.case == case
    assert check.case not in exceptional
    assert set(check.cases) == set(CASES) - set(exceptional)


def test_without_exceptional_cases_the_hardest_of_all_is_judged():
    """Naming none leaves the abrupt stop to ordinary use."""
    graph = tree(OAK)
    (check,) = checked_with(graph, configuration(graph, "U02", "MRS"), {"exceptional": []})
    assert check.exceptional is None
    assert check.case == "abrupt stop"


@pytest.mark.parametrize("changes", [{"leaves": "on"}, {"union_k": [1.0, 0.5, 0.3, 0.2]}])
def test_leaves_and_union_factor_can_be_changed_from_a_file(changes):
    """Leaves on a bare tree and weaker unions both lower the margin."""
    graph = tree([(8.0, 0, 10, 3.0, 0.16, 0.08)], stem=0.30)
    r = configuration(graph, "U01", "MRS", distance=0.5)
    low = {"strength_model": ONE_SHARE}  # the union factor on top belongs to the low alternative
    (plain,), (changed,) = checked_with(graph, r, low), checked_with(graph, r, low | changes)
    assert changed.check.margin.median < 0.995 * plain.check.margin.median


def checked_with(graph, r, changes):
    """One check with settings merged in as from a file."""
    return check_anchors(graph, alone(graph), PLAIN, [r], np.zeros((0, 3)), merged(LoadSettings(), changes), 1)


def test_every_configuration_of_a_tree_is_answered_in_order():
    """60 unions x 3 systems x 200 work points: every configuration is answered, in the order asked."""
    graph = random_tree(3, limbs=30, height=20, dbh=0.6)
    u = graph.unions
    configurations = [
        AnchorConfiguration(k, s, "rope on bark", int(u.arm_node[u.laterals(k)[0]]), u.parent_diameter[k] / 2, np.zeros(0, np.int32), np.array([0.5, 0.2, 1.0]))
        for k in range(60)
        for s in ("MRS", "SRS canopy", "SRS basal")
    ]
    work = graph.xyz[np.random.default_rng(0).choice(len(graph), 200)]
    settings = LoadSettings()
    wood = wood_of("oak", settings)
    found = check_anchors(graph, alone(graph), wood, configurations, work, settings, 1)
    assert len(found) == len(configurations)
    assert all(f.configuration is r for f, r in zip(found, configurations, strict=True))
