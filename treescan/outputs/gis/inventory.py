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

from treescan.errors import BadInput, in_words
from treescan.ordinary_file import check_ordinary
from treescan.outputs.data.for_programs import for_programs
from treescan.outputs.data.reason_data import as_json
from treescan.outputs.gis.inventory_match import called, matched
from treescan.outputs.gis.map_sources import check_source, read_map
from treescan.outputs.text.say import say_all
from treescan.reason import Reason
from treescan.spreadsheet import unguarded
from treescan.toml_file import toml_content

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
MARKS = (",", ";", "\t")
"""What may stand between the cells of a table."""
DECIMAL_COMMA = re.compile(r"[+-]?\d+,\d+")
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


def read_field_names(path: Path | None) -> FieldNames:
    """The field mapping of a TOML file; the usual names without one."""
    return FieldNames() if path is None else field_names(toml_content(path).get("fields", {}), str(path))


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
    check_ordinary(path)
    try:
        with path.open(encoding="utf-8-sig") as f:
            head = f.readline()
        mark = max(MARKS, key=lambda m: (_outside_quotes(head, m), -MARKS.index(m)))
        frame = pandas.read_csv(
            path, dtype=str, keep_default_na=False, encoding="utf-8-sig", compression=None, sep=mark
        )
    except (OSError, UnicodeDecodeError, ValueError) as err:
        raise BadInput(
            f"cannot be read as an inventory ({in_words(err)})",
            file=str(path),
            remedy="write a table in UTF-8, its first line the names of the columns",
        ) from err
    frame.columns = [unguarded(str(c)) for c in frame.columns]
    frame = frame.map(unguarded)
    return frame.map(_with_point) if mark == ";" else frame


def _outside_quotes(line: str, mark: str) -> int:
    """How often a mark stands in a line of a table, outside quoted names."""
    return re.sub(r'"[^"]*"', "", line).count(mark)


def _with_point(cell: str) -> str:
    """A number with a decimal comma, as tables with semicolons have it, with a point."""
    return cell.replace(",", ".") if DECIMAL_COMMA.fullmatch(cell.strip()) else cell


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
    if len(systems) > 1 and any(_on_the_map(r.crs) for r in rows):
        first = next(r.crs for r in rows if _on_the_map(r.crs))
        rows = [_in_system(r, first) for r in rows]
    return geopandas.GeoDataFrame(pandas.concat(rows, ignore_index=True), crs=rows[0].crs)


def _on_the_map(crs: CRS | None) -> bool:
    """Whether a system says where on earth its places lie; a local frame does not."""
    return crs is not None and (crs.is_projected or crs.is_geographic or crs.is_bound)


def _in_system(row: geopandas.GeoDataFrame, system: CRS) -> geopandas.GeoDataFrame:
    """A result in another system; one that lies in a local frame has no place there."""
    if _on_the_map(row.crs):
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
    An identifier matches a result whose folder or scan is called so, or ends so after an underscore; what
    happens where it is missing, stands twice or contradicts the place: `inventory_match.matched`.
    """
    notes: list[Reason] = []
    places, scale = _places(inventory, results, notes)
    own = _plan(results) * scale
    names = called(list(zip(results["folder"].map(str), results["source"].map(str), strict=True)))
    found = matched(list(inventory["inv_id"]), places * scale, names, own, tolerance)
    distance = [
        float(np.hypot(*(p * scale - own[m.tree]))) if m.tree >= 0 else np.nan
        for p, m in zip(places, found, strict=True)
    ]
    merged = inventory.copy()
    merged["match"], merged["match_m"] = [m.how for m in found], np.round(distance, 2)
    for name in (n for n in RESULT if n in results.columns):
        values = [results[name].iloc[m.tree] if m.tree >= 0 else None for m in found]
        whole = pandas.api.types.is_integer_dtype(results[name].dtype)
        merged["tls_" + name] = pandas.array(values, dtype="Int64") if whole else values
    doubts = [
        (*m.doubts, *_size_doubt(results["dbh_m"].iloc[m.tree] if m.tree >= 0 else None, recorded / 100))
        for m, recorded in zip(found, merged["inv_dbh_cm"], strict=True)
    ]
    merged["doubt"] = ["; ".join(say_all(said)) for said in doubts]
    merged["doubt_data"] = [as_json(said) for said in doubts]
    left = results.drop(index=[m.tree for m in found if m.tree >= 0])
    told = tuple((str(record), said) for record, said in zip(merged["inv_id"], doubts, strict=True) if said)
    return Joined(merged, pandas.DataFrame(left.drop(columns="geometry")), tuple(notes), told)


def _plan(frame: geopandas.GeoDataFrame) -> NDArray[np.float64]:
    """Plan places (n, 2) in the frame's own unit; NaN where a row has none."""
    centre = frame.geometry.centroid
    return np.column_stack([centre.x, centre.y]).astype(float).reshape(-1, 2)


def _places(
    inventory: geopandas.GeoDataFrame, results: geopandas.GeoDataFrame, notes: list[Reason]
) -> tuple[NDArray[np.float64], float]:
    """Places of the records in the results' system, NaN where they cannot be compared; and metres per unit of
    it."""
    frame = inventory
    scale = 1.0
    if _on_the_map(results.crs) and results.crs.is_projected:
        scale = float(results.crs.axis_info[0].unit_conversion_factor)
    if frame.crs is not None and _on_the_map(results.crs):
        frame = frame.to_crs(results.crs)
    elif frame.crs is not None:
        notes.append(Reason("inventory_local_frame"))
        return np.full((len(frame), 2), np.nan), scale
    else:
        notes.append(Reason("inventory_no_system"))
    return _plan(frame), scale


def _size_doubt(dbh: float | None, recorded: float) -> tuple[Reason, ...]:
    """A measured stem that is not the recorded one, in metres."""
    known = dbh is not None and np.isfinite(dbh) and np.isfinite(recorded)
    if dbh is None or not known or abs(dbh - recorded) <= max(DBH_APART, DBH_APART_SHARE * recorded):
        return ()
    return (Reason("inventory_size", measured=dbh, recorded=recorded),)
