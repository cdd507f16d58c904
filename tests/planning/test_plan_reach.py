"""Coverage, fouled ropes and slips."""

from __future__ import annotations

import numpy as np
import pytest
from hands import tree
from strategies import alone, random_tree

from treescan.geometry import segment_segment
from treescan.loads.pull.load_cases import rope_angles
from treescan.loads.pull.shock import arc, pendulum_speed
from treescan.planning.reach.reach import reach
from treescan.planning.reach.sightline import Scene, first_fouls
from treescan.planning.reach.swing import slips
from treescan.planning.reach.work_scene import limb_of_work
from treescan.planning.settings import PlanningSettings
from treescan.planning.tie_in_point import Work
from treescan.planning.work.work_points import default_work
from treescan.reason import Reason
from treescan.trees.beside import Beside, Surroundings, Terrain

S = PlanningSettings()


def brute_force_foul(scene, anchor, point, own, work_limb, lean, near, far) -> int:
    """All limbs against one rope with the plain segment formula; the nearest to the tie-in point that bends it too much."""
    length = np.linalg.norm(point - anchor)
    if length <= near + far:
        return -1
    gap, s, t = segment_segment(anchor, point, scene.start, scene.end)
    push = scene.r_start + (scene.r_end - scene.r_start) * t - gap
    a, b = s * length, (1 - s) * length
    counts = ~np.isin(scene.limb, [*own, work_limb]) & (push > 0) & (a >= near) & (b >= far)
    counts[counts] = (push / np.maximum(a, 1e-9) + push / np.maximum(b, 1e-9))[counts] > lean
    rows = np.flatnonzero(counts)
    return int(scene.limb[rows[np.argmin(a[rows])]]) if len(rows) else -1


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("lean", [0.0, 0.01, 0.087])
def test_fouled_ropes_agree_with_brute_force(seed, lean):
    """The compiled sight line names the same limb as every limb tried one by one, and some ropes are fouled."""
    graph = random_tree(seed, height=14, limbs=12)
    beside = alone(graph)
    scene, work = Scene.of(graph, beside), default_work(graph, beside, S)
    limbs, anchor = limb_of_work(graph, work), graph.unions.place[-1] + [0.1, 0.0, 0.0]
    own = (0, int(graph.limb[graph.unions.node[-1]]))
    found = first_fouls(scene, anchor, work.xyz, own, limbs, lean, S.own_wood, S.hand_reach)
    expected = [brute_force_foul(scene, anchor, p, own, k, lean, S.own_wood, S.hand_reach) for p, k in zip(work.xyz, limbs, strict=True)]

    assert found.tolist() == expected
    assert lean > 0 or max(expected) >= 0


@pytest.mark.parametrize("seed", range(3))
def test_coverage_agrees_with_counting(seed):
    """The share served is the counted weight of points below, within 45 degrees and not fouled."""
    graph = random_tree(seed, height=16, limbs=14)
    beside = alone(graph)
    scene, work = Scene.of(graph, beside), default_work(graph, beside, S)
    limbs, own = limb_of_work(graph, work), (0, 0)
    anchor = graph.unions.place[-2]
    r = reach(graph, scene, anchor, own, work, limbs, S)
    counted = 0.0
    for p, k, w in zip(work.xyz, limbs, work.weight, strict=True):
        d = p - anchor
        below = d[2] < 0
        ok = below and np.hypot(d[0], d[1]) <= -d[2] * np.tan(np.radians(45)) + 1e-12
        fouled = brute_force_foul(scene, anchor, p, own, k, S.lean_limit, S.own_wood, S.hand_reach) >= 0
        counted += w * (ok and not fouled)

    assert r.share == pytest.approx(counted / work.weight.sum(), rel=1e-12)
    assert [s for _, s in r.share_at] == sorted(s for _, s in r.share_at)
    assert dict(r.share_at)[np.pi / 4] == pytest.approx(r.share)
    assert 0 < r.share < 1


def test_rope_angle_is_reach_over_height():
    """R = h tan(angle): one metre out at one metre down is 45 degrees; straight below is 0; level is 90; above is more."""
    top = np.array([0.0, 0.0, 10.0])
    angles = np.degrees(rope_angles(top, np.array([[1.0, 0, 9], [0, 0, 2], [3, 0, 10], [1, 0, 11.0]])))

    assert angles == pytest.approx([45, 0, 90, 135])


def two_stems():
    """Tie-in stem at x = 0, a thick second stem at x = 2, work beyond it at x = 4 and before it at x = 1."""
    return tree(
        ([[0, 0, 0], [0, 0, 12]], 0.2, 0.1),
        ([[0, 0, 1], [2, 0, 2], [2, 0, 12]], 0.25, 0.2),
        ([[2, 0, 7], [4, 0, 7.2]], 0.06, 0.03),
        ([[0, 0, 7], [1, 0, 7.2]], 0.06, 0.03),
    )


def test_a_stem_in_the_way_fouls_the_rope():
    """Work behind another stem is not served; the fouling limb is that stem; work in front of it is served."""
    graph = two_stems()
    scene = Scene.of(graph, alone(graph))
    work = Work(np.array([[4.0, 0, 7.2], [1.0, 0, 7.2]]), ("behind", "before"), ("prune",) * 2, np.ones(2))
    limbs = limb_of_work(graph, work)
    other = int(graph.limb[np.argmin(np.linalg.norm(graph.xyz - [2, 0, 11], axis=1))])
    mine = int(graph.limb[np.argmin(np.linalg.norm(graph.xyz - [0, 0, 11], axis=1))])
    r = reach(graph, scene, np.array([0.0, 0, 11.5]), (mine, mine), work, limbs, S)

    assert r.served.tolist() == [False, True]
    assert r.fouled.tolist() == [other, -1]
    assert r.share == 0.5


