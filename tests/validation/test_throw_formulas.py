"""Projectile, line and capstan figures against printed or closed-form values.

Sources: OpenStax College Physics, Example 3.4 (question read, printed answers 233 m, 6.90 s, 125 m from memory, recomputed with
g = 9.80); two worked examples on rope friction (pickedshares.com exercise 27, prints 382.26 N; transtutors.com rope friction, prints 10550.72 N
and 94.78 N; an FOSSEE example 5.16, prints 3.7025); the others are the named formulas evaluated with g = 9.80665.
"""

import dataclasses

import numpy as np
import pytest
from throw_oracles import apex_with_line, fly, terminal_speed

from treescan.throw.ballistics.flight import Bag, drag_constant, flights, min_speed
from treescan.throw.ballistics.flight_line import Origin
from treescan.throw.outcome.bag_mass import min_bag_mass
from treescan.throw.outcome.snags import unsnagged
from treescan.throw.settings import ThrowSettings
from treescan.throw.throw_path import Throw
from treescan.units import G

BARE = dataclasses.replace(ThrowSettings(), drag=0.0, line_density=0.0)
WEIGHT = dataclasses.replace(ThrowSettings(), bag_mass=0.34, bag_radius=0.03, drag=0.6, air_density=1.225, line_density=0.0)


def _bare(elevation_deg, speed):
    """Rows (x, z, vx, vz, length) of a flight without drag or line, 2 ms apart (10 ms for the shell)."""
    return fly(np.radians(elevation_deg), speed, Bag(0.34, 0.0, 0.0), -0.01, 2e-3 if speed < 40 else 0.01)


def test_printed_shell_example():
    """70 m/s at 75 degrees: apex 233 m, after 6.90 s, 125 m away (book, g = 9.80); tolerance as printed."""
    path = _bare(75, 70.0)
    k = int(path[:, 1].argmax())

    assert path[k, 1] == pytest.approx(233.25318, rel=0.002)
    assert k * 0.01 == pytest.approx(6.8994702, rel=0.002)
    assert path[k, 0] == pytest.approx(125.0, rel=0.003)


def test_level_range_and_apex():
    """v^2 sin 2a / g = 40.788649 m at 20 m/s and 45 degrees; (v sin a)^2 / 2g = 19.028164 m at 75 degrees."""
    path = _bare(45, 20.0)
    k = int(np.flatnonzero(path[:, 1] < 0)[0])
    level = np.interp(0.0, path[[k, k - 1], 1], path[[k, k - 1], 0])

    assert level == pytest.approx(40.788649, rel=1e-4)
    assert _bare(75, 20.0)[:, 1].max() == pytest.approx(19.028164, rel=1e-4)


@pytest.mark.parametrize(
    ("x", "z", "speed", "angle"), [(3, 15, 17.236956, 84.345034), (8, 20, 20.183526, 79.099295), (15, 12, 17.494553, 64.329904)]
)
def test_least_speed_to_a_point_and_its_angle(x, z, speed, angle):
    """v^2 = g (z + sqrt(x^2 + z^2)); at tan a = (z + sqrt(x^2 + z^2)) / x that flight passes through the point."""
    assert float(min_speed(x, z)) == pytest.approx(speed, rel=1e-4)
    f = flights([np.radians(angle)], [speed], BARE)
    assert np.interp(x, np.arange(f.height.shape[1]) * f.step[0], f.height[0]) == pytest.approx(z, abs=0.01)


@pytest.mark.parametrize("angle", [82.427904, 69.499609])
def test_both_launch_angles_pass_through_the_point(angle):
    """At 20 m/s the high and the low angle to (8, 15) pass through it."""
    f = flights([np.radians(angle)], [20.0], BARE)

    assert np.interp(8.0, np.arange(f.height.shape[1]) * f.step[0], f.height[0]) == pytest.approx(15.0, abs=0.01)


