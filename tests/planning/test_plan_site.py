"""Clearances, redirects, ways to the work, retrieval, approach."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from hands import S, check, of_code, only, plain_tree, rank, ranked, table, throw, tree
from loads.by_hand import check_anchors
from shapely.geometry import LineString
from strategies import alone, random_tree

from treescan.cloud.point_cloud import LOCAL
from treescan.errors import BadInput
from treescan.faces.user_files.drawn import read_site
from treescan.loads.material.wood_strength import wood_of
from treescan.loads.rope.bark_pressure import bark_pressure
from treescan.loads.sections.section_stress import path_stress
from treescan.loads.settings import LoadSettings
from treescan.outputs.text.say import say
from treescan.planning.access.approach import ADVANCE, BASAL, ISOLATE, NEIGHBOUR, OTHER, recommend
from treescan.planning.access.at_the_union import at_the_union
from treescan.planning.candidates.candidates import candidate_configurations, candidate_unions, other_base
from treescan.planning.climb.climb_plan import Climbers, climb_plan
from treescan.planning.climb.rescue import corridors
from treescan.planning.reach.clearances import (
    approach_distance,
    clearances_at,
    clearances_of_throw,
    conductors,
    distances,
    missing_wires,
    site_warnings,
    throw_crosses,
)
from treescan.planning.reach.sightline import Scene
from treescan.planning.reach.two_trees import reach_from_neighbour
from treescan.planning.reach.ways_to_work import access_bias, reached_shares, ways_to_work
from treescan.planning.reach.work_scene import WorkScene, limb_of_work
from treescan.planning.redirects.redirects import redirects
from treescan.planning.settings import Approach
from treescan.planning.tree_context import TreeContext
from treescan.planning.work.work_points import deadwood_suspects, default_work, work_at_points
from treescan.reason import Reason
from treescan.trees.beside import Beside, Conductor, Site, Surroundings, Terrain
from treescan.units import G

A = Approach()
LOADS = LoadSettings()


@pytest.mark.parametrize(("kilovolt", "metres"), [(0.4, 3.05), (50, 3.05), (60, 3.15), (72.5, 3.35), (345, 6.05)])
def test_approach_distance_follows_the_rule(kilovolt, metres):
    """3.05 m to 50 kV and 0.10 m for each further 10 kV or part of it."""
    assert approach_distance(kilovolt * 1e3, A) == pytest.approx(metres)


def test_unknown_voltage_takes_the_large_distance_and_the_owner_wins():
    """Unknown voltage: 10 m; the line owner's stated distance replaces every table."""
    assert approach_distance(float("nan"), A) == 10.0
    assert approach_distance(400e3, replace(A, owner=4.5)) == 4.5


def test_own_table_comes_before_the_rule():
    """The user's own pairs are used up to their highest voltage, the rule beyond it; half a pair is bad input."""
    own = replace(A, own_table=(33.0, 4.0, 1.0, 1.5))

    assert [approach_distance(v * 1e3, own) for v in (0.4, 11, 33)] == [1.5, 4.0, 4.0]
    assert approach_distance(132e3, own) == approach_distance(132e3, A)
    with pytest.raises(BadInput, match="without a distance"):
        approach_distance(400.0, replace(A, own_table=(33.0,)))


def test_distances_to_a_level_line_agree_with_shapely():
    """Ropes in one level plane against a line in it: the plane distance of shapely."""
    rng = np.random.default_rng(0)
    start, end = (np.column_stack([rng.uniform(-5, 5, (50, 2)), np.full(50, 7.0)]) for _ in range(2))
    line = np.array([[8.0, -9, 7], [6.0, 0, 7], [9.0, 12, 7]])
    expected = [LineString(line[:, :2]).distance(LineString([a[:2], b[:2]])) for a, b in zip(start, end, strict=True)]

    (drawn,) = conductors(Site(conductors=(Conductor(line),)), alone(plain_tree()))
    assert distances(start, end, drawn) == pytest.approx(expected)


