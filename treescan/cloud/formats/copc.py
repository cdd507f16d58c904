"""What lies in a part of a COPC file? Asked of the file's own tree of blocks, so that the rest is not decoded."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from laspy.copc import Bounds, CopcReader, load_octree_for_query

from treescan.arrays import Floats, Ints
from treescan.cloud.formats.las import las_chunk
from treescan.cloud.formats.las_header import read_header
from treescan.cloud.opened import AGAIN, Chunk
from treescan.errors import BadInput


def blocks_of(file: Path) -> tuple[Floats, Floats, Ints]:
    """Plan corners (b, 2), in the file's own coordinates, and points (b,) of every block of the file's tree, cut
    to the plan that the header says is filled."""
    try:
        with file.open("rb") as stream:
            reader = CopcReader(stream, close_fd=False)
            nodes = load_octree_for_query(reader.source, reader.copc_info, reader.root_page)
            low = np.array([n.bounds.mins[:2] for n in nodes])
            high = np.array([n.bounds.maxs[:2] for n in nodes])
            count = np.array([n.point_count for n in nodes], np.int64)
            inside = count > 0
            low, high = np.maximum(low, reader.header.mins[:2]), np.minimum(high, reader.header.maxs[:2])
            return low[inside], high[inside], count[inside]
    except (KeyboardInterrupt, SystemExit, MemoryError):
        raise
    except BaseException as e:  # the Rust decoder reports a panic outside of Exception
        raise _damaged(file, e) from None


def copc_within(file: Path, low: Floats, high: Floats) -> Chunk:
    """The points in a box of plan corners (2,), in the file's own coordinates."""
    try:
        with file.open("rb") as stream:
            reader = CopcReader(stream, close_fd=False)
            points = reader.query(Bounds(mins=np.asarray(low, float), maxs=np.asarray(high, float)))
    except (KeyboardInterrupt, SystemExit, MemoryError):
        raise
    except BaseException as e:  # the Rust decoder reports a panic outside of Exception
        raise _damaged(file, e) from None
    return las_chunk(points.array, read_header(file))


def _damaged(file: Path, e: BaseException) -> BadInput:
    reason = " ".join(str(e).split())[:120] or type(e).__name__
    return BadInput(f"is damaged: its tree of blocks cannot be read ({reason})", file=str(file), remedy=AGAIN)
