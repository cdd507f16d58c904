"""Units and maps: metres come out, and the way back to the map is known."""

from __future__ import annotations

import numpy as np
import pytest
from pyproj import CRS, Transformer
from written_clouds import bush, write_e57, write_las, write_text

from treescan.cloud.intake.conversion import decide
from treescan.cloud.opened import Reference
from treescan.cloud.projection import crs_text, in_metres, utm_zone_of
from treescan.cloud.read import read_cloud
from treescan.errors import BadInput
from treescan.reason import Reason, has

FOOT, US_FOOT = 0.3048, 1200.0 / 3937.0
OREGON_FEET = "EPSG:2992"
OREGON_METRES = "EPSG:2991"
NEW_YORK_US_FEET = "EPSG:2263"


@pytest.mark.parametrize("name", ["a.las", "a.laz"])
def test_map_coordinates_come_back_within_a_millimetre(tmp_path, name):
    """Local metres plus origin are the coordinates laspy reads, in 64-bit floats."""
    xyz = bush() + np.array([500_000.0, 5_200_000.0, 300.0])

    cloud = read_cloud(write_las(tmp_path / name, xyz, crs="EPSG:25832"))

    assert cloud.frame.crs == "EPSG:25832"
    assert cloud.frame.file_crs is None
    assert np.abs(xyz - cloud.frame.to_map(cloud.xyz)).max() < 1e-6
    assert cloud.xyz.max() < 1000.0
    assert (cloud.frame.origin == np.round(cloud.frame.origin)).all()


@pytest.mark.parametrize(("crs", "foot"), [(OREGON_FEET, FOOT), (NEW_YORK_US_FEET, US_FOOT)])
def test_feet_equal_metres(tmp_path, crs, foot):
    """A cloud written in feet is the cloud written in metres, exactly converted, and the file's own reference is kept."""
    xyz = bush() + np.array([200_000.0, 260_000.0, 120.0])

    cloud = read_cloud(write_las(tmp_path / "a.las", xyz / foot, crs=crs, scale=1e-5, offset=(650_000, 850_000, 390)))

    assert np.abs(xyz - cloud.frame.to_map(cloud.xyz)).max() < 1e-5
    assert cloud.frame.unit_m == pytest.approx(foot, rel=1e-12)
    assert cloud.frame.file_crs == crs
    assert has(cloud.notes, "converted_to_metres")
    assert np.allclose(cloud.xyz[:5, :2], cloud.frame.own_to_local_xy(xyz[:5, :2] / foot), atol=1e-5)


@pytest.mark.parametrize("crs", [OREGON_FEET, NEW_YORK_US_FEET])
def test_the_reference_in_metres_is_the_same_map(crs):
    """Longitude and latitude projected in metres are those projected in feet, times the foot, to 0.01 mm."""
    own, metres = CRS.from_user_input(crs), in_metres(CRS.from_user_input(crs))
    foot = own.axis_info[0].unit_conversion_factor
    lon, lat = np.array([-123.1, -121.4, -74.0]), np.array([44.1, 45.0, 40.7])

    feet = np.array(Transformer.from_crs("EPSG:4269", own, always_xy=True).transform(lon, lat))
    found = np.array(Transformer.from_crs("EPSG:4269", metres, always_xy=True).transform(lon, lat))

    assert np.abs(feet * foot - found).max() < 1e-5
    assert all(a.unit_name == "metre" for a in metres.axis_info)


def test_the_reference_in_metres_agrees_with_a_published_one():
    """Oregon's statewide system exists in feet and in metres: ours from the feet is the official one in metres."""
    lon, lat = np.array([-123.1, -121.4]), np.array([44.1, 45.0])
    ours = Transformer.from_crs("EPSG:4152", in_metres(CRS.from_user_input(OREGON_FEET)), always_xy=True).transform(lon, lat)
    official = Transformer.from_crs("EPSG:4152", OREGON_METRES, always_xy=True).transform(lon, lat)

    assert np.abs(np.array(ours) - official).max() < 1e-3