def test_distance_to_a_scanned_wire_is_never_too_large():
    """Voxels a wire runs through give a distance no larger than that to the wire itself, and smaller by no more than the voxel's diagonal."""
    rng = np.random.default_rng(1)
    start, end = rng.uniform(-5, 5, (200, 3)), rng.uniform(-5, 5, (200, 3))
    end[:100] = start[:100]  # single places, such as tie-in points
    wire = np.array([[9.0, -20, 2.03], [8.0, 20, 2.11]])
    voxels = np.unique(np.floor(np.linspace(wire[0], wire[1], 40_001) / 0.2), axis=0) * 0.2 + 0.1
    beside = Beside(Terrain.flat(0), surroundings=Surroundings(voxels, np.full(len(voxels), 3, np.uint8), 0.2))
    drawn, scanned = conductors(Site(conductors=(Conductor(wire),)), beside)
    true, said = distances(start, end, drawn), distances(start, end, scanned)

    assert np.all(said <= true + 1e-9)
    assert np.all(said >= true - 0.2 * np.sqrt(3))


def test_every_part_of_the_job_is_held_against_the_line():
    """Anchor, rope with climber, throw and swing each get a distance; the throw without the climber's envelope."""
    graph = plain_tree()
    line = Conductor(np.array([[12.0, -30, 8], [12.0, 30, 8]]), 11e3)
    t = throw(graph, 1, stand=(8.0, 0, 0))
    lines = conductors(Site(conductors=(line,)), alone(graph))
    swing = np.array([[2.0, 0, 6], [-2.0, 0, 6]])
    found = clearances_at(np.array([0.0, 0, 8]), np.array([[2.0, 0, 6]]), swing, lines, A) + clearances_of_throw(t, lines, A)
    by = {c.what: c for c in found}

    assert by["tie-in point"].distance == pytest.approx(12 - A.envelope)
    assert by["rope and climber"].distance == pytest.approx(np.hypot(10, 2) - A.envelope, abs=0.2)
    assert by["swing after slip"].distance == pytest.approx(np.hypot(10, 2) - A.envelope)
    wire = LineString(line.line[:, [0, 2]])
    assert by["throw"].distance == pytest.approx(wire.distance(LineString(t.path[:, [0, 2]])), abs=1e-6)
    assert all(c.words == Reason("clearance", what=c.what, to=c.to, distance=c.distance, limit=c.limit) for c in found)
    assert all("approach distance used is 3.0 m" in say(c.words) for c in found)


def test_no_clearance_is_ever_called_enough():
    """The words state distances and never say that one is safe, clear or sufficient."""
    graph = plain_tree()
    line = Conductor(np.array([[40.0, -30, 8], [40.0, 30, 8]]), 11e3)
    lines = conductors(Site(conductors=(line,)), alone(graph))
    found = clearances_at(np.array([0.0, 0, 8]), np.array([[2.0, 0, 6]]), np.zeros((0, 3)), lines, A)
    found += clearances_of_throw(throw(graph, 1), lines, A)
    text = " ".join(say(c.words) for c in found).lower()

    assert not any(c.breach for c in found)
    assert not any(w in text for w in ("safe", "clear ", "enough", "ok"))


def test_poles_without_wires_are_suspicious():
    """Poles but no wire: the warning says that thin wires may be missing; a drawn line silences it."""
    pole = Surroundings(np.array([[5.0, 5, 3]]), np.array([2], np.uint8), 0.2)
    beside = Beside(Terrain.flat(0), surroundings=pole)

    assert [w.code for w in missing_wires(beside, Site())] == ["poles_without_wires"]
    assert missing_wires(beside, Site(conductors=(Conductor(np.zeros((2, 3))),))) == ()


def test_work_near_a_line_is_listed():
    """Work points near a conductor are counted and the nearest is named."""
    graph = plain_tree()
    work = work_at_points(graph, [[3.0, 0, 8], [0, 0, 5]], ["tip", "stem"])
    line = Conductor(np.array([[9.0, -30, 8], [9.0, 30, 8]]), 11e3)
    (near,) = site_warnings(alone(graph), Site(conductors=(line,)), work.xyz, work.label, A)

    assert (near.code, near["points"], near["work"], near["distance"]) == ("work_near_conductor", 2, "tip", 6.0)
    assert say(near).startswith("2 work points lie within ")


