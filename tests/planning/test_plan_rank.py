"""Gates, order, reasons and the firmness of a ranking."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hands import S, check, of_code, only, plain_tree, ranked, throw, tree
from hypothesis import given
from hypothesis import strategies as st
from strategies import alone, random_tree

from treescan.estimate import Estimate
from treescan.loads.limb_check import DOUBTFUL, WITHIN, AnchorConfiguration
from treescan.outputs.text.say import say, say_all
from treescan.planning.access.approach import OTHER, RESCAN, recommend
from treescan.planning.candidates.candidates import candidate_unions
from treescan.planning.candidates.rescan_advice import RESCANS, rescan_advice
from treescan.planning.ranking.order import LITTLE, forward, level_ranks, order_points, pareto, places
from treescan.planning.ranking.reasons import compare
from treescan.planning.ranking.score_rule import combined
from treescan.planning.ranking.scores import margin_score, rope_angle_score
from treescan.planning.settings import CRITERIA, Weights
from treescan.planning.tie_in_point import NOT_RANKED, UNSEEN, TieInPoint
from treescan.planning.work.work_points import default_work, work_at_points
from treescan.reason import Reason
from treescan.trees.beside import Beside, Conductor, Site, Surroundings, Terrain
from treescan.wood.graph import ScanFitness
from treescan.wood.topology.assemble import assemble


def test_every_candidate_is_listed_once_and_ranks_count_up():
    """Usable candidates bear ranks 1, 2, ...; the others rank 0, a reason and no score."""
    graph = random_tree(3, height=20, dbh=0.6, limbs=20)
    rng = np.random.default_rng(0)
    points = ranked(graph, [throw(graph, k, 0.3) for k in candidate_unions(graph, S)[::2]], lambda r: rng.uniform(0.5, 8), systems=())
    usable = [p for p in points if p.usable]

    assert [p.rank for p in points] == list(range(1, len(usable) + 1)) + [0] * (len(points) - len(usable))
    assert len({(p.label, p.system, p.hardware) for p in points}) == len(points)
    assert 0 < len(usable) < len(points)
    for p in points:
        assert p.reasons
        assert p.usable == (not p.gates) == bool(np.isfinite(p.score))
        assert set(p.scores) == set(CRITERIA)
        assert all(0 <= v <= 1 for v in p.scores.values())


def test_best_system_of_each_union_comes_before_second_systems():
    """No union appears twice before every usable union has appeared once; within each group scores fall, among those
    that hold and reach more than a little of the work and among the others."""
    graph = random_tree(3, height=20, dbh=0.6, limbs=20)
    points = [p for p in ranked(graph, [throw(graph, k, 0.3) for k in candidate_unions(graph, S)], systems=()) if p.usable]
    unions = len({p.union for p in points})
    scores = [p.score + front for p, front in zip(points, forward(points), strict=True)]

    assert len({p.union for p in points[:unions]}) == unions
    assert scores[:unions] == sorted(scores[:unions], reverse=True)
    assert scores[unions:] == sorted(scores[unions:], reverse=True)


def test_thin_limb_is_gated_with_its_diameter():
    """The limb at 11 m is thinner than a forearm: not ranked, and the gate names the diameter."""
    graph = plain_tree()
    p = only(ranked(graph, [throw(graph, k) for k in range(3)], settings=replace(S, min_limb=0.12, min_stub=0.2)), "U03")

    assert not p.usable
    assert p.verdict == "not ranked"
    assert p.gates[0].code == "too_thin" and not p.gates[0]["stem"]
    assert p.gates[0]["diameter"] < p.gates[0]["asked"] == 0.12
    assert say(p.gates[0]).startswith("Too thin: the limb is ") and "at least 12 cm" in say(p.gates[0])


def test_margin_below_the_gate_is_gated_with_both_numbers():
    """A low side below the gate stands against a candidate, with middle and low side."""
    p = only(ranked(plain_tree(), median=1.2), "U01")

    low = p.gates[0]
    assert (low.code, low["median"], low["p5"]) == ("margin_low", 1.2, p.check.check.margin.p5)
    assert say(low).startswith("Strength over stress is 1.20 and may be as low as 0.75. At least 1.00 is needed at the low end")


def test_nothing_is_ranked_from_a_scan_that_cannot_tell():
    """A scan that is not assessable gives every candidate the verdict "not assessable" and the scan's own reasons."""
    why = Reason("own_words", words="Only the south side was seen; rescan from NW, leaf-off.")
    points = ranked(plain_tree(), fitness=ScanFitness("not assessable", (why,)))

    assert points
    for p in points:
        assert (p.usable, p.rank, p.verdict) == (False, 0, "not assessable")
        assert [r["why"] for r in of_code(p.reasons, "scan_not_assessable")] == [why]


