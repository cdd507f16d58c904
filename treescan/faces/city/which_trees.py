"""Which trees are there, which record is whose, and which are to be planned? From the parts that were looked through
and the inventory."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pandas
from pyproj import CRS

from treescan.assess import Settings
from treescan.errors import BadInput
from treescan.faces.city.tasks import TreeJob
from treescan.outputs.city.city_rows import MISSING, NOT_PLANNED, CityTree
from treescan.outputs.gis.inventory import FieldNames, read_inventory
from treescan.outputs.gis.inventory_match import called, matched
from treescan.reason import Reason
from treescan.trees.census.look_through import FoundTree
from treescan.trees.census.triage import triage

BEYOND = 2.0
"""Points are read so far beyond what is kept round a tree. [m]"""
USUAL = {
    "address": ("address", "street", "location", "site"),
    "client": ("client", "customer", "owner"),
    "target_use": ("target_use", "targets", "target", "use"),
}
"""Names of an inventory's fields that are tried, in this order and in any case."""


def records_of(path: Path | None, names: FieldNames) -> list[dict[str, Any]]:
    """Records of an inventory: what they say, and their place in their own system."""
    return [] if path is None else _records(read_inventory(path, names))


def _records(frame: geopandas.GeoDataFrame) -> list[dict[str, Any]]:
    by_lower = {str(c).lower(): c for c in frame.columns}
    held = {ours: next((by_lower[n] for n in usual if n in by_lower), None) for ours, usual in USUAL.items()}
    out = []
    centre = frame.geometry.centroid
    for i in range(len(frame)):
        row = frame.iloc[i]
        said = {ours: _text(row[column]) for ours, column in held.items() if column is not None}
        fields = {"inv_id": str(row["inv_id"]), "species": str(row["inv_species"]), **said}
        out.append(
            {"fields": fields, "place": (float(centre.iloc[i].x), float(centre.iloc[i].y)), "crs": frame.crs}
        )
    return out


def _text(value: Any) -> str:
    return "" if value is None or pandas.isna(value) else str(value).strip()


def placed(
    records: Sequence[Mapping[str, Any]], system: str | None, own: str | None, own_unit: float
) -> np.ndarray:
    """Places of the records on the map of the run, (n, 2) [m]; a table that names no system is taken to be in that
    of the clouds, as they write it (in feet where they are)."""
    if not records:
        return np.zeros((0, 2))
    xy = np.array([r["place"] for r in records], float).reshape(-1, 2)
    crs = records[0]["crs"]
    if crs is None:
        return xy * (own_unit if own else 1.0)
    if system is None:
        return np.full_like(xy, np.nan)
    shapes = geopandas.GeoSeries(geopandas.points_from_xy(*xy.T), crs=crs).to_crs(CRS.from_user_input(system))
    return np.column_stack([shapes.x, shapes.y])


def found_trees(
    found: Sequence[FoundTree], records: Sequence[Mapping[str, Any]], places: np.ndarray, tolerance: float
) -> tuple[CityTree, ...]:
    """Every tree that was found, with its record, and every record without a tree.

    A tree is called by the identifier of its record where that is one; else T and its number from south to north.
    """
    ids = [r["fields"]["inv_id"] for r in records]
    times = Counter(ids)
    feet = np.array([t.foot[:2] for t in found]).reshape(-1, 2)
    matches = matched(ids, places, {}, feet, tolerance)
    of_tree = {m.tree: i for i, m in enumerate(matches) if m.tree >= 0}
    wide = max(4, len(str(len(found))))
    used: set[str] = set()
    out = []
    for k, tree in enumerate(found):
        i = of_tree.get(k)
        base = CityTree("", tree.foot, tree, triage(tree))
        if i is None:
            doubts = (Reason("tree_without_record"),) if records else ()
            out.append(replace(base, name=_name("", f"T{k + 1:0{wide}d}", used), doubts=doubts))
            continue
        away = round(float(np.hypot(*(places[i] - feet[k]))), 2)
        out.append(
            replace(
                base,
                name=_name(ids[i] if times[ids[i]] == 1 else "", f"T{k + 1:0{wide}d}", used),
                record=records[i]["fields"],
                match=matches[i].how,
                match_m=away,
                doubts=matches[i].doubts,
            )
        )
    for i, (record, m) in enumerate(zip(records, matches, strict=True)):
        if m.tree < 0:
            x, y = places[i]
            place = (float(x), float(y), 0.0) if np.isfinite(x) else None
            said = Reason("record_without_tree") if place else Reason("record_without_place")
            name = _name("", f"R{i + 1:0{wide}d}", used)
            out.append(
                CityTree(name, place, record=record["fields"], doubts=m.doubts, state=MISSING, said=(said,))
            )
    return tuple(out)


