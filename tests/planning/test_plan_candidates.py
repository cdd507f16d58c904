"""Which configurations are judged, and where their ropes bear."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hands import S, of_code, plain_tree, rank, ranked, table, throw, tree
from loads.by_hand import check_anchors
from strategies import alone, random_tree

from treescan.errors import BadInput
from treescan.loads.material.wood_strength import wood_of
from treescan.loads.settings import LoadSettings
from treescan.outputs.text.say import say
from treescan.planning.access.access_order import LANYARDS, lanyard_steps
from treescan.planning.access.approach import recommend
from treescan.planning.candidates.candidates import BASE_HEIGHT, candidate_configurations, candidate_unions, round_the_stem
from treescan.planning.candidates.contact import base_way, contact_point, own_limbs, place_on_limb, round_stem
from treescan.planning.sets.independent import independent, on_other_limbs, shared_governing
from treescan.planning.settings import SYSTEMS
from treescan.planning.tree_context import TreeContext
from treescan.planning.work.work_points import work_at_points
from treescan.reason import Reason
from treescan.trees.beside import Site


def configurations(graph, throws=(), systems=(), settings=S):
    return candidate_configurations(graph, alone(graph), table(graph, throws), systems, settings)


def test_every_union_meets_every_system():
    """Three unions, three systems, one hardware each: nine configurations; without a throw each is set by climbing."""
    found = configurations(plain_tree())

    assert [(r.union, r.system) for r, _ in found] == [(u, s) for u in range(3) for s in SYSTEMS]
    assert all(t is None for _, t in found)


def test_a_throw_over_several_limbs_serves_only_a_basal_line():
    """Class 3 sets a basal line; canopy and moving rope at the same union are left to climbing."""
    graph = plain_tree()
    found = {r.system: t for r, t in configurations(graph, [throw(graph, 1, 0.5, 3)]) if r.union == 1}

    assert found["SRS basal"] is not None
    assert found["MRS"] is None and found["SRS canopy"] is None


def test_the_likelier_throw_wins():
    """Of two classes a system can use the one with the larger chance is taken."""
    graph = plain_tree()
    found = {r.system: t for r, t in configurations(graph, [throw(graph, 1, 0.2, 1), throw(graph, 1, 0.6, 3)]) if r.union == 1}

    assert found["MRS"].isolation_class == 1
    assert found["SRS basal"].isolation_class == 3


def test_supports_of_a_line_become_via_points_from_the_union_outward():
    """A line that bears on two limbs beyond the union.

    They are the base leg's supports, nearest first, and the base lies on their side.
    """
    graph = plain_tree()
    u = graph.unions
    wanted, mid, low = (int(u.arm_node[u.laterals(k)[0]]) for k in (2, 1, 0))
    t = replace(
        throw(graph, 2, 0.5, 3),
        supports=np.array([wanted, mid, low], np.int32),
        settled=np.array([[6.0, 0, 0], u.place[2], u.place[1], u.place[0], [-6.0, 0, 0]]),
        rest=u.place[2] + 0.2 * graph.direction[wanted],
    )
    (configuration,) = [r for r, _ in configurations(graph, [t], ("SRS basal",)) if r.union == 2]
    mirrored = replace(t, supports=t.supports[::-1].copy())
    (other,) = [r for r, _ in configurations(graph, [mirrored], ("SRS basal",)) if r.union == 2]

    assert configuration.via.tolist() == [mid, low]
    assert configuration.base[0] < 0
    assert other.via.tolist() == [mid, low]
    assert other.base[0] > 0


def over_three(graph, order=(0, 2, 1)):
    """A class 3 throw at the topmost union whose line lies over limbs on both its sides, in the given order of unions from the thrower."""
    u = graph.unions
    out = [int(graph.limbs.nodes[u.arm_limb[u.laterals(k)[0]]][3]) for k in order]
    rest = graph.xyz[out[order.index(2)]]
    path = [[6.0, 0, 0], *(graph.xyz[n] for n in out), [-6.0, 0, 0]]
    return replace(throw(graph, 2, 0.5, 3), supports=np.array(out, np.int32), settled=np.array(path), rest=rest, rest_distance=0.9), out


def test_limbs_under_the_climbers_leg_stay_in_the_configuration():
    """A line over a, the union, b: the base leg gets one, the other stays under the climber's leg, from which the climber hangs."""
    graph = plain_tree()
    t, out = over_three(graph)
    (configuration,) = [r for r, _ in configurations(graph, [t], ("SRS basal",)) if r.union == 2]
    assert configuration.via.tolist() == [out[0]] and configuration.beyond.tolist() == [out[2]]
    segment = graph.xyz[[out[2], graph.parent[out[2]]]]
    assert contact_point(graph, configuration) == pytest.approx(segment.mean(axis=0))
    assert own_limbs(graph, configuration) == (0, int(graph.limb[out[2]]))
    way = base_way(graph, configuration)
    assert way[0] == pytest.approx(contact_point(graph, configuration)) and way[-1] == pytest.approx(configuration.base) and len(way) == 4
    clean, _ = over_three(graph, (0, 1, 2))
    (configuration,) = [r for r, _ in configurations(graph, [clean], ("SRS basal",)) if r.union == 2]
    assert len(configuration.beyond) == 0 and len(configuration.via) == 2


