import numpy as np
import pytest

from oracles.chain_of_falls import arrest_force, chain_by_energy, chain_by_integration
from oracles.rigid_fall import Body, G, Limbs, Rope, closest, pierced, simulate

POINT = {"head": 0.05, "feet": 0.05}  # so short a body is a point mass
W = 100 * G


def bars(rows, limit, mu=0.0, radius=0.05):
    """Level bars along y through the given (x, z)."""
    p = np.array([(x, -2, z) for x, z in rows], float)
    return Limbs(p, p + np.array([0, 4, 0]), np.full(len(rows), radius), np.array(limit, float), mu)


def test_closest_points_of_crossing_and_parallel_segments():
    s, t = closest(
        np.zeros((1, 3)), np.array([[1.0, 0, 0]]), np.array([[0.3, -1, 1.0]]), np.array([[0, 2.0, 0]])
    )
    assert (s[0], t[0]) == pytest.approx((0.3, 0.5))
    s, t = closest(
        np.zeros((1, 3)), np.array([[1.0, 0, 0]]), np.array([[2.0, 1, 0]]), np.array([[1.0, 0, 0]])
    )
    assert (s[0], t[0]) == pytest.approx((1.0, 0.0))


def test_a_triangle_is_pierced_inside_and_not_beside():
    p, q, r = np.array([0.0, 0, 0]), np.array([1.0, 0, 0]), np.array([0.0, 0, 1])
    k, at = pierced(p, q, r, np.array([[0.2, -1, 0.3], [0.8, -1, 0.8]]), np.array([[0, 2.0, 0], [0, 2.0, 0]]))
    assert k.tolist() == [0]
    assert at[0] == pytest.approx((0.2, 0, 0.3))


def test_free_fall_reaches_the_ground_with_the_feet_at_root_2gh():
    run = simulate(Body(harness=(0, 0, 6.0)), None, None)
    assert run.ground_speed == pytest.approx(np.sqrt(2 * G * 5.0), rel=1e-3)
    assert run.hits[0][1:3] == (-1, "feet")
    assert run.hits[0][0] == pytest.approx(np.sqrt(2 * 5.0 / G), rel=1e-3)


def test_pendulum_speed_and_tension():
    th, length = np.deg2rad(50), 5.0
    h = np.array([length * np.sin(th), 0, 10 - length * np.cos(th)])
    rope = Rope([(0, 0, 10), h], modulus=3e6, length=length / (1 + W * np.cos(th) / 3e6))
    run = simulate(Body(harness=tuple(h), up=(0, 0, 10) - h, **POINT), rope, None, ground=None, duration=1.5)
    step = np.linalg.norm(np.diff(run.path[:, 1:4], axis=0), axis=1) / np.diff(run.path[:, 0])
    assert step.max() == pytest.approx(np.sqrt(2 * G * length * (1 - np.cos(th))), rel=0.005)
    assert run.path[:, 7].max() == pytest.approx(W * (3 - 2 * np.cos(th)), rel=0.01)
    assert run.lowest_harness == pytest.approx(5.0, abs=0.02)


@pytest.mark.parametrize("slack", [0.0, 1.0])
def test_elastic_arrest(slack):
    """Straight rope, no limb: W + sqrt(W^2 + 2 W h K / L)."""
    rope = Rope([(0, 0, 10), (0, 0, 6)], length=4.0 + slack)
    run = simulate(Body(harness=(0, 0, 6.0), **POINT), rope, None, ground=None, duration=2.0)
    want = arrest_force(W, 30e3 / (4 + slack), slack)
    assert run.rope_peak == pytest.approx(want, rel=0.003)
    assert 6 - run.lowest_harness == pytest.approx(slack + want * (4 + slack) / 30e3, rel=0.003)


