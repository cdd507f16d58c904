#!/usr/bin/env python
"""Six invented jobs end to end through the command line: does each answer what it has to?

    python scripts/scenarios.py [3 4 5 6 9 10] [-o FOLDER] [--fine] [--pictures FOLDER]

Each scenario writes its inputs (from the sample clouds, or a tree made here), runs the commands a user would
type, and looks for the promised answers in anchors.json, report and sheet. Prints one line an answer; ends
with 1 where one is missing. Needs pdftotext. Throws are looked for on a coarse grid, unless --fine asks for the
defaults (minutes for each tree). --pictures saves the opened report and the sheet as pictures (playwright,
Chromium, pdftoppm).
"""

from __future__ import annotations

import argparse
import html
import json
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, NamedTuple

import laspy
import numpy as np
from verdict_flips import codes_in

ROOT = Path(__file__).parents[1]
SAMPLES = ROOT / "sample_clouds"
OAK = SAMPLES / "quillmoor_green_qg07"
COARSE = """[throw]
methods = ["hand", "launcher"]
stance_spacing = 3.5
candidates = 1
fine_planes = 128
fine_flights = 8
[planning]
max_unions = 30
work_points = 80
draws = 100
"""
FINE = False
Answer = tuple[str, bool, str]
"""What was promised, whether it stands there, what stands there."""


class Run(NamedTuple):
    """What one `plan` wrote."""

    anchors: dict[str, Any]
    tree: dict[str, Any]
    standing: dict[str, Any]
    terrain: dict[str, Any]
    report: str  # words of the report, without marks
    sheet: str  # words of the job sheet

    @property
    def usable(self) -> list[dict[str, Any]]:
        """Ranked candidates."""
        return [a for a in self.anchors["anchors"] if a["usable"]]

    def ground(self, x: float, y: float) -> float:
        """Height of the ground at a place, both in the cloud's frame as anchors and places are; terrain.json counts from the
        origin in tree.json [m]."""
        origin = np.array(self.tree["origin"])
        col, row = ((np.array([x, y]) - origin[:2] - self.terrain["corner"]) / self.terrain["cell"]).astype(int)
        return float(self.terrain["height"][row][col] + origin[2])


def plan(out: Path, *arguments: str | Path) -> Run:
    """Run `treescan plan` and read its folder; raises where it fails."""
    command = [
        sys.executable,
        "-m",
        "treescan",
        "plan",
        *map(str, arguments),
        "-o",
        str(out),
        "--quiet",
        "--replace",
    ]
    if not FINE:
        command += ["--settings", str(out.parent / "coarse.toml")]
        (out.parent / "coarse.toml").write_text(COARSE)
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    if done.returncode:
        raise SystemExit(f"{' '.join(command)}: ended with {done.returncode}: {done.stderr.strip()}")
    read = {
        n: json.loads((out / n).read_text())
        for n in ("anchors.json", "tree.json", "standing.json", "terrain.json")
    }
    page = re.sub(r"<(script|style).*?</\1>", " ", (out / "report.html").read_text(), flags=re.DOTALL)
    words = re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]*>", " ", page)))
    sheet = subprocess.run(
        ["pdftotext", str(out / "job_sheet.pdf"), "-"], capture_output=True, text=True, check=True
    )
    return Run(*read.values(), words, re.sub(r"\s+", " ", sheet.stdout))


def _site(path: Path, *features: tuple[str, str, list[Any], dict[str, Any]]) -> Path:
    """A GeoJSON of (kind, geometry, coordinates, further properties)."""
    shapes = [
        {"type": "Feature", "properties": {"kind": k} | more, "geometry": {"type": g, "coordinates": c}}
        for k, g, c, more in features
    ]
    path.write_text(json.dumps({"type": "FeatureCollection", "features": shapes}))
    return path


def _box(x0: float, x1: float, y0: float, y1: float) -> list[list[list[float]]]:
    return [[[x0, y0], [x1, y0], [x1, y1], [x0, y1], [x0, y0]]]


