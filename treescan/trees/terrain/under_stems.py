"""Where does the ground run under a stem? Its butt stands where no ground is seen."""

from __future__ import annotations

import numpy as np

from treescan.arrays import Floats
from treescan.trees.beside import Terrain

FLARE = 1.5
"""Radii of a stem its butt may fill, root flare included,"""
HALF_DIAGONAL = 0.85
"""and part of a cell about it: a cell the butt reaches into."""
RING = 1.0
"""Width of the ring whose ground is taken. [m]"""
LEAST_RING = 6
"""Cells without which nothing is changed."""
STANDS_OUT, LEAST_STANDS_OUT = 1.5, 0.01
"""A cell over the plane by more than so many standard deviations and the second figure [m] is a root or a
stone."""


def under_stems(terrain: Terrain, feet: Floats, radius: Floats) -> Terrain:
    """The same ground with the cells under stems taken from the ground round them: the butt of a stem stands
    where no ground is seen.

    Parameters
    ----------
    feet : (k, 2) float     Plan places of the stems. [m, local]
    radius : (k,) float     Their radii. [m]

    Notes
    -----
    The lowest points of a cell that a stem fills lie on its butt, up to the band within which points are
    believed to be ground: the foot read 3 to 8 cm too high on simulated scans. A plane through the measured
    cells of a ring one metre wide takes their place; cells that stand out above it (the flare's roots, a
    stone) are left out twice. Fewer than six ring cells: nothing is changed.
    """
    height, measured = terrain.height.copy(), terrain.measured.copy()
    for foot, r in zip(feet, radius, strict=True):
        near = FLARE * r + HALF_DIAGONAL * terrain.cell
        first = np.maximum(np.floor((foot - near - RING - terrain.corner) / terrain.cell).astype(int), 0)
        last = np.maximum(np.ceil((foot + near + RING - terrain.corner) / terrain.cell).astype(int), 0)
        window = (slice(first[1], last[1]), slice(first[0], last[0]))
        y, x = np.indices(terrain.height[window].shape) + 0.5
        dx, dy = (
            (x + first[0]) * terrain.cell + terrain.corner[0] - foot[0],
            (y + first[1]) * terrain.cell + terrain.corner[1] - foot[1],
        )
        away = np.hypot(dx, dy)
        inside = away < near
        ring = ~inside & (away < near + RING) & terrain.measured[window] & np.isfinite(terrain.height[window])
        if ring.sum() < LEAST_RING:
            continue
        a, z = np.column_stack([dx[ring], dy[ring], np.ones(ring.sum())]), terrain.height[window][ring]
        keep = np.ones(len(z), bool)
        for _ in range(3):
            fit = np.linalg.lstsq(a[keep], z[keep], rcond=None)[0]
            miss = z - a @ fit
            again = miss < STANDS_OUT * np.std(miss[keep]) + LEAST_STANDS_OUT
            if again.sum() < LEAST_RING:
                break
            keep = again
        height[window][inside] = dx[inside] * fit[0] + dy[inside] * fit[1] + fit[2]
        measured[window][inside] = False
    return Terrain(height, terrain.corner, terrain.cell, measured)
