"""One's own throws, written down, become the spread of the aim."""

import dataclasses
import tomllib

import numpy as np
import pytest
from hand_made_limbs import EAST, Limb, flat, upright
from oracles.isotropic_thrower import directions

from treescan.errors import BadInput
from treescan.faces.cli.throws_job import settings_text
from treescan.outputs.text.say import say
from treescan.reason import has
from treescan.settings import merged
from treescan.throw.ballistics.flight import flights
from treescan.throw.ballistics.own_record import COLUMNS, aimed_release, own_spread, read_record, release_of
from treescan.throw.search.search import search_throws
from treescan.throw.settings import ThrowSettings
from treescan.throw.throw_path import Stances
from treescan.trees.beside import Site

EVEN_HAND = dataclasses.replace(ThrowSettings().hand, effort_growth=0.0)
SETTINGS = dataclasses.replace(ThrowSettings(), hand=EVEN_HAND)
"""Scatter that does not grow with effort, so that the record and what was drawn are one."""

BARE = dataclasses.replace(SETTINGS, drag=0.0, line_density=0.0)


def _seen(elevation, speed, distance, settings):
    """Height at the distance and range on the release level, read off finely followed flights: (k,), (k,)."""
    table = flights(elevation, speed, settings, floor=-3.0)
    height, reach = [], []
    away = np.broadcast_to(distance, len(table))
    for z, step, d in zip(table.height, table.step, away, strict=True):
        s = np.arange(len(z)) * step
        height.append(np.interp(d, s, z))
        last = int(np.flatnonzero((z[:-1] > 0) & (z[1:] <= 0))[-1])
        reach.append(s[last] + step * z[last] / (z[last] - z[last + 1]))
    return np.array(height), np.array(reach)


def _written(path, rows):
    path.write_text("\n".join([",".join(COLUMNS), *(",".join(str(v) for v in r) for r in rows)]), encoding="utf-8")
    return path


def _record(path, count, sd, seed=1, bias=(0.0, 0.0, 0.0)):
    """A person of known spread throws at a height of 9 m, 6 m away, 68 degrees up."""
    rng = np.random.default_rng(seed)
    aim = np.radians(68.0)
    v = float(aimed_release(np.array([6.0]), np.array([9.0]), np.array([aim]), SETTINGS)[0])
    d = directions(0.0, aim, rng.normal(bias[1], sd[1], count), rng.normal(bias[0], sd[0], count))
    side, elevation = np.arctan2(d[:, 1], d[:, 0]), np.arcsin(d[:, 2])
    speed = v * (1 + rng.normal(bias[2], sd[2], count))
    height, reach = _seen(elevation, speed, 6.0 / np.cos(side), SETTINGS)
    rows = zip(height, side, reach, strict=True)
    return _written(path, [("hand", 6.0, 9.0, 68.0, h, 6.0 * np.tan(s), r) for h, s, r in rows])


def test_without_drag_the_release_is_that_of_the_parabola():
    """15 m/s at 70 degrees: z(4) = 4 tan 70 - g 16 / (2 v^2 cos^2 70), R = v^2 sin 140 / g; read back to 0.05 degrees and 1 cm/s."""
    a, v, g = np.radians(70), 15.0, 9.80665
    height = 4 * np.tan(a) - g * 16 / (2 * v**2 * np.cos(a) ** 2)
    elevation, speed = release_of(np.array([4.0]), np.array([height]), np.array([v**2 * np.sin(2 * a) / g]), BARE)

    assert np.degrees(elevation[0]) == pytest.approx(70.0, abs=0.05)
    assert speed[0] == pytest.approx(15.0, abs=0.01)


def test_with_drag_and_line_the_release_is_read_back():
    """Flights of the product itself: elevation to 0.05 degrees, speed to 0.02 m/s."""
    rng = np.random.default_rng(3)
    a, v = rng.uniform(1.0, 1.3, 30), rng.uniform(13, 20, 30)
    height, reach = _seen(a, v, 3.0, SETTINGS)
    elevation, speed = release_of(np.full(30, 3.0), height, reach, SETTINGS)

    assert np.abs(np.degrees(elevation - a)).max() < 0.05
    assert np.abs(speed - v).max() < 0.02


