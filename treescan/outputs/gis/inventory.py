"""Which record of a tree inventory is which assessed tree? By identifier first, then by place within a
tolerance; doubts are said."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pandas
from numpy.typing import NDArray
from pyproj import CRS
from pyproj.exceptions import ProjError
from scipy.spatial import cKDTree

from treescan.errors import BadInput
from treescan.outputs.data.for_programs import for_programs
from treescan.outputs.data.reason_data import as_json
from treescan.outputs.gis.map_sources import check_source, read_map
from treescan.outputs.gis.map_sources import plain as _plain
from treescan.outputs.text.say import say_all
from treescan.reason import Reason
from treescan.spreadsheet import unguarded

USUAL = {
    "id": ("id", "tree_id", "treeid", "asset_id", "tree_no", "number", "fid"),
    "x": ("x", "easting", "east", "lon", "longitude"),
    "y": ("y", "northing", "north", "lat", "latitude"),
    "species": ("species", "taxon", "botanical"),
    "dbh_cm": ("dbh_cm", "dbh", "diameter_cm"),
}
"""Names that are tried, in this order and in any case, where no mapping says otherwise."""
RESULT = (
    "height_m",
    "dbh_m",
    "dbh_sd_m",
    "lean_deg",
    "volume_m3",
    "scan",
    "reasons",
    "first_union",
    "ranked",
    "source",
    "folder",
)

DBH_APART, DBH_APART_SHARE = 0.05, 0.2
"""A stem measured more than this apart from its record is in doubt, in metres or as a share of the record,
whichever is more (project choice)."""

TABLES = (".csv", ".txt")
WIDEST_CM = 2000.0
"""No stem is thicker. [cm]  (Project choice: the thickest known stems are about 14 m across.)"""
PLANS = "give folders written by treescan plan"
MOST_TOLD = 8
"""Records named in one message."""


@dataclass(frozen=True)
class FieldNames:
    """Names of the inventory's own fields; "" = one of the usual names. `crs` is that of x and y in a
    table."""

    id: str = ""
    x: str = ""
    y: str = ""
    species: str = ""
    dbh_cm: str = ""
    crs: str = ""


@dataclass(frozen=True)
class Joined:
    """What came of it.

    merged : GeoDataFrame       Every record of the inventory, with the figures of its tree (empty where none
        was assessed),
                                `match` ("by id", "by place" or ""), `match_m` (distance of the two places),
                                `doubt` and `doubt_data`.
    left_over : DataFrame       Assessed trees without a record.
    notes : tuple of Reason     How the two were brought together.
    doubts : tuple              Identifier of a record and what speaks against its match, for every match in
        doubt.
    """

    merged: geopandas.GeoDataFrame
    left_over: pandas.DataFrame
    notes: tuple[Reason, ...]
    doubts: tuple[tuple[str, tuple[Reason, ...]], ...]


def field_names(mapping: dict[str, Any], file: str) -> FieldNames:
    """The mapping of a settings file: table [fields] with our names to theirs."""
    known = {f.name for f in fields(FieldNames)}
    for key, value in mapping.items() if isinstance(mapping, dict) else [("fields", mapping)]:
        if key not in known or not isinstance(value, str):
            raise BadInput(
                f"field mapping: {key} = {value!r} is not understood",
                file=file,
                remedy=f"name text fields for: {', '.join(sorted(known))}",
            )
    return FieldNames(**mapping)


def read_inventory(path: Path, names: FieldNames | None = None) -> geopandas.GeoDataFrame:
    """An inventory (GeoPackage, shapefile, GeoJSON or CSV) with its own columns and `inv_id`, `inv_species`,
    `inv_dbh_cm`."""
    names = names or FieldNames()
    check_source(path)
    frame = _placed(_table(path), names, path) if path.suffix.lower() in TABLES else read_map(path)
    if len(frame) == 0:
        raise BadInput("holds no record", file=str(path), remedy="export the inventory again, with its trees")
    ids = _column(frame, names.id, "id", path)
    if ids is None:
        raise BadInput(
            "no column holds an identifier", file=str(path), remedy="name it in the field mapping: id = ..."
        )
    frame["inv_id"] = [_identifier(v) for v in frame[ids]]
    twice = frame["inv_id"][frame["inv_id"].duplicated() & (frame["inv_id"] != "")]
    if len(twice):
        raise BadInput(
            f"the identifier {str(twice.iloc[0])!r} stands in more than one record",
            file=str(path),
            remedy="give every record its own",
        )
    species, dbh = (
        _column(frame, names.species, "species", path),
        _column(frame, names.dbh_cm, "dbh_cm", path),
    )
    frame["inv_species"] = ["" if pandas.isna(v) else str(v) for v in frame[species]] if species else ""
    frame["inv_dbh_cm"] = _diameters(frame[dbh], path) if dbh else np.nan
    return frame


def _identifier(value: Any) -> str:
    """An identifier as text; empty where the record has none, without .0 where a number is whole."""
    if value is None or value is pandas.NA or (isinstance(value, float) and not np.isfinite(value)):
        return ""
    if isinstance(value, (float, np.floating)) and value == int(value):
        return str(int(value))
    return str(value).strip()


def _diameters(column: pandas.Series, path: Path) -> NDArray[np.float64]:
    """Diameters in centimetres, NaN where a record has none; every record with a nonsense size is told."""
    sizes = pandas.to_numeric(column, errors="coerce").to_numpy(float)
    odd = np.flatnonzero(np.isfinite(sizes) & ((sizes < 0) | (sizes > WIDEST_CM)) | np.isinf(sizes))
    if len(odd):
        rows = ", ".join(str(i + 1) for i in odd[:MOST_TOLD]) + (", ..." if len(odd) > MOST_TOLD else "")
        raise BadInput(
            f"record {rows} has a diameter of {sizes[odd[0]]:g} cm",
            file=str(path),
            remedy="diameters are in centimetres: name the right column, or correct it",
        )
    return sizes


def _table(path: Path) -> pandas.DataFrame:
    """A CSV table as text, cells as they were before a spreadsheet was kept from running them."""
    try:
        frame = pandas.read_csv(path, dtype=str, keep_default_na=False, encoding="utf-8-sig", compression=None)
    except (OSError, UnicodeDecodeError, ValueError) as err:
        raise BadInput(
            f"cannot be read as an inventory ({_plain(err)})",
            file=str(path),
            remedy="write a table in UTF-8, its first line the names of the columns",
        ) from err
    frame.columns = [unguarded(str(c)) for c in frame.columns]
    return frame.map(unguarded)


def _column(frame: pandas.DataFrame, name: str, what: str, path: Path) -> str | None:
    """The column asked for, or the first with a usual name."""
    by_lower = {str(c).lower(): str(c) for c in frame.columns}
    if name:
        if name.lower() not in by_lower:
            raise BadInput(
                f"has no field {name!r}",
                file=str(path),
                remedy=f"its fields are: {', '.join(map(str, frame.columns))}",
            )
        return by_lower[name.lower()]
    return next((by_lower[n] for n in USUAL[what] if n in by_lower), None)


def _placed(frame: pandas.DataFrame, names: FieldNames, path: Path) -> geopandas.GeoDataFrame:
    """A table with x and y as places; without them it can be joined by identifier only."""
    x, y = _column(frame, names.x, "x", path), _column(frame, names.y, "y", path)
    if x is None or y is None:
        return geopandas.GeoDataFrame(
            frame, geometry=geopandas.points_from_xy([np.nan] * len(frame), [np.nan] * len(frame))
        )
    xy = [pandas.to_numeric(frame[c], errors="coerce").to_numpy(float) for c in (x, y)]
    degrees = x.lower().startswith("lon")
    try:
        crs = CRS.from_user_input(names.crs) if names.crs else CRS.from_epsg(4326) if degrees else None
    except ProjError as err:
        raise BadInput(
            f"the coordinate system {names.crs!r} is not known",
            file=str(path),
            remedy="for example EPSG:25832",
        ) from err
    return geopandas.GeoDataFrame(frame, geometry=geopandas.points_from_xy(*xy), crs=crs)


def read_results(folders: Sequence[Path]) -> geopandas.GeoDataFrame:
    """The stem of every result folder, one row each."""
    rows = []
    for folder in folders:
        file = folder / "site.gpkg"
        if not file.is_file():
            raise BadInput(
                "holds no site.gpkg", file=str(folder), remedy="give folders written by treescan plan"
            )
        row = read_map(file, layer="stem")
        if len(row) != 1 or not {"source", "dbh_m"} <= set(row.columns):
            raise BadInput("holds no stem in its site.gpkg", file=str(folder), remedy=PLANS)
        rows.append(row.assign(folder=folder.name))
    systems = {str(r.crs) for r in rows}
    if len(systems) > 1 and any(r.crs is not None and r.crs.to_epsg() is not None for r in rows):
        first = next(r.crs for r in rows if r.crs is not None and r.crs.to_epsg() is not None)
        rows = [_in_system(r, first) for r in rows]
    return geopandas.GeoDataFrame(pandas.concat(rows, ignore_index=True), crs=rows[0].crs)


def _in_system(row: geopandas.GeoDataFrame, system: CRS) -> geopandas.GeoDataFrame:
    """A result in another system; one that lies in a local frame has no place there."""
    if row.crs is not None and row.crs.to_epsg() is not None:
        return row.to_crs(system)
    return row.assign(geometry=None).set_crs(system, allow_override=True)


@for_programs
def joined(
    inventory: geopandas.GeoDataFrame, results: geopandas.GeoDataFrame, tolerance: float = 3.0
) -> Joined:
    """Records with the figures of their trees.

    Parameters
    ----------
    inventory, results : GeoDataFrame   From `read_inventory` and `read_results`.
    tolerance : float                   Of the two places of one tree. [m]

    Notes
    -----
    An identifier matches a result whose folder or scan is called so, or ends so after an underscore. What is
    left is paired by place, the nearest pairs first, each record and tree once. A match by identifier stands
    even over the tolerance, with a doubt.
    """
    notes: list[Reason] = []
    places = _places(inventory, results, notes)
    own = np.array(
        [[g.x, g.y] if g is not None and not g.is_empty else [np.nan] * 2 for g in results.geometry], float
    ).reshape(-1, 2)
    pair = _by_id(list(inventory["inv_id"]), results)
    how = ["by id" if k >= 0 else "" for k in pair]
    for i, k in _by_place(places, own, pair, tolerance):
        pair[i], how[i] = k, "by place"
    distance = np.array([np.hypot(*(places[i] - own[k])) if k >= 0 else np.nan for i, k in enumerate(pair)])
    merged = inventory.copy()
    merged["match"], merged["match_m"] = how, np.round(distance, 2)
    for name in (n for n in RESULT if n in results.columns):
        merged["tls_" + name] = [results[name].iloc[k] if k >= 0 else None for k in pair]
    doubts = [
        _doubts(merged.iloc[i], results, k, own, places[i], tolerance) if k >= 0 else ()
        for i, k in enumerate(pair)
    ]
    merged["doubt"] = ["; ".join(say_all(found)) for found in doubts]
    merged["doubt_data"] = [as_json(found) for found in doubts]
    left = results.drop(index=[k for k in pair if k >= 0])
    told = tuple(
        (str(record), found) for record, found in zip(merged["inv_id"], doubts, strict=True) if found
    )
    return Joined(merged, pandas.DataFrame(left.drop(columns="geometry")), tuple(notes), told)


def _places(
    inventory: geopandas.GeoDataFrame, results: geopandas.GeoDataFrame, notes: list[Reason]
) -> NDArray[np.float64]:
    """Places of the records in the results' system; NaN where they cannot be compared."""
    frame = inventory
    if frame.crs is not None and results.crs is not None and results.crs.to_epsg() is not None:
        frame = frame.to_crs(results.crs)
    elif frame.crs is not None:
        notes.append(Reason("inventory_local_frame"))
        return np.full((len(frame), 2), np.nan)
    else:
        notes.append(Reason("inventory_no_system"))
    centre = frame.geometry.centroid
    return np.column_stack([centre.x, centre.y]).astype(float)


