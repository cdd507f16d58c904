"""Job sheet, map files and tables: complete, readable elsewhere, the same coordinates, the cautions on each."""

from __future__ import annotations

import io
import json
import re
import shutil
import sqlite3
import subprocess
from dataclasses import replace
from pathlib import Path

import geopandas
import numpy as np
import pandas
import pyogrio
import pytest
from made_up_assessment import for_job, made_up
from pdf_measures import print_sizes
from pyproj import Transformer

from treescan.assess import Assessment
from treescan.cautions import CAUTIONS, all_cautions
from treescan.outputs.data.codebook import columns_of
from treescan.outputs.data.tables import KINDS, codebook, methods_bytes, table, table_bytes
from treescan.outputs.drawing.paper_figures import figures_bytes
from treescan.outputs.gis.map_files import geojson_bytes, geopackage_bytes
from treescan.outputs.job_sheet.job_sheet import dossier_bytes, sheet_bytes
from treescan.outputs.job_sheet.sheet_pages import CHECKS, ON_THE_SHEET
from treescan.outputs.report.cards import card
from treescan.outputs.report.glance import glance
from treescan.outputs.text.say import text
from treescan.sources import SOURCES


@pytest.fixture(scope="module")
def good() -> Assessment:
    return made_up()


@pytest.fixture(scope="module")
def package(good: Assessment, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("gis") / "site.gpkg"
    path.write_bytes(geopackage_bytes(good))
    return path


def printed(data: bytes, path: Path) -> list[str]:
    """Text of each page, as a general PDF tool reads it."""
    if shutil.which("pdftotext") is None:
        pytest.skip("no pdftotext on this machine")
    path.write_bytes(data)
    text = subprocess.run(["pdftotext", "-raw", str(path), "-"], check=True, capture_output=True).stdout.decode()
    return [" ".join(page.split()) for page in text.split("\f")[:-1]]


def plain(text: str) -> str:
    return " ".join(text.split())


def dossier(a: Assessment) -> bytes:
    """Every page, as asked for."""
    data = dossier_bytes(for_job(a, dossier=True))
    assert data is not None
    return data


def test_the_dossier_holds_the_first_candidate_and_the_next_two(good: Assessment, tmp_path: Path) -> None:
    """The first page names the first candidate with force and height in both unit systems, the next the next two; forms follow."""
    pages = printed(dossier(good), tmp_path / "s.pdf")
    usable = [p for p in good.points if p.usable]
    whole = " ".join(pages)
    assert usable[0].label in pages[0]
    assert re.search(r"\d+\.\d kN \(\d+ lbf\)", pages[0]) and re.search(r"\d+\.\d m \(\d+\.\d ft\)", pages[0])
    for p in usable[1:3]:
        assert f"{p.rank}. {p.label}" in whole
    assert "What the thrower sees" in whole and "from the hand, in degrees left and right of the aim" in whole
    order = [whole.index(t) for t in ("Candidates for a rescue line", "Unions to be inspected by hand", "Risk assessment: a draft")]
    assert order == sorted(order)


def test_the_dossier_is_written_only_where_it_was_asked_for(good: Assessment) -> None:
    """Two pages are the rule; every page is an option, and a tree without candidates has none."""
    assert dossier_bytes(good) is None
    assert dossier_bytes(for_job(made_up(assessable=False), dossier=True)) is None


def test_every_page_of_the_sheet_carries_the_caution_and_all_stand_in_full(good: Assessment, tmp_path: Path) -> None:
    """The planning-aid caution is on each page; all cautions are printed; no word of approval."""
    for a in (good, made_up(assessable=False)):
        pages = printed(sheet_bytes(a), tmp_path / "s.pdf")
        assert all(plain(CAUTIONS["planning_aid"]) in page for page in pages)
        whole = " ".join(pages)
        for caution in all_cautions():
            assert plain(caution) in whole
        for caution in all_cautions():
            whole = whole.replace(plain(caution), "")
        assert not re.search(r"\bsafe(ly)?\b|\bapproved\b|\bcertified\b", whole, re.IGNORECASE)


def test_figures_are_vector_pages_with_the_caution(good: Assessment, tmp_path: Path) -> None:
    """Five figures for an assessed tree, two where nothing is ranked, and the cautions; the main one on each, no pictures of pixels."""
    for a, count in ((good, 6), (made_up(assessable=False), 3)):
        data = figures_bytes(a)
        pages = printed(data, tmp_path / "f.pdf")
        assert len(pages) == count
        assert all(plain(CAUTIONS["planning_aid"]) in page for page in pages)
    assert b"/Subtype /Image" not in figures_bytes(made_up(assessable=False))


def test_signature_lines_are_named_by_role_and_left_blank(good: Assessment, tmp_path: Path) -> None:
    """Roles stand before empty rules: nothing is filled in after them."""
    page = printed(sheet_bytes(good), tmp_path / "s.pdf")[0]
    for role, following in (("Competent person, accepted by", "Climber"), ("Ground worker", "Rescuer, equipped and named")):
        assert re.search(re.escape(role) + r"\s*" + re.escape(following), page)


def test_a_tree_that_cannot_be_assessed_gives_one_page_without_candidates(tmp_path: Path) -> None:
    """The sheet says so, gives the reasons, and says not to plan from it."""
    pages = printed(sheet_bytes(made_up(assessable=False)), tmp_path / "s.pdf")
    assert len(pages) == 1
    assert "Not assessable from this scan" in pages[0] and "Do not plan a climb from this sheet" in pages[0]
    assert "Rescan from the north-west" in pages[0]


def test_map_layers_come_back_at_the_same_coordinates(good: Assessment, package: Path) -> None:
    """Read by a general vector library, every layer lies within 1 mm of the computed places, in the cloud's system."""
    origin, graph = good.tree.frame.origin, good.tree.graph
    anchors = geopandas.read_file(package, layer="anchors")
    assert anchors.crs.to_epsg() == 25832
    back = np.array([g.coords[0] for g in anchors.geometry])
    np.testing.assert_allclose(back, graph.unions.place[[p.union for p in good.points]] + origin, atol=1e-3)
    standing = geopandas.read_file(package, layer="standing")
    np.testing.assert_allclose([g.coords[0] for g in standing.geometry], good.throws.stances.xyz + origin, atol=1e-3)
    throws = geopandas.read_file(package, layer="throws")
    for shape, (_, t) in zip(throws.geometry, sorted(good.throws.best.items()), strict=True):
        np.testing.assert_allclose(np.array(shape.coords), t.path + origin, atol=1e-3)
    limbs = geopandas.read_file(package, layer="limbs")
    assert len(limbs) == len(graph.limbs)
    assert list(anchors["rank"].dropna().astype(int)) == [p.rank for p in good.points if p.usable]


def test_the_package_opens_with_command_line_tools(package: Path) -> None:
    """Another program lists every layer, and sees the cautions and the default styles."""
    if shutil.which("ogrinfo") is None:
        pytest.skip("no ogrinfo on this machine")
    text = subprocess.run(["ogrinfo", "-so", str(package)], check=True, capture_output=True, text=True).stdout
    for name in ("stem", "limbs", "unions", "anchors", "standing", "throws", "ropes", "work", "zones", "conductors", "cautions"):
        assert f": {name} (" in text
    with sqlite3.connect(package) as db:
        assert [row[0] for row in db.execute("select caution from cautions order by fid")] == list(all_cautions())
        styled = {row[0] for row in db.execute("select f_table_name from layer_styles where useAsDefault")}
        assert styled == {name for (name,) in db.execute("select table_name from gpkg_contents where data_type = 'features'")}


def test_map_files_have_no_clock_in_them(good: Assessment, package: Path) -> None:
    """A second run gives the same bytes."""
    assert geopackage_bytes(made_up()) == package.read_bytes()
    assert geojson_bytes(made_up()) == geojson_bytes(good)
    assert sheet_bytes(made_up()) == sheet_bytes(good)
    assert figures_bytes(made_up()) == figures_bytes(good)


def test_a_local_frame_gives_a_package_without_system_and_no_geojson(tmp_path: Path) -> None:
    """Without a known system nothing is put on the globe."""
    a = made_up(crs=None, origin=(0.0, 0.0, 0.0))
    assert geojson_bytes(a) is None
    (tmp_path / "local.gpkg").write_bytes(geopackage_bytes(a))
    back = pyogrio.read_dataframe(tmp_path / "local.gpkg", layer="anchors")
    assert back.crs is None or (not back.crs.is_geographic and back.crs.to_epsg() is None)
    np.testing.assert_allclose(back.geometry.iloc[0].coords[0], a.tree.graph.unions.place[a.points[0].union], atol=1e-3)
    nonsense = replace(a, tree=replace(a.tree, frame=replace(a.tree.frame, crs="no such system")))
    assert geojson_bytes(nonsense) is None


def test_geojson_is_wgs84_with_cautions(good: Assessment) -> None:
    """RFC 7946: longitude first, no other system named, outer rings counter-clockwise; places agree with a projection library."""
    content = json.loads(geojson_bytes(good))
    assert content["type"] == "FeatureCollection" and "crs" not in content
    assert content["cautions"] == list(all_cautions())
    anchors = [f for f in content["features"] if f["properties"]["layer"] == "anchors"]
    to_map = Transformer.from_crs("EPSG:4326", "EPSG:25832", always_xy=True)
    for f, p in zip(anchors, good.points, strict=True):
        lon, lat, z = f["geometry"]["coordinates"]
        assert -180 <= lon <= 180 and -90 <= lat <= 90
        x, y = to_map.transform(lon, lat)
        expected = good.tree.graph.unions.place[p.union] + good.tree.frame.origin
        np.testing.assert_allclose([x, y, z], expected, atol=2e-3)
    for f in content["features"]:
        if f["geometry"]["type"] == "Polygon":
            ring = np.array(f["geometry"]["coordinates"][0])[:, :2]
            assert np.array_equal(ring[0], ring[-1])
            assert np.sum(ring[:-1, 0] * ring[1:, 1] - ring[1:, 0] * ring[:-1, 1]) > 0
    frame = geopandas.read_file(io.BytesIO(geojson_bytes(good)))
    assert frame.crs.to_epsg() == 4326 and len(frame) == len(content["features"])


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind not in ("cuts", "strata")])
def test_tables_are_the_same_in_both_formats_and_in_the_codebook(good: Assessment, kind: str) -> None:
    """CSV and Parquet hold the same rows; every column is explained; the caution stands first."""
    a = pandas.read_csv(io.BytesIO(table_bytes(good, f"{kind}.csv")), keep_default_na=True)
    b = pandas.read_parquet(io.BytesIO(table_bytes(good, f"{kind}.parquet")))
    assert len(a) == len(b) > 0
    assert list(a.columns) == list(b.columns) == [*columns_of(kind), "caution"]
    for column in a.columns:
        if b[column].dtype.kind == "f":
            np.testing.assert_array_equal(a[column], b[column].astype(float))
    assert b["caution"][0] == CAUTIONS["planning_aid"]
    explained = codebook()
    assert set(b.columns) == set(explained.loc[explained["table"] == kind, "column"])


