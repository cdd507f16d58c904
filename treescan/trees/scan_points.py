"""Which points of the scan are kept to be looked at? An even pick of the tree's, as 16-bit steps, ordered so that any first part of them is an even pick too."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from treescan.arrays import Floats, Floats32
from treescan.short_repr import ShortRepr

MOST = 200_000
"""Points that are kept."""
FINEST = 0.002
"""No step is smaller: a scan's own noise is not. [m] (project choice)"""
STEPS = 65_535
HALVINGS = 3
"""The first 1/8 of the points is an even pick of all, so are the first 1/4 and the first half."""


@dataclass(frozen=True, repr=False)
class ScanPoints(ShortRepr):
    """Points for pictures: nothing is measured on them.

    Attributes
    ----------
    low : (3,) float            Lowest x, y and z. [m, local]
    step : float                [m]
    steps : (n, 3) uint16       Steps from `low`, coarse picks first.
    """

    low: Floats
    step: float
    steps: NDArray[np.uint16]

    def __len__(self) -> int:
        return len(self.steps)

    def xyz(self, most: int = MOST) -> Floats32:
        """Places of the first `most` points. [m, local]"""
        return (self.low + self.step * self.steps[:most]).astype(np.float32)

    @property
    def top(self) -> float:
        """Height of the highest point. [m, local]"""
        return float(self.low[2] + self.step * self.steps[:, 2].max())


def scan_points(clouds: Iterable[ArrayLike], most: int = MOST) -> ScanPoints | None:
    """At most `most` points, evenly taken of their order; None where there are none.

    Parameters
    ----------
    clouds : iterable of (k, 3) float       [m, local]
    """
    xyz = np.concatenate([np.asarray(c, float).reshape(-1, 3) for c in clouds])
    if len(xyz) == 0:
        return None
    xyz = xyz[np.linspace(0, len(xyz) - 1, min(most, len(xyz))).astype(int)]
    low = xyz.min(axis=0)
    step = max(FINEST, float((xyz - low).max()) / STEPS)
    steps = np.round((xyz - low) / step).astype(np.uint16)
    return ScanPoints(low, step, steps[_coarse_first(len(steps))])


def _coarse_first(n: int) -> NDArray[np.intp]:
    """Every eighth row, then those midway between, and so on; a part keeps the order of its rows."""
    row = np.arange(n)
    first = 1 << HALVINGS
    parts = [row[::first]]
    for k in range(HALVINGS, 0, -1):
        parts.append(row[1 << (k - 1) :: 1 << k])
    return np.concatenate(parts)
