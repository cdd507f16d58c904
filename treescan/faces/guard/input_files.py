"""May this be read? A plain file on this machine, nothing that never ends and nothing that has to be fetched."""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path

from treescan.errors import BadInput
from treescan.ordinary_file import check_ordinary

ADDRESS = re.compile(r"[A-Za-z][A-Za-z0-9+.\-]+:/|/+vsi[a-z0-9_]*/", re.IGNORECASE)


def check_inputs(given: Iterable[str | Path]) -> None:
    """BadInput for an address, and for a device, pipe or socket; what is not there is told by its reader."""
    for name in given:
        if ADDRESS.match(str(name)):
            raise BadInput(
                "is an address, not a file on this machine", file=str(name), remedy="download it first and name the file"
            )
        check_ordinary(name)


def check_words(words: Iterable[str]) -> None:
    """BadInput where a word of a call, or what stands behind its equals sign, is a device, pipe or socket: read or
    written, it may never end."""
    for word in words:
        check_ordinary(word)
        if word.startswith("-"):
            check_ordinary(word.partition("=")[2])
