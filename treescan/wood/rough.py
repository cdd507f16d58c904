"""From chains of slices to rough limb axes for the first fit."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import median_filter, uniform_filter1d

from treescan.geometry import unit
from treescan.wood.graph import Floats, Ints
from treescan.wood.limb_axes import LimbAxes, first_axes
from treescan.wood.slices import Chains, Slices


def rough_axes(xyz: Floats, slices: Slices, chains: Chains) -> LimbAxes:
    """Centre lines through the slices' means, and radii from their spread across the line.

    Parameters
    ----------
    xyz : (c, 3) float      Thinned wood points. [m]
    """
    direction = np.zeros_like(slices.centre)
    lines = []
    for chain in chains.slices:
        line = _smooth(slices.centre[chain], 7)
        d = np.gradient(line, axis=0) if len(line) > 1 else np.zeros((1, 3))
        direction[chain] = unit(d)
        lines.append(line)
    off = xyz - slices.centre[slices.of_point]
    across2 = np.sum(off * off, axis=1) - np.sum(off * direction[slices.of_point], axis=1) ** 2
    ok = slices.of_point >= 0
    mean = np.bincount(slices.of_point[ok], weights=np.maximum(across2[ok], 0), minlength=len(slices.size)) / slices.size
    rough = np.maximum(np.sqrt(mean) * 1.15, 0.005)
    radii = [median_filter(rough[c], 9, mode="nearest") for c in chains.slices]
    leaves = np.array([slices.centre[chains.slices[p][a]] if p >= 0 else slices.centre[0] for p, a in zip(chains.parent, chains.leaves_at, strict=True)])
    return first_axes(lines, radii, np.array(chains.parent, np.int32), leaves)


def _smooth(line: Floats, width: int) -> Floats:
    """Running mean, shorter towards the ends so that the ends stay."""
    n = len(line)
    if n < 3:
        return line.copy()
    out = uniform_filter1d(line, min(width, n if n % 2 else n - 1), axis=0, mode="nearest")
    for i in range(min(width // 2, n)):
        out[i] = line[: 2 * i + 1].mean(axis=0)
        out[n - 1 - i] = line[n - 1 - 2 * i :].mean(axis=0) if 2 * i + 1 <= n else out[n - 1 - i]
    return out


def limb_of_points(slices: Slices, chains: Chains, member: Ints) -> tuple[Ints, Floats]:
    """Limb of every full-resolution point, and NaN as its unknown place."""
    of_cell = np.where(slices.of_point >= 0, chains.of_slice[np.maximum(slices.of_point, 0)], -1).astype(np.int32)
    return of_cell[member], np.full(len(member), np.nan)
