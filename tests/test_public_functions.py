"""The plain functions of the package: every input again, throws from one place, tables, names, short reprs."""

from __future__ import annotations

import json
import shutil
import subprocess
from html import unescape
from pathlib import Path

import numpy as np
import pytest
from hands import plain_tree
from test_assess import traced

import treescan
from treescan.assess import Settings, judged_again, plan, throws_from
from treescan.errors import BadInput
from treescan.loads.checks import anchor
from treescan.outputs.data.anchors_file import anchors_out
from treescan.outputs.data.tables import KINDS, table
from treescan.outputs.drawing.stage_drawing import stage_pictures
from treescan.outputs.job_sheet.job_sheet import sheet_bytes
from treescan.outputs.report.report import report_html
from treescan.outputs.text.say import say_all
from treescan.planning.ranking.overrides import Override
from treescan.planning.work.removal import Removal, cut_limb, cut_stem
from treescan.planning.work.work_points import work_at_points
from treescan.settings import merged
from treescan.trees.beside import Conductor, Site

GRAPH = plain_tree()
REMOVAL = Removal(
    (cut_stem(GRAPH, 12.5), cut_limb(GRAPH, 1), cut_stem(GRAPH, 7.0)), ("U02", "U02", ""), (-1, int(GRAPH.unions.node[1]), -1)
)
SITE = Site(
    roads=(np.array([[3.0, -9.0], [8.0, -9.0], [8.0, 9.0], [3.0, 9.0]]),),
    conductors=(Conductor(np.array([[9.0, -40.0, 9.0], [9.0, 40.0, 9.0]]), 20e3, "mill line"),),
    anchors=(("the oak", (-4.0, 0.5, 16.0)),),
)
PLACES = work_at_points(GRAPH, [[2.0, 0.0, 7.0], [-1.5, 0.6, 9.5]], ["a", "b"])
OTHER = merged(Settings(), {"planning": {"rope_angle_limit_deg": 30.0, "min_limb": 0.06}, "throw": {"min_chance": 0.05}})
STATED = (Override("refused", "A", "soft", "now", union="U01"),)


@pytest.fixture(scope="module")
def first():
    return plan(traced(GRAPH), species="oak", overrides=STATED)


def numbers(value, path=""):
    """Every number of nested data by its place."""
    if isinstance(value, dict):
        for k, v in value.items():
            yield from numbers(v, f"{path}/{k}")
    elif isinstance(value, (list, tuple)):
        for i, v in enumerate(value):
            yield from numbers(v, f"{path}/{i}")
    elif isinstance(value, bool) or not isinstance(value, (int, float)):
        yield path, str(value)
    else:
        yield path, float(value)


def same(one, other):
    """Every number of anchors.json to 1e-9, every word alike."""
    a, b = dict(numbers(anchors_out(one))), dict(numbers(anchors_out(other)))
    assert a.keys() == b.keys()
    for key, value in a.items():
        assert value == (pytest.approx(b[key], rel=1e-9, abs=1e-9, nan_ok=True) if isinstance(value, float) else b[key]), key


CHANGES = {
    "work": {"work": PLACES},
    "site": {"site": SITE},
    "removal": {"removal": REMOVAL},
    "settings": {"settings": OTHER},
    "all": {"work": PLACES, "removal": REMOVAL, "site": SITE, "settings": OTHER},
}


@pytest.mark.parametrize("change", CHANGES.values(), ids=CHANGES.keys())
def test_another_work_site_removal_or_settings_is_answered_as_a_new_plan_would(first, change):
    """Each equal to a fresh plan of the same inputs to 1e-9; and back again to the first, work that was the default included."""
    again = judged_again(first, **change)
    same(again, plan(traced(GRAPH), species="oak", overrides=STATED, **change))
    same(judged_again(again, work=None, site=None, removal=None, settings=None), first)


def test_a_change_of_cuts_searches_no_throw(first, monkeypatch):
    """Work, cuts, climber and species leave every throw as it was."""

    def forbidden(*_, **__):
        raise AssertionError("searched again")

    monkeypatch.setattr("treescan.assess.search_throws", forbidden)
    done = judged_again(first, work=PLACES, species="ash", climber_mass=120.0)
    assert len(done.work) == 2 and done.settings.loads.climber_mass == 120.0


UNMET = {
    "anchor": Site(anchors=(("the oak", (-4.0, 0.5, 16.0)),)),
    "base": Site(bases=(("the ash", (-4.0, 0.5, 1.0)),)),
    "no wire": Site(wires=0.0),
}


