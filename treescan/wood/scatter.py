"""How thick is the shell of points on the bark? The scan's noise, read from the lower stem before limbs are measured."""

from __future__ import annotations

import numpy as np

from treescan.wood.circles import fit_pieces
from treescan.wood.graph import Floats, Ints
from treescan.wood.limb_axes import LimbAxes, along, frame_across
from treescan.wood.pieces import cut_pieces, lay_out, place_points
from treescan.wood.voxels import group_rows

REACH = (5.0, 15.0)
"""So far up the stem the scatter is read; the second where the first held too few points [m]."""
WIDEST = 0.02
"""Scatter up to about this is read in full; a thicker shell reads as somewhat less [m]."""


def bark_scatter(xyz: Floats, limb: Ints, axes: LimbAxes, position: Ints | None) -> float:
    """Median scatter of the points about round pieces of the lower stem. [m]  0 where there are too few points to tell.

    Parameters
    ----------
    xyz : (n, 3) float      All wood points. [m]
    limb : (n,) int         Rough limb of every point; the stem is 0.
    axes : LimbAxes         Rough axes.
    position : (n,) int     Scan position of every point, None = not known. Only the position with most points there is read: how far
        positions are off each other is no scatter.
    """
    for reach in REACH:
        stem = np.flatnonzero((limb == 0) & (xyz[:, 2] < axes.v[0, 2] + reach))
        if position is not None and len(stem):
            stem = stem[position[stem] == np.bincount(position[stem]).argmax()]
        noise = _scatter_of_pieces(np.ascontiguousarray(xyz[stem]), axes)
        if len(noise) >= 4:
            return float(np.median(noise))
    return 0.0


def shared_error(radius: Floats, shell: float) -> Floats:
    """Error of radii (n,) [m] that more points along the limb do not average out, under a moving scanner's thick shell. [m]

    Parameters
    ----------
    shell : float           Scatter of the points about the bark; 0 = a still scanner, no such error. [m]

    Notes
    -----
    Points lie at a mean square distance r^2 + 2 s^2 from the axis, so a fifth of doubt in s (a choice) moves r by 0.4 s^2 / r.
    """
    return 0.4 * shell**2 / np.maximum(radius, 1e-3)


def _scatter_of_pieces(points: Floats, axes: LimbAxes) -> Floats:
    """Scatter of every piece of the stem that could be fitted well. [m]"""
    if len(points) < 60:
        return np.zeros(0)
    start, rows = group_rows(np.zeros(len(points), np.int32), 1)
    ends = axes.start[:2]
    place = place_points(points, rows, start, ends, axes.v, axes.s, np.full(len(points), np.nan), 0.6)
    head, of, low, high = cut_pieces(place, rows, start, ends, axes.s, axes.r, 0.1, 30, 0.6)
    mid, half = 0.5 * (low + high), np.maximum(0.5 * (high - low), 0.2)
    guess = np.interp(mid, axes.s[: ends[1]], axes.r[: ends[1]])
    origin, axis = along(ends, axes.v, axes.s, of, mid, np.maximum(half, 1.5 * guess))
    side, up = frame_across(axis)
    x, y, t = lay_out(points, rows, head, origin, axis, side, up)
    fit = fit_pieces(x, y, t, np.ones(len(x)), head, np.full(len(mid), 0.02), 3 * guess + 0.02, np.maximum(guess, 0.03), WIDEST)
    good = (np.diff(head) >= 12) & np.isfinite(fit[:, 6]) & (fit[:, 8] > 0.5) & (fit[:, 9] > 1.0)
    return fit[good, 7]
