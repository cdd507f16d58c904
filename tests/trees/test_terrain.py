"""Promises of the ground surface."""

from __future__ import annotations

import numpy as np
import pytest
from trees.scenes import bark, ground

from treescan.trees.terrain.ground import find_ground
from treescan.trees.terrain.height_grid import Grid, heights_above, lowest_supported
from treescan.trees.terrain.surface import _quantile_by_cell
from treescan.trees.terrain.under_stems import under_stems


@pytest.mark.parametrize("degrees", [0.0, 15.0, 30.0])
def test_ground_is_found_within_5_cm_on_slopes_under_a_tree_with_stray_low_points(degrees):
    slope = np.radians(degrees)
    rng = np.random.default_rng(1)
    strays = np.column_stack([rng.uniform(-9, 9, (12, 2)), rng.uniform(-12, -8, 12)])
    found = find_ground(np.vstack([ground(slope), bark(1, (0, 0, 0)), strays]))
    xy = rng.uniform(-9, 9, (400, 2))
    miss = found.terrain.height_at(xy) - np.tan(slope) * xy[:, 0]
    assert found.found
    assert np.abs(miss).max() < 0.05


def test_ground_goes_on_smoothly_beyond_the_data_and_says_it_was_not_measured():
    slope = np.radians(10)
    t = find_ground(ground(slope)).terrain
    outside = np.array([[14.0, 0.0], [-14.0, 3.0]])
    assert np.allclose(t.height_at(outside), np.tan(slope) * outside[:, 0], atol=0.4)
    cell = np.floor((outside - t.corner) / t.cell).astype(int)
    assert not t.measured[cell[:, 1], cell[:, 0]].any()
    assert t.measured[t.height.shape[0] // 2, t.height.shape[1] // 2]


def test_a_hidden_patch_is_filled_and_flagged():
    g = ground()
    hole = np.hypot(g[:, 0] - 3, g[:, 1]) < 1.5
    t = find_ground(g[~hole]).terrain
    c = np.floor((np.array([3.0, 0.0]) - t.corner) / t.cell).astype(int)
    assert not t.measured[c[1], c[0]]
    assert abs(float(t.height_at([3.0, 0.0]))) < 0.05


def test_a_cut_out_tree_stands_on_level_ground_at_its_lowest_points_and_says_so():
    tree = bark(2, (3.0, 4.0, 7.0))
    got = find_ground(tree)
    assert not got.found
    assert got.notes[0].code == "no_ground"
    assert np.ptp(got.terrain.height) == 0.0
    assert got.terrain.height[0, 0] == pytest.approx(lowest_supported(tree))


def test_a_class_that_means_something_else_is_not_taken_for_ground():
    """Class 2 on the stem, as some files have it, changes nothing."""
    g, tree = ground(), bark(1, (0, 0, 0))
    xyz = np.vstack([g, tree])
    classes = np.where(np.arange(len(xyz)) >= len(g), 2, 1)
    assert np.allclose(find_ground(xyz, classes).terrain.height, find_ground(xyz).terrain.height)


def test_height_above_ground_is_the_point_minus_the_surface():
    t = find_ground(ground(0.3)).terrain
    p = np.array([[1.3, -2.2, 5.0], [-4.0, 4.0, 2.0]])
    assert np.allclose(heights_above(t, p), p[:, 2] - t.height_at(p[:, :2]))


@pytest.mark.parametrize("degrees", [0.0, 20.0])
def test_the_ground_under_a_stem_is_that_of_the_ring_round_it(degrees):
    """A butt of bark that fills its cells lifts the surface there; the plane of the ring does not know of it, on a slope neither."""
    slope, r = np.radians(degrees), 0.45
    g = ground(slope)
    rng = np.random.default_rng(4)
    turn, up = rng.uniform(0, 2 * np.pi, 20_000), rng.uniform(0.02, 1.5, 20_000)
    swell = r * (1 + 0.4 * np.exp(-up / 0.5))
    butt = np.column_stack([swell * np.cos(turn), swell * np.sin(turn), up + np.tan(slope) * swell * np.cos(turn)])
    xyz = np.vstack([g[np.hypot(g[:, 0], g[:, 1]) > 0.6], butt])
    before = find_ground(xyz).terrain
    after = under_stems(before, np.zeros((1, 2)), np.array([r]))
    assert abs(float(after.height_at([0.0, 0.0]))) < 0.01 < abs(float(before.height_at([0.0, 0.0])))
    far = np.hypot(*np.meshgrid(*[np.arange(-8, 8, 0.7)] * 2)) > 2.5
    at = np.stack(np.meshgrid(*[np.arange(-8, 8, 0.7)] * 2), axis=-1)[far]
    assert np.array_equal(after.height_at(at), before.height_at(at))


def test_a_stem_with_no_measured_ground_round_it_changes_nothing():
    t = find_ground(ground()).terrain
    assert np.array_equal(under_stems(t, np.array([[500.0, 500.0]]), np.array([0.3])).height, t.height)


def test_the_quantile_of_a_cell_is_that_of_its_values():
    """The value at the rank of the quantile in every cell, by plain sorting; cells without one are NaN, those of fewer than three not measured."""
    rng = np.random.default_rng(5)
    grid = Grid(np.array([-2.0, -3.0]), 0.5, (12, 8))
    p = np.column_stack([rng.uniform(-2, 2, 700), rng.uniform(-3, 3, 700), np.zeros(700)])
    value = np.where(rng.random(700) < 0.3, np.nan, rng.normal(0, 0.1, 700))
    value[p[:, 0] < -1.5] = np.nan
    got, measured = _quantile_by_cell(p, value, grid, 0.4)

    for r in range(12):
        for c in range(8):
            inside = (np.floor((p[:, 0] + 2) / 0.5) == c) & (np.floor((p[:, 1] + 3) / 0.5) == r)
            own = sorted(value[inside & np.isfinite(value)].tolist())
            assert measured[r, c] == (len(own) >= 3)
            if own:
                assert got[r, c] == own[int(len(own) * 0.4)]
            else:
                assert np.isnan(got[r, c])
