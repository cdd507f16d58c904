"""Where is the bark under a mat of ivy? The innermost round shell of points with nothing inside it."""

from __future__ import annotations

import numpy as np
from numba import njit, prange

from treescan.wood.graph import Floats, Ints
from treescan.wood.sections.cylinder_fit import (
    ALL_BINS,
    BINS,
    CENTRE_X,
    CENTRE_Y,
    NOISE,
    ON_BARK,
    RADIUS,
    SD_CENTRE,
    SD_RADIUS,
    drawn_circle,
    fit_one,
)

MAT = 0.015
"""Points of a thick limb that scatter by more than this [m], and by more than `MAT_SHARE` of the radius, are no bare bark."""
SHRUNK = 0.6
"""A fit of less than this share of the radius so far has fallen onto some leaves of the mat."""
MAT_SHARE = 0.07
"""An oval section of one to five scatters by as much; what scatters more is overgrown."""
THICK = 0.06
"""Radius from which limbs are looked at [m]: thinner ones in such a cloud cannot be told from it."""
SHELL = 0.005
"""Half the thickness of the shell of bark points looked for [m]."""
DRAWS = 3000
"""Circles through three points tried a piece: one point in seven on the bark is enough for eight good ones."""
LEAST_SHARE = 0.06
"""Share of a piece's points that must lie on the shell."""
MOST_INSIDE = 0.08
"""Points inside the shell, as a share of those on it, that are still believed to be stray echoes."""
STANDS_OUT = 1.5
"""Points on the shell over those in a layer as thick just outside it: bark is a sheet, the inner edge of the leaves is not."""
LEAST_ARC = 1.5
"""So much of the round must carry the shell [rad]."""
FEW, FEW_ON = 60, 12
"""Points a piece must have to be looked at, and bark points that must be found (project choice)."""
WIDER = 1.1
"""The bark is looked for up to so many times the radius so far (project choice)."""
REFIT = (0.8, 1.1)
"""Bounds of the fit to the bark points, over the circle found (project choice)."""
SCORED = 500
"""Points that score a circle (project choice)."""
SEED_STEP, SEED_FIRST = 104729, 7
"""Any numbers: they start every piece's draws elsewhere, and the same in every run."""
SMALLEST = 0.4
"""Circles smaller than this share of the largest are no bark under a mat (project choice)."""
INSIDE_COST = 4.0
"""A point inside costs a circle as much as so many points on its bark bring (project choice)."""


def bark_under_ivy(fit: Floats, x: Floats, y: Floats, t: Floats, weight: Floats, start: Ints, guess: Floats, floor: float) -> Floats:
    """The fits of thick pieces whose points scatter like a mat of leaves, made again on the bark under it where that shows.

    Parameters
    ----------
    fit : (p, 11)           From `fit_pieces`; x, y, t, weight, start as given to it.
    guess : (p,) float      Radii so far. [m]
    floor : float           Least noise believed. [m]

    Returns
    -------
    (p, 11) float           Where bark was found: the cylinder through it, `share` = bark points over those on and inside it. Where points scatter and
        no bark shows under them: no reading (sd inf). Else as before.

    Notes
    -----
    A scanner sees through gaps of the mat now and then, and never into the wood: the bark is the largest circle that has points on it and
    next to none inside. A fit to all points lies in the middle of the mat, 5 to 10 cm too thick, which is the dangerous side.
    """
    n = np.diff(start)
    scattered = fit[:, NOISE] > np.maximum(MAT, MAT_SHARE * fit[:, RADIUS])
    mat = (guess > THICK) & (n >= FEW) & (scattered | (fit[:, RADIUS] < SHRUNK * guess))
    if not mat.any():
        return fit
    out = fit.copy()
    out[mat & scattered, SD_CENTRE : SD_RADIUS + 1] = np.inf
    _look(x, y, t, weight, np.asarray(start, np.int64), np.flatnonzero(mat), WIDER * np.maximum(fit[:, RADIUS], guess), floor, out)
    return out


@njit(cache=True, parallel=True)
def _look(x, y, t, weight, start, piece, outer, floor, out):  # type: ignore[no-untyped-def]
    for q in prange(len(piece)):
        k = piece[q]
        a, b = start[k], start[k + 1]
        cx, cy, r = _innermost(x[a:b], y[a:b], outer[k], k)
        if r <= 0:
            continue
        on = np.zeros(b - a, np.bool_)
        inside, core, beyond = 0, 0, 0
        seen = np.zeros(BINS, np.bool_)
        for i in range(a, b):
            e = np.sqrt((x[i] - cx) ** 2 + (y[i] - cy) ** 2) - r
            if e < -2 * SHELL:
                inside += 1
            elif e < 2 * SHELL:
                on[i - a] = True
                seen[int((np.arctan2(y[i] - cy, x[i] - cx) + np.pi) / (2 * np.pi) * ALL_BINS)] = True
            if abs(e) < SHELL:
                core += 1
            elif 0 < e < 3 * SHELL:
                beyond += 1
        count = on.sum()
        if core < STANDS_OUT * beyond or count < max(FEW_ON, LEAST_SHARE * (b - a)) or inside > MOST_INSIDE * count:
            continue
        if seen.sum() * 2 * np.pi / BINS < LEAST_ARC:
            continue
        one = np.empty(out.shape[1])
        own = weight[a:b][on]
        fit_one(x[a:b][on] - cx, y[a:b][on] - cy, t[a:b][on], own, count, REFIT[0] * r, REFIT[1] * r, r, floor, k, one)
        if not np.isfinite(one[SD_RADIUS]):
            continue
        one[CENTRE_X] += cx
        one[CENTRE_Y] += cy
        one[ON_BARK] = count / (count + inside)
        out[k] = one


@njit(cache=True)
def _innermost(x, y, outer, seed):  # type: ignore[no-untyped-def]
    """Circle through three points with the most points on it and few inside; radius 0 when none has enough."""
    n = len(x)
    step = max(1, n // SCORED)
    best, bx, by, br = 0.0, 0.0, 0.0, 0.0
    state = np.uint64(seed * SEED_STEP + SEED_FIRST)
    for _ in range(DRAWS):
        cx, cy, r, state = drawn_circle(x, y, n, state)
        if r < SMALLEST * outer or r > outer or np.sqrt(cx * cx + cy * cy) > outer:
            continue
        score = 0.0
        i = 0
        while i < n:
            e = np.sqrt((x[i] - cx) ** 2 + (y[i] - cy) ** 2) - r
            if e < -2 * SHELL:
                score -= INSIDE_COST
            elif abs(e) < SHELL:
                score += 1.0 - (e / SHELL) ** 2
            i += step
        if score > best:
            best, bx, by, br = score, cx, cy, r
    return bx, by, br
