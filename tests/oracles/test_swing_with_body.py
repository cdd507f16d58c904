import numpy as np
import pytest

from oracles.rigid_fall import Body, Rope, simulate
from oracles.swing_with_body import G, low_point_by_formula, swing

W = 90 * G


@pytest.mark.parametrize("degrees", [15, 30, 45, 60, 80])
def test_a_stiff_rope_and_a_point_are_the_textbook_pendulum(degrees):
    th = np.deg2rad(degrees)
    s = swing(90.0, 12.0, 10.0, th, 5e6, body="point")
    assert s.fastest_harness == pytest.approx(np.sqrt(2 * G * 10 * (1 - np.cos(th))), rel=2e-3)
    assert s.rope_peak == pytest.approx(W * (3 - 2 * np.cos(th)), rel=5e-3)
    assert s.lowest_feet == pytest.approx(12 - 10 - 1.0, abs=0.01)
    assert s.fastest_feet == pytest.approx(s.fastest_harness)


@pytest.mark.parametrize("degrees", [20, 45, 60])
@pytest.mark.parametrize("strands", [1, 2])
def test_stretch_at_the_force_of_the_swing(degrees, strands):
    """Let go while hanging: the formula's low point is right within 3 cm, and never the higher of the two
    by more.
    """
    th = np.deg2rad(degrees)
    s = swing(90.0, 12.0, 8.0, th, 25e3, strands=strands, body="point")
    formula = low_point_by_formula(90.0, 12.0, 8.0, th, 25e3, strands=strands)
    assert s.lowest_feet == pytest.approx(formula, abs=0.03)


def test_a_body_that_whips_round_pulls_harder_than_the_textbook():
    """Started plumb, the rod turns late: rope peak up to a fifth above W (3 - 2 cos); a rope let go slack
    gives 2 W at 20 degrees.
    """
    th = np.deg2rad(60)
    assert 1.1 < swing(90.0, 20.0, 8.0, th, 25e3).rope_peak / (W * 2) < 1.25
    slack = swing(90.0, 20.0, 8.0, np.deg2rad(20), 25e3, start="slack", body="point")
    assert slack.rope_peak / W == pytest.approx(2.05, abs=0.05)
    assert slack.lowest_feet < low_point_by_formula(90.0, 20.0, 8.0, np.deg2rad(20), 25e3) - 0.4


def test_a_longer_rope_behind_the_tie_in_lets_him_lower():
    th = np.deg2rad(45)
    short = swing(90.0, 12.0, 8.0, th, 25e3, body="point")
    basal = swing(90.0, 12.0, 8.0, th, 25e3, rope_behind=12.0, body="point")
    assert basal.lowest_feet < short.lowest_feet - 0.3


def test_energy_of_the_rod_is_kept():
    """Speed of the harness at the bottom is below a point mass' own: part of the energy turns the body."""
    th = np.deg2rad(50)
    rod = swing(90.0, 12.0, 6.0, th, 1e6)
    point = swing(90.0, 12.0, 6.0, th, 1e6, body="point")
    assert rod.fastest_harness == pytest.approx(point.fastest_harness, rel=0.12)
    assert rod.fastest_feet > rod.fastest_harness


@pytest.mark.parametrize("degrees", [30, 60])
def test_the_other_integrator_agrees(degrees):
    """rigid_fall has the same physics in three dimensions with another rope and another scheme."""
    th = np.deg2rad(degrees)
    s = swing(90.0, 10.0, 6.0, th, 30e3, start="hanging")
    h = (6 * np.sin(th), 0, 10 - 6 * np.cos(th))
    rope = Rope([(0, 0, 10), h], length=6 / (1 + W * np.cos(th) / 30e3))
    run = simulate(Body(mass=90.0, harness=h), rope, None, ground=None, duration=s.path[-1, 0])
    assert run.lowest_feet == pytest.approx(s.lowest_feet, abs=0.01)
    assert run.rope_peak == pytest.approx(s.rope_peak, rel=0.005)


def test_feet_in_the_ground_are_told():
    """Tie-in at 7 m, rope 6.4 m, 50 degrees: harness passes 0.6 m over the ground, the feet would be 0.4 m
    under it.
    """
    s = swing(90.0, 7.0, 6.4, np.deg2rad(50), 30e3)
    assert s.lowest_harness > 0
    assert s.lowest_feet < -0.4
    assert s.feet_speed_at(0.0) > 6.0
    assert swing(90.0, 12.0, 6.4, np.deg2rad(50), 30e3).feet_speed_at(0.0) == 0.0
