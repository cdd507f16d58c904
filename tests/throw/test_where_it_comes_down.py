"""Where the bag comes down, how hard it strikes, and whether it comes down at all, against sums on paper."""

import dataclasses

import numpy as np
import pytest
from hand_made_limbs import EAST, Limb, flat, scene_of, spread, upright
from throw_oracles import fly

from treescan.reason import has
from treescan.throw.ballistics.flight import STEP, bag_of, flights
from treescan.throw.ballistics.flight_line import strike_speed
from treescan.throw.detail.followed import follow_throw
from treescan.throw.outcome.bag_mass import wrap_angle
from treescan.throw.outcome.ends import HIT_BESIDE, HIT_LIMB, LANDED
from treescan.throw.outcome.many_throws import table_throws, throw_many
from treescan.throw.search.refine import best_nearby, fine_sample
from treescan.throw.search.search import search_throws
from treescan.throw.settings import ThrowSettings
from treescan.throw.throw_path import Aim, Stances
from treescan.trees.beside import Site, Surroundings
from treescan.units import G

SETTINGS = ThrowSettings()
PLAIN = dataclasses.replace(SETTINGS, drag=0.0, line_density=0.0, reach_along=2.5, methods=("launcher",), wind_speed=0.0, overshoot_cost=0.0)
ONE_LIMB = upright([Limb(6.0, EAST, length=4.0)])
SOUTH_OF_IT = np.array([1.3, -6.0, 0.0])


def _one(scene, feet, elevation, speed, settings=PLAIN):
    """One throw to the north at union 0: class, end, near."""
    table = flights([elevation], [speed], settings)
    throws = table_throws(np.array([0.0]), table.height, table.step, np.array([[0]], np.int32))
    _, isolation, end, near, _ = throw_many(scene, feet, throws, 0)
    return int(isolation[0, 0]), int(end[0, 0]), bool(near[0, 0])


@pytest.mark.parametrize("seed", range(5))
def test_the_strike_on_a_flight_is_that_of_its_integration(seed):
    """Read from the bend of the tabulated flight, against the integrated velocity with drag and line: within 1 %; level speed alone in the fall."""
    rng = np.random.default_rng(seed)
    a, v = rng.uniform(0.8, 1.48), rng.uniform(9, 28)
    rows = fly(a, v, bag_of(SETTINGS), -12.0, STEP)
    table = flights([a], [v], SETTINGS)
    for s in rng.uniform(0.05, 0.95, 20) * rows[-1, 0]:
        true = np.interp(s, rows[:, 0], np.hypot(rows[:, 2], np.maximum(rows[:, 3], 0.0)))

        assert strike_speed(table.height[0], float(table.step[0]), s) == pytest.approx(true, rel=0.01)


def test_a_bag_that_strikes_wood_hard_is_not_counted_on():
    """Over the limb and into one that hangs across the flight 0.8 m behind it; the bag is there at sqrt(v^2 - 2 g dz), about 9 m/s.

    With 8 m/s allowed the throw does not serve, with 12 m/s it does.
    """
    feet, elevation, speed = np.array([1.3, -3.0, 0.0]), np.radians(65), 14.0
    z = lambda s: 1.5 + s * np.tan(elevation) - G * s**2 / (2 * speed**2 * np.cos(elevation) ** 2)  # noqa: E731
    behind = 3.8
    tree = upright([Limb(6.0, EAST, length=4.0), Limb(float(np.round(z(behind), 2)), np.arctan2(1.3, behind - 3.0), length=2.5)])
    table = flights([elevation], [speed], PLAIN)
    flown = follow_throw(scene_of(tree, PLAIN), feet, 0.0, table.height[0], float(table.step[0]))
    answer = {s: _one(scene_of(tree, dataclasses.replace(PLAIN, strike_speed=s)), feet, elevation, speed)[:2] for s in (8.0, 12.0)}

    assert flown.end == HIT_LIMB and flown.s_end > 3.1
    assert flown.strike == pytest.approx(np.sqrt(speed**2 - 2 * G * (z(flown.s_end) - 1.5)), rel=0.01)
    assert answer[8.0] == (0, HIT_LIMB) and answer[12.0][0] in (1, 2)


