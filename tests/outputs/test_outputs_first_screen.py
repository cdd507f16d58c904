"""What the report's first screen promises in a real browser, and what unfolding it may cost: measured, not looked at."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from made_up_assessment import for_job, made_up

from treescan.assess import Assessment
from treescan.outputs.report.climb_sections import climb_sections
from treescan.outputs.report.report import SHOWN, report_html
from treescan.outputs.report.why_not import never_judged, why_not
from treescan.outputs.shapes.place_names import place_of
from treescan.outputs.text.say import say
from treescan.outputs.text.wording import factor
from treescan.planning.climb.climb_plan import Climbers, climb_plan
from treescan.planning.tie_in_point import TieInPoint

DESK, PHONE = (1400, 900), (390, 844)
SCREENS = {DESK: 8, PHONE: 14}
"""Screens the page may be long with everything open."""
SMALLEST = 11.0
"""Print on a screen. [px]"""
ACCENTS = 3.0
"""Of two lines that may share a pixel row. [px]"""


@pytest.fixture(scope="module")
def good() -> Assessment:
    return for_job(made_up(), tree="QG-07", site="Quillmoor Green", scan_date="12 March")


@pytest.fixture(scope="module")
def page_file(good: Assessment, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("first") / "report.html"
    path.write_text(report_html(good), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def whole(good: Assessment) -> Assessment:
    """The same with a plan of the whole climb."""
    return replace(good, climb=climb_plan(good.context, good.points, Climbers(1000.0, two_people=True)))


@pytest.fixture(scope="module")
def whole_file(whole: Assessment, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("whole") / "report.html"
    path.write_text(report_html(whole), encoding="utf-8")
    return path


def opened(browser: Any, path: Path, size: tuple[int, int]) -> Any:
    """The page at a window's size, without any network."""
    page = browser.new_context(viewport={"width": size[0], "height": size[1]}, offline=True).new_page()
    page.goto(path.as_uri())
    page.wait_for_function("window.treescanView !== undefined")
    return page


def first_of(a: Assessment) -> TieInPoint:
    return next(p for p in a.points if p.usable)


SEEN = """() => { const out = {};
  for (const [name, query] of Object.entries({ title: 'h1', facts: '.tree', verdict: '.verdict', tree: '.tall svg', anchor: '.tall circle.anchor',
      threats: '.threats', bring: '.bring' })) {
    const e = [...document.querySelectorAll(query)].find(x => x.checkVisibility()), r = e.getBoundingClientRect();
    out[name] = { top: r.top, bottom: r.bottom, left: r.left, right: r.right, words: (e.innerText || '').replace(/\\s+/g, ' ') };
  } return out; }"""


@pytest.mark.parametrize("size", [DESK, PHONE])
def test_the_first_screen_shows_tree_verdict_threats_and_what_to_bring(browser: Any, page_file: Path, good: Assessment, size: tuple[int, int]) -> None:
    """Without scrolling or unfolding: the whole tree with the first candidate on it, species, height, stem, scan date, the verdict in
    words with the place, what threatens, what to bring."""
    page, p = opened(browser, page_file, size), first_of(good)
    seen = page.evaluate(SEEN)
    for name, box in seen.items():
        assert box["top"] >= 0 and box["bottom"] <= size[1] and box["left"] >= 0 and box["right"] <= size[0], (name, box)
    assert seen["tree"]["bottom"] - seen["tree"]["top"] > 0.3 * size[1]
    assert seen["title"]["words"] == "QG-07 Quillmoor Green"
    assert all(word in seen["facts"]["words"] for word in ("oak", "m (", "cm (", "12 March"))
    assert say(place_of(good.tree.graph, p)) in seen["verdict"]["words"] and f"({p.label})" in seen["verdict"]["words"]
    assert factor(p.check.check.margin.p5) in seen["verdict"]["words"]
    assert all(word in seen["threats"]["words"] for word in ("Wire", "Dead wood", "Fall", "Scan saw"))
    assert f"{p.rope.stock:.0f} m" in seen["bring"]["words"]
    page.context.close()


