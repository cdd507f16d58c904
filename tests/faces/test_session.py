"""A session: each change answered as a fresh plan would be, undone to the very start, and never lost."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hands import plain_tree
from strategies import alone

from treescan.assess import plan
from treescan.cloud.point_cloud import LOCAL
from treescan.errors import BadInput
from treescan.faces.cli.commands import run
from treescan.faces.session.answers import Answers, answered
from treescan.faces.session.changes import Change
from treescan.faces.session.differences import differences
from treescan.faces.session.history import BASE, History
from treescan.faces.session.inputs import Inputs, arguments
from treescan.faces.session.recorded import with_files
from treescan.faces.session.said import said
from treescan.faces.session.session_file import digest_of, read_session, write_session
from treescan.faces.user_files.asked_work import read_work
from treescan.faces.user_files.drawn import read_site
from treescan.faces.user_files.stated import read_cuts, read_overrides
from treescan.outputs.data.anchors_file import anchors_out
from treescan.outputs.data.standing_file import standing_out
from treescan.outputs.text.say import say, say_all
from treescan.outputs.write import FILES, write_outputs
from treescan.reason import Reason
from treescan.wood.files.read_tree import read_tree
from treescan.wood.files.write_tree import write_tree
from treescan.wood.graph import ScanFitness, TracedTree
from treescan.wood.quality.stem_figures import stem_figures

BASE_INPUTS = Inputs(
    species="oak",
    settings=(
    ("loads.samples", 400),
    ("planning.work_points", 40),
    ("throw.fine_flights", 8),
    ("throw.fine_planes", 64),
    ("throw.methods", ["hand"]),
    ("throw.search_radius", 6.0),
))


@pytest.fixture(scope="module")
def tree() -> TracedTree:
    graph = plain_tree()
    beside = alone(graph)
    return TracedTree(graph, beside, LOCAL, stem_figures(graph, beside.terrain), ScanFitness("assessable", ()), "made up")


@pytest.fixture(scope="module")
def base(tree):
    return answered(tree, BASE_INPUTS)


def finding(kind: str, **values: Any) -> Change:
    return Change("finding", {"row": {"kind": kind, "who": "an inspector", "when": "today", "why": "seen", **values}})


def setting(name: str, value: Any) -> Change:
    return Change("setting", {"name": name, "value": value})


def drawn(what: str, places: Any, volts: float | None = None) -> Change:
    return Change("drawn", {"what": what, "name": "x", "places": places, "volts": volts})


def changes(tree: TracedTree) -> dict[str, Change]:
    label, graph = tree.graph.unions.label[1], tree.graph
    top = [float(v) for v in graph.xyz[int(np.argmax(graph.xyz[:, 2]))]]
    return {
        "species": Change("species", {"name": "willow"}),
        "no species": Change("species", {"name": None}),
        "systems": Change("systems", {"names": ["SRS basal", "MRS"]}),
        "heavy": setting("loads.climber_mass", 130.0),
        "rescuer": setting("loads.rescue_mass", 140.0),
        "test": setting("loads.test_people", 3.0),
        "leaves": setting("loads.leaves", "on"),
        "bare": setting("loads.leaves", "off"),
        "exposure": setting("loads.history.exposure", "enclosed"),
        "years": setting("loads.history.years", 12),
        "angle": setting("planning.rope_angle_limit_deg", 30.0),
        "hardware": setting("planning.mrs_hardware", ["pulley"]),
        "methods": setting("throw.methods", ["launcher"]),
        "spread": setting("throw.hand.side_sd", 0.05),
        "own throws": Change("own throws", {"methods": [{"method": "hand", "throws": 30, "spread": OWN}]}),
        "imperial": setting("reader.units", "imperial"),
        "work words": Change("work", {"words": [f"limb:{label}"], "points": []}),
        "work point": Change("work", {"words": [], "points": [{"name": "deadwood", "kind": "prune", "xyz": top}]}),
        "cuts": Change("cuts", {"rows": [{"limb": 2}, {"stem_height_m": 4.0, "name": "log"}]}),
        "no-stand": drawn("no-stand", [[0, 0], [8, 0], [8, 8], [0, 8]]),
        "building": drawn("building", [[2, -9], [9, -9], [9, -3], [2, -3]]),
        "wire": drawn("conductor", [[-9, 4, 7], [9, 4, 7]], 230.0),
        "wire unknown": drawn("conductor", [[-9, 6, 7], [9, 6, 7]]),
        "anchor": drawn("anchor", [[8, 0.5, 13]]),
        "base": drawn("base", [[-6, 2, 1]]),
        "no wire here": drawn("wires-seen", [[-9, -9], [9, -9], [9, 9], [-9, 9]], 0.0),
        "wires": Change("wires", {"volts": 0.0}),
        "refused": finding("refused", union=label),
        "dead": finding("dead", limb=2),
        "defect": finding("defect", union=label, value=0.6),
        "test failed": finding("load test failed", union=label),
        "test passed": finding("load test passed", union=label, people=3.0, bounce=1.5),
        "note": finding("note", union=label),
        "stand": Change("stand", {"place": [3.0, 3.0], "union": label}),
    }


OWN = {"side_sd": 0.03, "elevation_sd": 0.02, "speed_sd": 0.05, "side_bias": 0.01, "elevation_bias": -0.01, "speed_bias": 0.0}

NAMES = (
    "species", "no species", "systems", "heavy", "rescuer", "test", "leaves", "bare", "exposure", "years", "angle", "hardware",
    "methods", "spread", "own throws", "imperial", "work words", "work point", "cuts", "no-stand", "building", "wire", "wire unknown", "anchor",
    "base", "no wire here", "wires", "refused", "dead", "defect", "test failed", "test passed", "note", "stand",
)  # fmt: skip


def content(a) -> dict[str, Any]:
    return {"anchors": anchors_out(a), "standing": standing_out(a)}


def unlike(one: Any, other: Any, where: str = "") -> list[str]:
    """Places where two contents differ by more than 1e-9."""
    if isinstance(one, dict) and isinstance(other, dict) and one.keys() == other.keys():
        return [u for k in one for u in unlike(one[k], other[k], f"{where}.{k}")]
    if isinstance(one, list) and isinstance(other, list) and len(one) == len(other):
        return [u for i, (a, b) in enumerate(zip(one, other, strict=True)) for u in unlike(a, b, f"{where}[{i}]")]
    if isinstance(one, float) and isinstance(other, float):
        return [] if math.isclose(one, other, rel_tol=1e-9, abs_tol=1e-9) else [where]
    return [] if one == other else [where]


QUICK = {"species", "heavy", "angle", "work words", "no-stand", "defect", "imperial"}
"""The others are slow ones: each is a plan of its own."""


@pytest.mark.parametrize("name", [pytest.param(n, marks=() if n in QUICK else pytest.mark.slow) for n in NAMES])
def test_a_change_is_answered_as_a_fresh_plan_would_be(tree, base, name):
    """To 1e-9 in every number, and word for word; another plan than before, but for what is a question or a note."""
    history = History(BASE_INPUTS).with_change(changes(tree)[name])
    quick = answered(tree, history.inputs, (BASE_INPUTS, base))
    fresh = plan(tree, **arguments(tree, history.inputs))

    assert unlike(content(quick), content(fresh)) == []
    if name not in {"stand", "wires", "no wire here", "imperial", "bare", "years", "anchor", "test"}:
        assert content(quick) != content(base), name


@pytest.mark.slow
def test_changes_one_after_another_are_answered_as_one_fresh_plan(tree):
    """Over a dozen changes, each from the plan before; then back to the very start."""
    answers, history = Answers(tree), History(BASE_INPUTS)
    first = answers.of(history.inputs)
    for name in ("heavy", "cuts", "defect", "species", "no-stand", "angle", "refused", "work words", "leaves", "systems"):
        history = history.with_change(changes(tree)[name])
        now = answers.of(history.inputs)
    fresh = plan(tree, **arguments(tree, history.inputs))

    assert unlike(content(now), content(fresh)) == []
    assert content(answers.of(history.moved(0).inputs)) == content(first)


def test_undo_redo_names_and_withdrawals(tree):
    """A change after undo drops what was undone; a named state stays; a withdrawn line never counts."""
    all_of = changes(tree)
    h = History(BASE_INPUTS).with_change(all_of["heavy"]).with_change(all_of["refused"]).with_change(all_of["note"])
    named = h.with_name("as inspected")
    undone = named.moved(1).with_change(all_of["species"])
    back = h.with_change(Change("withdrawn", {"line": 2}))

    assert h.moved(1).inputs.findings == () and h.moved(1).moved(3) == h
    assert len(undone.lines) == 2 and undone.of_name("as inspected") == h.inputs and undone.of_name(BASE) == BASE_INPUTS
    assert undone.lines[-1][0] == 4  # numbers are never given twice
    assert [f["kind"] for f in back.inputs.findings] == ["note"]
    with pytest.raises(BadInput, match="cannot be withdrawn"):
        h.with_change(Change("withdrawn", {"line": 1}))
    with pytest.raises(BadInput, match="nothing to undo"):
        h.moved(4)


def test_a_session_file_gives_the_history_back_and_refuses_another_tree(tree, tmp_path):
    """Equal after writing and reading; another tree's, another format's and a broken one's fault is one sentence."""
    h = History(BASE_INPUTS)
    for change in changes(tree).values():
        h = h.with_change(change)
    h = h.with_name("all").moved(5)
    path = write_session(tmp_path / "session.json", h, "abc")
    back = read_session(path, "abc")

    assert back == h and back.inputs.key() == h.inputs.key()
    with pytest.raises(BadInput, match="another tree"):
        read_session(path, "abd")
    data = json.loads(path.read_text())
    for broken in ("{", "[]", json.dumps(data | {"at": 99}), json.dumps(data | {"history": [{"line": 1, "kind": "x", "values": {}}]})):
        path.write_text(broken)
        with pytest.raises(BadInput):
            read_session(path)