def test_height_band_that_shows_nothing_gates_only_its_unions():
    """Unions inside a band fit for nothing are not assessable; those below are ranked."""
    bands = ({"from_m": 10.0, "to_m": 20.0, "fit_for": "nothing"}, {"from_m": 0.0, "to_m": 10.0, "fit_for": "main unions"})
    points = ranked(plain_tree(), [throw(plain_tree(), k) for k in range(3)], fitness=ScanFitness("assessable", (), bands))

    assert only(points, "U03").verdict == "not assessable"
    assert only(points, "U02").usable


def test_a_limb_the_scan_is_fit_for_nothing_on_is_not_seen_and_says_what_a_rescan_needs():
    """Only anchors whose rope bears on that limb are refused, with the words of the scan's fitness for it."""
    graph = plain_tree()
    plain = ranked(graph, [throw(graph, k) for k in range(3)])
    bears = int(graph.limb[plain[0].check.configuration.rest_node])
    want = Reason("view_from_side", azimuth=3.5)
    limbs = tuple({"limb": k, "fit_for": "nothing" if k == bears else "small limbs", "rescan": want if k == bears else None} for k in range(len(graph.limbs)))
    points = ranked(graph, [throw(graph, k) for k in range(3)], fitness=ScanFitness("assessable", (), (), limbs))
    against = {int(graph.limb[p.check.configuration.rest_node]): of_code(p.gates, "limb_not_seen") for p in points}

    assert [g["rescan"] for g in against[bears]] == [want]
    assert not any(gates for limb, gates in against.items() if limb != bears)



def test_unseen_wood_is_not_assessable():
    """A check that says "not seen" and a bridged union both end as "not assessable", never as a number."""
    graph = plain_tree()
    assert {p.verdict for p in ranked(graph, verdict="not seen")} == {"not assessable"}
    seen = np.ones(len(graph), bool)
    seen[graph.unions.arm_node[graph.unions.laterals(1)]] = False
    bridged = assemble(graph.xyz, graph.radius, graph.parent, seen=seen, radius_sd=graph.radius_sd)
    p = only(ranked(bridged, [throw(bridged, k) for k in range(3)]), "U02")

    assert p.verdict == "not assessable"
    assert {g.code for g in p.gates[:-1]} <= UNSEEN
    assert p.gates[-1].code in RESCANS


def test_dead_suspect_is_not_ranked():
    """A union flagged as dead suspect is gated."""
    graph = plain_tree()
    flags = (("dead suspect",), *graph.unions.flags[1:])
    p = only(ranked(replace(graph, unions=replace(graph.unions, flags=flags))), "U01")

    assert p.verdict == "not ranked"
    assert p.gates[0].code == "dead_suspect"


def test_drooping_limb_is_gated():
    """A limb that falls away at 30 degrees lets the rope run out: not ranked."""
    graph = tree(([[0, 0, 0], [0, 0, 12]], 0.25, 0.1), ([[0, 0, 8], [3, 0, 6.3]], 0.1, 0.05))

    (droop,) = of_code(only(ranked(graph, [throw(graph, 0)]), "U01").gates, "limb_droops")
    assert droop["angle"] == pytest.approx(np.arctan2(1.7, 3.0), abs=0.02)