@pytest.mark.parametrize("site", UNMET.values(), ids=UNMET.keys())
def test_what_no_throw_meets_searches_no_throw(first, site, monkeypatch):
    """An anchor in another tree, what basal lines are tied to, wires where the scan saw none: as a fresh plan has it, from the throws there are."""
    fresh = plan(traced(GRAPH), species="oak", overrides=STATED, site=site)

    def forbidden(*_, **__):
        raise AssertionError("searched again")

    monkeypatch.setattr("treescan.assess.search_throws", forbidden)
    again = judged_again(first, site=site)
    same(again, fresh)
    same(judged_again(again, site=None), first)


@pytest.mark.parametrize("site", [Site(no_stand=SITE.roads), Site(conductors=SITE.conductors), SITE], ids=["area", "conductor", "all"])
def test_what_a_throw_may_meet_has_the_throws_searched_again(first, site, monkeypatch):
    """An area or a conductor drawn, or one that is taken away."""
    drawn, asked = judged_again(first, site=site), []
    monkeypatch.setattr("treescan.assess.search_throws", lambda *_: asked.append(1) or first.throws)
    judged_again(first, site=site)
    judged_again(drawn, site=None)
    judged_again(drawn, site=site)
    assert len(asked) == 2


def test_every_answer_is_heard_as_it_stands_in_the_plan(first):
    """The union asked for first, then by the place in the list so far; each answer is the plan's own, and told once."""
    heard, label = [], [p for p in first.points if p.usable][-1].label

    again = judged_again(first, species="ash", heard=lambda check, n, of: heard.append((check, n, of)), first=label)
    order = [first.tree.graph.unions.label[check.configuration.union] for check, _, _ in heard]
    ranked = [p.label for p in first.points if p.usable and p.label != label]
    rest = order[order.count(label) :]

    assert [n for _, n, _ in heard] == list(range(1, len(again.checks.anchors) + 1)) and {of for _, _, of in heard} == {len(heard)}
    assert set(order[: order.count(label)]) == {label}
    assert list(dict.fromkeys(rest))[: len(set(ranked))] == list(dict.fromkeys(ranked))
    assert {id(check) for check, _, _ in heard} == {id(check) for check in again.checks.anchors}


def judged_for(change, first, monkeypatch):
    """What is judged by the forces when a plan changes, and the plan then."""
    asked, judge = [], anchor.check_anchor

    def counted(tree, configuration, work, **how):
        asked.append(configuration)
        return judge(tree, configuration, work, **how)

    monkeypatch.setattr(anchor, "check_anchor", counted)
    monkeypatch.setattr("treescan.assess.check_anchor", counted)
    return asked, judged_again(first, **change)


HARDWARE = merged(Settings(), {"planning": {"mrs_hardware": ["pulley"]}})


@pytest.mark.parametrize(
    ("change", "systems"),
    [({"settings": HARDWARE}, {"MRS"}), ({"systems": ("MRS",)}, set()), ({"removal": REMOVAL, "work": None}, None), ({"species": "ash"}, None)],
    ids=["hardware", "fewer systems", "work", "species"],
)
def test_answers_that_nothing_touches_are_not_worked_out_again(first, monkeypatch, change, systems):
    """Another hardware judges its own lines alone, fewer systems none; other work or wood all of them. The plan is that of a new run."""
    asked, again = judged_for(change, first, monkeypatch)

    assert {c.system for c in asked} == (systems if systems is not None else {c.system for c, _ in first.checks.configurations})
    same(again, plan(traced(GRAPH), species=change.get("species", "oak"), overrides=STATED, **{k: v for k, v in change.items() if k != "species"}))


def test_a_place_nobody_stands_at_leaves_the_answers_of_lines_that_stay(first, monkeypatch):
    """Another site has the throws searched again; lines that lie as before are not judged again."""
    asked, again = judged_for({"site": Site(no_stand=(np.array([[40.0, 40.0], [41.0, 40.0], [41.0, 41.0]]),))}, first, monkeypatch)

    assert not asked and len(again.checks.anchors) == len(first.checks.anchors)


def test_cuts_that_take_nothing_are_refused_again(first):
    """As `plan` refuses them."""
    with pytest.raises(BadInput, match="takes nothing off"):
        judged_again(first, removal=Removal((cut_stem(GRAPH, 6.0), cut_stem(GRAPH, 9.0))))