BAD = [
    ("climb", {}),
    ("species", {"name": 3}),
    ("species", {"name": "a\nb"}),
    ("systems", {"names": []}),
    ("setting", {"name": "loads.samples", "value": 100}),
    ("setting", {"name": "loads.climber_mass", "value": float("nan")}),
    ("setting", {"name": "loads.climber_mass", "value": 5000.0}),
    ("setting", {"name": "planning.mrs_hardware", "value": ["string"]}),
    ("work", {"words": ["/etc/passwd"], "points": []}),
    ("work", {"words": ["out.csv"], "points": []}),
    ("work", {"words": [], "points": [{"name": "x", "kind": "y", "xyz": [0, 0]}]}),
    ("cuts", {"rows": [{"saw": 3}]}),
    ("drawn", {"what": "no-stand", "name": "", "places": [[0, 0], [1, 1]], "volts": None}),
    ("drawn", {"what": "conductor", "name": "", "places": [[0, 0, 1e9], [1, 1, 1]], "volts": None}),
    ("drawn", {"what": "conductor", "name": "", "places": [[0, 0, 5], [1, 1, 5]], "volts": -5}),
    ("wires", {"volts": "20"}),
    ("finding", {"row": {"kind": "refused", "union": "U01"}}),
    ("own throws", {"methods": []}),
    ("own throws", {"methods": [{"method": "sling", "throws": 30, "spread": OWN}]}),
    ("own throws", {"methods": [{"method": "hand", "throws": 30, "spread": {**OWN, "side_sd": 9.0}}]}),
    ("own throws", {"methods": [{"method": "hand", "throws": 30, "spread": {"side_sd": 0.03}}]}),
    ("stand", {"place": [0], "union": "U01"}),
    ("withdrawn", {"line": "1"}),
]


