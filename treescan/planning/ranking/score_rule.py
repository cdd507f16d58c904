"""How do the desirabilities of a candidate make one score?"""

from __future__ import annotations

import numpy as np

from treescan.planning.settings import CRITERIA
from treescan.planning.tie_in_point import Floats

FOR_THE_WORK = np.array([c in {"height", "rope angle", "coverage"} for c in CRITERIA])
"""Criteria that say how well a tie-in point serves the work; the others say how good an anchor it is."""


def groups(value: Floats, weights: Floats) -> tuple[Floats, Floats]:
    """Weighted mean of the criteria for the work, and of those for the anchor, each (...).

    Parameters
    ----------
    value, weights : (..., 7) float     In the order of `CRITERIA`; weights sum to 1 along the last axis.
    """
    work = np.sum(value * weights * FOR_THE_WORK, axis=-1) / np.maximum(
        np.sum(weights * FOR_THE_WORK, axis=-1), 1e-12
    )
    anchor = np.sum(value * weights * ~FOR_THE_WORK, axis=-1) / np.maximum(
        np.sum(weights * ~FOR_THE_WORK, axis=-1), 1e-12
    )
    return work, anchor


def combined(value: Floats, weights: Floats) -> Floats:
    """The score, (...): work^a x anchor^(1 - a), a the share of the weights that lie on the work.

    Within a group good makes up for bad; between the groups it does not: a strong union that serves no work
    scores nothing, and neither does one that serves all of it on no margin.
    """
    work, anchor = groups(value, weights)
    share = np.sum(weights * FOR_THE_WORK, axis=-1)
    return work**share * anchor ** (1 - share)


def pull(one: Floats, other: Floats, weights: Floats) -> Floats:
    """What each criterion does to the logarithm of the score from `other` to `one`, to first order, (7,)."""
    (w1, a1), (w2, a2) = groups(one, weights), groups(other, weights)
    mean = np.where(FOR_THE_WORK, (w1 + w2) / 2, (a1 + a2) / 2)
    return weights * (one - other) / np.maximum(mean, 0.05)
