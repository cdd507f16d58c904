"""May this place be written? No input and no file of somebody else is ever held, replaced or removed."""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Callable, Collection, Iterable
from pathlib import Path
from typing import Any

from treescan.cautions import CAUTIONS
from treescan.errors import BadInput
from treescan.ordinary_file import check_ordinary

LEFT_BY_SYSTEMS = {".DS_Store", "Thumbs.db", "desktop.ini"}
"""Files that file managers leave in every folder; nobody misses them."""
MOST_NAMED = 3
"""Files of somebody else named in one sentence."""
RUN = "run.json"
OUR_MARK = CAUTIONS["planning_aid"]
"""Stands in every file treescan writes."""


def named_file(word: str) -> Path:
    """The file to be written that a word names; BadInput where it ends as a folder's name does: the path does not
    keep that."""
    if os.path.basename(word) in ("", ".", ".."):
        raise BadInput("is a folder, not a file", file=word, remedy="give the name of a file to -o")
    return Path(word)


def check_file(output: Path, inputs: Iterable[Path], is_ours: Callable[[Path], bool]) -> None:
    """BadInput where a file to be written is a folder, an input, or a file treescan did not write.

    Parameters
    ----------
    output : Path
    inputs : paths          Everything the run reads.
    is_ours : callable      True for a file treescan wrote.
    """
    if output.is_dir():
        raise BadInput("is a folder, not a file", file=str(output), remedy="give the name of a file to -o")
    if output.parent.exists() and not output.parent.is_dir():
        raise BadInput("is a file, not a folder", file=str(output.parent), remedy="give another place to -o")
    for given in inputs:
        if _same(output, given):
            raise BadInput(
                "is an input of this run and would be replaced",
                file=str(output),
                remedy="give another name to -o",
            )
    if os.path.lexists(output) and not is_ours(output):
        raise BadInput(
            "was not written by treescan and would be replaced",
            file=str(output),
            remedy="give another name to -o, or take that file away",
        )


def check_folder(folder: Path, inputs: Iterable[Path], foreign: Callable[[Path], list[str]]) -> None:
    """BadInput where a folder to be written is a file, holds an input, or holds what treescan did not write.

    Parameters
    ----------
    folder : Path
    inputs : paths          Everything the run reads, files and folders.
    foreign : callable      Names in the folder that treescan did not write.
    """
    if os.path.lexists(folder) and not folder.is_dir():
        raise BadInput("is a file, not a folder", file=str(folder), remedy="give a folder to -o")
    real, here = Path(os.path.realpath(folder)), Path(os.path.realpath("."))
    if real == here or real in here.parents or os.path.ismount(real):
        raise BadInput(
            "is the folder you are in, holds it, or is a whole disk",
            file=str(folder),
            remedy="give a new folder to -o: a folder is written as a whole",
        )
    for given in inputs:
        own = Path(os.path.realpath(given))
        if own.is_dir() and own in real.parents:
            raise BadInput(
                f"lies in {own.name}, an input of this run",
                file=str(folder),
                remedy="give a new folder to -o",
            )
        if own == real or real in own.parents or _held_by_link(folder, given):
            raise BadInput(
                f"holds {own.name}, an input of this run",
                file=str(folder),
                remedy="give a new folder to -o: a folder is written as a whole",
            )
    if folder.is_dir() and (others := foreign(folder)):
        named = ", ".join(others[:MOST_NAMED]) + (", ..." if len(others) > MOST_NAMED else "")
        raise BadInput(
            f"holds files that treescan did not write or that were changed since ({named})",
            file=str(folder),
            remedy="give a new folder to -o, or take these files away",
        )


def check_same_tree(folder: Path, cloud: Path, replace: bool) -> None:
    """BadInput where the folder holds the plan of another tree and nobody said that it may go."""
    earlier = _run_record(folder)
    if replace or earlier is None:
        return
    first: object = next(iter(earlier.get("inputs") or ()), {})
    named = str(first.get("file", "")) if isinstance(first, dict) else ""
    if named and os.path.realpath(named) == os.path.realpath(cloud):
        return
    if isinstance(first, dict) and cloud.is_file() and first.get("sha256") == digest(cloud):
        return
    raise BadInput(
        f"holds the plan of {Path(named).name or 'another tree'}",
        file=str(folder),
        remedy="give another folder to -o, or --replace where that plan may go",
    )


def foreign_to_plan(folder: Path, known: Collection[str]) -> list[str]:
    """Names in a folder that no run of `plan` wrote, or that were changed since."""
    record = _run_record(folder)
    written = record.get("files") if record else None
    out = []
    for name, path in _within(folder):
        if path.name in LEFT_BY_SYSTEMS:
            continue
        if path.is_symlink() or record is None:
            out.append(name)
        elif isinstance(written, dict) and name != RUN:
            if written.get(name) != digest(path):
                out.append(name)
        elif name not in known:
            out.append(name)
    return out


def foreign_to_join(folder: Path, known: Collection[str]) -> list[str]:
    """Names in a folder that no run of `join` wrote."""
    return [
        name
        for name, path in _within(folder)
        if path.name not in LEFT_BY_SYSTEMS
        and (name not in known or path.is_symlink() or not is_marked(path, OUR_MARK))
    ]


def is_marked(path: Path, *marks: str) -> bool:
    """True for a file that holds all these texts."""
    try:
        held = path.read_bytes() if path.is_file() else b""
    except OSError:
        return False
    return all(m.encode() in held or json.dumps(m)[1:-1].encode() in held for m in marks)


def digest(path: Path) -> str:
    """SHA-256 of a file, in hexadecimal digits; BadInput where it cannot be read."""
    check_ordinary(path)
    try:
        with path.open("rb") as f:
            return hashlib.file_digest(f, "sha256").hexdigest()
    except OSError as err:
        raise BadInput(f"cannot be read ({err.strerror})", file=str(path)) from err


def digests(folder: Path) -> dict[str, str]:
    """SHA-256 of every file in a folder, by name."""
    return {name: digest(path) for name, path in _within(folder)}


def _within(folder: Path) -> list[tuple[str, Path]]:
    """Every file below a folder, its name with forward slashes."""
    found = [p for p in sorted(folder.rglob("*")) if p.is_symlink() or not p.is_dir()]
    return [(p.relative_to(folder).as_posix(), p) for p in found]


def _run_record(folder: Path) -> dict[str, Any] | None:
    """What run.json says, where the folder holds one of ours."""
    if not (folder / RUN).is_file():
        return None
    try:
        found = json.loads((folder / RUN).read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError):
        return None
    return found if isinstance(found, dict) and found.get("format") == "treescan-run" else None


def _same(a: Path, b: Path) -> bool:
    """True for two names of one file."""
    try:
        return os.path.realpath(a) == os.path.realpath(b) or a.samefile(b)
    except OSError:
        return False


def _held_by_link(folder: Path, given: Path) -> bool:
    """True where an input is a hard link to, or stands by name in, the folder."""
    if Path(os.path.abspath(given)).is_relative_to(os.path.abspath(folder)):
        return True
    return folder.is_dir() and any(_same(path, given) for _, path in _within(folder))