def own_files(files: Sequence[str], records: Sequence[Mapping[str, Any]]) -> tuple[CityTree, ...]:
    """One tree a file, with the record whose identifier its name carries."""
    ids = [r["fields"]["inv_id"] for r in records]
    nowhere = np.full((len(files), 2), np.nan)
    matches = matched(
        ids, np.full((len(ids), 2), np.nan), called([[Path(f).name] for f in files]), nowhere, 0.0
    )
    of_tree = {m.tree: i for i, m in enumerate(matches) if m.tree >= 0}
    used: set[str] = set()
    out = []
    for k, file in enumerate(files):
        i = of_tree.get(k)
        stem = re.sub(r"(\.copc)?\.[A-Za-z0-9]{2,4}$", "", Path(file).name)
        stem = Path(file).parent.name if stem == "tree" else stem
        tree = CityTree(_name(stem, f"F{k + 1:04d}", used), None)
        if i is not None:
            tree = replace(tree, record=records[i]["fields"], match=matches[i].how, doubts=matches[i].doubts)
        elif records:
            tree = replace(tree, doubts=(Reason("tree_without_record"),))
        out.append(tree)
    for record, m in zip(records, matches, strict=True):
        if m.tree < 0:
            name = _name("", f"R{len(out) + 1:04d}", used)
            out.append(
                CityTree(
                    name,
                    None,
                    record=record["fields"],
                    doubts=m.doubts,
                    state=MISSING,
                    said=(Reason("record_without_tree"),),
                )
            )
    return tuple(out)


def _name(wanted: str, otherwise: str, used: set[str]) -> str:
    """A name fit for a folder that no other tree has."""
    name = re.sub(r"[^A-Za-z0-9._-]+", "_", wanted).strip("._")[:60] or otherwise
    while name.casefold() in used:
        name = f"{name}_{otherwise}" if name != otherwise else f"{otherwise}_{len(used)}"
    used.add(name.casefold())
    return name


def job_of(tree: CityTree, settings: Settings, records: bool) -> TreeJob | None:
    """What is to be planned of a tree; None where a close look makes no sense, or nobody asked for it."""
    if tree.found is None or tree.triage is None or not tree.triage.planned or (records and not tree.record):
        return None
    reach = min(tree.found.reach + settings.trees.neighbour_reach, settings.cloud.window) + BEYOND
    return TreeJob(
        tree.name, tree.found.foot[:2], round(reach, 1), "", tree.record.get("species", ""), _fields(tree)
    )


def job_of_file(tree: CityTree, file: str) -> TreeJob:
    """A tree with a file of its own."""
    return TreeJob(tree.name, file=file, species=tree.record.get("species", ""), fields=_fields(tree))


def _fields(tree: CityTree) -> dict[str, str]:
    """What the job sheet says of the job."""
    return {"client": tree.record.get("client", ""), "site": tree.record.get("address", "")}


def why_not(tree: CityTree, records: bool, triage_only: bool) -> tuple[Reason | str, ...]:
    """Why a tree that was found is not planned."""
    if tree.state != NOT_PLANNED or tree.triage is None:
        return tree.said
    if not tree.triage.planned:
        return (*tree.triage.why, *tree.triage.rescan)
    if records and not tree.record:
        return (Reason("not_asked_for"),)
    return (Reason("triage_was_asked"),) if triage_only else ()


def check_inventory(trees: Sequence[CityTree]) -> None:
    """BadInput where there is nothing to do at all."""
    if not trees:
        raise BadInput(
            "no tree was found in these clouds", remedy="name clouds with trees and the ground they stand on"
        )
