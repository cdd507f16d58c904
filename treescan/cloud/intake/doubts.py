"""What about these heights and digits is hard to believe? Said in words, never corrected in silence."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from treescan.cloud.thin import Voxels
from treescan.units import FOOT_M

PLAN_BLOCK = 32.0
"""Side of the block over which a height is taken: one wide crown. [m]"""

SMALLEST = 0.5
"""A cloud lower than this holds no tree, if its unit is right. [m]"""


def tallest_rise(cells: Voxels, stray: NDArray[np.bool_]) -> float:
    """Largest difference in height within any block of `PLAN_BLOCK` in plan. [m]

    On a slope of 30 degrees the block itself adds up to 26 m, so the figure is an upper estimate of what stands there.
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


def height_doubt(rise: float, width: float, extent: NDArray[np.float64], stated_unit: bool, tallest: float) -> str:
    """A sentence where heights do not fit a tree; empty where they do.

    Parameters
    ----------
    rise : float            From `tallest_rise`. [m]
    width : float           Of the block it was taken over. [m]
    extent : (3,) float     Of the whole cloud. [m]
    stated_unit : bool      The file itself states its unit.
    tallest : float         Greatest height of any tree. [m]
    """
    how = "as the file states them" if stated_unit else "though the file states no unit"
    if rise > 20 * tallest:
        return (
            f"Something rises {rise:.0f} m within {width:.0f} m, taken in metres {how}: "
            "millimetres or centimetres are likely; nothing was converted, check the unit."
        )
    if rise > tallest:
        return (
            f"Something rises {rise:.0f} m within {width:.0f} m, taken in metres {how}: taller than "
            f"any tree (it would be {rise * FOOT_M:.0f} m "
            "if the unit were feet); nothing was converted, check the unit."
        )
    if extent.max() < SMALLEST:
        return f"The whole cloud measures only {extent.max():.3g} m, taken in metres {how}: too small for a tree; check the unit."
    return ""


def precision_doubt(largest: float, unit: float) -> str:
    """A sentence where 32-bit floats cannot hold the coordinates to a millimetre; empty where they can.

    Parameters
    ----------
    largest : float     Largest coordinate, as stored. [file units]
    unit : float        Metres per file unit.
    """
    step = float(np.spacing(np.float32(largest))) * unit
    if step < 0.001:
        return ""
    size = f"{step * 1000:.1f} mm" if step < 0.1 else f"{step:.2g} m"
    return (
        f"Coordinates up to {largest:.0f} are stored in single precision, so they are rounded to {size}: "
        "shift them to a local origin or store doubles when exporting."
    )
