"""Limbs held against what they carry, where bowed limbs meet, and the radius beside a fork."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from treescan.wood.fitting.limb_axes import LimbAxes, places_along
from treescan.wood.topology.allometry import area_relation, carried_length, held_against_allometry
from treescan.wood.topology.false_wood import trim_starts
from treescan.wood.topology.insertions import insertion_of, lay_nodes


def axes_of(lines, radii, parent):
    """Limb axes, every piece well fitted, from polylines and radii."""
    start = np.concatenate([[0], np.cumsum([len(x) for x in lines])]).astype(np.int64)
    v, r = np.vstack(lines), np.concatenate(radii)
    n = len(v)
    return LimbAxes(
        start, v, places_along(start, v), r, 0.02 * r, r, 0.02 * r, np.full(n, 5.5), np.full(n, 0.003), np.full(n, 0.97), np.full(n, 60),
        np.array(parent, np.int32), np.array([x[0] for x in lines]),
    )  # fmt: skip


def straight(a, b, n):
    return np.linspace(a, b, n)


def test_length_carried_counts_every_limb_beyond_once():
    """Stem of 4 m, a limb of 2 m at 3 m height with a twig of 1 m at its middle: 7 m in all, 6 m from 1 m up, 1 m above the limb."""
    lines = [straight((0, 0, 0), (0, 0, 4), 9), straight((0, 0, 3), (2, 0, 3), 5), straight((1, 0, 3), (1, 1, 3), 3)]
    axes = axes_of(lines, [np.full(9, 0.1), np.full(5, 0.05), np.full(3, 0.02)], [-1, 0, 1])
    got = carried_length(axes, np.array([0.0, 3.0, 1.0]))
    assert got[0] == pytest.approx(7.0)
    assert got[2] == pytest.approx(6.0)
    assert got[8] == 0.0
    assert got[7] == pytest.approx(0.5)
    assert got[axes.start[1]] == pytest.approx(3.0)
    assert got[axes.start[1] + 3] == pytest.approx(0.5)
    assert got[axes.start[2]] == pytest.approx(1.0)


def test_relation_is_found_past_a_fifth_of_stubs():
    rng = np.random.default_rng(3)
    length = np.exp(rng.uniform(-1, 5, 500))
    r = 0.012 * length**0.5 * np.exp(rng.normal(0, 0.15, 500))
    r[:100] *= 4
    found = area_relation(r, length, np.ones(500, bool))
    assert found.slope == pytest.approx(0.5, abs=0.04)
    assert found.radius(np.array([1.0, 100.0])) == pytest.approx([0.012, 0.12], rel=0.12)
    assert area_relation(r[:30], length[:30], np.ones(30, bool)) is None


def tree_with_twigs():
    """A stem with thirty limbs that follow r = 0.02 sqrt(length carried), and one short limb of 4 cm radius that carries nothing."""
    lines, radii, parent = [straight((0, 0, 0), (0, 0, 12), 41)], [np.linspace(0.2, 0.05, 41)], [-1]
    rng = np.random.default_rng(8)
    for k in range(31):
        a, z, length = rng.uniform(0, 2 * np.pi), 2 + 0.3 * k, 2.0 if k < 30 else 0.9
        line = straight((0, 0, z), (length * np.cos(a), length * np.sin(a), z + 0.3), 12)
        lines.append(line)
        left = np.linspace(length, 0.1, 12)
        radii.append(0.02 * np.sqrt(left) if k < 30 else np.full(12, 0.04))
        parent.append(0)
    return axes_of(lines, radii, parent)


def test_a_badly_fitted_piece_too_thick_for_what_it_carries_is_thinned_with_a_wide_error():
    axes = tree_with_twigs()
    rows = axes.rows(31)
    place = np.array([0.0] + [insertion_of(axes, k).place for k in range(1, len(axes))])
    sd, arc, share = axes.raw_sd.copy(), axes.arc.copy(), axes.share.copy()
    sd[rows], arc[rows], share[rows] = np.inf, 0.8, 0.3
    bad = replace(axes, raw_sd=sd, arc=arc, share=share)
    got = held_against_allometry(bad, place)
    assert np.all(got.r[rows] < 0.6 * 0.04)
    assert np.all(got.r_sd[rows] > 0.15 * got.r[rows])
    other = np.ones(len(axes.r), bool)
    other[rows] = False
    assert got.r[other] == pytest.approx(axes.r[other], rel=0.03)


def test_a_well_fitted_stub_stays_and_nothing_ever_grows():
    """A broken limb carries nothing and is thick all the same: seen all round on smooth bark it is believed."""
    axes = tree_with_twigs()
    place = np.array([0.0] + [insertion_of(axes, k).place for k in range(1, len(axes))])
    got = held_against_allometry(axes, place)
    assert got.r[axes.rows(31)] == pytest.approx(0.04, rel=0.1)
    assert np.all(got.r <= axes.r)


def fork(bow=0.35):
    """A stem of 0.2 m that forks at 2 m: one arm goes on as the stem's limb, the other leaves at 0.3 rad and bows upright."""
    t = np.linspace(0.08, 1.6, 20)
    side = np.sin(0.3) * t - bow * 0.5 * t**2 * 0.3
    up = 2 + t
    stem = np.vstack([straight((0, 0, 0), (0, 0, 1.9), 12), np.column_stack([-side, 0 * t, up])])
    arm = np.column_stack([side, 0 * t, up])
    near = 0.05
    r_stem = np.concatenate([np.full(12, 0.20), np.full(20, 0.15)])
    axes = axes_of([stem, arm], [r_stem, np.full(20, 0.14)], [-1, 0])
    inside = np.zeros(len(axes.r), bool)
    inside[12:16] = True  # pieces in the crotch saw both arms
    inside[axes.start[1] : axes.start[1] + 4] = True
    raw_sd = np.where(inside, np.inf, axes.raw_sd)
    return replace(axes, raw_sd=raw_sd, leaves=np.array([[0, 0, 0], [near, 0, 2.1]], float))