MEASURE = """() => { const out = { small: [], cut: [], boxes: [], wide: document.documentElement.scrollWidth - innerWidth, over: [] };
  const seen = e => e.checkVisibility() && e.getClientRects().length && !e.closest('.sr, .skip, .leaders');
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const n = walk.currentNode, e = n.parentElement;
    if (!n.textContent.trim() || !seen(e) || e.closest('script, style') || (innerWidth < 760 && e.closest('.cards thead'))) continue;
    const svg = e.closest('svg.drawing'); let size = parseFloat(getComputedStyle(e).fontSize);
    if (svg) size *= svg.getScreenCTM().a;
    if (size < SMALLEST) out.small.push([n.textContent.trim().slice(0, 40), size]);
  }
  document.querySelectorAll('.scroll, .panel, table, .inside, .beside, .verdict, .glance').forEach(e => {
    if (seen(e) && e.scrollWidth > e.clientWidth + 1) out.cut.push([e.className, e.scrollWidth, e.clientWidth]); });
  document.querySelectorAll('input[type=checkbox]').forEach(e => { const r = e.getBoundingClientRect(); if (seen(e) && (r.width < 24 || r.height < 24)) out.boxes.push([r.width, r.height]); });
  document.querySelectorAll('svg.drawing').forEach(svg => { if (!seen(svg)) return;
    const frame = svg.getBoundingClientRect(), words = [...svg.querySelectorAll('text')].map(t => [t.textContent, t.getBoundingClientRect()]);
    words.forEach(([w, r], i) => {
      if (r.left < frame.left - 2 || r.right > frame.right + 2 || r.top < frame.top - 4 || r.bottom > frame.bottom + 4) out.over.push([w, 'outside']);
      words.slice(i + 1).forEach(([v, s]) => { if (Math.min(r.right, s.right) - Math.max(r.left, s.left) > ROOM && Math.min(r.bottom, s.bottom) - Math.max(r.top, s.top) > ROOM + 2) out.over.push([w, v]); });
    }); });
  return out; }""".replace("SMALLEST", str(SMALLEST)).replace("ROOM", str(ACCENTS))


@pytest.mark.parametrize("size", [DESK, PHONE])
def test_nothing_is_small_cut_off_or_on_top_of_another(browser: Any, whole_file: Path, size: tuple[int, int]) -> None:
    """Fold by fold, with every part inside it: no print under 11 px, in drawings neither; no column or box wider than its place; tick boxes
    of 24 px; no word of a drawing outside it or on another."""
    page = opened(browser, whole_file, size)
    for fold in page.evaluate("[...document.querySelectorAll('details.fold')].map(d => d.id)"):
        parts = page.evaluate(
            "id => { document.querySelectorAll('details.fold').forEach(d => { d.open = d.id === id; }); return document.querySelectorAll(`#${id} details`).length; }", fold
        )
        for part in range(min(parts, 8) or 1):
            page.evaluate("([id, i]) => { const d = document.querySelectorAll(`#${id} details`)[i]; if (d) d.open = true; }", [fold, part])
            page.evaluate("() => new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))")
            found = page.evaluate(MEASURE)
            assert {k: v for k, v in found.items() if v} == {}, (fold, part)
    page.context.close()


EVERYTHING = """() => { document.querySelectorAll('details').forEach(d => d.removeAttribute('name'));
  document.querySelectorAll('details').forEach(d => { d.open = true; }); return document.documentElement.scrollHeight; }"""


@pytest.mark.parametrize("size", [DESK, PHONE])
def test_the_unfolded_page_keeps_its_length(browser: Any, whole_file: Path, size: tuple[int, int]) -> None:
    """Everything open at once, every fold, part, drawing and card: at most 8 screens on a desk, 14 on a phone. Only tables and the list of
    cards scroll within their own box."""
    page = opened(browser, whole_file, size)
    assert page.evaluate(EVERYTHING) <= SCREENS[size] * size[1]
    boxes = "[...document.querySelectorAll('.inside, .scroll, .part, .plate, .columns')].filter(e => e.scrollHeight > e.clientHeight + 2 && getComputedStyle(e).overflowY !== 'visible')"
    assert page.evaluate(boxes + ".every(e => e.querySelector('table, .card'))")
    page.context.close()


def test_what_a_phone_leaves_out_is_said_and_stands_elsewhere(browser: Any, whole_file: Path, whole: Assessment) -> None:
    """A phone says what it does not show; how many rows of a long list stand in the files is said in every list that is cut."""
    page = opened(browser, whole_file, PHONE)
    page.evaluate(EVERYTHING)
    assert page.get_by_text("Not on a phone:").is_visible()
    hidden = page.evaluate("[...document.querySelectorAll('.desk, #compare')].filter(e => e.checkVisibility()).length")
    assert hidden == 0
    page.context.close()
    page = opened(browser, whole_file, DESK)
    page.evaluate(EVERYTHING)
    assert not page.get_by_text("Not on a phone:").is_visible()
    shown = page.evaluate("[...document.querySelectorAll('#climb .part')].map(p => [p.querySelectorAll('.notes > li').length, p.innerText])")
    assert whole.climb is not None
    for section in climb_sections(whole.climb, whole.left_out):
        more = len(section.sentences) - SHOWN if section.key != "site" else 0
        told = next((words for rows, words in shown if words.startswith(section.heading) and rows), "")
        assert not told or (f"{more} more stand" in told) == (more > 0)
    against = [say(r) for r in whole.approach.reasons if r.code == "approach_against"]
    text = " ".join(page.locator("#q6").inner_text().split())
    assert against and all(" ".join(sentence.split()) in text for sentence in against)
    page.context.close()


