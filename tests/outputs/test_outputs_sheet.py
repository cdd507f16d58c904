"""What the job sheet promises: one page for the climb, one for rescue and form, in print that is read in the rain."""

from __future__ import annotations

import re
import shutil
import subprocess
from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from made_up_assessment import for_job, made_up
from pdf_measures import measured, overlaps, print_sizes

from treescan.assess import Assessment
from treescan.cautions import all_cautions
from treescan.loads.checks.load_test import LoadTest
from treescan.outputs.drawing.elevation import elevation
from treescan.outputs.drawing.pdf_drawing import LOOKS
from treescan.outputs.drawing.svg import Words
from treescan.outputs.job_sheet.job_sheet import SIDE, dossier_bytes, sheet_bytes
from treescan.outputs.report.threats import threats
from treescan.outputs.shapes.place_names import place_names, place_of
from treescan.outputs.shapes.rope_lines import ROUND, limb_to_use
from treescan.outputs.text.say import say
from treescan.planning.access.access_order import LADDER, LANYARDS
from treescan.planning.climb.climb_plan import Climbers, climb_plan
from treescan.planning.tie_in_point import AccessStep, TieInPoint
from treescan.reason import Reason

FIELDS = {
    "client": "Parish of Quillmoor",
    "site": "Quillmoor Green, east side",
    "tree": "QG-07",
    "scan_date": "12 March",
    "planner": "A. Planner",
    "scope": "deadwood over the path",
}


@pytest.fixture(scope="module")
def good() -> Assessment:
    return made_up()


def words_of(data: bytes, path: Path) -> list[str]:
    """The text of each page in one line."""
    return [" ".join(w.word for w in page.words).replace("&quot;", '"').replace("&amp;", "&") for page in measured(data, path)]


def first_of(a: Assessment) -> TieInPoint:
    return next(p for p in a.points if p.usable)


@pytest.mark.parametrize("words", ["UK", "US"])
def test_two_pages_in_large_print_over_the_whole_width(good: Assessment, tmp_path: Path, words: str) -> None:
    """A4, or Letter for American readers: two pages, no print under 8.5 points and most of page one at 10 and more, nothing cut off, no
    word on another, the text as wide as the paper allows."""
    data = sheet_bytes(for_job(good, words=words, **FIELDS))
    pages = measured(data, tmp_path / "s.pdf")
    assert len(pages) == 2
    assert (pages[0].width, pages[0].height) == pytest.approx((612, 792) if words == "US" else (595.28, 841.89), abs=0.1)
    assert min(print_sizes(data)) >= 8.5
    for page in pages:
        assert overlaps(page.words) == []
        left, right = min(w.left for w in page.words), max(w.right for w in page.words)
        assert left >= SIDE - 1 and right <= page.width - SIDE + 1
        assert right - left >= 0.97 * (page.width - 2 * SIDE)
        assert min(w.top for w in page.words) >= 14 and max(w.bottom for w in page.words) <= page.height - 14
    high = [w.bottom - w.top for w in pages[0].words]
    assert np.mean(np.array(high) >= 0.95 * np.median(high)) > 0.6


def test_the_first_page_says_what_a_crew_asks(good: Assessment, tmp_path: Path) -> None:
    """Fields of the job, the place in words beside its code, stand, aim, chance, test, angle, what follows, rope and blanks."""
    page = words_of(sheet_bytes(for_job(good, **FIELDS)), tmp_path / "s.pdf")[0]
    p, graph = first_of(good), good.tree.graph
    for value in FIELDS.values():
        assert value in page
    assert f"{say(place_of(graph, p))} ({p.label})" in page
    for asked in ("Line in.", "Stand", "Aim", "Chance", "Rig and test.", "of plumb", "Load.", "If it goes.", "Wires, roads, targets.", "Bring."):
        assert asked in page, asked
    for blank in ("Anchor used", "Test pull", "Test result", "Competent person", "Climber", "Ground worker", "Rescuer"):
        assert blank in page, blank
    second = next(q for q in good.points if q.usable and q.union != p.union)
    assert f"{say(place_names(graph)[second.union])} ({second.label})" in page


