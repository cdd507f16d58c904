"""How likely is the wood to break under the load, given that it stands, and given that it passed a load test?

Plain draws cannot see a chance of one in a thousand. So the part of its strength that every limb has by itself is not drawn but integrated:
all else is drawn (diameters, wood, mass, friction, the rope's place), and in each draw the limb's own log strength is a normal deviate e with
standard deviation s, so that with m the margin at e = 0 and w the same under the own weight alone

    breaks      e < -ln(m) / s
    stands      e' > -ln(w) / s,   e' = e in the same bending plane, else correlated with it by rho
    passed      e > ln(t / m) / s, t the test's moment over the hardest ordinary one, times the strength gained in a short test

The chance is one minus (share of draws and e that stand, passed and do not break) over (share that stand and passed). Two bounds of
correlated normals go through the bivariate normal distribution (Owen's T function).

References
----------
Owen 1956, Ann. Math. Stat. 27:1075 (bivariate normal by T); updating by a load borne: proven_service in treescan/sources.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, owens_t

Floats = NDArray[np.float64]

NEVER = -8.0
"""Standard deviations below which a normal never lies (6e-16)."""


@dataclass(frozen=True)
class SectionDraws:
    """The sections that may govern, in each draw of all that is common.

    Attributes
    ----------
    margin : (s, n) float       Strength over stress of every section with its limb's own part of the strength at the middle.
    own : (s, n) float          The same under the tree's own weight alone; infinite where it does not matter.
    spread : (s, n) float       Log standard deviation of the limb's own part.
    plane : (s,) float          Correlation of that part between the plane of the load and that of the own weight.
    limb : (s,) int             Sections of one limb share its own part.
    """

    margin: Floats
    own: Floats
    spread: Floats
    plane: Floats
    limb: NDArray[np.int_]


def overload_chance(sections: SectionDraws, *, passed: Floats | None = None) -> float:
    """Chance that stress exceeds strength somewhere.

    Parameters
    ----------
    sections : SectionDraws
    passed : (s, n) float, optional     Margin that a passed load test has shown at least.

    Returns
    -------
    float   NaN where the tree stands, or passed the test, in none of the draws.
    """
    with np.errstate(divide="ignore"):
        breaks = -np.log(sections.margin) / sections.spread
        stands = -np.log(sections.own) / sections.spread
        held = np.full_like(breaks, -np.inf) if passed is None else np.log(passed / sections.margin) / sections.spread
    there, sound = np.ones(breaks.shape[1]), np.ones(breaks.shape[1])
    for limb in np.unique(sections.limb):
        rows = sections.limb == limb
        a, b, h = (of[rows].max(axis=0) for of in (breaks, stands, held))
        plane = sections.plane[rows].min()
        there *= _both_above(h, b, plane)
        sound *= _both_above(np.maximum(h, a), b, plane)
    total = there.sum()
    return float(1.0 - sound.sum() / total) if total > 0 else float("nan")


def _both_above(first: Floats, second: Floats, correlation: float) -> Floats:
    """Chance that one standard normal lies above `first` and another, correlated with it, above `second`."""
    if correlation >= 1.0 - 1e-9 or np.max(second) < NEVER:
        return np.asarray(ndtr(-np.maximum(first, second)), float)
    if np.max(first) < NEVER:
        return np.asarray(ndtr(-second), float)
    out = np.asarray(ndtr(-first), float)
    both = np.flatnonzero(~(second < NEVER))  # elsewhere the second says nothing
    out[both] = _bivariate(-first[both], -second[both], correlation)
    return out


def _bivariate(h: Floats, k: Floats, r: float) -> Floats:
    """P(X < h, Y < k) of standard normals with correlation r, by Owen's T."""
    h, k = np.clip(h, -37.0, 37.0), np.clip(k, -37.0, 37.0)
    h, k = np.where(h == 0, 1e-12, h), np.where(k == 0, 1e-12, k)
    root = np.sqrt(1.0 - r * r)
    part = owens_t(h, (k - r * h) / (h * root)) + owens_t(k, (h - r * k) / (k * root))
    return np.clip(0.5 * (ndtr(h) + ndtr(k)) - part - np.where(h * k < 0, 0.5, 0.0), 0.0, 1.0)