def test_quadratic_drag_straight_up():
    """Terminal speed 56.646742 m/s; from 20 m/s: apex 19.219847 m after 1.960514 s, back at 18.859072 m/s."""
    assert terminal_speed(WEIGHT) == pytest.approx(56.646742, rel=1e-4)
    path = fly(np.pi / 2, 20.0, Bag(0.34, 0.0, drag_constant(WEIGHT)), 0.0, 4e-3)
    k = int(path[:, 1].argmax())
    back = np.interp(0.0, path[[-1, -2], 1], path[[-1, -2], 3])

    assert path[k, 1] == pytest.approx(19.219847, rel=1e-4)
    assert k * 4e-3 == pytest.approx(1.960514, abs=4e-3)
    assert -back == pytest.approx(18.859072, rel=1e-4)


def test_line_picked_up_from_rest():
    """340 g, 2 g/m, 20 m/s straight up: 18.343757 m."""
    settings = dataclasses.replace(ThrowSettings(), bag_mass=0.34, line_density=0.002)

    assert apex_with_line(20.0, settings) == pytest.approx(18.343757, rel=1e-4)
    assert fly(np.pi / 2, 20.0, Bag(0.34, 0.002, 0.0), -0.1, 2e-3)[:, 1].max() == pytest.approx(18.343757, rel=1e-4)


def test_sensitivities_of_a_throw():
    """18 m/s, 75 degrees, 4 m away: 0.4016342 m per m/s and 0.57128583 m per degree."""

    def height(v, a):
        f = flights([np.radians(a)], [v], BARE)
        return np.interp(4.0, np.arange(f.height.shape[1]) * f.step[0], f.height[0])

    assert (height(18.2, 75) - height(17.8, 75)) / 0.4 == pytest.approx(0.4016342, rel=5e-3)
    assert (height(18, 75.2) - height(18, 74.8)) / 0.4 == pytest.approx(0.57128583, rel=5e-3)


def test_bag_that_comes_down_over_one_limb():
    """l H exp(mu pi) = 0.1026533 kg for 2 g/m, 20 m, mu 0.3."""
    assert min_bag_mass(0.002, 20.0, 0.3, np.pi) == pytest.approx(0.1026533, rel=1e-5)


@pytest.mark.parametrize(
    ("mu", "degrees", "factor"),
    [(0.3, 180, 2.5663324), (0.2, 180, 1.8744561), (0.1, 180, 1.3691078), (0.5, 180, 4.8104774), (0.3, 90, 1.6019777),
     (0.3, 360, 6.586062), (0.25, 120, 1.6880918), (0.3, 250, 3.7024581)],
)
def test_capstan_factors(mu, degrees, factor):
    """exp(mu beta): a tail of 1 kg needs a bag of that many kilograms."""
    assert min_bag_mass(1.0, 1.0, mu, np.radians(degrees)) == pytest.approx(factor, rel=1e-4)


def test_printed_rope_friction_examples():
    """382.26 N hold 100 kg over 1.5 pi at mu 0.2 (g = 9.81); 1.5 turns at 0.25 take 1000 N to 10550.72 N or to 94.78 N."""
    assert 100 * 9.81 / min_bag_mass(1.0, 1.0, 0.2, 1.5 * np.pi) == pytest.approx(382.26, abs=0.005)
    assert 1000 * min_bag_mass(1.0, 1.0, 0.25, 3 * np.pi) == pytest.approx(10550.72, abs=0.05)
    assert 1000 / min_bag_mass(1.0, 1.0, 0.25, 3 * np.pi) == pytest.approx(94.78, abs=0.01)


def test_expected_throws():
    """1 / 0.3 = 3.333 throws."""
    fields = dict.fromkeys(Throw.__dataclass_fields__)

    assert Throw(**{**fields, "chance": 0.3}).expected_throws == pytest.approx(3.3333333, rel=1e-6)


def test_snag_chance_along_a_path():
    """1 - exp(-0.05 x 12) = 0.45118836: 12 m of straight flight through k rho = 0.05 per metre."""
    from hand_made_foliage import filled

    scene = filled(density=0.5, snag_factor=0.1)
    heights = np.zeros(129)

    through = unsnagged(scene.leaves, scene.rules.snag, heights, 12.0 / 128, Origin(0.0, 0.0, 5.0, 0.0), 12.0)

    assert 1 - through == pytest.approx(0.45118836, rel=1e-6)


def test_g_is_standard_gravity():
    """The rows above were computed with g = 9.80665 m/s2."""
    assert pytest.approx(9.80665) == G