def test_union_without_throw_or_steps_is_not_reachable():
    """With no throw and the first union above the ladder nothing leads up; one throw to the lowest opens steps to the next."""
    graph = plain_tree()
    alone_there = ranked(graph)
    stepped = ranked(graph, [throw(graph, 0)])

    assert all(of_code(p.gates, "not_reachable") for p in alone_there)
    assert only(stepped, "U02").usable
    assert [s.label for s in only(stepped, "U02").access] == ["ground", "U01", "U02"]


def test_conductor_within_the_approach_distance_gates_the_anchor():
    """A line of unknown voltage 6 m from the stem gates every candidate at 10 m; at 11 kV the gate is 3.05 m and it only flags."""
    graph = plain_tree()
    line = np.array([[6.0, -30, 8], [6.0, 30, 8]])
    throws = [throw(graph, k, stand=(-6, 0, 0)) for k in range(3)]
    unknown = ranked(graph, throws, site=Site(conductors=(Conductor(line),)))
    known = ranked(graph, throws, site=Site(conductors=(Conductor(line, 11e3),)))

    assert not any(p.usable for p in unknown)
    assert all(g["to"].code == "conductor_of_unknown_voltage" for p in unknown for g in of_code(p.gates, "anchor_near_conductor"))
    assert all(of_code(p.gates, "anchor_near_conductor") for p in unknown)
    assert any(p.usable for p in known)
    assert all("electricity" in p.cautions for p in known)


def test_throw_under_a_conductor_is_not_used():
    """A throw whose arc passes 1 m from a known 11 kV line is dropped and the words say so; the union can still be climbed to."""
    graph = plain_tree()
    line = np.array([[7.0, -30, 7.0], [7.0, 30, 7.0]])
    site = Site(conductors=(Conductor(line, 11e3),))
    near, far = throw(graph, 1, stand=(9.0, 0, 0)), throw(graph, 0, stand=(-8.0, 0, 0))
    p = only(ranked(graph, [near, far], site=site), "U02")

    assert p.throw is None
    (near_line,) = of_code(p.doubts, "throw_near_conductor")
    assert near_line["distance"] < near_line["limit"] and near_line["to"]["voltage"] == 11e3
    assert p.scores["isolation"] == 0


def test_scanned_wires_count_as_live_with_unknown_voltage():
    """Wire voxels in the scan gate like a conductor of unknown voltage."""
    graph = plain_tree()
    wires = np.array([[5.0, y, 8.0] for y in np.arange(-10, 10, 0.2)])
    beside = Beside(Terrain.flat(0.0), surroundings=Surroundings(wires, np.full(len(wires), 3, np.uint8), 0.2))
    points = ranked(graph, [throw(graph, k, stand=(-6, 0, 0)) for k in range(3)], beside=beside)

    assert all(g["to"].code == "wire_seen" for p in points for g in of_code(p.gates, "anchor_near_conductor"))
    assert all(of_code(p.gates, "anchor_near_conductor") for p in points)


def test_doubts_make_it_inspect_first_not_lost():
    """One-sided scan, codominance and a thin margin leave a candidate ranked, as "inspect first", with each doubt."""
    graph = plain_tree(arc=np.radians(100))
    points = [p for p in ranked(graph, [throw(graph, k) for k in range(3)], median=2.0) if p.usable]

    assert points
    for p in points:
        assert p.verdict == "inspect first"
        assert [r["arc"] for r in of_code(p.reasons, "one_side_seen")] == [pytest.approx(np.radians(100))]
        assert of_code(p.reasons, "margin_doubtful")


