"""All points round a place, whichever tiles they lie in, cleaned as those of one file."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from treescan.arrays import Floats
from treescan.cloud.formats.copc import copc_within
from treescan.cloud.intake.conversion import Conversion
from treescan.cloud.intake.intake import ORIGIN_STEP
from treescan.cloud.intake.streaming import Stream, keep_all
from treescan.cloud.opened import Chunk
from treescan.cloud.point_cloud import Frame, PointCloud
from treescan.cloud.settings import CloudSettings
from treescan.cloud.tiles.tile_index import POINTS, RECORD
from treescan.cloud.tiles.tile_map import PlacedTile, TileMap
from treescan.errors import BadInput

METRES = Conversion(Frame(np.zeros(3)))


def points_within(
    tiles: TileMap, low: Floats, high: Floats, source: str, settings: CloudSettings = CloudSettings()
) -> PointCloud:
    """The points of a box of the map.

    Parameters
    ----------
    tiles : TileMap
    low, high : (2,) float  Corners on the map. [m]
    source : str            What the cloud is called.

    Returns
    -------
    PointCloud              As from `read_cloud`: repeats (of tiles that overlap) and strays are left out. Its
                            notes tell of tiles that were fitted in. BadInput where nothing lies there.
    """
    low, high = np.asarray(low, float), np.asarray(high, float)
    origin = np.append(np.floor(low / ORIGIN_STEP) * ORIGIN_STEP, 0.0)
    used = tiles.touching(low, high)
    chunks = _chunks(used, tiles, low, high, origin)
    kept = keep_all(Stream(chunks, 0, METRES, np.zeros(3), lambda share: None), settings)
    if not len(kept.xyz):
        raise BadInput("holds no point in this part", file=source, remedy="name the tiles that hold it")
    frame = Frame(origin, tiles.system, tiles.own_unit if tiles.own else 1.0, 1.0, "file_z", tiles.own)
    notes = tuple(dict.fromkeys(note for p in used for note in p.notes))
    return PointCloud(kept.xyz, frame, kept.columns, source, notes)


def _chunks(
    used: list[PlacedTile], tiles: TileMap, low: Floats, high: Floats, origin: Floats
) -> Iterator[Chunk]:
    """Points of every tile within the box, in metres from the origin; only columns that all of them have."""
    shared = set.intersection(*({*p.tile.columns} for p in used)) if used else set()
    for placed in used:
        for xyz, columns in _read(placed, *placed.box_from_map(low, high, tiles.system)):
            at = placed.to_map(xyz, tiles.system)
            inside = np.all((at[:, :2] >= low) & (at[:, :2] < high), axis=1)
            yield Chunk(at[inside] - origin, np.zeros(3), {c: columns[c][inside] for c in sorted(shared)})


def _read(placed: PlacedTile, low: Floats, high: Floats) -> Iterator[tuple[Floats, dict[str, NDArray]]]:
    """Stored points about a box of stored metres, in a few pieces."""
    tile = placed.tile
    if tile.copc:
        unit = np.array([tile.frame.unit_m, tile.frame.unit_m, tile.frame.vertical_unit_m])
        corners = [(c + tile.frame.origin[:2]) / unit[:2] for c in (low, high)]
        chunk = copc_within(Path(tile.file), *corners)
        wanted = np.isfinite(chunk.xyz).all(axis=1)
        for mask in chunk.unwanted.values():
            wanted &= ~mask
        local = chunk.xyz * unit + (chunk.shift * unit - tile.frame.origin)
        yield local[wanted], {c: chunk.columns[c][wanted] for c in tile.columns}
        return
    blocks = tile.blocks[placed.rows(low, high)]
    with (Path(tile.folder) / POINTS).open("rb") as f:
        for start, count in _runs(blocks[:, 2:]):
            f.seek(start * RECORD.itemsize)
            held = np.fromfile(f, RECORD, count)
            yield held["xyz"].copy(), {c: held[c].copy() for c in tile.columns}


def _runs(blocks: NDArray[np.int64]) -> list[tuple[int, int]]:
    """Stretches (first point, points) that lie together in the file, (b, 2) as blocks have them."""
    out: list[tuple[int, int]] = []
    for start, count in sorted(map(tuple, blocks.tolist())):
        if out and out[-1][0] + out[-1][1] == start:
            out[-1] = (out[-1][0], out[-1][1] + count)
        else:
            out.append((start, count))
    return out
