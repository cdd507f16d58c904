"""RFC 7946, "The GeoJSON Format" (IETF, August 2016): each rule of sections 3, 4 and 7 that a writer can break, checked on our file."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest

sys.path.append(str(Path(__file__).parent.parent / "outputs"))

from made_up_assessment import made_up

from treescan.outputs.gis.map_files import geojson_bytes

TYPES = {"Point": 0, "LineString": 1, "Polygon": 2}
"""Geometry types used, with the depth of their coordinates."""


@pytest.fixture(scope="module")
def content() -> dict[str, Any]:
    return json.loads(geojson_bytes(made_up()) or b"")


def positions(geometry: dict[str, Any]) -> list[list[float]]:
    c = geometry["coordinates"]
    return [c] if geometry["type"] == "Point" else c if geometry["type"] == "LineString" else [p for ring in c for p in ring]


def test_the_text_is_utf8_json_without_a_byte_order_mark_and_without_doubled_names() -> None:
    """Section 1: I-JSON is asked for: UTF-8, finite numbers, unique member names."""

    def unique(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        assert len({k for k, _ in pairs}) == len(pairs)
        return dict(pairs)

    def refuse(word: str) -> None:
        raise AssertionError(word)

    data = geojson_bytes(made_up()) or b""
    assert not data.startswith(b"\xef\xbb\xbf")
    json.loads(data.decode("utf-8"), object_pairs_hook=unique, parse_constant=refuse)


def test_objects_have_their_members_and_no_forbidden_ones(content: dict[str, Any]) -> None:
    """Sections 3.2, 3.3, 7.1: collection and features with their members; no "coordinates", "geometry" or "properties" where they do not belong."""
    assert content["type"] == "FeatureCollection" and isinstance(content["features"], list) and content["features"]
    assert not {"coordinates", "geometries", "geometry", "properties"} & set(content)
    for f in content["features"]:
        assert f["type"] == "Feature" and {"geometry", "properties"} <= set(f)
        assert not {"coordinates", "geometries", "features"} & set(f)
        assert isinstance(f["properties"], dict) and f["geometry"]["type"] in TYPES
        assert not {"geometry", "properties", "features"} & set(f["geometry"])


def test_no_other_system_is_named_and_positions_are_degrees(content: dict[str, Any]) -> None:
    """Section 4: WGS84, longitude before latitude, "crs" gone; section 3.1.1: two or three numbers a position."""
    assert "crs" not in content
    for f in content["features"]:
        assert "crs" not in f and "crs" not in f["geometry"]
        for p in positions(f["geometry"]):
            assert len(p) in (2, 3) and all(isinstance(v, (int, float)) and not isinstance(v, bool) for v in p)
            assert -180 <= p[0] <= 180 and -90 <= p[1] <= 90


def test_lines_and_rings_are_as_long_closed_and_wound_as_asked(content: dict[str, Any]) -> None:
    """Sections 3.1.4 and 3.1.6: lines of two or more positions; rings of four or more, closed, outer rings counter-clockwise."""
    for f in content["features"]:
        geometry = f["geometry"]
        if geometry["type"] == "LineString":
            assert len(geometry["coordinates"]) >= 2
        if geometry["type"] == "Polygon":
            assert len(geometry["coordinates"]) == 1
            for ring in geometry["coordinates"]:
                xy = np.array(ring)[:, :2]
                assert len(ring) >= 4 and ring[0] == ring[-1]
                assert np.sum(xy[:-1, 0] * xy[1:, 1] - xy[1:, 0] * xy[:-1, 1]) > 0


def test_precision_is_useful_but_not_false(content: dict[str, Any]) -> None:
    """Section 11.2 warns of needless digits: eight decimals of a degree (about 1 mm), three of a metre."""
    for f in content["features"]:
        for p in positions(f["geometry"]):
            assert p[:2] == [round(v, 8) for v in p[:2]] and all(v == round(v, 3) for v in p[2:])