@pytest.mark.parametrize("bow", [0.0, 0.35, 0.7])
def test_a_bowed_arm_is_carried_back_along_its_bow(bow):
    """The fork lies at 2 m, whether the arm is straight or bows upright; carried back straight, the more bowed one met the stem 10 cm low."""
    assert insertion_of(fork(bow), 1).place == pytest.approx(2.0, abs=0.06)


def test_the_radius_at_a_fork_is_that_of_the_stem_below_and_the_arm_starts_with_its_own():
    axes = fork()
    nodes = lay_nodes(axes, np.zeros(3))
    z, on_stem = nodes.xyz[:, 2], nodes.xyz[:, 0] <= 1e-6
    below, above = on_stem & (z > 0.5) & (z <= 2.0), on_stem & (z > 2.15)
    assert nodes.radius[below] == pytest.approx(0.20, rel=0.005)
    assert nodes.radius[above] == pytest.approx(0.15, rel=0.005)


def test_a_last_limb_without_vertices_is_passed_over_when_starts_are_trimmed():
    """It stayed when all its points had gone to others, and the places along it were looked for beyond the last."""
    lines = [straight((0, 0, 0), (0, 0, 4), 9), straight((0, 0, 3), (2, 0, 3), 9), np.zeros((0, 3))]
    start = np.array([0, 9, 18, 18])
    whole = axes_of(lines[:2], [np.full(9, 0.1), np.full(9, 0.05)], [-1, 0])
    axes = replace(whole, start=start, parent=np.array([-1, 0, 0], np.int32), leaves=np.array([[0, 0, 0], [0, 0, 3], [0, 0, 2.0]]))
    limb, place = np.array([0, 1, 2, 1]), np.array([1.0, 0.01, 0.0, 1.5])
    trimmed, of_point = trim_starts(limb, place, axes)

    assert np.diff(trimmed.start).tolist() == [9, np.diff(trim_starts(limb[:2], place[:2], whole)[0].start)[1], 0]
    assert of_point.tolist() == [0, 0, 2, 1]


@pytest.mark.parametrize("comes_clear", [True, False])
def test_a_limb_that_touches_its_parent_again_has_left_already(comes_clear):
    """It leaves a stem at 2 m, bows 0.5 m out and touches at 4 m: only its foot is trimmed. One that lies on the bark all the way to there is trimmed to there."""
    z = np.linspace(2.0, 6.0, 41)
    out = np.interp(z, [2.0, 3.0, 4.0, 6.0], [0.2, 0.7 if comes_clear else 0.2, 0.2, 1.5])
    axes = axes_of([straight((0, 0, 0), (0, 0, 8), 81), np.column_stack([out, 0 * z, z])], [np.full(81, 0.2), np.full(41, 0.04)], [-1, 0])
    got, _ = trim_starts(np.zeros(1, np.int32), np.zeros(1), axes)
    first = got.v[got.rows(1)][0, 2]
    assert (2.0 < first < 2.3) if comes_clear else (4.0 < first < 4.3)
