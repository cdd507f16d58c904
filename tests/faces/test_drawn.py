"""Site plans and work drawn in a GIS land where they were drawn."""

from __future__ import annotations

import json

import numpy as np
import pytest
from hands import plain_tree
from pyproj import Transformer
from shapely.geometry import Polygon
from strategies import alone

from treescan.cloud.point_cloud import LOCAL, Frame
from treescan.errors import BadInput
from treescan.faces.user_files.drawn import read_drawn_work, read_site
from treescan.geometry import drawn_rings, inside, ring_edges
from treescan.outputs.text.say import say
from treescan.planning.reach.clearances import conductors
from treescan.planning.work.piece_room import plan_distance
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
    assert how[0].code == "read_as_own_coordinates"


def test_longitude_and_latitude_land_on_the_map(tmp_path):
    """RFC 7946 coordinates are projected into the cloud's system; oracle: pyproj."""
    lon, lat = Transformer.from_crs("EPSG:25832", "EPSG:4326", always_xy=True).transform(512010.0, 5412005.0)
    points, areas, how = read_drawn_work(
        drawn(tmp_path, ({"name": "tip", "height_m": 7.5}, {"type": "Point", "coordinates": [lon, lat]})), FRAME, GROUND
    )

    xyz, label, _ = points[0]
    np.testing.assert_allclose(xyz, [10.0, 5.0, 17.5], atol=1e-3)
    assert (label, areas) == ("tip", [])
    assert (how[0].code, how[0]["system"]) == ("read_as_system", "EPSG:4326")


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


def test_what_is_said_of_the_wires_the_scan_saw(tmp_path):
    """An area says none (0 kV) or a voltage; the later one counts where both lie; one that says nothing is refused."""
    plan = drawn(
        tmp_path,
        ({"kind": "wires-seen", "voltage_kv": 0.23}, square(512010.0, 5412005.0, 4.0)),
        ({"kind": "wires-seen", "voltage_kv": 0}, square(512010.0, 5412005.0, 1.0)),
    )
    site, _ = read_site(plan, FRAME, GROUND)
    seen = site.wire_volts(np.array([[10.0, 5, 8], [13, 5, 8], [30, 5, 8]]))

    np.testing.assert_array_equal(seen, [0.0, 230.0, np.nan])
    with pytest.raises(BadInput, match="voltage_kv"):
        read_site(drawn(tmp_path, ({"kind": "wires-seen"}, square(512010.0, 5412005.0))), FRAME, GROUND)


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


LINE = {"type": "LineString", "coordinates": [[512000, 5412000], [512020, 5412000]]}


def raised(*z):
    return {"type": "LineString", "coordinates": [[512000 + 20 * i, 5412000, *([] if h is None else [h])] for i, h in enumerate(z)]}


@pytest.mark.parametrize("z", [(0, 0), (-9999, -9999), (0, -9999), (0, None)])
def test_a_conductor_drawn_at_zero_uses_its_height(tmp_path, z):
    """z = 0, as a GIS exports it, or its no-data figure: height_m counts; it vanished below ground before."""
    site, _ = read_site(drawn(tmp_path, ({"kind": "conductor", "height_m": 10}, raised(*z))), FRAME, GROUND)

    np.testing.assert_allclose(site.conductors[0].line[:, 2], 20.0)


@pytest.mark.parametrize(
    ("properties", "z", "words"),
    [
        ({}, (0, 0), "z = 0"),
        ({}, (205, 206), "at or below ground"),
        ({}, (400, 400), "higher than 120 m above ground"),
        ({}, (215, None), "some of its places have a height and some have none"),
        ({"height_m": 0}, (None, None), "at or below ground"),
        ({"height_m": -6}, (None, None), "at or below ground"),
        ({"height_m": 600}, (None, None), "higher than 120 m above ground"),
        ({"height_m": 10}, (240, 240), "its z puts it 30.0 m above ground, its height_m says 10.0 m"),
        ({"height_m": True}, (None, None), "not a number"),
        ({"height_m": "6 m"}, (None, None), "rite height_m as a bare number"),
        ({"height_m": float("nan")}, (None, None), "not a number"),
        ({"height_m": 6, "voltage_kv": -20}, (None, None), "voltage_kv is -20"),
        ({"height_m": 6, "voltage_kv": 20000}, (None, None), "kilovolts"),
        ({"height_m": 6, "voltage_kv": float("inf")}, (None, None), "not a number"),
    ],
)
def test_a_conductor_that_cannot_be_meant_is_refused_by_name(tmp_path, properties, z, words):
    """File, feature, kind and name, fault and remedy in one sentence."""
    with pytest.raises(BadInput) as caught:
        read_site(drawn(tmp_path, ({"kind": "conductor", "name": "mill line", **properties}, raised(*z))), FRAME, GROUND)

    sentence = caught.value.sentence()
    assert words in sentence and 'feature 1 (conductor "mill line")' in sentence and "drawn.geojson" in sentence and caught.value.remedy