def test_a_line_with_limbs_under_the_climbers_leg_counts_half():
    """A cleaner line with more than half its chance is taken for a basal line; with less it is not."""
    graph = plain_tree()
    dirty, _ = over_three(graph)
    for chance, taken in ((0.3, 2), (0.2, 3)):
        (found,) = [t for r, t in configurations(graph, [dirty, throw(graph, 2, chance, 2)], ("SRS basal",)) if r.union == 2]
        assert found.isolation_class == taken


def test_the_doubt_names_what_the_climber_would_hang_from():
    """Limb, diameter, force and margin of what lies under the climber's leg; reach and rope are told from there; a configuration without it says nothing."""
    graph = plain_tree()
    t, out = over_three(graph)
    throws, work = table(graph, [t]), work_at_points(graph, [[-1.5, 0.4, 3.0], [-1.4, -0.3, 4.0]])
    found = candidate_configurations(graph, alone(graph), throws, ("SRS basal",), S)
    checks = check_anchors(graph, alone(graph), wood_of("Quercus robur", LoadSettings()), [r for r, _ in found], work.xyz, LoadSettings(), 1)
    points = {p.union: p for p in rank(TreeContext(graph, alone(graph), Site(), work, S), throws, found, checks)}
    p = points[2]
    (doubt,) = of_code(p.doubts, "hangs_from_outer_limbs")
    (bears,) = doubt["limbs"]
    force = float(np.linalg.norm(p.check.contact_forces, axis=1)[2])
    assert bears == Reason("limb_bears", limb=int(graph.limb[out[2]]), diameter=2 * float(graph.segment_radius[out[2]]), force=force)
    assert (doubt["union"], doubt["p5"]) == ("U03", p.check.outer.p5)
    assert say(doubt).startswith("The climber would not hang from U03 but from limbs farther out, under the climber's leg")
    assert p.place == pytest.approx(contact_point(graph, p.check.configuration))
    assert not any(of_code(points[k].doubts, "hangs_from_outer_limbs") for k in (0, 1))
    assert p.check.check.margin.p5 <= p.check.outer.p5 * 1.05