@pytest.mark.parametrize(("kind", "values"), BAD, ids=str)
def test_a_change_that_cannot_be_meant_is_refused(kind, values):
    with pytest.raises(BadInput):
        Change(kind, values)


def test_a_change_about_what_the_tree_has_not_is_refused(tree):
    for change in (finding("refused", union="U99"), finding("dead", limb=999), Change("cuts", {"rows": [{"limb": 999}]}),
                   Change("work", {"words": ["limb:999"], "points": []}), finding("defect", limb=1)):  # fmt: skip
        with pytest.raises(BadInput):
            arguments(tree, History(BASE_INPUTS).with_change(change).inputs)


def test_what_changed_is_told_by_codes_and_can_be_said(tree, base):
    """The first refused: it is lost by that statement, another is first; every line of a history can be said."""
    first = base.points[0]
    after = answered(tree, History(BASE_INPUTS).with_change(finding("refused", union=first.label)).inputs, (BASE_INPUTS, base))
    told = differences(base, after)
    lost = next(r for r in told if r.code == "differs_lost" and r["anchor"] == first.named)

    assert told[0].code == "differs_first" and told[0]["was"] == first.named
    assert lost["why"].code == "stated_against" and lost["rank"] == 1
    assert differences(base, base) == (Reason("differs_nothing"),)
    back = differences(after, base)
    assert any(r.code == "differs_won" and r["why"].code == "stated_against" for r in back)
    for line in (*told, *back, *(said(c, tree) for c in changes(tree).values())):
        assert say(line) and "[" not in say(line), line
    assert "is not ranked now" in " ".join(say_all(told))


