"""Shapefiles and styles: complete zip, short names explained, the same coordinates by other programs, styles that fit the data."""

from __future__ import annotations

import csv
import io
import json
import re
import shutil
import subprocess
import zipfile
from pathlib import Path
from xml.etree import ElementTree

import geopandas
import numpy as np
import pandas
import pytest
from made_up_assessment import made_up

from treescan.assess import Assessment
from treescan.cautions import CAUTIONS, all_cautions
from treescan.outputs.gis.gis_layers import layers, tree_id
from treescan.outputs.gis.map_files import geojson_bytes, geopackage_bytes
from treescan.outputs.gis.map_styles import LOOKS, qml, sld
from treescan.outputs.gis.shapefiles import SHORT, fitting, shapefile_bytes, spread


@pytest.fixture(scope="module")
def good() -> Assessment:
    return made_up()


@pytest.fixture(scope="module")
def maps(good: Assessment, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("maps")
    (folder / "site_shapefile.zip").write_bytes(shapefile_bytes(good))
    (folder / "site.gpkg").write_bytes(geopackage_bytes(good))
    (folder / "site.geojson").write_bytes(geojson_bytes(good) or b"")
    return folder


def test_the_zip_holds_every_layer_with_its_sidecars_and_the_cautions(good: Assessment, maps: Path) -> None:
    """Each layer has table, index, system, code page and both styles; all cautions stand in a text file beside them."""
    with zipfile.ZipFile(maps / "site_shapefile.zip") as archive:
        names = set(archive.namelist())
        text = archive.read("CAUTIONS.txt").decode()
        fields = list(csv.reader(io.StringIO(archive.read("fields.csv").decode())))[1:]
    for layer in layers(good):
        assert {f"{layer.name}.{e}" for e in ("shp", "shx", "dbf", "prj", "cpg", "qml", "sld")} <= names
        assert {(layer.name, n) for n in fitting(layer).columns} == {(r[0], r[2]) for r in fields if r[0] == layer.name}
    assert all(c in text for c in all_cautions())


def test_field_names_fit_a_shapefile_and_stay_apart(good: Assessment) -> None:
    """At most ten characters each, plain letters, and no two alike in one layer."""
    for layer in layers(good):
        short = [SHORT.get(n, n) for n in fitting(layer).columns] + ["caution_2"]
        assert all(re.fullmatch(r"[a-z][a-z0-9_]{0,9}", n) for n in short), layer.name
        assert len(set(short)) == len(short)


def test_the_shapefile_reads_back_to_a_millimetre_with_its_values(good: Assessment, maps: Path) -> None:
    """A general vector library gives the same places, the same figures, and the caution over two fields in full."""
    frame = geopandas.read_file(f"zip://{maps / 'site_shapefile.zip'}!anchors.shp")
    assert frame.crs.to_epsg() == 25832
    expected = good.tree.graph.unions.place[[p.union for p in good.points]] + good.tree.frame.origin
    np.testing.assert_allclose([g.coords[0] for g in frame.geometry], expected, atol=1e-3)
    assert list(frame["union"]) == [p.label for p in good.points]
    assert list(frame["rank"].dropna().astype(int)) == [p.rank for p in good.points if p.usable]
    known = [(p.check.check.margin.p5, v) for p, v in zip(good.points, frame["margin_p5"], strict=True) if p.check.check.margin.known]
    np.testing.assert_allclose([v for _, v in known], [m for m, _ in known], rtol=1e-5)
    assert set(frame["caution"] + " " + frame["caution_2"]) == {CAUTIONS["planning_aid"]}


def test_no_text_is_cut(good: Assessment, tmp_path: Path) -> None:
    """A text too long for a field goes on in the next ones, in whole characters; all of it comes back."""
    from dataclasses import replace

    from treescan.outputs.gis.shapefiles import _parts

    parts = _parts("é" * 200)
    assert "".join(parts) == "é" * 200 and max(len(p.encode()) for p in parts) <= 254
    anchors = next(layer for layer in layers(good) if layer.name == "anchors")
    told = " ".join(f"word{i}" for i in range(200))
    long = fitting(replace(anchors, columns=anchors.columns | {"reasons": [told] * len(anchors.shapes)}))
    held = spread(long).columns
    pieces = [held[n] for n in held if n.startswith("reasons")]
    assert len(pieces) > 3 and {" ".join(row) for row in zip(*pieces, strict=True)} == {told}


def test_the_same_field_has_the_same_name_and_type_in_every_map_file(good: Assessment, maps: Path) -> None:
    """The tree's name stands in every layer; whole numbers are whole in each; zones and conductors keep their names in GeoJSON."""
    import pyogrio

    features = json.loads((maps / "site.geojson").read_text())["features"]
    for layer in layers(good):
        there = pyogrio.read_info(maps / "site.gpkg", layer=layer.name)
        kinds = dict(zip(there["fields"], there["dtypes"], strict=True))
        shp = pyogrio.read_info(f"zip://{maps / 'site_shapefile.zip'}!{layer.name}.shp")
        short = dict(zip(shp["fields"], shp["dtypes"], strict=True))
        assert set(layer.columns["tree"]) == {tree_id(good)}
        for name, values in layer.columns.items():
            held = [v for v in values if v is not None]
            whole = bool(held) and all(type(v) is int for v in held)
            if held and not name.endswith("_data"):
                assert kinds[name].startswith("int") == whole, (layer.name, name)
                if not all(type(v) is bool for v in held):
                    assert short[SHORT.get(name, name)].startswith("int") == whole, (layer.name, name)
        for f in (f for f in features if f["properties"]["layer"] == layer.name):
            assert set(layer.columns) <= set(f["properties"])
    for name in ("zones", "conductors"):
        layer = next(m for m in layers(good) if m.name == name)
        assert [f["properties"]["name"] for f in features if f["properties"]["layer"] == name] == layer.columns["name"]


def test_without_a_known_system_no_projection_file_is_written() -> None:
    """A local frame is left without a system rather than put somewhere."""
    with zipfile.ZipFile(io.BytesIO(shapefile_bytes(made_up(crs=None, origin=(0.0, 0.0, 0.0))))) as archive:
        assert not [n for n in archive.namelist() if n.endswith(".prj")]


def test_maps_have_no_clock_in_them(good: Assessment, maps: Path) -> None:
    """A second run gives the same bytes."""
    assert shapefile_bytes(made_up()) == (maps / "site_shapefile.zip").read_bytes()


@pytest.mark.skipif(shutil.which("ogr2ogr") is None, reason="no ogr2ogr on this machine")
@pytest.mark.parametrize("name", ["site.gpkg", "site_shapefile.zip", "site.geojson"])
def test_command_line_tools_read_the_same_coordinates(good: Assessment, maps: Path, tmp_path: Path, name: str) -> None:
    """ogr2ogr turns every layer into a table of points and lines whose coordinates are ours to 1 mm, GeoJSON back in the cloud's system."""
    source = f"/vsizip/{maps / name}" if name.endswith(".zip") else str(maps / name)
    by_name = {layer.name: layer for layer in layers(good)}
    for layer in ("anchors", "standing", "throws", "stem"):
        out = tmp_path / f"{layer}.csv"
        which = ["site", "-where", f"layer='{layer}'"] if name.endswith(".geojson") else [layer]
        ask = ["ogr2ogr", "-f", "CSV", str(out), source, *which, "-lco", "GEOMETRY=AS_WKT", "-t_srs", "EPSG:25832"]
        subprocess.run(ask, check=True, capture_output=True)
        rows = pandas.read_csv(out)["WKT"]
        assert len(rows) == len(by_name[layer].shapes)
        for text, shape in zip(rows, by_name[layer].shapes, strict=True):
            back = np.array([[float(v) for v in part.split()] for part in re.findall(r"[-\d.]+ [-\d.]+ [-\d.]+", text)])
            np.testing.assert_allclose(back, np.array(shape.coords), atol=1.5e-3 if name.endswith(".geojson") else 1e-3)


def test_every_layer_has_a_look_whose_fields_and_values_exist(good: Assessment) -> None:
    """Styles speak of fields that are there; every value in the data has its entry in the legend."""
    for layer in layers(good):
        look = LOOKS[layer.name]
        assert {f for f in (look.field, look.label) if f} <= set(layer.columns)
        if look.ranges:
            assert look.rules[0].low <= min(layer.columns[look.field]) and max(layer.columns[look.field]) <= look.rules[-1].high
        elif look.field:
            assert set(layer.columns[look.field]) <= {r.value for r in look.rules}


@pytest.mark.parametrize("layer", sorted(LOOKS))
def test_styles_are_well_formed_and_use_the_short_names_where_asked(layer: str) -> None:
    """Both style languages parse, hold one symbol a rule, and follow the names of the file they stand beside."""
    look = LOOKS[layer]
    for names in ({}, SHORT):
        one, two = ElementTree.fromstring(qml(layer, names)), ElementTree.fromstring(sld(layer, names))
        assert len(one.findall(".//symbols/symbol")) == len(look.rules)
        assert len(two.findall(".//{http://www.opengis.net/sld}Rule")) == len(look.rules)
        if look.field:
            wanted = names.get(look.field, look.field)
            renderer = one.find("renderer-v2")
            assert renderer is not None and renderer.get("attr") == wanted
            assert {e.text for e in two.iter("{http://www.opengis.net/ogc}PropertyName")} <= {wanted, names.get(look.label, look.label)}