def test_more_margin_never_ranks_lower():
    """Raising one union's margin, all else equal, never costs it places."""
    graph = random_tree(8, height=18, limbs=14)
    throws = [throw(graph, k, 0.3) for k in candidate_unions(graph, S)]
    union = sorted(ranked(graph, throws, 3.0), key=lambda p: p.rank)[-1].union
    rank = [
        next(p.rank for p in ranked(graph, throws, lambda r, m=m: m if r.union == union else 3.0) if p.union == union) for m in (2.0, 3.0, 4.0, 6.0)
    ]

    assert rank == sorted(rank, reverse=True)


def test_order_does_not_depend_on_the_order_of_the_input():
    """Shuffled candidates come out in the same places."""
    graph = random_tree(8, height=18, limbs=14)
    points = ranked(graph, [throw(graph, k, 0.1 + 0.05 * k) for k in candidate_unions(graph, S)], lambda r: 2 + r.union % 5)
    mixed = list(points)
    np.random.default_rng(0).shuffle(mixed)
    again = order_points(graph, mixed, S, 1)

    assert [(p.label, p.rank, p.score) for p in again if p.usable] == [(p.label, p.rank, p.score) for p in points if p.usable]


def test_weights_turn_the_order():
    """With all weight on the margin the thickest wins; with all on coverage the one that serves most."""
    graph = random_tree(8, height=18, limbs=14)
    throws = [throw(graph, k, 0.3) for k in candidate_unions(graph, S)]

    def margin_of(r):
        return 9.0 - 0.3 * r.union

    zero = dict.fromkeys(("height", "margin", "rope_angle", "coverage", "isolation", "redundancy", "effort"), 0.0)
    by_margin = ranked(graph, throws, margin_of, settings=replace(S, weights=Weights(**{**zero, "margin": 1.0})))
    by_work = ranked(graph, throws, margin_of, settings=replace(S, weights=Weights(**{**zero, "coverage": 1.0})))

    assert by_margin[0].scores["margin"] == max(p.scores["margin"] for p in by_margin if p.usable)
    assert by_work[0].reach.share == max(p.reach.share for p in by_work if p.usable)
    assert by_work[0].union != by_margin[0].union


def test_pareto_agrees_with_the_definition():
    """A row is in the set exactly when no other row is at least as good everywhere and better somewhere."""
    value = np.random.default_rng(3).uniform(size=(40, 3)).round(1)
    expected = [not any((o >= v).all() and (o > v).any() for o in value) for v in value]

    assert pareto(value).tolist() == expected


def test_score_rewards_work_and_anchor_together():
    """A candidate that is perfect on one side and worthless on the other scores zero; all ones score one; more is never less."""
    weights = np.array(S.weights.as_tuple())
    work = np.array([c in {"height", "rope angle", "coverage"} for c in CRITERIA], float)
    rng = np.random.default_rng(0)
    v = rng.uniform(size=(200, 7))
    more = np.clip(v + rng.uniform(0, 0.3, v.shape), 0, 1)

    assert combined(work, weights) == combined(1 - work, weights) == 0
    assert combined(np.ones(7), weights) == pytest.approx(1)
    assert np.all(combined(more, weights) >= combined(v, weights) - 1e-12)


def test_places_put_union_leaders_first():
    """Scores 0.9 and 0.8 of one union and 0.5 of another: 0.9, 0.5, then 0.8."""
    assert places(np.array([0.8, 0.9, 0.5]), np.array([1, 1, 2])).tolist() == [1, 2, 0]


def mean_stability(**change):
    graph = random_tree(8, height=18, limbs=14)
    noisy = replace(graph, radius_sd=graph.radius * change.pop("cv", 0.03))
    throws = [throw(noisy, k, 0.1 + 0.04 * (k % 9)) for k in candidate_unions(noisy, S)]
    points = ranked(noisy, throws, lambda r: 2.0 + (r.union * 7 % 11) / 2, settings=replace(S, **change))
    return np.mean([p.rank_stability for p in points if p.usable]), points


