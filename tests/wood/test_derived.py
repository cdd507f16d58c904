"""Limbs, unions, stem figures and fitness derived from hand-made graphs."""

from dataclasses import replace

import numpy as np
import pytest
from wood.clouds import FORK, POST, bark_points, chain, make, tree_of

from treescan.outputs.text.say import say
from treescan.reason import has
from treescan.trees.beside import Terrain
from treescan.wood.build import build_graph
from treescan.wood.fitting.range_noise import shared_error
from treescan.wood.quality.fitness import scan_fitness
from treescan.wood.quality.stem_figures import stem_figures, wood_volume
from treescan.wood.settings import WoodSettings
from treescan.wood.topology.assemble import assemble

POST_AS_SEEN = replace(make(POST), radius_sd=0.4 * make(POST).radius, arc=np.full(len(make(POST)), 2 * np.pi))
"""A post of which no radius is known to better than two fifths, though points seem to lie all round."""


def test_thick_straight_arm_carries_the_limb_on():
    """At the fork the stem goes on as limb 0 and the side limb is limb 1 of order 1."""
    assert FORK.limbs.parent.tolist() == [-1, 0]
    assert FORK.limbs.order.tolist() == [0, 1]


def test_codominant_stems_keep_order_zero():
    """Two nearly equal stems at a narrow fork are both order 0 and flagged."""
    twin = make(((0, 0, 0), (0, 0, 2), 0.2, 0.18, None), ((0, 0, 0), (0.5, 0, 4), 0.14, 0.12, (0, 1)), ((0, 0, 0), (-0.5, 0, 4), 0.138, 0.12, (0, 1)))

    assert twin.limbs.order.tolist() == [0, 0]
    assert "codominant" in twin.unions.flags[0]


def test_volume_is_that_of_a_frustum():
    """pi h (R^2 + R r + r^2) / 3 for one tapered post."""
    assert wood_volume(make(POST)) == pytest.approx(np.pi * 4 * (0.15**2 + 0.15 * 0.1 + 0.1**2) / 3)


def test_volume_counts_the_overlap_once():
    """A side limb adds only what stands beyond the parent's bark."""
    side = wood_volume(FORK) - wood_volume(make(POST))
    whole = np.pi * np.hypot(1.2, 1.5) * (0.06**2 + 0.06 * 0.04 + 0.04**2) / 3

    assert 0.80 * whole < side < 0.95 * whole


def test_breast_height_counts_from_the_highest_ground_at_the_stem():
    """On a 30 degree slope the reading moves up by r tan 30: a cone shows it."""
    xyz, r, up = chain((0, 0, 0), (0, 0, 3), 0.3, 0.0, 0, 1)
    cone = assemble(np.array([[0, 0, 0], *xyz]), np.array([0.3, *r]), np.array([-1, *up]))
    grid = np.arange(-30, 30) + 0.5
    slope = Terrain(np.tile(np.tan(np.radians(30)) * grid, (60, 1)), np.array([-30.0, -30.0]), 1.0, np.ones((60, 60), bool))
    rise = 0.3 * np.tan(np.radians(30))

    assert stem_figures(cone, Terrain.flat(0.0)).dbh == pytest.approx(2 * 0.3 * (1 - 1.3 / 3))
    assert stem_figures(cone, slope).dbh == pytest.approx(2 * 0.3 * (1 - (1.3 + rise) / 3), abs=1e-3)


def test_every_stem_of_a_clump_is_measured():
    """Three stems from one foot, 0.20, 0.24 and 0.16 m thick at 1.3 m; a limb of 6 cm that crosses there is none."""
    clump = make(
        ((0, 0, 0), (0, 0, 0.1), 0.3, 0.3, None),
        *(((0, 0, 0), (x, y, 5.0), r, r, (0, 1)) for x, y, r in ((1.0, 0, 0.10), (-0.8, 0.6, 0.12), (0, -1.0, 0.08), (0.5, 0.5, 0.03))),
    )
    stems = stem_figures(clump, Terrain.flat(0.0)).stems

    assert [t.dbh for t in stems] == pytest.approx([0.24, 0.20, 0.16])
    assert [t.height for t in stems] == pytest.approx([1.3] * 3)
    assert stems[0].xyz[:2] == pytest.approx(np.array([-0.8, 0.6]) * 1.2 / 4.9, abs=1e-6)


@pytest.mark.parametrize(("fork", "told"), [(1.45, 1.05), (1.9, 1.3)])
def test_a_stem_that_forks_just_above_breast_height_is_measured_below_the_swelling(fork, told):
    """A stem of 0.4 m in two of 0.3: the fork swells one diameter below it, so 1.45 m up it is measured at 1.05 m, 1.9 m up at breast height."""
    twin = make(
        ((0, 0, 0), (0, 0, fork), 0.2, 0.2, None), *(((0, 0, 0), (x, 0, fork + 3), 0.15, 0.12, (0, 1)) for x in (0.7, -0.7))
    )
    stem = stem_figures(twin, Terrain.flat(0.0))

    assert [t.height for t in stem.stems] == pytest.approx([told])
    assert stem.dbh == pytest.approx(0.4)