def hollin_bank(out: Path) -> Iterator[Answer]:
    """3: a declining ash, dead above 10 m by the inspector's word, a beech beside it."""
    foot = np.array(json.loads(OAK.with_suffix(".truth.json").read_text())["origin"])
    findings = out / "findings.toml"
    why = "bark off, fungus at 15 m; U1 to U9 look alike"
    findings.write_text(
        '[[override]]\nkind = "dead"\nabove = 10.0\nwho = "J., competent person"\nwhen = "on the day, 9:40"\n'
        f'why = "{why}"\n'
    )
    beech = [foot[0] + 13.0, foot[1] + 5.5, 0]
    site = _site(out / "site.geojson", ("anchor", "Point", beech, {"name": "beech crotch", "height_m": 9.0}))
    run = plan(
        out / "plan", OAK.with_suffix(".laz"), "--species", "ash", "--site", site, "--overrides", findings
    )
    high = [a for a in run.anchors["anchors"] if a["height"] > 10.05]
    yield (
        "nothing above 10 m is ranked, and what is there is listed",
        bool(high) and not any(a["usable"] for a in high),
        f"{len(high)} anchors up there",
    )
    said = [a for a in high if any("dead" in r for r in a["reasons"])]
    yield "each of them says that it is dead", len(said) == len(high), f"{len(said)} of {len(high)}"
    yield "the inspector's words stand there letter for letter", why in run.report, why
    tried = run.anchors["climb"]["neighbours"]
    yield (
        "the beech is tried as an anchor under its own name",
        "beech crotch" in json.dumps(tried),
        f"{len(tried)} ways",
    )
    yield "a platform comes before every climb", "platform" in json.dumps(run.anchors["approach"]), ""
    yield "the sheet does not say that no limb looks dead", "no limb looks dead" not in run.sheet, ""
    yield "the inspector's words stand on the sheet too", why in run.sheet, ""
    yield "something below is left to inspect", bool(run.usable), f"{len(run.usable)} candidates"


def poplar() -> dict[str, Any]:
    """A poplar of 31 m, 90 cm thick at the foot: one stem, from 8 m up a steep limb every 1.5 m."""
    nodes, segments = [], []
    heights = np.arange(0.0, 31.01, 0.5)
    for i, z in enumerate(heights):
        nodes.append(
            {"id": i, "xyz": [0.0, 0.0, float(z)], "radius": float(0.45 - 0.43 * z / 31), "radius_sd": 0.004}
        )
        if i:
            segments.append({"parent": i - 1, "child": i, "limb": 0})
    for n, at in enumerate(range(16, 55, 3)):
        start, turn = np.array([0.0, 0.0, heights[at]]), n * 2.4
        long = 4.5 - 0.15 * n
        way = np.array([np.cos(turn), np.sin(turn), 1.0]) / np.sqrt(2)
        before = at
        for s in np.linspace(0.5, long, 8):
            thick = 0.5 * nodes[at]["radius"] * (1 - 0.8 * s / long)
            nodes.append(
                {
                    "id": len(nodes),
                    "xyz": [float(c) for c in start + way * s],
                    "radius": float(thick),
                    "radius_sd": 0.004,
                }
            )
            segments.append(
                {"parent": before, "child": nodes[-1]["id"], "radius": float(thick), "limb": n + 1}
            )
            before = nodes[-1]["id"]
    head = {
        "format": "treescan-tree",
        "version": 1,
        "units": "m",
        "crs": None,
        "origin": [400.0, 700.0, 12.0],
    }
    return head | {"nodes": nodes, "segments": segments}