@pytest.mark.parametrize(("elevation", "speed"), [(85.0, 11.5), (85.0, 16.0), (82.0, 15.0)])
def test_a_bag_is_near_the_thrower_where_its_parabola_ends_there(elevation, speed):
    """Range of the parabola from 1.5 m above level ground, against the setting."""
    feet, a = np.array([1.3, -0.8, 0.0]), np.radians(elevation)
    up = speed * np.sin(a)
    reach = speed * np.cos(a) * (up + np.sqrt(up**2 + 2 * G * 1.5)) / G
    isolation, end, near = _one(scene_of(ONE_LIMB, PLAIN), feet, a, speed)

    assert (isolation, end) == (1, LANDED)
    assert near == (reach < PLAIN.near_thrower)


def test_throws_that_come_back_to_the_thrower_count_for_half_in_the_choice_and_in_full_in_the_chance():
    """From 0.8 m beside the limb, aimed so steeply that every bag comes down within 4 m."""
    feet, aim, method = np.array([1.3, -0.8, 0.0]), Aim(0.0, np.radians(85), 12.0), spread(speed=0.02, elevation=0.01, side=0.01)
    cell = (0.01, 0.01, 0.01)
    scene = {w: scene_of(ONE_LIMB, dataclasses.replace(PLAIN, near_worth=w)) for w in (1.0, 0.5)}
    full, half = (best_nearby(scene[w], feet, aim, method, 0, cell, dataclasses.replace(PLAIN, near_worth=w))[1][0] for w in (1.0, 0.5))
    sample = fine_sample(scene[0.5], feet, aim, method, 0, PLAIN)

    assert full > 0.9 and half == pytest.approx(full / 2, rel=0.02)
    assert sample.chance(1) > 0.9 and sample.near_chance(1) == pytest.approx(sample.chance(1), rel=0.02)


def _wall(height, s):
    """A wall 0.4 m thick across the throw, s ahead of `SOUTH_OF_IT`, from the ground to a height."""
    x, z = np.meshgrid(np.arange(-3.0, 6.0, 0.2), np.arange(0.1, height, 0.2))
    rows = [np.column_stack([x.ravel(), np.full(x.size, SOUTH_OF_IT[1] + s + d), z.ravel()]) for d in (0.0, 0.2)]
    xyz = np.concatenate(rows)
    return Surroundings(xyz, np.full(len(xyz), 1, np.uint8), 0.2)


def test_a_bag_on_a_low_thing_is_as_good_as_on_the_ground_and_one_against_a_wall_is_not_counted_on():
    """Over the limb and down behind it: onto a wall of 1.4 m, then against one of 5 m."""
    elevation, speed = np.radians(65), 13.0
    reach = speed * np.cos(elevation) * (speed * np.sin(elevation) + np.sqrt((speed * np.sin(elevation)) ** 2 + 2 * G * 1.5)) / G
    answer = {}
    for height in (1.4, 5.0):
        beside = dataclasses.replace(flat(ONE_LIMB), surroundings=_wall(height, reach - 0.3))
        answer[height] = _one(scene_of(ONE_LIMB, PLAIN, beside), SOUTH_OF_IT, elevation, speed)

    assert answer[1.4] == (1, LANDED, False)
    assert answer[5.0] == (0, HIT_BESIDE, False)


def test_a_slack_line_over_several_limbs_turns_more_than_half_a_round():
    """One limb: pi. 3 m of limbs under a limb 10 m above the hand: pi + 2 x 3 / 10. Never more than a whole round."""
    assert wrap_angle(0.0, 10.0) == pytest.approx(np.pi)
    assert wrap_angle(3.0, 10.0) == pytest.approx(np.pi + 0.6)
    assert wrap_angle(30.0, 1.0) == pytest.approx(2 * np.pi)
    assert wrap_angle(1.0, -1.0) == pytest.approx(np.pi)


