"""Clouds read by treescan held against other readers of the same bytes.

Oracles: laspy.read (LAS, LAZ), open3d.io (PLY, PCD), pye57.read_scan (E57), pyproj (map coordinates), numpy.unique (repeats).
"""

from __future__ import annotations

import sys
from pathlib import Path

import laspy
import numpy as np
import pye57
import pytest
from pyproj import Transformer

from treescan.cloud.read import read_cloud

sys.path.append(str(Path(__file__).resolve().parents[1] / "cloud"))
from written_clouds import bush, write_pcd, write_ply

METRES = {
    "als_lambert93_street/test_data_77055_627755_LA93_IGN69_extra_dims.laz": "EPSG:2154",
    "oak_uav_als/QuePet_BR02_02_2019-07-05_q2_ALS-on.laz": "EPSG:25832",
    "oak_uav_als/QuePet_BR02_02_2019-08-24_q2_ULS-on.laz": "EPSG:25832",
    "oak_uav_als/QuePet_BR02_02_2020-04-01_q1_ULS-off.laz": "EPSG:25832",
    "pine_tls_classified/pointcloud.laz": None,
    "broad_conifer_3cm/tree.laz": None,
    "small_conifer_tls/test_tree.las": None,
    "intake_las/vegetation_1_3.las": None,
    "intake_las/fullwave.laz": "EPSG:32723",
    "intake_las/bad-geotiff-keys.las": "EPSG:32617",
    "intake_las/bad_vlr_count.las": "EPSG:32617",
}
STRAYS = {"broad_conifer_3cm/tree.laz": 3}


@pytest.mark.parametrize("name", METRES)
def test_counts_and_bounds_are_laspys(real_scans, name):
    """Every distinct point laspy reads is there, at the same place within 0.01 mm, but for the known strays."""
    las = laspy.read(real_scans / name)
    distinct = np.unique(np.column_stack([las.X, las.Y, las.Z]), axis=0) * las.header.scales + las.header.offsets
    known = STRAYS.get(name, 0)

    cloud = read_cloud(real_scans / name)
    on_map = cloud.frame.to_map(cloud.xyz)

    assert len(cloud) == len(distinct) - known
    assert cloud.frame.crs == METRES[name]
    stay = distinct[distinct[:, 2] < 25.0] if known else distinct
    assert np.abs(on_map.min(axis=0) - stay.min(axis=0)).max() < 1e-5
    assert np.abs(on_map.max(axis=0) - stay.max(axis=0)).max() < 1e-5
    assert np.abs(np.sort(on_map[:, 2]) - np.sort(stay[:, 2])).max() < 1e-5


def test_real_feet_are_converted(real_scans):
    """The airborne tile in feet comes out at 0.3048 of laspy's numbers."""
    las = laspy.read(real_scans / "als_us_feet/autzen_trim.laz")

    cloud = read_cloud(real_scans / "als_us_feet/autzen_trim.laz")

    assert cloud.frame.unit_m == pytest.approx(0.3048, rel=1e-12)
    assert len(las.points) - len(cloud) < 10
    assert np.allclose(cloud.frame.to_map(cloud.xyz).max(axis=0), np.asarray(las.xyz).max(axis=0) * 0.3048, atol=1e-6)
    assert "in metres" in str(cloud.frame.crs)


def test_real_degrees_are_projected(real_scans):
    """The file in longitude and latitude lands where pyproj puts it."""
    las = laspy.read(real_scans / "intake_las/epsg_4326.las")
    x, y = Transformer.from_crs("EPSG:4326", "EPSG:32615", always_xy=True).transform(np.asarray(las.x), np.asarray(las.y))

    cloud = read_cloud(real_scans / "intake_las/epsg_4326.las")

    assert cloud.frame.crs == "EPSG:32615"
    assert np.allclose(cloud.frame.to_map(cloud.xyz), np.column_stack([x, y, las.z]), atol=1e-6)


