"""How is this text file laid out? Delimiter, decimal sign, header line and column order, guessed from its
first lines."""

from __future__ import annotations

import re
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from treescan.cloud.text_formats.number_text import Layout
from treescan.errors import BadInput
from treescan.reason import Reason

NAMES: dict[str, tuple[str, ...]] = {
    "x": (
        "x",
        "east",
        "easting",
        "e",
        "xcoord",
        "coordx",
        "pointx",
        "lon",
        "long",
        "longitude",
        "rechtswert",
        "cartesianx",
    ),
    "y": (
        "y",
        "north",
        "northing",
        "n",
        "ycoord",
        "coordy",
        "pointy",
        "lat",
        "latitude",
        "hochwert",
        "cartesiany",
    ),
    "z": (
        "z",
        "height",
        "elevation",
        "elev",
        "h",
        "alt",
        "altitude",
        "zcoord",
        "coordz",
        "pointz",
        "cartesianz",
    ),
    "intensity": ("intensity", "i", "int", "reflectance", "scalarintensity"),
    "class": ("class", "classification", "label", "scalarclassification"),
    "red": ("r", "red"),
    "green": ("g", "green"),
    "blue": ("b", "blue"),
    "return_number": ("returnnumber", "return"),
    "number_of_returns": ("numberofreturns", "returns"),
    "scan": ("scan", "pointsourceid", "scanid"),
}
"""Column names met in header lines, letters only, lower case."""

DEGREE_NAMES = ("lon", "long", "longitude", "lat", "latitude")

TRIALS = ((";", "."), (";", ","), (",", "."), (" ", "."), (" ", ","))
"""Delimiters and decimal signs tried, in order of preference among equals."""

_NUMBER = {
    ".": re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eEdD][+-]?\d+)?|[+-]?nan|[+-]?inf(inity)?", re.IGNORECASE),
    ",": re.compile(r"[+-]?(\d+(,\d+)?|,\d+)([eEdD][+-]?\d+)?|[+-]?nan|[+-]?inf(inity)?", re.IGNORECASE),
}


@dataclass(frozen=True)
class TextLayout:
    """Layout, the names of the wanted columns (x, y, z first), and what else the first lines told."""

    layout: Layout
    names: tuple[str, ...]
    counted: bool
    degrees: bool
    crs: str | None
    notes: tuple[Reason, ...]
    header_lines: int = 0


def text_layout(file: Path) -> TextLayout:
    """Guess the layout.

    Raises BadInput where no lines of at least three numbers are found.
    """
    with file.open("rb") as f:
        head = f.read(65536)
    whole = len(head) < 65536
    text = head.decode("utf-8-sig", "replace")
    every = re.split(r"\r\n|\n|\r", text)
    lines = [x.strip() for x in (every if whole else every[:-1]) if x.strip()]
    comments = [x for x in lines[:50] if x[0] in "#/%!"]
    plain = [x for x in lines if x[0] not in "#/%!"][:400]
    counted = bool(plain) and re.fullmatch(r"\d+", plain[0]) is not None
    data = plain[1:] if counted else plain
    delimiter, decimal, good = max(((d, c, _agreement(data, d, c)) for d, c in TRIALS), key=lambda t: t[2])
    if good == 0.0:
        start = plain[0][:60] if plain else lines[0][:60] if lines else ""
        raise BadInput(
            f"holds no lines of at least three numbers (it starts '{_printable(start)}')",
            file=str(file),
            remedy="give one point a line: x y z, then anything else",
        )
    fields = [_cut(x, delimiter) for x in data]
    rows = [r for r in fields if _numeric(r, decimal)]
    first = fields[0] if not _numeric(fields[0], decimal) else None
    header = _header(first, comments)
    wanted, names, degrees, notes = _columns(header, rows, file)
    crs = next((m[0] for x in comments if (m := re.search(r"EPSG:\d{4,6}", x))), None)
    if decimal == ",":
        notes = (*notes, Reason("decimal_comma"))
    return TextLayout(
        Layout(delimiter, decimal, wanted), names, counted, degrees, crs, notes, int(first is not None)
    )