def test_throws_from_one_place_to_one_union(first):
    """From where the best throw of the plan stands it is found again, and the most certain comes first; an unknown union is refused."""
    (row, _), best = max(first.throws.best.items(), key=lambda found: found[1].chance)
    label = GRAPH.unions.label[row]
    found = throws_from(first, best.stand[:2], label)

    assert found and all(t.union == row for t in found)
    assert [t.chance for t in found] == sorted((t.chance for t in found), reverse=True)
    assert all(np.allclose(t.stand[:2], best.stand[:2]) for t in found)
    assert found[0].chance == pytest.approx(best.chance, abs=0.25)
    with pytest.raises(BadInput, match="not a union"):
        throws_from(first, (5.0, 0.0), "U99")
    with pytest.raises(BadInput, match="not seen"):
        throws_from(first, (5000.0, 0.0), label)


@pytest.mark.parametrize("kind", KINDS)
def test_every_table_is_a_data_frame(first, kind):
    """Of a plan with and without cuts; one row a cut."""
    removal = judged_again(first, removal=REMOVAL, site=SITE)
    frame = table(removal, kind)

    assert list(frame.columns)[-1] == "caution"
    assert len(table(first, "cuts")) == 0
    if kind == "cuts":
        assert list(frame["cut"]) == [1, 2, 3]
        stage = removal.climb.stages[1]
        assert frame["mass_kg"][1] == pytest.approx(stage.mass.median, rel=1e-5)
        assert frame["block_rest_kn"][1] == pytest.approx(stage.block.at_rest / 1000, rel=1e-5)
        assert frame["alarm_count"].tolist() == [len(s.alarms) for s in removal.climb.stages]


def test_what_a_cut_says_stands_in_the_file(first):
    """anchors.json: life support, block, swing, distances and strengths of every cut, in the order of the cuts."""
    told = anchors_out(judged_again(first, removal=REMOVAL, site=SITE))["climb"]["removal"]

    assert [s["number"] for s in told] == [1, 2, 3]
    assert told[0]["planned_life_support"] == "U02"
    assert told[1]["block"]["union"] == "U02"
    assert told[2]["block"] is None
    assert all(s["room"] or s["alarms"] for s in told)
    assert all({"anchor", "margin_p5", "whole_tree_margin_p5", "holds"} <= set(x) for s in told for x in s["strength_then"])
    json.dumps(told)


def test_nothing_shows_itself_in_megabytes(first):
    """A line each, whatever hangs below."""
    removal = judged_again(first, removal=REMOVAL)
    shown = [removal, removal.tree, removal.tree.graph, removal.work, removal.throws, removal.climb, removal.site, removal.asked.removal]
    shown += [removal.points[0], removal.climb.stages[0], removal.checks, removal.ranking, *removal.throws.best.values()]

    model, places, beside = removal.checks.model, removal.ranking.places, removal.tree.beside
    shown += [removal.asked, model, model.sections, model.crown, removal.checks.screening, places, places.scene, removal.climb.neighbours]
    shown += [removal.points[0].check, beside, beside.terrain, beside.surroundings, beside.foliage]

    assert max(len(repr(x)) for x in shown) < 200
    assert "anchors=" in repr(removal) and "Stage(1" in repr(removal.climb.stages[0])


def test_readers_makers_and_tables_are_public(tmp_path):
    """What a user needs to ask from Python is named in the package and listed in the README."""
    readme = (Path(__file__).parent.parent / "README.md").read_text(encoding="utf-8")
    for name in ("Site", "Work", "Removal", "Override", "cut_limb", "cut_stem", "read_site", "read_work", "read_cuts", "read_overrides", "revised", "judged_again", "throws_from", "table"):
        assert name in treescan.__all__
        assert getattr(treescan, name).__doc__
        assert f"`{name}`" in readme, name
    cuts = tmp_path / "cuts.csv"
    cuts.write_text("limb,height_m,name\n0,12.0,top\n1,,\n")
    removal = treescan.read_cuts(cuts, GRAPH)
    assert [c.label for c in removal.cuts] == ["top", "limb 1"]


def test_readers_take_a_path_or_its_name(tmp_path):
    """A string does as well as a Path; one word of work as well as a list."""
    tree = traced(GRAPH)
    beside, frame = tree.beside, tree.frame
    (tmp_path / "cuts.csv").write_text("stem_height_m\n9\n")
    (tmp_path / "said.csv").write_text("kind,who,when,why\nnote,J,now,nothing\n")
    box = [[[8, 8], [9, 8], [9, 9], [8, 8]]]
    road = {"type": "Feature", "properties": {"kind": "road"}, "geometry": {"type": "Polygon", "coordinates": box}}
    (tmp_path / "site.json").write_text(json.dumps({"type": "FeatureCollection", "features": [road]}))
    settings = treescan.Settings().planning

    for kind in (str, Path):
        assert len(treescan.read_cuts(kind(tmp_path / "cuts.csv"), GRAPH).cuts) == 1
        assert treescan.read_overrides(kind(tmp_path / "said.csv"), GRAPH)[0].why == "nothing"
        assert len(treescan.read_site(kind(tmp_path / "site.json"), frame, beside.terrain)[0].areas()) == 1
    one, listed = (treescan.read_work(asked, tree, settings, 1)[0] for asked in ("limb:1", ["limb:1"]))
    assert len(one.xyz) == len(listed.xyz) > 0