def test_coverage_has_a_key_and_the_places_of_the_work(good: Assessment) -> None:
    """Candidate and point name one row each, twins of one label too; x, y, z are the work points on the map."""
    twice = replace(good, work=replace(good.work, label=("same",) * len(good.work)))
    frame = table(twice, "coverage")
    assert not frame.duplicated(["candidate", "point"]).any() and len(frame) == len(good.points) * len(good.work)
    own = frame[frame["candidate"] == 2]
    np.testing.assert_allclose(own[["x", "y", "z"]], good.tree.frame.to_map(good.work.xyz), atol=1e-4)
    assert set(own["union"]) == {good.points[1].label}


def test_table_coordinates_keep_their_tenth_of_a_millimetre(good: Assessment) -> None:
    """Map coordinates of seven digits and more are not cut to six: the place of a union comes back to 0.1 mm."""
    a = pandas.read_csv(io.BytesIO(table_bytes(good, "anchors.csv")))
    expected = good.tree.graph.unions.place[[p.union for p in good.points]] + good.tree.frame.origin
    np.testing.assert_allclose(a[["x", "y", "z"]], expected, atol=6e-5)
    known = [p.check.check.margin.p5 for p in good.points if p.check.check.margin.known]
    np.testing.assert_allclose(a["margin_p5"].dropna(), known, rtol=1e-5)


