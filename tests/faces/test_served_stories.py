"""The planner's page in a browser: eight stories of a planner's day, each with its pictures and the time of every answer.

`TREESCAN_STORY_TREE` names another tree.json to tell them on, `TREESCAN_FILMS` a folder to keep the pictures in.
"""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from served_page import Served, small_plan

pytestmark = pytest.mark.slow
PATIENCE = 600.0


@pytest.fixture(scope="module")
def server(tmp_path_factory) -> Iterator[Served]:
    folder = tmp_path_factory.mktemp("stories")
    given = os.environ.get("TREESCAN_STORY_TREE")
    server = Served([Path(given) if given else small_plan(folder / "plans" / "tree_a")], folder / "sessions")
    yield server
    server.close()


class Film:
    """One page and its pictures."""

    def __init__(self, browser: Any, server: Served, folder: Path, name: str, size: tuple[int, int] = (1280, 900)) -> None:
        self.page = browser.new_page(viewport={"width": size[0], "height": size[1]})
        self.errors: list[str] = []
        self.asked: list[str] = []
        self.page.on("pageerror", lambda e: self.errors.append(str(e)))
        self.page.on("request", lambda r: self.asked.append(r.url))
        self.folder, self.name, self.count = Path(os.environ.get("TREESCAN_FILMS", folder)), name, 0
        self.folder.mkdir(parents=True, exist_ok=True)
        start = time.perf_counter()
        self.page.goto(server.link)
        self.until("performance.getEntriesByName('tree-shown').length")
        print(f"{name}: tree shown after {time.perf_counter() - start:.2f} s")
        self.until("treescanPage.state()?.plan && !treescanPage.state().work")
        if self.js("treescanPage.state().at"):
            self.tab("history")
            self.press("Before the first change")

    def js(self, expression: str) -> Any:
        return self.page.evaluate(expression)

    def until(self, expression: str) -> None:
        """Polled from outside: the page's own rules forbid what Playwright would do inside."""
        end = time.monotonic() + PATIENCE
        while not self.js(f"Boolean({expression})"):
            assert time.monotonic() < end, expression
            assert not self.errors, self.errors
            time.sleep(0.03)

    def tab(self, name: str) -> None:
        self.page.click(f"#tab-{name}")

    def group(self, legend: str) -> Any:
        return self.page.locator("fieldset", has=self.page.locator("legend", has_text=legend))

    def timed(self, what: str, act: Any) -> None:
        """Do something that is planned again, and print how long the answer took."""
        version, start = self.js("treescanPage.state().version"), time.perf_counter()
        act()
        self.until(f"treescanPage.state().version > {version} && treescanPage.state().plan && !treescanPage.state().work")
        print(f"{self.name}: {what}: {time.perf_counter() - start:.2f} s")
        self.page.wait_for_timeout(150)
        self.shot()

    def press(self, label: str, within: Any = None) -> None:
        self.timed(label, (within or self.page).get_by_role("button", name=label, exact=True).first.click)

    def fill(self, group: str, label: str, value: str, *, answered: bool = True) -> None:
        box = self.group(group).get_by_label(label, exact=True).first
        if answered:
            self.timed(f"{label} {value}", lambda: (box.fill(value), box.press("Tab")))
        else:
            box.fill(value)
            box.press("Tab")

    def choose(self, group: str, label: str, value: str, *, answered: bool = True) -> None:
        box = self.group(group).get_by_label(label, exact=True).first
        if answered:
            self.timed(f"{label} {value}", lambda: box.select_option(value))
        else:
            box.select_option(value)

    def pick(self, label: str) -> None:
        self.tab("chosen")
        self.page.select_option("#union", label)
        self.page.wait_for_selector("#panel h2")

    def state(self, path: str) -> Any:
        return self.js(f"treescanPage.state().{path}")

    def shot(self) -> None:
        self.count += 1
        self.page.screenshot(path=str(self.folder / f"{self.name}_{self.count:02d}.png"))

    def end(self) -> None:
        self.shot()
        assert self.errors == []
        assert all(u.startswith(("http://127.0.0.1:", "data:")) for u in self.asked), "asked for something outside"
        assert "not permission to climb" in self.page.inner_text(".caution")
        self.page.close()


