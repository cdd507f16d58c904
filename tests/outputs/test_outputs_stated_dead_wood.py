"""Dead wood that a person stated stands first on page and sheet, letter for letter, and nothing there denies it."""

from __future__ import annotations

import html
import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from made_up_assessment import made_up

from treescan.assess import Assessment
from treescan.outputs.job_sheet.job_sheet import sheet_bytes
from treescan.outputs.report.report import report_html
from treescan.outputs.report.threats import first_of_each, said_dead, threats
from treescan.outputs.text.say import say
from treescan.planning.ranking.overrides import Override
from treescan.wood.graph import DEAD_SUSPECT

WHY = "bark off, fungus at 15 m; U1 to U9 look alike"
WHO, WHEN = "J., competent person", "on the day, 9:40"
DENIED = "no limb looks dead"
MEANING = "fall on whoever stands, throws or climbs below"


def dead(**place) -> Override:
    return Override("dead", WHO, WHY, WHEN, **place)


def stated(*overrides: Override, **kind: bool) -> Assessment:
    """A made-up tree whose scan shows no dead limb, with statements."""
    a = made_up(**kind)
    u = a.tree.graph.unions
    alive = replace(u, flags=tuple(tuple(f for f in flags if f != DEAD_SUSPECT) for flags in u.flags))
    graph = replace(a.tree.graph, unions=alive)
    return replace(a, tree=replace(a.tree, graph=graph), overrides=overrides)


def first_screen(a: Assessment) -> str:
    """Words of the page before anything is unfolded."""
    page = re.sub(r"<(script|style).*?</\1>", " ", report_html(a).partition('class="folds"')[0], flags=re.DOTALL)
    return " ".join(html.unescape(re.sub(r"<[^>]*>", " ", page)).split())


def first_page(a: Assessment, path: Path) -> str:
    """Words of the sheet's first page."""
    if shutil.which("pdftotext") is None:
        pytest.skip("no pdftotext on this machine")
    path.write_bytes(sheet_bytes(a))
    done = subprocess.run(["pdftotext", "-raw", "-l", "1", str(path), "-"], check=True, capture_output=True)
    return " ".join(done.stdout.decode().split())


KINDS = pytest.mark.parametrize("kind", [{}, {"judged": False}, {"assessable": False}], ids=["ranked", "none ranked", "hopeless"])


@KINDS
def test_the_first_screen_says_what_was_stated(kind):
    """Who, when and why in quotes, what it means, and no denial; also where nothing is ranked."""
    shown = first_screen(stated(dead(above=9.0), **kind))

    assert f"{WHEN}, {WHO}: everything above 9.0 m" in shown
    assert f"“{WHY}”" in shown
    assert MEANING in shown
    assert DENIED not in report_html(stated(dead(above=9.0), **kind))
    assert "none seen in the scan" not in shown


@KINDS
def test_the_sheets_first_page_says_it_too(kind, tmp_path):
    """The same words for the crew."""
    shown = first_page(stated(dead(above=9.0), **kind), tmp_path / "sheet.pdf")

    assert f"{WHEN}, {WHO}: everything above 9.0 m" in shown
    assert f"“{WHY}”" in shown
    assert MEANING in shown
    assert DENIED not in shown


def test_without_a_word_of_it_the_scan_alone_is_told(tmp_path):
    """The trees of these tests do deny it until somebody speaks; a statement on other things changes nothing."""
    other = Override("defect", WHO, "crack", WHEN, limb=2, value=0.5)
    for a in (stated(), stated(other)):
        assert DENIED in report_html(a)
        assert DENIED in first_page(a, tmp_path / "sheet.pdf")


@pytest.mark.parametrize("kind", ["note", "refused", "load test failed"])
def test_a_person_who_speaks_of_dead_wood_under_another_heading_is_not_denied(kind, tmp_path):
    """A note on deadwood or a limb refused because it is dead."""
    place = {} if kind == "note" else {"limb": 2}
    a = stated(Override(kind, WHO, "Deadwood over the path", WHEN, **place))
    for shown in (first_screen(a), first_page(a, tmp_path / "sheet.pdf")):
        assert "“Deadwood over the path”" in shown
        assert DENIED not in shown


def test_every_statement_stands_there(tmp_path):
    """Five of them, on limbs, a union and a height: none is left out for room."""
    label = made_up().tree.graph.unions.label[0]
    said = [Override("dead", f"person {i}", f"finding {i}", WHEN, limb=i + 1) for i in range(3)]
    said += [Override("dead", "person 3", "finding 3", WHEN, union=label), Override("dead", "person 4", "finding 4", WHEN, above=9.0)]
    a = stated(*said)
    for shown in (first_screen(a), first_page(a, tmp_path / "sheet.pdf")):
        assert all(f"person {i}" in shown and f"“finding {i}”" in shown for i in range(5))


def test_how_far_the_candidate_is_under_it_and_how_near_the_throw_passes():
    """Both against plain sums over the nodes; a candidate above the dead wood's foot is not under it."""
    a = stated(dead(above=9.0))
    graph = a.tree.graph
    wood = graph.xyz[graph.xyz[:, 2] - graph.xyz[0, 2] >= 9.0]
    for p in a.points:
        (t,) = said_dead(a, p)
        below = wood[:, 2].min() - graph.unions.place[p.union, 2]
        assert t.alarm
        assert t.found["below"] == (pytest.approx(below) if below > 0 else None)
        if p.throw is not None:
            past = np.linalg.norm(p.throw.path[:, None] - wood[None], axis=2).min()
            assert t.found["past"] == (pytest.approx(past) if past < 2.0 else None)
            assert ("The first throw passes" in say(t.found)) == (past < 2.0)


def test_suspects_of_the_scan_still_stand_behind_the_word_of_a_person():
    """Both are told, the person first."""
    a = made_up()
    u = a.tree.graph.unions
    flags = (*u.flags[:-1], (*u.flags[-1], DEAD_SUSPECT))
    a = replace(a, tree=replace(a.tree, graph=replace(a.tree.graph, unions=replace(u, flags=flags))), overrides=(dead(above=9.0),))
    found = [t.found.code for t in threats(a, a.points[0]) if t.kind == "dead"]

    assert found == ["threat_stated_dead", "threat_dead"]
    assert [t.found.code for t in first_of_each(threats(a, a.points[0])) if t.kind == "dead"] == ["threat_stated_dead"]
