"""One scan is worked on in one order, from one zero, on one grid, whichever way its points came."""

from __future__ import annotations

import itertools
from pathlib import Path

import numpy as np
import pytest
from cloud.written_clouds import bush, write_las
from scipy.spatial import cKDTree

from treescan.cloud.canonical import canonical
from treescan.cloud.point_cloud import Frame, PointCloud
from treescan.cloud.read import read_cloud
from treescan.cloud.registration.join import positions_of

FOOT, US_FOOT = 0.3048, 1200 / 3937
NEAR = np.array([1234.5671004, -88.1234003, 3.3000002])


def cloud_of(xyz: np.ndarray, origin: tuple[float, float, float] = (0.0, 0.0, 0.0), **columns: np.ndarray) -> PointCloud:
    return PointCloud(xyz, Frame(np.array(origin)), columns)


@pytest.mark.parametrize("step", [0.01, 0.003, 0.001, 0.0005, 0.00025, 0.0001])
@pytest.mark.parametrize("shift", [(0.0, 0.0, 0.0), (1234.567, -88.1, 3.3), (500_000.0123, 5_400_000.5, 300.0)])
def test_order_and_place_change_no_bit(step, shift):
    """Points shuffled and moved by any metres give the same coordinates to the last bit, and the same columns."""
    rng = np.random.default_rng(3)
    xyz = np.unique(np.round(bush(3000) / step), axis=0) * step
    marks = rng.integers(0, 9, len(xyz))
    order = rng.permutation(len(xyz))

    one = canonical(cloud_of(xyz, intensity=marks))
    two = canonical(cloud_of(xyz[order] + shift, intensity=marks[order]))

    assert (one.xyz == two.xyz).all()
    assert (one.columns["intensity"] == two.columns["intensity"]).all()
    np.testing.assert_allclose(two.frame.origin - one.frame.origin, shift, atol=1e-6)


def test_feet_to_a_thousandth_are_the_millimetres_they_were():
    """Whole millimetres written in thousandths of a foot come back to the bit."""
    xyz = bush(3000)
    feet = np.round(xyz / FOOT, 3) * FOOT

    assert np.abs(feet - xyz).max() > 1e-4
    assert (canonical(cloud_of(xyz)).xyz == canonical(cloud_of(feet)).xyz).all()


@pytest.mark.parametrize("step", [0.003, 0.00025])
def test_odd_grids_written_in_feet_are_the_metres_they_were(step):
    """Grids of 3 mm and of a quarter of a millimetre, written in ten-thousandths of a foot, come back to the bit."""
    xyz = np.unique(np.round(bush(3000) / step), axis=0) * step
    feet = np.round(xyz / FOOT, 4) * FOOT

    assert (canonical(cloud_of(xyz)).xyz == canonical(cloud_of(feet)).xyz).all()


@pytest.mark.parametrize("foot", [FOOT, US_FOOT])
@pytest.mark.parametrize("share", [0.01, 0.003, 0.001])
def test_grids_in_feet_written_in_metres_are_the_feet_they_were(foot, share):
    """Whole hundredths, three-thousandths and thousandths of either foot, written in metres to a micrometre, come back to the bit, each
    on its own grid: over 300 m the two feet part by two thirds of a millimetre."""
    step = share * foot
    xyz = np.unique(np.round(bush(3000) * (37.7123, 1.0371, 1.0237) / step), axis=0) * step
    metres = np.round(xyz + NEAR, 6)

    given, told = canonical(cloud_of(xyz)), canonical(cloud_of(metres))
    assert np.abs(metres - NEAR - xyz).max() > 1e-7
    assert (given.xyz == told.xyz).all()
    np.testing.assert_allclose(given.xyz / step, np.round(given.xyz / step), atol=1e-6)


def test_millimetres_are_not_taken_for_three_millimetres():
    """Every millimetre lies within a third of a step of a 3 mm grid, but not where its middle lies: no point moves."""
    xyz = canonical(cloud_of(bush(3000)))

    assert len(xyz) == 3000
    assert len(np.unique(np.round(xyz.xyz[:, 2] * 1000).astype(int) % 3)) == 3


@pytest.mark.parametrize("far", [30.0, 40_000.0])
def test_in_place_gives_the_same_in_the_memory_it_was_given(far):
    """Points, columns and origin are the same to the bit; nothing is copied; a cloud that is not given up stays as it was."""
    rng = np.random.default_rng(6)
    xyz = np.round(np.concatenate([rng.random((4000, 3)), [[far, 0.0, 0.0]]]), 3)
    xyz = np.concatenate([xyz, xyz[:500]])
    own, mark = xyz.copy(), rng.integers(0, 9, len(xyz)).astype(np.uint8)

    plain = canonical(cloud_of(xyz, intensity=mark))
    given = canonical(cloud_of(own, intensity=mark.copy()), in_place=True)

    assert (plain.xyz == given.xyz).all()
    assert (plain.columns["intensity"] == given.columns["intensity"]).all()
    assert (plain.frame.origin == given.frame.origin).all()
    assert np.shares_memory(given.xyz, own)
    assert not np.shares_memory(plain.xyz, xyz)
    keys = np.round(plain.xyz * 1000)
    assert len(np.unique(keys, axis=0)) == len(keys) == len(np.unique(np.round(xyz, 3), axis=0))


