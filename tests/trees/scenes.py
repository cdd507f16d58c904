"""Small scanned scenes with known truth: points sampled on the bark of made-up trees, a ground, a wall, a post, a wire."""

from __future__ import annotations

import numpy as np
from strategies import random_tree

from treescan.cloud.point_cloud import PointCloud


def bark(seed: int, foot: tuple[float, float, float], *, count: int = 60_000, noise: float = 0.003, **shape: float) -> np.ndarray:
    """Points on the bark of one random tree, spread evenly over its surface, (count, 3) [m]."""
    s = random_tree(seed, base=foot, **shape).segments
    rng = np.random.default_rng(seed + 1000)
    axis = s.end - s.start
    length = np.linalg.norm(axis, axis=1)
    area = length * np.maximum((s.r_start + s.r_end) / 2, 0.004)
    k = rng.choice(len(area), count, p=area / area.sum())
    t, turn = rng.uniform(0, 1, count), rng.uniform(0, 2 * np.pi, count)
    d = axis[k] / length[k, None]
    side = np.cross(d, np.where(np.abs(d[:, 2:]) > 0.9, [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]))
    side /= np.linalg.norm(side, axis=1)[:, None]
    r = s.r_start[k] + t * (s.r_end - s.r_start)[k]
    out = s.start[k] + t[:, None] * axis[k] + r[:, None] * (np.cos(turn)[:, None] * side + np.sin(turn)[:, None] * np.cross(d, side))
    return out + rng.normal(0, noise, out.shape)


def ground(slope: float = 0.0, half: float = 10.0, count: int = 60_000, seed: int = 5) -> np.ndarray:
    """A tilted plane through the origin, rising to the east, with 3 mm of noise."""
    rng = np.random.default_rng(seed)
    p = rng.uniform(-half, half, (count, 2))
    return np.column_stack([p, np.tan(slope) * p[:, 0] + rng.normal(0, 0.003, count)])


def labelled(*parts: np.ndarray) -> PointCloud:
    """One cloud of several parts; column "part" numbers them from 0."""
    return PointCloud(np.vstack(parts), columns={"part": np.repeat(np.arange(len(parts)), [len(p) for p in parts])})


def cell_keys(xyz: np.ndarray, cell: float = 0.1) -> set[tuple[int, int, int]]:
    """Occupied cells, to compare two point sets."""
    return set(map(tuple, np.floor(xyz / cell).astype(int)))