def test_throw_over_a_road_is_said():
    """A throw whose arc passes over a drawn road says so."""
    graph = plain_tree()
    road = np.array([[-5.0, -20], [-3.0, -20], [-3.0, 20], [-5.0, 20]])

    assert throw_crosses(throw(graph, 1), Site(roads=(road,))) == (Reason("throw_passes_over", what="road", name=None),)
    assert throw_crosses(throw(graph, 1), Site()) == ()


def wide_tree():
    """A tall stem with a long level limb at 7 m that carries an upright branch 4 m out."""
    return tree(
        ([[0, 0, 0], [0, 0, 13]], 0.25, 0.1),
        ([[0, 0, 11], [1.5, 1.5, 13]], 0.10, 0.05),
        ([[0, 0, 6], [4, 0, 7.5], [8, 0, 7]], 0.16, 0.05),
        ([[4, 0, 7.5], [4.5, 0, 9.5]], 0.06, 0.03),
    )


def test_redirect_forces_balance():
    """Force at the redirect over the tension is 2 sin(turn / 2); the rope angle at the main anchor is that of the straight way there."""
    graph = wide_tree()
    work = work_at_points(graph, [[6.5, 0, 7.2], [1.0, 0, 6.4]], ["far", "near"])
    points = ranked(graph, [throw(graph, k) for k in range(len(graph.unions))], 30.0, work=work)
    main = max((p for p in points if p.usable), key=lambda p: p.place[2])
    loose = replace(S, rope_angle_limit_deg=80.0)
    scene = Scene.of(graph, alone(graph))
    short = replace(main, reach=replace(main.reach, served=np.array([False, True])))
    found = redirects(WorkScene(graph, scene, work, limb_of_work(graph, work), loose), short, points)

    assert found
    for r in found:
        d = r.way.place - main.place
        assert r.way.force == pytest.approx(2 * np.sin(r.way.turn / 2))
        assert r.way.way_angle == pytest.approx(np.arctan2(np.hypot(d[0], d[1]), -d[2]))
        assert "far" in r.way.work
        assert np.isfinite(r.way.main_ratio)


def test_a_redirect_that_spoils_the_main_anchor_is_not_ranked():
    """Pulling a slender leader sideways multiplies its stress.

    With little margin left the redirect is called out, with much it is not.
    """
    graph = wide_tree()
    work = work_at_points(graph, [[6.5, 0, 7.2], [1.0, 0, 6.4]], ["far", "near"])
    loose, scene = replace(S, rope_angle_limit_deg=80.0), Scene.of(graph, alone(graph))
    verdicts = []
    for median in (1.7, 100.0):
        points = ranked(graph, [throw(graph, k) for k in range(len(graph.unions))], median, work=work)
        main = max((p for p in points if p.usable), key=lambda p: p.place[2])
        short = replace(main, reach=replace(main.reach, served=np.array([False, True])))
        found = redirects(WorkScene(graph, scene, work, limb_of_work(graph, work), loose), short, points)
        rest, force = main.check.configuration.rest_node, np.asarray(main.check.force, float)
        known = path_stress(graph, rest, main.place, force)
        for r in found:
            pull = np.linalg.norm(force) * (r.way.place - main.place) / np.linalg.norm(r.way.place - main.place)
            assert r.margins.main == pytest.approx(main.check.check.margin.p5 * known / path_stress(graph, rest, main.place, pull))
        verdicts.append([r.margins.spoils for r in found])

    assert any(verdicts[0]) and not any(verdicts[1])


def test_path_stress_of_a_leaning_pull_is_the_cantilever():
    """A level pull at the top of a plain stem: largest of M / Z + N / A down the stem, M = F h."""
    graph = tree(([[0, 0, 0], [0, 0, 10]], 0.2, 0.1), sd=0.0)
    top = graph.xyz[-1]
    stress = path_stress(graph, len(graph) - 1, top, np.array([1000.0, 0, 0]))
    lower, radius = graph.xyz[graph.parent[1:]][:, 2], graph.segment_radius[1:]
    expected = (1000 * (10 - lower) / (np.pi * radius**3 / 4)).max()

    assert stress == pytest.approx(expected)


