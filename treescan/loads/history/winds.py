"""How hard, and from where, did the wind blow in the years the crown has stood?

    q = 1/2 rho C f U^2

C is one error of drag and shelter for all years and all limbs, 1.0 with a log standard deviation of 0.45. U
is each year's strongest gust,
Gumbel with a coefficient of variation of 0.15 about a mean that is itself known to 12 %: 15 m/s, unless
gusts of a station near the tree are
given and the planner says how the crown stands beside it. Its direction is drawn anew every year, 40 degrees
about the prevailing one, which
is any where nobody knows it. Leaves (f up to 1.3) count only where the station's gusts in leaf are known.

References
----------
site_wind, crown_drag and gust_climate in treescan/sources.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from treescan.loads.site_history import EXPOSURES, SiteHistory
from treescan.wood.graph import Floats

AIR = 1.225
"""Density of air. [kg/m3]"""

DRAG, DRAG_SPREAD = 1.0, 0.45
"""Median drag coefficient, all in, and its log standard deviation."""

QUIET_SITE = 15.0
"""Mean of the year's strongest gust where no station is given. [m/s]"""

BESIDE_STATION = dict(zip(EXPOSURES, (0.0, 0.60, 0.76, 1.0), strict=True))
"""Gust at the tree over that of an open station: 15, 19 and 25 m/s are taken for sheltered, suburban and
open inland sites."""

MEAN_SPREAD, YEARLY_COV = 0.12, 0.15
SECTOR = np.deg2rad(40.0)
"""Standard deviation of a storm's direction about the prevailing one. [rad]"""

IN_LEAF, MOST_IN_LEAF = 2.2, 1.3
"""Load in leaf over bare at one speed, and the most of a year's load that is credited to leaves."""

GUMBEL_MEAN, GUMBEL_SCALE = 0.5772156649, np.sqrt(6.0) / np.pi
DRAG_AT, MEAN_AT, SHORT_AT, LOST_AT, PREVAILING_AT, FIRST_YEAR = range(6)
"""Columns of the weather's standard normals."""


@dataclass(frozen=True)
class Winds:
    """The strongest gust of every year in every draw: pressure (y, n) [Pa], drag counted in, and the azimuth
    (y, n) it blew toward,
    clockwise from north [rad]."""

    pressure: Floats
    azimuth: Floats


def yearly_gust(site: SiteHistory) -> float:
    """Mean of the year's strongest gust at the tree. [m/s]

    >>> yearly_gust(SiteHistory()), round(yearly_gust(SiteHistory(exposure="open", station_gust=25.0)), 1)
    (15.0, 25.0)
    """
    return QUIET_SITE if site.station_gust == 0 else BESIDE_STATION[site.exposure] * site.station_gust


def leaf_factor(site: SiteHistory, in_leaf: bool) -> float:
    """What leaves add to the year's largest wind load; 1 where the gusts in leaf, or the leaves, are not
    known."""
    if not in_leaf or site.station_gust == 0:
        return 1.0
    return float(np.clip(IN_LEAF * (site.station_leaf_gust / site.station_gust) ** 2, 1.0, MOST_IN_LEAF))


def drawn_winds(site: SiteHistory, normals: Floats, in_leaf: bool) -> Winds:
    """The winds that count.

    Parameters
    ----------
    normals : (n, WEATHER_NORMALS) float    Standard normals; the same ones give the same winds, and fewer
        years the first of them.
    in_leaf : bool                  Whether the crown has leaves in their season.
    """
    years = site.counted_years
    drag = DRAG * leaf_factor(site, in_leaf) * np.exp(DRAG_SPREAD * normals[:, DRAG_AT])
    mean = yearly_gust(site) * np.exp(MEAN_SPREAD * normals[:, MEAN_AT])
    each = normals[:, FIRST_YEAR : FIRST_YEAR + 2 * years].T
    low = np.clip(ndtr(each[0::2]), 1e-12, 1 - 1e-12)
    gust = mean * (1.0 + YEARLY_COV * GUMBEL_SCALE * (-np.log(-np.log(low)) - GUMBEL_MEAN))
    if site.prevailing_deg < 0:
        toward = 2.0 * np.pi * ndtr(normals[:, PREVAILING_AT])
    else:
        toward = np.full(len(normals), np.deg2rad(site.prevailing_deg) + np.pi)
    return Winds(0.5 * AIR * drag * np.maximum(gust, 0.0) ** 2, toward + SECTOR * each[1::2])
