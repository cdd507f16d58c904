"""Cylinder fits: exact, one-sided, with outliers."""

import numpy as np
import pytest

from treescan.wood.sections.cylinder_fit import edge_weights, fit_pieces


def piece(radius, arc_deg, noise, n, seed, outliers=0.0, centre=(0.01, -0.02)):
    rng = np.random.default_rng(seed)
    a = rng.uniform(-np.radians(arc_deg) / 2, np.radians(arc_deg) / 2, n)
    x, y = centre[0] + radius * np.cos(a), centre[1] + radius * np.sin(a)
    bad = rng.random(n) < outliers
    x = np.where(bad, rng.uniform(0, 4 * radius, n), x) + rng.normal(0, noise, n)
    y = np.where(bad, rng.uniform(-2 * radius, 2 * radius, n), y) + rng.normal(0, noise, n)
    return x, y, rng.uniform(-0.1, 0.1, n)


def fit(x, y, t, guess):
    one = np.ones(len(x))
    return fit_pieces(x, y, t, one, np.array([0, len(x)]), np.array([0.002]), np.array([3 * guess]), np.array([guess]), 0.001)[0]


def test_exact_cylinder_comes_back_exactly():
    """Noise-free points give centre and radius to a hundredth of a millimetre."""
    x, y, t = piece(0.15, 360, 0.0, 300, 1)
    got = fit(x, y, t, 0.2)

    assert got[[0, 1, 4]] == pytest.approx([0.01, -0.02, 0.15], abs=1e-5)
    assert got[9] == pytest.approx(2 * np.pi)


@pytest.mark.parametrize("radius", [0.02, 0.05, 0.15])
@pytest.mark.parametrize("arc", [180, 240, 360])
def test_partial_arcs_with_outliers_are_not_read_three_times_too_thick(radius, arc):
    """With a twentieth of outliers the radius stays within 15 % (median over 40 pieces within 4 %), whatever the arc."""
    error = []
    for seed in range(40):
        x, y, t = piece(radius, arc, 0.0015, 200, seed, outliers=0.05)
        error.append(fit(x, y, t, 1.4 * radius)[4] / radius - 1)

    assert abs(np.median(error)) < 0.04
    assert np.mean(np.abs(error) > 0.15) <= 0.05


def test_stated_sd_matches_the_scatter_of_many_fits():
    """Over many draws the radius scatters as the fit says it does, within a third."""
    got = np.array([fit(*piece(0.1, 200, 0.004, 120, seed), 0.1)[[4, 6]] for seed in range(150)])

    assert np.std(got[:, 0]) == pytest.approx(np.median(got[:, 1]), rel=0.33)


def test_too_few_points_give_no_radius():
    """Four points are not a measurement: the sd is infinite."""
    x, y, t = piece(0.1, 360, 0.0, 4, 0)

    assert np.isinf(fit(x, y, t, 0.1)[6])


def test_points_at_a_position_s_edge_weigh_less():
    """Two positions opposite each other: points facing one of them weigh 1, those at its edge hardly anything."""
    a = np.concatenate([np.linspace(-1.5, 1.5, 61), np.pi + np.linspace(-1.5, 1.5, 61)])
    position = np.repeat([0, 1], 61).astype(np.int32)
    w = edge_weights(np.cos(a), np.sin(a), position, np.array([0, 122]), 2)

    assert w[30] == 1.0 and w[91] == 1.0
    assert w[0] == pytest.approx(0.05) and w[60] == pytest.approx(0.05)