def _by_id(ids: list[str], results: geopandas.GeoDataFrame) -> list[int]:
    """Row of the result that is called like each record; -1 where none or several are."""
    called: dict[str, set[int]] = {}
    for k, (folder, source) in enumerate(zip(results["folder"], results["source"], strict=True)):
        stem = re.sub(r"(\.copc)?\.[A-Za-z0-9]{2,4}$", "", str(source))
        for name in (str(folder), stem):
            parts = name.split("_")
            for start in range(len(parts)):
                called.setdefault("_".join(parts[start:]).casefold(), set()).add(k)
    found = [called.get(i.casefold(), set()) if i else set() for i in ids]
    return [next(iter(rows)) if len(rows) == 1 else -1 for rows in found]


def _by_place(places: NDArray, own: NDArray, pair: list[int], tolerance: float) -> list[tuple[int, int]]:
    """Nearest pairs of what is left, each record and each tree once."""
    rows = [i for i, k in enumerate(pair) if k < 0 and np.isfinite(places[i]).all()]
    free = [k for k in range(len(own)) if k not in set(pair) and np.isfinite(own[k]).all()]
    if not rows or not free:
        return []
    near = cKDTree(places[rows]).query_ball_tree(cKDTree(own[free]), tolerance)
    pairs = sorted(
        (float(np.hypot(*(places[rows[a]] - own[free[b]]))), rows[a], free[b])
        for a, found in enumerate(near)
        for b in found
    )
    out: list[tuple[int, int]] = []
    for _, i, k in pairs:
        if i not in {x for x, _ in out} and k not in {y for _, y in out}:
            out.append((i, k))
    return out


def _doubts(
    row: Any, results: geopandas.GeoDataFrame, k: int, own: NDArray, place: NDArray, tolerance: float
) -> tuple[Reason, ...]:
    """What speaks against the match of a record with result `k`."""
    found = []
    distance = float(np.hypot(*(place - own[k])))
    if row["match"] == "by id" and distance > tolerance:
        found.append(Reason("inventory_far", distance=distance))
    if row["match"] == "by place":
        others = np.hypot(*(own - place).T)
        others[k] = np.inf
        if len(others) > 1 and np.nanmin(others) < tolerance:
            found.append(Reason("inventory_other_near", distance=np.nanmin(others)))
    dbh, recorded = results["dbh_m"].iloc[k], row["inv_dbh_cm"] / 100
    if (
        dbh is not None
        and np.isfinite(dbh)
        and np.isfinite(recorded)
        and abs(dbh - recorded) > max(DBH_APART, DBH_APART_SHARE * recorded)
    ):
        found.append(Reason("inventory_size", measured=dbh, recorded=recorded))
    return tuple(found)
