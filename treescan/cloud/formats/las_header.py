"""Is this LAS or LAZ header believable? Read by hand and held against the file's size before any library
trusts it.

Layouts: ASPRS LAS specification 1.4 R15, tables 3 (public header block), 5 (variable length records) and 7
onward (point formats).
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

import numpy as np
from lazrs import LazVlr, read_chunk_table
from numpy.typing import NDArray

from treescan.cloud.opened import AGAIN
from treescan.errors import BadInput

HEADER_SIZE = {0: 227, 1: 227, 2: 227, 3: 235, 4: 375}
"""Smallest public header of LAS 1.x. [bytes]"""

NEWEST, LONGEST_HEADER = 4, max(HEADER_SIZE.values())
"""Minor version with a wider point count and records behind the points, and its header. [bytes]"""

RECORD_SIZE = {0: 20, 1: 28, 2: 26, 3: 34, 4: 57, 5: 63, 6: 30, 7: 36, 8: 38, 9: 59, 10: 67}
"""Smallest record of each point format. [bytes]"""


LONGEST_RECORD = 64_000_000
"""An extended record longer than this is not read. [bytes]"""


POINT_WISE, CHUNKED, LAZ_RECORD = 1, 2, 34
"""Compressors of LASzip, and least length of its record."""
LAYERED = 3
"""Compressor of LAZ that keeps every column of a chunk as a layer of its own."""
LAYERS = {10: 9, 11: 1, 12: 2, 13: 1}
"""Layers of the parts point, colour, colour with infrared, wave packet; extra bytes have one a byte (LASzip)."""


@dataclass(frozen=True)
class Record:
    """One variable length record: who defined it, which, and its bytes."""

    user: str
    number: int
    data: bytes


@dataclass(frozen=True)
class LasHeader:
    """The checked header.

    Attributes
    ----------
    version : str                   "1.4"
    point_format, record_size : int
    compressed : bool               LAZ (or COPC).
    count : int                     Points claimed; the file is long enough for them.
    offset_to_points : int          [bytes]
    scale, offset, low, high : (3,) float64     File units; low and high as claimed.
    records : tuple of Record
    wkt_flag : bool
    program : str                   That wrote the file.
    spare : int                     Points the file has room for beyond the claimed ones (uncompressed files).
    damaged : int                   Records that could not be read because one of them runs into the points.
    """

    version: str
    point_format: int
    record_size: int
    compressed: bool
    count: int
    offset_to_points: int
    scale: NDArray[np.float64]
    offset: NDArray[np.float64]
    low: NDArray[np.float64]
    high: NDArray[np.float64]
    records: tuple[Record, ...]
    wkt_flag: bool
    program: str
    spare: int
    damaged: int = 0

    @property
    def copc(self) -> bool:
        """True for a cloud-optimised (octree ordered) LAZ."""
        return any(r.user == "copc" and r.number == 1 for r in self.records)


def read_header(file: Path) -> LasHeader:
    """Read and check the header and every variable length record.

    Raises BadInput where a claim does not fit into the file.
    """
    name, size = str(file), file.stat().st_size
    with file.open("rb") as f:
        block = f.read(LONGEST_HEADER)
        minor, header_size, to_points, vlr_count = _checked_start(block, size, name)
        records = _records(f, header_size, to_points, vlr_count)
        damaged = vlr_count - len(records)
        if minor == NEWEST:
            records += _extended_records(f, block, size)
    raw_format, record_size, legacy = struct.unpack_from("<BHI", block, 104)
    count = struct.unpack_from("<Q", block, 247)[0] if minor == NEWEST else legacy
    count = count or legacy
    point_format, compressed = raw_format & 0x3F, bool(raw_format & 0xC0)
    if point_format not in RECORD_SIZE or record_size < RECORD_SIZE[point_format]:
        raise BadInput(
            f"has point format {point_format} with records of {record_size} bytes, which no LAS version "
            f"defines",
            file=name,
            remedy=AGAIN,
        )
    spare = _room_for_points(size - to_points, count, record_size, compressed, name)
    numbers = _scales_offsets_bounds(block, name)
    return LasHeader(
        f"1.{minor}",
        point_format,
        record_size,
        compressed,
        count,
        to_points,
        numbers[:3],
        numbers[3:6],
        numbers[[7, 9, 11]],
        numbers[[6, 8, 10]],
        records,
        bool(struct.unpack_from("<H", block, 6)[0] & 16),
        block[58:90].split(b"\0")[0].decode("latin-1").strip(),
        spare,
        damaged,
    )


def _checked_start(block: bytes, size: int, name: str) -> tuple[int, int, int, int]:
    """Minor version, size of the header, first byte of the points, number of records: held against the file."""
    if len(block) < HEADER_SIZE[0]:
        raise BadInput(
            f"ends inside its header ({len(block)} of at least 227 bytes)", file=name, remedy=AGAIN
        )
    minor = block[25]
    if block[24] != 1 or minor not in HEADER_SIZE:
        raise BadInput(
            f"claims LAS version {block[24]}.{minor}, known are 1.0 to 1.4",
            file=name,
            remedy="export it as LAS 1.2 or 1.4",
        )
    header_size, to_points, vlr_count = struct.unpack_from("<HII", block, 94)
    if header_size < HEADER_SIZE[minor] or header_size > size or to_points < header_size:
        raise BadInput(
            f"has a damaged header (header of {header_size} bytes, points from byte {to_points})",
            file=name,
            remedy=AGAIN,
        )
    if to_points > size:
        raise BadInput(
            f"says its points start at byte {to_points} but has only {size} bytes: it is cut short",
            file=name,
            remedy=AGAIN,
        )
    room = to_points - header_size
    if vlr_count * 54 > room:
        raise BadInput(
            f"claims {vlr_count} variable length records where there is room for {room // 54}: its "
            f"header is damaged",
            file=name,
            remedy=AGAIN,
        )
    return minor, header_size, to_points, vlr_count


def _scales_offsets_bounds(block: bytes, name: str) -> NDArray[np.float64]:
    """Three scale factors, three offsets, then largest and smallest x, y and z, as the header has them, (12,)."""
    numbers = np.array(struct.unpack_from("<12d", block, 131))
    scale, offset = numbers[:3], numbers[3:6]
    if not (np.isfinite(scale).all() and np.isfinite(offset).all() and (scale != 0).all()):
        raise BadInput(
            "has scale factors or offsets that are zero or not numbers, so no coordinate can be worked out",
            file=name,
            remedy=AGAIN,
        )
    return numbers


def _records(f: BinaryIO, start: int, end: int, count: int) -> tuple[Record, ...]:
    """The records between header and points, up to the first that does not end before the points begin."""
    found, at = [], start
    for _ in range(count):
        f.seek(at)
        head = f.read(54)
        length = struct.unpack_from("<H", head, 20)[0] if at + 54 <= end else 0
        if at + 54 + length > end:
            break
        found.append(_record(head, f.read(length)))
        at += 54 + length
    return tuple(found)


def _extended_records(f: BinaryIO, block: bytes, size: int) -> tuple[Record, ...]:
    """The records behind the points of LAS 1.4; those that do not fit into the file are left out, none is
    needed for the points."""
    at, count = struct.unpack_from("<QI", block, 235)
    found: list[Record] = []
    while len(found) < count and 0 < at <= size - 60:
        f.seek(at)
        head = f.read(60)
        length = struct.unpack_from("<Q", head, 20)[0]
        if at + 60 + length > size:
            break
        found.append(_record(head, f.read(length) if length < LONGEST_RECORD else b""))
        at += 60 + length
    return tuple(found)


def _record(head: bytes, data: bytes) -> Record:
    """User, number and bytes of one record."""
    return Record(head[2:18].split(b"\0")[0].decode("latin-1"), struct.unpack_from("<H", head, 18)[0], data)


def _room_for_points(room: int, count: int, record_size: int, compressed: bool, name: str) -> int:
    """Hold the claimed number of points against the bytes there are; how many more would fit."""
    if compressed:
        return 0
    fits = room // record_size
    if count > fits:
        raise BadInput(
            f"claims {count} points but holds only {fits}: it is cut short or its header is damaged",
            file=name,
            remedy=AGAIN,
        )
    return fits - count


def _items(laz: bytes) -> list[tuple[int, int]]:
    """Type and size [bytes] of every part of a point, from the LAZ record."""
    count = struct.unpack_from("<H", laz, 32)[0]
    return [struct.unpack_from("<HH", laz, 34 + 6 * i) for i in range(count)]


def _check_layers(file: Path, header: LasHeader, laz: bytes, layers: int) -> None:
    """Hold the sizes of the layers of every chunk against the chunk, before a decoder allocates them.

    Layout of a chunk: one point as it is, the number of points, the bytes of each layer, the layers.
    """
    with file.open("rb") as f:
        f.seek(header.offset_to_points)
        try:
            table = read_chunk_table(f, LazVlr(laz))
        except (KeyboardInterrupt, SystemExit, MemoryError):
            raise
        except BaseException as err:  # the Rust decoder reports a panic outside of Exception
            raise BadInput("has a damaged table of compressed chunks", file=str(file), remedy=AGAIN) from err
        at = header.offset_to_points + 8
        for number, (_, held) in enumerate(table, start=1):
            if held == 0:
                continue
            f.seek(at + header.record_size)
            sizes = f.read(4 + 4 * layers)
            claimed = sum(struct.unpack_from(f"<{layers}I", sizes, 4)) if len(sizes) == 4 + 4 * layers else -1
            if not 0 <= claimed <= held:
                raise BadInput(
                    f"has a damaged compressed chunk ({number} of {len(table)}): its layers do not fit into it",
                    file=str(file),
                    remedy=AGAIN,
                )
            at += held


def check_compression(file: Path, header: LasHeader) -> None:
    """Hold the LAZ record and the table of chunks against the file, before a decoder allocates what they
    claim.

    Layout: LASzip record 22204 (compressor, coder, version, options, chunk size, ..., items of type, size,
    version) and the chunk table whose place stands in the first 8 bytes of the point data (version, number of
    chunks).
    """
    name, size = str(file), file.stat().st_size
    laz = _laz_record(header)
    if len(laz) < LAZ_RECORD:
        raise BadInput(
            "is marked as compressed but lacks the LAZ record that says how", file=name, remedy=AGAIN
        )
    compressor = struct.unpack_from("<H", laz, 0)[0]
    chunk_size = struct.unpack_from("<I", laz, 12)[0]
    items = struct.unpack_from("<H", laz, 32)[0]
    sizes = [
        struct.unpack_from("<H", laz, 34 + 6 * i + 2)[0] for i in range(items) if 34 + 6 * i + 6 <= len(laz)
    ]
    if (
        compressor not in (1, 2, 3)
        or len(sizes) != items
        or sum(sizes) != header.record_size
        or chunk_size == 0
    ):
        raise BadInput(
            "has a damaged LAZ record (its items do not make up one point)", file=name, remedy=AGAIN
        )
    if not header.count:
        return
    if compressor == POINT_WISE:
        _check_crowd(header, size - header.offset_to_points, name)
        return
    with file.open("rb") as f:
        f.seek(header.offset_to_points)
        place = f.read(8)
        at = struct.unpack("<q", place)[0] if len(place) == 8 else 0
        if at == -1:
            f.seek(size - 8)
            at = struct.unpack("<q", f.read(8))[0]
        if not header.offset_to_points + 8 <= at <= size - 8:
            raise BadInput(
                "lacks its table of compressed chunks: it is cut short or was never finished",
                file=name,
                remedy=AGAIN,
            )
        f.seek(at)
        chunks = struct.unpack("<II", f.read(8))[1]
    bytes_there = at - header.offset_to_points - 8
    variable = chunk_size == 0xFFFFFFFF
    if chunks > bytes_there or (
        not variable and not (chunks - 1) * chunk_size < header.count <= chunks * chunk_size
    ):
        raise BadInput(
            f"claims {header.count} points in {chunks} compressed chunks, which do not fit together",
            file=name,
            remedy=AGAIN,
        )
    if compressor == LAYERED:
        _check_layers(file, header, laz, sum(LAYERS.get(k, n) for k, n in _items(laz)))
    _check_crowd(header, bytes_there, name)


def _check_crowd(header: LasHeader, bytes_there: int, name: str) -> None:
    """BadInput where so few compressed bytes cannot hold the points claimed."""
    if header.count > bytes_there * 400:
        raise BadInput(
            f"claims {header.count} points in {bytes_there} compressed bytes, which no cloud fits into",
            file=name,
            remedy=AGAIN,
        )


def is_point_wise(header: LasHeader) -> bool:
    """Whether the points are compressed one after another without chunks, as the first LASzip did."""
    laz = _laz_record(header)
    return len(laz) >= LAZ_RECORD and struct.unpack_from("<H", laz, 0)[0] == POINT_WISE


def one_chunk(file: Path, header: LasHeader) -> tuple[bytes, bytes, bytes]:
    """A point-wise file as one chunk, for decoders that know chunks only: what stands before the points with a
    record that says so and the place of the table; that record; the points. The table of chunks follows them."""
    held, laz = file.read_bytes(), _laz_record(header)
    before, points = bytearray(held[: header.offset_to_points]), held[header.offset_to_points :]
    record = bytearray(laz)
    struct.pack_into("<H", record, 0, CHUNKED)
    struct.pack_into("<I", record, 12, header.count)
    at = before.find(laz)
    before[at : at + len(laz)] = record
    return bytes(before) + struct.pack("<q", len(before) + 8 + len(points)), bytes(record), points


def _laz_record(header: LasHeader) -> bytes:
    """The record that says how the points are compressed, empty where there is none."""
    return next((r.data for r in header.records if r.user == "laszip encoded" and r.number == 22204), b"")