@pytest.mark.parametrize("mu", [0.0, 0.3])
def test_capstan_over_a_bar(mu):
    """Basal rope over a bar, climber let go without slack: T = 2 W, bar T (1 + exp(-mu pi))."""
    rope = Rope([(0, 0, 0), (0, 0, 8), (0.01, 0, 5)], on=[0])
    run = simulate(
        Body(harness=(0.01, 0, 5.0), **POINT), rope, bars([(0, 8)], [np.inf], mu), ground=None, duration=1.0
    )
    keep = np.exp(-mu * np.pi)
    assert run.lies_on == [0]
    assert run.rope_peak == pytest.approx(2 * W, rel=0.01)
    assert run.peak_force[0] == pytest.approx(2 * W * (1 + keep), rel=0.015)
    strain = run.rope_peak / 30e3  # at the peak, of what has crept over the bar by then
    crept = 11 - 8 / (1 + strain * keep)
    assert 5 - run.lowest_harness == pytest.approx(crept * (1 + strain) - 3, rel=0.01)


def test_moving_rope_carries_on_two_strands():
    rope = Rope([(0.01, 0, 5), (0, 0, 8), (0.01, 0, 5)], both_ends=True, length=6.0, on=[0])
    run = simulate(
        Body(harness=(0.01, 0, 5.0), **POINT), rope, bars([(0, 8)], [np.inf], 0.3), ground=None, duration=1.0
    )
    assert run.rope_peak == pytest.approx(2 * W, rel=0.01)
    assert run.peak_force[0] == pytest.approx(2 * W, rel=0.015)
    assert 5 - run.lowest_harness == pytest.approx(2 * W / (2 * 30e3 / 3), rel=0.02)


def test_a_rod_hung_by_its_end_and_let_go_level():
    """Energy stays, and the free end passes the bottom with sqrt(3 g L) of a rod on a pin."""
    rope = Rope([(0, 0, 10.2), (0, 0, 10.0)], modulus=1e5)
    body = Body(harness=(0, 0, 10.0), up=(-1, 0, 0), head=0.0, feet=1.6, radius=0.1)
    run = simulate(body, rope, None, ground=None, duration=1.2, stop_at_rest=False)
    assert abs(run.energy_lost) < 0.01 * W * 0.8
    assert run.lowest_feet == pytest.approx(8.4, abs=0.12)


def test_the_taut_string_finds_what_stands_below():
    """Three bars under a place that is gone: the two that stand out of the chord's way take the rope, the
    third is under it.
    """
    rope = Rope([(-3, 0, 0), (0, 0, 12), (3, 0, 2)], length=30.0)
    limbs = bars([(-0.5, 8.0), (0.6, 8.2), (0.0, 3.0), (5.0, 9.0)], [np.inf] * 4)
    run = simulate(Body(harness=(3, 0, 2.0), **POINT), rope, limbs, ground=None, duration=1e-3)
    assert run.lies_on == [0, 1]


def test_a_climber_above_the_next_limb_who_falls_past_it_is_caught():
    """The bar stands outside the loop at the break; his leg sweeps over it in the fall: taut on it."""
    rope = Rope([(-7, 0, 0.3), (0, 0, 20), (0.35, 0, 18)])
    run = simulate(Body(harness=(0.35, 0, 18.0)), rope, bars([(0, 17)], [np.inf], 0.3), duration=3.0)
    below = np.hypot(7, 19.7) + np.hypot(0.35, 2) - np.hypot(7, 16.7)
    assert run.lies_on == [0]
    assert run.ground_speed == 0.0
    assert 17 - below - 4 < run.lowest_harness < 17 - below


