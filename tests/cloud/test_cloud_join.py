"""Joining several scans of one tree."""

from __future__ import annotations

import functools
import sys

import numpy as np
import pytest
from made_up.scenes import simple_scan

from treescan.cloud.point_cloud import Frame, PointCloud
from treescan.cloud.registration.join import join_scans
from treescan.cloud.registration.rigid_motion import RigidMotion, small_turn, turned
from treescan.cloud.settings import JoinSettings
from treescan.errors import BadInput, RunFailed
from treescan.outputs.text.say import say

AWAY = RigidMotion(small_turn(np.radians([0.8, 0.6, 0.0])), np.zeros(3)).after(turned(np.radians(37.0), np.array([3.0, 2.5, 0.8])))
"""37 degrees about the vertical, then 1 degree of tilt, 4 m."""
pytestmark = pytest.mark.slow
WITHIN = 0.006
"""What is promised for two positions of 40,000 points [m]; measured 4.5 to 5.4 mm over six pairs, all of it towards each other."""
PLACES = np.array([[0.0, 0.0, 0.0], [2.0, 0.0, 6.0], [0.0, 2.0, 9.0]])


@functools.cache
def _scan(seed: int, number: int) -> PointCloud:
    """One tripod position's scan of a made-up tree, in the true frame."""
    cloud, _, _ = simple_scan(seed, "broadleaf", positions=3, points=120_000, height=9.0, dbh=0.3, registration=0.0)
    one = cloud.where(cloud.columns["scan"] == number)
    return PointCloud(one.xyz, columns={"intensity": one.columns["intensity"]}, source=f"tree {seed} from {number}")


def _moved(cloud: PointCloud, motion: RigidMotion) -> PointCloud:
    return PointCloud(motion(cloud.xyz), columns=cloud.columns, source=cloud.source)


@functools.cache
def _joined() -> PointCloud:
    return join_scans([_scan(1, 1), _moved(_scan(1, 2), AWAY)])


def _error(result: np.ndarray, truth: np.ndarray) -> tuple[float, float]:
    """Largest miss at places in the tree [m] and turn [deg] of the motion left between two versions of the same points."""
    a, b = truth - truth.mean(axis=0), result - result.mean(axis=0)
    u, _, v = np.linalg.svd(b.T @ a)
    rotation = u @ v
    miss = (PLACES - truth.mean(axis=0)) @ rotation.T + result.mean(axis=0) - PLACES
    return float(np.linalg.norm(miss, axis=1).max()), float(np.degrees(np.arccos(np.clip((np.trace(rotation) - 1) / 2, -1, 1))))


def test_two_positions_of_one_tree_find_each_other():
    """A turn of 37 degrees, a shift of 4 m and a tilt of 1 degree are undone to 6 mm and 0.1 degrees."""
    first, second = _scan(1, 1), _scan(1, 2)

    joined = _joined()
    miss, turn = _error(joined.xyz[len(first) :], second.xyz)

    assert np.array_equal(first.xyz, joined.xyz[: len(first)])
    assert miss < WITHIN
    assert turn < 0.1
    assert set(joined.columns) == {"intensity", "scan"}
    assert np.bincount(joined.columns["scan"]).tolist() == [len(first), len(second)]
    assert joined.source == "tree 1 from 1 + tree 1 from 2"
    note = joined.notes[-1]
    assert (note.code, note["scan"], note["onto"]) == ("scan_fitted_from_its_own_frame", "tree 1 from 2", "tree 1 from 1")
    assert np.degrees(note["turn"]) == pytest.approx(-37.0, abs=0.1)
    assert note["fit"]["share"] > JoinSettings().min_overlap
    assert "turned -37" in say(note)


def test_the_same_files_give_the_same_points():
    """No run differs from another."""
    again = join_scans([_scan(1, 1), _moved(_scan(1, 2), AWAY)])

    assert np.array_equal(_joined().xyz, again.xyz)
    assert _joined().notes == again.notes


def test_the_other_order_gives_the_same_tree_in_the_other_frame():
    """Joined onto the second scan, the first one lands where the truth says, within 6 mm."""
    first, second = _scan(1, 1), _scan(1, 2)

    joined = join_scans([_moved(second, AWAY), first])
    back = (joined.xyz[len(second) :] - AWAY.shift) @ AWAY.rotation
    miss, turn = _error(back, first.xyz)

    assert miss < WITHIN
    assert turn < 0.1


def test_aligned_scans_stay_where_they_are():
    """Scans already in one frame are moved by less than 2 mm, also when their local origins differ."""
    first, second = _scan(1, 1), _scan(1, 2)
    shift = np.array([100.0, -50.0, 7.0])
    a = PointCloud(first.xyz, Frame(np.array([5e5, 5e6, 100.0]), "EPSG:25832"), first.columns, first.source)
    b = PointCloud(second.xyz - shift, Frame(a.frame.origin + shift, "EPSG:25832"), second.columns, second.source)

    joined = join_scans([a, b])

    assert np.abs(joined.xyz[len(first) :] - second.xyz).max() < 0.002
    assert joined.frame is a.frame
    assert joined.notes[-1].code == "scan_left_in_place"


def test_scans_a_little_off_in_one_frame_are_fitted():
    """A scan 8 cm off in the same frame is brought back within 6 mm, and the note says so."""
    first, second = _scan(1, 1), _scan(1, 2)
    off = RigidMotion(small_turn(np.radians([0.0, 0.0, 0.3])), np.array([0.06, -0.05, 0.02]))

    joined = join_scans([first, _moved(second, off)])
    miss, turn = _error(joined.xyz[len(first) :], second.xyz)

    assert miss < WITHIN
    assert turn < 0.1
    assert joined.notes[-1].code == "scan_moved_a_little"
    assert joined.notes[-1]["off"] == pytest.approx(0.08, abs=0.05)


def test_scans_of_different_trees_are_refused():
    """Two trees that have nothing in common but a stem and a ground are not joined, and both files are named."""
    with pytest.raises(BadInput, match=r"tree 2 from 2.*tree 1 from 1"):
        join_scans([_scan(1, 1), _moved(_scan(2, 2), AWAY)])


def test_scans_far_apart_on_one_map_are_refused():
    """On a map the place is known: a scan 30 m beside is not searched for elsewhere."""
    crs = "EPSG:25832"
    a = PointCloud(_scan(1, 1).xyz, Frame(np.zeros(3), crs), source="a")
    b = PointCloud(_scan(1, 2).xyz, Frame(np.array([30.0, 0.0, 0.0]), crs), source="b")

    with pytest.raises(BadInput, match=r"b: cannot be joined: only .* overlaps with a"):
        join_scans([a, b])


def test_one_scan_is_given_back_and_none_is_refused():
    """Joining needs something to join."""
    assert join_scans([_scan(1, 1)]) is _scan(1, 1)
    with pytest.raises(BadInput, match="no scans"):
        join_scans([], JoinSettings())


def test_a_missing_system_library_is_named(monkeypatch):
    """Where open3d does not load the sentence says what to install."""
    monkeypatch.setitem(sys.modules, "open3d", None)

    with pytest.raises(RunFailed, match=r"apt-get install libusb-1.0-0 libegl1 libgl1 libx11-6"):
        join_scans([_scan(1, 1), _scan(1, 2)])
