"""How does a history stand in session.json? Whole after each change, whoever dies."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import asdict, fields
from pathlib import Path
from typing import Any

from treescan.atomic import write_text
from treescan.cautions import all_cautions
from treescan.errors import BadInput
from treescan.faces.session.changes import Change
from treescan.faces.session.history import History, Line
from treescan.faces.session.inputs import Inputs
from treescan.ordinary_file import check_ordinary

FORMAT, VERSION = "treescan-session", 1
LARGEST = 64_000_000
"""No session file is larger. [bytes]"""


def digest_of(tree_file: Path) -> str:
    """What tells one tree.json from another."""
    return hashlib.sha256(tree_file.read_bytes()).hexdigest()


def write_session(path: Path, history: History, tree: str) -> Path:
    """Write session.json as a whole; `tree` : `digest_of` its tree.json."""
    data = {
        "format": FORMAT,
        "version": VERSION,
        "cautions": list(all_cautions()),
        "tree_sha256": tree,
        "base": asdict(history.base),
        "at": history.at,
        "last": history.last,
        "history": [_line(line) for line in history.lines],
        "named": {name: [_line(line) for line in lines] for name, lines in history.named.items()},
    }
    return write_text(path, json.dumps(data, indent=1, allow_nan=False, ensure_ascii=False))


def read_session(path: Path, tree: str | None = None) -> History:
    """The history of a session.json; BadInput where it is none, or one of another tree than `tree`."""
    check_ordinary(path)
    try:
        if path.stat().st_size > LARGEST:
            raise BadInput("is too large for a session", file=str(path))
        data = json.loads(path.read_text(encoding="utf-8"))
    except OSError as err:
        raise BadInput(f"cannot be read ({err.strerror})", file=str(path)) from err
    except (UnicodeDecodeError, json.JSONDecodeError, RecursionError) as err:
        raise BadInput("is not valid JSON", file=str(path)) from err
    if not isinstance(data, Mapping) or data.get("format") != FORMAT:
        raise BadInput("is no session of treescan", file=str(path), remedy="take a session.json of the page")
    if data.get("version") != VERSION:
        raise BadInput("was written by another version of treescan", file=str(path))
    if tree is not None and data.get("tree_sha256") != tree:
        raise BadInput(
            "is the session of another tree.json", file=str(path), remedy="give the tree.json it was made with"
        )
    try:
        history = History(
            _base(data["base"]),
            tuple(_read(line) for line in data["history"]),
            data["at"],
            {str(name): tuple(_read(line) for line in lines) for name, lines in data["named"].items()},
            data["last"],
        )
        history.moved(history.at)
        _ = history.inputs, [history.of_name(name) for name in history.named]
    except BadInput as err:
        raise BadInput(err.what, file=str(path), remedy=err.remedy) from err
    except (KeyError, TypeError, ValueError, AttributeError) as err:
        raise BadInput(f"lacks what a session needs ({err})", file=str(path)) from err
    return history


def _line(line: Line) -> dict[str, Any]:
    return {"line": line[0], **line[1].plain()}


def _read(data: Mapping[str, Any]) -> Line:
    return int(data["line"]), Change(data["kind"], data["values"])


def _base(data: Mapping[str, Any]) -> Inputs:
    """The inputs before the first change, lists as tuples again."""
    known = {f.name for f in fields(Inputs)}
    if set(data) != known:
        raise BadInput("states another base than a session has")
    lists = {name: tuple(data[name]) for name in ("systems", "cuts", "drawn", "findings")}
    settings = tuple((str(name), value) for name, value in data["settings"])
    base = Inputs(**{**data, **lists, "settings": settings})
    base.all_settings()
    return base