def ferrow_mill(out: Path) -> Iterator[Answer]:
    """4: a poplar of 31 m beside a roof comes down in nine cuts; anchors go with cuts 4 and 7."""
    tree = out / "tree.json"
    tree.write_text(json.dumps(poplar()))
    site = _site(
        out / "site.geojson", ("building", "Polygon", _box(404, 414, 695, 705), {"name": "mill roof"})
    )
    cuts = out / "cuts.csv"
    rows = [
        ("lowest limb", "", "U01", "", "", "U09 MRS", ""),
        ("third limb", "", "U03", "", "", "U09 MRS", ""),
        ("fifth limb", "", "U05", "", "", "U09 MRS", "U08"),
        ("limb of the first anchor", "", "U09", "", "", "U09 MRS", ""),
        ("sixth limb", "", "U06", "", "", "U07 MRS", "U07"),
        ("top", "", "", 24.0, "", "U07 MRS", ""),
        ("limb of the second anchor", "", "U07", "", "", "U07 MRS", ""),
        ("spar", "", "", 12.0, "", "", ""),
        ("butt", "", "", 1.5, "", "", ""),
    ]
    head = "name,limb,union,stem_height_m,at_m,life_support,rigging"
    cuts.write_text("\n".join([head, *(",".join(map(str, r)) for r in rows)]) + "\n")
    run = plan(out / "plan", tree, "--species", "black poplar", "--site", site, "--cuts", cuts)
    stages = run.anchors["climb"]["removal"]
    alarms = [set(codes_in(s["alarms_data"])) for s in stages]
    yield "nine stages", len(stages) == 9, f"{len(stages)}"
    for number, label in ((4, "U09"), (7, "U07")):
        stage = stages[number - 1]
        lost = any(x.startswith(label) for x in stage["lost"])
        yield (
            f"cut {number} takes {label} with it",
            lost and "support_on_piece" in alarms[number - 1],
            str(stage["lost"]),
        )
    shared = [i + 1 for i, a in enumerate(alarms) if "support_shares_rigging" in a]
    yield "the planted conflict of life line and block is told at cut 5", 5 in shared, f"told at {shared}"
    yield (
        "a spar page gives the stem by height",
        len(run.anchors["climb"]["spar"]) > 5,
        f"{len(run.anchors['climb']['spar'])} rows",
    )
    told = [i + 1 for i, s in enumerate(stages) if "mill roof" in json.dumps([s["alarms"], s["words"]])]
    yield (
        "the roof is named where pieces reach it (turned about the cuts 6 and 8)",
        {6, 8} <= set(told),
        f"told at {told}",
    )
    masses = [s["mass_kg"] for s in stages]
    yield "no piece is weightless", min(masses) > 5, ", ".join(f"{m:.0f}" for m in masses)


def bracken_hythe(out: Path) -> Iterator[Answer]:
    """5: a whorled fir without a clean fork; the whorl near 9.3 m is dead stubs."""
    scan = SAMPLES / "bracken_hythe_conifer.laz"
    run = plan(out / "plan", scan, "--species", "Douglas fir")
    thin = [a for a in run.usable if a["system"] == "SRS basal" and a["capacity"]["margin_p5"] < 1]
    basal = [a for a in run.anchors["anchors"] if a["system"] == "SRS basal"]
    refused = [a for a in basal if not a["usable"] and a["reasons"]]
    over = [a for a in basal if a["usable"] and a["throw"] and len(a["throw"]["captured"]) >= 2]
    found = f"{len(over)} offered, {len(refused)} of {len(basal)} refused with reasons"
    yield (
        "a basal line over several limbs is offered, or each is refused with its reason",
        not thin and bool(over or len(refused) == len(basal)),
        found,
    )
    stem = [a for a in run.usable if "round the stem" in a["hardware"]]
    yield (
        "the stem choked round above thin whorls is offered",
        bool(stem),
        f"{len(stem)} of {len(run.usable)}",
    )
    drops = [f for a in run.usable for f in a["fallback"][:1] if f.get("drop_m") is not None]
    yield (
        "what catches next, and after which drop, stands at every candidate",
        len(drops) == len(run.usable),
        f"{len(drops)}",
    )
    trap = [a for a in run.usable if 9.0 <= a["height"] <= 9.7]
    yield (
        "nothing at the whorl of dead stubs (9.3 m) is ranked",
        not trap,
        ", ".join(a["union"] for a in trap),
    )
    cuts = out / "cuts.csv"
    cuts.write_text("name,stem_height_m,life_support\ntop with the uppermost whorls,14.0,\n")
    less = plan(out / "topped", scan, "--species", "Douglas fir", "--cuts", cuts)
    stage = less.anchors["climb"]["removal"][0]
    yield "with the top off, what goes with it is told", bool(stage["lost"]), ", ".join(stage["lost"])
    above = [a["union"] for a in less.usable if a["height"] > 14.0]
    yield "no anchor above the only cut is ranked for it", not above, ", ".join(above)
    yield "what is left below the cut is told", bool(stage["left"]), ", ".join(stage["left"][:4])


