"""The command line: what it promises on good input, and one sentence with the right exit code on bad input."""

from __future__ import annotations

import json
import re
import shutil
import tomllib
from pathlib import Path

import laspy
import numpy as np
import pytest
from strategies import alone, random_tree
from words_in_files import text_of

from treescan.cautions import all_cautions
from treescan.cloud.point_cloud import LOCAL
from treescan.faces.cli.commands import run
from treescan.sources import SOURCES
from treescan.wood.files.write_tree import write_tree
from treescan.wood.graph import ScanFitness, TracedTree
from treescan.wood.quality.stem_figures import stem_figures


@pytest.fixture(scope="session")
def tree_json(tmp_path_factory) -> Path:
    """A made-up tree as tree.json."""
    graph = random_tree(11, limbs=6)
    beside = alone(graph)
    tree = TracedTree(graph, beside, LOCAL, stem_figures(graph, beside.terrain), ScanFitness("assessable", ()), "made up")
    path = tmp_path_factory.mktemp("tree") / "tree.json"
    write_tree(tree, path)
    return path


@pytest.fixture(scope="session")
def planned(tree_json, tmp_path_factory) -> Path:
    """The folder of one finished plan."""
    folder = tmp_path_factory.mktemp("plan") / "out"
    assert run(["plan", str(tree_json), "-o", str(folder), "--quiet"]) == 0
    return folder


def test_plan_writes_every_file_of_the_contract(planned):
    """All files are there, none half-written, JSON strict."""
    names = {p.name for p in planned.iterdir()}

    assert {"tree.json", "terrain.json", "foliage.npz", "surroundings.json", "anchors.json", "anchors.csv", "standing.json", "report.html", "tree.glb", "run.json"} <= names
    assert not [n for n in names if n.startswith(".part-")]
    for path in planned.glob("*.json"):
        json.loads(path.read_text(), parse_constant=lambda c, p=path: pytest.fail(f"{p}: {c}"))


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="no pdftotext on this machine")
def test_every_file_carries_the_cautions(planned):
    """The first caution stands in full in every file of the folder; all of them wherever there is room for more than a table cell."""
    files = [p for p in planned.rglob("*") if p.is_file()]
    assert {p.suffix for p in files} >= {".json", ".npz", ".csv", ".parquet", ".html", ".pdf", ".glb", ".gpkg", ".zip", ".md"}
    for path in files:
        words = " ".join(text_of(path).split())
        for caution in all_cautions()[: 1 if path.suffix == ".csv" else None]:
            assert " ".join(caution.split()) in words, path.name


def test_plan_on_its_own_tree_json_gives_the_same_anchors(planned, tmp_path):
    """Planning again from the tree.json it wrote changes no byte of anchors.json."""
    assert run(["plan", str(planned / "tree.json"), "-o", str(tmp_path / "again"), "--quiet"]) == 0

    assert (tmp_path / "again" / "anchors.json").read_bytes() == (planned / "anchors.json").read_bytes()


def test_the_run_record_names_input_settings_and_versions(planned, tree_json):
    """run.json says what went in, with which settings and seed, and what it took."""
    record = json.loads((planned / "run.json").read_text())

    assert record["inputs"][0]["file"] == str(tree_json)
    assert re.fullmatch("[0-9a-f]{64}", record["inputs"][0]["sha256"])
    assert record["asked"]["seed"] == 1
    assert record["settings"]["loads.climber_mass"] > 0
    assert record["versions"]["numpy"]
    assert record["timings_s"]


def test_shown_settings_can_be_given_back(capsys, tmp_path):
    """What --show-settings prints is TOML that --settings takes, and every line names a source."""
    assert run(["plan", "--show-settings"]) == 0
    text = capsys.readouterr().out

    path = tmp_path / "s.toml"
    path.write_text(text)
    assert run(["plan", "--show-settings", "--settings", str(path)]) == 0
    assert capsys.readouterr().out == text
    assert tomllib.loads(text)["loads"]["climber_mass"] > 0
    for line in text.splitlines():
        if "=" in line:
            assert any(s.title in line for s in SOURCES.values()), line


BAD = {
    "no such file": ["plan", "nowhere.laz", "-o", "OUT"],
    "no such tree.json": ["plan", "nowhere.json", "-o", "OUT"],
    "a folder": ["plan", "TMP", "-o", "OUT"],
    "no output": ["plan", "TREE"],
    "no input": ["plan"],
    "unknown option": ["plan", "TREE", "-o", "OUT", "--colour", "red"],
    "unknown command": ["climb"],
    "unknown system": ["plan", "TREE", "-o", "OUT", "--system", "ladder"],
    "a place that is none": ["trace", "TEXT", "-o", "OUT", "--at", "here"],
    "a tree chosen in a tree.json": ["plan", "TREE", "-o", "OUT", "--at", "1,2"],
    "a mass of nothing": ["plan", "TREE", "-o", "OUT", "--climber-mass", "-5"],
    "settings that are no TOML": ["plan", "TREE", "-o", "OUT", "--settings", "TEXT"],
    "settings that are not there": ["plan", "TREE", "-o", "OUT", "--settings", "nowhere.toml"],
    "a site that is no GeoJSON": ["plan", "TREE", "-o", "OUT", "--site", "TEXT"],
    "work that is not there": ["plan", "TREE", "-o", "OUT", "--work", "nowhere.geojson"],
    "text that is no cloud": ["inspect", "TEXT"],
}


