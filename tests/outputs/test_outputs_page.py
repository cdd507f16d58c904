"""What report.html promises: one offline file, readable by keyboard and screen, with a 3-D view to pick anchors in."""

from __future__ import annotations

import json
import os
import re
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from made_up_assessment import made_up

from treescan.cautions import all_cautions
from treescan.outputs.report.report import report_html
from treescan.sources import SOURCES

SHOTS = os.environ.get("TREESCAN_SHOTS")
VOID = {"area", "base", "br", "col", "embed", "hr", "img", "input", "link", "meta", "source", "track", "wbr"}


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("pages")
    out = {}
    for name, assessment in (("good", made_up()), ("hopeless", made_up(assessable=False))):
        out[name] = folder / f"{name}.html"
        out[name].write_text(report_html(assessment), encoding="utf-8")
    return out


class Outline(HTMLParser):
    """Open elements, identifiers, targets and what lies outside the file."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.ids: list[str] = []
        self.links: list[str] = []
        self.outside: list[str] = []
        self.faults: list[str] = []
        self.words: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag not in VOID:
            self.open.append(tag)
        for key, value in attrs:
            if key == "id":
                self.ids.append(value or "")
            if key == "href" and (value or "").startswith("#"):
                self.links.append((value or "")[1:])
            if key in ("src", "href", "srcset", "action") and value and not value.startswith(("#", "data:")):
                self.outside.append(value)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        if not self.open or self.open[-1] != tag:
            self.faults.append(f"</{tag}> closes {self.open[-1:]} at {self.getpos()}")
        else:
            self.open.pop()

    def handle_data(self, data: str) -> None:
        if not self.open or self.open[-1] not in ("script", "style"):
            self.words.append(data)


@pytest.mark.parametrize("name", ["good", "hopeless"])
def test_the_page_is_whole_html_with_every_link_inside_itself(pages: dict[str, Path], name: str) -> None:
    """Tags balance, identifiers are unique, every inner link has its target, nothing is fetched from outside."""
    text = pages[name].read_text(encoding="utf-8")
    outline = Outline()
    outline.feed(text)
    assert outline.faults == [] and outline.open == []
    assert len(outline.ids) == len(set(outline.ids))
    assert set(outline.links) <= set(outline.ids)
    assert outline.outside == []
    assert not re.search(r"@import|url\(\s*['\"]?(?!data:)|https?://(?!www\.w3\.org)", text)
    assert len(text.encode()) < 12e6


@pytest.mark.parametrize("name", ["good", "hopeless"])
def test_every_caution_stands_in_full_and_no_word_of_approval(pages: dict[str, Path], name: str) -> None:
    """All cautions are printed; the page never approves of anything."""
    outline = Outline()
    outline.feed(pages[name].read_text(encoding="utf-8"))
    words = " ".join(" ".join(outline.words).split())
    for caution in all_cautions():
        assert caution in words
    for text in (*all_cautions(), *(s.title for s in SOURCES.values())):
        words = words.replace(" ".join(text.split()), "")
    words = words.replace("not a safe distance", "")
    assert not re.search(r"\bsafe(ly)?\b|\bapproved\b|\bcertified\b|✓|✔|✅", words, re.IGNORECASE)


def test_sources_and_settings_are_all_listed(pages: dict[str, Path]) -> None:
    """The page lists every source with its standing and every setting with its value."""
    outline = Outline()
    outline.feed(pages["good"].read_text(encoding="utf-8"))
    words = {w.strip() for w in outline.words}
    for key, source in SOURCES.items():
        assert key in words and source.title in words
    assert {"loads.climber_mass", "100.0", "planning.rope_angle_limit_deg"} <= words


def test_life_depending_figures_stand_in_both_unit_systems(pages: dict[str, Path]) -> None:
    """Heights with feet and forces with pounds-force, in the text a person reads."""
    outline = Outline()
    outline.feed(pages["good"].read_text(encoding="utf-8"))
    words = " ".join(outline.words)
    assert re.search(r"\d+\.\d m \(\d+\.\d ft\)", words)
    assert re.search(r"\d+\.\d kN \(\d+ lbf\)", words)


def test_embedded_results_cannot_break_out_of_the_page() -> None:
    """A file name that looks like markup stays text."""
    from dataclasses import replace

    a = made_up()
    nasty = "</script><img src=x onerror=alert(1)>&.laz"
    text = report_html(replace(a, tree=replace(a.tree, source=nasty), work=replace(a.work, label=(nasty,) * len(a.work))))
    assert "<img src=x" not in text
    outline = Outline()
    outline.feed(text)
    assert outline.faults == []


def opened(browser: Any, path: Path, width: int, height: int, **more: Any) -> tuple[Any, list[str]]:
    """A page without any network, and what it complained about."""
    context = browser.new_context(viewport={"width": width, "height": height}, offline=True, **more)
    page, faults = context.new_page(), []
    page.on("console", lambda m: faults.append(m.text) if m.type == "error" else None)
    page.on("pageerror", lambda e: faults.append(str(e)))
    page.on("request", lambda r: faults.append("asked for " + r.url) if not r.url.startswith(("file:", "data:")) else None)
    page.goto(path.as_uri())
    page.wait_for_function("window.treescanView !== undefined")
    unfold(page)
    return page, faults


def unfold(page: Any, *names: str) -> None:
    """Open folds of the page by their identifiers: those that most tests look into where none is named."""
    page.evaluate("ids => ids.forEach(id => { const d = document.getElementById(id); if (d) d.open = true; })", list(names or ("q1", "turn")))
    page.evaluate("() => new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))")
    page.wait_for_timeout(150)


def test_the_policy_of_the_page_lets_no_other_script_run(browser: Any, tmp_path: Path) -> None:
    """Markup in names stays text, the page's own script runs, and one put in afterwards does not."""
    from dataclasses import replace

    a = made_up()
    nasty = "<img src=x onerror=\"window.hit=1\"><script>window.hit=2</script>"
    labels = tuple(label + nasty for label in a.tree.graph.unions.label)
    graph = replace(a.tree.graph, unions=replace(a.tree.graph.unions, label=labels))
    work = replace(a.work, label=(nasty,) * len(a.work), kind=(nasty,) * len(a.work))
    points = tuple(replace(p, label=labels[p.union]) for p in a.points)
    page_file = tmp_path / "report.html"
    page_file.write_text(
        report_html(replace(a, tree=replace(a.tree, graph=graph, source=nasty), work=work, points=points))
    )
    page, faults = opened(browser, page_file, 900, 700)
    assert faults == []
    put_in = """() => {
        const d = document.createElement('div'); d.innerHTML = '<img src=x onerror="window.hit=3">';
        const s = document.createElement('script'); s.textContent = 'window.hit=4'; document.body.append(d, s);
        return new Promise(done => setTimeout(() => done(window.hit || 0), 500)); }"""
    assert page.evaluate(put_in) == 0
    assert page.evaluate("document.body.innerText.includes('<img src=x')")