def test_height_above_sea_and_above_ground_are_told_apart_and_said(tmp_path):
    """Ground lies 210 m above sea: z 16 can only be above ground, z 226 only above sea; both say so with their figures."""
    site, notes = read_site(drawn(tmp_path, ({"kind": "conductor", "name": "a"}, raised(16, 17)), ({"kind": "conductor"}, raised(226, 227))), FRAME, GROUND)

    np.testing.assert_allclose([c.line[:, 2] for c in site.conductors], [[26, 27], [26, 27]])
    assert [n.code for n in notes[1:]] == ["height_above_ground", "height_above_sea"]
    assert (notes[1]["name"], notes[1]["low"], notes[1]["high"], notes[2]["name"]) == ("a", 16.0, 17.0, None)
    assert "“a”" in say(notes[1]) and "16.0 m" in say(notes[1])


def test_a_z_that_agrees_with_its_height_keeps_its_shape(tmp_path):
    """Both stated and within 2 m: the line keeps its own sag."""
    site, _ = read_site(drawn(tmp_path, ({"kind": "conductor", "height_m": 6}, raised(216.5, 215.0))), FRAME, GROUND)

    np.testing.assert_allclose(site.conductors[0].line[:, 2], [16.5, 15.0])


def test_numbers_as_text_null_and_zero(tmp_path):
    """A bare number as text is a number; null and 0 kV are unknown voltages; a null name is none."""
    site, _ = read_site(
        drawn(
            tmp_path,
            ({"kind": "conductor", "height_m": "6.5", "voltage_kv": "20"}, LINE),
            ({"kind": "conductor", "height_m": 6, "voltage_kv": None, "name": None}, LINE),
            ({"kind": "conductor", "height_m": 6, "voltage_kv": 0}, LINE),
        ),
        FRAME,
        GROUND,
    )

    assert site.conductors[0].voltage == 20_000 and site.conductors[0].line[0, 2] == 16.5
    assert all(np.isnan(c.voltage) and c.name == "" for c in site.conductors[1:])


def test_holes_of_an_area_are_kept(tmp_path):
    """A place in the hole is outside, one in the ring inside; oracle: distances from the middle."""
    ring = square(512010.0, 5412005.0, 5.0)["coordinates"] + square(512010.0, 5412005.0, 2.0)["coordinates"]
    site, _ = read_site(drawn(tmp_path, ({"kind": "no-stand", "name": "bed"}, {"type": "Polygon", "coordinates": ring})), FRAME, GROUND)
    xy = np.random.default_rng(1).uniform([3, -2], [17, 12], (500, 2))
    away = np.abs(xy - [10, 5]).max(axis=1)

    np.testing.assert_array_equal(inside(site.no_stand[0], xy), (away < 5) & (away > 2))


def test_names_of_areas_and_conductors_are_kept(tmp_path):
    """Every area and conductor carries its name letter for letter."""
    site, _ = read_site(
        drawn(
            tmp_path,
            ({"kind": "road", "name": "Beech <Lane|Road>"}, square(512010.0, 5412005.0)),
            ({"kind": "road"}, square(512020.0, 5412005.0)),
            ({"kind": "water", "name": "mill race"}, square(512010.0, 5412015.0)),
            ({"kind": "conductor", "name": "mill line", "height_m": 6}, LINE),
        ),
        FRAME,
        GROUND,
    )

    assert [(a.kind, a.name) for a in site.areas()] == [("water", "mill race"), ("road", "Beech <Lane|Road>"), ("road", "")]
    (wire,) = conductors(site, alone(plain_tree()))
    assert "“mill line”" in say(wire.name)