def test_a_dead_limb_under_the_climbers_leg_stands_against_the_line():
    """The climber would hang from it: a gate as for a dead limb at the union; the same line on the other side of the union has none."""
    graph = plain_tree()
    flagged = replace(graph, unions=replace(graph.unions, flags=((), ("dead suspect",), ())))
    work = work_at_points(graph, [[-1.5, 0.4, 3.0]])
    for order in ((0, 2, 1), (1, 2, 0), (0, 1, 2)):
        t, out = over_three(flagged, order)
        throws = table(flagged, [t])
        found = candidate_configurations(flagged, alone(flagged), throws, ("SRS basal",), S)
        checks = check_anchors(flagged, alone(flagged), wood_of("oak", LoadSettings()), [r for r, _ in found], work.xyz, LoadSettings(), 1)
        points = rank(TreeContext(flagged, alone(flagged), Site(), work, S), throws, found, checks)
        p = next(p for p in points if p.union == 2)
        under = {int(flagged.limb[n]) for n in p.check.configuration.beyond}
        assert bool(of_code(p.gates, "outer_limb_dead")) == (int(flagged.limb[out[order.index(1)]]) in under)


def test_two_anchors_are_apart_only_where_all_that_holds_the_climber_is():
    """A rope at one union that hangs from a limb of another is not independent of a rope there."""
    graph = plain_tree()
    points = {p.union: p for p in ranked(graph, [throw(graph, k) for k in range(3)], systems=("SRS basal",))}
    top, low = points[2], points[1]
    configuration = replace(top.check.configuration, beyond=np.array([low.check.configuration.rest_node], np.int32))
    assert independent(graph, top, low)
    assert not independent(graph, replace(top, check=replace(top.check, configuration=configuration)), low)


def test_basal_anchor_is_tied_to_the_stem_foot():
    """The base anchor lies on the bark of the stem, a metre above its foot."""
    graph = plain_tree()
    for configuration, _ in configurations(graph, [throw(graph, k) for k in range(3)], ("SRS basal",)):
        assert np.hypot(*(configuration.base[:2] - graph.xyz[0, :2])) == pytest.approx(graph.radius[0])
        assert configuration.base[2] == graph.xyz[0, 2] + BASE_HEIGHT


def test_a_drawn_base_takes_the_basal_lines():
    """With a base drawn 8 m off, basal lines are tied there and say so, whichever way they are set; of two the one nearer to where the line comes
    down; one above the union is none; moving ropes are not touched; one far away is a slip of the pen."""
    graph = plain_tree()
    oak, ash = ("the oak", np.array([-8.0, 1.0, 1.0])), ("the ash", np.array([8.0, 0.0, 1.0]))
    throws = [throw(graph, k) for k in range(2)]  # these land at x = -6 and set the climber's side east
    made = candidate_configurations(graph, alone(graph), table(graph, throws), ("MRS", "SRS basal"), S, (oak, ash))
    for configuration, t in made:
        if configuration.system == "MRS":
            assert configuration.tied_to == ""
        else:
            comes_down = contact_point(graph, configuration) if t is None else t.stand
            nearer = min((oak, ash), key=lambda b: np.hypot(*(b[1] - comes_down)[:2]))
            assert (configuration.tied_to, *configuration.base) == (nearer[0], *nearer[1])
    high = candidate_configurations(graph, alone(graph), table(graph, throws), ("SRS basal",), S, (("the roof", np.array([4.0, 0.0, 30.0])),))
    assert all(configuration.tied_to == "" and configuration.base[2] == BASE_HEIGHT for configuration, _ in high)
    with pytest.raises(BadInput, match="the oak"):
        candidate_configurations(graph, alone(graph), table(graph, throws), ("SRS basal",), S, (("the oak", np.array([80.0, 0.0, 1.0])),))


def test_hand_set_ropes_bear_just_outside_the_stem():
    """A rope laid by hand lies on the limb, outside the stem's bark and within half a metre of it."""
    graph = random_tree(3, height=20, dbh=0.6, limbs=20)
    over_limbs = [configuration for configuration, _ in configurations(graph, systems=("MRS",)) if not round_stem(graph, configuration)]
    assert over_limbs
    for configuration in over_limbs:
        place = contact_point(graph, configuration)
        d = np.linalg.norm(place - graph.unions.place[configuration.union])

        assert d >= 0.45 * graph.unions.parent_diameter[configuration.union]
        assert d <= graph.unions.parent_diameter[configuration.union] + 0.3
        assert graph.limb[configuration.rest_node] in graph.unions.arm_limb[graph.unions.arms(configuration.union)]


