"""How is a text cloud (XYZ, TXT, CSV, PTS) read?"""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from pathlib import Path

import numpy as np

from treescan.cloud.opened import Chunk, OpenedCloud, Reference, chunks_of
from treescan.cloud.projection import parsed_crs
from treescan.cloud.text_formats.number_text import rows_of
from treescan.cloud.text_formats.text_layout import TextLayout, text_layout
from treescan.errors import BadInput
from treescan.reason import Reason

MOST_BAD = 0.1
"""Share of lines that are not numbers above which a file is refused rather than read in part."""


def open_text(file: Path) -> OpenedCloud:
    """Guess the layout and get ready to stream."""
    found = text_layout(file)
    text = found.crs or ("EPSG:4326" if found.degrees else None)
    reference = Reference(parsed_crs(text) if text else None, text)
    name = (
        "PTS"
        if file.suffix.lower() == ".pts" or found.counted
        else "CSV"
        if found.layout.delimiter in ",;"
        else "XYZ"
    )
    delimiter = {" ": "blanks", ",": "commas", ";": "semicolons"}[found.layout.delimiter]
    version = Reason("text_layout", delimiter=delimiter, columns=found.names)
    return OpenedCloud(
        name, version, 0, partial(_chunks, file, found), reference, found.names[3:], found.notes
    )


def _chunks(file: Path, found: TextLayout) -> Iterator[Chunk]:
    """Parse; refuse where too many lines are no numbers or fewer points came than a count line claims.

    A text that cannot be a number in a further column counts as 0.
    """
    good = bad = 0
    claimed = 0.0
    for rows in rows_of(file, 0, found.layout):
        good, bad, claimed = good + len(rows.values), bad + rows.bad, claimed + sum(rows.lone)
        rows.values[:, 3:] = np.nan_to_num(rows.values[:, 3:])
        yield from chunks_of(rows.values, found.names[3:])
    if bad - found.header_lines > MOST_BAD * (good + bad):
        raise BadInput(
            f"has {bad} lines that are not three numbers among {good + bad}",
            file=str(file),
            remedy="export one point a line: x y z",
        )
    if found.counted and good + bad < claimed:
        raise BadInput(
            f"claims {claimed:.0f} points but holds {good}: it is cut short",
            file=str(file),
            remedy="copy or export the file again",
        )
    yield Chunk(
        np.zeros((0, 3)),
        np.zeros(3),
        {n: np.zeros(0) for n in found.names[3:]},
        lost=max(bad - found.header_lines, 0),
    )