def test_heights_have_a_unit_of_their_own(tmp_path):
    """Plan in metres and heights in US survey feet, as a compound reference says."""
    xyz = bush() + np.array([500_000.0, 4_500_000.0, 10.0])
    own = xyz * [1, 1, 1 / US_FOOT]

    cloud = read_cloud(write_las(tmp_path / "a.las", own, crs="EPSG:26918+6360", scale=1e-5))

    assert np.abs(xyz - cloud.frame.to_map(cloud.xyz)).max() < 1e-5
    assert (cloud.frame.unit_m, cloud.frame.vertical_unit_m) == pytest.approx((1.0, US_FOOT))
    assert Reason("converted_to_metres", plan=Reason("unit_metres"), heights=Reason("unit_us_feet")) in cloud.notes


def test_geotiff_keys_without_wkt(tmp_path):
    """LAS 1.2 names its map by numbers; the same map comes out."""
    xyz = bush(500) + np.array([500_000.0, 5_200_000.0, 0.0])

    cloud = read_cloud(write_las(tmp_path / "a.las", xyz, version="1.2", point_format=3, crs="EPSG:25833"))

    assert cloud.frame.crs == "EPSG:25833"


def test_degrees_are_projected(tmp_path):
    """Longitude and latitude become UTM metres, as pyproj projects them, and `--at` in degrees finds the same place."""
    metres = bush(2000) + np.array([500_100.0, 5_200_000.0, 300.0])
    back = Transformer.from_crs("EPSG:32632", "EPSG:4326", always_xy=True)
    own = np.column_stack([*back.transform(metres[:, 0], metres[:, 1]), metres[:, 2]])

    cloud = read_cloud(write_las(tmp_path / "a.las", own, crs="EPSG:4326", scale=(1e-9, 1e-9, 1e-3), offset=(9, 46, 300)))

    assert cloud.frame.crs == "EPSG:32632"
    assert cloud.frame.in_degrees
    assert np.abs(metres - cloud.frame.to_map(cloud.xyz)).max() < 1e-3
    assert np.allclose(cloud.xyz[:5, :2], cloud.frame.own_to_local_xy(own[:5, :2]), atol=1e-3)
    assert Reason("projected_from_degrees", zone="WGS 84 / UTM zone 32N", crs="EPSG:32632") in cloud.notes


@pytest.mark.parametrize(
    ("lon", "lat", "epsg"),
    [(9.0, 47.0, 32632), (-94.67, 31.04, 32615), (151.2, -33.9, 32756), (-180.0, 10.0, 32601), (179.99, 10.0, 32660)],
)
def test_the_utm_zone_is_the_one_pyproj_names(lon, lat, epsg):
    """Zone and hemisphere, also at the date line."""
    from pyproj.aoi import AreaOfInterest
    from pyproj.database import query_utm_crs_info

    found = query_utm_crs_info(datum_name="WGS 84", area_of_interest=AreaOfInterest(lon, lat, lon, lat), contains=True)

    assert utm_zone_of(lon, lat).to_epsg() == epsg
    assert str(epsg) in {f.code for f in found}


@pytest.mark.parametrize("place", [(47.0, -122.0), (47.0, 151.0), (20.0, 88.0)])
def test_swapped_or_polar_degrees_are_refused(place):
    """Where latitude cannot be one, or no zone exists, the file is refused with the reason."""
    sample = np.array([[*place, 5.0]] * 3)

    with pytest.raises(BadInput, match=r"wrong way round|no UTM zone"):
        decide(Reference(CRS.from_epsg(4326)), sample, "file.las")


