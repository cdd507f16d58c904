"""Which trees and clouds were named, and where does what is made of them go?"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from treescan.assess import Settings
from treescan.cloud.formats.sniff import EXTENSIONS
from treescan.errors import BadInput
from treescan.faces.session.inputs import Inputs
from treescan.loads.rope.rope_systems import SYSTEMS
from treescan.settings import lines

HEAD = 200_000
"""Of a tree.json that is read to place it on the map. [bytes]"""
DEEP = 3
"""Folders below a named one that are looked through."""
MOST_TREES = 500
CLOUDS = frozenset(e for of_format in EXTENSIONS.values() for e in of_format if e)


@dataclass(frozen=True)
class Named:
    """A tree or a cloud: its key in links, its file, how it is called, and where its stem stands ((x, y) in the map
    frame [m], None = not traced)."""

    key: str
    file: Path
    name: str
    traced: bool
    at: tuple[float, float] | None = None

    def plain(self) -> dict[str, Any]:
        """For the list of the page."""
        return {"key": self.key, "name": self.name, "traced": self.traced, "at": self.at}


def key_of(file: Path) -> str:
    """One key for one file, whatever it is called."""
    return hashlib.sha256(str(file.resolve()).encode()).hexdigest()[:12]


def named(given: Sequence[str]) -> tuple[Named, ...]:
    """Every tree.json of the named folders, and the named files; BadInput where there is none."""
    out: dict[str, Named] = {}
    for text in given or ["."]:
        path = Path(text)
        if not path.exists():
            raise BadInput("is not there", file=text)
        found = list(_trees_in(path)) if path.is_dir() else [path]
        if path.is_dir() and not found:
            found = sorted(p for p in path.iterdir() if p.suffix.lower() in CLOUDS and p.is_file())
        for file in found:
            if path.is_file() and file.suffix.lower() not in {".json", *CLOUDS}:
                raise BadInput("is neither a tree.json nor a point cloud", file=text)
            out[key_of(file)] = one(file)
    if len(out) > MOST_TREES:
        raise BadInput(f"{len(out)} trees are more than the page lists", remedy=f"name a folder of at most {MOST_TREES}")
    return tuple(sorted(out.values(), key=lambda n: n.name))


def _trees_in(folder: Path) -> Iterable[Path]:
    for depth in range(DEEP + 1):
        yield from sorted(p for p in folder.glob("/".join(["*"] * depth + ["tree.json"])) if p.is_file())


def one(file: Path) -> Named:
    """One file with its place on the map."""
    traced = file.suffix.lower() == ".json"
    name = f"{file.parent.name}/{file.name}" if file.name == "tree.json" and file.parent.name else file.name
    return Named(key_of(file), file, name, traced, _stem(file) if traced else None)


def _stem(file: Path) -> tuple[float, float] | None:
    """Where the stem stands, from the head of a tree.json; None where it says none."""
    with file.open(encoding="utf-8", errors="replace") as opened:
        head = opened.read(HEAD)
    origin = re.search(r'"origin"\s*:\s*(\[[^\]]*\])', head)
    first = re.search(r'"nodes"\s*:\s*\[\s*\{[^{}]*?"xyz"\s*:\s*(\[[^\]]*\])', head)
    try:
        base = json.loads(first[1]) if first else None
        zero = json.loads(origin[1]) if origin else [0.0, 0.0, 0.0]
        return None if base is None else (float(base[0]) + float(zero[0]), float(base[1]) + float(zero[1]))
    except (ValueError, TypeError, IndexError):
        return None


def base_of(file: Path) -> Inputs:
    """What the plan beside a tree.json was asked for (species, rope systems, seed, settings), else the defaults.

    Work, site plan, cuts and findings of that run are files of their own: `session.recorded.with_files`.
    """
    record = file.parent / "run.json"
    try:
        run = json.loads(record.read_text(encoding="utf-8"))
        asked, stated = run["asked"], run["settings"]
        defaults = {s.name: s.value for s in lines(Settings())}
        settings = tuple(
            sorted((n, v) for n, v in stated.items() if n in defaults and _plain(defaults[n]) != v and n not in _MADE)
        )
        base = Inputs(asked["species"], tuple(asked["systems"]), asked["seed"], settings)
        base.all_settings()
        known = set(base.systems) <= set(SYSTEMS)
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return Inputs()
    return base if known else Inputs()


_MADE = {"planning.spurs", "loads.region"}
"""Settings that `plan` makes of its other inputs."""


def _plain(value: Any) -> Any:
    return list(value) if isinstance(value, tuple) else value
