"""Promises of the smaller pieces: voxels, circles, growth, foliage density."""

from __future__ import annotations

import numpy as np
import pytest

from treescan.trees.material import material_voxels
from treescan.trees.material.material_voxels import voxelise
from treescan.trees.material.neighbour_graph import neighbour_graph
from treescan.trees.material.shortest_paths import Sources, StepCost, shortest_paths
from treescan.trees.segmentation.circles import fit_circles
from treescan.trees.segmentation.stems import _clumps
from treescan.trees.surroundings.foliage import foliage_density


def test_voxels_group_exactly_like_sorting_does():
    p = np.random.default_rng(0).uniform(-3, 3, (5000, 3))
    v = voxelise(p, 0.25)
    key = np.floor((p - p.min(axis=0)) / 0.25).astype(int)
    _, of, count = np.unique(key, axis=0, return_inverse=True, return_counts=True)
    of = of.ravel()
    assert len(v) == len(count)
    assert np.array_equal(v.count[v.of_point], count[of])
    mean = np.stack([np.bincount(of, p[:, a]) / count for a in range(3)], axis=1)
    assert np.allclose(v.centre[v.of_point], mean[of])


@pytest.mark.parametrize("arc", [2 * np.pi, np.pi, 2.0])
def test_circles_hold_with_one_side_seen_and_a_fifth_of_stray_points(arc):
    rng = np.random.default_rng(3)
    t = rng.uniform(0, arc, 160)
    on = np.column_stack([1 + 0.2 * np.cos(t), 2 + 0.2 * np.sin(t)]) + rng.normal(0, 0.002, (160, 2))
    off = rng.uniform([0.6, 1.6], [1.5, 2.5], (40, 2))
    x, y, r, share, seen, _ = fit_circles(np.vstack([on, off]), np.array([0, 200]), 0.02, 1.0, 0.015)[0]
    assert (x, y, r) == pytest.approx((1.0, 2.0, 0.2), abs=0.01)
    assert share > 0.75
    assert seen >= 0.85 * arc


def test_growth_goes_round_by_dense_material_rather_than_over_a_gap():
    """Two seeds; a voxel row belongs to the seed it is joined to although the other seed is nearer across a gap."""
    row = np.column_stack([np.arange(0, 2, 0.02), np.zeros(100), np.zeros(100)])
    other = np.array([[2.0 - 0.02, 0.6, 0.0], [2.0, 0.6, 0.0], [2.02, 0.6, 0.0]])
    xyz = np.vstack([row, other])
    g = neighbour_graph(xyz, 6, 0.02)
    sources = Sources(np.array([0, 101]), np.array([0, 1]), np.zeros(2))
    got = shortest_paths(g, xyz, sources, np.ones(2), StepCost(0.03, np.ones(len(xyz))))
    assert np.all(got.label[:100] == 0)
    assert np.all(got.label[100:] == 1)


def test_growth_cost_equals_an_independent_shortest_path():
    """Against scipy's Dijkstra on the same edges (no turning, nothing dear)."""
    from scipy.sparse import csr_matrix
    from scipy.sparse.csgraph import dijkstra

    p = np.random.default_rng(1).uniform(0, 1, (800, 3))
    g = neighbour_graph(p, 8, 0.05, levels=1)
    usual = 0.08
    cost = np.where(g.length < usual, g.length, g.length.astype(float) ** 2 / usual)
    a = csr_matrix((len(p), len(p)))
    rows = np.repeat(np.arange(len(p)), np.diff(g.start))
    keep = np.unique(rows * len(p) + g.other, return_index=True)[1]
    a = csr_matrix((cost[keep], (rows[keep], g.other[keep])), shape=(len(p), len(p)))
    source = Sources(np.array([0]), np.array([0]), np.zeros(1))
    got = shortest_paths(g, p, source, np.ones(1), StepCost(usual, np.ones(len(p)), down=0.0))
    assert np.allclose(got.cost, dijkstra(a, indices=0), rtol=1e-5)


def test_foliage_density_is_the_projected_area_of_randomly_turned_leaves():
    """Many small randomly turned squares of known area: the estimate is within a quarter of half their area over the volume."""
    rng = np.random.default_rng(5)
    n, side, box = 400, 0.08, 2.0
    u = rng.normal(size=(n, 3))
    u /= np.linalg.norm(u, axis=1)[:, None]
    v = np.cross(u, rng.normal(size=(n, 3)))
    v /= np.linalg.norm(v, axis=1)[:, None]
    k = np.repeat(np.arange(n), 600)
    s = rng.uniform(-side / 2, side / 2, (len(k), 2))
    p = rng.uniform(0, box, (n, 3))[k] + s[:, :1] * u[k] + s[:, 1:] * v[k]
    d = foliage_density(p, 0.01, 0.5)
    assert d.density.sum() * 0.5**3 == pytest.approx(n * side**2 / 2, rel=0.25)
    assert d.density_at([[-5.0, 0.0, 0.0]])[0] == 0.0


def test_voxels_of_some_rows_are_those_of_a_copy(monkeypatch):
    """Taken a few at a time from the whole cloud: the same voxels, in the same order, to the bit."""
    monkeypatch.setattr(material_voxels, "BLOCK", 97)
    rng = np.random.default_rng(8)
    p = rng.random((3000, 3))
    rows = np.sort(rng.choice(3000, 1200, replace=False))
    copied, picked = voxelise(p[rows], 0.25), voxelise(p, 0.25, rows)

    for name in ("centre", "count", "first", "of_point"):
        np.testing.assert_array_equal(getattr(picked, name), getattr(copied, name))
    assert len(voxelise(p, 0.25, rows[:0])) == 0


@pytest.mark.parametrize("seed", range(4))
def test_clumps_are_what_hangs_together_within_a_layer(seed):
    """Against a search over every pair; a group is numbered by its first point."""
    rng = np.random.default_rng(seed)
    p, layer = rng.uniform(0, 1.5, (400, 3)), rng.integers(-1, 3, 400)
    near = (np.hypot(*(p[:, None, :2] - p[None, :, :2]).T) <= 0.06) & (layer[:, None] == layer)
    of = np.arange(400)
    for _ in range(400):
        of, before = np.where(near, of, 400).min(axis=1), of
        if (of == before).all():
            break
    assert (_clumps(p, layer, 0.06) == np.unique(of, return_inverse=True)[1]).all()
