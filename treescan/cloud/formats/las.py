"""How is a LAS, LAZ or COPC file read? Header checked first, then decoded by laspy in chunks."""

from __future__ import annotations

import math
from collections.abc import Iterator
from functools import partial
from io import SEEK_END, BytesIO
from pathlib import Path
from typing import Any

import laspy
import lazrs
import numpy as np
from laspy import DecompressionSelection, LazBackend
from numba import njit, prange

from treescan.cloud.formats.las_header import (
    LasHeader,
    check_compression,
    is_point_wise,
    one_chunk,
    read_header,
)
from treescan.cloud.formats.las_reference import las_reference
from treescan.cloud.opened import AGAIN, CHUNK, Chunk, OpenedCloud
from treescan.errors import BadInput, in_words
from treescan.reason import Reason

NOISE_CLASSES = (7, 18)
"""Low point and high noise, ASPRS LAS 1.4 R15 table 17."""

LAYERS = (
    DecompressionSelection.XY_RETURNS_CHANNEL
    | DecompressionSelection.Z
    | DecompressionSelection.CLASSIFICATION
    | DecompressionSelection.FLAGS
    | DecompressionSelection.INTENSITY
    | DecompressionSelection.POINT_SOURCE_ID
    | DecompressionSelection.RGB
)
"""What is decoded of point formats 6 to 10; the older ones have no layers."""

TINY_SCALE = 1e-6
"""Scale factors below a thousandth of a millimetre are written by mistake: they leave few bits before the
whole-number range is used up."""


def open_las(file: Path) -> OpenedCloud:
    """Check the header and get ready to stream."""
    header = read_header(file)
    if header.compressed:
        check_compression(file, header)
    if header.count == 0:
        raise BadInput("holds no points", file=str(file), remedy="export the cloud again")
    notes = []
    if header.damaged:
        notes.append(Reason("damaged_records", n=header.damaged))
    if header.spare and header.version != "1.4" and header.point_format < 4:
        notes.append(Reason("more_points_than_claimed", n=header.spare))
    if (np.abs(header.scale) < TINY_SCALE).any():
        notes.append(Reason("tiny_scale_factors", power=math.floor(math.log10(np.abs(header.scale).min()))))
    kind = "COPC" if header.copc else "LAZ" if header.compressed else "LAS"
    return OpenedCloud(
        kind,
        Reason("las_version", version=header.version, point_format=header.point_format),
        header.count,
        partial(_chunks, file, header),
        las_reference(header),
        _columns(header),
        tuple(notes),
        np.fmin(header.low, header.high),
        np.fmax(header.low, header.high),
        written_by=header.program,
    )


def _columns(header: LasHeader) -> tuple[str, ...]:
    """Names of the columns this point format has."""
    colour = ("red", "green", "blue") if header.point_format in (2, 3, 5, 7, 8, 10) else ()
    return ("class", "intensity", "return_number", "number_of_returns", "scan", *colour)


def _chunks(file: Path, header: LasHeader) -> Iterator[Chunk]:
    """Decode; whatever the decoder trips over becomes one sentence."""
    done = 0
    try:
        selection = LAYERS if header.point_format >= 6 else DecompressionSelection.all()
        source, backend = _source(file, header)
        with laspy.open(
            source, laz_backend=backend, decompression_selection=selection, read_evlrs=False
        ) as reader:
            for points in reader.chunk_iterator(CHUNK):
                done += len(points)
                yield las_chunk(points.array, header)
    except (GeneratorExit, KeyboardInterrupt, SystemExit, MemoryError, BadInput):
        raise
    except BaseException as e:  # the Rust decoder reports a panic outside of Exception
        reason = in_words(e)
        raise BadInput(
            f"is damaged: decoding stopped after {done} of {header.count} points ({reason})",
            file=str(file),
            remedy=AGAIN,
        ) from None
    if done < header.count:
        raise BadInput(
            f"is cut short: {done} of {header.count} points could be read", file=str(file), remedy=AGAIN
        )


def _source(file: Path, header: LasHeader) -> tuple[Path | BytesIO, LazBackend]:
    """What the decoder reads: the file, or a point-wise one rewritten in memory as one chunk."""
    if not header.compressed or not is_point_wise(header):
        return file, LazBackend.LazrsParallel
    before, record, points = one_chunk(file, header)
    out = BytesIO(before + points)
    out.seek(0, SEEK_END)
    lazrs.write_chunk_table(out, [(header.count, len(points))], lazrs.LazVlr(record))
    out.seek(0)
    return out, LazBackend.Lazrs


def las_chunk(raw: np.ndarray[Any, Any], header: LasHeader) -> Chunk:
    """Coordinates, columns and marks of one decoded block."""
    xyz = np.empty((len(raw), 3))
    _scaled(raw["X"], raw["Y"], raw["Z"], header.scale, xyz)
    if header.point_format >= 6:
        code, withheld = raw["classification"], (raw["classification_flags"] & 4) != 0
        returns = raw["bit_fields"] & 15, raw["bit_fields"] >> 4
    else:
        code, withheld = raw["raw_classification"] & 31, (raw["raw_classification"] & 128) != 0
        returns = raw["bit_fields"] & 7, (raw["bit_fields"] >> 3) & 7
    columns = {
        "class": code,
        "intensity": raw["intensity"],
        "return_number": returns[0],
        "number_of_returns": returns[1],
        "scan": raw["point_source_id"],
    }
    columns |= {c: raw[c] for c in ("red", "green", "blue") if c in _columns(header)}
    noise = (code == NOISE_CLASSES[0]) | (code == NOISE_CLASSES[1])
    return Chunk(xyz, header.offset, columns, {"withheld": withheld, "classed_as_noise": noise & ~withheld})


@njit(cache=True, parallel=True, nogil=True)
def _scaled(x, y, z, scale, out):  # type: ignore[no-untyped-def]
    """Whole numbers times the scale factor."""
    for i in prange(len(x)):
        out[i, 0] = x[i] * scale[0]
        out[i, 1] = y[i] * scale[1]
        out[i, 2] = z[i] * scale[2]
