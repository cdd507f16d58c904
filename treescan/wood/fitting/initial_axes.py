"""From chains of slices to rough limb axes for the first fit."""

from __future__ import annotations

import numpy as np
from numba import njit

from treescan.geometry import unit
from treescan.wood.fitting.limb_axes import LimbAxes, first_axes
from treescan.wood.graph import Floats, Ints
from treescan.wood.skeleton.level_sets import Chains, Slices

LINE_OVER, RADIUS_OVER = 7, 9
"""Slices over which the middle and the radius are smoothed (project choice)."""
SPREAD_TO_RADIUS, LEAST_RADIUS = 1.15, 0.005
"""Radius over the root mean square distance of a slice's points from the line (bark seen from one side pulls the line towards it), and the least [m]."""


def initial_axes(xyz: Floats, slices: Slices, chains: Chains) -> LimbAxes:
    """Centre lines through the slices' means, and radii from their spread across the line.

    Parameters
    ----------
    xyz : (c, 3) float      Thinned wood points. [m]
    """
    direction = np.zeros_like(slices.centre)
    lines = []
    for chain in chains.slices:
        line = _smooth(slices.centre[chain], LINE_OVER)
        d = np.gradient(line, axis=0) if len(line) > 1 else np.zeros((1, 3))
        direction[chain] = unit(d)
        lines.append(line)
    off = xyz - slices.centre[slices.of_point]
    across2 = np.sum(off * off, axis=1) - np.sum(off * direction[slices.of_point], axis=1) ** 2
    ok = slices.of_point >= 0
    mean = np.bincount(slices.of_point[ok], weights=np.maximum(across2[ok], 0), minlength=len(slices.size)) / slices.size
    rough = np.maximum(np.sqrt(mean) * SPREAD_TO_RADIUS, LEAST_RADIUS)
    radii = [_running_median(rough[c], RADIUS_OVER) for c in chains.slices]
    leaves_at = zip(chains.parent, chains.leaves_at, strict=True)
    leaves = np.array([slices.centre[chains.slices[p][a]] if p >= 0 else slices.centre[0] for p, a in leaves_at])
    return first_axes(lines, radii, np.array(chains.parent, np.int32), leaves)


@njit(cache=True)
def _smooth(line, width):  # type: ignore[no-untyped-def]
    """Running mean, shorter towards the ends so that the ends stay."""
    n = len(line)
    out = np.zeros_like(line)
    for i in range(n):
        h = min(i, n - 1 - i, width // 2)
        for j in range(i - h, i + h + 1):
            for a in range(3):
                out[i, a] += line[j, a] / (2 * h + 1)
    return out


@njit(cache=True)
def _running_median(value, width):  # type: ignore[no-untyped-def]
    """Median of the values round each place, the first and last repeated beyond the ends."""
    n = len(value)
    out, near = np.empty(n), np.empty(width)
    for i in range(n):
        for k in range(width):
            near[k] = value[min(max(i + k - width // 2, 0), n - 1)]
        out[i] = np.median(near)
    return out


def limb_of_points(slices: Slices, chains: Chains, member: Ints) -> tuple[Ints, Floats]:
    """Limb of every full-resolution point, and NaN as its unknown place."""
    of_cell = np.where(slices.of_point >= 0, chains.of_slice[np.maximum(slices.of_point, 0)], -1).astype(np.int32)
    return of_cell[member], np.full(len(member), np.nan)
