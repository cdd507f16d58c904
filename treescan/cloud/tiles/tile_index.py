"""One tile made ready for reading by window: its points once sorted into blocks on disk, or, for COPC, the blocks
that the file itself keeps."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from treescan.arrays import Floats, Ints
from treescan.atomic import whole_folder
from treescan.cloud.formats.copc import blocks_of
from treescan.cloud.intake.conversion import Conversion
from treescan.cloud.intake.intake import begin
from treescan.cloud.opened import Chunk
from treescan.cloud.point_cloud import Frame
from treescan.errors import BadInput

BLOCK = 8.0
"""Edge of a block in plan (project choice: a window of 60 m reads 64 of them). [m]"""
RECORD = np.dtype([("xyz", "<f8", 3), ("class", "u1"), ("scan", "<i4")])
"""One point on disk: metres from the tile's origin, and the two columns that finding and measuring trees ask for."""
POINTS, BLOCKS, ABOUT = "points.bin", "blocks.npy", "tile.json"


@dataclass(frozen=True)
class Tile:
    """One tile that can be read by window.

    Attributes
    ----------
    file : str              The cloud.
    folder : str            Where its blocks are kept.
    frame : Frame           Of its points in metres; its origin is added to a block's points.
    blocks : (b, 4) int     Column and row of each block (in `BLOCK` from the origin), first point, points.
    points : int
    columns : tuple of str  Of "class" and "scan", those the file has.
    copc : bool             The file is read by its own blocks; nothing but this is kept.
    """

    file: str
    folder: str
    frame: Frame
    blocks: Ints
    points: int
    columns: tuple[str, ...]
    copc: bool = False


def index_tile(file: Path, folder: Path, unit: str | None = None) -> Tile:
    """Sort the points of a cloud into blocks under `folder`, once; a folder made earlier is taken as it is.

    Parameters
    ----------
    file : Path         Any cloud that `read_cloud` takes.
    folder : Path       Belongs to this content of the file alone; appears whole or not at all.
    unit : str          As for `read_cloud`.

    Raises BadInput where the file is not fit to be read. Memory does not grow with the file.
    """
    if not (folder / ABOUT).is_file():
        with whole_folder(folder, lambda: None) as part:
            _write(file, part, unit)
    return read_tile(file, folder)


def read_tile(file: Path, folder: Path) -> Tile:
    """What `index_tile` made, from the disk."""
    about: dict[str, Any] = json.loads((folder / ABOUT).read_text(encoding="utf-8"))
    own = about["frame"]
    frame = Frame(**{**own, "origin": np.array(own["origin"])})
    blocks = np.load(folder / BLOCKS)
    return Tile(
        str(file), str(folder), frame, blocks, about["points"], tuple(about["columns"]), about["copc"]
    )


def _write(file: Path, part: Path, unit: str | None) -> None:
    begun = begin(file, unit)
    conversion, origin = begun.conversion, begun.origin
    own = _own_blocks(file, conversion, origin) if begun.opened.format == "COPC" else None
    columns = [c for c in ("class", "scan") if c in begun.opened.columns]
    if own is not None:
        blocks, points = own
    else:
        blocks = _counted(_wanted(begun.chunks, conversion, origin))
        _sorted(_wanted(begin(file, unit).chunks, conversion, origin), blocks, part / POINTS)
        points = int(blocks[:, 3].sum())
    if not points:
        raise BadInput("holds no points that can be used", file=str(file), remedy="export the cloud again")
    np.save(part / BLOCKS, blocks)
    frame = {
        name: getattr(conversion.frame, name)
        for name in ("crs", "unit_m", "vertical_unit_m", "up", "file_crs", "in_degrees")
    }
    frame["origin"] = [float(v) for v in origin]
    about = {"frame": frame, "points": points, "columns": columns, "copc": own is not None}
    (part / ABOUT).write_text(json.dumps(about) + "\n", encoding="utf-8")


def _own_blocks(file: Path, conversion: Conversion, origin: Floats) -> tuple[Ints, int] | None:
    """Blocks of a COPC file: the plan cells its tree names, with about the points that fall to each; their
    first point is not known. And the points of all. None where the tree cannot be used: then the file is sorted like any other."""
    if conversion.projected_from:
        return None
    try:
        low, high, count = blocks_of(file)
    except BadInput:
        return None
    unit = conversion.unit[:2]
    a = np.floor((low * unit - origin[:2]) / BLOCK).astype(np.int64)
    b = np.floor((high * unit - origin[:2]) / BLOCK).astype(np.int64)
    held: dict[tuple[int, int], float] = {}
    for (x0, y0), (x1, y1), n in zip(a, b, count, strict=True):
        cells = [(x, y) for x in range(x0, x1 + 1) for y in range(y0, y1 + 1)]
        for cell in cells:
            held[cell] = held.get(cell, 0.0) + n / len(cells)
    rows = [(x, y, 0, max(1, round(n))) for (x, y), n in sorted(held.items())]
    return np.array(rows, np.int64).reshape(-1, 4), int(count.sum())


def _wanted(
    chunks: Iterator[Chunk], conversion: Conversion, origin: Floats
) -> Iterator[tuple[Floats, dict[str, NDArray]]]:
    """Points fit to be used, in metres from the origin, with their columns."""
    for chunk in chunks:
        local = np.empty((len(chunk.xyz), 3))
        wanted = conversion.to_local(chunk, origin, local)
        for mask in chunk.unwanted.values():
            wanted = wanted & ~mask
        yield local[wanted], {c: chunk.columns[c][wanted] for c in ("class", "scan") if c in chunk.columns}


def _counted(parts: Iterator[tuple[Floats, dict[str, NDArray]]]) -> Ints:
    """Blocks in their order, with the place and number of their points."""
    held: dict[tuple[int, int], int] = {}
    for xyz, _ in parts:
        cells, count = np.unique(np.floor(xyz[:, :2] / BLOCK).astype(np.int64), axis=0, return_counts=True)
        for (x, y), n in zip(cells.tolist(), count.tolist(), strict=True):
            held[x, y] = held.get((x, y), 0) + n
    rows, start = [], 0
    for (x, y), n in sorted(held.items()):
        rows.append((x, y, start, n))
        start += n
    return np.array(rows, np.int64).reshape(-1, 4)


def _sorted(parts: Iterator[tuple[Floats, dict[str, NDArray]]], blocks: Ints, path: Path) -> None:
    """Write every point to its place in its block, in the order of the file."""
    row = {(int(x), int(y)): k for k, (x, y) in enumerate(blocks[:, :2])}
    at = blocks[:, 2].copy()
    handle = os.open(path, os.O_WRONLY | os.O_CREAT, 0o666)
    try:
        for xyz, columns in parts:
            if not len(xyz):
                continue
            record = np.zeros(len(xyz), RECORD)
            record["xyz"] = xyz
            for name, values in columns.items():
                record[name] = values
            cells, of = np.unique(np.floor(xyz[:, :2] / BLOCK).astype(np.int64), axis=0, return_inverse=True)
            of = of.ravel()
            record = record[np.argsort(of, kind="stable")]
            ends = np.cumsum(np.bincount(of, minlength=len(cells)))
            for (x, y), begun, end in zip(
                cells.tolist(), [0, *ends[:-1].tolist()], ends.tolist(), strict=True
            ):
                k = row[x, y]
                os.pwrite(handle, record[begun:end].tobytes(), int(at[k]) * RECORD.itemsize)
                at[k] += end - begun
    finally:
        os.close(handle)