def test_stability_falls_when_measurement_gets_worse():
    """Noisier diameters, throws and angles make the order less firm, in step with the noise."""
    firm = [
        mean_stability(cv=c, weight_scatter=0.0, chance_error=4 * c, angle_error_deg=40 * c, effort_error=c, place_error=2 * c)[0]
        for c in (0.0, 0.02, 0.08, 0.25)
    ]

    assert firm[0] == 1.0
    assert firm[0] > firm[1] > firm[2] > firm[3]


def test_stability_falls_when_weights_are_disputed():
    """The more people differ about the weights, the less firm the order."""
    firm = [
        mean_stability(cv=0.0, chance_error=0.0, angle_error_deg=0.0, effort_error=0.0, place_error=0.0, weight_scatter=w)[0] for w in (0.0, 0.2, 1.0)
    ]

    assert firm[0] > firm[1] > firm[2]


def test_first_places_shared_out_sum_to_one():
    """In every perturbed ranking exactly one candidate comes first."""
    _, points = mean_stability()

    assert sum(p.first_chance for p in points if p.usable) == pytest.approx(1.0)


def test_equal_candidates_are_a_tie():
    """Two limbs that mirror each other cannot be told apart, and the words say so."""
    graph = tree(([[0, 0, 0], [0, 0, 14]], 0.25, 0.1), ([[0, 0, 9], [2, 0, 11]], 0.09, 0.04), ([[0, 0, 9.25], [-2, 0, 11.25]], 0.09, 0.04))
    work = work_at_points(graph, [[0.0, 0, z] for z in (3, 4, 5, 6, 7)])
    points = [p for p in ranked(graph, [throw(graph, 0), throw(graph, 1)], work=work) if p.usable]

    assert points[0].tie
    assert [r["next"] for r in of_code(points[0].reasons, "tied_with_next")] == [points[1].named]


def test_places_are_level_as_far_as_the_draws_cannot_tell():
    """By hand, ten draws: 1 leads 2 in six and 2 leads 3 in six, which is level at 0.7; 1 leads 3 in nine, which is not; nor is what stands in another part."""
    draws = np.array([[3, 2, 1, 1]] * 3 + [[3, 2, 2.5, 1]] * 3 + [[1.5, 2, 1, 1]] * 3 + [[1.5, 2, 2.5, 9]])

    assert level_ranks(draws, np.array([0, 0, 0, 1]), 0.7) == [(1, 2), (1, 3), (2, 3), (4, 4)]
    assert level_ranks(draws, np.array([0, 0, 0, 1]), 0.95) == [(1, 3), (1, 3), (1, 3), (4, 4)]
    assert level_ranks(draws, np.array([0, 0, 0, 1]), 0.5) == [(1, 1), (2, 2), (3, 3), (4, 4)]
    assert level_ranks(draws, np.zeros(4, int), 0.95)[3] == (1, 4)


def test_nothing_is_level_where_nothing_is_in_doubt():
    """Without errors and with one mind about the weights only equal scores are a tie; with more doubt no tie gets shorter than none."""
    _, points = mean_stability(cv=0.0, chance_error=0.0, angle_error_deg=0.0, effort_error=0.0, place_error=0.0, weight_scatter=0.0)
    score = {p.rank: p.score for p in points if p.usable}
    for p in points:
        if p.usable and p.tied:
            assert all(score[r] == pytest.approx(p.score, abs=1e-9) for r in range(p.level[0], p.level[1] + 1))
    _, doubted = mean_stability()
    usable = [p for p in doubted if p.usable]
    assert any(p.tied for p in usable)
    for p, following in pairwise(usable):
        assert p.level[0] <= p.rank <= p.level[1]
        assert p.tie == (following.level[0] <= p.rank)