def shot(page: Any, name: str) -> None:
    if SHOTS:
        page.screenshot(path=str(Path(SHOTS) / f"{name}.png"))


INK = """() => { const c = document.getElementById('view'), g = c.getContext('webgl2');
  const p = new Uint8Array(4 * c.width * c.height);
  window.treescanView.screenOf(0); g.readPixels(0, 0, c.width, c.height, g.RGBA, g.UNSIGNED_BYTE, p);
  const far = i => Math.abs(p[i] - 243) + Math.abs(p[i + 1] - 239) + Math.abs(p[i + 2] - 230);
  let n = 0; for (let i = 0; i < p.length; i += 4) if (far(i) > 60) n++;
  return n / (c.width * c.height); }"""


@pytest.mark.parametrize(("width", "height", "more"), [(1440, 900, {}), (390, 844, {"has_touch": True, "is_mobile": True})])
def test_the_view_draws_and_an_anchor_is_picked_by_a_click(pages: dict[str, Path], browser: Any, width: int, height: int, more: dict) -> None:
    """At desk and phone width: the tree is drawn, the page does not scroll sideways, a click on a union shows its figures."""
    page, faults = opened(browser, pages["good"], width, height, **more)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.evaluate(INK) > 0.02
    data = json.loads(page.evaluate("document.getElementById('tree-data').textContent"))
    wanted = next(x for x in reversed(data["anchors"]) if x["usable"] and x["union"] != data["anchors"][0]["union"])
    best = next(x for x in data["anchors"] if x["union"] == wanted["union"])
    page.evaluate("document.getElementById('viewer').scrollIntoView({behavior: 'instant'})")
    x, y = page.evaluate("id => window.treescanView.screenOf(id)", best["id"])
    box = page.locator("#view").bounding_box()
    page.evaluate("document.querySelectorAll('.tag').forEach(b => b.style.pointerEvents = 'none')")
    page.mouse.click(box["x"] + x, box["y"] + y)
    page.wait_for_timeout(100)
    assert page.evaluate("document.documentElement.dataset.chosen") == str(best["id"])
    assert best["label"] in page.locator("#summary h3").inner_text()
    shot(page, f"picked_{width}")
    assert faults == []
    page.context.close()


