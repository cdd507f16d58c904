"""Small chances are computed, and agree with plain draws where those can see them."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from scipy.stats import multivariate_normal, norm

from treescan.loads.chance.overload_chance import SectionDraws, _bivariate, _both_above, overload_chance


def drawn(limbs: SectionDraws, passed: float, draws: int, seed: int) -> float:
    """The same chance by plain draws of everything."""
    rng = np.random.default_rng(seed)
    row = rng.integers(0, limbs.margin.shape[1], draws)
    e = rng.standard_normal((len(limbs.margin), draws))
    rho = limbs.plane[:, None]
    other = rho * e + np.sqrt(1 - rho**2) * rng.standard_normal(e.shape)
    margin = (limbs.margin[:, row] * np.exp(limbs.spread[:, row] * e)).min(axis=0)
    own = (limbs.own[:, row] * np.exp(limbs.spread[:, row] * other)).min(axis=0)
    kept = (own > 1) & (margin > passed)
    return float(np.mean(margin[kept] < 1))


@pytest.mark.parametrize("passed", [0.0, 0.8])
@pytest.mark.parametrize("plane", [1.0, 0.5, 0.0])
def test_it_is_what_plain_draws_say(passed, plane):
    """Two limbs, heavy own weight, with and without a test: within the error of two million draws."""
    rng = np.random.default_rng(3)
    n = 4000
    limbs = SectionDraws(
        margin=np.array([[1.8], [2.6]]) * np.exp(0.25 * rng.standard_normal((2, n))),
        own=np.array([[1.5], [4.0]]) * np.exp(0.25 * rng.standard_normal((2, n))),
        spread=np.tile([[0.4], [0.3]], (1, n)),
        plane=np.full(2, plane),
        limb=np.arange(2),
    )
    told = overload_chance(limbs, passed=np.full((2, n), passed) if passed else None)
    seen = drawn(limbs, passed, 2_000_000, 5)

    assert told == pytest.approx(seen, abs=4 * np.sqrt(seen / 1e6) + 2e-3 * seen)


def test_one_limb_without_own_weight_is_the_normal_tail():
    """A margin of 4 with a log spread of 0.4: ln 4 / 0.4 = 3.47 standard deviations, a chance no 2,000 draws can see."""
    one = SectionDraws(np.full((1, 5), 4.0), np.full((1, 5), np.inf), np.full((1, 5), 0.4), np.ones(1), np.zeros(1, int))

    assert overload_chance(one) == pytest.approx(norm.sf(np.log(4) / 0.4), rel=1e-9)


def test_a_passed_test_never_raises_the_chance():
    """More proof, less chance; a test as hard as the load leaves none."""
    rng = np.random.default_rng(4)
    limbs = SectionDraws(2 * np.exp(0.3 * rng.standard_normal((1, 500))), np.full((1, 500), np.inf), np.full((1, 500), 0.4), np.ones(1), np.zeros(1, int))
    told = [overload_chance(limbs, passed=np.full((1, 500), t)) for t in (1e-9, 0.4, 0.6, 0.8, 1.0)]

    assert all(a >= b for a, b in pairwise(told))
    assert told[-1] == pytest.approx(0.0, abs=1e-12)


def test_the_bivariate_normal_is_scipys():
    """Owen's T against scipy's own integration."""
    for h, k, r in [(0.3, -0.7, 0.5), (-1.2, 0.4, 0.9), (2.0, 1.0, -0.3), (0.0, 0.5, 0.2)]:
        exact = multivariate_normal(cov=[[1, r], [r, 1]]).cdf([h, k])
        assert _bivariate(np.array(h), np.array(k), r) == pytest.approx(exact, abs=1e-6)


@pytest.mark.parametrize("r", [-0.9, -0.2, 0.0, 0.4, 0.95])
def test_where_one_bound_says_nothing_the_other_is_told_alone(r):
    """Of the first as of the second: what the general formula gives for bounds far out."""
    z = np.linspace(-6.0, 6.0, 97)
    nothing = np.full_like(z, -np.inf)

    np.testing.assert_allclose(_both_above(nothing, z, r), _bivariate(np.full_like(z, 37.0), -z, r), rtol=1e-9, atol=1e-15)
    np.testing.assert_allclose(_both_above(z, nothing, r), _bivariate(-z, np.full_like(z, 37.0), r), rtol=1e-9, atol=1e-15)
