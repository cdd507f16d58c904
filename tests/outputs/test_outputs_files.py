"""What write_outputs promises: whole files, strict JSON, cautions everywhere, the same bytes again."""

from __future__ import annotations

import csv
import io
import json
import math
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import trimesh
from made_up_assessment import for_job, made_up
from words_in_files import glb_json, text_of

from treescan.assess import Assessment
from treescan.cautions import CAUTIONS, all_cautions
from treescan.outputs.data.anchors_csv import anchors_table
from treescan.outputs.report.cards import card
from treescan.outputs.strict_json import dumps, number, place, tame
from treescan.outputs.text.say import text
from treescan.outputs.write import FILES, write_outputs
from treescan.units import G

HERE = [name for name in FILES if not name.startswith(("tables/cuts.", "tables/strata."))]
"""What is written where no removal is planned and the crown is not parted by height and distance."""


@pytest.fixture(scope="module")
def good() -> Assessment:
    return for_job(made_up(), dossier=True)


@pytest.fixture(scope="module")
def folder(good: Assessment, tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("good")
    write_outputs(good, out)
    return out


@pytest.fixture(scope="module")
def hopeless_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("hopeless")
    write_outputs(made_up(assessable=False), out)
    return out


def strict(path: Path) -> dict:
    def refuse(word: str) -> None:
        raise AssertionError(f"{word} is not JSON")

    return json.loads(path.read_text(encoding="utf-8"), parse_constant=refuse)


def written(folder: Path) -> set[str]:
    return {p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file()}


def test_every_file_is_there_and_no_temporary_one_is_left(folder: Path) -> None:
    """The folder holds the promised files and nothing else."""
    assert written(folder) == set(HERE)


def test_the_same_assessment_gives_the_same_bytes(folder: Path, tmp_path: Path) -> None:
    """No clock, no random name: a second run writes the same bytes."""
    write_outputs(for_job(made_up(), dossier=True), tmp_path)
    for name in HERE:
        assert (tmp_path / name).read_bytes() == (folder / name).read_bytes(), name


@pytest.mark.parametrize("stop_at", [0, 2, 6, len(FILES) - 1])
def test_an_interrupted_run_leaves_whole_files_only(good: Assessment, folder: Path, tmp_path: Path, stop_at: int) -> None:
    """Ctrl-C before any file leaves the earlier ones whole and no part of a later one."""
    calls = []

    def stop(stage: str, share: float) -> None:
        calls.append(stage)
        if len(calls) > stop_at:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write_outputs(good, tmp_path, stop)

    assert written(tmp_path) == set(list(FILES)[:stop_at]) & set(HERE)
    for name in written(tmp_path):
        assert (tmp_path / name).read_bytes() == (folder / name).read_bytes()


def test_a_file_that_no_longer_applies_is_taken_away(tmp_path: Path) -> None:
    """Writing a local-frame tree over an older result leaves no stale map of another place, and no empty tables."""
    (tmp_path / "site.geojson").write_text("old")
    write_outputs(made_up(assessable=False, judged=False, crs=None), tmp_path)
    assert "site.geojson" not in written(tmp_path)
    assert "tables/sections.csv" not in written(tmp_path)


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="no pdftotext on this machine")
def test_every_file_of_every_kind_carries_the_caution(folder: Path, hopeless_folder: Path) -> None:
    """Whatever is opened, the standing caution is in it, and where there is room all of them are."""
    for where in (folder, hopeless_folder):
        for name in written(where):
            words = " ".join(text_of(where / name).split())
            assert " ".join(CAUTIONS["planning_aid"].split()) in words, name
            if not name.endswith(".csv") or name == "tables/codebook.csv":
                assert all(" ".join(c.split()) in words for c in all_cautions()), name


