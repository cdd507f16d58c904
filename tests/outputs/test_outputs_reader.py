"""For whom it is written: both unit systems always, the reader's first; the words of the reader's country; the cautions untouched."""

from __future__ import annotations

import re
import shutil
import subprocess
from dataclasses import replace
from html import unescape
from pathlib import Path

import pytest
from made_up_assessment import made_up

from treescan.assess import Assessment, Settings
from treescan.cautions import all_cautions
from treescan.outputs.data.anchors_csv import anchors_table
from treescan.outputs.job_sheet.job_sheet import sheet_bytes
from treescan.outputs.report.glance import glance
from treescan.outputs.report.report import report_html
from treescan.outputs.shapes.first_line import first_line
from treescan.outputs.text import wording as w
from treescan.outputs.text.wording import written_for
from treescan.planning.access.access_order import ADVANCE, LADDER, THROWN_LINE
from treescan.planning.tie_in_point import AccessStep
from treescan.reader_settings import ReaderSettings
from treescan.reason import Reason
from treescan.settings import merged
from treescan.units import FOOT_M, LBF_N

IMPERIAL, US = ReaderSettings(units="imperial"), ReaderSettings(words="US")


def for_reader(reader: ReaderSettings) -> Assessment:
    a = made_up()
    return replace(a, asked=replace(a.asked, settings=Settings(reader=reader)))


def words_of(page: str) -> str:
    body = page[page.index("<body>") :]
    return " ".join(unescape(re.sub(r"<(script|style)\b.*?</\1>|<[^>]+>", " ", body, flags=re.DOTALL)).split())


def sheet_words(a: Assessment, path: Path) -> str:
    if shutil.which("pdftotext") is None:
        pytest.skip("no pdftotext on this machine")
    path.write_bytes(sheet_bytes(a))
    return " ".join(subprocess.run(["pdftotext", "-raw", str(path), "-"], check=True, capture_output=True).stdout.decode().split())


def test_figures_carry_the_exact_factors() -> None:
    """One foot is 0.3048 m and one pound-force 0.45359237 kg times standard gravity, whichever stands first."""
    assert w.metres(100 * FOOT_M) == "30.5 m (100.0 ft)"
    assert w.force(1000 * LBF_N) == "4.4 kN (1000 lbf)"
    with written_for(IMPERIAL):
        assert w.metres(100 * FOOT_M) == "100.0 ft (30.5 m)"
        assert w.force(1000 * LBF_N) == "1000 lbf (4.4 kN)"
        assert w.diameter(0.254, 0.0254) == "10.0 ± 1.0 in (25 cm)"
    assert w.metres(1.0) == "1.0 m (3.3 ft)"


def test_the_reader_chooses_what_stands_first_and_both_are_there(tmp_path: Path) -> None:
    """With imperial units first every height and force of report and sheet turns round; none loses its partner."""
    a = for_reader(IMPERIAL)
    for words in (words_of(report_html(a)), sheet_words(a, tmp_path / "s.pdf")):
        assert re.search(r"\d+\.\d ft \(\d+\.\d m\)", words) and re.search(r"\d+ lbf \(\d+\.\d kN\)", words)
        assert not re.search(r"\d+\.\d m \(\d+\.\d ft\)|kN \(\d+ lbf\)", words)


def test_every_force_and_height_in_words_has_both_systems(tmp_path: Path) -> None:
    """No metre or kilonewton in the running text of page and sheet without feet or pounds-force beside it; axes and settings aside."""
    page = report_html(made_up())
    page = re.sub(r"<svg\b.*?</svg>", " ", page[: page.index('id="background"')], flags=re.DOTALL)
    for words in (words_of(page), sheet_words(made_up(), tmp_path / "s.pdf")):
        for metric, other in ((r"\d+(?:\.\d+)? kN", "lbf"), (r"\d+\.\d m", "ft")):
            alone = [
                words[m.start() - 40 : m.end() + 40] for m in re.finditer(metric + r"\b(?!/)", words) if other not in words[m.end() : m.end() + 30]
            ]
            assert [text for text in alone if not re.search(rf"{other} \([^)]*$", text[:40])] == []