def test_same_seed_same_answer_other_seed_other_draws():
    """Stability figures are repeatable; only they depend on the seed."""
    graph = plain_tree()
    throws = [throw(graph, k, 0.2 + 0.1 * k) for k in range(3)]
    a, b, c = (ranked(graph, throws, seed=s) for s in (1, 1, 2))

    assert [p.rank_stability for p in a if p.usable] == [p.rank_stability for p in b if p.usable]
    assert [(p.label, p.score) for p in a if p.usable] == [(p.label, p.score) for p in c if p.usable]


def test_every_reason_is_a_sentence_that_names_its_number():
    """Each ranked candidate says why it, and each but the first why not the one above; any two can be compared in two sentences."""
    graph = random_tree(8, height=18, limbs=14)
    points = [p for p in ranked(graph, [throw(graph, k, 0.3) for k in candidate_unions(graph, S)], systems=()) if p.usable]
    for i, p in enumerate(points):
        told = say_all(p.reasons)
        assert any(r.startswith("For it:") for r in told)
        assert i == 0 or any(r.startswith("Ranked after") for r in told)
        assert all(r.endswith(".") for r in told)
    first, second = say_all(compare(points[0], points[3], S))

    assert points[0].label in first
    assert points[3].label in second


def test_words_never_promise():
    """No output of this room calls anything safe, approved or certified."""
    points = ranked(random_tree(8, height=18, limbs=14), systems=())
    text = " ".join(" ".join((*say_all((*p.reasons, *p.rope.kit, *(s.words for s in p.access))), p.verdict)) for p in points).lower()

    assert not any(word in text for word in (" safe", "approved", "certified"))


def test_a_large_tree_keeps_its_unions():
    """Fifty unions and more of one tree all stand in its list."""
    graph = random_tree(3, height=24, dbh=0.9, limbs=34, step=0.15)
    throws = [throw(graph, k, 0.3) for k in candidate_unions(graph, S)]
    points = ranked(graph, throws, systems=())

    assert len({p.union for p in points}) >= 50


def test_a_bare_pole_gives_an_empty_list_and_no_crash():
    """A stem without a single union: no candidates, a default work point at the top, other means recommended."""
    pole = tree(([[0, 0, 0], [0, 0, 9]], 0.2, 0.1))
    work = default_work(pole, alone(pole), S)

    assert ranked(pole) == ()
    assert work.xyz.tolist() == [[0, 0, 9]]
    assert recommend(pole, (), S).recommended.way == OTHER


def test_an_unmeasured_limb_is_not_seen_rather_than_thin():
    """No diameter where the rope bears: "not assessable", and no centimetres are invented."""
    graph = plain_tree()
    wood = int(graph.unions.arm_limb[graph.unions.laterals(1)[0]])
    radius = np.where(graph.limb == wood, np.nan, graph.segment_radius)
    blind = replace(graph, segment_radius=radius)
    p = only(ranked(blind, [throw(graph, k) for k in range(3)]), "U02")

    assert p.verdict == "not assessable"
    assert of_code(p.gates, "diameter_not_seen") and not of_code(p.gates, "too_thin")


def test_rescan_advice_names_height_distance_and_side():
    """A gap in the east limb 6 m up: the advice names its height, how far out it is and from which side to look; a gap in the stem, no side."""
    graph = plain_tree()
    limb = graph.limbs.nodes[int(graph.limb[graph.unions.arm_node[graph.unions.laterals(0)[0]]])]
    seen = np.ones(len(graph), bool)
    gap = int(limb[np.argmin(np.abs(graph.xyz[limb, 2] - 6.0))])
    seen[gap] = False
    configuration = AnchorConfiguration(0, "MRS", "ring", int(limb[-1]), 2.0, np.zeros(0, np.int32), np.zeros(3))
    limb_gap = rescan_advice(replace(graph, seen=seen), check(graph, configuration))
    stem = graph.limbs.nodes[0]
    low = np.ones(len(graph), bool)
    low[stem[8]] = False
    stem_gap = rescan_advice(replace(graph, seen=low), check(graph, configuration))

    assert (limb_gap.code, limb_gap["height"]) == ("rescan_limb", graph.xyz[gap, 2])
    assert (limb_gap["away"], limb_gap["azimuth"]) == pytest.approx((graph.xyz[gap, 0], np.pi / 2))
    assert "east of the stem's foot, is seen from the east and one other side" in say(limb_gap)
    assert (stem_gap.code, stem_gap["height"]) == ("rescan_stem", graph.xyz[stem[8], 2])