def test_a_limb_in_pieces_is_one_support():
    """Two pieces that meet under the rope: it lies there once, with its friction."""
    whole, rope = bars([(0, 8)], [np.inf], 0.3), Rope([(0, 0, 0), (0, 0, 9), (0.01, 0, 6)])
    start, end = np.array([[0, -2, 8], [0, 0, 8]], float), np.array([[0, 0, 8], [0, 2, 8]], float)
    halves = Limbs(start, end, np.full(2, 0.05), np.full(2, np.inf), 0.3)
    body = Body(harness=(0.01, 0, 6.0), **POINT)
    one, two = (simulate(body, rope, limbs, ground=None, duration=1.4) for limbs in (whole, halves))
    assert len(two.lies_on) == 1
    assert two.rope_peak == pytest.approx(one.rope_peak, rel=1e-6)
    assert two.peak_force.max() == pytest.approx(one.peak_force[0], rel=1e-6)


def test_falls_on_lower_bars_are_the_chain_of_falls():
    """The place at 12 m goes; the bar at 11.3 m breaks at 3 kN, the one at 10.4 m holds. Energy bound,
    integration, this.
    """
    x = 0.02
    length = (12 + 3) / (1 + W / 30e3)
    rope = Rope([(-x, 0, 0), (0, 0, 12), (x, 0, 9)], length=length)
    run = simulate(
        Body(harness=(x, 0, 9.0), **POINT), rope, bars([(0, 11.3), (0, 10.4)], [3000, np.inf]), duration=2.5
    )
    bound = chain_by_energy(100.0, 9.0, [12, 11.3, 10.4], [0, 3000, np.inf], 30e3)
    same = chain_by_energy(100.0, 9.0, [12, 11.3, 10.4], [0, 3000, np.inf], 30e3, credit_rope=True)
    assert run.broke_at[0] > 0
    assert np.isnan(run.broke_at[1])
    assert 9 - run.lowest_harness == pytest.approx(same.drop, abs=0.03)
    assert run.rope_peak == pytest.approx(same.catches[-1].rope_peak, rel=0.02)
    assert run.peak_force[1] == pytest.approx(same.catches[-1].support_force, rel=0.02)
    assert bound.catches[-1].rope_peak > 0.99 * run.rope_peak


def test_a_catch_aside_is_the_point_mass_on_a_string():
    """The next bar stands 0.6 m off the plumb: the climber swings; same as solve_ivp's point mass."""
    rope = Rope([(-1.5, 0, 0), (0, 0, 12), (0.5, 0, 8)])
    run = simulate(
        Body(harness=(0.5, 0, 8.0), **POINT), rope, bars([(-0.1, 11)], [np.inf]), ground=None, duration=2.2
    )
    # chain_by_integration derives the rope's length from the climber's rest on the first support
    drawn = np.hypot(1.5, 12) + np.hypot(0.5, 4)
    far = chain_by_integration(
        100.0,
        (0.5, 0, 8),
        [(0, 0, 12), (-0.1, 0, 11)],
        [0, np.inf],
        30e3,
        anchor=(-1.5, 0, 0),
        duration=2.2,
        rope_length=drawn,
    )
    assert run.lies_on == [0]
    assert run.rope_peak == pytest.approx(far.catches[0].rope_peak, rel=0.01)
    assert run.lowest_harness == pytest.approx(far.lowest_harness, abs=0.02)


def test_what_the_climber_hits_and_how_fast():
    run = simulate(
        Body(harness=(0, 0, 10.0)), None, bars([(0.0, 6.0)], [np.inf], radius=0.1), ground=0.0, duration=3.0
    )
    _t, limb, part, speed = run.hits[0]
    assert (limb, part) == (0, "feet")
    assert speed == pytest.approx(np.sqrt(2 * G * (9.0 - 6.10)), rel=0.01)
    assert run.peak_force[0] > 5000


def test_legs_reach_a_limb_that_a_point_would_miss():
    rope = Rope([(0, 0, 12), (0, 0, 6)])
    low = bars([(0.05, 4.7)], [np.inf], radius=0.06)
    fall = {"ground": None, "duration": 1.5}
    assert simulate(Body(harness=(0, 0, 6.0)), rope, low, **fall).hits
    assert not simulate(Body(harness=(0, 0, 6.0), **POINT), rope, low, **fall).hits
