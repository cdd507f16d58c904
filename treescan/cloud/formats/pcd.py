"""How is a PCD file read (ASCII, binary, compressed)? The header by hand, the points from the bytes.

Format: version 0.7 of the point cloud data format of the Point Cloud Library; its compressed form stores the
fields one after the other, packed with LZF.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np
from numba import njit
from numpy.typing import NDArray

from treescan.cloud.opened import AGAIN, CHUNK, Chunk, OpenedCloud, chunks_of
from treescan.cloud.text_formats.number_text import Layout, rows_of
from treescan.errors import BadInput
from treescan.reason import Reason

FIELDS = {
    "x": "x",
    "y": "y",
    "z": "z",
    "intensity": "intensity",
    "i": "intensity",
    "reflectance": "intensity",
    "label": "class",
    "class": "class",
    "classification": "class",
    "r": "red",
    "g": "green",
    "b": "blue",
    "red": "red",
    "green": "green",
    "blue": "blue",
}
"""Names of fields, lower case, and the column they become; packed "rgb" is handled apart."""

LZF_MOST = 300
"""LZF never packs more than this many bytes into one (264 bytes from 3, rounded up); a larger claim is
false."""


@dataclass(frozen=True)
class PcdHeader:
    """Fields, number of points, encoding, and the first byte of the data."""

    names: tuple[str, ...]
    dtype: np.dtype
    counts: tuple[int, ...]
    points: int
    data: str
    start: int
    version: str
    moved: bool


def open_pcd(file: Path) -> OpenedCloud:
    """Check the header against the file's size and get ready to stream."""
    header, size = _header(file), file.stat().st_size
    if header.points == 0:
        raise BadInput("holds no points", file=str(file), remedy="export the cloud again")
    wanted = {FIELDS[n.lower()]: i for i, n in reversed(list(enumerate(header.names))) if n.lower() in FIELDS}
    if not {"x", "y", "z"} <= wanted.keys():
        raise BadInput("has points without x, y and z", file=str(file), remedy="export it with coordinates")
    room, record = size - header.start, header.dtype.itemsize
    least = {"ascii": 2 * len(header.names), "binary": record}.get(header.data, 0) * header.points
    if least > room + 1:
        fits = f"only {room // record} fit" if header.data == "binary" else "they do not fit"
        raise BadInput(
            f"claims {header.points} points but {fits} into its {size} bytes: it is cut short",
            file=str(file),
            remedy=AGAIN,
        )
    order = {n: wanted[n] for n in ("x", "y", "z", *(n for n in wanted if n not in ("x", "y", "z")))}
    reader = {"ascii": _ascii_chunks, "binary": _binary_chunks, "binary_compressed": _packed_chunks}[
        header.data
    ]
    single = all(header.dtype[wanted[a]].base == np.dtype("<f4") for a in "xyz") and header.data != "ascii"
    columns = tuple(order)[3:] + (("red", "green", "blue") if _packed_colour(header) else ())
    notes = (Reason("viewpoint_not_applied"),) if header.moved else ()
    version = Reason("pcd_version", version=header.version, encoding=header.data)
    chunks = partial(reader, file, header, order)
    return OpenedCloud(
        "PCD", version, header.points, chunks, columns=columns, notes=notes, single_precision=single
    )


def _header(file: Path) -> PcdHeader:
    """Parse the header lines up to DATA."""
    name, words = str(file), {}
    with file.open("rb") as f:
        for _ in range(64):
            line = f.readline(4096).decode("latin-1").strip()
            word = line.split()
            if word and not line.startswith("#"):
                words[word[0].upper()] = word[1:]
                if word[0].upper() == "DATA":
                    break
        start = f.tell()
    try:
        names = tuple(words["FIELDS"])
        kinds = {"F": "f", "I": "i", "U": "u"}
        counts = tuple(int(c) for c in words.get("COUNT", ["1"] * len(names)))
        types = [f"<{kinds[t]}{int(s)}" for t, s in zip(words["TYPE"], words["SIZE"], strict=True)]
        dtype = np.dtype(
            [
                (str(i), t, (c,)) if c > 1 else (str(i), t)
                for i, (t, c) in enumerate(zip(types, counts, strict=True))
            ]
        )
        points = (
            int(words["POINTS"][0]) if "POINTS" in words else int(words["WIDTH"][0]) * int(words["HEIGHT"][0])
        )
        data = words["DATA"][0].lower()
        ok = (
            len(names) == len(types)
            and points >= 0
            and data in ("ascii", "binary", "binary_compressed")
            and min(counts) >= 1
            and max(counts) <= 65536
        )
    except (KeyError, IndexError, ValueError, TypeError):
        ok = False
    if not ok:
        raise BadInput("has a PCD header that is damaged or incomplete", file=name, remedy=AGAIN)
    view = words.get("VIEWPOINT", ["0"] * 7)
    moved = view[:3] != ["0"] * 3 and any(float(v) != 0 for v in view[:3] if _is_number(v))
    return PcdHeader(names, dtype, counts, points, data, start, words.get("VERSION", ["0.7"])[0], moved)


def _is_number(text: str) -> bool:
    """True where text reads as a number."""
    try:
        float(text)
    except ValueError:
        return False
    return True


