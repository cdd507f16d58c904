"""How unsure is every radius? Each cause of error is read from the points themselves, and they are added up.

The fit's own standard deviation takes points for independent and the model for true. What it leaves out shifts whole stretches of a limb:

- *a small arc*: noise that does not average out (drift, a scan position a little off, the edge of the beam) moves the radius the more, the
  less of the round was seen: twice as much on half a round, six times on a third;
- *pieces that disagree*: where neighbouring pieces read differently, by more than they should, something else is in some of them;
- *a scatter beyond the shell*: the points lie thicker than the scan's noise, so not all of them lie on this limb's bark;
- *points off the bark*: the fit threw them out, and may have thrown out the wrong ones;
- *no reading*: the radius was carried there from the nearest piece that could be measured.
"""

from __future__ import annotations

import numpy as np

from treescan.wood.fitting.limb_axes import USUAL_NOISE, LimbAxes, limb_medians
from treescan.wood.graph import Floats

ARC_SHARE = 0.05
"""Share of the scatter that does not average out and is multiplied by the arc's lever."""
DRIFT_SHARE = 0.45
"""The same for a scanner that moves: its shell is drift between two passes, each of which moves half a round by the mean of the cosine over
it, 2 / pi / sqrt(2)."""
DISAGREE_SHARE = 0.25
"""Share of the pieces' disagreement that stays in the smoothed radius."""
EXCESS_SHARE = 0.6
"""Share of the scatter beyond the shell that may sit in the radius: positions that a limb's sway moved apart by e scatter by about e / 2
and move the radius by about a third of e."""
OFF_SHARE = 0.3
"""Relative sd where all points lie off the bark: they may be the bark, and those kept the wrong ones."""
UNREAD = 0.06
"""Sd for every metre that a radius was carried along a limb [m/m]: how much limbs taper and step."""
"""ARC_SHARE, DISAGREE_SHARE and UNREAD were found on simulated scans of tripods, walked and flown scanners together (maximum likelihood);
the others there too, then raised for wind, bundles and one-sided drives, which those scans had not."""
BESIDE_ARC, BESIDE_APART, BESIDE_REST = 3, 2, 1
"""Pieces to either side over which the arc's lever, the disagreement and the rest are averaged (project choice)."""
USUAL_OVER = 1.2
"""Scatter up to so many times a limb's median is its own noise (project choice)."""
CALM = 0.25
"""Share of the limbs that lie as calm as the scanner sees (project choice)."""
LEAST_SD = 1e-4
"""No fit is trusted beyond this [m]."""
SMALLEST_ARC, MOST_LEVER, LEAST_ROOM = 0.26, 20.0, 1e-6
"""Half an arc of 30 degrees [rad]: less is told as this; the lever's bound, and the least 1 - c^2 / d: guards (project choice)."""
NO_WEIGHT = 1e-300
"""Guards a division by a sum of weights that is nothing."""


def radius_uncertainty(axes: LimbAxes, shell: float) -> Floats:
    """Standard deviation of every radius with the causes that the fit leaves out, (m,). [m]

    Parameters
    ----------
    axes : LimbAxes     As measured last; `r_sd` is the fit's own.
    shell : float       The scan's noise where it is thick, else 0. [m]
    """
    fitted = np.isfinite(axes.raw_sd)
    noise = np.where(fitted, axes.noise, np.nan)
    typical = limb_medians(noise, axes.start)[axes.of_vertex]
    typical = np.where(np.isfinite(typical), typical, float(np.nanmedian(noise)) if fitted.any() else USUAL_NOISE)
    trust = np.where(fitted, 1.0 / np.maximum(np.where(fitted, axes.raw_sd, 1.0), LEAST_SD) ** 2, 0.0)
    lever = _beside(axes, np.where(fitted, arc_lever(axes.arc) ** 2 - 1.0, 0.0), trust, BESIDE_ARC)
    apart = _beside(axes, np.where(fitted, np.minimum((axes.raw_r - axes.r) ** 2, axes.r**2), 0.0), fitted.astype(float), BESIDE_APART)
    usual = shell if shell > 0 else USUAL_OVER * np.minimum(typical, _calm(typical, axes))
    excess = _beside(axes, np.where(fitted, np.maximum(np.nan_to_num(axes.noise) ** 2 - usual**2, 0.0), 0.0), fitted.astype(float), BESIDE_REST)
    off = _beside(axes, np.where(fitted, 1.0 - axes.share, 1.0) ** 2, np.ones(len(axes.s)), BESIDE_REST)
    return np.sqrt(
        axes.r_sd**2
        + (DRIFT_SHARE if shell > 0 else ARC_SHARE) ** 2 * lever * np.maximum(typical, shell) ** 2
        + DISAGREE_SHARE**2 * apart
        + EXCESS_SHARE**2 * excess
        + OFF_SHARE**2 * off * axes.r**2
        + unread_sd(_from_reading(axes, fitted)) ** 2
    )


def _calm(typical: Floats, axes: LimbAxes) -> float:
    """Scatter of the limbs that lie calmest, by their quarter: a limb that scatters more than they do moved in the wind, or is not one limb. [m]"""
    return float(np.quantile(typical[axes.start[:-1][np.diff(axes.start) > 0]], CALM))


def unread_sd(way: Floats) -> Floats:
    """Sd of radii that were carried this far along their limb from the nearest reading. [m]"""
    return UNREAD * np.minimum(way, 2.0)


def arc_lever(arc: Floats) -> Floats:
    """How many times more than on a full round the radius is moved by the same error where only an arc was seen, up to 20.

    Parameters
    ----------
    arc : (n,) float    [rad]  NaN counts as the smallest.

    Notes
    -----
    Least squares for centre and radius from points spread evenly over an arc of +-h: the radius has 1 / sqrt(1 - c^2 / d) times the sd of a mean,
    c and d the means of cos and cos^2 over the arc (Chernov 2010, ch. 7, in this form derived here).
    """
    h = np.clip(np.nan_to_num(np.asarray(arc, float)) / 2, SMALLEST_ARC, np.pi)
    c, d = np.sin(h) / h, 0.5 + np.sin(2 * h) / (4 * h)
    return np.minimum(1.0 / np.sqrt(np.maximum(1.0 - c * c / d, LEAST_ROOM)), MOST_LEVER)


def _from_reading(axes: LimbAxes, fitted: np.ndarray) -> Floats:
    """Way along the limb from every vertex to the nearest that was fitted, inf on a limb without any. [m]"""
    out = np.full(len(axes.s), np.inf)
    for k in range(len(axes)):
        rows = axes.rows(k)
        at = axes.s[rows][fitted[rows]]
        if len(at):
            j = np.clip(np.searchsorted(at, axes.s[rows]), 0, len(at) - 1)
            out[rows] = np.minimum(np.abs(at[j] - axes.s[rows]), np.abs(at[np.maximum(j - 1, 0)] - axes.s[rows]))
    return out


def _beside(axes: LimbAxes, value: Floats, weight: Floats, reach: int) -> Floats:
    """Weighted mean of a value over up to `reach` vertices of the same limb to either side; 0 where all weigh nothing."""
    total, sum_of = np.zeros(len(value)), np.zeros(len(value))
    limb, row = axes.of_vertex, np.arange(len(value))
    for step in range(-reach, reach + 1):
        other = np.clip(row + step, 0, len(value) - 1)
        w = np.where((other == row + step) & (limb[other] == limb), weight[other], 0.0)
        total += w
        sum_of += w * value[other]
    return np.where(total > 0, sum_of / np.maximum(total, NO_WEIGHT), 0.0)
