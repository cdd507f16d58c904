"""What does every format hand over? The type between the format modules and `read.py`; nothing outside this
room uses it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from pyproj import CRS

from treescan.reason import Reason

CHUNK = 1_000_000
"""Points decoded at a time: bounds the memory beside the result."""

AGAIN = "copy or export the file again"
"""What to do with a damaged file."""

MOST_OF_A_NAME = 80
"""Letters kept of a text in a file that is not understood."""

COLUMN_TYPES: dict[str, str] = {
    "class": "u1",
    "intensity": "f4",
    "return_number": "u1",
    "number_of_returns": "u1",
    "red": "u2",
    "green": "u2",
    "blue": "u2",
    "scan": "i4",
}
"""The columns kept from any file, and how they are stored. Intensity keeps the file's own scale."""


@dataclass(frozen=True)
class Chunk:
    """Some points as the file has them.

    Attributes
    ----------
    xyz : (n, 3) float64    Relative to `shift`, in the file's own units.
    shift : (3,) float64    Added to xyz gives the file's coordinates; kept apart so that no digit is lost.
    columns : mapping       Of the names in `COLUMN_TYPES`.
    unwanted : mapping      Why ("withheld", "classed_as_noise", "invalid_by_scanner") to (n,) bool: points
                            the file itself marks as not to be used.
    lost : int              Records here that held no point at all (lines of words in a text file).
    """

    xyz: NDArray[np.float64]
    shift: NDArray[np.float64]
    columns: Mapping[str, NDArray] = field(default_factory=dict)
    unwanted: Mapping[str, NDArray[np.bool_]] = field(default_factory=dict)
    lost: int = 0


@dataclass(frozen=True)
class Reference:
    """What the file says about its coordinates.

    Attributes
    ----------
    crs : CRS or None       As understood.
    text : str or None      As written, also where it was not understood.
    unit_m : float          Metres per horizontal unit where stated apart from a full system; NaN = not
                            stated.
    vertical_unit_m : float The same for heights.
    trouble : Reason or None    What could not be understood.
    """

    crs: CRS | None = None
    text: str | None = None
    unit_m: float = np.nan
    vertical_unit_m: float = np.nan
    trouble: Reason | None = None


@dataclass(frozen=True)
class OpenedCloud:
    """A checked file, ready to be streamed.

    Attributes
    ----------
    format : str
    version : Reason            Version, encoding and layout.
    max_points : int           Never more than the file's size allows; 0 = not known before reading.
    chunks : callable           Gives the points, from the start, each time it is called.
    reference : Reference
    columns : tuple of str      Columns every chunk carries.
    notes : tuple of Reason
    stated_low, stated_high : (3,) float or None    Bounds the header claims, file units.
    single_precision : bool     True where coordinates are stored in 32-bit floats.
    scans : int                 Scanner set-ups, where the format knows of them.
    scanners : (s, 3) float     Where the scanner stood, file units.
    written_by : str            Program named in the header.
    """

    format: str
    version: Reason
    max_points: int
    chunks: Callable[[], Iterator[Chunk]]
    reference: Reference = field(default_factory=Reference)
    columns: tuple[str, ...] = ()
    notes: tuple[Reason, ...] = ()
    stated_low: NDArray[np.float64] | None = None
    stated_high: NDArray[np.float64] | None = None
    single_precision: bool = False
    scans: int = 1
    scanners: NDArray[np.float64] = field(default_factory=lambda: np.zeros((0, 3)))
    written_by: str = ""


def chunks_of(values: NDArray[np.float64], names: Sequence[str]) -> Iterator[Chunk]:
    """Rows of numbers (n, 3 + columns) as chunks of at most `CHUNK` points: x, y, z, then the columns
    named."""
    for start in range(0, len(values), CHUNK):
        part = values[start : start + CHUNK]
        columns = {name: part[:, 3 + k] for k, name in enumerate(names)}
        yield Chunk(np.ascontiguousarray(part[:, :3]), np.zeros(3), columns)