def test_a_twig_halfway_down_a_long_rope_is_no_obstacle():
    """A 5 cm limb across the middle of a 10 m rope bends it by about a degree and does not foul it."""
    graph = tree(
        ([[0, 0, 0], [0, 0, 12]], 0.2, 0.1),
        ([[0, 0, 6], [1.1, -1, 6], [1.1, 1, 6]], 0.03, 0.02),
        ([[0, 0, 1], [2, 0, 1.5]], 0.05, 0.03),
    )
    scene = Scene.of(graph, alone(graph))
    work = Work(np.array([[2.0, 0, 1.5]]), ("low",), ("prune",), np.ones(1))
    strict = first_fouls(scene, np.array([0.0, 0, 11.5]), work.xyz, (0, 0), limb_of_work(graph, work), 0.0, 0.5, 0.8)

    assert strict[0] >= 0
    assert reach(graph, scene, np.array([0.0, 0, 11.5]), (0, 0), work, limb_of_work(graph, work), S).served[0]


def test_a_slip_towards_the_stem_hits_it_at_pendulum_speed():
    """From 3 m out the climber swings into the stem, at the speed sqrt(2 g L (cos b - cos a)) of that place on the arc."""
    graph = tree(([[0, 0, 0], [0, 0, 12]], 0.2, 0.15), ([[0, 0, 6], [3, 0, 7]], 0.08, 0.05))
    scene = Scene.of(graph, alone(graph))
    anchor, start = np.array([0.0, 0, 11.0]), np.array([3.0, 0, 7.0])
    own = limb_of_work(graph, Work(start[None], ("w",), ("p",), np.ones(1)))
    (s,) = slips(graph, scene, anchor, start[None], own, S.body_radius, S.push_off)
    end = s.path[-1] - anchor
    a, b = np.arctan2(3, 4), np.arctan2(np.hypot(end[0], end[1]), -end[2])

    assert s.hits.code == "the_stem"
    assert s.speed == pytest.approx(float(pendulum_speed(5.0, a, b)))
    assert np.hypot(end[0], end[1]) < 0.2 + S.body_radius + 0.2


def test_a_low_swing_meets_the_ground():
    """A rope longer than the tie-in point is high brings the climber to the ground, and that is said."""
    graph = tree(([[0, 0, 0], [0, 0, 6]], 0.05, 0.04), ([[0, 0, 3], [0, 4, 3.2]], 0.05, 0.03))
    scene = Scene.of(graph, Beside(Terrain.flat(1.5)))
    (s,) = slips(graph, scene, np.array([0.0, 0, 6.0]), np.array([[4.0, 0, 2.9]]), np.array([-1], np.int32), 0.3, 1.0)

    assert s.hits == Reason("hits_feet_first", hits=Reason("hits_ground"))


def test_a_wall_in_the_arc_is_named():
    """Voxels of a building in the swept arc are what the slip hits."""
    graph = tree(([[0, 0, 0], [0, 0, 12]], 0.02, 0.01), ([[0, 0, 6], [0, 3, 7]], 0.02, 0.01))
    wall = np.array([[1.5, y, z] for y in np.arange(-1, 1, 0.2) for z in np.arange(0, 12, 0.2)])
    scene = Scene.of(graph, Beside(Terrain.flat(0.0), surroundings=Surroundings(wall, np.full(len(wall), 1, np.uint8), 0.2)))
    (s,) = slips(graph, scene, np.array([0.0, 0, 11.0]), np.array([[4.0, 0, 5.0]]), np.array([-1], np.int32), 0.35, 0.5)

    assert s.hits == Reason("hits_beside_the_tree", kind="building")
    assert s.path[-1, 0] > 1.4


def test_the_arc_keeps_the_rope_length():
    """All points of the swept arc lie one rope length from the tie-in point, and it ends mirrored on the far side."""
    anchor, start = np.array([1.0, 2, 9]), np.array([3.0, 5, 4])
    path, angle = arc(anchor, start)

    assert np.linalg.norm(path - anchor, axis=1) == pytest.approx(np.linalg.norm(start - anchor))
    assert path[0] == pytest.approx(start)
    assert path[-1] == pytest.approx([-1, -1, 4])
    assert angle[0] == pytest.approx(-angle[-1])


def test_reach_does_not_change_when_the_tree_is_turned_or_moved():
    """Turned about the vertical and moved to other coordinates the tree is served the same."""
    from treescan.geometry import rotated_z
    from treescan.wood.topology.assemble import assemble

    graph = random_tree(5)
    moved = assemble(rotated_z(graph.xyz, 1.1) + np.array([300.0, -40, 12]), graph.radius, graph.parent, segment_radius=graph.segment_radius)
    shares = []
    for g in (graph, moved):
        work = default_work(g, alone(g), S)
        shares.append(reach(g, Scene.of(g, alone(g)), g.unions.place[-1], (0, 0), work, limb_of_work(g, work), S).share)

    assert shares[0] == pytest.approx(shares[1], abs=1e-9)
