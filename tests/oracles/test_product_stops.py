"""What the load cases tell of an abrupt stop, against stops worked out beside them."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.stats import triang

from oracles.abrupt_stop import MODULUS, peak_by_energy
from treescan.loads.pull.abrupt_stop import Behind, abrupt_stop
from treescan.loads.pull.load_cases import pulls
from treescan.loads.settings import LoadSettings

S = LoadSettings()
W = 100 * 9.80665


@pytest.mark.parametrize(("rope", "system", "legs", "far"), [(2.0, "canopy", 1, 0.0), (8.0, "moving", 2, 0.0), (2.0, "basal", 1, 13.0)])
def test_a_drawn_stop_is_that_of_200000_at_random(rope, system, legs, far):
    """Median within 1 %, the 95 % stop within 3 % of slack, modulus, service and friction drawn at random by scipy."""
    rng, n = np.random.default_rng(5), 200_000
    slack = triang(c=1 / 3, scale=0.9).rvs(n, random_state=rng)
    k = triang(c=(30e3 - 19.6e3) / 21.6e3, loc=19.6e3, scale=21.6e3).rvs(n, random_state=rng)
    k *= triang(c=1 / 3, loc=1.0, scale=0.3).rvs(n, random_state=rng)
    keep = rng.uniform(0.2, 0.6, n)
    length = rope if system == "moving" else rope + far * keep
    ratio = 1 + np.sqrt(1 + 2 * legs * k * slack / (W * length))
    assert ratio[0] == pytest.approx(peak_by_energy(100, slack[0], rope, k[0], system=system, far=far, mu=1.0, wrap=-np.log(keep[0])).ratio)
    median, scatter = abrupt_stop(np.array([rope]), Behind(0.2 * far, 0.6 * far), legs, S)
    assert median[0] / W == pytest.approx(np.median(ratio), rel=0.01)
    assert median[0] / W * np.exp(1.645 * scatter[0]) == pytest.approx(np.quantile(ratio, 0.95), rel=0.03)


@pytest.mark.parametrize("modulus", MODULUS)
def test_the_limits_of_standard_rope_lie_within_what_is_drawn(modulus):
    """A stop after the likeliest slack on the softest and on the stiffest rope lies between the 5 and the 95 % one."""
    median, scatter = abrupt_stop(np.array([2.0]), Behind(), 1, S)
    sure = peak_by_energy(100, S.slack, 2.0, modulus).climber
    assert median[0] * np.exp(-1.645 * scatter[0]) < sure < median[0] * np.exp(1.645 * scatter[0])


@pytest.mark.parametrize("degrees", [10, 20, 30, 45])
def test_a_stop_at_an_angle_holds_the_swing_that_goes_with_it(degrees):
    """0.3 m of slack on 6 m of rope: stop and swing of a point mass together, integrated in time, pull no harder than what is told."""
    angle, slack, length = np.deg2rad(degrees), 0.3, 6.0
    out = length * np.sin(angle)
    # let go `slack` above the place where the rope comes tight
    start = np.array([out, -length * np.cos(angle) + slack])
    def motion(_, y):
        r = np.hypot(y[0], y[1])
        pull = 30e3 * max(r - length, 0.0) / length
        return [y[2], y[3], -pull * y[0] / r / 100, -pull * y[1] / r / 100 - 9.80665]

    way = solve_ivp(motion, (0, 5), [*start, 0, 0], max_step=0.005, rtol=1e-8)
    peak = 30e3 * (np.hypot(way.y[0], way.y[1]).max() - length) / length
    fixed = LoadSettings(slack_most=1.0, rope_modulus_bounds=(30e3, 30e3), rope_in_service=(1.0, 1.0, 1.0))
    told, _ = abrupt_stop(np.array([length]), Behind(), 1, fixed)
    assert 0.98 * peak < told[0] < 1.15 * peak


def test_work_near_the_support_is_judged_on_its_own_rope():
    """A climber stopped 1 m below the anchor is stopped harder than one 2 m below it."""
    anchor = np.array([0.0, 0, 10.0])
    found = pulls(anchor, anchor, 0.0, anchor + np.array([[0.1, 0, -1.0], [0.1, 0, -2.0], [0.1, 0, -4.0]]), Behind(), 1, S)
    near = found.hard[1:]
    assert near[0] > near[1] > near[2]
    fixed = LoadSettings(slack_most=1.0, rope_modulus_bounds=(30e3, 30e3), rope_in_service=(1.0, 1.0, 1.0))
    one = pulls(anchor, anchor, 0.0, anchor + np.array([[0.0, 0, -1.0]]), Behind(), 1, fixed)
    # 1 m below the support with 0.3 m of slack there are 1.3 m of rope
    assert one.hard[1] == pytest.approx(peak_by_energy(100, 0.3, 1.3, 30e3).climber, rel=1e-6)
    assert pulls(anchor, anchor, 0.0, anchor + np.array([[0.0, 0, -0.1]]), Behind(), 1, S).hard[1] < 10.6 * W  # the hardest measured
