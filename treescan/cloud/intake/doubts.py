"""What about these heights and digits is hard to believe? Told as a note, never corrected in silence."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from treescan.cloud.thin import VoxelSums
from treescan.reason import Reason
from treescan.units import FOOT_M

PLAN_BLOCK = 32.0
"""Side of the block over which a height is taken: one wide crown. [m]"""

FAR_TOO_TALL = 20.0
"""Times the tallest tree from which on millimetres or centimetres are likelier than feet."""

SMALLEST = 0.5
"""A cloud lower than this holds no tree, if its unit is right. [m]"""


def tallest_rise(cells: VoxelSums, stray: NDArray[np.bool_]) -> float:
    """Largest difference in height within any block of `PLAN_BLOCK` in plan. [m]

    On a slope of 30 degrees the block itself adds up to 26 m, so the figure is an upper estimate of what
    stands there.
    """
    ijk, z = cells.ijk[~stray], cells.centroids[~stray, 2]
    if not len(z):
        return 0.0
    block = ijk[:, :2].astype(np.int64) // max(round(PLAN_BLOCK / cells.cell), 1)
    block -= block.min(axis=0)
    _, group = np.unique(block[:, 0] * (block[:, 1].max() + 1) + block[:, 1], return_inverse=True)
    low, high = np.full(group.max() + 1, np.inf), np.full(group.max() + 1, -np.inf)
    np.minimum.at(low, group, z)
    np.maximum.at(high, group, z)
    return float((high - low).max())


def height_doubt(
    rise: float, width: float, extent: NDArray[np.float64], stated_unit: bool, tallest: float
) -> Reason | None:
    """A note where heights do not fit a tree.

    Parameters
    ----------
    rise : float            From `tallest_rise`. [m]
    width : float           Of the block it was taken over. [m]
    extent : (3,) float     Of the whole cloud. [m]
    stated_unit : bool      The file itself states its unit.
    tallest : float         Greatest height of any tree. [m]
    """
    if rise > FAR_TOO_TALL * tallest:
        return Reason("far_too_tall", rise=rise, width=width, unit_stated=stated_unit)
    if rise > tallest:
        return Reason(
            "taller_than_any_tree", rise=rise, width=width, if_feet=rise * FOOT_M, unit_stated=stated_unit
        )
    if extent.max() < SMALLEST:
        return Reason("too_small_for_a_tree", size=extent.max(), unit_stated=stated_unit)
    return None


def precision_doubt(largest: float, unit: float) -> Reason | None:
    """A note where 32-bit floats cannot hold the coordinates to a millimetre.

    Parameters
    ----------
    largest : float     Largest coordinate, as stored. [file units]
    unit : float        Metres per file unit.
    """
    step = float(np.spacing(np.float32(largest))) * unit
    return Reason("single_precision", largest=largest, step=step) if step >= 0.001 else None