def test_a_line_a_little_under_ground_is_refused_and_not_hung_up_in_the_air(tmp_path):
    """The ground lies at 210 m above sea. A wire at z = 207 hangs 3 m under it and not 207 m over it; at z = 9 it hangs 9 m over ground, and that is said;
    at z = 57 nobody knows what is meant."""
    wire = {"kind": "conductor", "name": "mill line"}

    def read(z, frame=FRAME, ground=GROUND):
        line = {"type": "LineString", "coordinates": [[512000, 5412000, z], [512020, 5412000, z]]}
        return read_site(drawn(tmp_path, (wire, line)), frame, ground)

    site, notes = read(9.0)
    assert site.conductors[0].line[:, 2] == pytest.approx(19.0)
    assert notes[1].code == "height_above_ground"
    with pytest.raises(BadInput, match=r"mill line.*-3.0 m above ground"):
        read(207.0)
    with pytest.raises(BadInput, match=r"mill line.*-153.0 m above ground.*height_m"):
        read(57.0)
    low = Frame(np.array([512000.0, 5412000.0, 0.0]), "EPSG:25832")  # ground at 10 m: z = 8 would be 8 m over it, or 2 m under it
    with pytest.raises(BadInput, match=r"-2.0 m above ground.*height_m"):
        read(8.0, low)


def test_a_stated_height_that_agrees_with_z_asks_for_nothing(tmp_path):
    """z 219 over ground at 210 and height_m 9 say the same: no note asks to write height_m."""
    line = {"type": "LineString", "coordinates": [[512000, 5412000, 219], [512020, 5412000, 219]]}
    _, notes = read_site(drawn(tmp_path, ({"kind": "conductor", "height_m": 9}, line)), FRAME, GROUND)

    assert [n.code for n in notes] == ["read_as_own_coordinates"]


def test_swapped_axes_and_degrees_near_the_origin_are_named(tmp_path):
    """A local grid whose x and y differ by less than 5 km: swapped, it lies 2.8 km off, and the remedy says so; degrees likewise."""
    frame = Frame(np.array([3000.0, 5000.0, 48.0]), None)
    wire = {"kind": "conductor", "height_m": 6}
    for at, said in (((5000.0, 3000.0), "x and y swapped"), ((-1.5, 52.1), "longitude and latitude")):
        line = {"type": "LineString", "coordinates": [[*at], [at[0] + 20, at[1]]]}
        with pytest.raises(BadInput, match=said):
            read_site(drawn(tmp_path, (wire, line)), frame, Terrain.flat(0.0))


def with_a_hole(reverse=False):
    """A square of 40 m with a hole of 20 m in its middle, whose first place is the farthest from the cut that joins both rings."""
    outer = square(512010.0, 5412005.0, 20.0)["coordinates"][0]
    hole = square(512010.0, 5412005.0, 10.0)["coordinates"][0]
    hole = [*hole[2:], *hole[1:3]]
    return {"type": "Polygon", "coordinates": [outer, hole[::-1] if reverse else hole]}


@pytest.mark.parametrize("reverse", [False, True])
def test_the_cut_that_joins_a_hole_to_its_ring_is_no_edge(tmp_path, reverse):
    """In the middle of the hole the area is 10 m away, half-way to its corner 5 m, though the cut runs through there; both rings come back."""
    site, _ = read_site(drawn(tmp_path, ({"kind": "building"}, with_a_hole(reverse))), FRAME, GROUND)
    (area,) = site.areas()
    outer, hole = drawn_rings(area.ring)

    assert plan_distance(area.ring, np.array([10.0, 5.0])) == pytest.approx(10.0)
    assert plan_distance(area.ring, np.array([5.0, 0.0])) == pytest.approx(5.0)
    assert plan_distance(area.ring, np.array([25.0, 5.0])) == 0.0
    assert plan_distance(area.ring, np.array([40.0, 5.0])) == pytest.approx(10.0)
    shape = Polygon(outer, [hole])
    assert shape.is_valid and shape.area == pytest.approx(40.0**2 - 20.0**2)
    assert shape.exterior.is_ccw and not shape.interiors[0].is_ccw


def test_a_ring_left_open_is_the_same_ring():
    """Three corners, or three and the first again: the same edges."""
    corners = [[0.0, 0.0], [4.0, 0.0], [4.0, 3.0]]
    for ring in (corners, [*corners, corners[0]]):
        start, end = ring_edges(ring)
        assert np.linalg.norm(end - start, axis=1).sum() == pytest.approx(12.0)
        assert plan_distance(np.array(ring), np.array([0.0, 3.0])) == pytest.approx(2.4)


