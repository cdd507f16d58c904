"""What is beside the tree on disk: terrain.json, foliage.npz, surroundings.json and scan_points.npz next to tree.json."""

from __future__ import annotations

import json
import zipfile
import zlib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from treescan.arrays import Floats
from treescan.atomic import whole_file, write_text
from treescan.cautions import all_cautions
from treescan.errors import BadInput, in_words
from treescan.ordinary_file import check_ordinary
from treescan.trees.beside import KINDS, Beside, Foliage, Surroundings, Terrain
from treescan.trees.scan_points import FINEST, MOST, ScanPoints, scan_points
from treescan.wood.files.plain_values import number, or_null, read_json

NAMES = {"terrain": "terrain.json", "foliage": "foliage.npz", "surroundings": "surroundings.json", "points": "scan_points.npz"}
"""File names beside tree.json; beside another name they start with it. A tree without points of a scan has no such file."""
STANDBY = "new_"
"""Start of their names while those of an earlier tree still stand there."""

FARTHEST = 1e8
"""Of any coordinate from zero. [m]"""
SMALLEST_CELL, LARGEST_CELL = 0.005, 100.0
WIDEST_STEP = 1.0
"""Of the points of a scan. [m]"""
WIDEST_DBH = 20.0
"""[m]"""
MOST_CELLS = 20_000_000
MOST_BYTES = 1 << 30
"""Of a grid, and of all arrays unpacked."""
UNREADABLE = (
    OSError,
    KeyError,
    ValueError,
    IndexError,
    TypeError,
    OverflowError,
    EOFError,
    NotImplementedError,
    RuntimeError,
    zipfile.BadZipFile,
    zlib.error,
)
"""What reading a damaged file gives."""
HEAD = 4096
"""Bytes at the start of a file that tell what it is."""

EPOCH = (1980, 1, 1, 0, 0, 0)
"""Time stamp of every array, so that the same tree gives the same bytes."""


def names_beside(path: Path) -> dict[str, str]:
    """Names of the files that go with the tree file `path`, by what they hold."""
    return NAMES if path.stem == "tree" else {key: f"{path.stem}_{name}" for key, name in NAMES.items()}


def standby_names(path: Path) -> dict[str, str]:
    """Names the files have while those of an earlier tree still stand there."""
    return {key: f"{STANDBY}{name}" for key, name in names_beside(path).items()}


def is_ours(path: Path) -> bool:
    """True for a file that `write_beside` wrote."""
    if not path.is_file():
        return False
    try:
        if path.suffix == ".npz":
            with np.load(path, allow_pickle=False) as held:
                return "cautions" in held
        head = path.read_bytes()[:HEAD]
    except (OSError, ValueError, EOFError, zipfile.BadZipFile):
        return False
    return b'"cautions"' in head and (b'"treescan-terrain"' in head or b'"treescan-surroundings"' in head)


def write_beside(beside: Beside, points: ScanPoints | None, folder: Path, names: Mapping[str, str]) -> dict[str, str]:
    """Write the files that go with a tree file of the same folder; their names, of those given, by what they hold."""
    write_text(folder / names["terrain"], json.dumps(_terrain_out(beside.terrain)))
    foliage = beside.foliage
    arrays: dict[str, NDArray] = {
        "density": foliage.density,
        "corner": foliage.corner,
        "cell": np.array(foliage.cell),
    }
    arrays["cautions"] = np.array(all_cautions())
    with whole_file(folder / names["foliage"]) as part:
        _save_arrays(part, arrays)
    write_text(folder / names["surroundings"], json.dumps(_surroundings_out(beside.surroundings)))
    if points is None:
        return {key: name for key, name in names.items() if key != "points"}
    with whole_file(folder / names["points"]) as part:
        _save_arrays(part, _points_out(points))
    return dict(names)


def _points_out(points: ScanPoints) -> dict[str, NDArray]:
    """Whole turns of 256 steps and what is left over apart, by coordinate: so they pack to two thirds."""
    return {
        "coarse": (points.steps >> 8).astype(np.uint8).T,
        "fine": (points.steps & 255).astype(np.uint8).T,
        "low": points.low,
        "step": np.array(points.step),
        "cautions": np.array(all_cautions()),
    }


def _terrain_out(t: Terrain) -> dict[str, Any]:
    rows = np.where(np.isfinite(t.height), t.height, np.inf).tolist()
    return {
        "format": "treescan-terrain",
        "version": 1,
        "cautions": list(all_cautions()),
        "corner": t.corner.tolist(),
        "cell": t.cell,
        "height": [[None if v == np.inf else v for v in r] for r in rows],
        "measured": t.measured.astype(int).tolist(),
    }


def _surroundings_out(s: Surroundings) -> dict[str, Any]:
    return {
        "format": "treescan-surroundings",
        "version": 1,
        "cautions": list(all_cautions()),
        "kinds": list(KINDS),
        "cell": s.cell,
        "xyz": s.xyz.tolist(),
        "kind": s.kind.tolist(),
        "stems": s.stems.tolist(),
        "stem_dbh": [or_null(v) for v in s.stem_dbh.tolist()],
    }


def beside_in(data: dict[str, Any], path: Path) -> tuple[Beside | None, ScanPoints | None]:
    """What stands beside the tree of this content, and the points of its scan; None where the file names no such files."""
    names = data.get("beside")
    if not names:
        return None, None
    folder = path.parent
    t = _group(folder / names["terrain"], path)
    s = _group(folder / names["surroundings"], path)
    try:
        at = folder / names["terrain"]
        terrain = _terrain_in(t)
        at = folder / names["surroundings"]
        surroundings = _surroundings_in(s)
        at = folder / names["foliage"]
        foliage, points = _foliage_in(at)
        if "points" in names:
            at = folder / names["points"]
            points = _points_in(at)
    except UNREADABLE as err:
        what = f"lacks {err}" if isinstance(err, KeyError) else f"cannot be read ({in_words(err)})"
        raise BadInput(what, file=str(at), remedy=f"{path.name} needs it as it was written with it") from err
    return Beside(terrain, foliage, surroundings), points


