"""How is a PLY file read? Header by hand; binary vertices straight from the bytes, ASCII through the number
parser."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from treescan.cloud.opened import AGAIN, CHUNK, Chunk, OpenedCloud, Reference, chunks_of
from treescan.cloud.projection import parsed_crs
from treescan.cloud.text_formats.number_text import Layout, rows_of
from treescan.errors import BadInput
from treescan.reason import Reason

TYPES = {
    "char": "i1",
    "int8": "i1",
    "uchar": "u1",
    "uint8": "u1",
    "short": "i2",
    "int16": "i2",
    "ushort": "u2",
    "uint16": "u2",
    "int": "i4",
    "int32": "i4",
    "uint": "u4",
    "uint32": "u4",
    "float": "f4",
    "float32": "f4",
    "double": "f8",
    "float64": "f8",
}
"""Scalar types of the format, old and new names."""

PROPERTIES = {
    "x": "x",
    "y": "y",
    "z": "z",
    "intensity": "intensity",
    "scalar_intensity": "intensity",
    "reflectance": "intensity",
    "red": "red",
    "green": "green",
    "blue": "blue",
    "r": "red",
    "g": "green",
    "b": "blue",
    "diffuse_red": "red",
    "diffuse_green": "green",
    "diffuse_blue": "blue",
    "classification": "class",
    "class": "class",
    "label": "class",
    "scalar_classification": "class",
}
"""Names of vertex properties, lower case, and the column they become."""


@dataclass(frozen=True)
class PlyHeader:
    """Where the vertices are and what each holds.

    Attributes
    ----------
    encoding : str              "ascii", "<" or ">".
    count : int                 Vertices claimed.
    names, types : tuple of str Of the vertex properties, in order.
    start : int                 First byte of the vertices (of the data, for ASCII).
    lines_before : int          Lines of other elements before the vertices (ASCII).
    comments : tuple of str
    """

    encoding: str
    count: int
    names: tuple[str, ...]
    types: tuple[str, ...]
    start: int
    lines_before: int
    comments: tuple[str, ...]


def open_ply(file: Path) -> OpenedCloud:
    """Check the header against the file's size and get ready to stream."""
    header = _header(file)
    if header.count == 0:
        raise BadInput("holds no points", file=str(file), remedy="export the cloud again")
    wanted = {
        PROPERTIES[n.lower()]: i
        for i, n in reversed(list(enumerate(header.names)))
        if n.lower() in PROPERTIES
    }
    if not {"x", "y", "z"} <= wanted.keys():
        raise BadInput("has vertices without x, y and z", file=str(file), remedy="export it with coordinates")
    order = {n: wanted[n] for n in ("x", "y", "z", *(n for n in wanted if n not in ("x", "y", "z")))}
    columns = tuple(order)[3:]
    single = all(header.types[order[a]] == "f4" for a in "xyz") and header.encoding != "ascii"
    reading = partial(_ascii_chunks if header.encoding == "ascii" else _binary_chunks, file, header, order)
    text = next((m[0] for c in header.comments if (m := re.search(r"EPSG:\d{4,6}", c))), None)
    reference = Reference(parsed_crs(text) if text else None, text)
    version = Reason(
        "ply_encoding",
        encoding={"<": "binary_little_endian", ">": "binary_big_endian"}.get(header.encoding, "ascii"),
    )
    return OpenedCloud("PLY", version, header.count, reading, reference, columns, single_precision=single)


def _header(file: Path) -> PlyHeader:
    """Parse the header lines up to end_header."""
    name = str(file)
    with file.open("rb") as f:
        head = f.read(1 << 18)
    end = re.search(rb"\r?\n[ \t]*end_header[ \t]*(\r\n|\n|\r)", head) or re.search(
        rb"\r[ \t]*end_header[ \t]*(\r\n|\n|\r)", head
    )
    if end is None:
        raise BadInput(
            "is a PLY file without an end of its header: it is cut short or damaged", file=name, remedy=AGAIN
        )
    lines = [x.strip() for x in re.split(r"\r\n|\n|\r", head[: end.start()].decode("latin-1"))][1:]
    encoding = ""
    elements: list[tuple[str, int, list[tuple[str, str]]]] = []
    comments: list[str] = []
    try:
        for line in lines:
            word = line.split()
            if not word:
                continue
            if word[0] in ("comment", "obj_info"):
                comments.append(line)
            elif word[0] == "format":
                encoding = {"ascii": "ascii", "binary_little_endian": "<", "binary_big_endian": ">"}[word[1]]
            elif word[0] == "element":
                elements.append((word[1], int(word[2]), []))
            elif word[0] == "property":
                elements[-1][2].append((word[-1], "list" if word[1] == "list" else TYPES[word[1]]))
    except (KeyError, IndexError, ValueError):
        raise BadInput(
            f"has a PLY header line that makes no sense ('{line[:60]}')", file=name, remedy=AGAIN
        ) from None
    return _placed(elements, encoding, end.end(), tuple(comments), file)


