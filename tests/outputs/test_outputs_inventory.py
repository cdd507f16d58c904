"""Joining an inventory: by identifier, then by place, each tree once; doubts and left-overs are said, nothing is guessed."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import geopandas
import numpy as np
import pandas
import pyogrio
import pytest
from made_up_assessment import made_up
from pyproj import CRS, Transformer

from treescan.cautions import CAUTIONS
from treescan.cloud.projection import in_metres
from treescan.errors import BadInput
from treescan.outputs.gis.inventory import FieldNames, field_names, joined, read_inventory, read_results
from treescan.outputs.gis.inventory_files import summary, write_inventory
from treescan.outputs.gis.map_files import geopackage_bytes
from treescan.outputs.text.say import say_all
from treescan.reason import Reason

E0, N0 = 456789.0, 5432100.0


@pytest.fixture(scope="module")
def folders(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """Three result folders: two trees 12 m apart, and one 40 m off."""
    out = []
    for name, east in (("QG-07", 0.0), ("tree_b", 12.0), ("tree_c", 40.0)):
        a = made_up(judged=False, origin=(E0 + east, N0, 210.0))
        a = replace(a, tree=replace(a.tree, source=f"quillmoor_{name}.laz"))
        folder = tmp_path_factory.mktemp("results") / name
        folder.mkdir()
        (folder / "site.gpkg").write_bytes(geopackage_bytes(a))
        out.append(folder)
    return out


def table(path: Path, rows: list[tuple], head: str = "TREE_ID,Easting,Northing,DBH_cm,Note") -> Path:
    path.write_text("\n".join([head, *(",".join(str(v) for v in r) for r in rows)]) + "\n")
    return path


ROWS = [("QG-07", E0 + 0.5, N0, 62, "ash"), ("QG-08", E0 + 13.0, N0 + 1.0, 40, "lime"), ("QG-99", E0 + 500, N0, 30, "gone")]


def test_identifier_first_then_place_and_the_rest_is_said(folders: list[Path], tmp_path: Path) -> None:
    """A record named like a folder gets that tree, the next the tree that stands there, the third none; the fourth tree is left over."""
    found = joined(read_inventory(table(tmp_path / "i.csv", ROWS)), read_results(folders))
    assert list(found.merged["match"]) == ["by id", "by place", ""]
    assert list(found.merged["tls_folder"])[:2] == ["QG-07", "tree_b"] and found.merged["tls_folder"].isna().iloc[2]
    np.testing.assert_allclose(found.merged["match_m"][:2], [0.5, np.hypot(1, 1)], atol=0.01)
    assert list(found.left_over["folder"]) == ["tree_c"]
    assert list(found.merged["Note"]) == ["ash", "lime", "gone"]
    assert Reason("inventory_joined", by_id=1, by_place=1, open=1, left=1) in summary(found)


def test_what_disagrees_is_a_doubt_not_a_silence(folders: list[Path], tmp_path: Path) -> None:
    """A stem of another size and an identifier far from its place are both named."""
    rows = [("QG-07", E0 + 80, N0, 62, ""), ("X", E0 + 12.2, N0, 30, "")]
    found = joined(read_inventory(table(tmp_path / "i.csv", rows)), read_results(folders))
    (far, far_why), (size, size_why) = found.doubts
    assert (far, [r.code for r in far_why]) == ("QG-07", ["inventory_far"]) and far_why[0]["distance"] == pytest.approx(80.0)
    assert size == "X" and size_why[-1]["recorded"] == pytest.approx(0.30) and size_why[-1]["measured"] == pytest.approx(0.62, abs=0.005)
    assert "80.0 m (262.5 ft) apart" in found.merged["doubt"][0]
    assert [d["code"] for d in json.loads(found.merged["doubt_data"][0])] == ["inventory_far"]
    clean = joined(read_inventory(table(tmp_path / "j.csv", ROWS[:1])), read_results(folders))
    assert list(clean.merged["doubt"]) == [""] and clean.doubts == ()


def test_a_tree_is_given_to_one_record_only(folders: list[Path], tmp_path: Path) -> None:
    """Of two records near one tree the nearer gets it."""
    rows = [("P1", E0 + 14.0, N0, "", ""), ("P2", E0 + 12.5, N0, "", "")]
    found = joined(read_inventory(table(tmp_path / "i.csv", rows)), read_results(folders))
    assert list(found.merged["match"]) == ["", "by place"]


def test_beyond_the_tolerance_nothing_is_joined(folders: list[Path], tmp_path: Path) -> None:
    """The tolerance is kept on both sides of it."""
    rows = [("A", E0 + 12.0, N0 + 2.0, "", "")]
    inventory, results = read_inventory(table(tmp_path / "i.csv", rows)), read_results(folders)
    assert list(joined(inventory, results, 2.1).merged["match"]) == ["by place"]
    assert list(joined(inventory, results, 1.9).merged["match"]) == [""]


def test_a_place_beyond_all_numbers_is_no_place(folders: list[Path], tmp_path: Path) -> None:
    """The square of its distance is no number; the record is left open and the others are joined."""
    rows = [("X-1", 1e200, N0, "", ""), ("X-2", E0 + 12.0, N0 + 2.0, "", "")]
    found = joined(read_inventory(table(tmp_path / "i.csv", rows)), read_results(folders), 2.1)
    assert list(found.merged["match"]) == ["", "by place"]


def test_places_in_degrees_are_brought_to_the_map(folders: list[Path], tmp_path: Path) -> None:
    """Longitude and latitude in a table, and a shapefile in another system, find the same tree."""
    lon, lat = Transformer.from_crs("EPSG:25832", "EPSG:4326", always_xy=True).transform(E0 + 12.0, N0)
    path = table(tmp_path / "i.csv", [("A", lon, lat)], "id,lon,lat")
    found = joined(read_inventory(path), read_results(folders))
    assert list(found.merged["match"]) == ["by place"] and found.merged["match_m"][0] < 0.02
    frame = geopandas.GeoDataFrame({"id": ["A"]}, geometry=geopandas.points_from_xy([E0 + 12.0], [N0]), crs="EPSG:25832").to_crs("EPSG:3857")
    frame.to_file(tmp_path / "i.shp")
    found = joined(read_inventory(tmp_path / "i.shp"), read_results(folders))
    assert list(found.merged["match"]) == ["by place"] and found.merged["match_m"][0] < 0.02


def test_other_field_names_are_mapped(folders: list[Path], tmp_path: Path) -> None:
    """A mapping names the fields of the inventory; an unknown one is refused with the fields there are."""
    path = table(tmp_path / "i.csv", [("QG-07", E0, N0)], "Baum;;,Rechts,Hoch")
    found = read_inventory(path, FieldNames(id="Baum;;", x="Rechts", y="Hoch", crs="EPSG:25832"))
    assert list(found["inv_id"]) == ["QG-07"] and found.crs.to_epsg() == 25832
    with pytest.raises(BadInput, match=r"has no field 'nr'.*Rechts"):
        read_inventory(path, FieldNames(id="nr"))
    with pytest.raises(BadInput, match="no column holds an identifier"):
        read_inventory(path)
    with pytest.raises(BadInput, match="not understood"):
        field_names({"height": "h"}, "f.toml")


def test_a_doubled_identifier_goes_to_the_record_that_stands_there(folders: list[Path], tmp_path: Path) -> None:
    """Of two records of one name the near one gets the tree, the other what stands at its own place; each row says why it is in doubt."""
    rows = [("QG-07", E0 + 12.3, N0, "", ""), ("QG-07", E0 + 0.3, N0, "", ""), ("QG-07", E0 + 300, N0, "", "")]
    found = joined(read_inventory(table(tmp_path / "i.csv", rows)), read_results(folders)).merged
    assert list(found["match"]) == ["by place", "by id", ""]
    assert [f if isinstance(f, str) else "" for f in found["tls_folder"]] == ["tree_b", "QG-07", ""]
    assert all("3 records carry this identifier" in d for d in found["doubt"])


def test_a_wrong_identifier_does_not_take_the_tree_of_the_record_that_stands_there(folders: list[Path], tmp_path: Path) -> None:
    """A record far off that is called like a tree leaves it to the nameless record 0.4 m from it; both rows say so."""
    rows = [("QG-07", E0 + 182, N0, "", ""), ("", E0 + 0.4, N0, "", "")]
    whole = joined(read_inventory(table(tmp_path / "i.csv", rows)), read_results(folders))
    found = whole.merged
    assert list(found["match"]) == ["", "by place"] and found["match_m"][1] == pytest.approx(0.4)
    first, second = ([d["code"] for d in json.loads(cell)] for cell in found["doubt_data"])
    assert first == ["inventory_id_elsewhere"] and second == ["inventory_no_id", "inventory_called_otherwise"]
    assert "a record without identifier" in " ".join(say_all(summary(whole)))
    assert "182.0 m" in found["doubt"][0] and "QG-07" in found["doubt"][1]


def test_a_wrong_identifier_does_not_keep_a_record_from_its_own_tree(folders: list[Path], tmp_path: Path) -> None:
    """A record that stands at a tree but is called like another one gets the tree it stands at, with a doubt."""
    found = joined(read_inventory(table(tmp_path / "i.csv", [("QG-07", E0 + 12.2, N0, "", "")])), read_results(folders)).merged
    assert list(found["tls_folder"]) == ["tree_b"] and "not taken" in found["doubt"][0]


@pytest.mark.parametrize("ending", ["csv", "gpkg", "shp", "geojson"])
def test_empty_identifiers_are_records_too(folders: list[Path], tmp_path: Path, ending: str) -> None:
    """A record without an identifier is joined by place, whatever file it comes in, and says that it has none."""
    frame = geopandas.GeoDataFrame({"id": [7.0, None, None]}, geometry=geopandas.points_from_xy([E0 + 90, E0 + 12, E0 + 40], [N0] * 3), crs="EPSG:25832")
    path = tmp_path / f"i.{ending}"
    if ending == "csv":
        table(path, [("7", E0 + 90, N0), ("", E0 + 12, N0), ("", E0 + 40, N0)], "id,x,y")
    else:
        (frame.to_crs("EPSG:4326") if ending == "geojson" else frame).to_file(path)
    found = joined(read_inventory(path), read_results(folders)).merged
    assert list(found["inv_id"]) == ["7", "", ""] and list(found["match"]) == ["", "by place", "by place"]
    assert list(found["doubt"].str.contains("no identifier")) == [False, True, True]


def test_a_table_with_semicolons_and_decimal_commas_is_read(folders: list[Path], tmp_path: Path) -> None:
    """As spreadsheets write it where the comma is the decimal point."""
    path = tmp_path / "i.csv"
    path.write_text(f"id;Easting;Northing;dbh;Note\nQG-07;{E0 + 0.5:.1f};{N0:.1f};62,5;ash, old\n".replace(".", ","))
    found = joined(read_inventory(path), read_results(folders)).merged
    assert found["inv_dbh_cm"][0] == 62.5 and found["match_m"][0] == pytest.approx(0.5) and found["Note"][0] == "ash, old"


def test_a_cloud_in_feet_is_joined_by_place(tmp_path: Path) -> None:
    """Its map file carries the cloud's own system with its code, in feet; tolerance and distance stay in metres."""
    foot = 1200 / 3937
    a = made_up(judged=False, origin=(300_000.0, 60_000.0, 10.0))
    system = CRS.from_epsg(2263)
    frame = replace(a.tree.frame, crs=in_metres(system).to_wkt(), file_crs="EPSG:2263", unit_m=foot)
    a = replace(a, tree=replace(a.tree, frame=frame))
    (tmp_path / "f").mkdir()
    (tmp_path / "f" / "site.gpkg").write_bytes(geopackage_bytes(a))
    stem = geopandas.read_file(tmp_path / "f" / "site.gpkg", layer="stem")
    assert stem.crs.to_epsg() == 2263
    base = a.tree.frame.to_map(a.tree.stem.base)
    np.testing.assert_allclose(stem.geometry[0].coords[0], [base[0] / foot, base[1] / foot, base[2]], atol=2e-4)
    path = table(tmp_path / "i.csv", [("X", (base[0] + 2.0) / foot, base[1] / foot)], "id,x,y")
    for crs in ("EPSG:2263", ""):
        found = joined(read_inventory(path, FieldNames(crs=crs)), read_results([tmp_path / "f"]), 2.5).merged
        assert list(found["match"]) == ["by place"] and found["match_m"][0] == pytest.approx(2.0, abs=0.01)
    assert list(joined(read_inventory(path), read_results([tmp_path / "f"]), 1.5).merged["match"]) == [""]