TAGS_OFF = """() => { window.treescanView.screenOf(0); const picture = document.querySelector('.picture').getBoundingClientRect();
  const view = document.getElementById('view'), shape = Number(getComputedStyle(document.querySelector('.picture')).getPropertyValue('--shape'));
  const lines = [...document.querySelectorAll('.leaders line')];
  return [...document.querySelectorAll('.tag')].map((tag, i) => [tag, lines[i]]).filter(([tag]) => tag.style.display !== 'none').map(([tag, line]) => {
    const at = window.treescanView.screenOf(Number(tag.dataset.id)), mine = tag.getBoundingClientRect(), share = n => Number(line.getAttribute(n)) / 100;
    const union = [share('x1') * picture.width, share('y1') * picture.height];
    const x = Math.max(mine.left - picture.left, Math.min(union[0], mine.right - picture.left)), y = Math.max(mine.top - picture.top, Math.min(union[1], mine.bottom - picture.top));
    return [Math.abs(share('x1') * view.clientWidth - at[0]) + Math.abs(share('y1') * view.clientHeight - at[1]), Math.hypot(x - union[0], y - union[1]), Math.abs(picture.width / picture.height / shape - 1)]; }); }"""


@pytest.mark.parametrize(("width", "height"), [(1440, 900), (390, 844)])
def test_tags_stay_at_their_limbs_at_any_zoom_and_in_print(pages: dict[str, Path], browser: Any, width: int, height: int) -> None:
    """The leader of a tag starts at its union, the tag lies within a thumb's width of it, and print keeps the view's shape."""
    page, faults = opened(browser, pages["good"], width, height)
    for step in ("whole", "near", "print"):
        if step == "near":
            page.evaluate("window.treescanView.zoomBy(0.6)")
            page.wait_for_timeout(100)
        if step == "print":
            page.emulate_media(media="print")
            page.wait_for_timeout(150)
        tags = page.evaluate(TAGS_OFF)
        assert tags, step
        for off_union, away, shape in tags:
            assert off_union < 3
            assert away < 110
            assert shape < 0.03
    assert faults == []
    page.context.close()