def cold_ash_lane(out: Path) -> Iterator[Answer]:
    """6: a service wire of which the scan lacks a piece; nothing may claim the gap to be clear."""
    truth = json.loads(OAK.with_suffix(".truth.json").read_text())
    foot, wire = np.array(truth["origin"]), np.array(truth["truth"]["wires"][0])
    labels = np.load(OAK.with_suffix(".labels.npz"))
    cloud = laspy.read(OAK.with_suffix(".laz"))
    there = labels["part"] == list(labels["parts"]).index("wire")
    gap = there & (np.abs(np.asarray(cloud.x) - foot[0]) < 5.0)
    cloud.points = cloud.points[~gap]
    scan = out / "wire_with_a_gap.laz"
    cloud.write(scan)
    run = plan(out / "plan", scan, "--species", "sycamore")
    near = [(a, _to_line(np.array(a["xyz"]) - foot, wire)) for a in run.anchors["anchors"]]
    told = [(a, min((c["distance_m"] for c in a["clearances"]), default=np.inf), true) for a, true in near]
    worst = max(((t - true, a["union"]) for a, t, true in told), default=(np.inf, ""))
    yield (
        "a distance to the wire stands at every anchor, and none is larger than the true one",
        worst[0] < 0.1,
        f"worst {worst}",
    )
    thrown = [a for a in run.usable if a["throw"]]
    stands = [_to_line(np.array(a["throw"]["stand_xyz"]) - foot, wire) for a in thrown]
    yield (
        "nobody is told to stand within 4 m of the wire",
        bool(stands) and min(stands) > 4.0,
        f"nearest {min(stands, default=0):.1f} m",
    )
    yield "no clearance is claimed", "no clearance shown here is a safe distance" in run.report.lower(), ""
    yield "the report says that wires can be missing", "missing from the scan" in run.report, ""


def _to_line(point: np.ndarray, line: np.ndarray) -> float:
    """Distance of a point to a polyline [m]."""
    a, d = line[:-1], np.diff(line, axis=0)
    t = np.clip(((point - a) * d).sum(1) / (d * d).sum(1), 0, 1)
    return float(np.linalg.norm(a + t[:, None] * d - point, axis=1).min())


def marl_steps(out: Path) -> Iterator[Answer]:
    """9: a tree on a bank of 25 degrees; the ground below it is closed, so lines are thrown from above."""
    site = _site(
        out / "site.geojson", ("no-stand", "Polygon", _box(0.5, 25, -25, 25), {"name": "steps below"})
    )
    run = plan(out / "plan", SAMPLES / "marl_steps_slope.laz", "--species", "beech", "--site", site)
    z = [p["xyz"][2] for p in run.standing["places"]]
    fall = run.ground(-6, 0) - run.ground(6, 0)
    yield "the ground is read as a bank (25 degrees: 5.6 m over 12 m)", abs(fall - 5.6) < 0.6, f"{fall:.1f} m"
    low = [p for p in run.standing["places"] if p["xyz"][0] > 0.6]
    yield "nobody stands on the closed side", not low, f"{len(z)} places, {min(z):.1f} to {max(z):.1f} m"
    thrown = [a for a in run.usable if a["throw"]]
    above = [a for a in thrown if a["throw"]["stand_xyz"][2] > 0]
    yield (
        "lines are thrown from above",
        bool(thrown) and len(above) == len(thrown),
        f"{len(above)} of {len(thrown)}",
    )
    short = []
    for a in (a for a in run.usable if a["system"] == "MRS"):
        x, y, top = a["xyz"]
        low_side = min(
            run.ground(x + 3 * np.cos(t), y + 3 * np.sin(t)) for t in np.linspace(0, 2 * np.pi, 24)
        )
        need = 2 * (np.hypot(3, top - low_side) - 1.0)  # the harness 1 m up, 3 m down the bank
        if a["rope"]["length_m"] < need and a["rope"]["reaches_ground"]:
            short.append(f"{a['union']} {a['rope']['length_m']:.1f} m for {need:.1f} m")
    yield "a rope told to reach the ground reaches it 3 m down the bank too", not short, "; ".join(short[:3])
    yield (
        "the bank is told: which way the ground falls",
        bool(re.search("downhill|uphill|bank|ground falls", run.report)),
        "",
    )


