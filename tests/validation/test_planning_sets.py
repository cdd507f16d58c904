"""Sets of tie-in points against full enumeration.

The integer programme must reach the same optimum (no printed source; exact oracle).
"""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from treescan.planning.sets.sets import fewest_cover, fewest_double_cover, widest_cover


def random_case(seed):
    rng = np.random.default_rng(seed)
    n, w = int(rng.integers(3, 10)), int(rng.integers(4, 30))
    serves = rng.uniform(size=(w, n)) < rng.uniform(0.15, 0.6)
    return serves, rng.uniform(0.1, 1.0, n), rng.uniform(0.1, 3.0, w)


@pytest.mark.parametrize("seed", range(50))
def test_fewest_points_equal_full_enumeration(seed):
    """Same count, and among all sets of that count the same total worth."""
    serves, worth, _ = random_case(seed)
    coverable = serves.any(axis=1)
    found = fewest_cover(serves, worth)
    best = None
    for k in range(serves.shape[1] + 1):
        full = [c for c in combinations(range(serves.shape[1]), k) if np.array_equal(serves[:, list(c)].any(axis=1), coverable)]
        if full:
            best = max(full, key=lambda c: worth[list(c)].sum())
            break

    assert np.array_equal(serves[:, found].any(axis=1), coverable)
    assert len(found) == len(best)
    assert worth[found].sum() == pytest.approx(worth[list(best)].sum(), abs=1e-6)


@pytest.mark.parametrize("seed", range(50))
def test_widest_cover_equals_full_enumeration(seed):
    """With at most two points the served weight is the largest any two reach."""
    serves, _, weight = random_case(seed)
    found = widest_cover(serves, weight, 2)
    best = max(weight[serves[:, list(c)].any(axis=1)].sum() for c in combinations(range(serves.shape[1]), 2))

    assert len(found) <= 2
    assert weight[serves[:, found].any(axis=1)].sum() == pytest.approx(best, rel=1e-9)


@pytest.mark.parametrize("seed", range(50))
def test_double_cover_equals_full_enumeration(seed):
    """Every point an independent pair can serve is served by one in the set, with as few points as enumeration needs."""
    serves, worth, _ = random_case(seed)
    n = serves.shape[1]
    apart = np.random.default_rng(seed + 1000).uniform(size=(n, n)) < 0.6
    apart = np.triu(apart, 1) | np.triu(apart, 1).T

    def doubly(columns):
        pairs = [(i, j) for i, j in combinations(columns, 2) if apart[i, j]]
        return np.any([serves[:, i] & serves[:, j] for i, j in pairs], axis=0) if pairs else np.zeros(len(serves), bool)

    possible = doubly(range(n))
    found = fewest_double_cover(serves, apart, worth)
    least = next((k for k in range(n + 1) for c in combinations(range(n), k) if np.array_equal(doubly(c), possible)), n)

    assert np.array_equal(doubly(found), possible)
    assert len(found) == least
