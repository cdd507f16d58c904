"""Which points hang far away from everything else? Birds, dust, sun glints: a handful of points alone in a
wide empty space."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from treescan.cloud.thin import VoxelSums

LOOK_CELL = 1.0
"""Edge of the coarse cells every point is counted into while reading. [m]"""

WIDEST_CELL = 64.0
"""Coarse cells are doubled in sparse clouds up to this edge. [m]"""

CROWDED = 4.0
"""Mean number of points in a filled cell from which on a cell is wide enough to judge emptiness."""

SPACINGS = 15.0
"""A stray is at least so many mean point distances away from everything else, so that thin water or wire
returns are no strays."""


@dataclass(frozen=True)
class Strays:
    """Cells whose points are strays.

    Attributes
    ----------
    cells : VoxelSums   At the width used for judging.
    stray : (m,) bool   By row of `cells`.
    count : int         Points in them.
    places : (s, 3)     Mean place of each stray cell. [m, local]
    """

    cells: VoxelSums
    stray: NDArray[np.bool_]
    count: int
    places: NDArray[np.float64]

    def among(self, xyz: NDArray[np.float64]) -> NDArray[np.bool_]:
        """True for points in a stray cell, (n,)."""
        rows = self.cells.row_of(xyz)
        return np.where(rows >= 0, self.stray[rows], False)


def find_strays(cells: VoxelSums, most: int, gap: float) -> Strays:
    """Stray groups, judged on cell counts alone.

    Parameters
    ----------
    cells : VoxelSums   All points in cells of `LOOK_CELL`.
    most : int          Largest group that may be stray. [points]
    gap : float         Least empty distance around it; in sparse clouds `SPACINGS` times the spacing. [m]
    """
    cells = widened(cells)
    total = int(cells.counts.sum())
    if total <= 20 * most or most < 1:
        return Strays(cells, np.zeros(cells.used, bool), 0, np.zeros((0, 3)))
    spacing = cells.cell / math.sqrt(total / cells.used)
    crowd = cells.crowd(max(3, math.ceil(max(gap, SPACINGS * spacing) / cells.cell)), most)
    stray = (crowd >= 0) & (crowd <= most)
    return Strays(cells, stray, int(cells.counts[stray].sum()), cells.centroids[stray])


def widened(cells: VoxelSums) -> VoxelSums:
    """Cells wide enough that a filled one holds a few points, so that a sparse cloud is not all strays."""
    while cells.used and cells.counts.sum() < CROWDED * cells.used and cells.cell < WIDEST_CELL:
        cells = cells.doubled()
    return cells
