"""What the line lies over and how it settles, against shapely and against distances worked out by brute force."""

import dataclasses
import itertools

import numpy as np
import pytest
from hand_made_limbs import EAST, Limb, scene_of, upright
from shapely import LineString, Point, Polygon, unary_union
from strategies import random_tree

from treescan.geometry import point_segment
from treescan.throw.ballistics.flight import PIECES, flights
from treescan.throw.detail.followed import follow_throw, in_space
from treescan.throw.detail.taut_line import slice_outline, taut_line
from treescan.throw.outcome.ends import HIT_LIMB, LANDED
from treescan.throw.outcome.many_throws import table_throws, throw_many
from treescan.throw.settings import ThrowSettings

SETTINGS = ThrowSettings()


def _throws(seed, count, farthest=10.0, aside=0.35):
    """Random throws towards a random tree: graph, scene, and (feet, azimuth, heights, step) of each."""
    rng = np.random.default_rng(seed)
    graph = random_tree(seed)
    table = flights(rng.uniform(0.8, 1.48, count), rng.uniform(9, 26, count), SETTINGS)
    around, distance = rng.uniform(0, 2 * np.pi, count), rng.uniform(2.5, farthest, count)
    feet = np.column_stack([distance * np.sin(around), distance * np.cos(around), np.zeros(count)])
    azimuth = around + np.pi + rng.normal(0, aside, count)
    return graph, scene_of(graph), [(feet[i], azimuth[i], table.height[i], float(table.step[i])) for i in range(count)]


def _limbs_through_curtain(graph, feet, azimuth, path):
    """Limbs whose axis pierces the curtain between a flight (k, 2) of (s, z) and the ground: shapely only."""
    ahead = np.array([np.sin(azimuth), np.cos(azimuth)])
    ray = LineString([feet[:2], feet[:2] + 80 * ahead])
    curtain = Polygon([*path, (path[-1, 0], -1.0), (0.0, -1.0)])
    found = set()
    for limb, nodes in enumerate(graph.limbs.nodes):
        line = nodes if limb == 0 else np.concatenate([[graph.parent[nodes[0]]], nodes])
        xyz = graph.xyz[line]
        for a, b in itertools.pairwise(xyz):
            piece = LineString([a[:2], b[:2]])
            if piece.length == 0:
                continue
            hit = piece.intersection(ray)
            if hit.is_empty or hit.geom_type != "Point":
                continue
            z = a[2] + piece.project(hit) / piece.length * (b[2] - a[2])
            if curtain.contains(Point(np.hypot(hit.x - feet[0], hit.y - feet[1]), z)):
                found.add(limb)
    return found


@pytest.mark.parametrize("seed", range(10))
def test_captured_limbs_agree_with_a_crossing_test_by_shapely_on_1000_throws(seed):
    """100 throws at each of 10 trees: the limbs under the line are exactly those whose axes pierce the curtain."""
    graph, scene, throws = _throws(seed, 100)
    some = 0
    for feet, azimuth, heights, step in throws:
        flown = follow_throw(scene, feet, azimuth, heights, step)
        ours = {int(scene.wood.limb[flown.plane.cross_item[c]]) for c in flown.over}
        path = np.column_stack([flown.path[:, 0], flown.path[:, 1]])
        some += len(ours) > 0

        assert ours == _limbs_through_curtain(graph, feet, azimuth, path)
    assert some >= 15