def test_a_weak_candidate_says_where_it_would_go():
    """The gate names thickness and height of the weakest section, and how far from the rope it lies."""
    graph = plain_tree()
    p = only(ranked(graph, median=1.2), "U01")
    where = p.gates[0]["where"]

    assert where["diameter"] == 2 * graph.segment_radius[p.check.check.governing]
    assert where["away"] is None and "next to the rope" in say(where)


@pytest.mark.parametrize("seed", range(2))
def test_every_candidate_says_why_and_why_not(seed):
    """Each ranked one says what is for it, all but the first what puts it behind the one above; each other one says what stands against it;
    any two can be held against each other in two sentences."""
    graph = random_tree(seed, height=18, dbh=0.5, limbs=16)
    points = ranked(graph, [throw(graph, k, 0.2 + 0.05 * (k % 5)) for k in range(len(graph.unions))], systems=())
    usable = [p for p in points if p.usable]

    assert len(usable) > 3
    for p in usable:
        told = p.reasons[len(p.doubts) :]
        assert told[0].code == "why_this"
        assert p.rank == 1 or say(told[1]).startswith("Ranked after ")
        assert p.tie == bool(of_code(told, "tied_with_next"))
    assert all(p.reasons and p.reasons == p.gates for p in points if not p.usable)
    for a in points[:6]:
        for b in points[-3:]:
            pair = compare(a, b, S)
            assert len(pair) == 2 and all(s.endswith(".") for s in say_all(pair))


def test_a_scan_that_cannot_tell_recommends_a_rescan():
    """Not assessable is not "no climbing": the recommendation is to scan again, with the reasons the scan gave."""
    pole = tree(([[0, 0, 0], [0, 0, 9]], 0.2, 0.1))
    reason = Reason("fit_one_sided", share=0.99, arc=np.radians(120), azimuth=None)
    found = recommend(pole, (), S, fitness=ScanFitness("not assessable", (reason,)))

    assert found.recommended.way == RESCAN and not found.instead
    assert found.reasons[1]["why"] == reason
    assert "no climbing" not in " ".join(say_all(found.reasons))


def test_the_commonest_reason_is_the_gate_that_stands_against_most():
    """Two candidates at a wire and one too thin: the recommendation against a climb names the wire, not a word of a sentence."""
    points = ranked(plain_tree(), median=0.5)[:3]
    near = Reason("anchor_near_conductor", to=Reason("wire_seen"), distance=1.0, limit=10.0)
    thin = Reason("too_thin", stem=False, diameter=0.05, asked=0.075)
    points = [TieInPoint.of(replace(p, gates=gates), NOT_RANKED, gates) for p, gates in zip(points, ((near, Reason("rescan_stem", height=3.0)), (near, thin), (thin, near)), strict=True)]
    (why,) = recommend(plain_tree(), points, S).recommended.pros

    assert (why.code, why["gate"], why["times"], why["candidates"]) == ("none_passes", "anchor_near_conductor", 3, 3)
    assert "3 times: too near to a conductor" in say(why)