def test_the_allowance_for_sag_covers_a_line_that_hangs_between_two_limbs():
    """Two limbs 3 m apart, 10 m above the hand; the span is a catenary whose ends pull as hard as the tail of 10 m hangs: T = l g 10 there.

    y = a cosh(x / a) with a cosh(1.5 / a) = 10: the line bends by 2 atan(sinh(1.5 / a)) between the limbs, and turns that much more on them.
    """
    a = 10.0
    for _ in range(50):
        a = 10.0 / np.cosh(1.5 / a)
    bend = 2 * np.arctan(np.sinh(1.5 / a))

    assert wrap_angle(3.0, 10.0) - np.pi >= bend


@pytest.mark.parametrize("elevation", [55.0, 65.0, 75.0])
def test_what_a_throw_counts_falls_with_the_limbs_under_the_line_and_with_the_way_beyond(elevation):
    """Over the limb at 6 m and one at 4 m straight below or not, down on the parabola: 1 / (1 + 0.05 x limbs besides + 0.02 x way beyond)."""
    costly = dataclasses.replace(PLAIN, overshoot_cost=0.02, limb_cost=0.05, near_thrower=0.0)
    a, v = np.radians(elevation), 14.0
    up = v * np.sin(a)
    reach = v * np.cos(a) * (up + np.sqrt(up**2 + 2 * G * 1.5)) / G
    for tree, others in ((ONE_LIMB, 0), (upright([Limb(6.0, EAST, length=4.0), Limb(4.0, EAST, length=4.0)]), 1)):
        row = int(np.flatnonzero(np.isclose(tree.unions.height, 6.0))[0])
        table = flights([a], [v], costly)
        found = throw_many(
            scene_of(tree, costly), SOUTH_OF_IT, table_throws(np.zeros(1), table.height, table.step, np.zeros((1, 1), np.int32)), row
        )

        assert found.isolation[0, 0] > 0
        assert found.worth[0, 0] == pytest.approx(1 / (1 + 0.05 * others + 0.02 * (reach - 6.0)), rel=2e-3)


def test_of_places_that_do_nearly_as_well_the_bag_comes_down_away_from_the_thrower():
    """From 2.2 m the bag comes down nearer than from 4.5 m; "near" is set between the two. With a wide share the farther place is taken,
    with none the likelier of the two.
    """
    nearer, farther = (1.3, -2.2, 0.0), (1.3, -4.5, 0.0)
    settings = dataclasses.replace(ThrowSettings(), methods=("hand",), near_worth=1.0, overshoot_cost=0.0, near_thrower=0.0)

    def best(near, share, *places):
        s = dataclasses.replace(settings, near_thrower=near, nearly_as_good=share)
        return search_throws(ONE_LIMB, flat(ONE_LIMB), Site(), Stances(np.array(places)), s).best[0, 1]

    out = [float(best(0.0, 0.0, p).path[-1][1] - p[1]) for p in (nearer, farther)]
    between = sum(out) / 2
    near, far = best(between, 0.0, nearer), best(between, 0.0, farther)

    assert out[0] < out[1]
    assert has(near.steps, "throw_comes_back") and not has(far.steps, "throw_comes_back")
    assert far.chance > 0.6 * near.chance
    assert tuple(best(between, 0.4, nearer, farther).stand) == farther
    assert best(between, 0.0, nearer, farther).chance == pytest.approx(max(near.chance, far.chance), rel=0.02)


def test_an_aim_over_80_degrees_is_told_and_left_where_a_flatter_one_does_nearly_as_well():
    """One limb 10 m up: from right below it the aim is steep and is told so; beside a place farther off it is not taken."""
    tree = upright([Limb(10.0, EAST, length=4.0)], height=12.0)
    settings = dataclasses.replace(ThrowSettings(), methods=("two_hand",), near_worth=1.0, overshoot_cost=0.0, nearly_as_good=0.5)
    close, off = [1.3, -1.0, 0.0], [1.3, -3.0, 0.0]
    steep, both = (search_throws(tree, flat(tree), Site(), Stances(np.array(p)), settings).best[0, 1] for p in ([close], [close, off]))

    assert steep.elevation > settings.steep_aim and has(steep.steps, "throw_steep")
    assert both.elevation <= settings.steep_aim and not has(both.steps, "throw_steep")
    assert both.chance > 0.5 * steep.chance


def test_a_line_over_more_than_six_limbs_is_no_success():
    """The default: five limbs besides the wanted one at most."""
    assert ThrowSettings().max_between == 5
