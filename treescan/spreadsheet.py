"""How does text stand in a table that a spreadsheet opens? A cell that would run as a formula is text there."""

from __future__ import annotations

import re
from typing import TypeVar

T = TypeVar("T")
RUNS = re.compile("'*[=+\\-@\t\r]")
"""Starts of cells that spreadsheets take for a formula, or that would read back as one."""


def guarded(cell: T) -> T | str:
    """A cell as it is written: text that starts with = + - @, tab or return gets an apostrophe in front.

    Numbers are left alone.

    >>> guarded("=1+1"), guarded(-2.5), guarded("oak")
    ("'=1+1", -2.5, 'oak')
    """
    return "'" + cell if isinstance(cell, str) and RUNS.match(cell) else cell


def unguarded(cell: str) -> str:
    """A cell as it was before `guarded`.

    >>> unguarded("'=1+1"), unguarded("'twas"), unguarded(guarded("'=1"))
    ('=1+1', "'twas", "'=1")
    """
    return cell[1:] if cell[:1] == "'" and RUNS.match(cell) else cell
