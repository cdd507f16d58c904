"""Rows of a small table a user wrote: CSV from a spreadsheet, or a TOML or JSON list."""

from __future__ import annotations

import csv
import json
import tomllib
from collections.abc import Collection
from pathlib import Path
from typing import Any

from treescan.errors import BadInput


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
                f"row {number} has an unknown column '{extra[0]}'",
                file=str(path),
                remedy=f"use {', '.join(sorted(columns))}",
            )
    if not rows:
        raise BadInput("holds no row", file=str(path))
    return rows


def real(row: dict[str, Any], column: str, path: Path, number: int) -> float:
    """One cell as a number; BadInput in words where it is none."""
    try:
        return float(row[column])
    except (TypeError, ValueError) as err:
        raise BadInput(f"row {number}: {column} is {row[column]!r}, not a number", file=str(path)) from err


def _text(path: Path) -> str:
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
    for number, row in enumerate(csv.DictReader(lines, delimiter=mark), start=1):
        if None in row:
            raise BadInput(f"row {number} has more cells than the first line has names", file=str(path))
        kept = {(k or "").strip(): v.strip() for k, v in row.items() if v is not None and v.strip()}
        if kept:
            out.append(kept)
    return out


def _listed(path: Path, table: str) -> list[dict[str, Any]]:
    try:
        data = json.loads(_text(path)) if path.suffix.lower() == ".json" else tomllib.loads(_text(path))
    except (ValueError, tomllib.TOMLDecodeError) as err:
        raise BadInput(
            f"cannot be read as a table ({err})", file=str(path), remedy="write CSV, JSON or TOML"
        ) from err
    rows = data if isinstance(data, list) else data.get(table, [])
    if not isinstance(rows, list) or any(not isinstance(r, dict) for r in rows):
        raise BadInput(
            f"holds no list of rows called {table}",
            file=str(path),
            remedy=f"write each row below [[{table}]]",
        )
    return rows
