"""What is said about a cloud after it was read: what was left out, and what is hard to believe."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from treescan.cloud.intake.conversion import Conversion
from treescan.cloud.intake.doubts import PLAN_BLOCK, height_doubt, precision_doubt, tallest_rise
from treescan.cloud.intake.strays import Strays
from treescan.cloud.opened import OpenedCloud
from treescan.cloud.settings import CloudSettings

PLACES = 3
"""Stray groups named by place in a note."""


@dataclass
class Tally:
    """What was left out while streaming: reason to number of points, and what the sample showed."""

    read: int = 0
    lost: int = 0
    not_numbers: int = 0
    unwanted: dict[str, int] = field(default_factory=dict)
    sample: list[NDArray[np.float64]] = field(default_factory=list)
    low: NDArray[np.float64] = field(default_factory=lambda: np.full(3, np.inf))
    high: NDArray[np.float64] = field(default_factory=lambda: np.full(3, -np.inf))


WIDEST_FOR_HEIGHT = 8.0
"""Coarse cells wider than this take in whole hillsides, so heights of single things cannot be judged. [m]"""


def left_out_notes(tally: Tally, repeats: int, strays: Strays, origin: NDArray[np.float64], unit: NDArray[np.float64]) -> Iterator[str]:
    """One sentence for each kind of point that was left out."""
    if tally.lost:
        yield f"{tally.lost} line{'' if tally.lost == 1 else 's'} of no three numbers {_were(tally.lost)} skipped."
    if tally.not_numbers:
        what = "without possible coordinates (no numbers, or on no map)"
        yield f"{_points(tally.not_numbers)} {what} {_were(tally.not_numbers)} left out."
    for reason, n in tally.unwanted.items():
        yield f"{_points(n)} {reason} {_were(n)} left out."
    if repeats:
        share = 100.0 * repeats / max(tally.read, 1)
        yield f"{_points(repeats)} at exactly the same place as another ({share:.1f} % of the file) {_were(repeats)} left out."
    if strays.count:
        places = "; ".join(f"x {p[0]:.1f} y {p[1]:.1f} z {p[2]:.1f}" for p in (strays.places[:PLACES] + origin))
        more = f" and {len(strays.places) - PLACES} more places" if len(strays.places) > PLACES else ""
        left = f"{_points(strays.count)} far from everything else {_were(strays.count)} left out as stray"
        yield f"{left} (metres: {places}{more})."


def doubts(
    opened: OpenedCloud, conversion: Conversion, tally: Tally, strays: Strays, step: NDArray[np.float64], settings: CloudSettings
) -> Iterator[str]:
    """One sentence for each thing that is hard to believe."""
    if opened.single_precision:
        largest = max((float(np.abs(s).max()) for s in tally.sample if len(s)), default=0.0)
        yield precision_doubt(largest, float(conversion.unit[0]))
    if step.max() >= settings.rounding_step:
        along = ", ".join(f"{axis} {1000 * s:.4g} mm" for axis, s in zip("xyz", step, strict=True) if s > 0)
        yield f"Coordinates lie on a grid ({along}): the scan was rounded or thinned, so nothing finer can be measured."
    stated = opened.reference.crs is not None or np.isfinite(opened.reference.unit_m)
    extent = np.where(np.isfinite(tally.high - tally.low), tally.high - tally.low, 0.0)
    if strays.cells.cell > WIDEST_FOR_HEIGHT:
        return
    yield height_doubt(tallest_rise(strays.cells, strays.stray), PLAN_BLOCK, extent, bool(stated), settings.tallest_tree)


def bounds_note(opened: OpenedCloud, conversion: Conversion, tally: Tally, origin: NDArray[np.float64]) -> str:
    """A sentence where the points are not where the header says; empty otherwise, or where it cannot be compared."""
    if opened.stated_low is None or opened.stated_high is None or conversion.projected_from:
        return ""
    low, high = (tally.low + origin) / conversion.unit, (tally.high + origin) / conversion.unit
    slack = 0.01 + 1e-6 * np.abs(high - low)
    outside = (low < opened.stated_low - slack).any() or (high > opened.stated_high + slack).any()
    return "The bounds in the header do not hold the points; the points were believed." if outside else ""


def _points(n: int) -> str:
    """ "1 point" or "7 points"."""
    return f"{n} point{'' if n == 1 else 's'}"


def _were(n: int) -> str:
    """Was or were."""
    return "was" if n == 1 else "were"
