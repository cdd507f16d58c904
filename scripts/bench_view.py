"""How fast is the planner's view without a graphics card, beside what three.js alone does on the same machine?

    python scripts/bench_view.py TREE.json [WIDTHxHEIGHT ...]

Opens the page on the tree in Chromium with software rendering and prints what was brought, when the first picture and the points stood, and frames a second, its plan stopped: of
the page while it turns (with the part of tree and points that is drawn then), of the page with everything drawn, of an empty scene and of 200,000 bare points on a
canvas of the same size. Clock times: say what else the machine did.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(ROOT), str(ROOT / "tests"), str(ROOT / "tests" / "faces")]

from chromium import CHROMIUM, FLAGS  # noqa: E402
from playwright.sync_api import sync_playwright  # noqa: E402
from served_page import Served  # noqa: E402

FLOOR = """async count => {
  const view = document.getElementById('view'), canvas = document.createElement('canvas');
  Object.assign(canvas.style, { width: view.clientWidth + 'px', height: view.clientHeight + 'px', position: 'fixed', left: 0, top: 0, zIndex: 9 });
  document.body.append(canvas);
  const r = new THREE.WebGLRenderer({ canvas, antialias: true }), scene = new THREE.Scene(), camera = new THREE.PerspectiveCamera(38, view.clientWidth / view.clientHeight, 0.1, 400);
  r.setPixelRatio(Math.min(devicePixelRatio, 2)); r.setSize(view.clientWidth, view.clientHeight, false);
  if (count) {
    const shape = new THREE.BufferGeometry(), xyz = new Float32Array(3 * count).map((_, i) => (i % 3 === 2 ? 18 : 12) * (Math.sin(i * 12.9898) * 43758.5453 % 1));
    shape.setAttribute('position', new THREE.BufferAttribute(xyz, 3));
    scene.add(new THREE.Points(shape, new THREE.PointsMaterial({ size: 0.03, color: 0x809280 })));
  }
  let turn = 0;
  const fps = await new Promise(done => {
    let n = 0, start = 0;
    const go = () => {
      turn += 0.02; camera.position.set(40 * Math.cos(turn), 40 * Math.sin(turn), 5); camera.up.set(0, 0, 1); camera.lookAt(0, 0, 0);
      r.render(scene, camera);
      if (n === 5) start = performance.now();
      if (++n < 45) requestAnimationFrame(go); else done(1000 * 40 / (performance.now() - start));
    };
    requestAnimationFrame(go);
  });
  r.dispose(); canvas.remove();
  return fps;
}"""


def until(page: Any, expression: str) -> float:
    """Seconds until it holds, asked from outside."""
    start = time.perf_counter()
    while not page.evaluate(f"Boolean({expression})"):
        time.sleep(0.02)
    return time.perf_counter() - start


def measure(browser: Any, link: str, size: tuple[int, int]) -> None:
    """One size of window."""
    page = browser.new_page(viewport={"width": size[0], "height": size[1]})
    page.goto(link)
    until(page, "performance.getEntriesByName('tree-shown').length")
    until(page, "performance.getEntriesByName('points-shown').length || !treescanPage.scene().points")
    marks = page.evaluate("performance.getEntriesByType('mark').map(m => `${m.name} ${(m.startTime / 1000).toFixed(2)} s`).join(', ')")
    brought = page.evaluate("performance.getEntriesByType('resource').map(r => `${r.name.split('/').pop()} ${Math.round(r.transferSize / 1000)} kB`).join(', ')")
    stopped = "t => fetch(`/tree/${t}/wish`, { method: 'POST', headers: { 'x-treescan': '1' }, body: JSON.stringify({ wish: 'stop' }) })"
    page.evaluate(stopped, page.evaluate("performance.getEntriesByType('resource').find(r => r.name.endsWith('/scene')).name.split('/').at(-2)"))
    until(page, "treescanPage.state() && !treescanPage.state().work")
    page.wait_for_timeout(1500)
    counts = page.evaluate("[treescanPage.scene().wood.counts.reduce((a, b) => a + b, 0), treescanPage.scene().leftOut, treescanPage.view().sizes()]")
    print(f"{size[0]}x{size[1]}: {marks}; {brought}; rings {counts[0]}, limbs left out {counts[1]}, triangles and points {counts[2]}")
    page.evaluate("treescanPage.view().spin(60)")  # finds its part
    turning, share = page.evaluate("treescanPage.view().spin(60)"), page.evaluate("treescanPage.view().share()")
    page.wait_for_timeout(1500)
    whole = page.evaluate("treescanPage.view().spin(12, true)")
    page.wait_for_timeout(1500)
    empty, bare = page.evaluate(FLOOR, 0), page.evaluate(FLOOR, 200_000)
    print(f"  frames a second: turning {turning:.1f} (drawn {100 * share:.0f} %), all drawn {whole:.1f}; library alone: empty {empty:.1f}, 200,000 points {bare:.1f}")
    page.close()


def main() -> None:
    sizes = [tuple(int(n) for n in given.split("x")) for given in sys.argv[2:]] or [(1280, 900), (390, 844)]
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as p:
        server = Served([Path(sys.argv[1])], Path(folder))
        try:
            browser = p.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
            for size in sizes:
                measure(browser, server.link, size)  # type: ignore[arg-type]
            browser.close()
        finally:
            server.close()


if __name__ == "__main__":
    main()