def test_what_cannot_be_meant_is_refused_in_words_from_python_too(first):
    """A table that is none, a block at a node that is no union, a rope over something unknown."""
    with pytest.raises(treescan.BadInput, match=r"no table 'tree'.*cuts"):
        table(first, "tree")
    inside = next(n for n in range(1, len(GRAPH)) if n not in GRAPH.unions.node)
    with pytest.raises(treescan.BadInput, match=f"node {inside}"):
        judged_again(first, removal=Removal((cut_stem(GRAPH, 9.0),), ("",), (inside,)))
    with pytest.raises(treescan.BadInput, match=r"rope.*block, ring, bark"):
        Removal((cut_stem(GRAPH, 9.0),), ("",), (int(GRAPH.unions.node[0]),), ("rope",))


def test_an_anchor_on_the_piece_serves_no_cut_of_it(first):
    """One cut, the top above 9 m: no anchor above the cut is said to serve it; one below is left, though nothing of it reaches."""
    done = judged_again(first, removal=Removal((cut_stem(GRAPH, 9.0),)))
    (stage,) = done.climb.stages
    above = {p.name for p in done.points if GRAPH.unions.height[p.union] > 9}

    assert above and not any(p.reach.served.any() for p in done.points if p.name in above)
    assert not any(p.usable for p in done.points if p.name in above)
    assert stage.left


def test_the_set_says_that_it_holds_before_the_first_cut(first):
    """And with which cut each of it goes."""
    done = judged_again(first, removal=Removal((cut_stem(GRAPH, 9.5), cut_stem(GRAPH, 4.0))), work=PLACES)
    told = [r for r in done.climb.anchors.reasons if r.code == "set_in_removal"]

    assert len(told) == bool(done.climb.anchors.points)
    assert {r["anchor"] for t in told for r in t["goes"]} <= {p.name for p in done.climb.anchors.points}
    goes = {name: s.number for s in done.climb.stages for name in s.lost}
    for p in done.points:
        assert [d["cut"] for d in p.doubts if d.code == "goes_with_cut"] == [goes.get(p.name)] * (p.name in goes)
    for r in done.climb.rescue:
        assert [w["cut"] for w in r.reasons if w.code == "rescue_goes_with_cut"] == [goes.get(r.rescue_anchor)] * (r.rescue_anchor in goes)


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="no pdftotext on this machine")
def test_every_cut_is_printed_with_its_drawing_and_alarms(first, tmp_path):
    """On the page: a figure and every alarm of every cut; on the sheet: every alarm in words, every cut by its name."""
    done = judged_again(first, removal=REMOVAL, site=SITE)
    page, sheet = report_html(done), tmp_path / "s.pdf"
    sheet.write_bytes(sheet_bytes(done))
    words = subprocess.run(["pdftotext", "-layout", str(sheet), "-"], check=True, capture_output=True).stdout.decode()
    printed = subprocess.run(["pdftotext", "-raw", str(sheet), "-"], check=True, capture_output=True).stdout.decode() + words
    flat = "".join(printed.split())

    assert page.count('class="cut"') == 3
    for stage, (drawing, caption) in zip(done.climb.stages, stage_pictures(done), strict=True):
        assert str(drawing) in page and caption in unescape(page)
        for alarm in say_all(stage.alarms):
            assert alarm in unescape(page)
            assert "".join(alarm.split()) in flat


def test_a_drawing_shows_what_stands_and_what_comes_off(first):
    """The piece of the last cut stands in the first drawing and is dark in the last; every drawing has one scale and frame."""
    done = judged_again(first, removal=REMOVAL)
    drawn = [d for d, _ in stage_pictures(done)]

    assert len({(d.width, d.height) for d in drawn}) == 1
    assert all(any("use3" in m.css or "piece" in m.css for m in d.marks) for d in drawn)
    stands = [sum(len(p) for m in d.marks if getattr(m, "css", "") == "wood" for p in m.parts) for d in drawn]
    assert stands[0] > stands[1] > stands[2]
    assert stage_pictures(first) == []
