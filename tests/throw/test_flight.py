"""Flights: the parabola, the closed forms with line and drag, and an independent integrator."""

import dataclasses

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from throw_oracles import apex_with_line, fly, terminal_speed

from treescan.throw.ballistics.flight import PIECES, Bag, drag_constant, flights, min_speed
from treescan.throw.settings import ThrowSettings
from treescan.units import G

BARE = dataclasses.replace(ThrowSettings(), drag=0.0, line_density=0.0)
FULL = ThrowSettings()


@pytest.mark.parametrize(("elevation", "speed"), [(45, 8), (60, 15), (82, 19), (86, 30), (40, 30)])
def test_without_drag_and_line_the_flight_is_the_parabola(elevation, speed):
    """Every column of the table lies on z = x tan a - g x^2 / (2 v^2 cos^2 a), to a tenth of a millimetre."""
    a = np.radians(elevation)
    f = flights([a], [speed], BARE)
    x = np.arange(PIECES + 1) * f.step[0]

    assert np.allclose(f.height[0], x * np.tan(a) - G * x**2 / (2 * speed**2 * np.cos(a) ** 2), atol=1e-4)


def _independent(elevation, speed, settings, xs):
    """scipy's DOP853 on the same equation written out afresh; height where the flight passes each x."""
    m, line, kd = settings.bag_mass, settings.line_density, drag_constant(settings)

    def rates(t, y):
        _, _, vx, vz, s = y
        v = np.hypot(vx, vz)
        pull = (kd + line) * v / (m + line * s)
        return [vx, vz, -pull * vx, -G - pull * vz, v]

    path = solve_ivp(
        rates, (0, 8), [0, 0, speed * np.cos(elevation), speed * np.sin(elevation), 0], method="DOP853", rtol=1e-10, atol=1e-10, dense_output=True
    )
    t = np.linspace(0, 8, 40001)
    x, z = path.sol(t)[:2]
    return np.interp(xs, x, z)


@pytest.mark.parametrize(("elevation", "speed"), [(45, 30), (55, 30), (70, 25), (80, 19), (60, 12), (86, 30)])
def test_the_flight_agrees_with_an_independent_integrator_to_1_cm_over_40_m(elevation, speed):
    """Drag and line included; compared at 400 places between the columns as well, out to 40 m or the end of the flight."""
    a = np.radians(elevation)
    f = flights([a], [speed], FULL)
    x = np.linspace(0, min(40.0, f.step[0] * PIECES * 0.999), 400)

    assert np.abs(np.interp(x, np.arange(PIECES + 1) * f.step[0], f.height[0]) - _independent(a, speed, FULL, x)).max() < 0.01


def test_a_throw_straight_up_that_picks_up_line_reaches_its_closed_form():
    """h = (m / l)((1 + 3 l v^2 / (2 g m))^(1/3) - 1), to 1 mm."""
    no_drag = dataclasses.replace(FULL, drag=0.0)
    top = fly(np.pi / 2, 20.0, Bag(no_drag.bag_mass, no_drag.line_density, 0.0), -1.0, 2e-3)[:, 1].max()

    assert top == pytest.approx(apex_with_line(20.0, no_drag), abs=1e-3)


def test_a_weight_falling_long_enough_reaches_its_terminal_speed():
    """Without line, a fall from high up ends at sqrt(2 m g / (rho Cd A))."""
    bare_line = dataclasses.replace(FULL, line_density=0.0)
    path = fly(0.0, 0.1, Bag(bare_line.bag_mass, 0.0, drag_constant(bare_line)), -1500.0, 0.02)

    assert abs(path[-1, 3]) == pytest.approx(terminal_speed(bare_line), rel=1e-3)


def test_a_faster_throw_at_the_same_elevation_is_higher_everywhere():
    """Heights at every distance rise with speed: flights of one elevation never cross."""
    speed = np.linspace(8, 30, 23)
    f = flights(np.full(23, np.radians(60)), speed, FULL)
    x = np.linspace(0.1, 4.0, 50)
    z = np.array([np.interp(x, np.arange(PIECES + 1) * f.step[i], f.height[i]) for i in range(23)])

    assert np.all(np.diff(z, axis=0) > 0)


def test_no_throw_slower_than_the_least_speed_gets_there():
    """At the least speed's best angle the parabola passes through the point; one per cent slower misses it at any angle."""
    x, z = 6.0, 14.0
    v = float(min_speed(x, z))
    angles = np.radians(np.linspace(30, 89, 600))
    highest = lambda u: np.max(x * np.tan(angles) - G * x**2 / (2 * u**2 * np.cos(angles) ** 2))  # noqa: E731

    assert highest(v * 1.001) > z > highest(v * 0.99)
