"""What is beside the tree on disk: terrain.json, foliage.npz and surroundings.json next to tree.json."""

from __future__ import annotations

import json
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from treescan.arrays import Floats32
from treescan.atomic import whole_file, write_text
from treescan.cautions import all_cautions
from treescan.errors import BadInput
from treescan.trees.beside import KINDS, Beside, Foliage, Surroundings, Terrain
from treescan.wood.files.plain_values import number, or_null, read_json

NAMES = {"terrain": "terrain.json", "foliage": "foliage.npz", "surroundings": "surroundings.json"}
"""File names beside tree.json; beside another name they start with it."""

HEAD = 4096
"""Bytes at the start of a file that tell what it is."""

EPOCH = (1980, 1, 1, 0, 0, 0)
"""Time stamp of every array, so that the same tree gives the same bytes."""


def names_beside(path: Path) -> dict[str, str]:
    """Names of the three files that go with the tree file `path`, by what they hold."""
    return NAMES if path.stem == "tree" else {key: f"{path.stem}_{name}" for key, name in NAMES.items()}


def is_ours(path: Path) -> bool:
    """True for a file that `write_beside` wrote."""
    try:
        if path.suffix == ".npz":
            with np.load(path, allow_pickle=False) as held:
                return "cautions" in held
        head = path.read_bytes()[:HEAD]
    except (OSError, ValueError, EOFError, zipfile.BadZipFile):
        return False
    return b'"cautions"' in head and (b'"treescan-terrain"' in head or b'"treescan-surroundings"' in head)


def write_beside(beside: Beside, preview: Floats32 | None, path: Path) -> dict[str, str]:
    """Write the three files that go with the tree file `path`; returns their names by what they hold."""
    names = names_beside(path)
    folder = path.parent
    write_text(folder / names["terrain"], json.dumps(_terrain_out(beside.terrain)))
    foliage = beside.foliage
    arrays: dict[str, NDArray] = {
        "density": foliage.density,
        "corner": foliage.corner,
        "cell": np.array(foliage.cell),
    }
    arrays["cautions"] = np.array(all_cautions())
    if preview is not None:
        arrays["preview"] = preview
    with whole_file(folder / names["foliage"]) as part:
        _save_arrays(part, arrays)
    write_text(folder / names["surroundings"], json.dumps(_surroundings_out(beside.surroundings)))
    return dict(names)


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


def beside_in(data: dict[str, Any], path: Path) -> tuple[Beside | None, Floats32 | None]:
    """What stands beside the tree of this content, and its preview; None where the file names no such files."""
    names = data.get("beside")
    if not names:
        return None, None
    folder = path.parent
    t = read_json(folder / names["terrain"], needed_by=path)
    s = read_json(folder / names["surroundings"], needed_by=path)
    foliage_path = folder / names["foliage"]
    try:
        with np.load(foliage_path, allow_pickle=False) as z:
            foliage = Foliage(z["density"], z["corner"], float(z["cell"]))
            preview = z.get("preview", None)
        terrain = Terrain(
            np.array([[np.nan if v is None else v for v in r] for r in t["height"]], float),
            np.array(t["corner"], float),
            float(t["cell"]),
            np.array(t["measured"], bool),
        )
        kind_of = np.array(
            [KINDS.index(k) if k in KINDS else KINDS.index("unknown") for k in s["kinds"]], np.uint8
        )
        surroundings = Surroundings(
            np.array(s["xyz"], float).reshape(-1, 3),
            kind_of[np.array(s["kind"], int)] if s["kind"] else np.zeros(0, np.uint8),
            float(s["cell"]),
            np.array(s["stems"], float).reshape(-1, 3),
            np.array([number(v) for v in s["stem_dbh"]], float),
        )
    except (OSError, KeyError, ValueError, IndexError, TypeError, zipfile.BadZipFile) as err:
        raise BadInput(
            f"a file beside it cannot be read ({err})",
            file=str(path),
            remedy="keep tree.json together with the files it was written with",
        ) from err
    return Beside(terrain, foliage, surroundings), preview


def _save_arrays(path: Path, arrays: dict[str, NDArray]) -> None:
    """An npz with fixed time stamps, so that the same tree gives the same bytes."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as z:
        for name, array in arrays.items():
            info = zipfile.ZipInfo(f"{name}.npy", date_time=EPOCH)
            info.compress_type = zipfile.ZIP_DEFLATED
            with z.open(info, "w") as out:
                np.lib.format.write_array(out, np.asanyarray(array), allow_pickle=False)