def test_tables_are_cards_on_a_phone(browser: Any, page_file: Path) -> None:
    """Each cell stands under the other with the name of its column before it, and no column is missing."""
    page = opened(browser, page_file, PHONE)
    page.evaluate("document.getElementById('ranking').open = true")
    row = page.locator("#table tbody tr").first
    labels = row.evaluate("r => [...r.cells].map(c => [getComputedStyle(c).display, getComputedStyle(c, '::before').content])")
    heads = page.evaluate("[...document.querySelectorAll('#table thead th')].map(h => h.textContent.trim())")
    assert [d for d, _ in labels] == ["block"] * len(heads)
    assert all(head in content for head, (_, content) in zip(heads, labels, strict=True))
    page.context.close()


def test_a_refused_union_is_asked_why_not_and_what_would_help(browser: Any, page_file: Path, good: Assessment) -> None:
    """A click on it: its own findings, what would help, and no throw of another union."""
    page = opened(browser, page_file, DESK)
    page.evaluate("document.getElementById('turn').open = true")
    page.wait_for_timeout(200)
    u, refused = good.tree.graph.unions, [i for i, p in enumerate(good.points) if not p.usable]
    ranked = {p.union for p in good.points if p.usable}
    i = next(i for i in refused if good.points[i].union not in ranked)
    page.evaluate("id => window.treescanPick(id)", i)
    told, said = why_not(good, good.points[i]), " ".join(page.locator("#summary").inner_text().split())
    assert told.why and told.helps
    for sentence in (*told.why, *told.helps, "Why it is not ranked", "What would help", told.place):
        assert " ".join(sentence.split()) in said
    assert u.label[good.points[i].union] in said
    page.context.close()


def test_the_panel_borrows_no_throw(browser: Any, good: Assessment, tmp_path: Path) -> None:
    """A candidate without a throw of its own shows no stand, aim or chance, and no flight is drawn for it."""
    from treescan.planning.access.access_order import ADVANCE, THROWN_LINE
    from treescan.planning.tie_in_point import AccessStep
    from treescan.reason import Reason

    p = first_of(good)
    other = next(k for (k, _) in good.throws.best if k != p.union)
    label = good.tree.graph.unions.label[other]
    thrown = next(t for (k, _), t in good.throws.best.items() if k == other)
    way = (
        AccessStep(other, label, 5.0, THROWN_LINE, Reason("access_thrown_line", union=label), throw=thrown),
        AccessStep(p.union, p.label, 9.0, ADVANCE, Reason("access_advance", start=label, union=p.label)),
    )
    bare = replace(good, points=(replace(p, throw=None, access=way), *good.points[1:]))
    path = tmp_path / "bare.html"
    path.write_text(report_html(bare), encoding="utf-8")
    page = opened(browser, path, DESK)
    page.evaluate("document.getElementById('turn').open = true")
    said = page.locator("#summary").inner_text()
    assert "None of its own from the ground" in said
    assert not any(line in ("Stand", "Chance of one throw", "Aim") for line in said.splitlines())
    assert "throw" not in json.loads(page.evaluate("document.getElementById('tree-data').textContent"))["anchors"][0]
    page.context.close()


def test_unions_that_were_never_judged_have_an_answer_too(good: Assessment) -> None:
    """Every union of the tree is either judged or says why not."""
    judged = {p.union for p in good.points}
    rows = [k for k, told in never_judged(good) if told.why]
    assert sorted({*judged, *rows}) == list(range(len(good.tree.graph.unions)))


def test_colour_number_and_word_of_a_verdict_agree(good: Assessment) -> None:
    """The weakest section is shown at one over the low end that is printed, in the class of the scale that this falls into."""
    from treescan.outputs.shapes.use_of_capacity import SCALE, low_end_use, shade_of

    for p in good.points:
        c = p.check.check
        if c.margin.known:
            use = low_end_use(c)
            worst = int((c.nodes == c.governing).argmax())
            assert use[worst] == pytest.approx(1 / c.margin.p5, rel=0.01)
            row = int(shade_of(use, good.tree.graph.seen[c.nodes])[worst])
            assert row > len(SCALE) or use[worst] <= SCALE[row].limit
