"""Is this a post? Nearly all that stands on its foot stays close to one straight, upright line."""

from __future__ import annotations

import numpy as np

from treescan.arrays import Floats

OFF_GROUND, LAYER = 0.3, 0.3
"""What stands higher is looked at, in layers of the second height. [m]"""
LEAST_VOXELS, LEAST_HEIGHT = 8, 1.5
"""Fewer voxels, or a lower thing [m], is no post."""
CLOSE, LEAST_CLOSE = 0.3, 0.85
"""Distance from the line [m], and the share of voxels within it."""
MOST_LEAN = 0.15
"""A post leans no more. [m/m]"""


def is_post(xyz: Floats, above: Floats) -> bool:
    """True when nearly all that grew from a foot stays close to one straight line: a post, not a tree.

    Parameters
    ----------
    xyz : (n, 3), above : (n,)      Voxels of one label and their heights above the ground. [m]
    """
    low = above > OFF_GROUND
    if low.sum() < LEAST_VOXELS or np.ptp(above[low]) < LEAST_HEIGHT:
        return False
    p = xyz[low]
    z = p[:, 2] - p[:, 2].mean()
    layer = np.floor(above[low] / LAYER).astype(int)
    used = np.unique(layer)
    middle = [
        (np.median(p[layer == k, 0]), np.median(p[layer == k, 1]), np.median(z[layer == k])) for k in used
    ]
    mid = np.array(middle)
    a = np.column_stack([np.ones(len(mid)), mid[:, 2]])
    fit = np.linalg.lstsq(a, mid[:, :2], rcond=None)[0]
    off = np.hypot(*(p[:, :2] - np.column_stack([np.ones(len(p)), z]) @ fit).T)
    return bool(np.mean(off < CLOSE) > LEAST_CLOSE and np.hypot(*fit[1]) < MOST_LEAN)
