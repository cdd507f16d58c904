"""How thick is the shell of points on the bark? The scan's noise, read from the lower stem before anything is fitted."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from treescan.wood.graph import Floats

BALL = 0.05
"""Radius of the patch of bark that is taken for flat [m]."""
SAMPLE = 400
"""Patches looked at."""


def bark_scatter(xyz: Floats, foot: Floats) -> float:
    """Median scatter across small patches of bark within 3 m of the foot. [m]  0 where there are too few points to tell."""
    near = xyz[np.linalg.norm(xyz - foot, axis=1) < 3.0]
    if len(near) < 200:
        return 0.0
    tree = cKDTree(near[:: max(1, len(near) // 200_000)])
    points = np.asarray(tree.data)
    patches = tree.query_ball_point(points[:: max(1, len(points) // SAMPLE)], BALL)
    thick = [np.sqrt(max(float(np.linalg.eigvalsh(np.cov(points[p].T))[0]), 0.0)) for p in patches if len(p) >= 10]
    return float(np.median(thick)) if len(thick) >= 20 else 0.0
