"""What must hold for every removal: alarms follow the tree, not the way to it; drawn twice is once."""

import csv
import json
import subprocess
import sys
from itertools import permutations
from pathlib import Path

import pytest

from oracles.twelve_cut_removal import FRIEND, NUMBER, site, union_of, write

pytestmark = pytest.mark.slow
ROOT = Path(__file__).parents[2]
COARSE = '\n[throw]\nmethods = ["hand"]\nstance_spacing = 6.0\nsearch_radius = 8.0\ncandidates = 1\n'
COARSE += "fine_planes = 64\nfine_flights = 8\n"
FIRST = (
    {"name": "east limb", "limb": NUMBER["east limb"]},
    {"name": "west limb", "union": union_of("west limb")},
    {"name": "south one", "union": union_of("south one"), "life_support": f"{union_of('north one')} MRS"},
)
THEN = (
    {"name": "on what is gone", "limb": NUMBER["north two"], "life_support": f"{union_of('west limb')} MRS",
     "rigging": union_of("south one")},
    {"name": "on the piece", "union": union_of("north one"), "life_support": f"{union_of('side limb')} MRS",
     "rigging": union_of("fork")},
    {"name": "top", "stem_height_m": 12.0, "life_support": f"{union_of('south two')} MRS"},
    {"name": "from there", "stem_height_m": 10.0, "life_support": FRIEND, "rigging": union_of("fork")},
)  # fmt: skip
COLUMNS = ("name", "limb", "union", "stem_height_m", "at_m", "height_m", "life_support", "rigging")


def planned(folder, rows, drawn):
    """Stages of the removal as the program tells them."""
    folder.mkdir()
    files = write(folder)
    files["settings.toml"].write_text(files["settings.toml"].read_text() + COARSE)
    files["site.geojson"].write_text(json.dumps(drawn))
    with files["cuts.csv"].open("w", newline="") as f:
        table = csv.DictWriter(f, COLUMNS, restval="")
        table.writeheader()
        table.writerows(rows)
    out = folder / "out"
    done = subprocess.run(
        [sys.executable, "-m", "treescan", "plan", files["tree.json"], "-o", out, "--species", "oak",
         "--quiet", "--settings", files["settings.toml"], "--site", files["site.geojson"],
         "--cuts", files["cuts.csv"]],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return json.loads((out / "anchors.json").read_text())


def state(stage):
    """What a stage says, without its number."""
    kept = ("mass_kg", "lost", "left", "diameter_m", "piece_length_m", "moment_at_cut_knm")
    return {k: stage[k] for k in kept} | {"alarms": sorted(json.dumps(a) for a in stage["alarms_data"])}


def test_no_order_hides_an_alarm_that_another_order_shows(tmp_path):
    """Three limbs in four orders; the four cuts after them find the same tree, and say the same."""
    seen = []
    for i, order in enumerate([*list(permutations(FIRST))[::2], FIRST[::-1]]):
        stages = planned(tmp_path / str(i), order + THEN, site())["climb"]["removal"]
        seen.append([state(s) for s in stages[len(FIRST) :]])
        assert all(s["alarms_data"] for s in stages[len(FIRST) :])
    for other in seen[1:]:
        for one, same in zip(seen[0], other, strict=True):
            assert _same(one, same)


def _same(one, other):
    """Equal words, numbers equal to nine digits."""
    numbers = {k: v for k, v in one.items() if isinstance(v, float)}
    rest = {k: v for k, v in one.items() if k not in numbers}
    assert rest == {k: other[k] for k in rest}
    return numbers == pytest.approx({k: other[k] for k in numbers}, rel=1e-9)


def distances(found):
    """Every distance told: of pieces, of swings, of anchors, by what it is and to what."""
    told = {}
    for s in found["climb"]["removal"]:
        for n, w in enumerate(s["alarms_data"] + s["words_data"]):
            for k in ("stands", "turned", "away"):
                if isinstance(w["values"].get(k), float):
                    to = w["values"].get("name") or json.dumps(w["values"].get("to", n), sort_keys=True)
                    told.setdefault((s["number"], to, k), []).append(w["values"][k])
    least = {key: min(values) for key, values in told.items()}
    for a in found["anchors"]:
        for c in a["clearances"]:
            least[a["union"], a["system"], c["what"]] = c["distance_m"]
    return least


def test_a_feature_drawn_twice_changes_no_distance(tmp_path):
    """Wire, lane, house and glass, each drawn once and twice."""
    once = site()
    drawn = [f for f in once["features"] if f["properties"]["kind"] != "anchor"]
    twice = once | {"features": once["features"] + drawn}
    one, two = (distances(planned(tmp_path / n, FIRST + THEN, d)) for n, d in (("one", once), ("two", twice)))
    assert len(one) > 40
    common = {k: v for k, v in one.items() if "conductor" not in str(k)}
    assert common == pytest.approx({k: two[k] for k in common})
    wire = sorted(v for k, v in one.items() if "conductor" in str(k))
    assert wire and wire[0] == pytest.approx(min(v for k, v in two.items() if "conductor" in str(k)))
