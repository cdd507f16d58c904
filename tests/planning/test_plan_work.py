"""Work points, whichever way they are named."""

from __future__ import annotations

import numpy as np
import pytest
from hands import tree
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Point, Polygon
from strategies import alone, random_tree

from treescan.errors import BadInput
from treescan.planning.reach.work_scene import limb_of_work
from treescan.planning.settings import PlanningSettings
from treescan.planning.work.work_points import (
    crown_segments,
    default_work,
    inside,
    joined,
    sample_work,
    work_at_points,
    work_in_area,
    work_on_limbs,
)

S = PlanningSettings()


def crown_length(graph) -> float:
    seg = graph.segments
    return float(np.linalg.norm(seg.end - seg.start, axis=1)[crown_segments(graph)].sum())


def test_whole_crown_weights_add_up_to_the_crown():
    """The weights of the whole crown sum to its metres of axis, and about as many points are made as asked."""
    graph = random_tree(1, height=18, limbs=14)
    work = default_work(graph, alone(graph), S)

    assert work.weight.sum() == pytest.approx(crown_length(graph), rel=1e-12)
    assert abs(len(work) - S.work_points) < len(graph.limbs)


def test_work_points_lie_on_the_axes():
    """Every sampled point lies on an axis of the limb it is labelled with."""
    graph = random_tree(2)
    work = default_work(graph, alone(graph), S)
    seg = graph.segments
    for point, name, limb in zip(work.xyz[::7], work.label[::7], limb_of_work(graph, work)[::7], strict=True):
        d = seg.end - seg.start
        share = np.clip(np.sum((point - seg.start) * d, 1) / np.sum(d * d, 1), 0, 1)
        gap = np.linalg.norm(point - seg.start - share[:, None] * d, axis=1)

        assert gap.min() < 1e-9
        assert name.startswith(f"L{limb}-") or gap[seg.limb == limb].min() < 1e-9


def test_stem_below_the_crown_is_not_work():
    """The clear stem under the lowest union is left out."""
    graph = random_tree(3)
    work = default_work(graph, alone(graph), S)

    assert work.xyz[:, 2].min() >= graph.unions.place[0, 2] - 0.5


def test_random_sample_is_repeatable_and_stands_for_the_crown():
    """The same seed gives the same sample; its weights sum to the crown in every stratification."""
    graph = random_tree(4)
    for strata in (1, 3, 5):
        a, b = sample_work(graph, 60, 7, strata), sample_work(graph, 60, 7, strata)

        assert np.array_equal(a.xyz, b.xyz)
        assert len(a) == 60
        assert a.weight.sum() == pytest.approx(crown_length(graph), rel=1e-9)
    assert not np.array_equal(sample_work(graph, 60, 8).xyz, sample_work(graph, 60, 7).xyz)


def test_strata_share_the_points_evenly():
    """Three height classes get twenty points each of sixty."""
    graph = random_tree(4)
    names = [label.split("-")[0] for label in sample_work(graph, 60, 1, 3).label]

    assert {n: names.count(n) for n in set(names)} == {"H1": 20, "H2": 20, "H3": 20}


@settings(deadline=None, max_examples=40)
@given(st.lists(st.tuples(st.floats(-5, 5), st.floats(-5, 5)), min_size=3, max_size=8), st.integers(0, 1000))
def test_inside_agrees_with_shapely(ring, seed):
    """Points well off the edge are judged inside exactly when shapely says so (simple polygons only)."""
    polygon = Polygon(ring)
    if not polygon.is_valid or polygon.area < 1e-3:
        return
    xy = np.random.default_rng(seed).uniform(-6, 6, (50, 2))
    off_edge = np.array([polygon.exterior.distance(Point(p)) > 1e-6 for p in xy])
    expected = np.array([polygon.contains(Point(p)) for p in xy])

    assert np.array_equal(inside(ring, xy)[off_edge], expected[off_edge])


def test_area_and_limbs_pick_their_wood():
    """An area takes only wood above it; limbs bring the branches they carry."""
    graph = tree(([[0, 0, 0], [0, 0, 10]], 0.2, 0.05), ([[0, 0, 5], [4, 0, 7]], 0.08, 0.04), ([[2, 0, 6], [2, 2, 6.5]], 0.04, 0.02))
    east = work_in_area(graph, [[1, -1], [5, -1], [5, 3], [1, 3]], S)
    limb = int(graph.unions.arm_limb[graph.unions.laterals(0)[0]])

    assert east.xyz[:, 0].min() >= 1 - 0.25
    assert work_on_limbs(graph, [limb], S).xyz[:, 1].max() > 1.5
    assert work_on_limbs(graph, [limb], S, carried=False).xyz[:, 1].max() < 0.1


def test_bad_work_is_refused_in_words():
    """A point in the next field, an unknown limb and an empty area are each named."""
    graph = random_tree(1)
    with pytest.raises(BadInput, match=r"W01 is .* m from any wood"):
        work_at_points(graph, [[50.0, 0.0, 5.0]])
    with pytest.raises(BadInput, match="limb 999"):
        work_on_limbs(graph, [999], S)
    with pytest.raises(BadInput, match="no limb lies over"):
        work_in_area(graph, [[90, 90], [91, 90], [91, 91]], S)


def test_points_without_height_take_that_of_the_wood():
    """A work point with no z gets the height of the wood nearest in the plan; lists of work can be joined."""
    graph = random_tree(1)
    tip = graph.xyz[-1]
    one = work_at_points(graph, [[tip[0], tip[1], np.nan]])

    assert one.xyz[0, 2] == pytest.approx(tip[2])
    assert len(joined(one, one)) == 2
