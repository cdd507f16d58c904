"""Work, cuts and findings reach the plan as they were written: from a word, a table, a spreadsheet."""

from __future__ import annotations

import json

import numpy as np
import pytest
from hands import plain_tree
from strategies import alone

from treescan.cloud.point_cloud import LOCAL, Frame
from treescan.errors import BadInput
from treescan.faces.cli.commands import run
from treescan.faces.user_files.asked_work import limb_named, read_work
from treescan.faces.user_files.stated import read_cuts, read_overrides
from treescan.planning.settings import PlanningSettings
from treescan.wood.files.write_tree import write_tree
from treescan.wood.graph import ScanFitness, TracedTree
from treescan.wood.quality.stem_figures import stem_figures

S = PlanningSettings()


def traced(frame=LOCAL) -> TracedTree:
    graph = plain_tree()
    beside = alone(graph)
    return TracedTree(graph, beside, frame, stem_figures(graph, beside.terrain), ScanFitness("assessable", ()), "made up")


def written(tmp_path, text, name="table.csv"):
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return path


def test_work_by_word_limb_and_sample():
    """The whole crown, a limb by number or union, and random points; several are joined in the order asked."""
    tree = traced()
    limb = limb_named(tree.graph, "U02")
    by_union, _ = read_work(["limb:U02"], tree, S, 1)
    by_number, _ = read_work([f"limb:{limb}"], tree, S, 1)
    both, _ = read_work(["limb:U02", "sample:20:4"], tree, S, 3)
    again, _ = read_work(["limb:U02", "sample:20:4"], tree, S, 3)
    crown, _ = read_work(["crown"], tree, S, 1)

    np.testing.assert_array_equal(by_union.xyz, by_number.xyz)
    assert len(both) == len(by_union) + 20 and both.kind[-1] == "sample"
    np.testing.assert_array_equal(both.xyz, again.xyz)
    assert len(crown) == S.work_points


def test_a_table_of_work_lands_where_it_says(tmp_path):
    """Rows give places in the cloud's own coordinates (here feet), with z or the height above ground, or name a union; semicolons will do."""
    tree = traced(Frame(np.array([100.0, 200.0, 30.0]), None, 0.3048, 0.3048))
    x, y = (100.0 + 1.0) / 0.3048, 200.0 / 0.3048
    path = written(tmp_path, f"name;kind;x;y;z;height_m;union;weight\ntip;prune;{x};{y};{(30.0 + 6.0) / 0.3048};;;2\nlow;cut;{x};{y};;6;;\n;;;;;;U01;\n")
    work, _ = read_work([str(path)], tree, S, 1)

    np.testing.assert_allclose(work.xyz[:2], [[1, 0, 6], [1, 0, 6]], atol=1e-9)
    assert work.label[:2] == ("tip", "low") and work.kind[:2] == ("prune", "cut")
    assert work.weight[:2].tolist() == [2.0, 1.0]
    assert len(work) > 2


def test_cuts_come_in_their_order(tmp_path):
    """Cuts are sorted by `order`; a limb, a union and a stem height each find their node; life support and rigging go along."""
    graph = plain_tree()
    path = written(tmp_path, "order,name,limb,union,stem_height_m,life_support,rigging\n3,top,,,12,U02,U01\n1,,,U03,,U01,\n2,low limb,1,,,,\n")
    removal = read_cuts(path, graph)

    assert [c.label for c in removal.cuts] == ["union U03", "low limb", "top"]
    assert graph.limb[removal.cuts[0].node] == limb_named(graph, "U03")
    assert graph.limb[removal.cuts[1].node] == 1
    assert graph.limb[removal.cuts[2].node] == 0 and graph.xyz[removal.cuts[2].node, 2] >= 12
    assert removal.life_support == ("U01", "", "U02")
    assert removal.rigging == (-1, -1, int(graph.unions.node[0]))


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("o.toml", '[[override]]\nkind = "dead"\nwho = "A"\nwhen = "today"\nwhy = "bark off"\nabove = 9\n'),
        ("o.json", '[{"kind": "dead", "who": "A", "when": "today", "why": "bark off", "above": 9}]'),
        ("o.csv", "kind,who,when,why,above\ndead,A,today,bark off,9\n"),
    ],
)
def test_findings_read_alike_from_every_kind_of_table(tmp_path, name, text):
    """TOML, JSON and CSV give the same statement."""
    (one,) = read_overrides(written(tmp_path, text, name), plain_tree())

    assert (one.kind, one.who, one.why, one.when, one.above, one.limb) == ("dead", "A", "bark off", "today", 9.0, -1)