def test_a_failure_while_writing_keeps_the_old_file(good: Assessment, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the bytes cannot be made, yesterday's file stays as it was."""
    (tmp_path / "tree.glb").write_bytes(b"yesterday")

    def broken(a: Assessment) -> bytes:
        raise KeyboardInterrupt

    monkeypatch.setitem(FILES, "tree.glb", broken)
    with pytest.raises(KeyboardInterrupt):
        write_outputs(good, tmp_path)

    assert (tmp_path / "tree.glb").read_bytes() == b"yesterday"
    assert not [p for p in tmp_path.iterdir() if p.name.startswith(".")]


def test_json_is_strict_and_carries_every_caution(folder: Path, hopeless_folder: Path) -> None:
    """Both JSON files parse without NaN or Infinity and hold all cautions in full."""
    for where in (folder, hopeless_folder):
        for name in ("anchors.json", "standing.json"):
            assert strict(where / name)["cautions"] == list(all_cautions())


def test_anchors_follow_the_contract(good: Assessment, folder: Path) -> None:
    """Every key of the contract, in the contract's units and frame."""
    content = strict(folder / "anchors.json")
    assert (content["format"], content["version"]) == ("treescan-anchors", 1)
    assert len(content["anchors"]) == len(good.points)
    for j, p in zip(content["anchors"], good.points, strict=True):
        assert {
            "rank",
            "union",
            "xyz",
            "height",
            "system",
            "hardware",
            "usable",
            "reasons",
            "load",
            "capacity",
            "throw",
            "fallback",
            "coverage",
            "access",
            "rope",
            "scores",
            "score",
            "rank_stability",
        } <= set(j)
        assert {"force_kn", "multiple_of_weight", "direction", "worst_work_point"} <= set(j["load"])
        assert {"margin_median", "margin_p5", "governing", "deflection_m"} <= set(j["capacity"])
        assert {"node", "mode", "utilisation"} <= set(j["capacity"]["governing"])
        expected = good.tree.graph.unions.place[p.union] + good.tree.frame.origin
        np.testing.assert_allclose(j["xyz"], expected, atol=1e-4)
        assert j["load"]["force_kn"] == pytest.approx(np.linalg.norm(p.check.force) / 1000, rel=1e-5)
        assert math.hypot(*j["load"]["direction"]) == pytest.approx(1.0, abs=1e-5)
        assert j["usable"] == p.usable and (j["rank"] is None) == (not p.usable)
        if p.throw is None:
            assert j["throw"] is None
        else:
            t = j["throw"]
            assert {"isolation_class", "chance", "expected_throws", "stand_xyz", "aim", "method", "captured", "workings"} <= set(t)
            assert t["aim"]["elevation_deg"] == pytest.approx(math.degrees(p.throw.elevation), rel=1e-5)
            assert 0 <= t["aim"]["azimuth_deg"] < 360
            np.testing.assert_allclose(t["stand_xyz"], p.throw.stand + good.tree.frame.origin, atol=1e-4)
        assert j["fallback"][-1]["ground"] is True


def test_the_chance_of_overload_is_told_wherever_the_margin_is(good: Assessment, folder: Path) -> None:
    """Ordinary use beside the exceptional case, as a share in the data and in words; nothing where nothing was seen."""
    content = json.loads((folder / "anchors.json").read_text(encoding="utf-8"))["anchors"]
    rows = list(csv.DictReader(io.StringIO((folder / "anchors.csv").read_text(encoding="utf-8"))))
    for i, p in enumerate(good.points):
        (said,) = (r.text for r in card(good, p, i).answers[2].only("card_breaks"))
        if p.check.check.margin.known:
            assert content[i]["capacity"]["overload_chance"] == pytest.approx(p.check.check.overload_chance)
            assert content[i]["exceptional"]["overload_chance"] == pytest.approx(p.check.exceptional.overload_chance)
            assert float(rows[i]["overload_chance"]) == pytest.approx(p.check.check.overload_chance)
            assert content[i]["capacity"]["chance_told"] == pytest.approx(p.check.check.overload_chance + 0.003)
            assert float(rows[i]["chance_told"]) == pytest.approx(p.check.check.overload_chance + 0.003)
            assert said == (
                "0.6 % in ordinary use; 2.3 % under the exceptional load (abrupt stop). What a scan cannot see (decay, cracks, included bark) is counted in."
            )
        else:
            assert content[i]["capacity"]["overload_chance"] is None and rows[i]["overload_chance"] == ""
            assert said == "not seen"
    assert "0.6 % in ordinary use" in (folder / "report.html").read_text(encoding="utf-8")


def test_every_contact_of_the_rope_is_named_with_its_turning_and_force(good: Assessment, folder: Path) -> None:
    """The union first, then each limb by the union it leaves from; data and card tell the same figures, a choke has no turning."""
    for i, (p, j) in enumerate(zip(good.points, strict(folder / "anchors.json")["anchors"], strict=True)):
        rows, configuration = j["load"]["contacts"], p.check.configuration
        assert [r["node"] for r in rows] == [configuration.rest_node, *configuration.via, *configuration.beyond]
        assert rows[0]["on"] == p.label and rows[0]["side"] == "union"
        assert rows[0]["size_kn"] == pytest.approx(np.linalg.norm(p.check.force) / 1000, rel=1e-4)
        card_rows = card(good, p, i).answers[2].only("card_contact")
        assert [r.label for r in card_rows] == [text("card_contact", on=r["on"]) for r in rows]
        for r, said in zip(rows, (r.text for r in card_rows), strict=True):
            if r["size_kn"]:
                assert f"{r['size_kn']:.1f} kN" in said
            if r["size_kn"] and r["turn_deg"] is not None:
                assert f"turns by {r['turn_deg']:.0f}°" in said
        for n, r in zip(configuration.via, rows[1:], strict=False):
            limb = good.tree.graph.limb[n]
            assert (r["on"] == "the stem") == (limb == 0)
            if r["on"].startswith("the limb from "):
                union = good.tree.graph.unions.index(r["on"].removeprefix("the limb from "))
                assert good.tree.graph.limb[good.tree.graph.unions.node[union]] != limb
                assert limb in good.tree.graph.unions.arm_limb[good.tree.graph.unions.arms(union)]


def test_multiples_of_weight_say_what_they_are_multiples_of(good: Assessment, folder: Path) -> None:
    """Beside what the configuration makes of a still climber's weight stands all of the force over the weight, the same quantity in both kinds of load."""
    weight = good.settings.loads.climber_mass * G / 1000
    for j in json.loads((folder / "anchors.json").read_text(encoding="utf-8"))["anchors"]:
        assert j["load"]["force_over_weight"] == pytest.approx(j["load"]["force_kn"] / weight, rel=1e-4)
        if j["exceptional"]:
            assert j["exceptional"]["force_over_weight"] == j["exceptional"]["multiple_of_weight"]


def test_not_seen_becomes_null_never_a_number(good: Assessment, folder: Path) -> None:
    """A margin the scan cannot give is null in JSON and an empty cell in the table."""
    unseen = [i for i, p in enumerate(good.points) if not p.check.check.margin.known]
    assert unseen, "the made-up tree must hold an unseen limb"
    content = strict(folder / "anchors.json")["anchors"]
    rows = list(csv.DictReader(io.StringIO((folder / "anchors.csv").read_text())))
    for i in unseen:
        assert content[i]["capacity"]["margin_median"] is None and content[i]["capacity"]["margin_p5"] is None
        assert rows[i]["margin_p5"] == ""


def test_the_table_has_one_header_one_row_each_and_the_caution_in_each(good: Assessment, folder: Path, hopeless_folder: Path) -> None:
    """anchors.csv: one header row, one row a candidate, the standing caution in every row; one telling row when there is none."""
    rows = list(csv.DictReader(io.StringIO((folder / "anchors.csv").read_text())))
    assert len(rows) == len(good.points)
    assert all(row["caution"] == CAUTIONS["planning_aid"] for row in rows)
    hopeless = list(csv.DictReader(io.StringIO((hopeless_folder / "anchors.csv").read_text())))
    assert {row["verdict"] for row in hopeless} == {"not assessable"} and {row["rank"] for row in hopeless} == {""}
    alone = list(csv.DictReader(io.StringIO(anchors_table(made_up(assessable=False, judged=False)))))
    assert len(alone) == 1
    assert alone[0]["verdict"] == "not assessable" and alone[0]["caution"] == CAUTIONS["planning_aid"] and "Rescan" in alone[0]["reasons"]


def test_standing_places_keep_their_chances(good: Assessment, folder: Path) -> None:
    """Places in map coordinates; chances by union and class as computed."""
    content = strict(folder / "standing.json")
    assert len(content["places"]) == len(good.throws.stances)
    labels = good.tree.graph.unions.label
    for s in (0, 17, 40):
        np.testing.assert_allclose(content["places"][s]["xyz"], good.throws.stances.xyz[s] + good.tree.frame.origin, atol=1e-4)
        for k, label in enumerate(labels):
            got = content["places"][s]["chances"].get(label, [0, 0, 0])
            np.testing.assert_allclose(got, good.throws.chance[k, s], atol=5.1e-5)


def test_the_scene_opens_elsewhere_with_names_materials_and_cautions(good: Assessment, folder: Path) -> None:
    """tree.glb reloads; tubes lie where the limbs are; unseen wood and ranked anchors are named; origin is in it."""
    data = (folder / "tree.glb").read_bytes()
    extras = glb_json(data)["asset"]["extras"]
    assert extras["cautions"] == list(all_cautions())
    np.testing.assert_allclose(extras["origin"], good.tree.frame.origin, atol=1e-4)
    scene = trimesh.load(io.BytesIO(data), file_type="glb")
    names = set(scene.graph.nodes_geometry)
    assert any("not seen by the scan" in n for n in names)
    ranked = {p.label for p in good.points if p.usable}
    assert {n.split()[2] for n in names if n.startswith("anchor ")} == ranked
    everything = scene.to_geometry()
    up = everything.vertices @ np.array([[1.0, 0, 0], [0, 0, 1.0], [0, -1.0, 0]])
    low, high = good.tree.graph.xyz.min(axis=0), good.tree.graph.xyz.max(axis=0)
    np.testing.assert_allclose(up.min(axis=0), low, atol=0.5)
    np.testing.assert_allclose(up.max(axis=0), high, atol=0.5)


def test_tubes_hold_the_volume_of_their_limbs() -> None:
    """A straight tapered limb as a tube has the volume of its frustum, but for the flats of a 12-sided ring."""
    from treescan.outputs.shapes.tubes import rings, tube_faces

    line, radius, sides = np.array([[0.0, 0, 0], [0.3, 0.1, 1.0], [0.6, 0.2, 2.0]]), np.array([0.2, 0.15, 0.1]), 12
    vertex, _ = rings(line, radius, sides)
    faces = tube_faces(np.array([0, 1]), sides)
    flat = vertex.reshape(-1, 3)
    cap0, cap1 = len(flat), len(flat) + 1
    ends = [[cap0, (j + 1) % sides, j] for j in range(sides)] + [[cap1, 2 * sides + j, 2 * sides + (j + 1) % sides] for j in range(sides)]
    mesh = trimesh.Trimesh(np.vstack([flat, line[0], line[-1]]), np.vstack([faces, ends]), process=False)
    assert mesh.is_watertight
    length = np.linalg.norm(line[-1] - line[0])
    polygon = sides / 2 * math.sin(2 * math.pi / sides)
    assert mesh.volume == pytest.approx(polygon * length / 3 * (0.2**2 + 0.2 * 0.1 + 0.1**2), rel=1e-9)


@pytest.mark.parametrize("value", [float("nan"), float("inf"), -float("inf"), np.float32("nan")])
def test_no_number_is_written_as_nan_or_infinity(value: float) -> None:
    """NaN and infinities become null at any depth."""
    assert number(value) is None
    assert place([value, 1.0, 2.0])[0] is None
    assert json.loads(dumps({"a": [value, {"b": np.array([value])}]})) == {"a": [None, {"b": [None]}]}


def test_json_knows_numpy_and_tuples() -> None:
    """Arrays, tuples and numpy scalars become plain JSON."""
    assert tame({"a": (np.int32(3), np.bool_(True), np.float64(0.5), np.arange(2))}) == {"a": [3, True, 0.5, [0, 1]]}


def test_a_tree_without_any_throw_or_work_is_still_written(good: Assessment, tmp_path: Path) -> None:
    """No standing place, no throw, no work point: every file is written all the same."""
    from treescan.planning.tie_in_point import Work
    from treescan.throw.throw_path import Stances, ThrowTable

    m = len(good.tree.graph.unions)
    none = ThrowTable(Stances(np.zeros((0, 3))), {}, np.zeros((m, 0, 3), np.float32), ("",) * m)
    work = Work(np.zeros((0, 3)), (), (), np.zeros(0))
    nothing = np.zeros(0, bool)
    points = tuple(
        replace(
            p,
            throw=None,
            reach=replace(
                p.reach,
                served=nothing,
                angle=np.zeros(0),
                fouled=np.zeros(0, np.int32),
                share=float("nan"),
                worst_angle=float("nan"),
            ),
        )
        for p in good.points
    )
    paths = write_outputs(replace(good, throws=none, work=work, points=points), tmp_path)
    assert {"anchors.json", "report.html", "job_sheet.pdf", "site.gpkg", "tree.glb"} <= {p.name for p in paths}
    assert all(p.stat().st_size > 500 for p in paths)


def test_the_page_and_the_folder_are_light(good: Assessment, tmp_path: Path) -> None:
    """The page stays under 12 MB, all files together under 40."""
    write_outputs(good, tmp_path)
    assert (tmp_path / "report.html").stat().st_size < 12e6
    assert sum(p.stat().st_size for p in tmp_path.rglob("*") if p.is_file()) < 40e6