def test_limb_walks_count_only_on_limbs_that_carry():
    """Work past the rope angle limit is a limb walk where the limb is thick, and not reached where it is thin."""
    graph = tree(([[0, 0, 0], [0, 0, 10]], 0.25, 0.1), ([[0, 0, 9], [1, 1, 10]], 0.1, 0.05), ([[0, 0, 5], [6, 0, 5.6]], 0.12, 0.02))
    work = work_at_points(graph, [[1.0, 0, 5.1], [4.9, 0, 5.5], [6.0, 0, 5.6], [2.9, 0, 5.3]], ["in", "out", "tip", "walk"])
    points = ranked(graph, [throw(graph, 1)], work=work, settings=replace(S, rope_angle_limit_deg=30.0, walk_limit_deg=50.0))
    ways = {w.label: w.how for w in ways_to_work(graph, points, work, replace(S, rope_angle_limit_deg=30.0, walk_limit_deg=50.0))}

    assert ways == {"in": "rope", "walk": "limb walk", "out": "not reached", "tip": "not reached"}


def test_reached_shares_sum_to_one_and_strata_to_the_crown():
    """Shares of all ways sum to 1; the strata's weights sum to all work and their shares average to the whole."""
    graph = random_tree(8, height=18, limbs=14)
    beside = alone(graph)
    work = default_work(graph, beside, S)
    ways = ways_to_work(graph, ranked(graph, [throw(graph, k) for k in candidate_unions(graph, S)]), work, S)
    shares, strata = reached_shares(work, ways), access_bias(graph, work, ways)

    assert sum(shares.values()) == pytest.approx(1)
    assert sum(s.weight for s in strata) == pytest.approx(work.weight.sum())
    assert sum(s.weight * s.by_rope for s in strata) / work.weight.sum() == pytest.approx(shares["rope"])


def test_wedge_forks_below_put_retrieval_in_doubt():
    """A steep fork under the tie-in point is a snag; a flat limb is not."""
    steep = tree(([[0, 0, 0], [0, 0, 12]], 0.2, 0.1), ([[0, 0, 5], [1, 0, 8]], 0.08, 0.05), ([[0, 0, 10], [2, 0, 11]], 0.08, 0.05))
    flat = tree(([[0, 0, 0], [0, 0, 12]], 0.2, 0.1), ([[0, 0, 5], [3, 0, 5.5]], 0.08, 0.05), ([[0, 0, 10], [2, 0, 11]], 0.08, 0.05))
    answers = [only(ranked(g, [throw(g, 1)]), "U02").retrieval for g in (steep, flat)]

    assert [a.verdict for a in answers] == ["doubt", "yes"]
    assert answers[0].snags == ("U01",)


def test_each_approach_follows_from_its_rule():
    """Isolated throw: isolate; only a line over several limbs: basal; only steps: advance; nothing: other means."""
    graph = plain_tree()
    beside = alone(graph)

    def first(throws, systems=(), median=6.0):
        points = ranked(graph, throws, median, systems=systems)
        return recommend(graph, points, S, beside).recommended.way

    assert first([throw(graph, k) for k in range(3)]) == ISOLATE
    assert first([throw(graph, k, 0.5, 3) for k in range(3)]) == BASAL
    assert first([]) == OTHER
    assert first([throw(graph, k) for k in range(3)], median=0.5) == OTHER
    low = tree(([[0, 0, 0], [0, 0, 10]], 0.25, 0.1), ([[0, 0, 3.5], [2, 0, 5]], 0.1, 0.05), ([[0, 0, 7], [-2, 0, 8.5]], 0.1, 0.05))
    found = recommend(low, ranked(low), S, alone(low))
    assert found.recommended.way == ADVANCE
    assert say(found.reasons[0]) == f"Recommended: low access and advance upward, inspecting every union on the way ({found.recommended.point.name})."