def wick_end(out: Path) -> Iterator[Answer]:
    """10: one scanner position, wind, ivy: it cannot be assessed; from where to scan again."""
    run = plan(out / "plan", SAMPLES / "wick_end.laz", "--species", "oak")
    yield (
        "the scan is not assessable",
        run.tree["quality"]["verdict"] == "not assessable",
        run.tree["quality"]["verdict"],
    )
    yield "no anchor is ranked", not run.usable, f"{len(run.usable)} usable"
    first = run.report.split("Can I get a line in?", 1)[0]
    yield "leaf-off is asked for", "leaf-off" in first, ""
    side = re.search(r"from (the )?(west|north-?west|south-?west|the other side)", first)
    yield (
        "it says from which side to scan again (the only position stood in the east)",
        bool(side),
        side.group(0) if side else "no side named",
    )
    yield "no margin or throw is claimed", "times the stress" not in run.report, ""


SCENARIOS: dict[str, Callable[[Path], Iterator[Answer]]] = {
    "3": hollin_bank,
    "4": ferrow_mill,
    "5": bracken_hythe,
    "6": cold_ash_lane,
    "9": marl_steps,
    "10": wick_end,
}


def main() -> int:
    """Run the scenarios asked for."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("names", nargs="*", default=list(SCENARIOS))
    parser.add_argument("-o", "--output", type=Path)
    parser.add_argument("--fine", action="store_true")
    parser.add_argument("--pictures", type=Path)
    args = parser.parse_args()
    global FINE  # noqa: PLW0603
    FINE = args.fine
    base = args.output or Path(tempfile.mkdtemp())
    missing = 0
    for name in args.names:
        out = base / name
        shutil.rmtree(out, ignore_errors=True)
        out.mkdir(parents=True)
        print(f"Scenario {name}: {(SCENARIOS[name].__doc__ or '').split(':', 1)[1].strip()}", flush=True)
        for what, there, found in SCENARIOS[name](out):
            missing += not there
            print(f"  {'there  ' if there else 'MISSING'} {what}{': ' if found else ''}{found}", flush=True)
        if args.pictures:
            for made in sorted(out.glob("*/report.html")):
                picture(made.parent, args.pictures / f"scenario_{name}_{made.parent.name}")
    return 1 if missing else 0


def picture(plan: Path, stem: Path) -> None:
    """The report as it opens, its part on the climb as a whole, and the pages of the sheet, as PNG."""
    from playwright.sync_api import sync_playwright

    stem.parent.mkdir(parents=True, exist_ok=True)
    flags = [
        "--no-sandbox",
        "--use-gl=swiftshader",
        "--enable-unsafe-swiftshader",
        "--disable-background-networking",
    ]
    with sync_playwright() as p:
        browser = p.chromium.launch(executable_path=shutil.which("chromium"), args=flags)
        page = browser.new_page(viewport={"width": 1280, "height": 1600})
        page.goto((plan / "report.html").resolve().as_uri())
        page.wait_for_timeout(2500)
        page.screenshot(path=f"{stem}_top.png")
        page.click("#unfold")
        page.wait_for_timeout(1000)
        page.add_style_tag(content="details::details-content { display: block !important; content-visibility: visible !important }")
        for part in page.query_selector_all("#climb, #q2"):
            part.screenshot(path=f"{stem}_{part.get_attribute('id')}.png")
        browser.close()
    subprocess.run(["pdftoppm", "-r", "80", "-png", str(plan / "job_sheet.pdf"), f"{stem}_sheet"], check=True)


if __name__ == "__main__":
    sys.exit(main())
