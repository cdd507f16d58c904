"""Wind in flight and drift, against flights integrated in wind by the independent thrower of the oracles."""

import dataclasses

import numpy as np
import pytest
from hand_made_limbs import EAST, Limb, flat, scene_of, upright
from oracles.isotropic_thrower import Weight, aim_speed, chance, fly

from treescan.throw.ballistics.flight import flights
from treescan.throw.ballistics.throws_about import LEFT_OVER, carried, into_the_wind
from treescan.throw.ballistics.wind import wind_about, wind_draws, wind_turn
from treescan.throw.search.refine import fine_sample
from treescan.throw.search.search import search_throws
from treescan.throw.settings import Method, ThrowSettings
from treescan.throw.throw_path import Aim, Stances
from treescan.trees.beside import Site

ORACLE = Weight(line=0.002)
BARE = dataclasses.replace(ThrowSettings(), line_width=0.0, air_density=1.2)
"""Wind on the bag alone, in the oracle's air."""


@pytest.mark.parametrize("degrees", [45, 60, 70, 80])
@pytest.mark.parametrize("towards", [0.0, np.pi / 2, np.pi, -2.2])
def test_the_turned_still_air_flight_passes_where_the_flight_in_wind_does(degrees, towards):
    """3 m/s, 15 % past the top: within 5 cm of the integrated flight in height, where hand throws scatter by half a metre, 2 cm aside."""
    e = np.radians(degrees)
    x = 1.15 * 2 * 9.0 / np.tan(e)
    v = aim_speed(x, 9.5, e, ORACLE)
    wind = 3.0 * np.array([np.cos(towards), np.sin(towards), 0.0])
    y, z, *_ = fly((0, 0, 0), [[v * np.cos(e), 0.0, v * np.sin(e)]], ORACLE, wind=wind, plane_x=x)[:, 0]
    turn = wind_turn(e, v, dataclasses.replace(BARE, wind_speed=3.0), x)
    side, up, faster = (float(q[0]) for q in turn.of(wind[:1], wind[1:2]))
    table = flights([e + up], [v * (1 + faster)], BARE)
    aside = side / np.cos(e)

    assert np.interp(x, np.arange(table.height.shape[1]) * table.step[0], table.height[0]) == pytest.approx(z, abs=0.05)
    assert x * aside == pytest.approx(y, abs=0.02)


def test_wind_on_the_line_carries_the_bag_farther():
    """The line adds to the drift, never takes from it, and more of it the longer the flight."""
    e, v = np.radians([60, 60]), np.array([12.0, 19.0])
    bag, both = (wind_turn(e, v, s).side for s in (BARE, dataclasses.replace(BARE, line_width=0.002)))

    assert np.all(both > bag) and np.all(bag > 0)
    assert both[1] / bag[1] > both[0] / bag[0]


def test_without_wind_nothing_changes_but_by_nothing():
    """Wind of 0: no scatter, no mean, the aim carried is the aim."""
    still = dataclasses.replace(ThrowSettings(), wind_speed=0.0)
    wind, aim = wind_about(0.3, still), Aim(0.3, 1.1, 14.0)

    assert (wind.ahead, wind.right, wind.sd) == (0.0, 0.0, 0.0)
    assert carried(aim, still, 5.0) == aim


@pytest.mark.parametrize("turns", [0.0, 0.7, np.pi])
def test_mean_and_spread_of_the_wind_are_those_of_its_draws(turns):
    """200,000 draws: means and the mean of both variances within four standard errors."""
    settings = dataclasses.replace(ThrowSettings(), wind_from=1.0, wind_turns=turns)
    rng, n = np.random.default_rng(4), 200_000
    ahead, right = wind_draws(0.2, rng.standard_normal(n), rng.uniform(-1, 1, n), settings)
    told = wind_about(0.2, settings)

    assert abs(ahead.mean() - told.ahead) < 4 * ahead.std() / np.sqrt(n) + 1e-9
    assert abs(right.mean() - told.right) < 4 * right.std() / np.sqrt(n) + 1e-9
    assert np.sqrt((ahead.var() + right.var()) / 2) == pytest.approx(told.sd, rel=0.01)