@pytest.mark.slow
def test_a_session_replays_to_the_same_bytes_on_the_command_line(tree, tmp_path):
    """Every file of the plan folder, from judged-again plans and from `plan --session`; what the session states is refused beside it."""
    file = tmp_path / "given" / "tree.json"
    file.parent.mkdir()
    write_tree(tree, file)
    read, answers, history = read_tree(file), None, History(BASE_INPUTS)
    answers = Answers(read)
    answers.of(history.inputs)
    for name in ("heavy", "defect", "no-stand", "imperial", "work words"):
        history = history.with_change(changes(tree)[name])
        now = answers.of(history.inputs)
    (tmp_path / "page").mkdir()
    write_outputs(now, tmp_path / "page")
    session = write_session(tmp_path / "session.json", history, digest_of(file))
    asked = ["plan", str(file), "--session", str(session), "-o", str(tmp_path / "line"), "--quiet"]

    assert run([*asked, "--species", "oak"]) == 2
    assert run(asked) == 0
    for name in FILES:
        made = tmp_path / "page" / name
        assert made.exists() == (tmp_path / "line" / name).exists(), name
        if made.exists():
            assert made.read_bytes() == (tmp_path / "line" / name).read_bytes(), name


def planned_with(folder: Path, tree: TracedTree) -> Path:
    """A run.json that names a site plan, cuts, findings and work, each of every kind; the files beside it."""
    label, square = tree.graph.unions.label[1], [[4, 4], [8, 4], [8, 8], [4, 8], [4, 4]]
    areas = [({"kind": k, "name": k}, {"type": "Polygon", "coordinates": [square]}) for k in ("no-stand", "building", "road", "water")]
    line = {"type": "LineString", "coordinates": [[-9, 4, 8], [9, 4, 8]]}
    shapes = [*areas, ({"kind": "conductor", "voltage_kv": 20, "name": "mill line"}, line), ({"kind": "conductor"}, line)]
    shapes += [({"kind": "anchor", "name": "ash", "height_m": 9}, {"type": "Point", "coordinates": [7, 1]})]
    site = {"type": "FeatureCollection", "features": [{"type": "Feature", "properties": p, "geometry": g} for p, g in shapes]}
    (folder / "site.geojson").write_text(json.dumps(site))
    (folder / "cuts.csv").write_text("limb,stem_height_m,life_support\n2,,\n,4.0,\n")
    (folder / "overrides.csv").write_text(f"kind,who,when,why,union,value\ndefect,an inspector,today,seen,{label},0.6\n")
    (folder / "work.csv").write_text("name,kind,x,y,z\ntop,prune,0,0,9\nside,sample,1,0,7\n")
    named = {"site": "site.geojson", "cuts": "cuts.csv", "overrides": "overrides.csv", "work": "work.csv"}
    inputs = [{"file": "tree.json", "role": "tree", "sha256": ""}]
    inputs += [{"file": str(folder / name), "role": role, "sha256": digest_of(folder / name)} for role, name in named.items()]
    asked = {"work": [f"limb:{label}", str(folder / "work.csv")], "wires": "none"}
    (folder / "run.json").write_text(json.dumps({"inputs": inputs, "asked": asked}))
    return folder / "run.json"