def test_every_column_of_the_codebook_names_its_source() -> None:
    """Measured in the scan, or a key of the list of sources: no column without an origin."""
    book = codebook()
    rows = book[(book["table"] != "every table") & (book["column"] != "caution")]
    for source in rows["source"]:
        assert source and all(part == "scan" or part in SOURCES for part in source.split("; ")), source


def test_sections_say_how_oval_they_are_and_which_way(good: Assessment) -> None:
    """Ratio, azimuth and slope of the longest width where the scan measured one; 1 and empty where it did not."""
    g = good.tree.graph
    oval = replace(g, oval=np.full(len(g), 1.1), oval_dir=np.tile([-0.6, 0.0, 0.8], (len(g), 1)))
    told, plain = table(replace(good, tree=replace(good.tree, graph=oval)), "sections"), table(good, "sections")
    assert (told["oval"] == 1.1).all() and (plain["oval"] == 1.0).all()
    assert told["oval_azimuth"].to_numpy() == pytest.approx(90.0) and told["oval_slope"].to_numpy() == pytest.approx(53.1301, abs=1e-4)
    assert plain["oval_azimuth"].isna().all() and plain["oval_slope"].isna().all()


def test_tables_hold_what_was_computed(good: Assessment) -> None:
    """Sections sum to the load paths, coverage to the served shares."""
    sections = table(good, "sections")
    assert len(sections) == sum(len(p.check.check.nodes) for p in good.points)
    assert int(sections["governing"].sum()) == len(good.points)
    coverage = table(good, "coverage")
    p = good.points[0]
    rows = coverage[coverage["rank"] == 1]
    assert rows["served"].mean() == pytest.approx(p.reach.share)
    limbs = table(good, "limbs")
    assert limbs["length"].sum() == pytest.approx(good.tree.graph.length.sum())


