"""Thin limbs in a thick shell of points: what the noise adds is taken off, and what is left in doubt is said."""

import numpy as np
import pytest
from wood.clouds import POST, bark_points, make, tree_of

from treescan.wood.build import build_graph
from treescan.wood.fitting.limb_axes import without_blur
from treescan.wood.fitting.range_noise import range_noise


def ring(radius, noise, seed=0, n=200_000):
    """Mean distance from the axis and its scatter, of points on a ring with noise in both directions."""
    rng = np.random.default_rng(seed)
    turn = rng.uniform(0, 2 * np.pi, n)
    d = np.hypot(radius * np.cos(turn) + rng.normal(0, noise, n), radius * np.sin(turn) + rng.normal(0, noise, n))
    return np.array([d.mean()]), np.array([d.std()])


@pytest.mark.parametrize("radius", [0.04, 0.06, 0.10])
def test_ring_wider_than_the_noise_is_read_right(radius):
    """Rings of twice the noise and more come back within 5 %."""
    r, _ = without_blur(*ring(radius, 0.02), 0.02)

    assert r[0] == pytest.approx(radius, rel=0.05)


def test_ring_thinner_than_the_noise_errs_thin_and_says_so():
    """A 6 mm twig in 2 cm noise is not read thicker than it is by more than its stated doubt allows."""
    r, sd = without_blur(*ring(0.006, 0.02), 0.02)

    assert r[0] < 0.012
    assert abs(r[0] - 0.006) < 1.645 * sd[0]


def test_moving_scan_s_noise_is_read_from_the_stem():
    """Noise of 2 cm on a post is read within 15 %, from one position of two that stand 3 cm apart."""
    from treescan.wood.fitting.limb_axes import first_axes

    points = bark_points(make(POST), noise=0.02)
    axes = first_axes([np.array([[0, 0, 0.0], [0, 0, 2.0], [0, 0, 4.0]])], [np.array([0.15, 0.125, 0.1])], np.array([-1], np.int32), np.zeros((1, 3)))
    shifted = np.concatenate([points, points + np.array([0.03, 0, 0])])
    position = np.repeat([0, 1], len(points)).astype(np.int32)
    limb = np.zeros(len(shifted), np.int32)

    assert range_noise(points, limb[: len(points)], axes, None) == pytest.approx(0.02, rel=0.15)
    assert range_noise(shifted, limb, axes, position) == pytest.approx(0.02, rel=0.15)


def test_a_flight_s_noise_is_read_from_limbs_across_its_beam():
    """Noise of 2 cm along the vertical only: the stem shows none of it, lying limbs show it, rms of its part across their bark (2 cm / sqrt 2)."""
    from treescan.wood.fitting.limb_axes import first_axes

    limbs = [((0, 0, 0), (1.5 * np.cos(a), 1.5 * np.sin(a), 0.5 + 0.5 * n), 0.06, 0.05, (0, (0.5 + 0.5 * n) / 4)) for n, a in enumerate(np.arange(5) * 1.3)]
    true = make(POST, *limbs)
    points = bark_points(true, noise=0.005)
    points[:, 2] += np.random.default_rng(2).normal(0, 0.02, len(points))
    lines = [true.xyz[nodes] for nodes in true.limbs.nodes]
    axes = first_axes(lines, [true.radius[nodes] for nodes in true.limbs.nodes], true.limbs.parent, np.array([x[0] for x in lines]))
    near = np.argmin(np.linalg.norm(points[:, None] - true.xyz[None, ::1], axis=2), axis=1)

    assert 0.012 < range_noise(points, true.limb[near].astype(np.int32), axes, None) < 0.02


def test_limbs_of_a_noisy_scan_keep_their_thickness():
    """A 16 cm limb seen with 2 cm noise reads within 8 %, and the stated interval holds it."""
    true = make(POST, ((0, 0, 0), (1.6, 0, 3.6), 0.08, 0.07, (0, 0.5)))
    g = build_graph(tree_of(bark_points(true, noise=0.02, per_m2=6000)))
    side = next(k for k in range(1, len(g.limbs)) if g.limbs.parent[k] == 0 and len(g.limbs.nodes[k]) > 5)
    nodes = g.limbs.nodes[side]
    nodes = nodes[(g.xyz[nodes, 0] > 0.4) & (g.xyz[nodes, 0] < 1.4)]
    want = 0.08 - 0.01 * g.xyz[nodes, 0] / 1.6

    assert np.median(np.abs(g.radius[nodes] / want - 1)) < 0.08
    assert np.mean(np.abs(g.radius[nodes] - want) < 1.645 * g.radius_sd[nodes]) >= 0.8
