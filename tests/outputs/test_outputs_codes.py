"""Beside every sentence of a data file stand its code and values, the same in every format."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import pytest
from hands import S, plain_tree, ranked, throw
from made_up_assessment import made_up
from strategies import alone

from treescan.assess import Assessment
from treescan.cloud.point_cloud import Frame
from treescan.outputs.data.anchors_csv import anchors_table
from treescan.outputs.data.anchors_file import anchors_out
from treescan.outputs.data.climb_json import climb_out
from treescan.outputs.data.reason_data import as_data, as_json
from treescan.outputs.data.standing_file import standing_out
from treescan.outputs.gis.gis_layers import layers
from treescan.outputs.strict_json import dumps
from treescan.outputs.text import english
from treescan.outputs.text.say import say
from treescan.outputs.text.templates import names_in
from treescan.outputs.text.wording import ReaderSettings, written_for
from treescan.planning.climb.climb_plan import Climbers, climb_plan
from treescan.planning.tree_context import TreeContext
from treescan.planning.work.removal import Removal, cut_limb, cut_stem
from treescan.planning.work.work_points import default_work
from treescan.reason import Reason
from treescan.trees.beside import Site

PROSE = 4
"""Words from which a text counts as a sentence."""
NO_FINDINGS = {"settings", "cautions", "caution", "species", "source", "classes", "meaning", "isolation"}
"""Fields whose texts are settings, safety text, names of things or the meaning of a figure."""


@pytest.fixture(scope="module")
def good() -> Assessment:
    return made_up()


@pytest.fixture(scope="module")
def climb() -> dict[str, Any]:
    """A removal with anchors drawn in two other trees, so that every part of the plan of the climb is
    filled."""
    graph = plain_tree()
    beside = alone(graph)
    work = default_work(graph, beside, S)
    points = ranked(graph, [throw(graph, k) for k in range(3)])
    site = Site(anchors=(("the beech [old]", (6.0, 0.5, 15.0)), ("the oak", (-6.0, 0.5, 15.0))))
    limb = int(graph.unions.arm_limb[graph.unions.laterals(2)[0]])
    removal = Removal((cut_limb(graph, limb), cut_stem(graph, 9.0, "top <fork|crotch>")), ("U03", "U03"))
    plan = climb_plan(
        TreeContext(graph, beside, site, work, S), points, Climbers(1000.0, two_people=False), removal=removal
    )
    frame = Frame((0.0, 0.0, 0.0), None)
    return climb_out(SimpleNamespace(tree=SimpleNamespace(frame=frame), work=work, climb=plan, asked=SimpleNamespace(removal=removal)))


def objects(value: Any) -> Iterator[dict[str, Any]]:
    """Every object of a file."""
    if isinstance(value, dict):
        yield value
        for name, inner in value.items():
            if name not in NO_FINDINGS and not name.endswith("_data"):
                yield from objects(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from objects(inner)


def sentences(value: Any) -> bool:
    texts = value if isinstance(value, list) else [value]
    return any(isinstance(t, str) and len(t.split()) >= PROSE for t in texts)


def findings(value: Any) -> Iterator[dict[str, Any]]:
    """Every finding under a `_data` field, those inside others too."""
    for one in value if isinstance(value, list) else [value]:
        if isinstance(one, dict) and "code" in one:
            yield one
            for inner in one["values"].values():
                yield from findings(inner)


def walked(content: dict[str, Any]) -> int:
    """Findings of a file, each looked at."""
    count = 0
    for found in objects(content):
        for name, value in found.items():
            data = found.get(f"{name}_data")
            if name in NO_FINDINGS or name.endswith("_data"):
                continue
            assert not sentences(value) or data is not None, (name, value)
            if isinstance(data, list) and isinstance(value, list):
                assert len(data) == len(value), name
            for one in findings(data):
                count += 1
                assert one["code"] in english.TEXTS, one
                assert names_in(english.TEXTS[one["code"]]) <= set(one["values"]), one
    return count


def test_anchors_json_holds_code_and_values_beside_every_sentence(good: Assessment) -> None:
    """No text of four words and more without them, as many as there are sentences, every code known, strict
    JSON."""
    assert walked(json.loads(dumps(anchors_out(good)))) > 20
    assert walked(json.loads(dumps(standing_out(good)))) >= 0
    assert walked(json.loads(dumps(anchors_out(made_up(assessable=False))))) > 0


def test_the_plan_of_the_climb_does_too(climb: dict[str, Any]) -> None:
    """Sets, lines to other trees, redirects, rescue and cuts; names that people gave stay letter for
    letter."""
    assert walked(json.loads(json.dumps(climb, allow_nan=False))) > 20
    assert climb["neighbours"]["straight"][0]["words_data"]["values"]["anchor"] == "the beech [old]"
    assert "the beech [old]" in climb["neighbours"]["straight"][0]["words"]
    assert (
        climb["removal"][1]["cut"] == "top <fork|crotch>"
        and climb["removal"][0]["cut_data"]["code"] == "cut_limb"
    )
    assert {d["code"] for s in climb["removal"] for d in s["alarms_data"]} >= {
        "support_on_piece",
        "support_gone",
    }


def test_a_finding_says_the_same_from_its_data(good: Assessment) -> None:
    """Code and values of a file give the sentence that stands beside them, findings inside others
    included."""

    def again(data: Any) -> Any:
        if isinstance(data, dict):
            return Reason(data["code"], **{name: again(v) for name, v in data["values"].items()})
        return tuple(again(v) for v in data) if isinstance(data, list) else data

    for anchor in json.loads(dumps(anchors_out(good)))["anchors"]:
        for sentence, data in zip(anchor["reasons"], anchor["reasons_data"], strict=True):
            assert say(again(data)) == sentence


def test_data_is_strict_json_whatever_the_values() -> None:
    """NaN and infinities are null, tuples lists, findings inside findings objects, a person's words
    themselves."""
    inner = Reason("redirect_bears", force=1.5, way=0.25, ratio=float("nan"))
    told = as_data(Reason("redirect_barred", why=(inner, "soft at the <fork|crotch>", float("inf"), True)))
    assert told["values"]["why"] == [as_data(inner), "soft at the <fork|crotch>", None, True]
    assert as_data(inner) == {"code": "redirect_bears", "values": {"force": 1.5, "way": 0.25, "ratio": None}}
    json.dumps(told, allow_nan=False)


def test_the_same_findings_stand_in_csv_and_maps(good: Assessment) -> None:
    """anchors.csv and the layer of anchors carry the codes of anchors.json in a cell, under the same name."""
    found = anchors_out(good)["anchors"]
    rows = list(csv.DictReader(io.StringIO(anchors_table(good))))
    layer = next(one for one in layers(good) if one.name == "anchors")
    for anchor, row, cell, said in zip(
        found, rows, layer.columns["reasons_data"], layer.columns["reasons"], strict=True
    ):
        assert json.loads(row["reasons_data"] or "[]") == json.loads(cell or "[]") == anchor["reasons_data"]
        assert row["reasons"] == said == " | ".join(anchor["reasons"])
    assert as_json(()) == ""


def test_one_field_has_one_name(good: Assessment) -> None:
    """What the map shows of an anchor has the names and the figures of anchors.csv."""
    rows = list(csv.DictReader(io.StringIO(anchors_table(good))))
    layer = next(one for one in layers(good) if one.name == "anchors")
    both = set(rows[0]) & set(layer.columns)
    assert both >= {
        "rank",
        "union",
        "verdict",
        "height",
        "margin_p5",
        "chance",
        "isolation_class",
        "coverage_share",
        "swing_m",
        "rope_m",
    }
    for name in both - {"caution", "reasons", "reasons_data"}:
        for row, value in zip(rows, layer.columns[name], strict=True):
            if isinstance(value, float):
                assert float(row[name]) == pytest.approx(value, rel=1e-5, abs=1e-6)
            else:
                assert row[name] == ("" if value is None else str(value))


def test_a_second_call_answers_the_same_for_every_reader(good: Assessment) -> None:
    """Data files are for programs: whatever reader is set, first or second call, the same bytes."""
    settings = replace(good.settings, reader=ReaderSettings(units="imperial", words="US", language="de"))
    us = replace(good, asked=replace(good.asked, settings=settings))
    first = dumps(anchors_out(us) | {"settings": None})
    with written_for(us.settings.reader):
        second = dumps(anchors_out(us) | {"settings": None})
        map_of_us = layers(us)
    assert first == second == dumps(anchors_out(good) | {"settings": None})
    assert [one.columns for one in map_of_us] == [one.columns for one in layers(good)]