def find(film: Film, kind: str, on: str, why: str, **more: str) -> None:
    """State a finding on the Change panel."""
    film.tab("change")
    box = film.group("Findings of the competent person")
    box.get_by_label("What", exact=True).select_option(kind)
    box.get_by_label("On", exact=True).select_option(on)
    for label, text in {"Who": "an inspector", "When": "today", "Why": why, **more}.items():
        box.get_by_label(label, exact=True).fill(text)
    film.press("State it", box)


def test_whole_crown_and_deadwood_over_a_path(browser, server, tmp_path):
    """The set for the whole crown, then for the limbs that look dead and one limb more; told what it does to the set."""
    film = Film(browser, server, tmp_path, "1_crown")
    film.tab("change")
    film.fill("Work", "Limb", "2", answered=False)
    film.press("Add the chosen limb", film.group("Work"))
    film.tab("candidates")
    assert film.state("changed") and film.state("inputs.work.words") == ["limb:2"]
    film.end()


def test_a_dead_top(browser, server, tmp_path):
    """Everything above a height is stated dead: what hangs there is not ranked, by that statement."""
    film = Film(browser, server, tmp_path, "3_dead_top")
    film.pick(film.state("plan.rows[0].label"))
    height = film.js("(async () => (await (await fetch('/tree/' + (await (await fetch('/trees')).json()).trees[0].key + '/lines/0')).json()).height)()")
    find(film, "dead", "above", "dead top", **{"Everything above (m)": str(round(height - 0.5, 1))})
    film.tab("candidates")
    assert any("dead top" in line for line in film.state("changed"))
    film.end()


def test_a_removal_in_its_order(browser, server, tmp_path):
    """Two limbs and the stem: the anchors go with their cuts; the order is changed."""
    film = Film(browser, server, tmp_path, "4_removal")
    film.tab("change")
    cuts = film.group("Removal")
    for limb in ("2", "1"):
        film.fill("Work", "Limb", limb, answered=False)
        film.press("Cut the chosen limb", cuts)
    film.timed("Earlier", lambda: cuts.get_by_role("button", name="Earlier", exact=True).nth(1).click())
    assert [r["limb"] for r in film.state("inputs.cuts")] == [1, 2]
    film.tab("candidates")
    film.end()


def test_a_wire_then_no_wire(browser, server, tmp_path):
    """A wire of unknown voltage by the crown, then withdrawn: told what it cost, and that it is back."""
    film = Film(browser, server, tmp_path, "6_wire")
    first = film.state("plan.rows.filter(r => r.rank).length")
    film.tab("change")
    site = film.group("Site")
    film.choose("Site", "What", "conductor", answered=False)
    site.get_by_label("Height above ground (m)").fill("7")
    site.get_by_label("Height above ground (m)").press("Tab")
    site.get_by_label("Places east, north of the stem (m), one a line").fill("-9, 3\n9, 3")
    site.get_by_label("Places east, north of the stem (m), one a line").press("Tab")
    film.press("Add to the site", site)
    film.tab("candidates")
    film.shot()
    with_wire = film.state("plan.rows.filter(r => r.rank).length")
    film.tab("history")
    film.timed("Withdraw", film.page.locator("#panel li", has_text="wire").get_by_role("button").last.click)
    assert with_wire < first == film.state("plan.rows.filter(r => r.rank).length")
    film.end()


def test_the_light_climber_and_another_rope(browser, server, tmp_path):
    """Another climber, hardware and rope angle, each told; then undone by hand, one by one."""
    film = Film(browser, server, tmp_path, "8_training")
    first = film.state("plan.rows")
    film.tab("change")
    film.fill("People and load test", "Climber with gear (kg)", "70")
    film.choose("Rope", "Moving rope runs on", "pulley")
    film.fill("Rope", "Rope angle limit (deg)", "30")
    film.tab("candidates")
    film.shot()
    for _ in range(3):
        film.press("Undo")
    assert film.state("plan.rows") == first and film.state("lines.length") == 3
    film.end()


