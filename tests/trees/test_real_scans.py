"""Real scans: trees found, heights and diameters against the references in the README beside each file."""

from __future__ import annotations

import numpy as np
import pytest

from treescan.cloud.read import read_cloud
from treescan.reason import has
from treescan.trees.segmentation.stems import find_stems
from treescan.trees.single_tree import find_tree
from treescan.trees.terrain.ground import find_ground
from treescan.trees.terrain.height_grid import heights_above


def top(tree) -> float:
    return float(max(c.xyz[:, 2].max() for c in (tree.wood, tree.leaf) if len(c)) - tree.base[2])


def test_pine_class_2_is_stem_not_ground_and_the_stem_reads_21_cm(real_scans):
    """Reference of the file: 21.46 cm by the author's fit, 21.0 cm by a plain circle."""
    cloud = read_cloud(real_scans / "pine_tls_classified" / "pointcloud.laz")
    found = find_ground(cloud.xyz, cloud.columns.get("class"))
    assert not found.found
    stems = find_stems(cloud.xyz, heights_above(found.terrain, cloud.xyz), found.terrain, 0.017)
    assert len(stems) == 1
    assert stems[0].dbh == pytest.approx(0.2146, abs=0.015)


@pytest.mark.parametrize(("name", "height"), [("2019-08-24_q2_ULS-on", 30.729), ("2020-04-01_q1_ULS-off", 30.641)])
def test_oak_height_agrees_with_the_published_one(real_scans, name, height):
    """Weiser et al. 2022, Earth System Science Data 14:2989."""
    tree = find_tree(read_cloud(real_scans / "oak_uav_als" / f"QuePet_BR02_02_{name}.laz"))
    assert top(tree) == pytest.approx(height, abs=0.25)


def test_broad_conifer_is_parted_from_its_understorey_and_loses_the_floating_points(real_scans):
    tree = find_tree(read_cloud(real_scans / "broad_conifer_3cm" / "tree.laz"))
    assert 19.0 < top(tree) < 21.0
    assert len(tree.beside.surroundings.of("ground object")) > 300


@pytest.mark.parametrize("path", ["als_lambert93_street/test_data_77055_627755_LA93_IGN69_extra_dims.laz", "als_us_feet/autzen_trim.laz"])
def test_airborne_tiles_give_a_tree_and_say_that_wood_was_not_told_apart(real_scans, path):
    tree = find_tree(read_cloud(real_scans / path))
    assert 5.0 < top(tree) < 40.0
    assert np.ptp(tree.wood.xyz[:, :2], axis=0).max() < 25.0
    assert has(tree.notes, "trees_found_by_crowns")
    assert has(tree.notes, "too_sparse_for_leaves")