def test_longitude_and_latitude_named_in_a_header_line(tmp_path):
    """A CSV with columns lat, lon, height is in degrees, whatever the order of its columns."""
    path = tmp_path / "a.csv"
    rows = [f"{47 + 1e-6 * i:.7f},{9 + 2e-6 * i:.7f},{300 + 0.01 * i:.2f}" for i in range(100)]
    path.write_text("lat,lon,height\n" + "\n".join(rows) + "\n")

    cloud = read_cloud(path)

    assert cloud.frame.crs == "EPSG:32632"
    assert np.allclose(np.diff(cloud.frame.to_map(cloud.xyz)[:, :2], axis=0), [0.1519, 0.1112], atol=2e-3)


def test_earth_centred_coordinates_are_projected(tmp_path):
    """X, Y, Z from the centre of the earth become UTM plan and ellipsoidal height."""
    metres = bush(1000) + np.array([500_100.0, 5_200_000.0, 300.0])
    to = Transformer.from_crs("EPSG:32632", "EPSG:4979", always_xy=True)
    lon, lat = to.transform(metres[:, 0], metres[:, 1])
    own = np.column_stack(Transformer.from_crs("EPSG:4979", "EPSG:4978", always_xy=True).transform(lon, lat, metres[:, 2]))
    pose = (np.array([1.0, 0, 0, 0]), np.zeros(3))

    cloud = read_cloud(write_e57(tmp_path / "a.e57", [(own, *pose)], crs=CRS.from_epsg(4978).to_wkt()))

    assert np.abs(metres - cloud.frame.to_map(cloud.xyz)).max() < 1e-3


def test_an_unknown_map_is_a_local_frame(tmp_path):
    """Without a reference nothing is guessed: metres, local, and both are said."""
    cloud = read_cloud(write_text(tmp_path / "a.xyz", bush(500)))

    assert cloud.frame.crs is None
    assert (cloud.frame.origin == 0.0).all()
    assert has(cloud.notes, "no_unit_stated")
    assert has(cloud.notes, "no_map")


def test_a_reference_that_is_not_understood_is_kept_as_text():
    """Nonsense in place of a reference leaves a local frame and the text."""
    reference = Reference(None, "LOCAL_CS[nonsense]", trouble=Reason("reference_not_understood", said="LOCAL_CS[nonsense]"))

    found = decide(reference, bush(50), "f")

    assert found.frame.crs is None
    assert found.frame.file_crs == "LOCAL_CS[nonsense]"
    assert has(found.notes, "reference_not_understood")


@pytest.mark.parametrize(("unit", "metres"), [("ft", FOOT), ("us-ft", US_FOOT), ("mm", 0.001), ("cm", 0.01)])
def test_the_user_may_state_the_unit(tmp_path, unit, metres):
    """A unit given by the user is used for plan and heights, and said."""
    xyz = bush(500)

    cloud = read_cloud(write_las(tmp_path / "a.las", xyz / metres, scale=1e-5 / metres), unit=unit)

    assert np.allclose(xyz, cloud.frame.to_map(cloud.xyz), atol=1e-4)
    assert has(cloud.notes, "unit_from_user")


def test_degrees_without_a_reference_are_a_doubt(tmp_path):
    """A needle of thousandths by thousandths by twelve is probably in degrees: said, not converted."""
    xyz = bush(500) * [1e-5, 1e-5, 1.0] + np.array([9.0, 47.0, 0.0])

    assert has(read_cloud(write_las(tmp_path / "a.las", xyz, scale=1e-8, offset=(9, 47, 0))).notes, "perhaps_degrees")


@pytest.mark.parametrize("epsg", [25832, 2154, 27700, 2263, 4326])
def test_known_systems_are_named_by_number(epsg):
    """WKT of a known system is recognised, in the old dialect too."""
    crs = CRS.from_epsg(epsg)

    assert crs_text(CRS.from_wkt(crs.to_wkt())) == f"EPSG:{epsg}"
    assert crs_text(CRS.from_wkt(crs.to_wkt("WKT1_GDAL"))) == f"EPSG:{epsg}"