@pytest.mark.parametrize(
    ("reader", "text", "part"),
    [
        (lambda p: read_overrides(p, plain_tree()), "kind,who,when\nrefused,A,today\n", "row 1 lacks why"),
        (lambda p: read_overrides(p, plain_tree()), "kind,who,when,why\nrefused,A,today,soft\n", "which limb or union"),
        (lambda p: read_overrides(p, plain_tree()), "kind,who,when,why,colour\nnote,A,today,soft,red\n", "colour"),
        (lambda p: read_overrides(p, plain_tree()), "kind,who,when,why\n", "no row"),
        (lambda p: read_cuts(p, plain_tree()), "limb,union\n1,U01\n", "2 places"),
        (lambda p: read_cuts(p, plain_tree()), "limb\n99\n", "'99'"),
        (lambda p: read_cuts(p, plain_tree()), "union,life_support\nU01,U77\n", "U77"),
        (lambda p: read_cuts(p, plain_tree()), "stem_height_m\ntall\n", "not a number"),
        (lambda p: read_cuts(p, plain_tree()), "limb\n1,2\n", "more cells"),
        (lambda p: read_work([str(p)], traced(), S, 1), "name\ntip\n", "neither x and y"),
        (lambda _: read_work(["sample:many"], traced(), S, 1), "", "number of points"),
        (lambda _: read_work(["limb:U77"], traced(), S, 1), "", "U77"),
        (lambda _: read_work(["deadwood"], traced(), S, 1), "", "no point"),
        (lambda _: read_work(["everything"], traced(), S, 1), "", "neither a file nor a word"),
    ],
)
def test_what_cannot_be_meant_is_refused_in_words(tmp_path, reader, text, part):
    """Each fault is named."""
    with pytest.raises(BadInput) as caught:
        reader(written(tmp_path, text))

    assert part in caught.value.sentence()


def test_a_removal_and_a_refusal_reach_the_files(tmp_path):
    """`plan --cuts --overrides`: the stages and the statement stand in anchors.json, report.html and run.json; the refused union is not ranked;
    without --work the work is at the cuts."""
    write_tree(traced(), tmp_path / "tree.json")
    cuts = written(tmp_path, "union,life_support\nU03,U02\nU02,U02\nU01,\n", "cuts.csv")
    said = written(tmp_path, '[[override]]\nkind="refused"\nunion="U01"\nwho="Inspector"\nwhen="on the day"\nwhy="crack at the collar"\n', "said.toml")
    call = ["plan", str(tmp_path / "tree.json"), "-o", str(tmp_path / "out"), "--cuts", str(cuts), "--overrides", str(said), "--species", "oak", "--quiet"]

    assert run(call) == 0
    anchors = json.loads((tmp_path / "out" / "anchors.json").read_text())
    record = json.loads((tmp_path / "out" / "run.json").read_text())
    page = (tmp_path / "out" / "report.html").read_text()
    stages = anchors["climb"]["removal"]
    assert [s["cut"] for s in stages] == ["union U03", "union U02", "union U01"]
    assert any("move to another anchor" in a for a in stages[1]["alarms"])
    assert not any(p["usable"] for p in anchors["anchors"] if p["union"] == "U01")
    assert [w["work"] for w in anchors["climb"]["ways"]] == ["union U03", "union U02", "union U01"]
    for text in (" ".join(anchors["statements"]), " ".join(record["statements"]), page):
        assert "Inspector" in text and "crack at the collar" in text
    assert "Taking it down, cut by cut" in page
    assert {str(cuts), str(said)} <= {i["file"] for i in record["inputs"]}


@pytest.mark.parametrize(
    ("reader", "name", "text", "part"),
    [
        (lambda p: read_overrides(p, plain_tree()), "o.csv", "kind,limb,value,who,when,why\ndefect,inf,0.5,J,9,x\n", "row 1: limb is 'inf'"),
        (lambda p: read_overrides(p, plain_tree()), "o.csv", "kind,limb,value,who,when,why\ndefect,2.9,0.5,J,9,x\n", "row 1: limb is '2.9'"),
        (lambda p: read_overrides(p, plain_tree()), "o.csv", "kind,union,who,when\nrefused,U01,J,9\n", "row 1 lacks why"),
        (lambda p: read_overrides(p, plain_tree()), "o.json", "5", "no list of rows"),
        (lambda p: read_overrides(p, plain_tree()), "o.json", "[" * 200_000, "nested too deep"),
        (lambda p: read_overrides(p, plain_tree()), "o.csv", "kind,union,limb,who,when,why\nrefused,U01,2,J,9,x\n", "more than one place"),
        (lambda p: read_overrides(p, plain_tree()), "o.csv", "kind,union,who,when,why\nrefused,U99,J,9,x\n", "U99"),
        (lambda p: read_work([str(p)], traced(), S, 1), "w.csv", "x,y,z,weight\n0,0,4.2,0\n", "weight is 0"),
        (lambda p: read_work([str(p)], traced(), S, 1), "w.csv", "x,y,z,weight\n0,0,4.2,nan\n", "weight is 'nan'"),
        (lambda p: read_work([str(p)], traced(), S, 1), "w.csv", "limb\n²\n", "no limb and no union"),
    ],
)
def test_tables_that_broke_something(tmp_path, reader, name, text, part):
    """Tables that gave a traceback, a silent other meaning or words of the language it is written in: one sentence with file and row."""
    with pytest.raises(BadInput) as caught:
        reader(written(tmp_path, text, name))

    assert part in caught.value.sentence() and name in caught.value.sentence()


