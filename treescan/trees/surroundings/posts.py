"""Is this a post? Nearly all that stands on its foot stays close to one straight, upright line."""

from __future__ import annotations

import numpy as np

from treescan.arrays import Floats, Ints

OFF_GROUND, LAYER = 0.3, 0.3
"""What stands higher is looked at, in layers of the second height. [m]"""
LEAST_VOXELS, LEAST_HEIGHT = 8, 1.5
"""Fewer voxels, or a lower thing [m], is no post."""
CLOSE, LEAST_CLOSE = 0.3, 0.85
"""Distance from the line [m], and the share of voxels within it."""
MOST_LEAN = 0.15
"""A post leans no more. [m/m]"""

MOST_ARMS, ARM_SHARE, ARM_ROWS = 1.2, 0.25, 2
"""Arms and conductors of a post take up no more height [m] and no larger share of it; its line is seen within so many layers of its top."""
LEAST_ARMED, WHOLE = 3.0, 0.8
"""A post with arms is so tall [m], and seen in this share of its layers (project choice)."""


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
    if np.hypot(*fit[1]) >= MOST_LEAN:
        return False
    return bool(np.mean(off < CLOSE) > LEAST_CLOSE or _bare_but_for_arms(layer, off))


def _bare_but_for_arms(layer: Ints, off: Floats) -> bool:
    """True when something stands out from the line (a cross-arm, conductors) in few layers only, and the line goes on up to them."""
    used, row = np.unique(layer, return_inverse=True)
    close = np.bincount(row, off < CLOSE) / np.bincount(row)
    with_arms = close <= LEAST_CLOSE
    whole = len(used) >= WHOLE * (used[-1] - used[0] + 1)
    return bool(
        whole
        and np.ptp(used) * LAYER >= LEAST_ARMED
        and with_arms.sum() * LAYER <= MOST_ARMS
        and np.mean(with_arms) <= ARM_SHARE
        and (close[-ARM_ROWS:] > 0).any()
    )