def _cut(line: str, delimiter: str) -> list[str]:
    """Fields of one line without blanks and quotes."""
    return [x.strip(' \t"') for x in (line.split() if delimiter == " " else line.split(delimiter))]


def _numeric(fields: list[str], decimal: str) -> bool:
    """True where at least three fields are numbers and the line is mostly numbers."""
    hits = sum(_NUMBER[decimal].fullmatch(x) is not None for x in fields)
    return hits >= 3 and hits * 2 >= len(fields)


def _agreement(lines: list[str], delimiter: str, decimal: str) -> float:
    """Share of lines that are numbers with the commonest count of fields."""
    counts = [len(f) for x in lines if _numeric(f := _cut(x, delimiter), decimal)]
    return max((counts.count(c) for c in set(counts)), default=0) / max(len(lines), 1)


def _header(first: list[str] | None, comments: list[str]) -> list[str] | None:
    """Column names from a header line, or from a comment line that names x, y and z."""
    candidates = [first] if first else []
    for line in reversed(comments):
        bare = line.lstrip("#/%! ")
        candidates.append(_cut(bare, ";" if ";" in bare else "," if "," in bare else " "))
    for fields in candidates:
        simple = [_simple(x) for x in fields]
        if all(any(s in NAMES[axis] for s in simple) for axis in "xyz"):
            return simple
    return None


def _simple(name: str) -> str:
    """A column name without units in brackets, signs and capitals: "X [m]" -> "x"."""
    return re.sub(r"[^a-z]", "", re.sub(r"[\[(].*?[\])]", "", name.lower()))


def _columns(
    header: list[str] | None, rows: list[list[str]], file: Path
) -> tuple[tuple[int, ...], tuple[str, ...], bool, tuple[Reason, ...]]:
    """Which columns are what: by name where there are names, else by position."""
    width = max(set(map(len, rows)), key=[len(r) for r in rows].count)
    if header is not None:
        at = {
            name: next((i for i, s in enumerate(header) if s in words), -1) for name, words in NAMES.items()
        }
        found = {n: i for n, i in at.items() if 0 <= i < width}
        if {"x", "y", "z"} <= found.keys():
            order = ["x", "y", "z", *(n for n in found if n not in ("x", "y", "z"))]
            return (
                tuple(found[n] for n in order),
                tuple(order),
                any(header[found[a]] in DEGREE_NAMES for a in "xy"),
                (),
            )
    first = 1 if width >= 4 and _counts_up([r[0] for r in rows]) else 0
    notes = (Reason("point_number_column"),) if first else ()
    rest = {1: ("intensity",), 3: ("red", "green", "blue"), 4: ("intensity", "red", "green", "blue")}.get(
        width - first - 3, ()
    )
    if "red" in rest and not _are_colours(rows, width):
        rest = ()
    if rest == () and width - first > 3:
        notes = (*notes, Reason("columns_without_names", left_out=width - first - 3))
    return tuple(range(first, first + 3 + len(rest))), ("x", "y", "z", *rest), False, notes


def _counts_up(values: list[str]) -> bool:
    """True for at least ten whole numbers, each one more than the last."""
    if len(values) < 10 or not all(v.isdigit() for v in values):
        return False
    whole = [int(v) for v in values]
    return all(b - a == 1 for a, b in pairwise(whole))


def _are_colours(rows: list[list[str]], width: int) -> bool:
    """True where the last three columns are whole numbers from 0 to 65535."""
    return all(x.isdigit() and int(x) <= 65535 for r in rows if len(r) == width for x in r[-3:])


def _printable(text: str) -> str:
    """Text safe to print in a message."""
    return "".join(c if c.isprintable() and c != "\ufffd" else "?" for c in text)
