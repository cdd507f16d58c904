"""Site plans and work drawn in a GIS land where they were drawn."""

from __future__ import annotations

import json

import numpy as np
import pytest
from pyproj import Transformer

from treescan.cloud.point_cloud import Frame
from treescan.errors import BadInput
from treescan.faces.user_files.drawn import read_drawn_work, read_site
from treescan.trees.beside import Terrain

FRAME = Frame(np.array([512000.0, 5412000.0, 200.0]), "EPSG:25832")
GROUND = Terrain.flat(10.0)


def drawn(tmp_path, *features, **top):
    path = tmp_path / "drawn.geojson"
    listed = [{"type": "Feature", "properties": p, "geometry": g} for p, g in features]
    path.write_text(json.dumps({"type": "FeatureCollection", "features": listed, **top}))
    return path


def square(x, y, half=2.0):
    return {"type": "Polygon", "coordinates": [[[x - half, y - half], [x + half, y - half], [x + half, y + half], [x - half, y + half], [x - half, y - half]]]}


def test_an_area_in_the_clouds_own_coordinates(tmp_path):
    """A polygon in map coordinates comes back in local metres, and the reader says how it read it."""
    site, how = read_site(drawn(tmp_path, ({"kind": "building"}, square(512010.0, 5412005.0))), FRAME, GROUND)

    np.testing.assert_allclose(site.buildings[0].mean(axis=0), [9.6, 4.6], atol=0.5)
    assert how.code == "read_as_own_coordinates"


def test_longitude_and_latitude_land_on_the_map(tmp_path):
    """RFC 7946 coordinates are projected into the cloud's system; oracle: pyproj."""
    lon, lat = Transformer.from_crs("EPSG:25832", "EPSG:4326", always_xy=True).transform(512010.0, 5412005.0)
    points, areas, how = read_drawn_work(
        drawn(tmp_path, ({"name": "tip", "height_m": 7.5}, {"type": "Point", "coordinates": [lon, lat]})), FRAME, GROUND
    )

    xyz, label, _ = points[0]
    np.testing.assert_allclose(xyz, [10.0, 5.0, 17.5], atol=1e-3)
    assert (label, areas) == ("tip", [])
    assert (how.code, how["system"]) == ("read_as_system", "EPSG:4326")


def test_a_cloud_in_feet_takes_drawings_in_feet(tmp_path):
    """The cloud's own coordinates are in its own unit."""
    frame = Frame(np.array([1000.0, 2000.0, 0.0]), None, 0.3048, 0.3048)
    site, _ = read_site(drawn(tmp_path, ({"kind": "no-stand"}, square((1000.0 + 3.048) / 0.3048, (2000.0 + 6.096) / 0.3048))), frame, GROUND)

    ring = site.no_stand[0]
    np.testing.assert_allclose((ring.min(axis=0) + ring.max(axis=0)) / 2, [3.048, 6.096], atol=1e-6)
    np.testing.assert_allclose(np.ptp(ring, axis=0), 4 * 0.3048, atol=1e-6)


def test_a_conductor_keeps_heights_and_voltage(tmp_path):
    """z of the file, or height above ground; voltage in volts, NaN when it is not given."""
    line = {"type": "LineString", "coordinates": [[512000, 5412000], [512020, 5412000]]}
    raised = {"type": "LineString", "coordinates": [[512000, 5412000, 215], [512020, 5412000, 214]]}
    site, _ = read_site(
        drawn(tmp_path, ({"kind": "conductor", "height_m": 6, "voltage_kv": 11}, line), ({"kind": "conductor"}, raised)), FRAME, GROUND
    )

    np.testing.assert_allclose(site.conductors[0].line[:, 2], 16.0)
    assert site.conductors[0].voltage == 11_000
    np.testing.assert_allclose(site.conductors[1].line[:, 2], [15.0, 14.0])
    assert np.isnan(site.conductors[1].voltage)


@pytest.mark.parametrize(
    ("features", "top", "words"),
    [
        ([({"kind": "moat"}, square(512000, 5412000))], {}, "moat"),
        ([({}, square(512000, 5412000))], {}, "kind"),
        ([({"kind": "road"}, {"type": "Point", "coordinates": [512000, 5412000]})], {}, "polygons"),
        ([({"kind": "conductor"}, {"type": "LineString", "coordinates": [[512000, 5412000], [512001, 5412000]]})], {}, "height"),
        ([({"kind": "conductor", "height_m": 5, "voltage_kv": "high"}, {"type": "LineString", "coordinates": [[512000, 5412000], [512001, 5412000]]})], {}, "voltage_kv"),
        ([({"kind": "road"}, square(0.0, 60.0, 0.001))], {}, "5 km"),
        ([({"kind": "road"}, square(512000, 5412000))], {"crs": {"type": "name", "properties": {"name": "EPSG:99999999"}}}, "coordinate system"),
        ([({"kind": "road"}, {"type": "Polygon", "coordinates": []})], {}, "geometry"),
        ([], {}, "no feature"),
    ],
)
def test_a_faulty_drawing_gives_one_clear_sentence(tmp_path, features, top, words):
    """The file, the feature and the remedy are named."""
    with pytest.raises(BadInput, match=words):
        read_site(drawn(tmp_path, *features, **top), FRAME, GROUND)


def test_an_anchor_in_a_neighbouring_tree(tmp_path):
    """A point of kind "anchor" becomes a named place with its height above ground; a polygon of that kind is refused."""
    point = {"type": "Point", "coordinates": [512006.0, 5412004.0]}
    site, _ = read_site(drawn(tmp_path, ({"kind": "anchor", "name": "beech", "height_m": 12.0}, point)), FRAME, GROUND)

    assert site.anchors[0][0] == "beech"
    np.testing.assert_allclose(site.anchors[0][1], [6.0, 4.0, 22.0], atol=1e-6)
    with pytest.raises(BadInput, match="anchor"):
        read_site(drawn(tmp_path, ({"kind": "anchor"}, square(512010.0, 5412005.0))), FRAME, GROUND)


def test_a_base_for_basal_lines(tmp_path):
    """A point of kind "base" becomes a named place, a metre above ground unless it states its height; a line of that kind is refused."""
    point = {"type": "Point", "coordinates": [512006.0, 5412004.0]}
    high = {"type": "Point", "coordinates": [512001.0, 5412004.0, 212.5]}
    site, _ = read_site(drawn(tmp_path, ({"kind": "base", "name": "the ash"}, point), ({"kind": "base"}, high)), FRAME, GROUND)

    assert [name for name, _ in site.bases] == ["the ash", "base 2"]
    np.testing.assert_allclose([place for _, place in site.bases], [[6.0, 4.0, 11.0], [1.0, 4.0, 12.5]], atol=1e-6)
    assert site.anchors == ()
    with pytest.raises(BadInput, match="base"):
        read_site(drawn(tmp_path, ({"kind": "base"}, square(512010.0, 5412005.0))), FRAME, GROUND)
