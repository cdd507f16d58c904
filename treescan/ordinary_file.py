"""Is it an ordinary file? A device, pipe or socket may never end, and reading it would never end either."""

from __future__ import annotations

import os
from pathlib import Path

from treescan.errors import BadInput


def check_ordinary(path: str | Path) -> None:
    """BadInput for a device, pipe or socket; what is not there, or a folder, is told by its reader."""
    try:
        odd = os.path.exists(path) and not os.path.isfile(path) and not os.path.isdir(path)
    except ValueError:  # a zero byte in the name
        return
    if odd:
        raise BadInput("is not an ordinary file", file=str(path), remedy="copy what it holds to a file first")
