"""Which rigs are judged, and where their ropes bear."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hands import S, plain_tree, ranked, table, throw, tree
from strategies import alone, random_tree

from treescan.errors import BadInput
from treescan.planning.approach import recommend
from treescan.planning.candidates import BASE_HEIGHT, candidate_rigs, candidate_unions
from treescan.planning.contact import contact_point, place_on_limb
from treescan.planning.settings import SYSTEMS


def rigs(graph, throws=(), systems=(), settings=S):
    return candidate_rigs(graph, alone(graph), table(graph, throws), systems, settings)


def test_every_union_meets_every_system():
    """Three unions, three systems, one hardware each: nine rigs; without a throw each is set by climbing."""
    found = rigs(plain_tree())

    assert [(r.union, r.system) for r, _ in found] == [(u, s) for u in range(3) for s in SYSTEMS]
    assert all(t is None for _, t in found)


def test_a_throw_over_several_limbs_serves_only_a_basal_line():
    """Class 3 sets a basal line; canopy and moving rope at the same union are left to climbing."""
    graph = plain_tree()
    found = {r.system: t for r, t in rigs(graph, [throw(graph, 1, 0.5, 3)]) if r.union == 1}

    assert found["SRS basal"] is not None
    assert found["MRS"] is None and found["SRS canopy"] is None


def test_the_likelier_throw_wins():
    """Of two classes a system can use the one with the larger chance is taken."""
    graph = plain_tree()
    found = {r.system: t for r, t in rigs(graph, [throw(graph, 1, 0.2, 1), throw(graph, 1, 0.6, 3)]) if r.union == 1}

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
    (rig,) = [r for r, _ in rigs(graph, [t], ("SRS basal",)) if r.union == 2]
    mirrored = replace(t, supports=t.supports[::-1].copy())
    (other,) = [r for r, _ in rigs(graph, [mirrored], ("SRS basal",)) if r.union == 2]

    assert rig.via.tolist() == [mid, low]
    assert rig.base[0] < 0
    assert other.via.tolist() == [mid, low]
    assert other.base[0] > 0


def test_basal_anchor_is_tied_to_the_stem_foot():
    """The base anchor lies on the bark of the stem, a metre above its foot."""
    graph = plain_tree()
    for rig, _ in rigs(graph, [throw(graph, k) for k in range(3)], ("SRS basal",)):
        assert np.hypot(*(rig.base[:2] - graph.xyz[0, :2])) == pytest.approx(graph.radius[0])
        assert rig.base[2] == graph.xyz[0, 2] + BASE_HEIGHT


def test_hand_set_ropes_bear_just_outside_the_stem():
    """A rope laid by hand lies on the limb, outside the stem's bark and within half a metre of it."""
    graph = random_tree(3, height=20, dbh=0.6, limbs=20)
    for rig, _ in rigs(graph, systems=("MRS",)):
        place = contact_point(graph, rig)
        d = np.linalg.norm(place - graph.unions.place[rig.union])

        assert d >= 0.45 * graph.unions.parent_diameter[rig.union]
        assert d <= graph.unions.parent_diameter[rig.union] + 0.3
        assert graph.limb[rig.rest_node] in graph.unions.arm_limb[graph.unions.arms(rig.union)]


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
    few = candidate_unions(graph, replace(S, most_unions=5))
    size = [graph.unions.height[k] * graph.unions.arm_diameter[graph.unions.laterals(k)].max() for k in candidate_unions(graph, S)]
    kept = [graph.unions.height[k] * graph.unions.arm_diameter[graph.unions.laterals(k)].max() for k in few]

    assert len(few) == 5
    assert sorted(kept) == pytest.approx(sorted(size)[-5:])


def test_unknown_system_is_refused():
    """A system nobody knows is bad input, with the known ones named."""
    with pytest.raises(BadInput, match="SRS canopy"):
        rigs(plain_tree(), systems=("DdRT",))


def test_a_tree_of_thin_limbs_is_listed_with_its_reasons():
    """Limbs of 3 cm on a 20 cm stem: all listed, none ranked, each says too thin and that a rope round the stem was not judged."""
    graph = tree(([[0, 0, 0], [0, 0, 12]], 0.1, 0.05), ([[0, 0, 6], [1.5, 0, 6.6]], 0.017, 0.011), ([[0, 0, 8], [-1.5, 0, 8.6]], 0.017, 0.011))
    points = ranked(graph, [throw(graph, 0), throw(graph, 1)])

    assert len(points) == 2 and not any(p.usable for p in points)
    assert all(any(g.startswith("Too thin") and "round the stem" in g for g in p.gates) for p in points)
    assert "too thin" in recommend(graph, table(graph), points, S)[1]
