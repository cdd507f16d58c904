"""English: every sentence, label and word, once, by code; one module a room."""

from __future__ import annotations

from treescan.outputs.text.english import (
    city,
    climb,
    cloud,
    data,
    drawing,
    faces,
    loads,
    planning,
    report,
    served,
    session,
    sheet,
    throw,
    trees,
    viewer,
    wood,
)

ROOMS = (cloud, trees, wood, throw, loads, planning, climb, report, sheet, data, drawing, viewer, faces, session, served, city)


def _joined(name: str) -> dict[str, str]:
    out: dict[str, str] = {"list_more": "{n} more"} if name == "TEXTS" else {}
    for room in ROOMS:
        table = getattr(room, name)
        if twice := out.keys() & {k for k, v in table.items() if out.get(k, v) != v}:
            raise ValueError(f"{room.__name__}: said before: {sorted(twice)}")
        out |= table
    return out


TEXTS = _joined("TEXTS")
WORDS = _joined("WORDS")
