"""Chances against integrals done by hand, and what must never happen to them."""

import dataclasses

import numpy as np
import pytest
from hand_made_limbs import EAST, Limb, flat, scene_of, spread, upright
from scipy.integrate import quad
from scipy.optimize import brentq, minimize_scalar
from scipy.stats import norm

from treescan.throw.ballistics.flight import flights
from treescan.throw.outcome.many_throws import table_throws, throw_many
from treescan.throw.search.refine import best_nearby, fine_sample
from treescan.throw.search.search import search_throws
from treescan.throw.settings import ThrowSettings
from treescan.throw.throw_path import Aim, Stances
from treescan.trees.beside import Site
from treescan.units import G

PLAIN = dataclasses.replace(
    ThrowSettings(), drag=0.0, line_density=0.0, reach_along=2.5, methods=("launcher",), wind_speed=0.0, overshoot_cost=0.0
)
ONE_LIMB = upright([Limb(6.0, EAST, length=4.0)])
"""A level limb eastwards at 6 m; its target part lies 0 to 2.65 m from the stem's axis."""

SOUTH_OF_IT = np.array([1.3, -6.0, 0.0])
"""Feet 6 m south of the middle of the target part: throwing north crosses the limb at right angles."""


def _gap(speed, elevation, d=6.0, z=6.0 - 1.5):
    """Least distance of the parabola to the limb's axis, a point (d, z) in the plane; negative when it passes under."""
    height = lambda s: s * np.tan(elevation) - G * s**2 / (2 * speed**2 * np.cos(elevation) ** 2)  # noqa: E731
    near = minimize_scalar(lambda s: np.hypot(s - d, height(s) - z), bounds=(d - 2, d + 2), method="bounded", options={"xatol": 1e-10})
    return near.fun if height(d) > z else -near.fun


def _grazing_speed(elevation):
    """Speed at which the bag (radius 3 cm) just clears the limb (radius 5 cm)."""
    return brentq(lambda v: _gap(v, elevation) - 0.08, 9.0, 30.0, xtol=1e-10)


@pytest.mark.parametrize("offset", [-1.5, -0.5, 0.0, 0.8, 2.0])
def test_with_spread_in_speed_alone_the_chance_is_the_normal_tail(offset):
    """P = 1 - Phi((v* - v) / sd), v* the speed at which the bag just clears the limb."""
    elevation = np.radians(65)
    sd = 0.4
    aim = Aim(0.0, elevation, _grazing_speed(elevation) + offset * sd)
    sample = fine_sample(scene_of(ONE_LIMB, PLAIN), SOUTH_OF_IT, aim, spread(speed=sd / aim.speed), 0, PLAIN)

    assert sample.chance(1) == pytest.approx(norm.cdf(offset), abs=1.5e-3)


def test_with_spread_in_speed_and_elevation_the_chance_is_the_window_integral():
    """P = integral over the elevation of its density times the normal tail beyond the grazing speed."""
    a0, v0, sa, sv = np.radians(68), _grazing_speed(np.radians(68)) + 0.3, np.radians(2.0), 0.5
    exact, _ = quad(lambda a: norm.pdf(a, a0, sa) * norm.sf(_grazing_speed(a), v0, sv), a0 - 5 * sa, a0 + 5 * sa, epsabs=1e-7)
    sample = fine_sample(scene_of(ONE_LIMB, PLAIN), SOUTH_OF_IT, Aim(0.0, a0, v0), spread(speed=sv / v0, elevation=sa), 0, PLAIN)

    assert sample.chance(1) == pytest.approx(exact, abs=1.5e-3)


@pytest.mark.parametrize("aim", [-20.0, -14.0, -5.0, 0.0, 6.0, 12.0])
def test_with_spread_in_azimuth_alone_the_chance_is_the_window_between_stem_and_reach(aim):
    """P = Phi at the far end of the target part less Phi at the azimuth that clears the stem by the bag's radius, where a turn of s across
    the flight, along a great circle, is an azimuth of atan(tan s / cos elevation).
    """
    sd, far_end, steep = np.radians(4.0), 0.15 + PLAIN.reach_along, np.cos(np.radians(65))
    across = lambda azimuth: np.arctan(np.tan(azimuth - np.radians(aim)) * steep)  # noqa: E731
    clear_of_stem = np.arctan2(-1.3, 6.0) + np.arcsin((0.15 + 0.03) / np.hypot(1.3, 6.0))
    edge = np.arctan2(far_end - 1.3, 6.0)
    exact = norm.cdf(across(edge), 0.0, sd) - norm.cdf(across(clear_of_stem), 0.0, sd)
    sample = fine_sample(scene_of(ONE_LIMB, PLAIN), SOUTH_OF_IT, Aim(np.radians(aim), np.radians(65), 13.0), spread(side=sd), 0, PLAIN)

    assert sample.chance(1) == pytest.approx(exact, abs=3e-3)