def test_tags_and_keys_do_what_the_mouse_does(pages: dict[str, Path], browser: Any) -> None:
    """Tags are real buttons; arrow keys turn the view; a table row picks as well."""
    page, faults = opened(browser, pages["good"], 1440, 900)
    tag = page.locator(".tag:visible").nth(1)
    tag.focus()
    page.keyboard.press("Enter")
    assert page.evaluate("document.documentElement.dataset.chosen") == tag.get_attribute("data-id")
    before = page.evaluate("window.treescanView.screenOf(0)")
    page.locator("#view").focus()
    page.keyboard.press("ArrowLeft")
    page.wait_for_timeout(60)
    assert page.evaluate("window.treescanView.screenOf(0)") != before
    page.keyboard.press("0")
    page.wait_for_timeout(60)
    assert page.evaluate("window.treescanView.screenOf(0)") == before
    unfold(page, "ranking")
    page.locator("#table tbody tr").nth(2).click()
    assert page.evaluate("document.documentElement.dataset.chosen") == page.locator("#table tbody tr").nth(2).get_attribute("data-id")
    assert faults == []
    page.context.close()


def test_colours_of_the_view_follow_the_chosen_candidate(pages: dict[str, Path], browser: Any) -> None:
    """Choosing another candidate changes the drawing, and layers can be put away."""
    page, _ = opened(browser, pages["good"], 900, 800)
    grab = "() => { window.treescanView.screenOf(0); return document.getElementById('view').toDataURL(); }"
    first = page.evaluate(grab)
    page.evaluate("window.treescanPick(2)")
    page.wait_for_timeout(60)
    assert page.evaluate(grab) != first
    full = page.evaluate(INK)
    for layer in ("wood", "points", "around"):
        page.locator(f"[data-layer={layer}]").uncheck()
    page.wait_for_timeout(60)
    assert page.evaluate(INK) < full
    page.context.close()


def test_the_table_sorts_and_filters(pages: dict[str, Path], browser: Any) -> None:
    """A click on a heading sorts by its figures, a second turns the order, the filter hides what does not fit."""
    page, faults = opened(browser, pages["good"], 1440, 900)
    unfold(page, "ranking")
    values = "i => [...document.querySelectorAll('#table tbody tr')].filter(r => !r.hidden).map(r => Number(r.cells[i].dataset.v))"
    head = page.locator("#table thead button")
    column = [h.strip() for h in head.all_inner_texts()].index("Height")
    head.nth(column).click()
    up = page.evaluate(values, column)
    assert up == sorted(up)
    head.nth(column).click()
    assert page.evaluate(values, column) == up[::-1]
    assert page.locator("#table thead th").nth(column).get_attribute("aria-sort") == "descending"
    page.locator("#rankedonly").check()
    assert len(page.evaluate(values, 0)) == sum(p.usable for p in made_up().points)
    page.locator("#find").fill("basal")
    shown = page.locator("#table tbody tr:visible")
    assert shown.count() > 0 and all("basal" in t for t in shown.all_inner_texts())
    assert faults == []
    page.context.close()


def test_two_candidates_stand_side_by_side(pages: dict[str, Path], browser: Any) -> None:
    """The comparison shows both chosen candidates, says in words which is better and for what, or that one is doubtful, and marks what differs."""
    page, faults = opened(browser, pages["good"], 1440, 900)
    unfold(page, "compare")
    page.locator("#left").select_option(index=0)
    page.locator("#right").select_option(index=2)
    heads = page.locator("#pair tr").first.locator("th").all_inner_texts()
    assert heads == [page.locator("#left option:checked").inner_text(), page.locator("#right option:checked").inner_text()]
    assert page.locator("#pair td.differs").count() > 4
    held = page.locator("#pair tr").nth(1).inner_text()
    assert held.startswith("The two compared") and "holds by the sums" in held and "is doubtful" in held
    page.locator("#left").select_option(index=1)
    page.locator("#right").select_option(index=3)
    held = page.locator("#pair tr").nth(1).inner_text()
    assert held.startswith("The two compared") and "scores" in held
    assert faults == []
    page.context.close()