def test_the_spread_of_a_known_thrower_is_found_again(tmp_path):
    """400 throws with 1.5 deg, 2 deg and 4 %: each found within three standard errors, sd / sqrt(2 (n - 1)); the mean error too."""
    sd, bias = np.array([np.radians(1.5), np.radians(2.0), 0.04]), (np.radians(1.0), 0.0, -0.02)
    found = own_spread(read_record(_record(tmp_path / "throws.csv", 400, sd, bias=bias)), SETTINGS)[0]
    got = np.array(found.sd)

    assert found.method == "hand" and found.throws == 400
    assert np.all(np.abs(got - sd) < 3 * sd / np.sqrt(2 * 399))
    assert np.all(np.abs(np.array(found.bias) - bias) < 3 * sd / np.sqrt(400))


def test_the_upper_end_covers_the_truth_in_nine_records_of_ten(tmp_path):
    """60 records of 12 throws: the true side spread lies below the upper end in 90 % of them, within three binomial standard errors."""
    sd = np.array([np.radians(1.5), np.radians(2.0), 0.04])
    covered = [
        own_spread(read_record(_record(tmp_path / "t.csv", 12, sd, seed=s)), SETTINGS)[0].high[0] >= sd[0] for s in range(60)
    ]

    assert abs(np.mean(covered) - 0.9) < 3 * np.sqrt(0.9 * 0.1 / 60)


def test_the_settings_file_is_taken_by_the_settings(tmp_path):
    """The TOML written, put over the defaults, changes exactly the spreads and mean errors of that method."""
    record = _record(tmp_path / "throws.csv", 40, np.array([0.03, 0.05, 0.06]))
    found = own_spread(read_record(record), SETTINGS)[0]
    changes = tomllib.loads(settings_text((found,)))
    mine = merged(SETTINGS, changes["throw"])

    assert mine.hand.side_sd == pytest.approx(found.sd.side, abs=1e-5)
    assert mine.hand.speed_sd == pytest.approx(found.sd.speed, abs=1e-5)
    assert (mine.hand.side_bias, mine.hand.elevation_bias, mine.hand.speed_bias) == pytest.approx(found.bias, abs=1e-5)
    kept = {f: getattr(SETTINGS.hand, f) for f in ("side_sd", "elevation_sd", "speed_sd", "side_bias", "elevation_bias", "speed_bias")}
    assert dataclasses.replace(mine.hand, **kept) == SETTINGS.hand
    assert mine.launcher == SETTINGS.launcher


def test_the_steps_of_a_throw_say_how_to_aim_off():
    """Who throws 2 degrees to the right across the flight and 5 % too slow is told to aim the azimuth of that left, 2 degrees over the
    cosine of the elevation, and to throw 5 % harder; the chance stays.
    """
    hand = dataclasses.replace(SETTINGS.hand, side_bias=np.radians(2.0), speed_bias=-0.05)
    tree = upright([Limb(6.0, EAST, length=3.0)])
    plain = dataclasses.replace(SETTINGS, methods=("hand",))
    found = [
        search_throws(tree, flat(tree), Site(), Stances(np.array([[1.0, -5.0, 0.0]])), s).best[0, 1] for s in (plain, dataclasses.replace(plain, hand=hand))
    ]
    turn = np.radians(2.0) / np.cos(found[0].elevation)
    d = f"{np.degrees(turn):.1f}°"
    words = (
        f"By your own record your throws go {d} to the right and 5 % too slow. "
        f"Aim {d} farther left and 5 % harder than stated here."
    )

    assert found[1].chance == found[0].chance and found[1].azimuth == found[0].azimuth
    off = [s for s in found[1].steps if s.code == "throw_aim_off"]

    assert [say(s) for s in off] == [words] and not has(found[0].steps, "throw_aim_off")
    assert [(r.code, r["by"]) for r in off[0]["aim"]] == [("aim_left", pytest.approx(turn)), ("aim_harder", 0.05)]


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ([("hand", 6, 9, 68, 9, 0, 10)] * 3, "too few"),
        ([("catapult", 6, 9, 68, 9, 0, 10)], "not known"),
        ([("hand", 6, 9, 68, "high", 0, 10)], "not a number"),
        ([("hand", 6, 9, 68, 9, 0, 5)], "cannot be a throw"),
        ([("hand", 6, 9, 30, 9, 0, 10)] * 9, "below its aimed height"),
    ],
)
def test_a_faulty_record_is_refused_in_one_sentence(tmp_path, rows, words):
    """Too few throws, an unknown method, no number, a range short of the mast, an aim below its mark."""
    with pytest.raises(BadInput, match=words):
        own_spread(read_record(_written(tmp_path / "bad.csv", rows)), SETTINGS)