def _group(file: Path, needed_by: Path) -> dict[str, Any]:
    """The content of a JSON file that must hold one group."""
    found = read_json(file, needed_by=needed_by)
    if not isinstance(found, dict):
        raise BadInput(
            "holds no group of values", file=str(file), remedy=f"{needed_by.name} needs it as it was written"
        )
    return found


def _array(values: Any, shape: tuple[int | None, ...], what: str, far: float = FARTHEST) -> Floats:
    """Finite numbers within `far` as an array of this shape (None: any length); ValueError in words otherwise."""
    found = np.asarray(values, float)
    if found.size == 0 and None in shape:
        found = found.reshape([0 if n is None else n for n in shape])
    if found.ndim != len(shape) or any(n not in (None, m) for n, m in zip(shape, found.shape, strict=True)):
        raise ValueError(f"{what} has the wrong shape")
    if not np.all(np.abs(found) <= far):
        raise ValueError(f"{what} holds a number that is not finite or too large")
    return found


def _cell(value: Any) -> float:
    """Size of a grid's cell. [m]"""
    if isinstance(value, bool) or not SMALLEST_CELL <= float(value) <= LARGEST_CELL:
        raise ValueError(f"its cell is not {SMALLEST_CELL:g} to {LARGEST_CELL:g} m")
    return float(value)


def _terrain_in(t: dict[str, Any]) -> Terrain:
    height = np.array([[np.nan if v is None else v for v in r] for r in t["height"]], float)
    if height.ndim != 2 or not 0 < height.size <= MOST_CELLS or np.any(np.abs(height) > FARTHEST):
        raise ValueError("its heights are no grid of finite numbers")
    if not np.isfinite(height).any():
        raise ValueError("it has no height at all")
    measured = np.array(t["measured"], float) != 0
    if measured.shape != height.shape:
        raise ValueError("its heights and what was measured differ in shape")
    return Terrain(height, _array(t["corner"], (2,), "its corner"), _cell(t["cell"]), measured)


def _surroundings_in(s: dict[str, Any]) -> Surroundings:
    kinds = [KINDS.index(k) if k in KINDS else KINDS.index("unknown") for k in s["kinds"]]
    xyz, kind = _array(s["xyz"], (None, 3), "xyz"), np.array(s["kind"], int).reshape(-1)
    stems = _array(s["stems"], (None, 3), "stems")
    dbh = np.array([number(v) for v in s["stem_dbh"]], float)
    if len(kind) != len(xyz) or len(dbh) != len(stems):
        raise ValueError("its lists differ in length")
    if len(kind) and not (kind.min() >= 0 and kind.max() < len(kinds)):
        raise ValueError("it names a kind that is not there")
    if np.any(dbh < 0) or np.any(dbh > WIDEST_DBH):
        raise ValueError(f"a stem is not 0 to {WIDEST_DBH:g} m thick")
    picked = np.array(kinds, np.uint8)[kind] if len(kind) else np.zeros(0, np.uint8)
    return Surroundings(xyz, picked, _cell(s["cell"]), stems, dbh)


def _arrays_in(file: Path) -> dict[str, NDArray]:
    """Every array of a file, by name."""
    check_ordinary(file)
    with zipfile.ZipFile(file) as held:
        if sum(i.file_size for i in held.infolist()) > MOST_BYTES:
            raise ValueError(f"it unpacks to more than {MOST_BYTES >> 20} MB")
    with np.load(file, allow_pickle=False) as z:
        return dict(z)


def _points_in(file: Path) -> ScanPoints:
    z = _arrays_in(file)
    coarse, fine, step = z["coarse"], z["fine"], float(z["step"])
    if coarse.dtype != np.uint8 or fine.dtype != np.uint8 or coarse.ndim != 2 or coarse.shape != fine.shape or len(coarse) != 3:
        raise ValueError("its points are no two rows of bytes for each coordinate")
    if not 0 < coarse.shape[1] <= MOST:
        raise ValueError(f"it holds not 1 to {MOST} points")
    if not FINEST <= step <= WIDEST_STEP:
        raise ValueError(f"its step is not {FINEST:g} to {WIDEST_STEP:g} m")
    steps = np.ascontiguousarray((coarse.astype(np.uint16) << 8 | fine).T)
    return ScanPoints(_array(z["low"], (3,), "its lowest place"), step, steps)


def _foliage_in(file: Path) -> tuple[Foliage, ScanPoints | None]:
    """The foliage; and the points that earlier versions kept with it."""
    z = _arrays_in(file)
    density, corner, cell = z["density"], z["corner"], z["cell"]
    preview = z.get("preview", None)
    if density.ndim != 3 or density.dtype.kind != "f" or not np.all((density >= 0) & (density <= FARTHEST)):
        raise ValueError("its density is no grid of finite numbers from 0")
    points = None if preview is None else scan_points((_array(preview, (None, 3), "its preview"),))
    return Foliage(density, _array(corner, (3,), "its corner"), _cell(cell)), points


def _save_arrays(path: Path, arrays: dict[str, NDArray]) -> None:
    """An npz with fixed time stamps, so that the same tree gives the same bytes."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as z:
        for name, array in arrays.items():
            info = zipfile.ZipInfo(f"{name}.npy", date_time=EPOCH)
            info.compress_type = zipfile.ZIP_DEFLATED
            with z.open(info, "w") as out:
                np.lib.format.write_array(out, np.asanyarray(array), allow_pickle=False)