def test_place_on_limb_walks_the_axis():
    """0.5 m out on a straight limb at 45 degrees lies 0.354 m out and 0.354 m up; beyond the tip it stays at the tip."""
    graph = plain_tree()
    node = int(graph.unions.arm_node[graph.unions.laterals(0)[0]])
    _, p = place_on_limb(graph, 0, node, 0.5)
    _, tip = place_on_limb(graph, 0, node, 99.0)

    assert p == pytest.approx([0.5 / np.sqrt(2), 0, 5 + 0.5 / np.sqrt(2)])
    assert tip == pytest.approx([3, 0, 8])


def test_the_number_of_unions_is_held():
    """Never more unions than the setting, and the highest and thickest are kept."""
    graph = random_tree(3, height=24, dbh=0.9, limbs=30)
    few = candidate_unions(graph, replace(S, max_unions=5))
    size = [graph.unions.height[k] * graph.unions.arm_diameter[graph.unions.laterals(k)].max() for k in candidate_unions(graph, S)]
    kept = [graph.unions.height[k] * graph.unions.arm_diameter[graph.unions.laterals(k)].max() for k in few]

    assert len(few) == 5
    assert sorted(kept) == pytest.approx(sorted(size)[-5:])


def test_unknown_system_is_refused():
    """A system nobody knows is bad input, with the known ones named."""
    with pytest.raises(BadInput, match="SRS canopy"):
        configurations(plain_tree(), systems=("DdRT",))


def test_a_tree_of_thin_limbs_is_listed_with_its_reasons():
    """Limbs of 2.4 cm on a 20 cm stem, too thin even to keep a sling up: all listed, none ranked, each says too thin."""
    graph = tree(([[0, 0, 0], [0, 0, 12]], 0.1, 0.05), ([[0, 0, 6], [1.5, 0, 6.6]], 0.012, 0.008), ([[0, 0, 8], [-1.5, 0, 8.6]], 0.012, 0.008))
    points = ranked(graph, [throw(graph, 0), throw(graph, 1)])

    assert len(points) == 2 and not any(p.usable for p in points)
    assert all(of_code(p.gates, "too_thin") for p in points)
    (why,) = recommend(graph, points, S).recommended.pros
    assert why["gate"] == "too_thin"


def whorled(limb=0.02, stub_at=None, stem=0.16):
    """A conifer: a stem of 14 m with a whorl of four thin level limbs every 0.8 m from 3 m up; at `stub_at` they are stubs of 1 cm radius."""
    axes = [([[0, 0, 0], [0, 0, 14]], stem, 0.02)]
    for i, z in enumerate(np.arange(3.0, 13.5, 0.8)):
        for turn in (0, 90, 180, 270):
            a = np.radians(turn + 45 * (i % 2))
            thin = stub_at is not None and abs(z - stub_at) < 0.4
            r, far = (0.01, 0.5) if thin else (limb, 1.8)
            axes.append(([[0, 0, z], [far * np.cos(a), far * np.sin(a), z + 0.1]], r, 0.6 * r))
    return tree(*axes, step=0.2)


