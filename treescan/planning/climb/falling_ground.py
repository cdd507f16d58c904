"""Which way does the ground fall at the tree?"""

from __future__ import annotations

import numpy as np

from treescan.arrays import Floats
from treescan.reason import Reason
from treescan.trees.beside import Terrain

ROUND_THE_FOOT, APART = 5.0, 0.5
"""The ground is read within this distance of the stem's foot, at places so far apart (project choice). [m]"""

STEEP = float(np.radians(10.0))
"""Ground that falls by more than this is told (project choice). [rad]"""

ENOUGH = 0.5
"""Share of the places that the scan must show."""


def falling_ground(terrain: Terrain, foot: Floats) -> tuple[Reason, ...]:
    """How steep the ground at the stem's foot (3,) is, and which way it falls; () where it is nearly level or was not seen.

    Notes
    -----
    Least-squares plane through the terrain round the foot: z = a + b x + c y falls towards -(b, c).
    """
    steps = np.arange(-ROUND_THE_FOOT, ROUND_THE_FOOT + APART / 2, APART)
    off = np.stack(np.meshgrid(steps, steps), axis=-1).reshape(-1, 2)
    off = off[np.hypot(*off.T) <= ROUND_THE_FOOT]
    z = terrain.height_at(foot[:2] + off)
    seen = np.isfinite(z)
    if seen.mean() < ENOUGH:
        return ()
    plane = np.column_stack([np.ones(int(seen.sum())), off[seen]])
    _, b, c = np.linalg.lstsq(plane, z[seen], rcond=None)[0]
    angle = float(np.arctan(np.hypot(b, c)))
    if angle <= STEEP:
        return ()
    downhill = float(np.arctan2(-b, -c) % (2 * np.pi))
    return (Reason("ground_falls", angle=angle, downhill=downhill, uphill=(downhill + np.pi) % (2 * np.pi)),)
