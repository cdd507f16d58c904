"""What are the lowest points of every cell, and how high do points stand over a height grid?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit

from treescan.arrays import Floats
from treescan.trees.beside import Terrain
from treescan.trees.settings import TerrainSettings

LOWEST_KEPT = 8
"""Lowest points of a cell that are looked at."""
CLOSE_ABOVE = 0.15
"""A low point is supported where others lie so close above it. [m]"""
MOST_SAMPLED = 200_000
"""Points by which the size of a cell is chosen."""
LEAST_IN_A_CELL, MOST_CELLS = 4, 4e6
"""Points per occupied cell that a cell must hold to be wide enough, and cells a grid may have."""
WIDER, MOST_TRIES = 1.4, 8
"""A cell too narrow is widened by this factor, so many times."""
LOWEST_SHARE, LEAST_LOW = 20, 10
"""One in so many points, but no fewer than the second figure, is looked at for strays below the ground."""
GAP = 0.5
"""Points under a gap this wide are strays. [m]"""
STRAY_SHARE, LEAST_STRAYS = 2000, 5
"""Strays are fewer than one in so many points, or fewer than the second figure."""


@dataclass(frozen=True)
class Grid:
    """A plan grid: corner (2,) [m], cell [m], shape (rows, cols), and the cell (row, col) of every point
    used."""

    corner: Floats
    cell: float
    shape: tuple[int, int]

    def centres(self) -> tuple[Floats, Floats]:
        """x (cols,) and y (rows,) of the cell centres."""
        return (
            self.corner[0] + (np.arange(self.shape[1]) + 0.5) * self.cell,
            self.corner[1] + (np.arange(self.shape[0]) + 0.5) * self.cell,
        )


def cell_for(xyz: Floats, settings: TerrainSettings) -> float:
    """The set cell, or as large as some 6 points per occupied cell ask for."""
    cell = settings.cell
    sample = xyz[:: max(1, len(xyz) // MOST_SAMPLED), :2]
    share = len(sample) / len(xyz)
    for _ in range(MOST_TRIES):
        i = np.floor((sample - sample.min(axis=0)) / cell).astype(np.int64)
        occupied = len(np.unique(i[:, 0] * (i[:, 1].max() + 1) + i[:, 1]))
        span = (i.max(axis=0) + 1).prod()
        if len(sample) / share / occupied >= LEAST_IN_A_CELL and span < MOST_CELLS:
            break
        cell *= WIDER
    return float(cell)


def grid_over(xyz: Floats, cell: float) -> Grid:
    """The grid of square cells [m] that holds all points (n, 3)."""
    low, high = xyz[:, :2].min(axis=0), xyz[:, :2].max(axis=0)
    cols, rows = np.maximum(np.floor((high - low) / cell).astype(int) + 1, 1)
    return Grid(low, cell, (int(rows), int(cols)))


def lowest_points(xyz: Floats, grid: Grid, support: int = 3) -> tuple[Floats, Floats]:
    """Height (rows, cols) and plan place (rows, cols, 2) of the lowest supported point of each cell; NaN
    where there is none. [m]

    A point is supported when `support` - 1 others lie within `CLOSE_ABOVE` over it, among the `LOWEST_KEPT`
    lowest of its cell.
    """
    return _lowest(xyz, grid.corner, grid.cell, *grid.shape, support)


@njit(cache=True)
def _lowest(xyz, corner, cell, rows, cols, support):  # type: ignore[no-untyped-def]
    """Height and place of the lowest point of each cell that has `support` - 1 others within 15 cm above it
    (of the cell's 8 lowest)."""
    k = LOWEST_KEPT
    z = np.full((rows, cols, k), np.inf)
    who = np.full((rows, cols, k), -1, np.int64)
    for i in range(len(xyz)):
        c = min(max(int((xyz[i, 0] - corner[0]) / cell), 0), cols - 1)
        r = min(max(int((xyz[i, 1] - corner[1]) / cell), 0), rows - 1)
        v = xyz[i, 2]
        if v >= z[r, c, k - 1]:
            continue
        j = k - 1
        while j > 0 and z[r, c, j - 1] > v:
            z[r, c, j], who[r, c, j] = z[r, c, j - 1], who[r, c, j - 1]
            j -= 1
        z[r, c, j], who[r, c, j] = v, i
    low = np.full((rows, cols), np.nan)
    at = np.zeros((rows, cols, 2))
    for r in range(rows):
        for c in range(cols):
            at[r, c, 0] = corner[0] + (c + 0.5) * cell
            at[r, c, 1] = corner[1] + (r + 0.5) * cell
            if who[r, c, 0] < 0:
                continue
            pick = 0
            for j in range(k - support + 1):
                if z[r, c, j + support - 1] - z[r, c, j] < CLOSE_ABOVE:
                    pick = j
                    break
            low[r, c] = z[r, c, pick]
            at[r, c, 0], at[r, c, 1] = xyz[who[r, c, pick], 0], xyz[who[r, c, pick], 1]
    return low, at


def heights_above(terrain: Terrain, xyz: Floats) -> Floats:
    """Height of points (n, 3) above the ground, (n,) [m]; outside the grid above its nearest edge."""
    return heights_above_grid(xyz, terrain.height, terrain.corner, terrain.cell)


def lowest_supported(xyz: Floats) -> float:
    """Height of the lowest point that is no stray: the scan goes on above it without a gap of half a metre.
    [m]"""
    z = np.sort(xyz[:, 2])
    low = z[: max(LEAST_LOW, len(z) // LOWEST_SHARE)]
    gaps = np.nonzero(np.diff(low) > GAP)[0]
    stray = [g for g in gaps if g + 1 < max(LEAST_STRAYS, len(z) // STRAY_SHARE)]
    return float(z[stray[-1] + 1] if stray else z[0])


@njit(cache=True)
def heights_above_grid(xyz, height, corner, cell):  # type: ignore[no-untyped-def]
    """Height of points (n, 3) above a grid of heights (rows, cols), (n,) [m]; outside it above its nearest
    edge."""
    rows, cols = height.shape
    out = np.empty(len(xyz))
    for i in range(len(xyz)):
        px = min(max((xyz[i, 0] - corner[0]) / cell - 0.5, 0.0), cols - 1.0)
        py = min(max((xyz[i, 1] - corner[1]) / cell - 0.5, 0.0), rows - 1.0)
        c, r = min(int(px), max(cols - 2, 0)), min(int(py), max(rows - 2, 0))
        c1, r1 = min(c + 1, cols - 1), min(r + 1, rows - 1)
        fx, fy = px - c, py - r
        z = (1 - fy) * ((1 - fx) * height[r, c] + fx * height[r, c1]) + fy * (
            (1 - fx) * height[r1, c] + fx * height[r1, c1]
        )
        out[i] = xyz[i, 2] - z
    return out
