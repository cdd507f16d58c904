import numpy as np
import pytest

from oracles.abrupt_stop import (
    MEASURED_RATIO,
    MODULUS,
    peak_by_energy,
    peak_by_motion,
    ratio_table,
    slack_for_ratio,
)


def test_the_published_rows():
    """climbing_loads.md section 2 and formula_checks.csv F047-F052."""
    table = ratio_table()
    assert table[0] == pytest.approx([2.00, 2.73, 3.24, 4.60, 5.58, 7.40], abs=0.006)
    assert table[1] == pytest.approx([2.00, 3.01, 3.67, 5.40, 6.62, 8.89], abs=0.006)
    assert table[2] == pytest.approx([2.00, 3.28, 4.07, 6.12, 7.56, 10.22], abs=0.006)
    assert peak_by_energy(100, 3.0, 10.0, 30e3).climber == pytest.approx(5295.0217, rel=1e-6)
    assert peak_by_energy(80, 5.0, 10.0, 25e3).climber == pytest.approx(5282.1748, rel=1e-6)
    assert peak_by_energy(100, 3.0, 10.0, MODULUS[1]).climber == pytest.approx(6000, rel=1e-4)


@pytest.mark.parametrize("modulus", MODULUS)
@pytest.mark.parametrize(("slack", "speed"), [(0.0, 0.0), (0.5, 0.0), (0.0, 3.0), (1.0, 2.0)])
@pytest.mark.parametrize(
    ("system", "far", "mu"), [("canopy", 0, 0), ("basal", 14, 0), ("basal", 14, 0.3), ("moving", 0, 0.3)]
)
def test_motion_meets_energy(modulus, slack, speed, system, far, mu):
    kw = {"speed": speed, "system": system, "far": far, "mu": mu}
    e = peak_by_energy(90.0, slack, 6.0, modulus, **kw)
    m = peak_by_motion(90.0, slack, 6.0, modulus, **kw)
    near = (
        0.03 if system == "basal" and mu else 0.003
    )  # creep of finite strain: the closed form is first order in it
    assert m.climber == pytest.approx(e.climber, rel=near)
    assert m.anchor == pytest.approx(e.anchor, rel=near)
    assert m.time == pytest.approx(e.time, abs=0.02)


@pytest.mark.parametrize("mu", [0.0, 0.3, 2.0])
def test_slack_in_one_leg_only(mu):
    """A leg without tension holds nothing back at the bar (capstan: 0 x exp = 0): the rope runs until both
    are taut.
    """
    even = peak_by_motion(90.0, 0.3, 6.0, 30e3, system="moving")
    one = peak_by_motion(90.0, 0.3, 6.0, 30e3, system="moving", one_leg=True, mu=mu, creep=0.5)
    assert one.climber == pytest.approx(even.climber, rel=0.01)


def test_the_measured_ratio_can_be_asked_for():
    h = slack_for_ratio(MEASURED_RATIO, 100.0, 8.0, MODULUS[1])
    assert peak_by_energy(100.0, h, 8.0, MODULUS[1]).ratio == pytest.approx(MEASURED_RATIO, rel=1e-12)
    assert h == pytest.approx(8.0 * 1.0856, rel=1e-3)  # a fall factor of 1.09 on the stiffest rope


def test_a_moving_rope_stops_as_hard_and_presses_the_bar_once_not_twice():
    moving = peak_by_energy(90.0, 0.5, 6.0, 30e3, system="moving")
    basal = peak_by_energy(90.0, 0.5, 6.0, 30e3, system="basal", far=14.0)
    assert moving.climber > basal.climber
    assert moving.anchor == moving.climber
    assert basal.anchor == pytest.approx(2 * basal.climber)


def test_friction_at_the_bar_shortens_the_rope_that_gives():
    peaks = [
        peak_by_energy(90.0, 0.5, 6.0, 30e3, system="basal", far=14.0, mu=mu).climber
        for mu in (0, 0.15, 0.5, 5)
    ]
    assert (np.diff(peaks) > 0).all()
    assert peaks[-1] == pytest.approx(peak_by_energy(90.0, 0.5, 6.0, 30e3).climber, rel=1e-4)
