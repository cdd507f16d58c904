"""Were the coordinates rounded, or thinned onto a grid, before the file was written?"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

STEPS = np.array(sorted(float(f"{d}e{e}") for e in range(-4, 1) for d in (1, 1.5, 2, 2.5, 3, 4, 5, 6, 8)))
"""Steps looked for, in file units: those people choose."""

CLOSE = 0.02
"""A coordinate within this share of a step from the grid is on it; chance alone puts 4 % there."""

ENOUGH = 0.98
"""Share of coordinates that have to be on the grid."""

LEAST_LEVELS = 5
"""Grid planes that must be met, so that a flat floor is not taken for a grid."""


def rounding_step(sample: NDArray[np.float64]) -> NDArray[np.float64]:
    """Widest step on whose multiples (from any start) the coordinates lie, along each axis.

    Parameters
    ----------
    sample : (n, 3) float   File units, small numbers (relative to an offset).

    Returns
    -------
    (3,) float              File units; 0 where no grid was found.
    """
    return np.array([_step_along(sample[:, k]) for k in range(3)])


def _step_along(values: NDArray[np.float64]) -> float:
    """The widest step for one axis; 0 for none."""
    if len(values) < 50:
        return 0.0
    values = values - values.min()
    few = values[:: max(1, len(values) // 2000)]
    for step in STEPS[::-1]:
        if values.max() >= LEAST_LEVELS * step and _on_grid(few, step) and _on_grid(values, step):
            levels = len(np.unique(np.round((values - _start(values, step)) / step)))
            if levels >= LEAST_LEVELS:
                return float(step)
    return 0.0


def _start(values: NDArray[np.float64], step: float) -> float:
    """Where the grid starts: the circular mean of the remainders."""
    turn = np.exp(2j * np.pi * np.mod(values, step) / step).mean()
    return float(np.angle(turn) / (2 * np.pi) * step)


def _on_grid(values: NDArray[np.float64], step: float) -> bool:
    """True where nearly all values are multiples of the step from one start."""
    steps = (values - _start(values, step)) / step
    return bool(np.mean(np.abs(steps - np.round(steps)) < CLOSE) >= ENOUGH)
