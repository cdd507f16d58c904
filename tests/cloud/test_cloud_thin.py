"""Thinning: one point a voxel, the centroid."""

from __future__ import annotations

import numpy as np
import pytest
from written_clouds import bush, write_las

from treescan.cloud.point_cloud import Frame, PointCloud
from treescan.cloud.read import read_cloud
from treescan.cloud.thin import VoxelSums, thin


def by_hand(xyz: np.ndarray, cell: float) -> np.ndarray:
    """Centroids by sorting, in no particular order."""
    _, group, counts = np.unique(np.floor(xyz / cell).astype(int), axis=0, return_inverse=True, return_counts=True)
    return np.column_stack([np.bincount(group.ravel(), xyz[:, k]) for k in range(3)]) / counts[:, None]


@pytest.mark.parametrize("cell", [0.02, 0.3, 5.0])
def test_centroids_are_those_a_sort_gives(cell):
    """The hash and a plain sort agree, also below zero."""
    xyz = np.random.default_rng(2).normal(0, 3, (20_000, 3))

    thinned = thin(PointCloud(xyz), cell)
    expected = by_hand(xyz, cell)

    assert len(expected) == len(thinned)
    assert np.allclose(expected[np.lexsort(np.round(expected, 9).T)], thinned.xyz[np.lexsort(np.round(thinned.xyz, 9).T)])
    assert thinned.columns["points"].sum() == 20_000


def test_adding_in_parts_changes_nothing():
    """VoxelSums filled at once and in many parts are the same, columns too."""
    xyz = np.random.default_rng(2).normal(0, 3, (50_000, 3))
    number = np.arange(50_000, dtype=np.int32)
    one, many = VoxelSums(0.1), VoxelSums(0.1)
    one.add(xyz, {"n": number})
    for i in range(0, 50_000, 777):
        many.add(xyz[i : i + 777], {"n": number[i : i + 777]})

    assert (one.ijk == many.ijk).all()
    assert np.allclose(one.centroids, many.centroids)
    assert (one.columns["n"] == many.columns["n"]).all()
    assert np.allclose(np.floor(xyz[one.columns["n"]] / 0.1), one.ijk)


def test_a_far_stray_does_not_break_the_keys():
    """A point ten thousand kilometres away gets a voxel of its own."""
    voxels = VoxelSums(0.01)
    voxels.add(np.array([[0.001, 0.001, 0.001], [0.002, 0.003, 0.004], [1e7, -1e7, 1e7]]))

    assert voxels.counts.tolist() == [2, 1]


def test_the_local_origin_does_not_matter():
    """VoxelSums are cut at multiples of the cell on the map, so another origin gives the same centroids on the map."""
    xyz = np.random.default_rng(2).normal(0, 3, (5000, 3))
    origin = np.array([123.4, -77.7, 9.13])

    here = thin(PointCloud(xyz), 0.25)
    there = thin(PointCloud(xyz - origin, Frame(origin)), 0.25)

    assert np.allclose(here.xyz, there.frame.to_map(there.xyz))


def test_doubled_voxels_are_those_of_twice_the_edge():
    """Merging two by two by two gives what filling wider voxels gives."""
    xyz = np.random.default_rng(2).normal(0, 30, (5000, 3))
    origin = np.array([101.0, 7.0, -3.0])
    fine, wide = VoxelSums(1.0, origin), VoxelSums(2.0, origin)
    fine.add(xyz)
    wide.add(xyz)
    merged = fine.doubled()

    assert wide.used == merged.used
    order, other = np.lexsort(wide.ijk.T), np.lexsort(merged.ijk.T)
    assert (wide.ijk[order] == merged.ijk[other]).all()
    assert (wide.counts[order] == merged.counts[other]).all()


def test_thinning_while_reading_equals_thinning_after(tmp_path):
    """`read_cloud(thin=...)` is `thin(read_cloud(...))` for a cloud without copies."""
    path = write_las(tmp_path / "a.laz", bush(5000) + np.array([500_000.0, 5_200_000.0, 0.0]))

    during, after = read_cloud(path, thin=0.2), thin(read_cloud(path), 0.2)

    assert (during.columns["points"] == after.columns["points"]).all()
    assert np.allclose(during.xyz, after.xyz, atol=1e-7)


def test_a_cell_must_be_a_length():
    with pytest.raises(ValueError, match="positive"):
        thin(PointCloud(np.zeros((1, 3))), 0.0)