def test_throws_from_another_stand(browser, server, tmp_path):
    """The chosen union from a place beside the stem: the throws are told and drawn, and asked again from elsewhere."""
    film = Film(browser, server, tmp_path, "9_stand")
    film.pick(film.state("plan.rows[0].label"))
    film.tab("change")
    for east in ("3", "-3"):
        film.fill("Stand", "East of the stem (m)", east, answered=False)
        before = film.state("thrown?.line ?? 0")
        start = time.perf_counter()
        film.group("Stand").get_by_role("button").click()
        film.until(f"treescanPage.state().thrown && treescanPage.state().thrown.line > {before}")
        print(f"9_stand: throws: {time.perf_counter() - start:.2f} s")
        film.shot()
    assert film.state("thrown.says")
    film.end()


def test_by_touch_on_the_view(browser, server, tmp_path):
    """Taps on the canvas alone: a union is chosen, a length measured, throws asked for from the ground, an area drawn and planned."""
    film = Film(browser, server, tmp_path, "13_touch")
    box, foot = film.page.locator("#view").bounding_box(), film.js("treescanPage.scene().foot")
    label = film.state("plan.rows[0].label")

    def tap(place: str) -> None:
        x, y = film.js(f"treescanPage.view().screen({place})")
        film.page.mouse.click(box["x"] + x, box["y"] + y)
        film.page.wait_for_timeout(100)

    def ground(east: float, north: float) -> str:
        return str([foot[0] + east, foot[1] + north, foot[2]])

    tap(f"treescanPage.scene().unions.find(u => u.label === '{label}').at")
    film.until("document.querySelector('#panel h2')")
    chosen = film.js("document.querySelector('#union').value")
    at = "treescanPage.scene().unions.find(u => u.label === '{}').at"
    assert film.js(f"Math.hypot(...treescanPage.view().screen({at.format(chosen)}).map((v, i) => v - treescanPage.view().screen({at.format(label)})[i]))") < 8
    film.page.select_option("#colour-by", "use")
    film.shot()

    tools = film.page.locator("#tools")
    tools.get_by_role("button", name="Measure", exact=True).click()
    tap(ground(3.0, -2.0))
    tap(ground(3.0, -4.0))
    assert " m" in film.page.inner_text("#tape")
    before = film.state("thrown?.line ?? 0")
    tools.get_by_role("button", name="Stand here", exact=True).click()
    tap(ground(3.0, -3.0))
    film.until(f"treescanPage.state().thrown && treescanPage.state().thrown.line > {before}")
    stood = film.js("treescanPage.state().lines.at(-1).says")
    assert chosen in stood
    film.shot()

    tools.get_by_role("button", name="Draw", exact=True).click()
    for corner in ((1.5, -3.0), (3.5, -3.0), (2.5, -5.0)):
        tap(ground(*corner))
    drawn = film.group("Site").get_by_label("Places east, north of the stem (m), one a line").input_value()
    assert len(drawn.splitlines()) == 3
    film.press("Add to the site", film.group("Site"))
    assert film.state("inputs.drawn.length") == 1
    film.end()


def test_a_union_that_was_never_judged(browser, server, tmp_path):
    """Any union can be asked why it is none; the answer says what would help, and nothing reads as permission."""
    film = Film(browser, server, tmp_path, "10_why_not")
    judged = set(film.js("treescanPage.state().plan.rows.map(r => r.label)"))
    every = film.js("[...document.querySelectorAll('#union option')].map(o => o.value)")
    if not every:
        film.tab("chosen")
        every = film.js("[...document.querySelectorAll('#union option')].map(o => o.value)")
    for label in [u for u in every if u and u not in judged][:1] + sorted(judged)[-1:]:
        film.pick(label)
        film.shot()
        said = film.page.inner_text("#panel").lower()
        assert "approved" not in said and "certified" not in said and " safe " not in said
    film.end()