def test_lean_is_the_stem_s_angle():
    """A stem leaning by 20 degrees reads 20 degrees."""
    lean = np.radians(20)
    g = make(((0, 0, 0), (5 * np.sin(lean), 0, 5 * np.cos(lean)), 0.2, 0.1, None))

    assert stem_figures(g, Terrain.flat(0.0)).lean == pytest.approx(lean, abs=1e-6)


def test_well_scanned_fork_is_assessable():
    """Seen all round and measured: assessable, with a band table from the foot up."""
    tree = tree_of(bark_points(FORK))
    fitness = scan_fitness(build_graph(tree), tree, WoodSettings())

    assert fitness.assessable
    assert fitness.bands[0]["from_m"] == 0


def test_one_sided_scan_is_not_assessable_and_says_what_is_missing():
    """Thick wood seen through a slit of bark ends in words, not in numbers."""
    true = make(POST)
    p = bark_points(true, per_m2=8000)
    p = p[np.abs(np.arctan2(p[:, 1], p[:, 0])) < np.radians(40)]
    tree = tree_of(p)
    fitness = scan_fitness(build_graph(tree), tree, WoodSettings())

    assert not fitness.assessable
    assert has(fitness.reasons, "fit_one_sided", "fit_one_place")


def test_a_stem_known_too_poorly_has_no_diameter():
    """A radius of 15 cm known to 5 cm is not stated at breast height; known to 1 cm, or with nothing said, it is."""
    figures = {}
    for sd in (0.05, 0.01, np.nan):
        graph = make(POST)
        figures[sd] = stem_figures(replace(graph, radius_sd=np.full(len(graph), sd)), Terrain.flat(0.0)).dbh

    assert np.isnan(figures[0.05])
    assert figures[0.01] > 0.2
    assert figures[np.nan] > 0.2


def test_a_pole_too_slender_for_its_height_is_not_believed():
    """A 12 cm pole of 16 m is not a stem: the scan is not assessable and the reason says what a rescan needs."""
    slender = make(((0, 0, 0), (0, 0, 16), 0.06, 0.055, None))
    cloud = tree_of(bark_points(slender, 4000))

    reasons = scan_fitness(slender, cloud, WoodSettings()).reasons

    slim = next(r for r in reasons if r.code == "fit_too_slender")

    assert slim["height"] == pytest.approx(16.0, abs=0.1) and slim["diameter"] == pytest.approx(0.12, abs=0.01)
    assert "too thin to carry 16 m" in say(slim)


def test_scan_from_one_place_is_not_assessable_and_says_where_to_stand():
    """Half of the bark everywhere, seen from the east: not assessable, rescan from the west."""
    tree = tree_of(bark_points(FORK, per_m2=8000, seen_from=(10, 0, 1.5)))
    fitness = scan_fitness(build_graph(tree), tree, WoodSettings())

    assert not fitness.assessable
    one_side = next(r for r in fitness.reasons if r.code in ("fit_one_sided", "fit_one_place"))
    assert np.degrees(one_side["azimuth"]) == pytest.approx(270, abs=5)


@pytest.mark.parametrize(("place", "azimuth", "side"), [((10, 0, 1.5), 270, "west"), ((0, -10, 1.5), 0, "north")])
def test_a_stem_that_one_place_could_not_measure_asks_for_the_side_not_seen(place, azimuth, side):
    """Blurred by 6 cm from one place and known too poorly: the other side, still air, and no word of more points from nearer."""
    points = bark_points(POST_AS_SEEN, per_m2=8000, seen_from=place, noise=0.06)
    fitness = scan_fitness(POST_AS_SEEN, tree_of(points), WoodSettings())
    told = {r.code: r for r in fitness.reasons}

    assert {"fit_stem_half_seen", "fit_little_half_seen", "fit_no_band_half_seen"} <= set(told)
    for code in ("fit_stem_half_seen", "fit_little_half_seen", "fit_no_band_half_seen"):
        away = (np.degrees(told[code]["azimuth"]) - azimuth + 180) % 360 - 180
        assert abs(away) < 5 and told[code]["scatter"] == pytest.approx(0.06, rel=0.5)
        assert f"from the {side}" in say(told[code]) and "still air" in say(told[code])
        assert "nearer" not in say(told[code])


def test_a_stem_known_too_poorly_from_all_sides_still_asks_for_more_points():
    """The same doubt with points all round: no side is named, the remedy stays."""
    fitness = scan_fitness(POST_AS_SEEN, tree_of(bark_points(POST_AS_SEEN, per_m2=8000)), WoodSettings())

    assert {"fit_stem_not_measured", "fit_little_measured", "fit_no_band"} <= {r.code for r in fitness.reasons}
    assert not has(fitness.reasons, "fit_stem_half_seen", "fit_little_half_seen", "fit_no_band_half_seen")


def test_a_thick_shell_leaves_thin_limbs_unsure():
    """By hand: a third of doubt in a scatter of 2 cm leaves 3.27 of 4 cm and 19.87 of 20 cm, nothing of 2 cm; a still scanner leaves no such doubt."""
    assert shared_error(np.array([0.04, 0.20, 0.02]), 0.02) == pytest.approx([0.00734, 0.00134, 0.02], abs=5e-6)
    assert shared_error(np.array([0.04]), 0.0) == pytest.approx([0.0])