def test_the_first_page_says_where_the_bag_comes_down_and_which_way_the_ground_falls(good: Assessment, tmp_path: Path) -> None:
    """Both stand with the crew where the throw and the site call for them, still on two pages; where they do not, nothing is said."""
    lane = (Reason("area_drawn", kind="road", name="lane"),)
    bag = Reason(
        "throw_bag_comes_down", away=21.0, bearing=np.pi / 2, within=(), across=lane, farther_than=None, below=None, unseen=False, closed=True
    )
    bank = Reason("ground_falls", angle=np.radians(25), downhill=np.pi / 2, uphill=1.5 * np.pi)
    best = {k: replace(t, steps=(*t.steps, bag)) for k, t in good.throws.best.items()}
    points = tuple(p if p.throw is None else replace(p, throw=replace(p.throw, steps=(*p.throw.steps, bag))) for p in good.points)
    planned = climb_plan(good.context, points, Climbers(1000.0, two_people=False))
    steep = replace(good, throws=replace(good.throws, best=best), points=points, climb=replace(planned, warnings=(bank,)))
    said = ("The bag comes down 21 m", "its line falls across the road", "The ground falls 25° to the east")
    pages, calm = (words_of(sheet_bytes(for_job(a, **FIELDS)), tmp_path / f"{n}.pdf") for n, a in (("steep", steep), ("calm", good)))

    assert len(pages) == 2
    for words in said:
        assert words in pages[0] and words not in calm[0], words


def test_what_nobody_said_is_left_blank(good: Assessment, tmp_path: Path) -> None:
    """Labels of fields stand before empty rules."""
    page = words_of(sheet_bytes(good), tmp_path / "s.pdf")[0]
    assert re.search(r"Client\s+Site\s+Tree number\s+Scan date\s+Planned by\s+Scope", page)


def test_the_second_page_holds_rescue_form_and_all_cautions(good: Assessment, tmp_path: Path) -> None:
    """How a casualty comes down, what is looked for, and every caution to the letter."""
    page = words_of(sheet_bytes(good), tmp_path / "s.pdf")[1]
    for heading in ("Main line.", "Route to the casualty.", "casualty", "Rescuer (name, equipped, on site)", "Looked for before anybody"):
        assert heading in page, heading
    text = subprocess.run(["pdftotext", "-raw", str(tmp_path / "s.pdf"), "-"], check=True, capture_output=True).stdout.decode()
    whole = " ".join(text.split())
    assert len(all_cautions()) == 17
    for caution in all_cautions():
        assert " ".join(caution.split()) in whole


def test_reading_programs_find_text_roles_and_words_for_drawings(good: Assessment, tmp_path: Path) -> None:
    """The file is tagged, names its language, and each drawing has words that stand for it."""
    if shutil.which("pdfinfo") is None:
        pytest.skip("no pdfinfo on this machine")
    (tmp_path / "s.pdf").write_bytes(sheet_bytes(good))
    said = subprocess.run(["pdfinfo", str(tmp_path / "s.pdf")], check=True, capture_output=True).stdout.decode()
    assert re.search(r"Tagged:\s+yes", said)
    tree = subprocess.run(["pdfinfo", "-struct", str(tmp_path / "s.pdf")], check=True, capture_output=True).stdout.decode()
    assert tree.count("H1") == 2 and tree.count("Figure") >= 2
    data = (tmp_path / "s.pdf").read_bytes()
    assert data.count(b"/Alt") == tree.count("Figure") and b"/Lang (en)" in data


def test_every_font_lies_in_the_file_and_has_the_letters_of_names(good: Assessment, tmp_path: Path) -> None:
    """Sheet and dossier carry their fonts; Latin, Greek, Cyrillic, Chinese and Japanese letters of a name come out as they went in."""
    if shutil.which("pdffonts") is None:
        pytest.skip("no pdffonts on this machine")
    names = {"client": "Łódź, Ώχρα, Đường", "site": "Дубрава № 3", "planner": "桜の木"}
    job = for_job(good, dossier=True, **names)
    files = {"sheet": sheet_bytes(job), "dossier": dossier_bytes(job), "none": sheet_bytes(replace(job, points=()))}
    for name, data in files.items():
        (tmp_path / f"{name}.pdf").write_bytes(data or b"")
        fonts = subprocess.run(["pdffonts", str(tmp_path / f"{name}.pdf")], check=True, capture_output=True).stdout.decode().splitlines()[2:]
        assert fonts and all(re.search(r" yes +yes +yes +\d+ +\d+$", font) for font in fonts), fonts
    page = words_of(files["sheet"], tmp_path / "s.pdf")[0]
    for value in names.values():
        assert value in page


