"""Rows of a small table a user wrote: CSV from a spreadsheet, or a TOML or JSON list."""

from __future__ import annotations

import csv
import json
import tomllib
from collections.abc import Collection, Mapping
from pathlib import Path
from typing import Any

from treescan.errors import BadInput
from treescan.ordinary_file import check_ordinary
from treescan.spreadsheet import unguarded

FAR = 1e11
"""No coordinate, number or weight of a table is larger."""
HIGHEST = 150.0
"""No tree is higher. [m]  (The highest known stand a little over 115 m; memory value, rounded up.)"""
MOST_LETTERS = 2000
MOST_QUOTED = 40
"""Letters of a cell that are taken and quoted."""
MOST_ROWS = 100_000
"""Rows of a table a person writes."""


def read_rows(path: Path, columns: Collection[str], table: str) -> list[dict[str, Any]]:
    """The rows of a table, empty cells left out; BadInput for an unknown column or an empty table.

    Parameters
    ----------
    path : Path         `.csv` (comma or semicolon, first line the names), `.json` (a list of objects) or
                        `.toml`.
    columns : names     Known columns.
    table : str         Name of the list in a TOML file, written [[table]].
    """
    rows = _csv(path) if path.suffix.lower() == ".csv" else _listed(path, table)
    for number, row in enumerate(rows, start=1):
        extra = sorted(set(row) - set(columns))
        if extra:
            raise BadInput(
                f"row {number} has an unknown column {short(extra[0])}",
                file=str(path),
                remedy=f"use {', '.join(sorted(columns))}",
            )
    if not rows:
        raise BadInput("holds no row", file=str(path), remedy="write one row a line below the names")
    if len(rows) > MOST_ROWS:
        raise BadInput(f"holds more than {MOST_ROWS} rows", file=str(path), remedy="split it")
    return rows


def real(
    row: Mapping[str, Any], column: str, path: Path, number: int, *, low: float = -FAR, high: float = FAR
) -> float:
    """One cell as a finite number in its range; BadInput in words where it is none."""
    cell = row[column]
    try:
        if isinstance(cell, bool):
            raise TypeError
        value = float(cell)
    except (TypeError, ValueError, OverflowError) as err:
        raise BadInput(
            f"row {number}: {column} is {short(cell)}, not a number",
            file=str(path),
            remedy="write it bare and with a point, for example 2.5",
        ) from err
    if not low <= value <= high:
        raise BadInput(
            f"row {number}: {column} is {short(cell)}", file=str(path), remedy=f"give {low:g} to {high:g}"
        )
    return value


def whole(row: Mapping[str, Any], column: str, path: Path, number: int, *, low: int, high: int) -> int:
    """One cell as a whole number in its range; BadInput in words where it is none."""
    value = real(row, column, path, number)
    if value != int(value) or not low <= value <= high:
        raise BadInput(
            f"row {number}: {column} is {short(row[column])}",
            file=str(path),
            remedy=f"give a whole number, {low} to {high}",
        )
    return int(value)


def yes_or_no(row: Mapping[str, Any], column: str, path: Path, number: int) -> bool:
    """One cell as yes or no; BadInput in words where it is neither."""
    said = str(row[column]).strip().lower()
    if said in {"yes", "true", "1"}:
        return True
    if said in {"no", "false", "0"}:
        return False
    raise BadInput(f"row {number}: {column} is {short(row[column])}", file=str(path), remedy="write yes or no")


def words(row: Mapping[str, Any], column: str, path: Path, number: int) -> str:
    """One cell as text; BadInput where it is a list or a group, or longer than anybody writes."""
    cell = row[column]
    if isinstance(cell, (list, dict)) or cell is None:
        raise BadInput(f"row {number}: {column} is {short(cell)}, not text", file=str(path))
    if len(str(cell)) > MOST_LETTERS:
        raise BadInput(f"row {number}: {column} is longer than {MOST_LETTERS} letters", file=str(path))
    return str(cell)


def short(cell: Any) -> str:
    """A cell as it is quoted in a message."""
    if isinstance(cell, (list, tuple)):
        return "a list"
    if isinstance(cell, dict):
        return "a group"
    if cell is None:
        return "empty"
    text = " ".join(str(cell).split())
    return f"'{text[:MOST_QUOTED]}...'" if len(text) > MOST_QUOTED else f"'{text}'"


def _text(path: Path) -> str:
    check_ordinary(path)
    try:
        return path.read_text(encoding="utf-8-sig")
    except OSError as err:
        raise BadInput(f"cannot be read ({err.strerror})", file=str(path)) from err
    except UnicodeDecodeError as err:
        raise BadInput("is not a text file in UTF-8", file=str(path)) from err


def _csv(path: Path) -> list[dict[str, Any]]:
    lines = _text(path).splitlines()
    mark = ";" if lines and lines[0].count(";") > lines[0].count(",") else ","
    out = []
    try:
        read = list(csv.DictReader(lines, delimiter=mark))
    except csv.Error as err:
        raise BadInput(f"cannot be read as a table ({err})", file=str(path)) from err
    for number, row in enumerate(read, start=1):
        if None in row:
            raise BadInput(f"row {number} has more cells than the first line has names", file=str(path))
        kept = {
            (k or "").strip(): unguarded(v.strip()) for k, v in row.items() if v is not None and v.strip()
        }
        if kept:
            out.append(kept)
    return out


def _listed(path: Path, table: str) -> list[dict[str, Any]]:
    try:
        data = json.loads(_text(path)) if path.suffix.lower() == ".json" else tomllib.loads(_text(path))
    except RecursionError as err:
        raise BadInput("is nested too deeply", file=str(path), remedy="write CSV, JSON or TOML") from err
    except ValueError as err:
        raise BadInput(
            f"cannot be read as a table ({err})", file=str(path), remedy="write CSV, JSON or TOML"
        ) from err
    rows = data.get(table, []) if isinstance(data, dict) else data
    if not isinstance(rows, list) or any(not isinstance(r, dict) for r in rows):
        raise BadInput(
            f"holds no list of rows called {table}",
            file=str(path),
            remedy=f"write each row below [[{table}]]",
        )
    return rows