def test_a_tree_that_cannot_be_assessed_gets_a_clear_page(pages: dict[str, Path], browser: Any) -> None:
    """No ranking, the reasons, what a rescan needs, and the tree as seen."""
    page, faults = opened(browser, pages["hopeless"], 1440, 900)
    text = page.locator("body").inner_text()
    assert "Not assessable from this scan" in text and "Rescan from the north-west" in text
    assert page.locator("#table").count() == 0 and page.locator(".card").count() == 0 and page.locator(".tag").count() == 0
    assert json.loads(page.evaluate("document.getElementById('tree-data').textContent"))["anchors"] == []
    ink = INK.replace("window.treescanView.screenOf(0);", "window.treescanView.view('home');").replace("() =>", "async () =>")
    ink = ink.replace("g.readPixels", "await new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done))); g.readPixels")
    assert page.evaluate(ink) > 0.02
    shot(page, "hopeless")
    assert faults == []
    page.context.close()


def test_the_print_is_black_on_white_and_short(pages: dict[str, Path], browser: Any, tmp_path: Path) -> None:
    """On paper: ranked rows and the first three cards only, no controls, white ground, and no colour that a grey printer turns to one tone."""
    page, faults = opened(browser, pages["good"], 1440, 900)
    page.emulate_media(media="print")
    page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    assert page.locator("#table tbody tr:visible").count() == sum(p.usable for p in made_up().points)
    assert page.locator(".card:visible").count() == min(3, sum(p.usable for p in made_up().points))
    for hidden in (".tools", ".layers", ".filters", "#compare", ".hands"):
        assert page.locator(f"{hidden}:visible").count() == 0
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    tones = page.evaluate("""() => ['use0','use1','use2','use3','use4'].map(c => { const s = document.createElementNS('http://www.w3.org/2000/svg', 'path');
      s.setAttribute('class', c); document.querySelector('svg.drawing').append(s); return getComputedStyle(s).fill; })""")
    grey = [sum(int(v) for v in re.findall(r"\d+", t)[:3]) / 3 for t in tones]
    assert all(a - b >= 30 for a, b in pairwise(grey))
    data = page.pdf(format="A4", print_background=True)
    assert data.count(b"/Type /Page\n") <= 30
    assert faults == []
    page.context.close()


def test_the_page_opens_within_three_seconds(pages: dict[str, Path], browser: Any) -> None:
    """From asking for the file to the first picture of the tree the page works for under 3 s, drawing without a graphics card."""
    context = browser.new_context(viewport={"width": 390, "height": 844}, offline=True)
    page = context.new_page()
    clock = context.new_cdp_session(page)
    clock.send("Performance.enable", {"timeDomain": "threadTicks"})
    page.goto(pages["good"].as_uri())
    page.wait_for_function("window.treescanView !== undefined")
    page.evaluate("() => new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))")
    used = {m["name"]: m["value"] for m in clock.send("Performance.getMetrics")["metrics"]}
    assert 0 < used["TaskDuration"] < 3.0
    context.close()


def test_hidden_wood_is_dashed_in_the_elevation() -> None:
    """Seen from one side a limb behind the stem is drawn dashed, one in front of it is not."""
    import numpy as np

    from treescan.outputs.drawing.svg import Shape
    from treescan.outputs.shapes.projection import Standpoint, seen_limbs

    a = made_up()
    from treescan.outputs.drawing.elevation import elevation

    drawing, caption = elevation(a, a.points[0])
    assert "Dashed wood is hidden" in caption
    assert any(isinstance(m, Shape) and m.css == "hidden" for m in drawing.marks)
    graph = a.tree.graph
    base = graph.xyz[0].copy()
    south, north = (seen_limbs(graph, Standpoint(azimuth, base)) for azimuth in (np.pi, 0.0))
    hidden_from = {side: {int(n) for s in limbs for n in s.nodes[s.hidden[s.piece_of_node]]} for side, limbs in (("s", south), ("n", north))}
    low = graph.xyz[:, 1] - base[1]
    assert np.mean([low[n] for n in hidden_from["s"]]) > np.mean([low[n] for n in hidden_from["n"]])