def test_a_record_without_its_columns_is_refused(tmp_path):
    """The missing columns are named."""
    (tmp_path / "bad.csv").write_text("method,distance_m\nhand,6\n", encoding="utf-8")
    with pytest.raises(BadInput, match="got_side_m"):
        read_record(tmp_path / "bad.csv")


@pytest.mark.parametrize("degrees", [30, 60, 75, 80])
def test_own_records_are_kept_as_the_scatter_across_the_flight(degrees):
    """A thrower with 1.5 degrees across the flight logs throws at any steepness: his record reads 1.5 degrees, not 1.5 / cos(elevation).

    400 throws; without drag the parabola is solved here: z(s) = s tan(e) - g s^2 / (2 v^2 cos^2 e).
    """
    rng = np.random.default_rng(1)
    el, n, v, x, g = np.deg2rad(degrees), 400, 18.0, 5.0, 9.80665
    d = directions(0.0, el, 0.02 * rng.standard_normal(n), np.deg2rad(1.5) * rng.standard_normal(n))
    up, out = d[:, 2], np.hypot(d[:, 0], d[:, 1])
    s = x * out / d[:, 0]
    z = s * up / out - g * s**2 / (2 * v**2 * out**2)
    aimed = x * np.tan(el) - g * x**2 / (2 * v**2 * np.cos(el) ** 2)
    rows = np.column_stack([np.full(n, x), np.full(n, aimed), np.full(n, degrees), z, x * d[:, 1] / d[:, 0], 2 * v**2 * up * out / g])
    found = own_spread({"hand": rows}, BARE)[0]

    assert abs(found.sd.side - np.deg2rad(1.5)) < 3 * np.deg2rad(1.5) / np.sqrt(2 * n)
    assert abs(found.sd.elevation - 0.02) < 3 * 0.02 / np.sqrt(2 * n)
    assert found.sd.speed < 1e-3


def test_a_record_thrown_hard_is_taken_back_to_an_easy_throw():
    """18 m/s of 19 m/s at most is 0.82 of the way from an easy throw to the hardest: logged scatter is 1.206 times an easy throw's."""
    growing = dataclasses.replace(BARE, hand=dataclasses.replace(BARE.hand, effort_growth=0.25))
    rng, n, g, v, x, el = np.random.default_rng(2), 200, 9.80665, 18.0, 5.0, np.deg2rad(65)
    e = el + 0.02 * rng.standard_normal(n)
    z = x * np.tan(e) - g * x**2 / (2 * v**2 * np.cos(e) ** 2)
    aimed = x * np.tan(el) - g * x**2 / (2 * v**2 * np.cos(el) ** 2)
    rows = np.column_stack([np.full(n, x), np.full(n, aimed), np.full(n, 65.0), z, 0.01 * rng.standard_normal(n), v**2 * np.sin(2 * e) / g])
    kept = [own_spread({"hand": rows}, s)[0].sd for s in (BARE, growing)]

    assert kept[0].elevation / kept[1].elevation == pytest.approx(1 + 0.25 * (18 / 19 - 0.7) / 0.3, rel=1e-4)
    assert growing.hand.spread_at(v).elevation / growing.hand.elevation_sd == pytest.approx(1 + 0.25 * (18 / 19 - 0.7) / 0.3)
