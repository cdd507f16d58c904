"""city.html: the map of all trees, with filters, a table and links to every tree's report; one file, offline."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from pyproj import CRS

from treescan.cautions import all_cautions
from treescan.outputs.city.city_rows import FAILED, MISSING, PLANNED, CityTree
from treescan.outputs.city.work_packages import Package
from treescan.outputs.strict_json import tame
from treescan.outputs.text.say import text, word
from treescan.trees.census.triage import FIT

HERE = Path(__file__).parent / "page"
SHOWN = (
    "tree",
    "inv_id",
    "species",
    "fit",
    "state",
    "height_m",
    "dbh_m",
    "ranked",
    "first_union",
    "first_height_m",
    "climbs",
    "rope_m",
    "launcher",
    "doubt",
    "said",
)
"""Columns of the table on the page."""


def page_html(
    trees: Sequence[CityTree],
    rows: Sequence[dict[str, Any]],
    made: Sequence[Package],
    wires: Sequence[Any],
    system: str | None,
) -> str:
    """The page, the same for the same rows."""
    package = {t.name: day.number for day in made for t in day.trees}
    marks = [
        {
            **{name: row[name] for name in SHOWN},
            "x": None if t.place is None else round(t.place[0], 2),
            "y": None if t.place is None else round(t.place[1], 2),
            "crown": row["crown_radius_m"],
            "kind": FIT.index(t.triage.fit) if t.triage else -1,
            "report": row["report"],
            "package": package.get(t.name),
            "why": " | ".join(v for v in (row["fit_why"], row["rescan"], row["warnings"]) if v),
        }
        for t, row in zip(trees, rows, strict=True)
    ]
    data = {"trees": marks, "wires": [[w[0][:2], w[1][:2]] for w in wires], "shown": list(SHOWN)}
    words = {
        name: text(f"city_{name}")
        for name in (
            "title",
            "intro",
            "search",
            "all",
            "fit",
            "state",
            "package",
            "launcher",
            "species",
            "table",
            "none",
            "yes",
            "no",
            "map",
            "open",
            "reset",
            "cautions",
            "day",
            "wires",
            "marks",
            "north",
        )
    }
    words |= {f"column_{name}": text(f"city_column_{name}") for name in SHOWN}
    states = [s for s in (PLANNED, "not planned", FAILED, MISSING) if any(t.state == s for t in trees)]
    fits = [word(f) for f in FIT if any(t.triage is not None and t.triage.fit == f for t in trees)]
    count = text(
        "city_counts", trees=len(trees), planned=sum(t.state == PLANNED for t in trees), packages=len(made)
    )
    environment = Environment(loader=FileSystemLoader(HERE), autoescape=True, undefined=StrictUndefined)
    embedded = json.dumps(tame(data), ensure_ascii=False, allow_nan=False).replace("<", "\\u003c")
    return environment.get_template("city.html").render(
        words=words,
        counts=count,
        system="" if not system else system if len(system) < 40 else CRS.from_user_input(system).name,
        fits=fits,
        states=states,
        days=[day.number for day in made],
        kinds=sorted({r["species"] for r in rows if r["species"]}),
        data=embedded,
        script=(HERE / "city.js").read_text(encoding="utf-8"),
        said=json.dumps(words, ensure_ascii=False).replace("<", "\\u003c"),
        cautions=all_cautions(),
    )
