"""The trees of the second bench are what their truth says."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from second_bench.axis import Limb, along_curve
from second_bench.bark import BARKS, SMOOTH, dressed, ring_area
from second_bench.extras import with_extras
from second_bench.forms import FORMS
from second_bench.growth import grow
from second_bench.skin import box, skin, tube, volume
from second_bench.truth import area_radius, truth_of


def straight(start, direction, length, radius, parent=-1, at=0, step=0.02, kind="limb", angle=0.0):
    d = np.asarray(direction, float) / np.linalg.norm(direction)
    xyz, normal = along_curve(np.asarray(start, float) + np.array([[0.0], [length]]) * d, step)
    return Limb(xyz, normal, np.full(len(xyz), radius), parent, at, 0 if parent < 0 else 1, kind, angle)


def round_rings(limb, corners=48):
    flat = np.ones((len(limb.radius), corners))
    return flat * (limb.radius * np.sqrt(np.pi / ring_area(flat)))[:, None]


def test_a_straight_tube_holds_its_analytic_volume():
    """Rings are polygons of the circle's area, so pi r^2 l is exact."""
    limb = straight((0, 0, 0), (1, 2, 3), 2.0, 0.1)

    assert volume(*skin(limb, round_rings(limb))) == pytest.approx(np.pi * 0.1**2 * 2.0, rel=1e-9)


def test_a_bent_tube_holds_the_volume_of_pappus():
    """A quarter of a ring: area times the length of its axis."""
    a = np.linspace(0, np.pi / 2, 400)
    xyz, normal = along_curve(np.column_stack([np.cos(a), np.sin(a), 0 * a]), 0.01)
    limb = Limb(xyz, normal, np.full(len(xyz), 0.1), -1, 0, 0, "stem")

    assert volume(*skin(limb, round_rings(limb))) == pytest.approx(np.pi * 0.1**2 * np.pi / 2, rel=2e-3)


def test_a_cone_holds_its_analytic_volume():
    """Taper from 12 to 2 cm."""
    limb = straight((0, 0, 0), (0, 0, 1), 3.0, 0.1)
    r = np.linspace(0.12, 0.02, len(limb.radius))
    limb = Limb(limb.xyz, limb.normal, r, -1, 0, 0, "stem")

    assert volume(*skin(limb, round_rings(limb))) == pytest.approx(
        np.pi * 3.0 / 3 * (0.12**2 + 0.12 * 0.02 + 0.02**2), rel=1e-3
    )


def test_boxes_and_bars_are_closed_and_outward():
    """Their volumes are positive and right."""
    assert volume(*box((0, 0, 0), (1, 2, 3))) == pytest.approx(6.0)
    assert volume(*tube(np.array([[0, 0, 0], [0, 0, 1.0], [0, 0, 2.0]]), 0.1, 64)) == pytest.approx(
        np.pi * 0.01 * 2, rel=2e-3
    )


@pytest.mark.parametrize("name", BARKS)
def test_bark_keeps_the_area_away_from_flares(name):
    """Unround, furrowed, plated and fluted rings have the area of the nominal circle, and are not round."""
    bark = replace(BARKS[name], burls=0, scars=0, buttress=0.0)
    limbs = (straight((0, 0, -0.5), (0, 0, 1), 9.0, 0.3, kind="stem", step=0.05),)
    rings = dressed(limbs, bark, np.random.default_rng(5))[0]
    off = np.abs(area_radius(rings) / 0.3 - 1)
    spread = rings.std(axis=1) / 0.3

    assert off.max() < 1e-9
    assert 0.002 < np.median(spread) < 0.08


@pytest.mark.parametrize("degrees", [30, 60, 90])
def test_crotch_of_equal_round_stems_is_where_the_surfaces_meet(degrees):
    """Two bars of radius r at an angle a meet r / sin(a / 2) up the middle."""
    a = np.deg2rad(degrees) / 2
    stem = straight((0, 0, -1), (0, 0, 1), 1.0, 0.1, kind="stem")
    onward = straight((0, 0, 0), (np.sin(a), 0, np.cos(a)), 2.0, 0.1)
    host = Limb(
        np.vstack([stem.xyz, onward.xyz[1:]]),
        np.tile([0, 1.0, 0], (len(stem.xyz) + len(onward.xyz) - 1, 1)),
        np.full(len(stem.xyz) + len(onward.xyz) - 1, 0.1),
        -1,
        0,
        0,
        "stem",
    )
    limb = straight((0, 0, 0), (-np.sin(a), 0, np.cos(a)), 2.0, 0.1, 0, len(stem.xyz) - 1, angle=2 * a)
    limbs = (host, limb)
    union = truth_of(limbs, dressed(limbs, SMOOTH, np.random.default_rng(1))).unions[0]

    assert np.allclose(union.place, 0, atol=1e-9)
    assert np.allclose(union.crotch, [0, 0, 0.1 / np.sin(a)], atol=0.006)
    assert np.rad2deg(union.angle) == pytest.approx(degrees, abs=1.5)


