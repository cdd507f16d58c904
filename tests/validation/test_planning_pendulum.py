"""Pendulum of a slipping climber.

Expected values: plane mechanics (energy and radial balance), as tabulated with the formulas T = W (3 - 2 cos phi),
drop = L (1 - cos phi), v = sqrt(2 g L (1 - cos phi)); the printed table gives 1.07, 1.27, 1.59, 2.0, 3.0 for 15, 30, 45, 60, 90
degrees and 2.6, 5.1, 7.6, 9.9, 14.0 m/s for a rope of 10 m. The motion itself is integrated with scipy as an independent check.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from treescan.loads.pull.shock import arc, pendulum_force, pendulum_speed
from treescan.units import G

ANGLES = np.radians([15, 30, 45, 60, 90])


def test_peak_tension_matches_the_printed_table():
    """Peak rope tension over weight at the lowest point."""
    assert pendulum_force(ANGLES).round(2).tolist() == [1.07, 1.27, 1.59, 2.0, 3.0]


def test_speed_matches_the_printed_table():
    """Speed at the lowest point of a 10 m rope."""
    assert pendulum_speed(10.0, ANGLES) == pytest.approx([2.6, 5.1, 7.6, 9.9, 14.0], abs=0.05)


def test_drop_is_l_one_minus_cos():
    """The swept arc drops L (1 - cos phi)."""
    for phi in ANGLES[:4]:
        path, _ = arc(np.zeros(3), 10 * np.array([np.sin(phi), 0, -np.cos(phi)]))

        assert path[0, 2] - path[:, 2].min() == pytest.approx(10 * (1 - np.cos(phi)), rel=1e-9)


@pytest.mark.parametrize("phi", ANGLES)
def test_speed_and_tension_along_the_arc_match_the_equation_of_motion(phi):
    """Integrating theta'' = -(g/L) sin theta gives the same speed and tension at every angle on the way down."""
    length = 7.0
    out = solve_ivp(lambda _, y: [y[1], -G / length * np.sin(y[0])], (0, 1.3), [phi, 0.0], rtol=1e-10, atol=1e-12, max_step=0.02)
    theta, omega = out.y
    down = theta > 0.02
    speed, tension = length * np.abs(omega), np.cos(theta) + length * omega**2 / G

    assert pendulum_speed(length, phi, theta[down]) == pytest.approx(speed[down], abs=1e-6)
    assert pendulum_force(phi, theta[down]) == pytest.approx(tension[down], abs=1e-6)