LIMB = upright([Limb(8.0, EAST, length=6.0)])
HAND = Method(speed_high=40.0, effort_growth=0.0)


@pytest.mark.parametrize("degrees", [pytest.param(50, marks=pytest.mark.slow), 62, pytest.param(74, marks=pytest.mark.slow)])
@pytest.mark.parametrize("towards", [np.pi / 2, 0.0])
def test_chances_in_gusts_are_those_of_200_000_throws_in_gusts(degrees, towards):
    """A level limb 8 m up, thrown over at right angles in a wind of 4 m/s with gusts of 0.4 across or along: within four standard errors.

    The wind is known in direction: the oracle aims still-air and is carried; so does the product at the same aim. The window reaches
    from the stem's bark and the bag's radius (0.18 m) to the end of the target part (1.35 m), and upwards from
    where a bag sinking at 0.15 tan(elevation) clears the limb by its radius.
    """
    settings = dataclasses.replace(
        BARE, reach_along=1.2, wind_speed=4.0, wind_turns=0.0, wind_from=(np.pi - towards) % (2 * np.pi), methods=("hand",)
    )
    e, middle, half = np.radians(degrees), (0.18 + 1.35) / 2, (1.35 - 0.18) / 2
    d = 1.15 * 2 * 6.5 / np.tan(e)
    feet = np.array([middle, -d, 0.0])
    v = aim_speed(d, 7.2, e, ORACLE)
    low = 6.5 + 0.08 * np.hypot(1.0, 0.15 * np.tan(e))
    p, se = chance(
        d, low, 60.0, half, e, v, HAND.elevation_sd, HAND.speed_sd, side_sigma=HAND.side_sd, weight=ORACLE,
        wind_speed=4.0, wind_towards=towards, gust=0.4, seed=5,
    )  # fmt: skip
    told = fine_sample(scene_of(LIMB, settings), feet, Aim(0.0, e, v), HAND, 0, settings).chance(3)

    assert told == pytest.approx(p, abs=4 * se + 0.003)


def test_more_wind_never_raises_the_best_chance():
    """0, 4 and 10 m/s of unknown direction: the best chance from a place only falls."""
    tree, places = upright([Limb(6.0, EAST, length=3.0)]), Stances(np.array([[1.2, -5.0, 0.0]]))
    found = [
        search_throws(tree, flat(tree), Site(), places, dataclasses.replace(ThrowSettings(), methods=("hand",), wind_speed=w)).chance.max()
        for w in (0.0, 4.0, 10.0)
    ]

    assert np.all(np.diff(found) < 5e-3) and found[2] < found[0] - 0.02


def test_in_a_wind_known_from_the_west_the_aim_lies_to_the_west():
    """8 m/s from the west, thrown north: aimed left of the still-air aim; the chance hardly suffers, but would at the still-air aim."""
    tree, places = upright([Limb(6.0, EAST, length=3.0)]), Stances(np.array([[1.2, -5.0, 0.0]]))
    still = dataclasses.replace(ThrowSettings(), methods=("hand",), wind_speed=0.0)
    west = dataclasses.replace(still, wind_speed=8.0, wind_gust=0.0, wind_turns=0.0, wind_from=1.5 * np.pi)
    a, b = (search_throws(tree, flat(tree), Site(), places, s).best[0, 1] for s in (still, west))
    off = (b.azimuth - a.azimuth + np.pi) % (2 * np.pi) - np.pi
    unmoved = fine_sample(scene_of(tree, west), places.xyz[0], Aim(a.azimuth, a.elevation, a.speed), west.hand, 0, west).chance(1)

    assert off < -np.radians(0.5)
    assert b.chance == pytest.approx(a.chance, abs=0.03)
    assert unmoved < b.chance