def test_a_neighbour_is_named_never_ranked():
    """Where nothing on the tree can be used a neighbouring stem is named with its distance, to be traced by itself."""
    graph = plain_tree()
    beside = Beside(Terrain.flat(0.0), surroundings=Surroundings(stems=np.array([[3.0, 4.0, 0.0]]), stem_dbh=np.array([0.5])))
    found = recommend(graph, ranked(graph, median=0.5, beside=beside), S, beside)

    assert found.recommended.way == OTHER
    assert [(o.way, o.pros) for o in found.instead] == [(NEIGHBOUR, (Reason("neighbour_stem", away=5.0, diameter=0.5),))]


def test_unusable_checks_never_reach_the_recommendation():
    """A union whose check says not seen is not recommended."""
    graph = plain_tree()
    throws = [throw(graph, k) for k in range(3)]
    points = ranked(graph, throws, verdict="not seen")

    assert check(graph, points[0].check.configuration, verdict="not seen").check.margin.known is False
    assert recommend(graph, points, S).recommended.way == OTHER


def test_a_neighbours_anchor_serves_its_own_side():
    """From an anchor 5 m east and high the east limb is served and the west limb, behind the stem and too flat, is not."""
    graph = tree(([[0, 0, 0], [0, 0, 12]], 0.25, 0.1), ([[0, 0, 7], [3, 0, 8]], 0.1, 0.04), ([[0, 0, 7.5], [-3, 0, 8.5]], 0.1, 0.04))
    work = work_at_points(graph, [[3, 0, 8], [-3, 0, 8.5]], ["east", "west"])
    r = reach_from_neighbour(graph, Scene.of(graph, alone(graph)), np.array([5.0, 0, 14]), work, limb_of_work(graph, work), S)

    assert r.served.tolist() == [True, False]


def test_dead_suspects_become_work():
    """The limb of a union flagged as dead suspect is listed as deadwood; with no flag the list is empty."""
    graph = plain_tree()
    flagged = replace(graph, unions=replace(graph.unions, flags=(graph.unions.flags[0], ("dead suspect",), graph.unions.flags[2])))
    limb = int(graph.unions.arm_limb[graph.unions.laterals(1)[0]])
    work = deadwood_suspects(flagged, S)

    assert len(deadwood_suspects(graph, S)) == 0
    assert set(work.kind) == {"deadwood"}
    assert set(limb_of_work(flagged, work)) == {limb}


def test_anchors_drawn_in_neighbouring_trees_are_tried():
    """Two anchors 6 m either side of the tree: each serves what its straight rope reaches, the line hung between them is lowered to the angle limit
    and balances the climber, and the plan of the climb says so; without a drawn anchor there is not a word."""
    graph = plain_tree()
    beside, work = alone(graph), default_work(graph, alone(graph), S)
    points = ranked(graph, [throw(graph, k) for k in range(3)])
    site = Site(anchors=(("the beech", np.array([6.0, 0.5, 15.0])), ("the oak", np.array([-6.0, 0.5, 15.0]))))
    weight = 1000.0
    plan = climb_plan(TreeContext(graph, beside, site, work, S), points, Climbers(weight, two_people=False))
    (hung,) = [h for h in plan.neighbours.hung if h.ends == ("the beech", "the oak")]
    there = reach_from_neighbour(graph, Scene.of(graph, beside), site.anchors[0][1], work, limb_of_work(graph, work), S)

    assert not hung.lines.flat
    assert np.degrees(hung.lines.between) == pytest.approx(119.0, abs=0.01)
    assert hung.lines.force.sum(axis=0) == pytest.approx([0, 0, -weight], abs=1e-6)
    assert plan.neighbours.straight[0].reach.share == pytest.approx(there.share)
    assert {h.ends for h in plan.neighbours.hung} >= {("the beech", points[0].label), ("the oak", points[0].label)}
    assert plan.neighbours.reasons()[0][0]["anchor"] == "the beech"
    assert climb_plan(TreeContext(graph, beside, Site(), work, S), points, Climbers(weight, two_people=False)).neighbours.reasons() == ()