def test_points_of_somebody_else_are_not_written_to():
    """Memory that may not be written is copied, even where it is given up."""
    xyz = bush(2000)
    before = xyz.copy()
    xyz.flags.writeable = False
    out = canonical(cloud_of(xyz), in_place=True)

    assert (xyz == before).all()
    assert (out.xyz == canonical(cloud_of(before)).xyz).all()


@pytest.mark.parametrize("origin", [(0.0, 0.0, 0.0), (512_300.0, 5_400_100.0, 200.0)])
def test_map_coordinates_stay(origin):
    """No point without a grid of its own moves by more than 0.05 mm along an axis; zero is the lowest corner."""
    xyz = np.random.default_rng(1).normal(size=(5000, 3))
    out = canonical(cloud_of(xyz, origin))
    there = out.frame.to_map(out.xyz) - np.array(origin)
    away, twin = cKDTree(there).query(xyz)

    assert out.xyz.min() == 0.0
    assert len(out) == len(xyz)
    assert len(np.unique(twin)) == len(xyz)
    assert np.abs(there[twin] - xyz).max() < 0.0000501
    assert away.max() < 0.0001


def test_neighbours_lie_near_in_the_order():
    """Half of the steps from a point to the next are shorter than a tenth of the cloud."""
    xyz = canonical(cloud_of(np.random.default_rng(2).random((20_000, 3)))).xyz

    assert np.median(np.linalg.norm(np.diff(xyz, axis=0), axis=1)) < 0.1


def test_a_wide_cloud_with_points_far_apart_is_ordered_the_same():
    """Where 21 bits do not hold every index, ties of the key are ordered by the coordinates."""
    rng = np.random.default_rng(4)
    xyz = np.unique(np.round(np.concatenate([rng.random((4000, 3)), [[40_000.0, 0.0, 0.0]]]), 3), axis=0)
    order = rng.permutation(len(xyz))

    assert (canonical(cloud_of(xyz)).xyz == canonical(cloud_of(xyz[order])).xyz).all()


def test_of_points_at_one_place_one_is_kept_whatever_their_order():
    """The one that stays takes the lowest value of every column."""
    xyz = np.tile(bush(500), (3, 1))
    mark = np.repeat([7, 5, 6], 500)
    kept = [canonical(cloud_of(xyz[o], scan=mark[o])) for o in (np.arange(1500), np.arange(1500)[::-1])]

    assert all(len(k) == 500 and (k.columns["scan"] == 5).all() for k in kept)


def test_a_read_copy_does_not_depend_on_the_order_of_the_file(tmp_path: Path):
    """Two points at one place with different marks: the file turned round gives the same mark."""
    xyz = np.concatenate([bush(500), bush(500)])
    mark = np.repeat([9, 4], 500).astype(np.uint16)
    read = [
        read_cloud(write_las(tmp_path / f"{k}.las", xyz[::way], intensity=mark[::way])) for k, way in enumerate((1, -1))
    ]

    assert all((c.columns["intensity"] == 4).all() and len(c) == 500 for c in read)


def test_strays_do_not_depend_on_where_the_cloud_lies(tmp_path: Path):
    """A point at every distance from 4 to 9 m is a stray or none, wherever the cloud stands on the map."""
    xyz = bush(3000)
    for away in np.arange(4.0, 9.0, 0.5):
        lone = np.array([[4.0 + away, 0.0, 2.0]])
        kept = {
            len(read_cloud(write_las(tmp_path / "s.las", np.concatenate([xyz, lone]) + np.array((by, -by, 0.0)), offset=(0, 0, 0))))
            for by in (0.0, 0.25, 0.5, 0.75, 1234.567)
        }
        assert len(kept) == 1, away


def test_one_scan_parted_over_files_keeps_its_positions():
    """Files that tell the same positions apart keep them, and so does one scan parted by chance; else every position of every file is one,
    and so are two that see a tree from two sides."""
    xyz = bush(20_000, seed=3)
    first = np.random.default_rng(1).random(len(xyz)) < 0.4
    facing = np.random.default_rng(2).random(len(xyz)) < np.where(xyz[:, 0] > 0.0, 0.8, 0.3)

    def joined(one: list[int], two: list[int], parted: np.ndarray) -> list[int]:
        parts = [
            cloud_of(xyz[rows], scan=np.resize(np.array(names, np.uint16), np.count_nonzero(rows)))
            for names, rows in ((one, parted), (two, ~parted))
        ]
        return np.unique(positions_of(parts, [p.xyz for p in parts])).tolist()

    assert joined([3, 5], [3, 5], first) == [3, 5]
    assert joined([7], [7], first) == [7]
    assert joined([0], [0], facing) == [0, 1]
    assert joined([1, 2], [2, 3], first) == [0, 1, 2, 3]


def test_an_empty_and_a_small_cloud():
    """Nothing stays nothing; a few points are put on the finest grid."""
    assert len(canonical(cloud_of(np.zeros((0, 3))))) == 0
    three = canonical(cloud_of(np.array([[1.0, 2.0, 3.0], [1.5, 2.5, 3.5], [1.0, 2.0, 3.0]])))
    np.testing.assert_allclose(three.xyz, [[0.0, 0.0, 0.0], [0.5, 0.5, 0.5]], atol=1e-12)
    for order in itertools.permutations(range(3)):
        shuffled = np.array([[1.0, 2.0, 3.0], [1.5, 2.5, 3.5], [0.2, 9.0, 4.0]])[list(order)]
        assert canonical(cloud_of(shuffled)).xyz[0].tolist() == canonical(cloud_of(shuffled[::-1])).xyz[0].tolist()