def test_the_methods_paragraph_names_versions_settings_and_cautions(good: Assessment) -> None:
    """A reader can repeat the run: versions, every setting, and the cautions stand in it."""
    text = methods_bytes(good).decode()
    assert "treescan 0" in text and "with seed 1" in text and "loads.climber_mass = 100.0 kg" in text
    for caution in all_cautions():
        assert caution in text


def test_the_text_of_the_dossier_is_complete(good: Assessment, tmp_path: Path) -> None:
    """Every figure, check and heading drawn on the dossier is in the text that a PDF tool extracts, in whole words."""
    whole = " ".join(printed(dossier(good), tmp_path / "s.pdf"))
    first = next(p for p in good.points if p.usable)
    for cell in glance(good, first)[1:]:
        assert plain(f"{cell.figure} {cell.words}") in whole
    for row in card(good, first, 0).answers[1].rows:
        assert plain(f"{row.label} {row.text}") in whole, row.code
    assert all(plain(text(code)) in whole for code in CHECKS)
    for row in card(good, first, 0).answers[5].only(*ON_THE_SHEET):
        assert plain(row.text) in whole, row.code
    for heading in ("Will it hold?", "What if it fails?", "Can I reach the work?", "Can I get a line in?"):
        assert heading in whole
    for heading in ("Where to stand", "In what order?", "Rope and kit", "People and signatures", "Cautions"):
        assert heading in whole


def test_no_print_of_the_dossier_is_small(good: Assessment) -> None:
    """Every print is 8.5 points or more: pages go on on the next sheet instead of shrinking."""
    assert min(print_sizes(dossier(good))) >= 8.5