def _packed_colour(header: PcdHeader) -> int | None:
    """Index of a field holding red, green and blue in the bytes of one 32-bit number."""
    names = [n.lower() for n in header.names]
    return next(
        (
            i
            for i, n in enumerate(names)
            if n in ("rgb", "rgba") and header.dtype[i].itemsize == 4 and header.data != "ascii"
        ),
        None,
    )


def _chunk(fields: dict[int, NDArray], header: PcdHeader, order: dict[str, int]) -> Chunk:
    """Coordinates and columns from field arrays."""
    with np.errstate(invalid="ignore"):  # a signalling NaN is no number and is left out later
        xyz = np.column_stack([np.asarray(fields[order[a]], np.float64) for a in "xyz"])
    columns = {n: fields[i] for n, i in order.items() if n not in "xyz"}
    if (i := _packed_colour(header)) is not None:
        bits = np.ascontiguousarray(fields[i]).view(np.uint32)
        columns |= {
            "red": (bits >> 16 & 255).astype(np.uint8),
            "green": (bits >> 8 & 255).astype(np.uint8),
            "blue": (bits & 255).astype(np.uint8),
        }
    return Chunk(xyz, np.zeros(3), columns)


def _needed(header: PcdHeader, order: dict[str, int]) -> list[int]:
    """Indices of the fields that are looked at."""
    extra = _packed_colour(header)
    return [*order.values(), *([extra] if extra is not None else [])]


def _binary_chunks(file: Path, header: PcdHeader, order: dict[str, int]) -> Iterator[Chunk]:
    """Records of fixed size, a block at a time."""
    with file.open("rb") as f:
        f.seek(header.start)
        for done in range(0, header.points, CHUNK):
            raw = np.fromfile(f, header.dtype, min(CHUNK, header.points - done))
            if not len(raw):
                raise BadInput(
                    f"is cut short: {done} of {header.points} points could be read",
                    file=str(file),
                    remedy=AGAIN,
                )
            yield _chunk({i: raw[str(i)] for i in _needed(header, order)}, header, order)


def _packed_chunks(file: Path, header: PcdHeader, order: dict[str, int]) -> Iterator[Chunk]:
    """The whole cloud is one packed block: unpack it, then cut it into chunks."""
    size, whole = file.stat().st_size, header.dtype.itemsize * header.points
    with file.open("rb") as f:
        f.seek(header.start)
        sizes = f.read(8)
        packed, unpacked = struct.unpack("<II", sizes) if len(sizes) == 8 else (0, 0)
        if packed > size - header.start - 8 or unpacked < whole or unpacked > LZF_MOST * packed:
            raise BadInput(
                f"claims {header.points} compressed points that do not fit its {size} bytes: it is cut short",
                file=str(file),
                remedy=AGAIN,
            )
        data = np.fromfile(f, np.uint8, packed)
    out = np.empty(unpacked, np.uint8)
    if _unpack(data, out) != unpacked:
        raise BadInput("is damaged: its compressed points do not unpack", file=str(file), remedy=AGAIN)
    fields, at = {}, 0
    for i in range(len(header.names)):
        kind = header.dtype[i].base
        length = header.dtype[i].itemsize * header.points
        if header.counts[i] == 1:
            fields[i] = out[at : at + length].view(kind)
        at += length
    for k in range(0, header.points, CHUNK):
        yield _chunk({i: fields[i][k : k + CHUNK] for i in _needed(header, order)}, header, order)


def _ascii_chunks(file: Path, header: PcdHeader, order: dict[str, int]) -> Iterator[Chunk]:
    """Lines of numbers; fields with several numbers take several columns."""
    first = np.concatenate([[0], np.cumsum(header.counts)])
    layout = Layout(" ", ".", tuple(int(first[i]) for i in order.values()))
    left = header.points
    for rows in rows_of(file, header.start, layout):
        if rows.bad:
            raise BadInput(
                "is cut short or damaged: lines among its points are not numbers",
                file=str(file),
                remedy=AGAIN,
            )
        values = rows.values[:left]
        left -= len(values)
        yield from chunks_of(values, list(order)[3:])
    if left:
        raise BadInput(
            f"is cut short: {header.points - left} of {header.points} points could be read",
            file=str(file),
            remedy=AGAIN,
        )


@njit(cache=True, nogil=True)
def _unpack(data, out):  # type: ignore[no-untyped-def]
    """LZF: a control byte below 32 copies the next bytes, any other points back into what is already there;
    bytes made, -1 for nonsense."""
    i, o = np.int64(0), np.int64(0)
    while i < len(data):
        control = np.int64(data[i])
        i += 1
        if control < 32:
            n = np.int64(control + 1)
            if i + n > len(data) or o + n > len(out):
                return -1
            for k in range(n):
                out[o + k] = data[i + k]
            i += n
            o += n
            continue
        n = control >> 5
        if n == 7:
            if i >= len(data):
                return -1
            n += np.int64(data[i])
            i += 1
        n += 2
        if i >= len(data):
            return -1
        back = o - ((control & 31) << 8) - np.int64(data[i]) - 1
        i += 1
        if back < 0 or o + n > len(out):
            return -1
        for k in range(n):
            out[o + k] = out[back + k]
        o += n
    return o
