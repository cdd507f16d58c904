"""Where does a scan in a frame of its own roughly belong? Both stand upright, so every turn about the
vertical is tried.

For each turn the occupied cells of both scans are laid over each other at every shift at once (a correlation
by fast Fourier transform). Nothing is drawn at random, so the same files always give the same candidates.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from treescan.cloud.point_cloud import PointCloud
from treescan.cloud.registration.rigid_motion import RigidMotion, turned
from treescan.cloud.thin import thin

Floats = NDArray[np.float64]

_CELL = 0.4
_MOST_CELLS = 3_000_000
_TURNS = 180


def candidates(moving: Floats, fixed: Floats, most: int) -> list[RigidMotion]:
    """The likeliest turns and shifts, best first, none within 15 degrees and 1 m of a better one.

    Parameters
    ----------
    moving, fixed : (n, 3) float    Points off the ground. [m]
    most : int                      So many at most.
    """
    cell = _cell(moving, fixed)
    a, b = (np.array(thin(PointCloud(x), cell / 2).xyz) for x in (fixed, moving))
    middle_a, middle_b = (0.5 * (x.min(axis=0) + x.max(axis=0)) for x in (a, b))
    a, b = a - middle_a, b - middle_b
    half = np.array([np.hypot(np.abs(x[:, 0]).max(), np.abs(x[:, 1]).max()) for x in (a, b)]).sum()
    high = np.abs(a[:, 2]).max() + np.abs(b[:, 2]).max()
    shape = tuple(_quick_size(int(np.ceil(2 * h / cell)) + 4) for h in (half, half, high))
    spectrum = np.conj(np.fft.rfftn(_blurred(_filled(a, shape, cell))))
    found: list[tuple[float, float, Floats]] = []
    for angle in 2 * np.pi * np.arange(_TURNS) / _TURNS:
        grid = _filled(turned(angle, np.zeros(3))(b), shape, cell)
        score = np.fft.irfftn(np.conj(spectrum * np.fft.rfftn(grid)), s=shape, axes=(0, 1, 2))
        score /= np.sqrt(grid.sum())
        top = int(score.argmax())
        index = np.array(np.unravel_index(top, shape))
        shift = np.where(index > np.array(shape) // 2, index - np.array(shape), index) * cell
        found.append((float(score.flat[top]), float(angle), shift))
    found.sort(key=lambda f: (-f[0], f[1]))
    kept: list[tuple[float, Floats]] = []
    for _, angle, shift in found:
        if len(kept) < most and not any(_near(angle, shift, *k) for k in kept):
            kept.append((angle, shift))
    return [turned(angle, middle_a + shift).after(RigidMotion(np.eye(3), -middle_b)) for angle, shift in kept]


def _near(angle: float, shift: Floats, other: float, other_shift: Floats) -> bool:
    """Whether two candidates are one and the same peak."""
    apart = abs((angle - other + np.pi) % (2 * np.pi) - np.pi)
    return apart < np.radians(15) and bool(np.linalg.norm(shift - other_shift) < 1.0)


def _cell(moving: Floats, fixed: Floats) -> float:
    """Edge of the cells: 0.4 m, larger where the scans are so wide that the grid would not fit. [m]"""
    extent = np.ptp(moving, axis=0) + np.ptp(fixed, axis=0)
    wide = float(np.hypot(*extent[:2]))
    return max(_CELL, float(np.cbrt(wide * wide * extent[2] / _MOST_CELLS)))


def _filled(xyz: Floats, shape: tuple[int, ...], cell: float) -> Floats:
    """1 in every cell that holds a point, cells counted round the end of the grid."""
    ijk = np.floor(xyz / cell).astype(np.int64) % np.array(shape)
    grid = np.zeros(shape)
    grid[ijk[:, 0], ijk[:, 1], ijk[:, 2]] = 1.0
    return grid


def _blurred(grid: Floats) -> Floats:
    """A cell and half its two neighbours each way, at most 1."""
    for axis in range(3):
        grid = grid + 0.5 * (np.roll(grid, 1, axis) + np.roll(grid, -1, axis))
    return np.minimum(grid, 1.0)


def _quick_size(least: int) -> int:
    """The next whole number with no prime factor above 5: quick to transform."""
    size = least
    while True:
        rest = size
        for prime in (2, 3, 5):
            while rest % prime == 0:
                rest //= prime
        if rest == 1:
            return size
        size += 1