@pytest.mark.parametrize("speed", [3.0, 5.0, 8.0])
@pytest.mark.parametrize("degrees", [60, 75, 82, 85])
def test_a_wind_that_blows_the_bag_back_is_no_wild_turn(speed, degrees):
    """Steep throws, passed far beyond their top, that such a wind turns back before they pass: no more than some degrees a metre a second. (They told 77.)"""
    e = np.radians(degrees)
    v = np.sqrt(2 * 9.81 * 10) / np.sin(e)
    top = v**2 * np.sin(2 * e) / (2 * 9.81)
    for share in (0.6, 1.0, 1.5, 1.8):
        turn = wind_turn(e, v, dataclasses.replace(ThrowSettings(), wind_speed=speed), share * top)
        assert np.abs(np.degrees(turn.up)) < 8 and np.abs(turn.faster) < 0.3
        assert np.isfinite(np.array([*turn.ahead2, *turn.right2, turn.side])).all()


def aimed_into(speed, towards, degrees, gust=0.2):
    """Settings, standing place, window as above, and the aim into a known wind for a still-air throw 15 % past the top."""
    settings = dataclasses.replace(
        BARE, reach_along=1.2, wind_speed=speed, wind_turns=0.0, wind_gust=gust, wind_from=(np.pi + towards) % (2 * np.pi), methods=("hand",)
    )
    e, middle, half = np.radians(degrees), (0.18 + 1.35) / 2, (1.35 - 0.18) / 2
    d = 1.15 * 2 * 6.5 / np.tan(e)
    still = Aim(0.0, e, aim_speed(d, 7.2, e, ORACLE))
    low = 6.5 + 0.08 * np.hypot(1.0, 0.15 * np.tan(e))
    return settings, np.array([middle, -d, 0.0]), (d, low, 60.0, half), still, into_the_wind(still, settings, d)


@pytest.mark.parametrize(
    ("speed", "towards", "degrees"), [(8.0, np.pi, 60), (12.0, np.pi, 72), (12.0, np.pi / 2, 60), (15.0, 0.0, 60), (15.0, 2.2, 45), (15.0, np.pi / 2, 72)]
)
def test_in_a_strong_known_wind_no_chance_is_told_too_high(speed, towards, degrees):
    """8, 12 and 15 m/s from behind, ahead, across and a quarter: the oracle throws the aim found, in that wind; told at most four standard
    errors more, and at most 0.08 less."""
    settings, feet, window, still, aim = aimed_into(speed, towards, degrees)
    assert aim is not None
    there = carried(aim, settings, window[0])
    assert max(abs(there.azimuth - still.azimuth), abs(there.elevation - still.elevation), abs(there.speed / still.speed - 1)) <= LEFT_OVER
    p, se = chance(
        *window, aim.elevation, aim.speed, HAND.elevation_sd, HAND.speed_sd, azimuth=aim.azimuth, side_sigma=HAND.side_sd, weight=ORACLE,
        wind_speed=speed, wind_towards=towards, gust=0.2, n=60_000, seed=5,
    )  # fmt: skip
    told = fine_sample(scene_of(LIMB, settings), feet, aim, HAND, 0, settings).chance(3)
    assert p - 0.08 < told < p + 4 * se


@pytest.mark.parametrize("degrees", [45, 72])
def test_where_a_wind_carries_too_far_no_aim_is_found(degrees):
    """15 m/s from ahead."""
    assert aimed_into(15.0, np.pi, degrees)[-1] is None


def test_a_wind_in_which_no_aim_was_found_is_told():
    """20 m/s in the face: no throw, and the reason is the wind; in a breeze from there one is found."""
    tree, places = upright([Limb(6.0, EAST, length=3.0)]), Stances(np.array([[1.2, -5.0, 0.0]]))
    breeze, gale = (
        search_throws(
            tree, flat(tree), Site(), places, dataclasses.replace(ThrowSettings(), methods=("hand",), wind_speed=w, wind_turns=0.0, wind_from=0.0)
        )
        for w in (3.0, 20.0)
    )
    assert (0, 3) in breeze.best and breeze.blocked_by[0] is None
    assert not gale.best
    assert gale.blocked_by[0].code == "throw_no_aim_in_wind" and gale.blocked_by[0]["wind"] == 20.0
