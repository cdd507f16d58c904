"""What is noted about a cloud after it was read: what was left out, and what is hard to believe."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from treescan.cloud.intake.conversion import Conversion
from treescan.cloud.intake.streaming import Kept, Tally
from treescan.cloud.opened import OpenedCloud
from treescan.cloud.settings import CloudSettings
from treescan.cloud.thin import VoxelSums
from treescan.reason import Reason
from treescan.units import FOOT_M

PLACES = 3
"""Stray groups named by place in a note."""
PLAN_BLOCK = 32.0
"""Side of the block over which a height is taken: one wide crown. [m]"""
FAR_TOO_TALL = 20.0
"""Times the tallest tree from which on millimetres or centimetres are likelier than feet."""
SMALLEST = 0.5
"""A cloud lower than this holds no tree, if its unit is right. [m]"""

WIDEST_FOR_HEIGHT = 8.0
"""Coarse cells wider than this take in whole hillsides, so heights of single things cannot be judged. [m]"""


def left_out_notes(kept: Kept, origin: NDArray[np.float64]) -> Iterator[Reason]:
    """One note for each kind of point that was left out."""
    tally, repeats, strays = kept.tally, kept.repeats, kept.strays
    if tally.lost:
        yield Reason("lines_skipped", n=tally.lost)
    if tally.beyond:
        yield Reason("beyond_the_window", n=tally.beyond)
    if tally.not_numbers:
        yield Reason("impossible_coordinates_left_out", n=tally.not_numbers)
    for why, n in tally.unwanted.items():
        yield Reason("marked_points_left_out", n=n, why=why)
    if repeats:
        yield Reason("duplicates_left_out", n=repeats, share=repeats / max(tally.read, 1))
    if strays.count:
        places = tuple(Reason("map_place", x=p[0], y=p[1], z=p[2]) for p in (strays.places[:PLACES] + origin))
        yield Reason(
            "strays_left_out", n=strays.count, places=places, more=max(len(strays.places) - PLACES, 0) or None
        )


def doubts(
    opened: OpenedCloud,
    conversion: Conversion,
    kept: Kept,
    step: NDArray[np.float64],
    settings: CloudSettings,
) -> Iterator[Reason | None]:
    """One note for each thing that is hard to believe."""
    tally, strays = kept.tally, kept.strays
    if opened.single_precision:
        largest = max((float(np.abs(s).max()) for s in tally.sample if len(s)), default=0.0)
        yield precision_doubt(largest, float(conversion.unit[0]))
    if step.max() >= settings.rounding_step:
        along = tuple(
            Reason("step_along_axis", axis=axis, step=s) for axis, s in zip("xyz", step, strict=True) if s > 0
        )
        yield Reason("coordinates_on_a_grid", along=along)
    stated = opened.reference.crs is not None or np.isfinite(opened.reference.unit_m)
    extent = np.where(np.isfinite(tally.high - tally.low), tally.high - tally.low, 0.0)
    if strays.cells.cell > WIDEST_FOR_HEIGHT:
        return
    yield height_doubt(
        tallest_rise(strays.cells, strays.stray), PLAN_BLOCK, extent, bool(stated), settings.tallest_tree
    )


def bounds_note(
    opened: OpenedCloud, conversion: Conversion, tally: Tally, origin: NDArray[np.float64]
) -> Reason | None:
    """A note where the points are not where the header says; none where it cannot be compared."""
    if opened.stated_low is None or opened.stated_high is None or conversion.projected_from:
        return None
    low, high = (tally.low + origin) / conversion.unit, (tally.high + origin) / conversion.unit
    slack = 0.01 + 1e-6 * np.abs(high - low)
    outside = (low < opened.stated_low - slack).any() or (high > opened.stated_high + slack).any()
    return Reason("bounds_do_not_hold") if outside else None


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