def test_what_lies_far_off_is_refused_by_name(tmp_path):
    """600 m off, 6 km off, and swapped axes: each its own sentence; a line that only runs far away through the site is kept."""
    off = {"type": "LineString", "coordinates": [[512600, 5412000], [512620, 5412000]]}
    through = {"type": "LineString", "coordinates": [[511000, 5412000], [513000, 5412000]]}
    lost = {"type": "LineString", "coordinates": [[518000, 5412000], [518020, 5412000]]}
    wire = {"kind": "conductor", "height_m": 6}
    with pytest.raises(BadInput) as caught:
        read_site(drawn(tmp_path, (wire, off), (wire, through)), FRAME, GROUND)
    assert "feature 1 (conductor) lies 600 m from the middle of the scan" in caught.value.sentence()
    with pytest.raises(BadInput, match=r"feature 2 .*more than 5 km"):
        read_site(drawn(tmp_path, (wire, LINE), (wire, lost)), FRAME, GROUND)
    lon, lat = Transformer.from_crs("EPSG:25832", "EPSG:4326", always_xy=True).transform(512010.0, 5412005.0)
    swapped = {"type": "LineString", "coordinates": [[lat, lon], [lat, lon + 1e-4]]}
    with pytest.raises(BadInput, match=r"longitude\) before y .*latitude"):
        read_site(drawn(tmp_path, (wire, swapped)), FRAME, GROUND)


def test_degrees_on_a_cloud_without_coordinates_are_not_taken_for_metres(tmp_path):
    """A line in longitude and latitude would lie as a dot some 50 m from the tree."""
    line = {"type": "LineString", "coordinates": [[9.16, 48.86], [9.1601, 48.8601]]}
    with pytest.raises(BadInput, match="longitude and latitude"):
        read_site(drawn(tmp_path, ({"kind": "conductor", "height_m": 6}, line)), LOCAL, GROUND)


def test_all_faults_are_told_in_one_go(tmp_path):
    """Three faulty features of five: all three by number."""
    with pytest.raises(BadInput) as caught:
        read_site(
            drawn(
                tmp_path,
                ({"kind": "moat"}, square(512010.0, 5412005.0)),
                ({"kind": "road"}, square(512010.0, 5412005.0)),
                ({"kind": "conductor"}, LINE),
                ({"kind": "conductor", "height_m": 6}, LINE),
                ({"kind": "anchor", "height_m": "high"}, {"type": "Point", "coordinates": [512010.0, 5412005.0]}),
            ),
            FRAME,
            GROUND,
        )

    sentence = caught.value.sentence()
    assert "3 faults" in sentence and all(f"feature {n} " in sentence for n in (1, 3, 5))


WIRE = '{"type":"Feature","properties":{"kind":"conductor","height_m":%s},"geometry":{"type":"LineString","coordinates":%s}}'


@pytest.mark.parametrize(
    ("feature", "words"),
    [
        ("1", "not a feature"),
        ('{"type":"Feature","properties":{"kind":"road"},"geometry":{"type":5,"coordinates":[]}}', "geometry is 5"),
        ('{"type":"Feature","properties":[1],"geometry":null}', "not names with values"),
        ('{"type":"Feature","properties":{"kind":"road"},"geometry":null}', "has no geometry"),
        ('{"type":"Feature","properties":{"kind":[]},"geometry":{"type":"Point","coordinates":[1,1]}}', "has kind []"),
        ('{"type":"Feature","properties":{"kind":"anchor","height_m":NaN},"geometry":{"type":"Point","coordinates":[3,3]}}', "not a number"),
        (WIRE % ('"6 m"', "[[-9,1],[9,1]]"), "not a number"),
        (WIRE % ("6", "[]"), "no coordinates"),
        (WIRE % ("NaN", "[[-9,1],[9,1]]"), "not a number"),
        (WIRE % ("6", '[["-9",1],[9,1]]'), "place 1"),
        (WIRE % ("6", "[[-9,NaN],[9,1]]"), "place 1"),
        (WIRE % ("6", "[[-9,1]]"), "needs 2"),
    ],
)
def test_odd_types_give_one_sentence(tmp_path, feature, words):
    """Files that gave tracebacks, and one a segmentation fault (NaN): feature and remedy named."""
    path = tmp_path / "odd.geojson"
    path.write_text('{"type":"FeatureCollection","features":[' + feature + "]}")
    with pytest.raises(BadInput) as caught:
        read_site(path, LOCAL, GROUND)

    assert words in caught.value.sentence() and "feature 1" in caught.value.sentence() and caught.value.remedy


@pytest.mark.parametrize("text", ["[" * 200_000, '{"type":"FeatureCollection","crs":{"properties":[1]},"features":[%s]}' % (WIRE % ("6", "[[-9,1],[9,1]]")), "[]", '{"features":{}}'])
def test_a_file_of_odd_types_gives_one_sentence(tmp_path, text):
    """Nested too deep, a nameless coordinate system, no list of features."""
    path = tmp_path / "odd.geojson"
    path.write_text(text)
    with pytest.raises(BadInput, match=r"odd\.geojson"):
        read_site(path, LOCAL, GROUND)