def test_the_grid_and_the_fine_integral_give_the_same_chance():
    """Outcomes on a grid spread with the thrower's Gaussian agree with the evenly spread sample within 2 %."""
    method = spread(speed=0.04, elevation=np.radians(2), side=np.radians(2))
    scene = scene_of(ONE_LIMB, PLAIN)
    found = best_nearby(scene, SOUTH_OF_IT, Aim(0.0, np.radians(65), _grazing_speed(np.radians(65))), method, 0, (0.03, 0.03, 0.04), PLAIN)
    chance, aim = found[1]

    assert fine_sample(scene, SOUTH_OF_IT, aim, method, 0, PLAIN).chance(1) == pytest.approx(chance, abs=0.02)


def _random_throws(rng, count, azimuth_width=0.4):
    azimuth = np.sort(rng.uniform(-azimuth_width, azimuth_width, count))
    table = flights(rng.uniform(0.9, 1.45, count), rng.uniform(9, 24, count), PLAIN)
    return azimuth, table, np.arange(count, dtype=np.int32)[:, None]


def test_a_limb_straight_below_the_wanted_one_is_always_captured():
    """With a second limb right under the first, no throw over the upper one is ever clean or can be worked clean."""
    stacked = scene_of(upright([Limb(6.0, EAST, length=4.0), Limb(4.5, EAST, length=4.0)]), PLAIN)
    azimuth, table, rows = _random_throws(np.random.default_rng(1), 4000)
    upper = throw_many(stacked, SOUTH_OF_IT, table_throws(azimuth, table.height, table.step, rows), 1).isolation
    alone = throw_many(scene_of(ONE_LIMB, PLAIN), SOUTH_OF_IT, table_throws(azimuth, table.height, table.step, rows), 0).isolation

    assert np.sum(upper > 0) > 500
    assert set(np.unique(upper)) <= {0, 3}
    assert np.all(alone[upper > 0] == 1)


@pytest.mark.parametrize("seed", range(6))
def test_taking_away_a_limb_in_front_never_makes_a_throw_worse(seed):
    """Throw by throw: without the limb between thrower and target the class is at least as good."""
    rng = np.random.default_rng(seed)
    target = Limb(6.0, EAST, length=4.0)
    d = rng.uniform(1.0, 4.0)
    front = Limb(float(rng.choice([4.0, 5.0, 6.5, 7.5])), np.pi - np.arctan2(1.0, d), rise=rng.uniform(-0.2, 0.6), length=5.0)
    crossing = Limb(float(rng.choice([3.0, 5.5])), EAST, rise=rng.uniform(0.1, 0.3), length=4.0)
    with_it = upright([target, crossing, front])
    without = upright([target, crossing])
    azimuth, table, rows = _random_throws(rng, 4000)
    k = {name: int(np.flatnonzero(np.isclose(g.unions.height, 6.0))[0]) for name, g in (("with", with_it), ("without", without))}
    throws = table_throws(azimuth, table.height, table.step, rows)
    before = throw_many(scene_of(with_it, PLAIN), SOUTH_OF_IT, throws, k["with"]).isolation
    after = throw_many(scene_of(without, PLAIN), SOUTH_OF_IT, throws, k["without"]).isolation
    worse = np.where(after == 0, 9, after) > np.where(before == 0, 9, before)

    assert np.sum(before > 0) > 50
    assert not worse.any()


def test_a_wider_spread_never_raises_the_best_chance():
    """Spread in all three ways widened by half, again and again: the best chance from a place only falls, for every class."""
    graph = upright([Limb(6.0, EAST, length=3.0), Limb(4.0, EAST, rise=0.5, length=3.0), Limb(7.0, -EAST, length=2.0)])
    places = Stances(np.array([[1.5, -5.0, 0.0], [4.0, -3.0, 0.0], [-3.0, 4.0, 0.0]]))
    best = []
    for factor in (1.0, 1.5, 2.25, 3.4):
        hand = dataclasses.replace(
            ThrowSettings().hand, speed_sd=0.03 * factor, elevation_sd=np.radians(1.5) * factor, side_sd=np.radians(1.5) * factor
        )
        settings = dataclasses.replace(ThrowSettings(), methods=("hand",), hand=hand)
        best.append(search_throws(graph, flat(graph), Site(), places, settings).chance)
    best = np.array(best)

    assert best[0].max() > 0.5
    assert np.all(np.diff(best, axis=0) <= 5e-3)


def test_chances_of_the_classes_are_cumulative():
    """By one method, class <= 1 is never likelier than class <= 2, nor that than class <= 3."""
    graph = upright([Limb(6.0, EAST, length=3.0), Limb(4.0, EAST, rise=0.5, length=3.0), Limb(7.0, -EAST, length=2.0)])
    table = search_throws(graph, flat(graph), Site(), Stances(np.array([[1.5, -5.0, 0.0], [3.0, 5.0, 0.0]])), ThrowSettings(methods=("two_hand",)))

    assert np.all(np.diff(table.chance, axis=2) >= -1e-6)
    assert table.chance.min() >= 0 and table.chance.max() <= 1
