"""General checkers on our files: html5lib (WHATWG HTML parsing, errors on), the Nu checker, axe-core (WCAG 2.1 A and AA), the Khronos glTF validator.

The Nu checker (vnu.jar) and the glTF validator come from the npm registry and are looked for in TREESCAN_NODE_MODULES.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
from importlib.resources import files
from pathlib import Path

import pytest

sys.path.append(str(Path(__file__).parent.parent / "outputs"))

from chromium import CHROMIUM, FLAGS
from made_up_assessment import made_up

from treescan.outputs.report.report import report_html
from treescan.outputs.shapes.tree_glb import scene_bytes

NODE = Path(os.environ.get("TREESCAN_NODE_MODULES", "node_modules"))
SVG_IN_CSS = {"vector-effect", "paint-order"}
"""Properties of SVG 2 that the Nu checker's CSS part does not know."""
WITHOUT = {"good": made_up(), "hopeless": made_up(assessable=False), "unjudged": made_up(judged=False)}


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("pages")
    out = {}
    for name, a in WITHOUT.items():
        out[name] = folder / f"{name}.html"
        out[name].write_text(report_html(a), encoding="utf-8")
    return out


@pytest.mark.parametrize("name", list(WITHOUT))
def test_the_page_parses_as_html5_without_an_error(pages: dict[str, Path], name: str) -> None:
    """A parser that follows the HTML standard finds nothing to repair."""
    html5lib = pytest.importorskip("html5lib")
    parser = html5lib.HTMLParser()
    parser.parse(pages[name].read_text(encoding="utf-8"))
    assert [(place, code) for place, code, _ in parser.errors] == []


def test_the_page_passes_the_nu_checker(pages: dict[str, Path]) -> None:
    """No error, but for properties of SVG that its CSS part does not know."""
    jar = NODE / "vnu-jar" / "build" / "dist" / "vnu.jar"
    if not jar.is_file() or shutil.which("java") is None:
        pytest.skip("no vnu.jar in TREESCAN_NODE_MODULES, or no java")
    ask = ["java", "-jar", str(jar), "--format", "json", "--exit-zero-always", *map(str, pages.values())]
    said = json.loads(subprocess.run(ask, check=True, capture_output=True).stderr)["messages"]
    errors = [m["message"] for m in said if m["type"] == "error" and not any(f"“{p}”" in m["message"] for p in SVG_IN_CSS)]
    assert errors == []


@pytest.mark.parametrize(("width", "height"), [(1440, 900), (390, 844)])
@pytest.mark.slow
def test_the_page_is_accessible_by_axe(pages: dict[str, Path], width: int, height: int) -> None:
    """axe-core finds no violation of any weight, with every card open, at desk and phone width."""
    if CHROMIUM is None:
        pytest.skip("no chromium on this machine")
    pytest.importorskip("axe_playwright_python")
    sync_api = pytest.importorskip("playwright.sync_api")
    axe = (files("axe_playwright_python") / "axe.min.js").read_text(encoding="utf-8")
    with sync_api.sync_playwright() as p:
        browser = p.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        for name, path in pages.items():
            page = browser.new_page(viewport={"width": width, "height": height})
            page.goto(path.as_uri())
            page.wait_for_function("window.treescanView !== undefined")
            page.evaluate("document.querySelectorAll('details').forEach(d => { d.open = true; })")
            page.evaluate(axe)
            found = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
            assert [(v["id"], v["impact"], v["nodes"][0]["html"]) for v in found["violations"]] == [], name
            page.close()
        browser.close()


def test_text_keeps_its_contrast() -> None:
    """Every text colour of the page against its ground has at least 4.5 to 1 (WCAG 2.1, 1.4.3)."""
    css = (files("treescan.outputs.report") / "page" / "report.css").read_text(encoding="utf-8")
    named = dict(re.findall(r"--(\w+):(#[0-9a-f]{3,6})", css.split("}", 1)[0]))

    def light(colour: str) -> float:
        full = colour[1:] if len(colour) == 7 else "".join(c * 2 for c in colour[1:])
        parts = [int(full[i : i + 2], 16) / 255 for i in (0, 2, 4)]
        r, g, b = (c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
        return 0.2126 * r + 0.7152 * g + 0.0722 * b

    for text in ("ink", "soft", "blue", "deep", "orange"):
        for ground in ("paper", "sheet", "warm"):
            high, low = sorted((light(named[text]), light(named[ground])), reverse=True)
            assert (high + 0.05) / (low + 0.05) >= 4.5, (text, ground)


@pytest.mark.parametrize("name", list(WITHOUT))
def test_the_scene_passes_the_gltf_validator(name: str, tmp_path: Path) -> None:
    """No error, no warning and no hint from the Khronos validator."""
    if not (NODE / "gltf-validator").is_dir() or shutil.which("node") is None:
        pytest.skip("no gltf-validator in TREESCAN_NODE_MODULES, or no node")
    path = tmp_path / "tree.glb"
    path.write_bytes(scene_bytes(WITHOUT[name]))
    ask = f"require({json.dumps(str((NODE / 'gltf-validator').resolve()))}).validateBytes(new Uint8Array(require('fs').readFileSync({json.dumps(str(path))})))"
    text = subprocess.run(["node", "-e", ask + ".then(r => console.log(JSON.stringify(r.issues)))"], check=True, capture_output=True).stdout
    issues = json.loads(text)
    assert (issues["numErrors"], issues["numWarnings"], issues["numHints"]) == (0, 0, 0), issues["messages"][:3]