def _placed(
    elements: list[tuple[str, int, list[tuple[str, str]]]],
    encoding: str,
    start: int,
    comments: tuple[str, ...],
    file: Path,
) -> PlyHeader:
    """Find the vertices behind whatever comes first, and hold their number against the file."""
    name, size, before = str(file), file.stat().st_size, 0
    if not encoding:
        raise BadInput("has a PLY header that does not say its format", file=name, remedy=AGAIN)
    for element, count, properties in elements:
        fixed = all(t != "list" for _, t in properties)
        record = sum(np.dtype(t).itemsize for _, t in properties) if fixed else 0
        if element == "vertex":
            if not fixed:
                raise BadInput(
                    "has vertices with lists in them, which are not read",
                    file=name,
                    remedy="export plain points",
                )
            least = count * (record if encoding != "ascii" else 2 * len(properties))
            if count < 0 or start + least > size + 1:
                fits = (size - start) // max(record, 1) if encoding != "ascii" else 0
                what = (
                    f"but holds only {fits}" if encoding != "ascii" else f"which do not fit into {size} bytes"
                )
                raise BadInput(
                    f"claims {count} points {what}: it is cut short or its header is damaged",
                    file=name,
                    remedy=AGAIN,
                )
            names, types = tuple(n for n, _ in properties), tuple(t for _, t in properties)
            return PlyHeader(encoding, count, names, types, start, before, comments)
        if encoding != "ascii" and not fixed and count:
            raise BadInput(
                f"has lists ('{element}') before its points, which are not read",
                file=name,
                remedy="export plain points",
            )
        before += count
        start += count * record if encoding != "ascii" else 0
    raise BadInput("is a PLY file without vertices", file=name, remedy="export a point cloud")


def _binary_chunks(file: Path, header: PlyHeader, order: dict[str, int]) -> Iterator[Chunk]:
    """Records of fixed size, a block at a time."""
    dtype = np.dtype([(str(i), header.encoding + t) for i, t in enumerate(header.types)])
    with file.open("rb") as f:
        f.seek(header.start)
        for done in range(0, header.count, CHUNK):
            raw = np.fromfile(f, dtype, min(CHUNK, header.count - done))
            if not len(raw):
                raise BadInput(
                    f"is cut short: {done} of {header.count} points could be read",
                    file=str(file),
                    remedy=AGAIN,
                )
            xyz = np.empty((len(raw), 3))
            with np.errstate(invalid="ignore"):  # what is no number is left out later
                for k, axis in enumerate("xyz"):
                    xyz[:, k] = raw[str(order[axis])]
            yield Chunk(
                xyz, np.zeros(3), {n: _native(raw[str(i)]) for n, i in order.items() if n not in "xyz"}
            )


def _native(values: NDArray) -> NDArray:
    """In the machine's byte order."""
    return values.astype(values.dtype.newbyteorder("="))


def _ascii_chunks(file: Path, header: PlyHeader, order: dict[str, int]) -> Iterator[Chunk]:
    """Lines of numbers, of which only the vertices are taken."""
    layout = Layout(" ", ".", tuple(order.values()))
    skip, left = header.lines_before, header.count
    start = _after_lines(file, header.start, skip)
    for rows in rows_of(file, start, layout):
        if rows.bad and len(rows.values) < left:
            raise BadInput(
                "is cut short or damaged: lines among its points are not numbers",
                file=str(file),
                remedy=AGAIN,
            )
        values = rows.values[:left]
        left -= len(values)
        yield from chunks_of(values, list(order)[3:])
        if left == 0:
            return
    raise BadInput(
        f"is cut short: {header.count - left} of {header.count} points could be read",
        file=str(file),
        remedy=AGAIN,
    )


def _after_lines(file: Path, start: int, lines: int) -> int:
    """The byte behind a number of lines."""
    with file.open("rb") as f:
        f.seek(start)
        for _ in range(lines):
            f.readline()
        return f.tell()