def test_all_faulty_rows_are_told_in_one_go(tmp_path):
    """Two faulty statements of three, two faulty cuts of three: each by its row."""
    said = written(tmp_path, "kind,union,who,when,why\nrefused,U01,A,now,soft\nrefused,,A,now,soft\ncurse,U01,A,now,soft\n", "said.csv")
    cuts = written(tmp_path, "union,life_support\nU77,\nU03,U02\nU02,U88\n", "cuts.csv")
    with pytest.raises(BadInput) as first:
        read_overrides(said, plain_tree())
    with pytest.raises(BadInput) as second:
        read_cuts(cuts, plain_tree())

    assert all(part in first.value.sentence() for part in ("row 2", "row 3"))
    assert all(part in second.value.sentence() for part in ("row 1", "U77", "row 3", "U88"))


def test_the_order_of_cuts_is_checked_on_reading(tmp_path):
    """A cut of what is already down is told before any throw is searched."""
    with pytest.raises(BadInput, match=r"cut 2 .* takes nothing off"):
        read_cuts(written(tmp_path, "stem_height_m\n6\n9\n"), plain_tree())


def test_a_name_that_stands_for_two_anchors_is_refused(tmp_path):
    """A drawn anchor called like a union, or two drawn ones of one name: nobody knows on which the climber hangs."""
    for named, others in (("U02", ["U02"]), ("U02 MRS", ["U02 MRS"]), ("beech", ["beech", "oak", "beech"])):
        with pytest.raises(BadInput, match=r"names 2 anchors"):
            read_cuts(written(tmp_path, f"union,life_support\nU03,{named}\n"), plain_tree(), others)


def test_a_number_under_union_is_no_limb(tmp_path):
    """`union` 2 means neither U02 nor limb 2: another limb would be sawn."""
    with pytest.raises(BadInput, match=r"union '2' is not a union.*under limb"):
        read_cuts(written(tmp_path, "union\n2\n"), plain_tree())


def test_a_distance_along_a_limb_does_not_go_with_a_height_of_the_stem(tmp_path):
    """It would be passed over in silence."""
    for column in ("at_m", "height_m"):
        with pytest.raises(BadInput, match=f"stem_height_m and {column}"):
            read_cuts(written(tmp_path, f"stem_height_m,{column}\n6,2\n"), plain_tree())


def test_what_the_rigging_rope_runs_over_is_read(tmp_path):
    """A block where nothing is said; anything else by its word, and only with a rigging union."""
    read = read_cuts(written(tmp_path, "union,rigging,rigging_over\nU03,U01,\nU02,U01,Bark\n"), plain_tree())

    assert [read.over_at(k) for k in range(2)] == ["block", "bark"]
    for row in ("U03,U01,rope", "U03,,ring"):
        with pytest.raises(BadInput, match="rigging_over"):
            read_cuts(written(tmp_path, f"union,rigging,rigging_over\n{row}\n"), plain_tree())


def test_a_load_test_in_a_table_is_read_as_numbers_and_a_yes_or_no(tmp_path):
    """A spreadsheet writes text; "no" is no."""
    head = "kind,who,when,why,union,people,bounce,inspected\n"
    (test,) = read_overrides(written(tmp_path, head + "load test passed,J,now,ok,U02,2,1.5,no\n"), plain_tree())

    assert (test.people, test.bounce, test.inspected) == (2.0, 1.5, False)
    for row, said in (("two,1,no", "people"), ("2,9,no", "bounce"), ("2,1,maybe", "inspected"), ("0,1,no", "people")):
        with pytest.raises(BadInput, match=f"{said} is"):
            read_overrides(written(tmp_path, f"{head}load test passed,J,now,ok,U02,{row}\n"), plain_tree())


def test_dead_above_the_top_of_the_tree_is_a_slip_of_units(tmp_path):
    """Feet taken for metres would make nothing dead."""
    top = float(np.ptp(plain_tree().xyz[:, 2]))
    with pytest.raises(BadInput, match=r"nothing of this tree is higher than"):
        read_overrides(written(tmp_path, f"kind,who,when,why,above\ndead,J,now,bare,{top + 1:.1f}\n"), plain_tree())


def test_life_support_may_be_an_anchor_drawn_in_another_tree(tmp_path):
    """Letter for letter, where the site plan has it; else refused."""
    path = written(tmp_path, "union,life_support\nU03,beech fork\n")

    assert read_cuts(path, plain_tree(), ["beech fork"]).life_support == ("beech fork",)
    with pytest.raises(BadInput, match="beech fork"):
        read_cuts(path, plain_tree())