def test_after_the_storm_two_plans_side_by_side(browser, server, tmp_path):
    """The plan is named, the first union fails its test: both whole plans stand side by side, with what changed."""
    film = Film(browser, server, tmp_path, "12_storm")
    film.tab("history")
    film.page.fill("#name", "before the storm")
    film.press("Keep under this name")
    label = film.state("plan.rows[0].label")
    film.pick(label)
    find(film, "load test failed", "union", "gone in the storm")
    film.tab("history")
    film.page.select_option("#one", "before the storm")
    film.page.select_option("#other", "")
    film.page.get_by_role("button", name="Compare", exact=True).click()
    film.page.wait_for_selector("#compared")
    film.page.locator("#compared").scroll_into_view_if_needed()
    assert "gone in the storm" in film.page.inner_text("#panel")
    film.end()


def test_two_browsers_at_once(browser, server, tmp_path):
    """What one changes the other sees, without asking; both can go on."""
    one, two = Film(browser, server, tmp_path, "two_a"), Film(browser, server, tmp_path, "two_b")
    one.tab("change")
    one.fill("People and load test", "Climber with gear (kg)", "125")
    two.until("treescanPage.state().inputs.settings['loads.climber_mass'] === 125 && !treescanPage.state().work")
    two.press("Undo")
    one.until("treescanPage.state().inputs.settings['loads.climber_mass'] !== 125 && !treescanPage.state().work")
    one.end()
    two.end()


@pytest.mark.parametrize("size", [(390, 844), (820, 1180), (3840, 2160)], ids=str)
def test_from_a_phone_to_a_wall(browser, server, tmp_path, size):
    """Nothing runs over the edge, every target is 44 px, in light and dark; and the faults an automatic checker finds are none."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    film = Film(browser, server, tmp_path, f"size_{size[0]}", size)
    for tab in ("candidates", "chosen", "change", "history"):
        film.tab(tab)
        film.shot()
        assert film.js("document.documentElement.scrollWidth <= innerWidth"), tab
        small = film.js(
            "[...document.querySelectorAll('button, select, input:not([type=checkbox]), summary, label.tick, textarea')]"
            ".filter(e => e.offsetParent && (e.getBoundingClientRect().height < 43.5 || e.getBoundingClientRect().width < 43.5)).map(e => e.outerHTML.slice(0, 120))"
        )
        assert small == [], tab
        if size[0] == 820:
            client = film.page.context.new_cdp_session(film.page)
            client.send("Page.setBypassCSP", {"enabled": True})
            found = axe.Axe().run(film.page).response["violations"]
            assert [(v["id"], v["nodes"][0]["html"][:200]) for v in found if v["impact"] in {"serious", "critical"}] == []
    film.page.get_by_role("button", name="Light or dark").click()
    film.shot()
    film.end()


def test_by_keyboard_alone_and_frames(browser, server, tmp_path):
    """Tab reaches view and panels, arrows turn the tree, a candidate is chosen by Enter; frames a second and page weight are printed."""
    film = Film(browser, server, tmp_path, "keyboard")
    film.page.focus("#view")
    before = film.js("treescanPage.view().frames()")
    for key in ("ArrowLeft", "ArrowUp", "+", "-", "0"):
        film.page.keyboard.press(key)
        film.page.wait_for_timeout(60)
    film.tab("candidates")
    film.page.focus("#row-0")
    film.page.keyboard.press("Enter")
    film.page.wait_for_selector("#panel h2")
    reached = set()
    for _ in range(60):
        film.page.keyboard.press("Tab")
        reached.add(film.js("document.activeElement.tagName + (document.activeElement.id || '')"))
    assert film.js("treescanPage.view().frames()") > before
    film.until("performance.getEntriesByName('points-shown').length")
    assert film.js("treescanPage.view().sizes().at(-1)") > 0, "no points of the scan are drawn"
    assert {"SELECTunion", "SUMMARY"} & reached
    print(f"keyboard: {film.js('treescanPage.view().spin(20)'):.1f} frames a second")
    brought = film.js("performance.getEntriesByType('resource').reduce((n, r) => n + r.transferSize, 0)")
    print(f"keyboard: {brought / 1e6:.2f} MB brought")
    film.end()
