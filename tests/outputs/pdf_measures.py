"""What a PDF tool measures on printed pages: sizes of print, boxes of words, marks for reading programs. Test helpers only."""

from __future__ import annotations

import re
import shutil
import subprocess
import zlib
from itertools import combinations
from pathlib import Path
from typing import NamedTuple

import pytest


class Box(NamedTuple):
    """A word on a page, in points from the upper left corner."""

    word: str
    left: float
    top: float
    right: float
    bottom: float


class Page(NamedTuple):
    """Size of a page and its words."""

    width: float
    height: float
    words: tuple[Box, ...]


def print_sizes(data: bytes) -> list[float]:
    """Size of every print that a page's own instructions set, in points; a page that is scaled as a whole is a fault."""
    sizes: list[float] = []
    for stream in re.findall(rb"stream\r?\n(.*?)endstream", data, re.DOTALL):
        try:
            text = zlib.decompressobj().decompress(stream).decode("latin-1")
        except zlib.error:
            text = stream.decode("latin-1")
        if " Tf" in text:
            for a, b, c, d in re.findall(r"([-\d.]+) ([-\d.]+) ([-\d.]+) ([-\d.]+) [-\d.]+ [-\d.]+ cm", text):
                assert [float(v) for v in (a, b, c, d)] == [1.0, 0.0, 0.0, 1.0]
            sizes += [float(s) for s in re.findall(r"/F\S+ ([\d.]+) Tf", text)]
    return sizes


def measured(data: bytes, path: Path) -> list[Page]:
    """Words of each page with their boxes, as a general PDF tool finds them."""
    if shutil.which("pdftotext") is None:
        pytest.skip("no pdftotext on this machine")
    path.write_bytes(data)
    found = subprocess.run(["pdftotext", "-bbox", str(path), "-"], check=True, capture_output=True).stdout.decode()
    pages = []
    for wide, high, inside in re.findall(r'<page width="([\d.]+)" height="([\d.]+)">(.*?)</page>', found, re.DOTALL):
        boxes = re.findall(r'<word xMin="([-\d.]+)" yMin="([-\d.]+)" xMax="([-\d.]+)" yMax="([-\d.]+)">(.*?)</word>', inside)
        words = tuple(Box(word, *(float(v) for v in at)) for *at, word in boxes)
        pages.append(Page(float(wide), float(high), words))
    return pages


def overlaps(words: tuple[Box, ...], share: float = 0.2) -> list[tuple[str, str]]:
    """Pairs of words that cover more than a share of the smaller one."""
    out = []
    for one, other in combinations(words, 2):
        wide = min(one.right, other.right) - max(one.left, other.left)
        high = min(one.bottom, other.bottom) - max(one.top, other.top)
        small = min((b.right - b.left) * (b.bottom - b.top) for b in (one, other))
        if wide > 0 and high > 0 and wide * high > share * small:
            out.append((one.word, other.word))
    return out
