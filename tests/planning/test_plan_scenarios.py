"""Invented jobs, run through planning with the loads room's own checks; each answer is argued in its docstring. Places and trees are made up."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hands import ASSESSABLE, S, of_code, only, rank, table, throw, tree
from loads.by_hand import check_anchors
from strategies import random_tree
from test_plan_training_trees import LOADS

from treescan.loads.material.wood_strength import wood_of
from treescan.loads.rope.strung_rope import fixed_point, hanging_between
from treescan.outputs.text.say import say_all
from treescan.planning.access.approach import BASAL, OTHER, recommend
from treescan.planning.candidates.candidates import candidate_configurations, candidate_unions
from treescan.planning.climb.climb_plan import Climbers, climb_plan
from treescan.planning.climb.rescue import corridor, corridors
from treescan.planning.climb.wires import wires_claimed
from treescan.planning.ranking.overrides import Override, with_overrides
from treescan.planning.reach.clearances import site_warnings
from treescan.planning.reach.sightline import Scene
from treescan.planning.reach.swing import slips
from treescan.planning.reach.ways_to_work import access_bias, reached_shares, ways_to_work
from treescan.planning.reach.work_scene import limb_of_work
from treescan.planning.removal.stages import stages
from treescan.planning.sets.sets import anchor_set, one_per_union, two_line_set
from treescan.planning.settings import SYSTEMS
from treescan.planning.tree_context import TreeContext
from treescan.planning.work.removal import Removal, cut_limb, cut_stem
from treescan.planning.work.work_points import default_work, sample_work, work_at_points
from treescan.reason import Reason, has
from treescan.throw.scene.stances import standing_places
from treescan.throw.settings import ThrowSettings
from treescan.trees.beside import Beside, Conductor, Site, Surroundings, Terrain
from treescan.units import G
from treescan.wood.graph import ScanFitness

FLAT = Beside(Terrain.flat(0.0))


def judged(graph, throws, *, beside=FLAT, site=None, systems=("MRS",), species="Quercus robur", work=None, fitness=ASSESSABLE, settings=S):
    """Candidates, real load checks, ranking."""
    t = table(graph, throws)
    work = work or default_work(graph, beside, settings)
    found = candidate_configurations(graph, beside, t, systems, settings)
    checks = check_anchors(graph, beside, wood_of(species, LOADS), [r for r, _ in found], work.xyz, LOADS, 1)
    return rank(TreeContext(graph, beside, site or Site(), work, settings), t, found, checks, fitness), work


def three_leaders():
    """A 3 m bole of 1 m, three leaders that lean 25 degrees out to 14 m, each with two limbs."""
    axes = [([[0, 0, 0], [0, 0, 3], *_leader(90)], 0.5, 0.12)]
    for azimuth in (210, 330):
        axes.append(([[0, 0, 3], *_leader(azimuth)], 0.28, 0.12))
    for azimuth in (90, 210, 330):
        top = np.array(_leader(azimuth)[-1])
        for share, turn in ((0.55, 60), (0.8, -60)):
            start = np.array([0, 0, 3]) + share * (top - [0, 0, 3])
            out = np.radians(azimuth + turn)
            axes.append(([start.tolist(), (start + np.array([1.6 * np.cos(out), 1.6 * np.sin(out), 1.2])).tolist()], 0.10, 0.04))
    return tree(*axes)


def _leader(azimuth_deg):
    a, lean = np.radians(azimuth_deg), np.tan(np.radians(25))
    return [[h * lean * np.cos(a), h * lean * np.sin(a), 3 + h] for h in (5.5, 11.0)]


def test_quillmoor_green_oak_needs_more_than_one_anchor():
    """Quillmoor Green, QG-07: a wide oak with three leaders, whole crown. Leaders 10 m apart at the top and a rope angle limit of 45 degrees:
    from one leader the outer parts of the two others lie too flat or behind wood, so no single tie-in point serves all that the set
    serves; the fewest that do sit on at least two leaders. Some slips swing the climber against the leader in the north
    (it is the stem of the trace), and it is named.
    """
    graph = three_leaders()
    points, work = judged(graph, [throw(graph, k, 0.3) for k in candidate_unions(graph, S)])
    chosen = anchor_set(points, work, S)
    best = max(p.reach.share for p in points if p.usable)
    sides = {int(np.degrees(np.arctan2(p.place[1], p.place[0])) // 120) for p in chosen.points}

    assert len(chosen.points) >= 2 and len(sides) >= 2
    assert best < chosen.share
    assert anchor_set(points, work, S, most=1).share == pytest.approx(best)
    scene, limb = Scene.of(graph, FLAT), limb_of_work(graph, work)
    found = [s for p in chosen.points for s in slips(graph, scene, p.place, work.xyz[p.reach.served], limb[p.reach.served], S.body_radius, S.push_off)]
    assert any(s.hits.code == "the_stem" and s.speed > 2 and s.path[-1][1] > 0 for s in found)
    assert all(p.reach.swing_speed > 2 for p in chosen.points)


def test_hollin_bank_ash_is_not_ranked_above_the_dead_top():
    """Hollin Bank, ash H3: the inspector states that everything above 14 m is dead. All candidates above 14 m fall out with his words; what is
    left below serves nothing of the upper crown; the beech beside it is named as something to trace, not ranked. When the inspector also refuses the unions below, other means are
    recommended.
    """
    graph = tree(
        ([[0, 0, 0], [0, 0, 20]], 0.3, 0.08), ([[0, 0, 8], [3, 0, 10]], 0.12, 0.05), ([[0, 0, 15], [-2, 0, 16.5]], 0.1, 0.05), ([[0, 0, 17.5], [1, 1, 18.8]], 0.08, 0.04)
    )
    beside = replace(FLAT, surroundings=Surroundings(stems=np.array([[6.0, 0, 0]]), stem_dbh=np.array([0.6])))
    throws = [throw(graph, k, 0.4) for k in range(3)]
    points, _ = judged(graph, throws, beside=beside, species="Fraxinus excelsior")
    dead = Override("dead", "inspector", "bark off, brackets", "2031-09-01", above=14.0)
    after = with_overrides(graph, points, [dead], S, 1)
    low = Override("refused", "inspector", "whole tree brittle", "2031-09-01", union="U01")
    none = with_overrides(graph, points, [dead, low], S, 1).points

    assert any(p.usable and p.place[2] > 14 for p in points)
    assert not any(p.usable and p.place[2] > 14 for p in after.points)
    assert all(g["why"] == "bark off, brackets" for p in after.points if p.place[2] > 14 for g in of_code(p.gates, "stated_against"))
    assert all(of_code(p.gates, "stated_against") for p in after.points if p.place[2] > 14)
    approach = recommend(graph, none, S, beside)
    assert approach.recommended.way == OTHER
    assert approach.instead[0].pros == (Reason("neighbour_stem", away=6.0, diameter=0.6),)


def ferrow_mill():
    """A 31 m poplar with limbs at 10, 14, 18, 22 and 26 m."""
    limbs = [([[0, 0, z], [2.5 * (-1) ** i, 0, z + 2]], 0.12 - 0.01 * i, 0.04) for i, z in enumerate((10, 14, 18, 22, 26))]
    return tree(([[0, 0, 0], [0, 0, 31]], 0.4, 0.05), *limbs)


def test_ferrow_mill_poplar_stage_by_stage():
    """Ferrow Mill: a 31 m poplar beside a roof, nine cuts from the top down: each lateral, then the stem above the next one. The climber plans
    to hang on U04 (22 m) until it goes and on U03 (18 m) after that. U04's limb is cut at stage 4 and U03's at stage 7: both are alarms
    at just these stages. At stage 5 the plan puts the rigging block on the climber's own union: the conflict is called out there and
    nowhere else. After stage 9 only the pole is left.
    """
    graph = ferrow_mill()
    points, _ = judged(graph, [throw(graph, k, 0.4, method="launcher") for k in range(5)], species="Populus nigra")
    limb = [int(graph.unions.arm_limb[graph.unions.laterals(k)[0]]) for k in range(5)]
    cuts = [
        cut_stem(graph, 28.5), cut_limb(graph, limb[4]), cut_stem(graph, 24.5), cut_limb(graph, limb[3]), cut_stem(graph, 21.0),
        cut_stem(graph, 19.5), cut_limb(graph, limb[2]), cut_limb(graph, limb[1]), cut_limb(graph, limb[0]),
    ]  # fmt: skip
    life = ("U04", "U04", "U04", "U04", "U03", "U03", "U03", "U01", "")
    node = graph.unions.node
    rigging = (-1, int(node[2]), int(node[2]), int(node[2]), int(node[2]), int(node[1]), int(node[1]), -1, -1)
    plan = stages(graph, Removal(tuple(cuts), life, rigging), points, 900.0, S)
    moves = [s.number for s in plan if has(s.alarms, "support_on_piece")]
    conflicts = [s.number for s in plan if has(s.alarms, "support_shares_rigging")]

    assert moves == [4, 7]
    assert conflicts == [5]
    assert plan[-1].spar and not any(s.spar for s in plan[:-1])
    assert all(s.mass.p5 < s.mass.median < s.mass.p95 for s in plan)


def test_bracken_hythe_conifer_is_a_line_over_several_whorls():
    """Bracken Hythe: an old whorled fir without a clean fork. Every throw catches lower whorls too (class 3), so nothing isolates; the basal line
    is the only thrown system, is ranked, and is the recommended approach. If the top branch gives out the rope drops onto the next whorl it lies
    over, 0.6 m lower: both legs gain 0.6 m, so the climber drops 1.2 m. The stub at 9.6 m, thinner than a forearm, is a trap: gated for a
    basal line, and no rope is laid over it, only round the stem above it.
    """
    whorl = [([[0, 0, z], [2.2, 0, z + 0.25]], 0.09, 0.04) for z in (9.0, 10.2, 10.8)]
    stub = ([[0, 0, 9.6], [0.8, 0, 9.7]], 0.03, 0.025)
    graph = tree(([[0, 0, 0], [0, 0, 14]], 0.3, 0.08), *whorl, stub)
    u = graph.unions
    rest = graph.xyz[int(u.arm_node[u.laterals(3)[0]])]
    line = replace(
        throw(graph, 3, 0.5, 3), supports=np.array([int(u.arm_node[u.laterals(3)[0]]), int(u.arm_node[u.laterals(2)[0]])], np.int32),
        captured_unions=("U03",), rest=rest, rest_distance=0.4, slides=False, settled=np.array([[6.0, 0, 0], rest, [0.4, 0, 10.3], [0.5, 0, 0]]),
    )  # fmt: skip
    work = work_at_points(graph, [[0.4, 2.5, 5], [0.4, 2.5, 7], [0.4, -2.5, 6]])
    points, _ = judged(graph, [line], systems=SYSTEMS, species="Picea abies", work=work)
    basal = only(points, "U04", "SRS basal")
    caught = [c for c in basal.check.catches if not c.ground]

    assert basal.usable and basal.throw.isolation_class == 3 and len(basal.check.configuration.via) == 1
    assert all(p.throw is None for p in points if p.system != "SRS basal")
    assert recommend(graph, points, S).recommended.way == BASAL
    assert caught[0].label == "U03" and caught[0].drop == pytest.approx(2 * 0.6, abs=0.15)
    assert of_code(only(points, "U02", "SRS basal").gates, "too_thin")
    assert all("round the stem" in p.hardware for p in points if p.label == "U02" and p.system != "SRS basal")


def test_cold_ash_lane_wire_is_never_called_clear():
    """Cold Ash Lane: a service wire 4 m from the crown, half of it missing from the scan, not on the site plan. Every candidate near it is gated at
    the distance for unknown voltage, the missing part is warned of, and no word grants a clearance. Drawn at 400 V it gates only within
    3.05 m of a climber's reach: the east throw whose arc crosses it is dropped, the west throw stays.
    """
    graph = tree(([[0, 0, 0], [0, 0, 14]], 0.25, 0.1), ([[0, 0, 6], [-2.5, 0, 8]], 0.1, 0.05), ([[0, 0, 9], [-2, 0.5, 11]], 0.09, 0.05))
    seen = np.array([[8.0, y, 7.0] for y in np.arange(-15, 0, 0.2)])
    beside = replace(FLAT, surroundings=Surroundings(seen, np.full(len(seen), 3, np.uint8), 0.2))
    east, west = throw(graph, 0, 0.5, stand=(14.0, 0, 0)), throw(graph, 1, 0.5, stand=(-7.0, 0, 0))
    unknown, work = judged(graph, [east, west], beside=beside)
    drawn = Site(conductors=(Conductor(np.array([[8.0, -30, 7], [8.0, 30, 7]]), 400.0),))
    known, _ = judged(graph, [east, west], site=drawn)
    context = TreeContext(graph, beside, Site(), work, S)
    warnings = (*wires_claimed(context, unknown), *site_warnings(beside, Site(), work.xyz, work.label, S.approach))
    text = " ".join(say_all((*warnings, *(r for p in unknown for r in p.reasons)))).lower()

    assert not any(p.usable for p in unknown)
    assert of_code(warnings, "wires_claimed")[0]["refused"] == len(unknown)
    assert "clear of" not in text and " safe" not in text
    assert only(known, "U01").throw is None
    assert only(known, "U02").throw is not None and only(known, "U02").usable


def test_otterdene_plot_reports_what_two_ropes_cannot_reach():
    """Otterdene, OD-2: 300 stratified sample points on 12 trees, at most two ropes a tree. The share reached is reported by height and distance;
    it falls outward, where a sample taken on ropes is thinnest, and the set of two serves at least as much as the best single one and at most
    what all anchors serve.
    """
    shares, points_in_all = [], 0
    for seed in range(12):
        graph = random_tree(seed, height=18, dbh=0.5, limbs=8)
        work = sample_work(graph, 25, seed, 3)
        points_in_all += len(work)
        points, _ = judged(graph, [throw(graph, k, 0.3) for k in candidate_unions(graph, S)], work=work)
        two, every = anchor_set(points, work, S, most=2), anchor_set(points, work, S)
        assert len(two.points) <= 2
        assert max((p.reach.share for p in points if p.usable), default=0.0) - 1e-9 <= two.share <= every.share + 1e-9
        ways = ways_to_work(graph, two.points, work, S)
        assert reached_shares(work, ways)["rope"] == pytest.approx(two.share)
        shares.append(access_bias(graph, work, ways))
    inner, outer = (np.mean([s.by_rope for tree_ in shares for s in tree_ if s.distance_class == d]) for d in (1, 3))

    assert points_in_all == 300
    assert inner > outer


def test_marl_steps_slope_makes_the_sides_differ():
    """Marl Steps: a tree on a 25 degree bank, the ground below it closed to the crew. Two mirrored limbs, one over the downhill, one over the
    uphill side: the downhill tie-in point needs more rope by twice the difference in ground height for a moving rope, and lowering there is
    the longer drop. One may stand only uphill, and a casualty lowered on the downhill side would land in the closed area: rescue lands uphill.
    """
    n = 60
    x = (np.arange(n) - n / 2 + 0.5) * 1.0
    ground = np.tile(np.tan(np.radians(25)) * x, (n, 1))
    beside = Beside(Terrain(ground, np.array([-n / 2, -n / 2]), 1.0, np.ones((n, n), bool)))
    graph = tree(([[0, 0, 0], [0, 0, 12]], 0.25, 0.1), ([[0, 0, 8], [2, 0, 10]], 0.1, 0.05), ([[0, 0, 8.25], [-2, 0, 10.25]], 0.1, 0.05))
    work = work_at_points(graph, [[0, 0, 4], [0, 0, 6]])
    points, _ = judged(graph, [throw(graph, 0), throw(graph, 1)], beside=beside, work=work)
    up, down = only(points, "U01"), only(points, "U02")
    scene = Scene.of(graph, beside)
    drops = [corridor(graph, scene, "w", np.array([x, 1.5, 7.0]), -1, S).height for x in (2.0, -2.0)]

    assert down.rope.length - up.rope.length == pytest.approx(2 * ((down.place[2] - up.place[2]) + np.tan(np.radians(25)) * (up.place[0] - down.place[0])), abs=0.05)
    assert drops[1] - drops[0] == pytest.approx(4 * np.tan(np.radians(25)), abs=0.05)
    closed = Site(no_stand=(np.array([[-30.0, -30], [-0.6, -30], [-0.6, 30], [-30, 30]]),))
    stand = standing_places(graph, beside, closed, ThrowSettings()).xyz
    sides = work_at_points(graph, [[1.5, 0.0, 9.5], [-1.5, 0.0, 9.75]])
    down_here = corridors(graph, scene, sides, limb_of_work(graph, sides), S, closed)
    assert len(stand) and stand[:, 0].min() > -0.6
    assert [c.blocked_by for c in down_here] == [None, Reason("over_no_stand", name=None)]
    plan = climb_plan(TreeContext(graph, beside, closed, work, S), points, Climbers(100 * G, two_people=False))
    (falls,) = of_code(plan.warnings, "ground_falls")
    assert np.degrees([falls["angle"], falls["downhill"]]) == pytest.approx([25.0, 270.0], abs=0.01)


def test_wick_end_asks_for_a_rescan():
    """Wick End: one-sided scan, wind, ivy. The scan's fitness is "not assessable": whatever the numbers say nothing is ranked, every candidate
    repeats what a rescan would need, and other means are recommended.
    """
    graph = three_leaders()
    why = (
        Reason("own_words", words="The north-west side was not seen and ivy hides the stem to 9 m."),
        Reason("own_words", words="Rescan from NW, leaf-off, on a still day."),
    )
    throws = [throw(graph, k, 0.9) for k in candidate_unions(graph, S)]
    points, _ = judged(graph, throws, fitness=ScanFitness("not assessable", why))

    assert points and {p.verdict for p in points} == {"not assessable"}
    assert all(tuple(r["why"] for r in of_code(p.reasons, "scan_not_assessable")) == why for p in points)
    assert recommend(graph, points, S).recommended.way == OTHER


def test_twin_gallow_oaks_flat_line_alarms_and_lowered_line_passes():
    """Twin Gallow Oaks: a line hung between two oaks 14 m apart over a compromised one. Strung nearly flat it alarms, with several times the
    climber's weight on each oak; lowered until the lines meet at 110 degrees it passes with less than the weight on each... for equal legs
    F = W / (2 sin 35) = 0.87 W.
    """
    a, b = np.array([0.0, 0, 13.0]), np.array([14.0, 0, 13.0])
    flat = hanging_between([a, b], [7.0, 0, 12.5], 100 * G)
    low = hanging_between([a, b], fixed_point([a, b], np.radians(110), 0.5), 100 * G)

    assert flat.flat and flat.tension.min() > 5 * 100 * G
    assert not low.flat
    assert low.tension == pytest.approx([100 * G / (2 * np.sin(np.radians(35)))] * 2, rel=1e-4)


def test_twin_gallow_oaks_plan_hangs_the_line_between_the_neighbours():
    """The oak between the two is dead from 4 m up and out of the ranking by the inspector's word. With anchors drawn in both neighbours the plan
    names the hung line, serves work a straight rope from either neighbour does not, and keeps it under 120 degrees."""
    graph = tree(([[0, 0, 0], [0, 0, 11]], 0.3, 0.1), ([[0, 0, 5], [2.5, 0, 7]], 0.1, 0.05), ([[0, 0, 7], [-2.5, 0, 9]], 0.1, 0.05))
    site = Site(anchors=(("west oak", np.array([-7.0, 1.0, 16.0])), ("east oak", np.array([7.0, 1.0, 16.0]))))
    work = work_at_points(graph, [[0, 0, 8], [0, 0, 9.5], [1.2, 0, 6], [-1.2, 0, 8]])
    points, _ = judged(graph, [throw(graph, 0), throw(graph, 1)], work=work)
    dead = Override("dead", "inspector", "hollow, brackets", "2031-09-01", above=4.0)
    points = with_overrides(graph, points, [dead], S, 1).points
    plan = climb_plan(TreeContext(graph, FLAT, site, work, S), points, Climbers(100 * G, two_people=False))
    (hung,) = plan.neighbours.hung

    assert not any(p.usable for p in points)
    assert hung.ends == ("west oak", "east oak") and not hung.lines.flat
    assert hung.reach.share == 1.0 > max(line.reach.share for line in plan.neighbours.straight)
    told = plan.neighbours.reasons()[-1][0]
    assert (told.code, told["first"], told["second"], told["share"]) == ("hung_running" if hung.runs else "hung_fixed", *hung.ends, 1.0)


def test_two_line_plan_keeps_to_different_wood():
    """Two-line working on the Quillmoor oak: wherever two lines are offered they hang on different leaders or limbs."""
    graph = three_leaders()
    points, work = judged(graph, [throw(graph, k, 0.3) for k in candidate_unions(graph, S)])
    plan = two_line_set(graph, points, work, S)
    both = plan.second >= 0

    assert both.any()
    assert np.all(plan.served[both] != plan.second[both])
    for i, j in {(int(x), int(y)) for x, y in zip(plan.served[both], plan.second[both], strict=True)}:
        a, b = plan.points[i].check.configuration, plan.points[j].check.configuration
        assert graph.limb[a.rest_node] != graph.limb[b.rest_node]
    assert len(plan.points) <= len(one_per_union(points))