def test_the_real_odd_points_are_reported(real_scans):
    """Three floating points, a 3 cm grid, 1 cm rounding with 39 % copies, tiny scale factors: each is said of the file it belongs to."""
    noted = {n: {note.code: note for note in read_cloud(real_scans / n).notes} for n in METRES}

    def steps(scan: str) -> dict[str, float]:
        return {s["axis"]: round(s["step"], 6) for s in noted[scan]["coordinates_on_a_grid"]["along"]}

    assert noted["broad_conifer_3cm/tree.laz"]["strays_left_out"]["n"] == 3
    assert steps("broad_conifer_3cm/tree.laz") | {"z": 0} == {"x": 0.03, "y": 0.03, "z": 0}
    assert noted["pine_tls_classified/pointcloud.laz"]["duplicates_left_out"]["n"] == 724954
    assert steps("pine_tls_classified/pointcloud.laz") == {"x": 0.01, "y": 0.01, "z": 0.01}
    assert {"tiny_scale_factors", "bounds_do_not_hold"} <= noted["small_conifer_tls/test_tree.las"].keys()
    assert "damaged_records" in noted["intake_las/bad_vlr_count.las"]


E57 = {
    "bunnyFloat.e57": 30_571,
    "tinyCartesianFloatRgb.e57": 2_090,
    "tiny_spherical.e57": 180,
    "pumpAVisualReferenceImage.e57": 155_201,
    "cartesian_invalid_state_single.e57": 1,
    "translationWithoutRotation.e57": 4,
    "las2e57_no_images_tag.e57": 153,
}


@pytest.mark.parametrize("name", E57)
def test_e57_points_are_pye57s(real_scans, name):
    """Valid points, posed, cartesian or spherical, as pye57's own posed reading has them."""
    path = str(real_scans / "intake_e57" / name)
    theirs = pye57.E57(path).read_scan(0, ignore_missing_fields=True)
    xyz = np.column_stack([theirs[f"cartesian{a}"] for a in "XYZ"])

    cloud = read_cloud(path)

    assert len(cloud) == E57[name] == len(np.unique(xyz, axis=0))
    assert np.abs(np.sort(cloud.frame.to_map(cloud.xyz), axis=0) - np.sort(xyz, axis=0)).max() < 1e-6


@pytest.mark.parametrize("encoding", ["ascii", "binary_little_endian", "binary_big_endian"])
def test_ply_points_are_open3ds(tmp_path, encoding):
    """open3d reads the same points in the same order."""
    o3d = pytest.importorskip("open3d")
    path = write_ply(tmp_path / "a.ply", bush(1000), encoding=encoding)

    theirs = np.asarray(o3d.io.read_point_cloud(str(path)).points)

    assert np.allclose(theirs, read_cloud(path).xyz, atol=1e-9)


@pytest.mark.parametrize("data", ["ascii", "binary", "binary_compressed"])
def test_pcd_points_are_open3ds(tmp_path, data):
    """open3d reads the same points, from our bytes and from its own, really compressed ones."""
    o3d = pytest.importorskip("open3d")
    ours, own = write_pcd(tmp_path / "a.pcd", bush(1000), data=data), tmp_path / "b.pcd"
    cloud = o3d.geometry.PointCloud(o3d.utility.Vector3dVector(bush(5000)))
    cloud.colors = o3d.utility.Vector3dVector(np.tile([[1.0, 0.5, 0.0]], (5000, 1)))
    o3d.io.write_point_cloud(str(own), cloud, write_ascii=data == "ascii", compressed=data == "binary_compressed")

    assert np.allclose(o3d.t.io.read_point_cloud(str(ours)).point.positions.numpy(), read_cloud(ours).xyz, atol=1e-6)
    back = read_cloud(own)
    assert np.allclose(bush(5000), back.xyz, atol=1e-6)
    if data != "ascii":
        assert (back.columns["red"] == 255).all()
        assert (back.columns["blue"] == 0).all()
