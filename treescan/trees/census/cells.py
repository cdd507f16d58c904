"""In which parts is a city looked through, so that no part is too large for one worker?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from treescan.arrays import Floats

HALO = 16.0
"""How far beyond its own ground a part is looked at, so that a tree at its edge is seen whole (project choice: the
reach of a wide crown). [m]"""
LARGEST, SMALLEST = 128.0, 16.0
"""Edges of a part. [m]"""


@dataclass(frozen=True)
class Cell:
    """A square part of the city: its lowest corner and edge on the map. [m]"""

    x: float
    y: float
    size: float

    @property
    def name(self) -> str:
        """The same for the same place, fit for a file."""
        return f"{self.x:.0f}_{self.y:.0f}_{self.size:.0f}"

    @property
    def low(self) -> Floats:
        """Lowest corner with the halo, (2,)."""
        return np.array([self.x - HALO, self.y - HALO])

    @property
    def high(self) -> Floats:
        """Highest corner with the halo, (2,)."""
        return np.array([self.x + self.size + HALO, self.y + self.size + HALO])

    def depth(self, xy: Floats) -> float:
        """How far inside its own ground a place, its first two coordinates, lies, negative outside. [m]"""
        x, y = float(xy[0]), float(xy[1])
        return min(x - self.x, self.x + self.size - x, y - self.y, self.y + self.size - y)


def cells_of(filled: Floats, most: int) -> tuple[Cell, ...]:
    """Parts that together hold all the filled ground, each with at most `most` points within its halo where that
    can be had.

    Parameters
    ----------
    filled : (b, 3) float   Middles of the filled blocks on the map [m] and their points.
    """
    if not len(filled):
        return ()
    corners = np.unique(np.floor(filled[:, :2] / LARGEST), axis=0) * LARGEST
    out: list[Cell] = []
    waiting = [Cell(float(x), float(y), LARGEST) for x, y in corners]
    while waiting:
        cell = waiting.pop()
        corner = np.array([cell.x, cell.y])
        core = np.all((filled[:, :2] >= corner) & (filled[:, :2] < corner + cell.size), axis=1)
        if not core.any():
            continue
        held = np.all((filled[:, :2] >= cell.low) & (filled[:, :2] < cell.high), axis=1)
        if filled[held, 2].sum() > most and cell.size > SMALLEST:
            half = cell.size / 2
            waiting += [Cell(cell.x + dx, cell.y + dy, half) for dx in (0.0, half) for dy in (0.0, half)]
        else:
            out.append(cell)
    return tuple(sorted(out, key=lambda c: (c.y, c.x)))
