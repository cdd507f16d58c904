"""What was asked of a batch: clouds and trees that are named, the inventory, how to run; and whether its folder may
be written."""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import treescan
from treescan.atomic import write_text
from treescan.cautions import all_cautions
from treescan.errors import BadInput
from treescan.faces.guard.output_place import LEFT_BY_SYSTEMS, check_folder, digest
from treescan.wood.files.beside_files import names_beside

MARK = "batch.json"
TREE = ".json"
ENDINGS = (".las", ".laz", ".ply", ".pcd", ".e57", ".xyz", ".pts", ".asc")
"""Files of a folder that are taken for clouds; a cloud with another ending is named itself."""


@dataclass(frozen=True)
class BatchRequest:
    """What `treescan batch` was asked for, as the options say it; lengths in metres, times in minutes."""

    inputs: tuple[Path, ...]
    output: Path
    inventory: Path | None = None
    fields: Path | None = None
    tolerance: float = 3.0
    species: str | None = None
    unit: str | None = None
    each: bool = False
    triage_only: bool = False
    settings: Path | None = None
    seed: int = 1
    workers: int | None = None
    memory: str = "4GB"
    scheduler: str | None = None
    time_limit: float = 60.0

    def files(self) -> tuple[Path, ...]:
        """Every file and folder that is read."""
        return (*self.inputs, *(p for p in (self.inventory, self.fields, self.settings) if p is not None))


@dataclass(frozen=True)
class Source:
    """One file with its checksum: a cloud, or a tree.json."""

    file: str
    sha256: str

    @property
    def is_tree(self) -> bool:
        """Whether it is a tree.json."""
        return self.file.lower().endswith(TREE)


def sources(inputs: Sequence[Path]) -> tuple[Source, ...]:
    """The clouds and trees that are named or lie in the folders that are, each content once, by name."""
    found: dict[str, Path] = {}
    for given in inputs:
        if not given.exists():
            raise BadInput(
                "there is no such file or folder",
                file=str(given),
                remedy="name clouds, folders or tree.json files",
            )
        inside = sorted(given.rglob("*")) if given.is_dir() else [given]
        held = [
            p for p in inside if p.is_file() and (p == given or p.suffix.lower() in ENDINGS or _is_tree(p))
        ]
        if not held:
            raise BadInput(
                "holds no cloud and no tree.json", file=str(given), remedy="name a folder with scans"
            )
        found |= {os.path.realpath(p): p for p in held}
    by_content: dict[str, Source] = {}
    for name in sorted(found):
        source = Source(name, _sum(Path(name)))
        by_content.setdefault(source.sha256, source)
    return tuple(sorted(by_content.values(), key=lambda s: s.file))


def _sum(path: Path) -> str:
    """Checksum of a cloud; of a tree.json with the files that lie beside it."""
    own = digest(path)
    if path.suffix.lower() != TREE:
        return own
    beside = [path.parent / name for name in names_beside(path).values()]
    held = [own, *(digest(p) for p in beside if p.is_file())]
    return own if len(held) == 1 else hashlib.sha256(" ".join(held).encode()).hexdigest()


def _is_tree(path: Path) -> bool:
    if path.suffix.lower() != TREE:
        return False
    with path.open("rb") as f:
        return b'"treescan-tree"' in f.read(400)


def claim(request: BatchRequest, held: Sequence[Source]) -> dict[str, Any]:
    """Make the folder this batch's own, or find that it is already; BadInput where it is anything else.

    Returns what batch.json says: every input with its checksum, and what the results depend on.
    """
    folder = request.output
    about = {
        "format": "treescan-batch",
        "version": 1,
        "cautions": list(all_cautions()),
        "treescan": treescan.__version__,
        "inputs": [
            {"file": s.file, "sha256": s.sha256, "role": "tree" if s.is_tree else "cloud"} for s in held
        ]
        + [
            {"file": str(p), "sha256": digest(p), "role": role}
            for role, p in (
                ("inventory", request.inventory),
                ("fields", request.fields),
                ("settings", request.settings),
            )
            if p is not None
        ],
        "asked": {
            name: getattr(request, name)
            for name in ("tolerance", "species", "unit", "each", "triage_only", "seed")
        },
    }
    check_folder(folder, request.files(), _foreign)
    mark = folder / MARK
    if not mark.is_file():
        write_text(mark, json.dumps(about, indent=1) + "\n")
    elif json.loads(mark.read_text(encoding="utf-8")) != about:
        raise BadInput(
            "holds another batch: other inputs, options or settings",
            file=str(folder),
            remedy="give a new folder to -o, or the same inputs and options to go on with it",
        )
    return about


def _foreign(folder: Path) -> list[str]:
    """Names in a folder that is no batch's."""
    try:
        mark = folder / MARK
        if mark.is_file() and json.loads(mark.read_text(encoding="utf-8")).get("format") == "treescan-batch":
            return []
    except (OSError, ValueError, AttributeError):
        pass
    return sorted(
        p.name
        for p in folder.iterdir()
        if p.name not in LEFT_BY_SYSTEMS and not p.name.startswith((".lock-", ".part-"))
    )