@pytest.mark.parametrize("hardware", [None, "ring, round the stem"])
def test_the_wood_to_use_is_marked_without_colour(good: Assessment, hardware: str | None) -> None:
    """One heavy black outline over the limb under the rope, or over the piece of stem that the rope goes round, named beside it; rope named."""
    p = first_of(good) if hardware is None else replace(first_of(good), hardware=hardware)
    drawing, _ = elevation(good, p)
    marked = [m for m in drawing.marks if getattr(m, "css", "") == "to-use"]
    said = [m.text for m in drawing.marks if isinstance(m, Words)]
    assert len(marked) == 1 and LOOKS["to-use"].stroke == "#000000" and LOOKS["to-use"].width >= 1.5 * LOOKS["rope"].width
    assert ("limb to use" if hardware is None else "rope round the stem here") in said and any(t.startswith("rope") for t in said)
    graph, rest = good.tree.graph, p.check.configuration.rest_node
    wood = limb_to_use(graph, p)
    assert rest in wood and set(graph.limb[wood]) == {graph.limb[rest]}
    if hardware is not None:
        assert np.ptp(graph.xyz[wood, 2]) <= 2 * ROUND


def test_the_first_page_names_the_way_on_the_rescue_and_what_a_test_cannot_show(good: Assessment, tmp_path: Path) -> None:
    """Beyond the first line: how the climber gets on, which line a rescuer has, that no road is drawn, how little hanging people test."""
    p = first_of(good)
    low = next(k for k in range(len(good.tree.graph.unions)) if k != p.union)
    label = good.tree.graph.unions.label[low]
    steps = (AccessStep(low, label, 3.0, LADDER, Reason("access_ladder", union=label)), replace(p.access[-1], how=LANYARDS))
    flat = Reason("test_cannot_pull", leg=1.2, azimuth=0.0, share=0.14)
    test = LoadTest(2000.0, 2000.0, np.array([0.0, 0.0, -1.0]), 2, 4, 1.0, np.zeros(2), 10.0, (flat,))
    hard = replace(p, throw=None, access=steps, load_test=test)
    page = words_of(sheet_bytes(replace(good, points=(hard, *(q for q in good.points if q is not p)))), tmp_path / "s.pdf")[0]
    for said in (f"From {label} on to {p.label}: two lanyards in turn", "only 14 % of the stress", "Rescue."):
        assert said in page, said
    assert ("No road or building is on the plan" in page) != any(t.kind == "area" for t in threats(good, p))


def test_a_page_without_candidates_says_which_tree_and_what_threatens_all_the_same(good: Assessment, tmp_path: Path) -> None:
    """One page: fields of the job, why, wires and dead wood, who looked, every caution."""
    pages = words_of(sheet_bytes(for_job(replace(good, points=()), **FIELDS)), tmp_path / "s.pdf")
    assert len(pages) == 1
    for said in (*FIELDS.values(), "Why", "Wires, roads, targets.", "Dead wood, not seen.", "Looked at by", "17."):
        assert said in pages[0], said


@pytest.mark.parametrize("field", sorted(FIELDS))
def test_a_field_longer_than_a_page_goes_on_on_the_next(good: Assessment, tmp_path: Path, field: str) -> None:
    """Every word that somebody wrote stands on the sheet once, however long: nothing is cut and nothing stops the print."""
    said = [f"{field.replace('_', '')}{n}" for n in range(600)]
    pages = words_of(sheet_bytes(for_job(good, **{**FIELDS, field: " ".join(said)})), tmp_path / "s.pdf")
    printed = Counter(word for page in pages for word in page.split())
    assert [printed[word] for word in said] == [1] * len(said)
    assert all(value in " ".join(pages) for name, value in FIELDS.items() if name != field)


def test_a_grey_printer_keeps_the_tones_apart() -> None:
    """From one class of use to the next the fill gets darker by a tenth of the way from white to black or more."""
    grey = [np.dot([0.2126, 0.7152, 0.0722], [int(LOOKS[f"use{i}"].fill[k : k + 2], 16) / 255 for k in (1, 3, 5)]) for i in range(5)]
    assert np.all(-np.diff(grey) >= 0.1)
