"""Every published value used anywhere has its key here; tests fail on a key unused or unknown, and the report prints the same list.

`standing` is how far the value may be trusted:

- ``read``      the number stood in a text that was opened (often an abstract or a single page),
- ``quoted``    read, but quoted by a second text,
- ``memory``    recalled, not opened: shown as unconfirmed,
- ``derived``   follows from a stated formula,
- ``practice``  common practice of the trade, no source,
- ``choice``    a choice of this project, settable.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Source:
    """Where a value comes from and how far it may be trusted."""

    title: str
    standing: str


SOURCES: dict[str, Source] = {
    # --- everywhere
    "project_choice": Source("A choice of this project without a published source; change it in the settings", "choice"),
    "common_practice": Source("Common practice of the trade, no source", "practice"),
    "geometry": Source("Plane geometry or elementary mechanics, derived", "derived"),
    # --- wood (scan accuracy, dbh)
    # --- throw
    # --- loads
    # --- planning
}


def cite(key: str) -> str:
    """The source as one printable line; KeyError for an unknown key."""
    s = SOURCES[key]
    return f"{s.title} [{s.standing}]"