@pytest.mark.parametrize("call", BAD.values(), ids=BAD.keys())
def test_bad_input_is_one_sentence_and_exit_code_2(call, tree_json, tmp_path, capsys):
    """No traceback, no half-written folder: one line on standard error, exit code 2."""
    (tmp_path / "words.txt").write_text("climb the tree, they said = {\n")
    names = {"TREE": str(tree_json), "OUT": str(tmp_path / "out"), "TMP": str(tmp_path), "TEXT": str(tmp_path / "words.txt")}

    code = run([names.get(c, c) for c in call])
    err = capsys.readouterr().err

    assert code == 2, err
    assert err.startswith("treescan: ")
    assert err.count("\n") == 1
    assert "Traceback" not in err
    assert not (tmp_path / "out").exists()


def test_an_interrupted_run_leaves_no_partial_file(tree_json, tmp_path, monkeypatch, capsys):
    """Ctrl-C during writing: exit code 130, one sentence, no temporary file left."""
    from treescan.faces.cli import jobs

    def stop(*_):
        (tmp_path / "out").mkdir(exist_ok=True)
        raise KeyboardInterrupt

    monkeypatch.setattr(jobs, "write_outputs", stop)

    assert run(["plan", str(tree_json), "-o", str(tmp_path / "out"), "--quiet"]) == 130
    assert "stopped" in capsys.readouterr().err
    assert not list((tmp_path / "out").glob(".part-*"))


def test_the_help_names_every_rope_system():
    """The names the command line lists without loading the rooms are those the loads room judges."""
    from treescan.faces.cli.options import SYSTEM_NAMES
    from treescan.loads.rope.rope_systems import SYSTEMS

    assert tuple(SYSTEMS) == SYSTEM_NAMES


def test_json_mode_speaks_json_only(tree_json, tmp_path, capsys):
    """With --json every line of standard output is a JSON object; the last one is the result."""
    assert run(["plan", str(tree_json), "-o", str(tmp_path / "out"), "--json"]) == 0

    lines = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert all(set(line) <= {"progress", "result"} for line in lines)
    result = lines[-1]["result"]
    assert any(f.endswith("report.html") for f in result["files"])
    assert len(result["summary"]) == len(result["summary_data"])
    assert {"summary_tree", "wrote_report"} <= {found["code"] for found in result["summary_data"]}
    (figures,) = [found["values"] for found in result["summary_data"] if found["code"] == "summary_tree"]
    assert figures["height"] > 1.0


@pytest.mark.slow
def test_two_halves_of_a_scan_are_joined_by_also(tmp_path, capsys):
    """`--also` takes further scans of the tree: both files are read, joined, and noted; a scan of nothing is refused in one sentence."""
    sample = Path(__file__).parents[2] / "sample_clouds" / "marl_steps_slope.laz"
    cloud = laspy.read(sample)
    for k in range(2):
        half = laspy.LasData(cloud.header)
        half.points = cloud.points[np.arange(k, len(cloud.points), 2)]
        half.write(str(tmp_path / f"half{k}.laz"))
    out = tmp_path / "tree.json"

    assert run(["trace", str(tmp_path / "half0.laz"), "--also", str(tmp_path / "half1.laz"), "-o", str(out)]) == 0
    said = capsys.readouterr().out

    assert "half1.laz lies on half0.laz as it was read and was not moved" in said.replace(str(tmp_path) + "/", "")
    assert run(["trace", str(tmp_path / "half0.laz"), "--also", str(tmp_path / "none.laz"), "-o", str(out)]) == 2
    assert run(["trace", str(out), "--also", str(tmp_path / "half1.laz"), "-o", str(tmp_path / "again.json")]) == 2


@pytest.mark.slow
def test_the_readme_shows_what_the_command_prints(tmp_path, monkeypatch, capsys):
    """The block "What it prints" is the command's own output, line by line; "..." stands for what is left out."""
    root = Path(__file__).parents[2]
    block = re.search(r"```\n\$ treescan (plan [^\n]*)\n(.*?)```", (root / "README.md").read_text(encoding="utf-8"), re.DOTALL)
    assert block is not None
    monkeypatch.chdir(tmp_path)
    (tmp_path / "sample_clouds").symlink_to(root / "sample_clouds")
    assert run(block[1].split()) == 0
    printed = capsys.readouterr().out
    pattern = ".*".join(map(re.escape, re.split(r"\s*\.\.\.\s*", block[2])))
    assert re.match(pattern, printed, re.DOTALL), printed