def test_the_files_of_a_plan_need_not_be_stated_again(tree, tmp_path):
    """Site, cuts, findings, work and wires of a run.json are asked for as the command line read them; and stand in session.json."""
    record = planned_with(tmp_path, tree)
    now, lost = with_files(BASE_INPUTS, record, tree)
    asked = arguments(tree, now)
    write_session(tmp_path / "session.json", History(now), "x")
    site, removal = read_site(tmp_path / "site.geojson", tree.frame, tree.beside.terrain)[0], read_cuts(tmp_path / "cuts.csv", tree.graph, None)
    work = read_work([f"limb:{tree.graph.unions.label[1]}", tmp_path / "work.csv"], tree, BASE_INPUTS.all_settings().planning, 1)[0]

    assert lost == () and read_session(tmp_path / "session.json").inputs.key() == now.key()
    for column in ("no_stand", "buildings", "roads", "water"):
        assert len(getattr(site, column)) == 1 and np.array_equal(getattr(asked["site"], column)[0], getattr(site, column)[0])
        assert asked["site"].area_names[column] == site.area_names[column]
    assert all(np.array_equal(a.line, b.line) and a.name == b.name for a, b in zip(asked["site"].conductors, site.conductors, strict=True))
    np.testing.assert_array_equal([c.voltage for c in asked["site"].conductors], [c.voltage for c in site.conductors])
    assert len(site.conductors) == 2 and asked["site"].wires == 0.0
    assert [(n, tuple(p)) for n, p in asked["site"].anchors] == [(n, tuple(p)) for n, p in site.anchors]
    assert [c.label for c in asked["removal"].cuts] == [c.label for c in removal.cuts] and len(removal.cuts) == 2
    assert asked["overrides"] == read_overrides(tmp_path / "overrides.csv", tree.graph)
    assert asked["work"].label == work.label and np.array_equal(asked["work"].xyz, work.xyz) and np.array_equal(asked["work"].weight, work.weight)


def test_a_file_of_the_plan_that_is_gone_or_changed_is_named(tree, tmp_path):
    """What is not as it was is not taken over; neither is work whose weights the page cannot say."""
    record = planned_with(tmp_path, tree)
    (tmp_path / "site.geojson").write_text("{}")
    (tmp_path / "cuts.csv").unlink()
    now, lost = with_files(BASE_INPUTS, record, tree)

    assert lost == ("site.geojson", "cuts.csv") and now.drawn == () and now.cuts == () and len(now.findings) == 1
    assert with_files(BASE_INPUTS, tmp_path / "no.json", tree) == (BASE_INPUTS, ())

    record = planned_with(tmp_path, tree)
    held = json.loads(record.read_text())
    (tmp_path / "work.csv").write_text("name,kind,x,y,z,weight\ntop,prune,0,0,9,7\n")
    held["inputs"][-1]["sha256"] = digest_of(tmp_path / "work.csv")
    record.write_text(json.dumps(held))
    assert with_files(BASE_INPUTS, record, tree)[1] == ("work.csv",)
