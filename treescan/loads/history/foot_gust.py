"""How does the climber's moment at the stem's foot compare with that of a gust the tree has stood?

Roots and ground are not judged. What can be said is which share of a gust's moment, which they held, the climber asks of
them: that of a year's strongest gust, where a station tells it, by the wood that was seen and from the side that bends
the foot least; leaves, twigs and sway would make it more. Where no gust is known, nothing is told.

References
----------
crown_drag in treescan/sources.py; `sections.crown_moments` has the equation.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from scipy.special import ndtr

from treescan.loads.history.winds import (
    AIR,
    DRAG,
    DRAG_SPREAD,
    GUMBEL_MEAN,
    GUMBEL_SCALE,
    MEAN_SPREAD,
    YEARLY_COV,
    yearly_gust,
)
from treescan.loads.sections.crown_moments import AZIMUTHS
from treescan.loads.statics.structural_model import StructuralModel

FIVE_PERCENT = 1.6448536269514722
YEARS_DRAWN = 400
"""Strongest gusts, equally likely each, over which the low end is taken."""


@dataclass(frozen=True)
class FootGust:
    """A gust's moment at the stem's foot.

    speed : float           Of the mean year's strongest gust. [m/s]
    moment, low : float     What it does at the middle drag, and what 95 in 100 such trees have stood at
        least (`stood_at_least`). [N m]
    """

    speed: float
    moment: float
    low: float


def foot_gust(tree: StructuralModel, node: int) -> FootGust | None:
    """The moment of the mean year's strongest gust about the section `node` at the stem's foot; None where no station
    tells it, no year of it counts, or nothing of the tree was seen."""
    site = tree.settings.history
    if site.station_gust == 0 or site.counted_years == 0:
        return None
    azimuth = np.pi * np.arange(AZIMUTHS) / AZIMUTHS
    each = tree.crown.wind([node], tree.sections.point[[node]], azimuth)[0]
    speed = yearly_gust(site)
    moment = 0.5 * AIR * DRAG * speed**2 * float(np.linalg.norm(each, axis=1).min())
    low = moment * stood_at_least(site.counted_years)
    return FootGust(speed, moment, low) if low > 0 else None


@cache
def stood_at_least(years: int) -> float:
    """Low end (5 %) of what the strongest gust of so many years did, over what the mean year's does at the
    middle drag.

    Drag, the mean and the years all scatter as in `winds`. Many years get no credit: never more than the
    drag alone leaves.

    >>> [round(stood_at_least(n), 2) for n in (1, 2, 3, 20)]
    [0.38, 0.45, 0.48, 0.48]
    """
    part = (np.arange(YEARS_DRAWN) + 0.5) / YEARS_DRAWN
    strongest = 1.0 + YEARLY_COV * GUMBEL_SCALE * (-np.log(-np.log(part) / years) - GUMBEL_MEAN)
    share = np.geomspace(0.05, 2.0, 2000)
    below = ndtr(np.log(share[:, None] / strongest**2) / np.hypot(DRAG_SPREAD, 2 * MEAN_SPREAD)).mean(axis=1)
    drag_alone = float(np.exp(-FIVE_PERCENT * DRAG_SPREAD))
    return min(float(np.interp(0.05, below, share)), drag_alone)