def test_a_way_down_onto_a_building_is_not_free():
    """Work over a drawn building comes down on it, and that way down is not free; beside it, it is."""
    graph = plain_tree()
    scene, work = Scene.of(graph, alone(graph)), work_at_points(graph, [[2.8, 0.0, 7.8], [-2.4, 1.0, 10.4]])
    limbs = limb_of_work(graph, work)
    house = np.array([[2.0, -1], [4, -1], [4, 1], [2, 1.0]])
    bare = corridors(graph, scene, work, limbs, S)
    built = corridors(graph, scene, work, limbs, S, Site(buildings=(house,)))

    assert [c.free for c in bare] == [True, True]
    assert [c.blocked_by for c in built] == [Reason("over_building", name=None), None]


def test_a_swing_over_a_building_is_a_reason_to_look():
    """A drawn building under the swept arc puts it among the things to look at first."""
    graph = plain_tree()
    throws = [throw(graph, k) for k in range(3)]
    house = np.array([[-9.0, -9], [9, -9], [9, 9], [-9, 9.0]])
    with_house, without = ranked(graph, throws, site=Site(buildings=(house,))), ranked(graph, throws)

    assert any(p.usable for p in with_house)
    assert all(of_code(p.doubts, "swings_over_building") for p in with_house if p.usable)
    assert not any(of_code(p.doubts, "swings_over_building") for p in without)


def test_hardware_and_bark_are_stated_per_anchor():
    """Bare rope passes e^(-mu pi) of the pull; the pressure on bark is pull over limb radius and rope width; a choked canopy rope does not move."""
    graph = plain_tree()
    points = ranked(graph, [throw(graph, k) for k in range(3)], systems=())
    basal, canopy, moving = (only(points, "U01", s) for s in ("SRS basal", "SRS canopy", "MRS"))
    limb = 2 * graph.segment_radius[basal.check.configuration.rest_node]
    friction, bark = at_the_union(graph, basal.check.configuration, LOADS)

    shares = {s["hardware"]: s["share"] for s in friction["shares"]}
    assert shares["rope on bark"] == pytest.approx(np.exp(-LOADS.mu_bark[1] * np.pi))
    assert (bark.code, bark["moves"], bark["pressure"]) == ("bark_pressure", True, pytest.approx(bark_pressure(LOADS.climber_mass * G, limb)))
    assert not at_the_union(graph, canopy.check.configuration, LOADS)[0]["moves"]
    assert len(at_the_union(graph, moving.check.configuration, LOADS)) == 1


def test_a_redirect_that_lies_too_flat_is_not_offered():
    """The climber must get to the redirect first: beyond the angle of a limb walk it is no help, whatever it would serve."""
    graph = wide_tree()
    work = work_at_points(graph, [[6.5, 0, 7.2], [1.0, 0, 6.4]], ["far", "near"])
    points = ranked(graph, [throw(graph, k) for k in range(len(graph.unions))], 100.0, work=work)
    main = max((p for p in points if p.usable), key=lambda p: p.place[2])
    short = replace(main, reach=replace(main.reach, served=np.array([False, True])))

    def angles(limit):
        loose = replace(S, rope_angle_limit_deg=80.0, walk_limit_deg=limit)
        return [r.way.way_angle for r in redirects(WorkScene.of(TreeContext(graph, alone(graph), Site(), work, loose)), short, points)]

    assert angles(60.0) and min(angles(60.0)) > np.radians(40)
    assert not angles(40.0)


