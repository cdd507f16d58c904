"""Closest places of straight pieces against a search that knows no formula."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import minimize

from treescan.geometry import gap_segments, segment_segment

KINDS = ("any", "second a place", "first a place", "both places", "parallel", "crossing", "in one line")


def _pieces(kind: str, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Ends of two pieces of one kind."""
    p0, p1, q0, q1 = rng.uniform(-3, 3, (4, 3))
    if kind in ("second a place", "both places"):
        q1 = q0
    if kind in ("first a place", "both places"):
        p1 = p0
    if kind == "parallel":
        q1 = q0 + rng.uniform(-2, 2) * (p1 - p0)
    if kind == "crossing":
        middle = 0.5 * (p0 + p1)
        q1 = middle + rng.uniform(0.1, 2) * (middle - q0)
    if kind == "in one line":
        q0, q1 = (p0 + s * (p1 - p0) for s in rng.uniform(-2, 3, 2))
    return p0, p1, q0, q1


@pytest.mark.parametrize("kind", KINDS)
def test_two_pieces_are_as_far_apart_as_a_search_finds(kind):
    """The distance is that of a bounded minimiser from several starts (scipy), and the two shares really lie so far apart."""
    rng = np.random.default_rng(5)
    for _ in range(25):
        p0, p1, q0, q1 = _pieces(kind, rng)

        def apart(x, ends=(p0, p1, q0, q1)):
            a, b, c, d = ends
            return float(np.sum((a + x[0] * (b - a) - c - x[1] * (d - c)) ** 2))

        best = min(minimize(apart, x, bounds=[(0, 1), (0, 1)], tol=1e-14).fun for x in ((0, 0), (1, 0), (0, 1), (1, 1), (0.5, 0.5)))
        gap, s, t = (float(x) for x in segment_segment(p0, p1, q0, q1))
        square, u, v = gap_segments(*p0, *(p1 - p0), *q0, *(q1 - q0))

        assert gap == pytest.approx(np.sqrt(best), abs=2e-5)
        assert gap == pytest.approx(np.sqrt(apart((s, t))), abs=1e-12)
        assert np.sqrt(square) == pytest.approx(gap, abs=1e-9)
        assert np.sqrt(apart((u, v))) == pytest.approx(gap, abs=1e-9)
