"""Reads one E57 file in a process of its own and hands the points on through a pipe.

The E57 library is native code that may take a damaged file badly; here it can crash, hang or ask for too much
memory without harm. Run as a script by `e57.py`; it imports nothing of treescan.

Messages on standard output: length of a JSON text (4 bytes), the text, then the arrays it lists. In order: a
head, chunks, and an end or an error.
"""

from __future__ import annotations

import json
import os
import struct
import sys
from collections.abc import Iterator
from typing import Any, BinaryIO

import numpy as np
import pye57
from pye57 import libe57

try:
    import resource
except ImportError:  # not on Windows
    resource = None  # type: ignore[assignment]

ROWS = 1_000_000
MEMORY = 2 << 30
"""Address space this process may take. [bytes]"""

FIELDS = {
    "intensity": ("intensity", "f4"),
    "colorRed": ("red", "u2"),
    "colorGreen": ("green", "u2"),
    "colorBlue": ("blue", "u2"),
    "returnIndex": ("return_number", "u2"),
    "returnCount": ("number_of_returns", "u2"),
    "cartesianInvalidState": ("invalid", "i1"),
    "sphericalInvalidState": ("invalid", "i1"),
}
CARTESIAN = ("cartesianX", "cartesianY", "cartesianZ")
SPHERICAL = ("sphericalRange", "sphericalAzimuth", "sphericalElevation")


def send(out: BinaryIO, head: dict[str, Any], arrays: dict[str, np.ndarray] | None = None) -> None:
    """One message."""
    arrays = {k: np.ascontiguousarray(v) for k, v in (arrays or {}).items()}
    head["arrays"] = [(k, v.dtype.str, list(v.shape)) for k, v in arrays.items()]
    text = json.dumps(head).encode()
    out.write(struct.pack("<I", len(text)) + text)
    for v in arrays.values():
        out.write(v.reshape(-1).view(np.uint8).data)
    out.flush()


def pose(scan: Any) -> tuple[np.ndarray, np.ndarray]:
    """Rotation matrix and translation of a scan; unit and zero where it has none."""
    turn, move = np.eye(3), np.zeros(3)
    if scan.isDefined("pose"):
        if scan["pose"].isDefined("rotation"):
            w, x, y, z = (float(scan["pose"]["rotation"][k].value()) for k in "wxyz")
            n = (w * w + x * x + y * y + z * z) ** 0.5 or 1.0
            w, x, y, z = w / n, x / n, y / n, z / n
            turn = np.array(
                [
                    [1 - 2 * (y * y + z * z), 2 * (x * y - w * z), 2 * (x * z + w * y)],
                    [2 * (x * y + w * z), 1 - 2 * (x * x + z * z), 2 * (y * z - w * x)],
                    [2 * (x * z - w * y), 2 * (y * z + w * x), 1 - 2 * (x * x + y * y)],
                ]
            )
        if scan["pose"].isDefined("translation"):
            move = np.array([float(scan["pose"]["translation"][k].value()) for k in "xyz"])
    return turn, move


def names_of(scan: Any) -> list[str]:
    """Fields of the points of a scan."""
    prototype = libe57.StructureNode(scan["points"].prototype())
    return [prototype.get(i).elementName() for i in range(prototype.childCount())]


def is_single(scan: Any) -> bool:
    """True where the coordinates are 32-bit floats."""
    prototype = libe57.StructureNode(scan["points"].prototype())
    nodes = [prototype.get(i) for i in range(prototype.childCount())]
    return any(
        n.elementName() in CARTESIAN and hasattr(n, "precision") and n.precision() == libe57.E57_SINGLE
        for n in nodes
    )


def chunks(image: Any, scan: Any) -> Iterator[dict[str, np.ndarray]]:
    """The points of one scan, turned but not moved by its pose, whatever number the header claims."""
    names = names_of(scan)
    axes = CARTESIAN if set(CARTESIAN) <= set(names) else SPHERICAL
    if not set(axes) <= set(names):
        raise ValueError("a scan has neither cartesian nor spherical coordinates")
    turn, _ = pose(scan)
    invalid = "cartesianInvalidState" if axes == CARTESIAN else "sphericalInvalidState"
    rows = max(1, min(ROWS, int(scan["points"].childCount())))
    wanted = [
        n for n in names if n in axes or (n in FIELDS and not (n.endswith("InvalidState") and n != invalid))
    ]
    held = {n: np.empty(rows, "f8" if n in axes else FIELDS[n][1]) for n in wanted}
    buffers = libe57.VectorSourceDestBuffer()
    for n, values in held.items():
        buffers.append(libe57.SourceDestBuffer(image, n, values, rows, True, True))
    reader = scan["points"].reader(buffers)
    while (got := reader.read()) > 0:
        a, b, c = (held[n][:got] for n in axes)
        if axes == SPHERICAL:
            a, b, c = a * np.cos(c) * np.cos(b), a * np.cos(c) * np.sin(b), a * np.sin(c)
        xyz = np.column_stack([a, b, c])
        yield {"xyz": xyz if np.array_equal(turn, np.eye(3)) else xyz @ turn.T} | {
            FIELDS[n][0]: held[n][:got] for n in wanted if n in FIELDS
        }
    reader.close()


def main(path: str, out: BinaryIO) -> None:
    """Send the head, every chunk of every scan, and the end."""
    if resource is not None:
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    file = pye57.E57(path)
    root = file.root
    scans = [file.data3d[i] for i in range(file.scan_count)] if root.isDefined("data3D") else []
    poses = [pose(s) for s in scans]
    head: dict[str, Any] = {
        "counts": [int(s["points"].childCount()) for s in scans],
        "names": sorted({n for s in scans for n in names_of(s)}),
        "translations": [list(t) for _, t in poses],
        "posed": [bool(s.isDefined("pose")) for s in scans],
        "single": any(is_single(s) for s in scans),
        "crs": root["coordinateMetadata"].value() if root.isDefined("coordinateMetadata") else "",
        "library": root["e57LibraryVersion"].value() if root.isDefined("e57LibraryVersion") else "",
    }
    send(out, head)
    for i, scan in enumerate(scans):
        if head["counts"][i]:
            for arrays in chunks(file.image_file, scan):
                send(out, {"scan": i}, arrays)
    send(out, {"end": True})


if __name__ == "__main__":
    pipe = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    try:
        main(sys.argv[1], pipe)
    except Exception as e:
        send(pipe, {"error": " ".join(str(e).split())[:200] or type(e).__name__})