def test_crotch_of_a_level_limb_is_on_its_upper_bark_at_the_stem():
    """Stem 20 cm, limb 10 cm square to it: half of each away from the axes."""
    limbs = (
        straight((0, 0, 0), (0, 0, 1), 4.0, 0.1, kind="stem"),
        straight((0, 0, 2), (1, 0, 0), 2.0, 0.05, 0, 100, angle=np.pi / 2),
    )
    union = truth_of(limbs, dressed(limbs, SMOOTH, np.random.default_rng(1))).unions[0]

    assert np.allclose(union.crotch - union.place, [0.1, 0, 0.05], atol=0.004)
    assert (union.parent, union.child, union.onward) == pytest.approx((0.2, 0.1, 0.2), rel=1e-6)


def test_limbs_that_touch_are_told():
    """Two bars from one stem that cross at (1, 0, 2)."""
    stem = straight((0, 0, 0), (0, 0, 1), 4.0, 0.1, kind="stem")
    low = straight((0, 0, 1), (1, 0, 1), 3.0, 0.04, 0, 50, angle=np.pi / 4)
    high = straight((0, 0, 3), (1, 0, -1), 3.0, 0.04, 0, 150, angle=np.pi * 0.75)
    limbs = (stem, low, high)
    touches = truth_of(limbs, dressed(limbs, SMOOTH, np.random.default_rng(1))).touches

    assert len(touches)
    assert np.allclose(touches.mean(axis=0), [1, 0, 2], atol=0.02)
    assert not len(truth_of(limbs[:2], dressed(limbs[:2], SMOOTH, np.random.default_rng(1))).touches)


@pytest.mark.parametrize("form", FORMS)
def test_every_form_grows_a_sound_tree(form):
    """Parents come first, limbs start on their parent's axis and are thinner, a rising fork's crotch is
    above it.
    """
    rng = np.random.default_rng(11)
    limbs = with_extras(grow(FORMS[form], rng), rng, stubs=3, sprouts=4, lianas=1)
    rings = dressed(limbs, BARKS["furrowed"], rng)
    truth = truth_of(limbs, rings)

    for i, m in enumerate(limbs):
        assert m.parent < i
        if m.parent >= 0 and m.kind != "liana":
            assert np.allclose(m.xyz[0], limbs[m.parent].xyz[m.at])
            assert m.radius[0] < limbs[m.parent].radius[max(0, m.at - 3)] * 1.02
    rising = [u for u in truth.unions if u.up > 0.5 and np.isfinite(u.crotch).all()]
    assert len(rising) > 3
    assert all(u.crotch[2] > u.place[2] for u in rising)
    assert len(truth.stems) == (
        3 if form == "clump" else sum(m.kind == "stem" for m in limbs if m.parent < 0 or m.xyz[0, 2] < 1.05)
    )
    assert 4.5 < truth.height < 24
    assert (form == "codominant") == (sum(m.kind == "stem" and m.parent >= 0 for m in limbs) in (1, 2))


def test_plain_sections_are_round_enough_to_be_judged():
    """Where the truth says plain, the area's circle is the nominal radius; a limb's flared base is not
    plain.
    """
    rng = np.random.default_rng(3)
    limbs = grow(FORMS["open-grown"], rng)
    rings = dressed(limbs, BARKS["burred"], rng)
    truth = truth_of(limbs, rings)
    nominal = np.concatenate([m.radius[m.xyz[:, 2] > 0] for m in limbs])

    assert np.abs(truth.radius / nominal - 1)[truth.plain].max() < 0.016
    thick = [i for i, m in enumerate(limbs) if m.parent >= 0 and m.radius[0] > 0.04]
    first = [np.flatnonzero(truth.limb == i)[0] for i in thick]
    assert not truth.plain[first].any()