def test_no_doubtful_anchor_stands_before_one_that_holds():
    """Whatever the scores, in every draw too; one that holds and reaches less than a tenth of the most is no way to do the work and goes by score."""
    graph = random_tree(3, height=20, dbh=0.6, limbs=20)
    rng = np.random.default_rng(2)
    points = [
        p for p in ranked(graph, [throw(graph, k, 0.3) for k in candidate_unions(graph, S)], lambda r: rng.uniform(1.7, 4.0)) if p.usable
    ]
    most = max(p.reach.share for p in points)
    front = [p.holds and p.reach.share >= LITTLE * most for p in points]
    unions = len({p.union for p in points})
    leaders, rest = front[:unions], front[unions:]
    assert leaders == sorted(leaders, reverse=True) and rest == sorted(rest, reverse=True)
    assert 0 < sum(leaders) < len(leaders)
    first_doubtful = leaders.index(False)
    assert max(p.score for p in points[first_doubtful:unions]) > points[first_doubtful - 1].score  # the scores alone would have it otherwise
    assert of_code(points[first_doubtful].reasons, "ranked_after_what_holds")
    assert all(p.first_chance == 0 for p in points[first_doubtful:])
    one, other = (next(p for p in points if p.holds is held) for held in (True, False))
    assert compare(other, one, S)[0] == Reason("holds_and_other_doubtful", better=one.named, other=other.named)


def test_a_line_that_holds_and_reaches_next_to_nothing_is_not_put_first():
    """The only line that holds reaches one work point of all: it does not come first for its strength; reaching more it does."""
    graph = plain_tree()
    throws = [throw(graph, k) for k in range(3)]
    widest = max((p for p in ranked(graph, throws) if p.usable), key=lambda p: p.reach.share).union
    points = ranked(graph, throws, lambda r: 6.0 if r.union == widest else 2.0)
    strong = next(p for p in points if p.usable and p.holds)
    usable = [p for p in points if p.usable]
    assert sum(p.holds for p in usable) == 1 < len(usable)
    assert strong.rank == 1
    work = default_work(graph, alone(graph), S)
    one_point = np.arange(len(work)) == np.flatnonzero(strong.reach.served)[0]
    little = replace(strong, reach=strong.reach.only(one_point, work), scores={**strong.scores, "coverage": 0.0})
    assert 0 < little.reach.share < LITTLE * max(p.reach.share for p in usable)
    again = order_points(graph, [little if p is strong else p for p in points], S, 1)
    assert not forward([p for p in again if p.usable]).any()
    assert [p.score for p in again if p.usable] == sorted((p.score for p in again if p.usable), reverse=True)


@given(p5=st.floats(1.0, 20.0), narrow=st.sampled_from([10.0, 20.0, 30.0]), holds=st.booleans())
def test_an_anchor_judged_nearer_to_plumb_scores_no_more_for_its_margin(p5, narrow, holds):
    """A heavier crew that is judged nearer to plumb never gains by that over the lighter one judged as far as asked."""
    graph = plain_tree()
    asked = S.margin_doubt if holds else S.margin_gate
    wide = next(p for p in ranked(graph, [throw(graph, 0)]) if p.usable).check
    lighter = replace(wide, check=replace(wide.check, margin=Estimate(3 * asked, asked, 9 * asked)))
    near = replace(wide.check, margin=Estimate(3 * p5, p5, 9 * p5), verdict=WITHIN if holds else DOUBTFUL)
    heavier = replace(wide, check=near, within=np.radians(narrow))
    assert margin_score(graph, heavier, S)[0] <= margin_score(graph, lighter, S)[0] + 1e-12


@given(cut=st.floats(0.05, 0.78))
def test_less_work_held_out_to_never_betters_the_rope_angle(cut):
    """Work that is given up because the wood does not hold so far out counts as at the limit, not as if it were not there."""
    graph = plain_tree()
    work = default_work(graph, alone(graph), S)
    whole = next(p for p in ranked(graph, [throw(graph, 0)]) if p.usable).reach
    less = whole.out_to(cut, work)
    assert rope_angle_score(less, work, S)[0] <= rope_angle_score(whole, work, S)[0] + 1e-12
    if whole.served.all():
        assert rope_angle_score(whole, work, S)[0] == pytest.approx(1 - np.average(whole.angle, weights=work.weight) / S.rope_angle_limit)
