"""Stems in a mat of ivy: the bark under it is measured where it shows, and nothing is measured where it does not."""

from __future__ import annotations

import numpy as np
import pytest

from treescan.wood.sections.cylinder_fit import fit_pieces
from treescan.wood.sections.under_ivy import bark_under_ivy


def piece(radius=0.22, bark=300, leaves=1500, seed=0, noise=0.003, oval=0.0):
    """Points round a stem's axis: bark with the scan's noise, leaves 2 to 18 cm off it all round."""
    rng = np.random.default_rng(seed)
    a, b = rng.uniform(0, 2 * np.pi, bark), rng.uniform(0, 2 * np.pi, leaves)
    r = np.concatenate([radius * (1 + 0.5 * oval * np.cos(2 * a)) + rng.normal(0, noise, bark), radius + 0.02 + 0.16 * rng.beta(1.3, 2.0, leaves)])
    turn = np.concatenate([a, b])
    order = rng.permutation(len(r))
    return (r * np.cos(turn))[order], (r * np.sin(turn))[order], rng.uniform(-0.1, 0.1, len(r))


def both(x, y, t, guess):
    start, one = np.array([0, len(x)]), np.array([guess])
    args = (x, y, t, np.ones(len(x)), start)
    plain = fit_pieces(*args, np.array([0.002]), 1.5 * one, one, 0.002)
    return plain[0], bark_under_ivy(plain, *args, one, 0.002)[0]


@pytest.mark.parametrize("seed", range(5))
def test_bark_is_found_where_one_point_in_six_lies_on_it(seed):
    plain, got = both(*piece(seed=seed), guess=0.30)
    assert got[4] == pytest.approx(0.22, abs=0.004)
    assert np.hypot(got[0], got[1]) < 0.006
    assert abs(plain[4] - 0.22) > 0.02


@pytest.mark.parametrize("seed", range(5))
def test_leaves_alone_give_no_diameter(seed):
    _, got = both(*piece(bark=0, seed=seed), guess=0.30)
    assert not np.isfinite(got[6])


@pytest.mark.parametrize("oval", [0.0, 0.15])
def test_bare_bark_is_left_as_it_was_measured(oval):
    plain, got = both(*piece(leaves=0, bark=800, oval=oval), guess=0.22)
    assert np.array_equal(plain, got)
