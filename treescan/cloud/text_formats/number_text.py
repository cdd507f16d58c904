"""How is a table of numbers in text turned into arrays? A byte parser shared by the text formats, ASCII PLY
and ASCII PCD."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

import numpy as np
from numba import njit
from numpy.typing import NDArray

BLOCK = 1 << 25
"""Bytes of text parsed at a time."""

_POWERS = np.array([10.0**i for i in range(23)])
"""Powers of ten that a 64-bit float holds exactly: a number of up to 15 digits comes out correctly
rounded."""


@dataclass(frozen=True)
class Layout:
    """How a line is cut into numbers.

    Attributes
    ----------
    delimiter : str     " " for runs of blanks and tabs, else one character.
    decimal : str       "." or ",".
    wanted : tuple of int   Columns to keep, counted from 0; the first three must be numbers for a line to
                            count.
    """

    delimiter: str
    decimal: str
    wanted: tuple[int, ...]


@dataclass(frozen=True)
class Rows:
    """One block of parsed lines: (n, len(wanted)) numbers, lines that were not numbers, and lines holding one
    lone whole number (counts)."""

    values: NDArray[np.float64]
    bad: int
    lone: tuple[float, ...]


def parsed(data: bytes, layout: Layout) -> Rows:
    """Every line of complete text; blank lines and lines starting with # / % ! are passed over."""
    buffer = np.frombuffer(data, np.uint8)
    lines = data.count(b"\n") + data.count(b"\r") + 1
    out = np.empty((lines, len(layout.wanted)))
    lone = np.empty(64)
    place = np.full(max(layout.wanted) + 1, -1, np.int64)
    place[list(layout.wanted)] = np.arange(len(layout.wanted))
    rows, bad, lonely = _parse(buffer, ord(layout.delimiter), ord(layout.decimal), place, out, lone, _POWERS)
    return Rows(out[:rows], bad, tuple(lone[:lonely]))


def blocks(f: BinaryIO) -> Iterator[bytes]:
    """The rest of an open file in blocks that end with a line."""
    rest = b""
    while data := f.read(BLOCK):
        cut = max(data.rfind(b"\n"), data.rfind(b"\r")) + 1
        if cut == 0:
            rest += data
            continue
        yield rest + data[:cut]
        rest = data[cut:]
    if rest:
        yield rest


def rows_of(file: Path, start: int, layout: Layout) -> Iterator[Rows]:
    """Parse a file from a byte on, block by block."""
    with file.open("rb") as f:
        f.seek(start)
        for block in blocks(f):
            yield parsed(block, layout)


@njit(cache=True, nogil=True)
def _number(b, i, end, decimal, powers):  # type: ignore[no-untyped-def]
    """The number written from byte i on, and the byte behind it; NaN and the same byte where there is
    none."""
    start, sign = i, 1.0
    if i < end and (b[i] == 45 or b[i] == 43):
        if b[i] == 45:
            sign = -1.0
        i += 1
    mantissa, digits, shift, seen = np.uint64(0), 0, 0, 0
    after = False
    while i < end:
        c = b[i]
        if 48 <= c <= 57:
            seen += 1
            if digits < 18:
                mantissa = mantissa * np.uint64(10) + np.uint64(c - 48)
                if mantissa > 0:
                    digits += 1
                if after:
                    shift -= 1
            elif not after:
                shift += 1
        elif c == decimal and not after:
            after = True
        else:
            break
        i += 1
    if seen == 0:
        return np.nan, start
    if i < end and (b[i] == 101 or b[i] == 69 or b[i] == 100 or b[i] == 68):
        j, negative, power, any_digit = i + 1, False, 0, False
        if j < end and (b[j] == 45 or b[j] == 43):
            negative = b[j] == 45
            j += 1
        while j < end and 48 <= b[j] <= 57:
            power = min(power * 10 + (b[j] - 48), 400)
            any_digit = True
            j += 1
        if any_digit:
            shift += -power if negative else power
            i = j
    value = np.float64(mantissa)
    if 0 < shift <= 22:
        value *= powers[shift]
    elif -22 <= shift < 0:
        value /= powers[-shift]
    elif shift != 0:
        value *= 10.0**shift
    return sign * value, i


@njit(cache=True, nogil=True)
def _is_nan_or_inf(b, i, j):  # type: ignore[no-untyped-def]
    """True for nan, -nan, inf, +inf, infinity in any case."""
    if i < j and (b[i] == 45 or b[i] == 43):
        i += 1
    if j - i < 3:
        return False
    c0, c1, c2 = b[i] | 32, b[i + 1] | 32, b[i + 2] | 32
    return (c0 == 110 and c1 == 97 and c2 == 110) or (c0 == 105 and c1 == 110 and c2 == 102)


@njit(cache=True, nogil=True)
def _parse(b, delimiter, decimal, place, out, lone, powers):  # type: ignore[no-untyped-def]
    """Fill `out` with one row per good line; how many rows, bad lines and lone numbers there were."""
    n, rows, bad, lonely, at = len(b), 0, 0, 0, 0
    while at < n:
        end = at
        while end < n and b[end] != 10 and b[end] != 13:
            end += 1
        i = at
        at = end + 1
        while i < end and (b[i] == 32 or b[i] == 9):
            i += 1
        while end > i and (b[end - 1] == 32 or b[end - 1] == 9):
            end -= 1
        if i >= end or b[i] == 35 or b[i] == 47 or b[i] == 37 or b[i] == 33:
            continue
        for k in range(out.shape[1]):
            out[rows, k] = np.nan
        column, got, failed = 0, 0, False
        last_value = np.nan
        while i < end:
            while i < end and (b[i] == 32 or (b[i] == 9 and delimiter != 9) or b[i] == 34):
                i += 1
            j = i
            while j < end and b[j] != delimiter and not (delimiter == 32 and b[j] == 9):
                j += 1
            stop = j
            while stop > i and (b[stop - 1] == 32 or b[stop - 1] == 9 or b[stop - 1] == 34):
                stop -= 1
            value, behind = _number(b, i, stop, decimal, powers)
            good = behind == stop and stop > i
            last_value = value if good else np.nan
            if column < len(place) and place[column] >= 0:
                k = place[column]
                if good:
                    out[rows, k] = value
                    if k < 3:
                        got += 1
                elif k < 3:
                    if _is_nan_or_inf(b, i, stop):
                        got += 1
                    else:
                        failed = True
            column += 1
            i = j + 1
        if got == 3 and not failed:
            rows += 1
        elif column == 1 and last_value >= 0.0 and last_value == np.floor(last_value) and lonely < len(lone):
            lone[lonely] = last_value
            lonely += 1
        else:
            bad += 1
    return rows, bad, lonely
