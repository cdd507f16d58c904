"""May this be read? A plain file on this machine, nothing that never ends and nothing that has to be fetched."""

from __future__ import annotations

import os
import re
from collections.abc import Iterable
from pathlib import Path

from treescan.errors import BadInput

ADDRESS = re.compile(r"[A-Za-z][A-Za-z0-9+.\-]+:/|/+vsi[a-z0-9_]*/", re.IGNORECASE)


def check_inputs(given: Iterable[str | Path]) -> None:
    """BadInput for an address, and for a device, pipe or socket; what is not there is told by its reader."""
    for name in given:
        if ADDRESS.match(str(name)):
            raise BadInput(
                "is an address, not a file on this machine", file=str(name), remedy="download it first and name the file"
            )
        if os.path.exists(name) and not os.path.isfile(name) and not os.path.isdir(name):
            raise BadInput("is not an ordinary file", file=str(name), remedy="copy what it holds to a file first")