def test_a_stem_above_thin_whorls_is_choked():
    """Limbs of 4 cm bear no rope, the stem does: moving and canopy ropes go round the stem, at the union and with the stem's diameter; a basal
    line still lies over the limbs and is refused as too thin. Without a throw the way up is by lanyards, whorl by whorl, in one step."""
    graph = whorled()
    points = ranked(graph, systems=())
    round_it = [p for p in points if round_stem(graph, p.check.configuration)]

    assert round_it and {p.system for p in round_it} == {"MRS", "SRS canopy"}
    assert all("round the stem" in p.hardware and p.throw is None for p in round_it)
    assert all(np.allclose(p.place, graph.unions.place[p.union]) for p in round_it)
    assert any(p.usable for p in round_it)
    assert all(not g["stem"] for p in points if p.system == "SRS basal" for g in of_code(p.gates, "too_thin"))
    assert all(of_code(p.gates, "too_thin") for p in points if p.system == "SRS basal")
    best = points[0]
    assert len(best.access) == 3 and best.access[-1].how == LANYARDS
    round_stem_kit = [k["diameter"] for k in best.rope.kit if k.code in {"kit_stem_choke", "kit_friction_saver"}]
    assert round_stem_kit == [2 * graph.segment_radius[best.check.configuration.rest_node]]


def test_what_keeps_a_stem_from_being_choked():
    """Too thin a stem, no limb to keep the sling up, a limb thick enough to bear the rope itself, a leader that leans too far: none is choked."""

    def choked(graph, settings=S):
        return [k for k in range(len(graph.unions)) if round_the_stem(graph, k, settings)]

    low = choked(whorled())
    assert low and len(low) < len(whorled().unions)  # the top of the stem is under 8 cm
    assert not choked(whorled(stem=0.035))
    assert not choked(whorled(limb=0.012))
    assert not choked(whorled(limb=0.05))
    assert not choked(whorled(), replace(S, upright_deg=90.0, min_limb=0.5))
    leaning = tree(([[0, 0, 0], [0, 0, 3], [6, 0, 6]], 0.16, 0.08), ([[3, 0, 4.5], [3, 1, 5]], 0.02, 0.01))
    assert not choked(leaning)


def test_one_row_for_places_a_hand_apart():
    """Whorls 0.8 m apart are all listed; when only places a metre and more apart are wanted, every second one is."""
    graph = whorled()
    every = candidate_unions(graph, S)
    fewer = candidate_unions(graph, replace(S, whorl_gap=1.0))
    heights = np.sort(graph.unions.height[list(fewer)])
    stem = [k for k in fewer if round_the_stem(graph, k, S)]

    assert len(fewer) < len(every)
    assert np.diff(np.sort(graph.unions.height[stem])).min() >= 1.0
    assert len(heights) == len(fewer)


def test_lanyards_need_limbs_within_reach_and_a_thick_stem():
    """The way up by lanyards ends below a gap of more than the reach, and where the stem gets thinner than a forearm."""
    graph = whorled()
    gapped = tree(([[0, 0, 0], [0, 0, 14]], 0.16, 0.06), *[([[0, 0, z], [1.5, 0, z]], 0.02, 0.01) for z in (2.0, 3.0, 4.0, 8.0, 9.0)])
    top = max(u for _, u in lanyard_steps(graph, S))
    pairs = {(round(float(gapped.unions.height[i])), round(float(gapped.unions.height[j]))) for i, j in lanyard_steps(gapped, S)}

    assert pairs == {(2, 3), (3, 4), (8, 9)}
    assert 2 * graph.segment_radius[graph.unions.node[top]] >= S.min_limb
    assert graph.unions.height[top] < graph.unions.height.max()


def test_two_slings_on_one_stem_share_what_governs_the_lower():
    """Round one stem a lower anchor hangs on other wood from 1.25 times the thickness on; what governs it carries the upper one all
    the same, so the two are never called independent."""
    graph = whorled()
    points = [p for p in ranked(graph, systems=("MRS",)) if p.usable]
    size = {p.label: 2 * float(graph.segment_radius[p.check.configuration.rest_node]) for p in points}
    for a in points:
        for b in points:
            if a.union != b.union:
                thick, thin = max(size[a.label], size[b.label]), min(size[a.label], size[b.label])
                assert on_other_limbs(graph, a, b, 1.25) == (thick >= 1.25 * thin)
                assert not independent(graph, a, b, 1.25) and shared_governing(graph, a, b) is not None
