"""Do twigs and leaves catch the bag?"""

from __future__ import annotations

import numpy as np
from numba import njit

from treescan.throw.ballistics.flight import PIECES
from treescan.throw.ballistics.flight_line import Flight
from treescan.throw.scene.flight_scene import Leaves


@njit(cache=True, nogil=True)
def unsnagged(
    leaves: Leaves, snag: float, flight: Flight, x: float, y: float, azimuth: float, s_end: float
) -> float:
    """Chance that they do not: exp(-k x integral of density along the flight).

    Parameters
    ----------
    snag : float        k of the law.
    x, y : float        Of the release point. [m, local]
    s_end : float       Where the flight ends. [m]
    """
    density, corner, cell, height, step = (
        leaves.density,
        leaves.corner,
        leaves.cell,
        flight.height,
        flight.step,
    )
    ux, uy = np.sin(azimuth), np.cos(azimuth)
    total, j = 0.0, 0
    na, nb, nc = density.shape
    inv = 1.0 / cell
    px, py, pz = (x - corner[0]) * inv, (y - corner[1]) * inv, (flight.hand - corner[2]) * inv
    while j < PIECES and j * step < s_end:
        length = np.sqrt(step * step + (height[j + 1] - height[j]) ** 2)
        parts = int(length / (0.5 * cell)) + 1
        for m in range(parts):
            u = (m + 0.5) / parts
            s = (j + u) * step
            if s >= s_end:
                break
            fa, fb = px + s * ux * inv, py + s * uy * inv
            fc = pz + (height[j] + u * (height[j + 1] - height[j])) * inv
            if 0.0 <= fa < na and 0.0 <= fb < nb and 0.0 <= fc < nc:
                total += density[int(fa), int(fb), int(fc)] * length / parts
        j += 1
    return np.exp(-snag * total)
