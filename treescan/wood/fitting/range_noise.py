"""How thick is the shell of points on the bark? The scan's noise, read from the lower stem and from thick lying limbs before limbs are measured."""

from __future__ import annotations

import numpy as np

from treescan.wood.fitting.limb_axes import ROUGH, WINDOW, LimbAxes, along, frame_across, limb_medians, value_at
from treescan.wood.graph import Floats, Ints
from treescan.wood.sections.cylinder_fit import ARC, NOISE, ON_BARK, RADIUS, SD_RADIUS, fit_pieces
from treescan.wood.sections.pieces import cut_pieces, lay_out, place_points
from treescan.wood.skeleton.thinned_wood import group_rows

REACH = (5.0, 15.0)
"""So far up the stem the scatter is read; the second where the first held too few points [m]."""
WIDEST = 0.02
"""Scatter up to about this is read in full; a thicker shell reads as somewhat less [m]."""


STILL = 0.004
"""Where the stem's shell is thinner than this the scanner stood still, and lying limbs are not asked [m] (a tripod's reads 3 mm)."""
CLEANEST = 0.1
"""Share of the lying pieces that is taken for clean bark where any is."""
LYING = 0.03
"""Lying limbs of a larger radius are asked [m]."""
ENOUGH, ALIKE = 40, 2.0
"""Pieces of lying limbs that must tell, and how many times the lower quartile the upper may be: bundles and leaf clumps read unlike."""
UNDER = 1.3
"""Limbs a few times thicker than the shell read it up to so many times too thin; a stem's shell beyond that is rough bark, not noise."""
LEAST_PIECES, LEAST_POINTS = 4, 60
"""Pieces of a stem, and points, from which a scatter is read (project choice)."""
QUARTERS = [0.25, 0.5, 0.75]
"""Lower quartile, median and upper quartile."""
SHORTEST, LONGEST, FEW, HALF = 0.1, 0.6, 30, 0.2
"""Shortest and longest piece, points it should have, and how far to either side its direction is read at least [m] (project choice)."""
LEAST_FIT, LEAST_GUESS = 0.02, 0.03
"""Radii a fit may find at least and starts from at least [m]: thinner limbs are not asked."""
FITTED, ON, SEEN = 12, 0.5, 1.0
"""Points, share of them on the bark and arc [rad] of a piece that tells its scatter (project choice)."""


def range_noise(xyz: Floats, limb: Ints, axes: LimbAxes, position: Ints | None) -> float:
    """Scatter of the points about the bark: the median over pieces of the lower stem, held to what lying limbs show. [m]

    0 where there are too few points to tell.

    Parameters
    ----------
    xyz : (n, 3) float      All wood points. [m]
    limb : (n,) int         Rough limb of every point; the stem is 0.
    axes : LimbAxes         Rough axes.
    position : (n,) int     Scan position of every point, None = not known. Only the position with most points on a limb is read: how far
        positions are off each other is no scatter.

    Notes
    -----
    Noise of the range lies along the beam. A flight looks down a stem, whose shell hides it (5 to 10 mm of 15 were read), while a limb
    that lies across the beam shows it in full. Noise is on every limb: where the cleanest tenth of the lying pieces (of all pieces, where few lie)
    has a thin shell the scanner stood still, and the stem's points scatter because it is overgrown or its bark is rough
    (made-up tripod scans: 2 to 3 mm; walked and flown ones: 9 mm and more).
    """
    stem = 0.0
    for reach in REACH:
        low = np.flatnonzero((limb == 0) & (xyz[:, 2] < axes.v[0, 2] + reach))
        noise, _ = _scatter_of_pieces(xyz, limb, axes, position, low, 0.0)
        if len(noise) >= LEAST_PIECES:
            stem = float(np.median(noise))
            break
    if 0 < stem < STILL:
        return stem
    thick = np.nan_to_num(limb_medians(axes.r, axes.start)) > LYING
    noise, upright = _scatter_of_pieces(xyz, limb, axes, position, np.flatnonzero((limb > 0) & thick[np.maximum(limb, 0)]), LYING)
    lying = noise[upright < np.sqrt(0.5)]
    # steep crowns have few lying limbs; all limbs hide a flight's noise less than its stem does
    telling = lying if len(lying) >= ENOUGH else noise
    if len(telling) >= ENOUGH and np.quantile(telling, CLEANEST) < STILL:
        return float(np.quantile(telling, CLEANEST))
    if len(lying) < ENOUGH:
        return stem
    low, middle, high = np.quantile(lying, QUARTERS)
    return float(np.clip(stem, middle, UNDER * middle)) if high < ALIKE * low else stem


def shared_error(radius: Floats, shell: float) -> Floats:
    """Error of radii (n,) [m] that more points along the limb do not average out, under a moving scanner's thick shell. [m]

    Parameters
    ----------
    shell : float           Scatter of the points about the bark; 0 = a still scanner, no such error. [m]

    Notes
    -----
    Points lie at a mean square distance r^2 + 2 s^2 from the axis. With a third of doubt in s (a choice; at a fifth the intervals of walked limbs of
    3 to 5 cm held three times in four) r^2 is unsure by 4 s^2 / 3: the error is the way down to the radius that is left then, all of r where nothing is.
    """
    return np.asarray(radius - np.sqrt(np.maximum(radius**2 - 4 * shell**2 / 3, 0.0)), float)


def _most_told(limb: Ints, position: Ints) -> np.ndarray:
    """True for the points of the position that has most points on their limb, (n,)."""
    count = np.bincount(limb * (int(position.max()) + 1) + position, minlength=(int(limb.max()) + 1) * (int(position.max()) + 1))
    return np.asarray(position == count.reshape(int(limb.max()) + 1, -1).argmax(axis=1)[limb])


def _scatter_of_pieces(xyz: Floats, limb: Ints, axes: LimbAxes, position: Ints | None, asked: Ints, least: float) -> tuple[Floats, Floats]:
    """Scatter of every piece thicker than `least` that the asked points fit well, and how upright the limb is there (1 = vertical). (p,) [m], (p,)"""
    if position is not None and len(asked):
        asked = asked[_most_told(limb[asked], position[asked])]
    if len(asked) < LEAST_POINTS:
        return np.zeros(0), np.zeros(0)
    points = np.ascontiguousarray(xyz[asked])
    start, rows = group_rows(limb[asked], len(axes))
    place = place_points(points, rows, start, axes.start, axes.v, axes.s, np.full(len(points), np.nan), WINDOW)
    head, of, low, high = cut_pieces(place, rows, start, axes.start, axes.s, axes.r, SHORTEST, FEW, LONGEST)
    mid, half = 0.5 * (low + high), np.maximum(0.5 * (high - low), HALF)
    guess = value_at(axes, axes.r, of, mid)
    origin, axis = along(axes.start, axes.v, axes.s, of, mid, np.maximum(half, ROUGH.ahead * guess))
    side, up = frame_across(axis)
    x, y, t = lay_out(points, rows, head, origin, axis, side, up)
    fit = fit_pieces(
        x, y, t, np.ones(len(x)), head, np.full(len(mid), LEAST_FIT),
        ROUGH.times * guess + ROUGH.more, np.maximum(guess, LEAST_GUESS), WIDEST,
    )  # fmt: skip
    good = (np.diff(head) >= FITTED) & np.isfinite(fit[:, SD_RADIUS])
    good &= (fit[:, ON_BARK] > ON) & (fit[:, ARC] > SEEN) & (fit[:, RADIUS] > least)
    return fit[good, NOISE], np.abs(axis[good, 2])
