"""Do twigs and leaves catch the bag?"""

from __future__ import annotations

import numpy as np
from numba import njit

from treescan.arrays import Floats
from treescan.throw.ballistics.flight import PIECES
from treescan.throw.ballistics.flight_line import Origin
from treescan.throw.scene.flight_scene import Leaves


@njit(cache=True, nogil=True)
def unsnagged(
    leaves: Leaves, snag: float, height: Floats, step: float, origin: Origin, s_end: float
) -> float:
    """Chance that they do not: exp(-k x integral of density along the flight).

    Parameters
    ----------
    snag : float        k of the law.
    height, step        A row of `Flights`. [m]
    origin : Origin     Release point and azimuth.
    s_end : float       Where the flight ends. [m]
    """
    density, corner, cell = leaves.density, leaves.corner, leaves.cell
    ux, uy = np.sin(origin.azimuth), np.cos(origin.azimuth)
    total, j = 0.0, 0
    na, nb, nc = density.shape
    inv = 1.0 / cell
    px, py, pz = (origin.x - corner[0]) * inv, (origin.y - corner[1]) * inv, (origin.hand - corner[2]) * inv
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
