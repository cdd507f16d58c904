"""Promises of cutting one tree out of a scan."""

from __future__ import annotations

import numpy as np
import pytest
from trees.scenes import bark, cell_keys, ground, labelled

from treescan.cloud.point_cloud import PointCloud
from treescan.errors import BadInput
from treescan.geometry import rotated_z
from treescan.reason import has
from treescan.trees.single_tree import Tree, find_tree

FEET = [(0.0, 0.0), (5.0, 1.0)]


@pytest.fixture(scope="module")
def pair() -> PointCloud:
    return labelled(
        bark(11, (0, 0, 0), dbh=0.5), bark(12, (5.0, 1.0, 0), dbh=0.3, height=11.0, count=40_000), ground()
    )


@pytest.fixture(scope="module")
def larger(pair) -> Tree:
    return find_tree(pair)


def all_of(tree: Tree) -> np.ndarray:
    return np.vstack([tree.wood.xyz, tree.leaf.xyz])


def share_alike(a: np.ndarray, b: np.ndarray) -> float:
    """Intersection over union of occupied decimetre cells."""
    p, q = cell_keys(a), cell_keys(b)
    return len(p & q) / len(p | q)


def test_the_larger_tree_is_taken_and_the_neighbour_kept_as_an_obstacle(larger):
    part = np.concatenate([larger.wood.columns["part"], larger.leaf.columns["part"]])
    assert np.mean(part == 0) > 0.97
    assert np.allclose(larger.base[:2], FEET[0], atol=0.1)
    around = larger.beside.surroundings
    assert np.allclose(around.stems[:, :2], [FEET[1]], atol=0.15)
    at_breast_height = 0.3 + (0.04 - 0.3) * 1.3 / 11.0  # the made-up stem tapers straight to 4 cm at its top
    assert around.stem_dbh[0] == pytest.approx(at_breast_height, abs=0.01)
    assert len(around.of("neighbour")) > 200


def test_hardly_any_of_the_tree_is_lost_and_no_ground_is_taken(pair, larger):
    own = pair.xyz[(pair.columns["part"] == 0) & (pair.xyz[:, 2] > 0.3)]
    got = cell_keys(all_of(larger))
    assert np.mean([tuple(k) in got for k in np.floor(own / 0.1).astype(int)]) > 0.93
    assert not np.any(larger.wood.columns["part"] == 2)


def test_bare_branches_stay_wood(larger):
    assert len(larger.wood) > 0.97 * (len(larger.wood) + len(larger.leaf))


@pytest.mark.parametrize("k", [0, 1])
def test_at_picks_the_tree_that_stands_there(pair, k):
    t = find_tree(pair, at=np.array(FEET[k]) + 0.8)
    assert np.allclose(t.base[:2], FEET[k], atol=0.15)
    assert np.mean(t.wood.columns["part"] == k) > 0.95


def test_asking_where_nothing_stands_names_the_nearest_tree(pair):
    with pytest.raises(BadInput, match=r"no stem within 3 m .* nearest tree stands at"):
        find_tree(pair, at=(-8.0, -8.0))


def test_turning_about_the_vertical_gives_the_same_tree(pair, larger):
    turned = find_tree(PointCloud(rotated_z(pair.xyz, 1.0)))
    assert share_alike(rotated_z(all_of(turned), -1.0), all_of(larger)) > 0.9
    assert np.allclose(rotated_z(turned.base, -1.0), larger.base, atol=0.03)


def test_shifting_gives_the_same_tree(pair, larger):
    by = np.array([300.0, -200.0, 50.0])
    shifted = find_tree(PointCloud(pair.xyz + by))
    assert share_alike(all_of(shifted) - by, all_of(larger)) > 0.97
    assert np.allclose(shifted.base - by, larger.base, atol=0.02)


def test_thinning_lightly_gives_the_same_tree(pair, larger):
    keep = np.random.default_rng(0).uniform(size=len(pair)) < 0.8
    assert share_alike(all_of(find_tree(pair.where(keep))), all_of(larger)) > 0.85


def test_a_cut_out_tree_without_ground_is_found_whole():
    cloud = labelled(bark(3, (2.0, 2.0, 10.0)))
    t = find_tree(cloud)
    assert np.allclose(t.base[:2], [2, 2], atol=0.1)
    assert t.base[2] == pytest.approx(10.0, abs=0.1)
    assert has(t.notes, "no_ground")
    assert share_alike(all_of(t), cloud.xyz) > 0.97


def test_twenty_trees_are_told_apart():
    places = [(4.5 * i, 4.5 * j, 0.0) for i in range(5) for j in range(4)]
    trees = [bark(40 + k, p, count=12_000, height=8.0, dbh=0.2 + 0.005 * k) for k, p in enumerate(places)]
    g = ground(half=13.0, count=80_000) + np.array([9.0, 6.75, 0.0])
    cloud = labelled(*trees, g)
    for k in (7, 12):
        t = find_tree(cloud, at=places[k][:2])
        assert np.mean(t.wood.columns["part"] == k) > 0.9
        assert len(t.beside.surroundings.stems) == 19
        assert np.allclose(t.base[:2], places[k][:2], atol=0.1)


def test_a_wall_a_post_and_a_wire_are_no_wood_of_the_tree():
    rng = np.random.default_rng(4)
    wall = np.column_stack([rng.uniform(-6, 6, 40_000), np.full(40_000, -5.0), rng.uniform(0, 4, 40_000)]) + rng.normal(0, 0.003, (40_000, 3))
    a = rng.uniform(0, 2 * np.pi, 6000)
    post = np.column_stack([4 + 0.08 * np.cos(a), 4 + 0.08 * np.sin(a), rng.uniform(0, 5, 6000)])
    s = rng.uniform(-9, 9, 4000)
    wire = np.column_stack([s, np.full(4000, 6.0), 6.0 + 0.004 * s**2]) + rng.normal(0, 0.002, (4000, 3))
    t = find_tree(labelled(bark(6, (0, 0, 0)), wall, post, wire, ground()))
    part = np.concatenate([t.wood.columns["part"], t.leaf.columns["part"]])
    assert np.mean(part == 0) > 0.995
    around = t.beside.surroundings
    assert all(len(around.of(kind)) > least for kind, least in (("building", 500), ("pole", 15), ("wire", 50)))


def test_two_stems_from_one_foot_are_one_tree():
    low = bark(8, (0, 0, 0), height=1.0, dbh=0.5, limbs=0, count=20_000)
    a = np.linspace(0, 6, 30_000)
    rng = np.random.default_rng(2)
    turn = rng.uniform(0, 2 * np.pi, (2, 30_000))
    stems = [
        np.column_stack([side * (0.10 + 0.12 * a) + 0.12 * np.cos(w), 0.12 * np.sin(w), 0.7 + a]) for side, w in zip((-1, 1), turn, strict=True)
    ]
    t = find_tree(labelled(low, *stems, ground()))
    assert {1, 2} <= set(np.unique(t.wood.columns["part"]))
    assert len(t.beside.surroundings.stems) == 0


def test_points_floating_far_off_are_dropped():
    strays = np.array([[0.0, 0.0, 29.0], [0.1, 0.0, 29.0], [0.0, 0.1, 29.1]])
    t = find_tree(labelled(bark(9, (0, 0, 0)), ground(), strays))
    assert all_of(t)[:, 2].max() < 20.0


def test_a_handful_of_points_is_refused():
    with pytest.raises(BadInput, match="too few"):
        find_tree(PointCloud(np.zeros((20, 3))))


def test_bare_ground_is_refused():
    with pytest.raises(BadInput):
        find_tree(PointCloud(ground()))