def test_american_words_change_the_text_but_no_caution() -> None:
    """Meters, gray and saddle where the reader wants them; every caution stays to the letter."""
    page = report_html(for_reader(US))
    words = words_of(page)
    assert "meter" in words.lower() or "Gray" in words or "gray" in words
    for caution in all_cautions():
        assert caution in words
        words = words.replace(caution, "")
    assert not re.search(r"\b(grey|colour|coloured|metres?|centre)\b", words[: words.index("Settings of this run")], re.IGNORECASE)


def test_another_language_is_one_table_and_english_fills_the_gaps(tmp_path: Path) -> None:
    """Report and sheet render in German: its sentences where it has them, English where not, every caution to the letter."""
    german = for_reader(ReaderSettings(language="de"))
    words = words_of(report_html(german))
    assert '<html lang="de">' in report_html(german) and '<html lang="en">' in report_html(made_up())
    assert "Was hat der Scan gesehen?" in words and "Zuerst zu prüfen" in words and "What did the scan see?" not in words
    assert "Settings and sources" in words and all(caution in words for caution in all_cautions())
    assert "Zuerst zu prüfen" in sheet_words(german, tmp_path / "s.pdf")
    assert "nicht gesehen" in words and "Planen Sie nach diesem Blatt" in sheet_words(replace(german, points=()), tmp_path / "n.pdf")


def test_the_data_files_do_not_follow_the_reader() -> None:
    """Tables for programs are the same for every reader."""
    assert anchors_table(for_reader(IMPERIAL)) == anchors_table(for_reader(US)) == anchors_table(made_up())


def test_the_settings_file_knows_the_reader() -> None:
    """A TOML table [reader] is taken, another word refused."""
    from treescan.errors import BadInput

    assert merged(Settings(), {"reader": {"units": "imperial", "words": "US"}}).reader == ReaderSettings("imperial", "US")
    with pytest.raises(BadInput, match=r"reader\.units"):
        merged(Settings(), {"reader": {"units": "cubits"}})


def test_the_first_screen_answers_the_climbers_questions() -> None:
    """Six figures in the order of the questions: where, stand, hold, fail, work, bring; each as computed."""
    a = made_up()
    p = next(p for p in a.points if p.usable)
    cells = glance(a, p)
    assert [c.section for c in cells] == [1, 2, 3, 4, 5, 6]
    assert cells[0].figure == p.label and cells[2].figure == f"{w.factor(p.check.check.margin.p5)} times"
    assert f"{100 * p.throw.chance:.0f} %" in cells[1].words and cells[4].figure == f"{100 * p.reach.share:.0f} %"
    top = report_html(a)[: report_html(a).index('class="caution"')]
    assert all(c.figure in top for c in cells[1:]) and f"({p.label})" in top


def test_a_margin_not_seen_is_not_a_figure_at_a_glance() -> None:
    """Where the scan bridged the load path the large print says so."""
    a = made_up()
    p = next(p for p in a.points if not p.check.check.margin.known)
    assert glance(a, p)[2].figure == "not seen"


def test_without_a_throw_of_its_own_the_first_line_on_the_way_is_shown() -> None:
    """Page and sheet then show stand and aim for the first union on the way up, and say that it is another one."""
    a = made_up()
    p = next(p for p in a.points if p.usable)
    other = next(k for (k, c) in a.throws.best if k != p.union)
    label = a.tree.graph.unions.label[other]
    judged = max((x for (k, _), x in a.throws.best.items() if k == other), key=lambda x: x.chance)
    words, height = Reason("access_thrown_line", union=label), float(a.tree.graph.unions.height[other])
    way = (
        AccessStep(None, "ground", 0.0, "ground", Reason("access_ground")),
        AccessStep(other, label, height, THROWN_LINE, words, f"{label} MRS", 2.0, judged),
    )
    bare = replace(p, throw=None, access=(*way, AccessStep(p.union, p.label, 9.0, ADVANCE, Reason("access_advance", start=label, union=p.label))))
    b = replace(a, points=(bare, *a.points[1:]))
    t = first_line(b, bare)
    assert t is judged
    words = words_of(report_html(b))
    assert f"No throw reaches {p.label} itself. The first line goes over {label}" in words
    assert f"{p.label} itself has no throw from the ground" in words
    by_ladder = replace(bare, access=(way[0], replace(way[1], how=LADDER, throw=None)))
    assert first_line(b, by_ladder) is None
    assert f"The way up starts at {label}" in words_of(report_html(replace(a, points=(by_ladder, *a.points[1:]))))
