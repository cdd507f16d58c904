"""Whole files or none: written under a temporary name in the same folder, renamed when complete."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from treescan.errors import BadInput


@contextmanager
def whole_file(path: str | os.PathLike[str]) -> Iterator[Path]:
    """Give a temporary path to write to; rename it to `path` on success, remove it on any failure or interruption.

    Raises BadInput when the folder cannot be written.
    """
    target = Path(path)
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(prefix=".part-", suffix=target.suffix, dir=target.parent)
    except OSError as err:
        raise BadInput(f"cannot be written ({err.strerror})", file=str(target), remedy="choose a folder you may write to with -o") from err
    os.close(handle)
    part = Path(name)
    try:
        yield part
        part.chmod(0o666 & ~_umask())
        part.replace(target)
    finally:
        part.unlink(missing_ok=True)


def write_text(path: str | os.PathLike[str], text: str) -> Path:
    """Write a UTF-8 text file as a whole."""
    with whole_file(path) as part:
        part.write_text(text, encoding="utf-8", newline="\n")
    return Path(path)


def write_bytes(path: str | os.PathLike[str], data: bytes) -> Path:
    """Write a binary file as a whole."""
    with whole_file(path) as part:
        part.write_bytes(data)
    return Path(path)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