@pytest.mark.parametrize("seed", range(3))
def test_a_flight_is_blocked_exactly_when_it_comes_nearer_to_a_limb_than_the_bag_s_radius(seed):
    """Distances of a finely cut path to every tapered limb by brute force; throws within 5 mm of touching are left out."""
    graph, scene, throws = _throws(100 + seed, 40, farthest=5.0, aside=0.15)
    g = graph.segments
    blocked = clear = 0
    for feet, azimuth, heights, step in throws:
        flown = follow_throw(scene, feet, azimuth, heights, step)
        s = np.linspace(0.06, PIECES * step if flown.end != LANDED else flown.s_end, 1500)
        z = np.interp(s, np.arange(PIECES + 1) * step, heights) + 1.5
        p = in_space(feet, azimuth, np.column_stack([s, z]))[z > 0]
        gap = np.full(len(p), np.inf)
        for i in range(len(g.node)):
            d, t = point_segment(p, g.start[i], g.end[i])
            gap = np.minimum(gap, d - (g.r_start[i] + t * (g.r_end[i] - g.r_start[i])))
        if abs(gap.min() - SETTINGS.bag_radius) < 0.005:
            continue
        hits = gap < SETTINGS.bag_radius
        blocked += hits.any()
        clear += not hits.any()

        assert (flown.end == HIT_LIMB) == bool(hits.any())
        if hits.any():
            assert flown.s_end == pytest.approx(s[z > 0][np.argmax(hits)], abs=0.08)
    assert blocked >= 5 and clear >= 5


def test_a_line_over_too_many_limbs_is_not_proposed_even_for_a_basal_anchor():
    """Six limbs under the wanted one, one below the other: class 3 while six are allowed, nothing with five."""
    limbs = [Limb(3.0 + 0.5 * i, EAST, length=4.0) for i in range(6)] + [Limb(6.5, EAST, length=4.0)]
    feet, azimuth = np.array([1.3, -6.0, 0.0]), np.array([0.0])
    table = flights([np.radians(65)], [13.5], SETTINGS)
    answer = {}
    for allowed in (6, 5):
        settings = dataclasses.replace(SETTINGS, max_between=allowed, reach_along=2.5)
        scene = scene_of(upright(limbs), settings)
        answer[allowed] = int(throw_many(scene, feet, table_throws(azimuth, table.height, table.step, np.array([[0]], np.int32)), 6).isolation[0, 0])

    assert answer == {6: 3, 5: 0}


@pytest.mark.parametrize("seed", range(8))
def test_the_taut_line_is_the_upper_hull_of_the_obstacles(seed):
    """Random tapered limbs cut by the plane; shapely's hull of their spheres' circles and both ends lies within 1 mm of the line."""
    rng = np.random.default_rng(seed)
    outlines, circles = [], []
    for _ in range(rng.integers(1, 7)):
        middle, d = np.array([rng.uniform(2, 12), rng.uniform(4, 14), 0.0]), rng.normal(size=3)
        d[2] = np.sign(d[2]) * max(abs(d[2]), 0.3)
        d *= 0.5 / np.linalg.norm(d)
        r0, r1 = rng.uniform(0.03, 0.15, 2)
        outlines.append(slice_outline(middle - d, middle + d, r0, r1))
        for t in np.linspace(0, 1, 400):
            c, r = middle - d + 2 * d * t, r0 + t * (r1 - r0)
            if r > abs(c[2]):
                circles.append(Point(c[0], c[1]).buffer(np.sqrt(r * r - c[2] ** 2), quad_segs=64))
    near, far = np.array([0.0, 1.5]), np.array([15.0, 0.0])
    line = taut_line(near, far, outlines)
    hull = unary_union([*circles, Point(near), Point(far)]).convex_hull
    corners = np.array(hull.exterior.coords)
    above = corners[corners[:, 1] > np.interp(corners[:, 0], [0, 15], [1.5, 0.0]) + 1e-9]
    ours = LineString(line.points)

    assert max(hull.exterior.distance(Point(p)) for p in line.points) < 1e-3
    assert max(ours.distance(Point(p)) for p in above) < 1e-3


def test_the_taut_line_over_one_round_limb_turns_by_the_angle_between_its_legs():
    """From the hand up to the limb and down to the ground: the turns add up to the change of direction."""
    line = taut_line((0.0, 1.5), (9.0, 0.0), [slice_outline((5, 8, -0.5), (5, 8, 0.5), 0.1, 0.1)])
    up, down = line.points[1] - line.points[0], line.points[-1] - line.points[-2]

    assert line.order == [0]
    assert line.turning == pytest.approx(np.arctan2(up[1], up[0]) - np.arctan2(down[1], down[0]))
    assert line.points[:, 1].max() == pytest.approx(8.1, abs=1e-3)
