"""Limbs that touch and pass each other, one of them taken for the other's outer part."""

from __future__ import annotations

import numpy as np
import pytest
from wood.test_carried import axes_of, straight

from treescan.wood.topology.crossings import through_crossings


def bent_over(radius_outside=0.06):
    """A thick limb along +x that ends at x = 1.4, and a thin one that comes up from below, turns there and runs on along +x."""
    stem = straight((0, 0, 0), (0, 0, 6), 31)
    thick = straight((0.2, 0, 3), (1.4, 0, 3), 16)
    up, on = straight((1.45, 0, 1.5), (1.45, 0, 2.96), 15), straight((1.52, 0, 3), (3.2, 0, 3), 22)
    lines = [stem, thick, np.vstack([up, on]), straight((2.4, 0.05, 3), (2.4, 0.8, 3.2), 8)]
    radii = [np.full(31, 0.2), np.full(16, 0.065), np.concatenate([np.full(15, 0.02), np.full(22, radius_outside)]), np.full(8, 0.015)]
    return axes_of(lines, radii, [-1, 0, 0, 2])


def test_the_outer_part_goes_back_to_the_limb_it_carries_on_with_its_side_limb():
    got = through_crossings(bent_over())
    assert len(got) == 5
    outer = 4
    assert got.parent[outer] == 1
    assert got.v[got.rows(2)][-1] == pytest.approx([1.45, 0, 2.96], abs=0.25)
    assert got.v[got.rows(outer)][-1] == pytest.approx([3.2, 0, 3])
    assert got.parent[3] == outer


def test_a_bend_that_no_other_end_explains_stays_one_limb():
    axes = bent_over()
    keep = np.ones(len(axes.r), bool)
    keep[axes.rows(1)] = False  # the thick limb was never there
    alone = axes_of([axes.v[axes.rows(k)] for k in (0, 2, 3)], [axes.r[axes.rows(k)] for k in (0, 2, 3)], [-1, 0, 1])
    got = through_crossings(alone)
    assert len(got) == len(alone)
    assert np.array_equal(got.v, alone.v)
    assert np.array_equal(got.parent, alone.parent)
    assert got.s == pytest.approx(alone.s)


def test_limbs_that_cross_change_back():
    """Each of two limbs that cross goes over to the other's outer part: both are put right."""
    stem = straight((0, 0, 0), (0, 0, 6), 31)
    one = np.vstack([straight((0.2, -1, 2.5), (1.96, -0.04, 2.98), 20), straight((2.05, -0.04, 3.0), (3.6, -1, 3.4), 20)])
    two = np.vstack([straight((0.2, 1, 2.5), (1.96, 0.04, 2.98), 20), straight((2.05, 0.04, 3.0), (3.6, 1, 3.4), 20)])
    axes = axes_of([stem, one, two], [np.full(31, 0.2), np.full(40, 0.05), np.full(40, 0.05)], [-1, 0, 0])
    got = through_crossings(axes)
    start = {k: got.v[got.rows(k)][0] for k in range(len(got))}
    for k in range(1, len(got)):
        if start[k][0] > 1.5:  # an outer part: its parent comes from the other side
            assert np.sign(got.v[got.rows(k)][-1][1]) == -np.sign(got.v[got.rows(int(got.parent[k]))][0][1])
    assert len(got) == 5