def test_a_basal_line_tied_to_another_stem_says_so_and_is_judged_to_it():
    """With a base 9 m off: the load is that of the rope to there (the legs no longer lie side by side: less than twice the weight), the rope
    plan counts the longer leg, the kit and the first look name it, and a limb in the way of the base leg is told."""
    graph = plain_tree()
    throws, oak = table(graph, [throw(graph, k, 0.5) for k in range(3)]), ("the oak", np.array([9.0, 0.0, 1.0]))
    wood, work = wood_of("Quercus robur", LOADS), work_at_points(graph, [[1.0, 0.5, 4.0], [0.8, -0.6, 3.0], [-1.0, 0.5, 6.0]])

    def points(bases):
        found = candidate_configurations(graph, alone(graph), throws, ("SRS basal",), S, bases)
        checks = check_anchors(graph, alone(graph), wood, [r for r, _ in found], work.xyz, LOADS, 1)
        ranked_ = rank(TreeContext(graph, alone(graph), Site(bases=tuple(bases)), work, S), throws, found, checks)
        return {p.union: p for p in ranked_}

    own, there = points(()), points((oak,))
    for k, p in there.items():
        q = own[k]
        assert p.check.configuration.base == pytest.approx(oak[1])
        assert p.check.multiple_of_weight < q.check.multiple_of_weight
        legs = dict(p.rope.parts)["base leg"], dict(q.rope.parts)["base leg"]
        assert legs[0] == pytest.approx(np.linalg.norm(p.place - oak[1]))
        assert legs[0] > legs[1]
        (tied,) = of_code(p.doubts, "tied_elsewhere")
        assert (tied["to"], tied["away"]) == ("the oak", 9.0)
        assert say(tied).startswith("The base is tied to “the oak”, 9.0 m (29.5 ft) from this stem; that was not judged.")
        assert not of_code(q.doubts, "tied_elsewhere")
        slings = [say(*of_code(x.rope.kit, "kit_base_anchor")) for x in (p, q)]
        assert "sling for “the oak” and" in slings[0] and "sling for the stem foot and" in slings[1]
        assert p.verdict != "candidate"
    wire = Conductor(np.array([[6.0, -30.0, 5.0], [6.0, 30.0, 5.0]]), 400.0)
    found = candidate_configurations(graph, alone(graph), throws, ("SRS basal",), S, (oak,))
    checks = check_anchors(graph, alone(graph), wood, [r for r, _ in found], work.xyz, LOADS, 1)
    near = rank(TreeContext(graph, alone(graph), Site(bases=(oak,), conductors=(wire,)), work, S), throws, found, checks)
    assert all(any(c.what == "base leg" for c in p.clearances) for p in near)
    assert any(d["what"] == "base leg" for p in near for d in of_code(p.doubts, "clearance"))


def test_the_nearest_stem_that_could_take_a_base_is_named_in_words():
    """Of the stems the scan knows the nearest of 20 cm and more is named, by place; with a base drawn, or no basal line shown, nothing is said."""
    graph = plain_tree()
    beside = Beside(
        Terrain.flat(0.0),
        surroundings=Surroundings(stems=np.array([[3.0, 0, 0], [0.0, 7.0, 0], [-9.0, 0, 0], [2.0, 2.0, 0]]), stem_dbh=np.array([0.1, 0.35, 0.6, np.nan])),
    )
    work = default_work(graph, beside, S)

    def named(systems, site):
        points = ranked(graph, [throw(graph, k) for k in range(3)], systems=systems)
        plan = climb_plan(TreeContext(graph, beside, site, work, S), points, Climbers(1000.0, two_people=False))
        return of_code(plan.warnings, "other_base")

    (other,) = named(("SRS basal",), Site())
    assert other == Reason("other_base", diameter=0.35, away=7.0, azimuth=0.0)
    assert "Another stem of 35 cm (13.8 in) stands 7.0 m (23.0 ft) to the north" in say(other)
    assert not named(("MRS",), Site())
    assert not named(("SRS basal",), Site(bases=(("the oak", np.array([0.0, 7.0, 1.0])),)))
    assert other_base(graph, alone(graph)) is None


def test_a_wire_at_zero_with_a_height_stops_as_many_anchors_as_one_without_z(tmp_path):
    """The line a GIS exports with z = 0 and height_m 7 through the crown: nothing is ranked, as with the height alone; it was passed over
    before."""
    graph = plain_tree()
    throws = [throw(graph, k, 0.6) for k in range(3)]
    usable = []
    for z in ([], [0]):
        path = tmp_path / f"{len(z)}.geojson"
        line = {"type": "LineString", "coordinates": [[-20, 1, *z], [20, 1, *z]]}
        wire = {"type": "Feature", "properties": {"kind": "conductor", "voltage_kv": 20, "height_m": 7}, "geometry": line}
        path.write_text(json.dumps({"type": "FeatureCollection", "features": [wire]}))
        site, _ = read_site(path, LOCAL, alone(graph).terrain)
        usable.append([p.name for p in ranked(graph, throws, site=site) if p.usable])

    assert [p.name for p in ranked(graph, throws) if p.usable]
    assert usable == [[], []]
