"""Line between two trees, and the angle rule at a redirect.

Source: Arboriculture Australia 2022, Tree Rescue Manual, pp. 129-130: force per anchor f / (2 sin phi), phi the line's angle
below level; 100 kg can give about 5 kN on a flat line; keep the included angle under 120 degrees. P. 123: the resultant of two
legs is 2 F cos(theta/2).
"""

from __future__ import annotations

import numpy as np
import pytest

from treescan.loads.rope.strung_rope import fixed_point, hanging_between
from treescan.loads.sections.section_stress import redirect_force
from treescan.units import G

A, B = np.array([0.0, 0.0, 12.0]), np.array([10.0, 0.0, 12.0])


@pytest.mark.parametrize("below_deg", [5.7, 15, 30, 45, 60])
def test_equal_lines_pull_f_over_two_sin_phi(below_deg):
    """A point midway, phi below level, pulls each tree with f / (2 sin phi)."""
    phi = np.radians(below_deg)
    f = hanging_between([A, B], [5.0, 0, 12 - 5 * np.tan(phi)], 100 * G)

    assert f.tension == pytest.approx([100 * G / (2 * np.sin(phi))] * 2)
    assert f.between == pytest.approx(np.pi - 2 * phi)
    assert f.flat == (below_deg < 30)


def test_a_flat_line_makes_five_kilonewtons_of_a_hundred_kilograms():
    """At 5.6 degrees below level 100 kg pull about 5 kN on each tree, as the manual warns."""
    f = hanging_between([A, B], [5.0, 0, 12 - 5 * np.tan(np.radians(5.6))], 100 * G)

    assert f.tension[0] == pytest.approx(5000, rel=0.02)
    assert f.flat


@pytest.mark.parametrize("point", [[2.0, 0.0, 9.0], [7.0, 0.0, 5.0], [5.0, 0.0, 3.0]])
def test_forces_on_the_point_sum_to_zero(point):
    """Both line tensions and the climber's weight balance, wherever the point hangs."""
    p = np.array(point)
    f = hanging_between([A, B + np.array([0, 0, 2.0])], p, 900.0)
    to_a, to_b = A - p, B + np.array([0, 0, 2.0]) - p
    total = f.tension[0] * to_a / np.linalg.norm(to_a) + f.tension[1] * to_b / np.linalg.norm(to_b) - [0, 0, 900.0]

    assert total == pytest.approx(np.zeros(3), abs=1e-6)


def test_lowered_point_keeps_the_limit():
    """The point found for 120 degrees makes 120 degrees, and a little lower is not flat."""
    p = fixed_point([A, B], np.radians(120), 0.5)

    assert hanging_between([A, B], p, 1.0).between == pytest.approx(np.radians(120), abs=1e-6)
    assert not hanging_between([A, B], p - [0, 0, 0.1], 1.0).flat


@pytest.mark.parametrize(("between_deg", "expected"), [(0, 2.0), (45, 1.85), (90, 1.41), (120, 1.0)])
def test_redirect_force_matches_the_printed_angles(between_deg, expected):
    """2 F cos(theta / 2) for theta between the legs."""
    assert redirect_force(np.pi - np.radians(between_deg)) == pytest.approx(expected, abs=0.005)