def test_whole_numbers_stay_whole(folders: list[Path], tmp_path: Path) -> None:
    """Counts are no fractions, in records without a tree neither."""
    write_inventory(joined(read_inventory(table(tmp_path / "i.csv", ROWS)), read_results(folders)), tmp_path / "out")
    assert pyogrio.read_info(tmp_path / "out" / "inventory.gpkg", layer="inventory")["dtypes"][
        list(pyogrio.read_info(tmp_path / "out" / "inventory.gpkg", layer="inventory")["fields"]).index("tls_ranked")
    ].startswith("int")
    assert ".0" not in ",".join(pandas.read_csv(tmp_path / "out" / "inventory.csv", dtype=str)["tls_ranked"].dropna())


def test_a_folder_that_holds_no_result_is_refused(tmp_path: Path) -> None:
    """The message says what to give."""
    with pytest.raises(BadInput, match=r"holds no site\.gpkg"):
        read_results([tmp_path])


def test_files_carry_the_caution_and_read_back(folders: list[Path], tmp_path: Path) -> None:
    """Table and package hold every record with the caution, the left-over tree stands apart, a second run gives the same bytes."""
    found = joined(read_inventory(table(tmp_path / "i.csv", ROWS)), read_results(folders))
    paths = write_inventory(found, tmp_path / "out")
    assert [p.name for p in paths] == ["inventory.csv", "inventory.gpkg", "left_over.csv"]
    frame = geopandas.read_file(tmp_path / "out" / "inventory.gpkg", layer="inventory")
    assert list(frame["inv_id"]) == ["QG-07", "QG-08", "QG-99"] and set(frame["caution"]) == {CAUTIONS["planning_aid"]}
    np.testing.assert_allclose([g.x for g in frame.geometry], [r[1] for r in ROWS], atol=1e-3)
    assert all(CAUTIONS["planning_aid"] in pandas.read_csv(p)["caution"].iloc[0] for p in paths if p.suffix == ".csv")
    before = [p.read_bytes() for p in paths]
    assert [p.read_bytes() for p in write_inventory(found, tmp_path / "out")] == before


def test_the_command_joins_and_names_what_is_open(folders: list[Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`treescan join` writes the folder and says in one sentence how the match went; a bad mapping exits with 2."""
    from treescan.faces.cli.commands import run

    path = table(tmp_path / "i.csv", [("QG-07", E0, N0)], "Nr,Rechts,Hoch")
    mapping = tmp_path / "fields.toml"
    mapping.write_text('[fields]\nid = "Nr"\nx = "Rechts"\ny = "Hoch"\ncrs = "EPSG:25832"\n')
    code = run(["join", str(path), *map(str, folders), "-o", str(tmp_path / "out"), "--fields", str(mapping)])
    said = capsys.readouterr()
    assert code == 0 and "1 record joined by identifier" in said.out and CAUTIONS["planning_aid"] in said.out
    assert {p.name for p in (tmp_path / "out").iterdir()} == {"inventory.csv", "inventory.gpkg", "left_over.csv"}
    assert run(["join", str(path), str(folders[0]), "-o", str(tmp_path / "o2")]) == 2
    assert "no column holds an identifier" in capsys.readouterr().err
