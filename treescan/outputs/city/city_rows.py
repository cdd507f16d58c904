"""The rows of a city: one a tree, planned or not, whatever became of it; and those of the layers beside."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from shapely.geometry import LineString, Point, shape
from shapely.geometry.base import BaseGeometry

from treescan.cautions import CAUTIONS
from treescan.outputs.data.for_programs import for_programs
from treescan.outputs.data.reason_data import in_a_cell
from treescan.outputs.text.say import word
from treescan.reason import Reason
from treescan.trees.census.look_through import FoundTree
from treescan.trees.census.triage import Triage

PLANNED, NOT_PLANNED, FAILED, MISSING = "planned", "not planned", "failed", "not found"
"""What became of a tree."""
INVENTORY = ("species", "address", "client", "target_use")
"""What a record may say of its tree, besides its identifier and place."""
COLUMNS: dict[str, str] = {
    "tree": "text",
    **dict.fromkeys(("inv_id", *INVENTORY), "text"),
    "match": "text",
    "match_m": "number",
    "doubt": "text",
    "fit": "text",
    "fit_why": "text",
    "rescan": "text",
    "state": "text",
    "said": "text",
    "height_m": "number",
    "dbh_m": "number",
    "dbh_sd_m": "number",
    "crown_radius_m": "number",
    "spacing_m": "number",
    "slope_deg": "number",
    "wire_m": "number",
    "building_m": "number",
    "scan": "text",
    "scan_reasons": "text",
    "ranked": "whole",
    "first_union": "text",
    "first_system": "text",
    "first_height_m": "number",
    "first_margin_p5": "number",
    "climbs": "whole",
    "work_share": "number",
    "rope_m": "number",
    "throwline_m": "number",
    "launcher": "yes or no",
    "kit": "text",
    "warnings": "text",
    "report": "text",
    "caution": "text",
}
"""Columns of the trees and their kind, the same in every file."""


@dataclass(frozen=True)
class CityTree:
    """One tree of the run.

    Attributes
    ----------
    name : str              Of its folder; its identifier in every layer.
    place : (3,) float or None  On the map [m]; None = not known.
    found : FoundTree or None   From the rough look.
    triage : Triage or None
    record : mapping        Of the inventory: "inv_id" and `INVENTORY`.
    match : str             How the record was found: "by id", "by place", "" = it has none.
    match_m : float         Distance of the two places.
    doubts : tuple of Reason
    state : str
    said : tuple            Why it was not planned, or how it failed.
    plan : mapping          What `tree_record` gave.
    """

    name: str
    place: tuple[float, float, float] | None
    found: FoundTree | None = None
    triage: Triage | None = None
    record: dict[str, str] = field(default_factory=dict)
    match: str = ""
    match_m: float | None = None
    doubts: tuple[Reason, ...] = ()
    state: str = NOT_PLANNED
    said: tuple[Reason | str, ...] = ()
    plan: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class CityLayer:
    """Rows of one layer: columns by name, kinds by name, geometries (None = no place is known)."""

    name: str
    columns: dict[str, list[Any]]
    kinds: dict[str, str]
    shapes: list[BaseGeometry | None]


@for_programs
def tree_rows(trees: Sequence[CityTree]) -> list[dict[str, Any]]:
    """One row a tree with every column of `COLUMNS`; None = not known, or does not apply."""
    return [{**dict.fromkeys(COLUMNS), **_row(t)} for t in trees]


def _row(t: CityTree) -> dict[str, Any]:
    f, figures = t.found, t.plan.get("figures", {})
    seen: dict[str, Any] = {}
    if f is not None:
        seen = {
            "height_m": _known(f.height),
            "dbh_m": _known(f.dbh),
            "crown_radius_m": _known(f.crown_radius),
            "spacing_m": _known(f.spacing),
            "slope_deg": _known(f.slope * 180 / math.pi, 1),
            "wire_m": _known(f.wire),
            "building_m": _known(f.building),
        }
    told = {k: v for k, v in figures.items() if k in COLUMNS and not (v is None and k in seen)}
    cell = {
        "doubt": in_a_cell("doubt", t.doubts)["doubt"],
        "fit": word(t.triage.fit) if t.triage else "",
        "fit_why": in_a_cell("w", t.triage.why)["w"] if t.triage else "",
        "rescan": in_a_cell("r", t.triage.rescan)["r"] if t.triage else "",
        "said": in_a_cell("s", t.said)["s"],
    }
    return {
        "tree": t.name,
        "inv_id": t.record.get("inv_id", ""),
        **{name: t.record.get(name, "") for name in INVENTORY},
        "match": t.match,
        "match_m": t.match_m,
        **cell,
        "state": t.state,
        **seen,
        **told,
        "report": f"trees/{t.name}/report.html" if t.state == PLANNED else "",
        "caution": CAUTIONS["planning_aid"],
    }


def _known(value: float, places: int = 3) -> float | None:
    return round(float(value), places) if math.isfinite(value) else None


def city_layers(trees: Sequence[CityTree], wires: Sequence[tuple[Any, Any]]) -> tuple[CityLayer, ...]:
    """Trees, anchors, standing places, wires and triage, the layers that have something in them.

    Parameters
    ----------
    wires : sequence        Ends (x, y, z) of what the rough look took for wires. [m, map]
    """
    rows = tree_rows(trees)
    places = [None if t.place is None else Point(t.place) for t in trees]
    made = [CityLayer("trees", {c: [r[c] for r in rows] for c in COLUMNS}, COLUMNS, places)]
    short = ("tree", "inv_id", "fit", "fit_why", "rescan", "spacing_m", "state", "said", "caution")
    cells = {c: [r[c] for r in rows] for c in short}
    made.append(CityLayer("triage", cells, {c: COLUMNS[c] for c in short}, places))
    made += [_taken(name, trees) for name in ("anchors", "standing", "conductors")]
    caution = CAUTIONS["electricity"]
    lines: dict[str, list[Any]] = {
        "wire": [k + 1 for k in range(len(wires))],
        "caution": [caution] * len(wires),
    }
    made.append(
        CityLayer("wires", lines, {"wire": "whole", "caution": "text"}, [LineString(w) for w in wires])
    )
    return tuple(layer for layer in made if layer.shapes)


def _taken(name: str, trees: Sequence[CityTree]) -> CityLayer:
    """One layer of all trees' plans, each row with its tree's identifier."""
    rows = [(t.name, row) for t in trees for row in t.plan.get("layers", {}).get(name, ())]
    names = list(dict.fromkeys(n for _, row in rows for n in row["properties"]))
    columns = {n: [t if n == "tree" else row["properties"].get(n) for t, row in rows] for n in names}
    return CityLayer(
        name, columns, {n: _kind(v) for n, v in columns.items()}, [shape(r["geometry"]) for _, r in rows]
    )


def _kind(values: list[Any]) -> str:
    held = [v for v in values if v is not None]
    if held and all(isinstance(v, bool) for v in held):
        return "yes or no"
    if held and all(isinstance(v, int) and not isinstance(v, bool) for v in held):
        return "whole"
    return "number" if held and all(isinstance(v, (int, float)) for v in held) else "text"
