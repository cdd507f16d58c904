"""How sure is the margin? Diameters, strength, union factor, friction, mass and the rope's place all vary; the decision looks
at the low end.

Everything is a map from independent standard normals to the margin, so that drawing at random (Monte Carlo) and the slope at
the middle (first order) answer the same question and can be held against each other.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from scipy.special import ndtr

from treescan.estimate import Estimate
from treescan.loads.settings import LoadSettings
from treescan.wood.graph import Floats

FIXED = 5
"""Normals ahead of those of the diameters: mass, strength, union factor, rope place, friction."""

FIVE_PERCENT = 1.6448536269514722


@dataclass(frozen=True)
class MarginCase:
    """The sections that may govern under one load, with what is uncertain about them.

    Attributes
    ----------
    axis : (s, 3); radius, sd : (s,)    [m], relative
    tangle : (s, s) float       Lower Cholesky factor of the correlation of the diameters.
    bending, crushing, shear : (s,)     Median strengths without union factor, reports included. [Pa]
    spread : float              Log standard deviation common to them.
    k : (s, 3)                  Union factor low, middle, high.
    force, moment : (s, q, 3)   Of leg q at the middle values. [N], [N m]
    turn_sum : (q,) float       Turning between the climber and leg q where friction is counted, else 0. [rad]
    mu : (3,) float             Low, middle, high friction.
    mu_used : float             Friction already in `force` and `moment`.
    shift : (s, 3) float        Change of moment per metre the rope moves out along the limb. [N]
    least_shift : float         It cannot move further in than this. [m]
    own_weight : (s,) float, own_moment : (s, 3)    [N], [N m]
    mass_sd, rest_sd : float    Relative; [m]
    """

    axis: Floats
    radius: Floats
    sd: Floats
    tangle: Floats
    bending: Floats
    crushing: Floats
    shear: Floats
    spread: float
    k: Floats
    force: Floats
    moment: Floats
    turn_sum: Floats
    mu: Floats
    mu_used: float
    shift: Floats
    least_shift: float
    own_weight: Floats
    own_moment: Floats
    mass_sd: float
    rest_sd: float

    @property
    def dimensions(self) -> int:
        """Number of independent standard normals."""
        return FIXED + len(self.radius)


def correlation_factor(limb: np.ndarray, along: Floats, settings: LoadSettings) -> Floats:
    """Lower Cholesky factor of the diameters' correlation: common to a limb, the rest fading with distance, none between limbs.

    Parameters
    ----------
    limb : (s,) int, along : (s,) float     Limb and place along the load path of every section. [m]
    """
    same = limb[:, None] == limb[None, :]
    fade = np.exp(-np.abs(along[:, None] - along[None, :]) / settings.diameter_reach)
    c = settings.diameter_common
    return np.asarray(np.linalg.cholesky(np.where(same, c + (1 - c) * fade, 0.0) + 1e-10 * np.eye(len(limb))), float)


def triangular(z: Floats, low: float, middle: float, high: float) -> Floats:
    """Value of a triangular distribution at standard normal z; low = high gives that value."""
    u = ndtr(z)
    if high <= low:
        return np.full_like(u, middle)
    width = high - low
    knee = (middle - low) / width
    up = low + np.sqrt(np.maximum(u * width * (middle - low), 0.0))
    down = high - np.sqrt(np.maximum((1 - u) * width * (high - middle), 0.0))
    return np.where(u <= knee, up, down)


def margins(case: MarginCase, z: Floats) -> Floats:
    """Strength over stress of every section for standard normals z (n, dimensions), as (n, s)."""
    legs = np.exp(case.mass_sd * z[:, :1])
    if case.turn_sum.any():
        mu = triangular(z[:, 4:5], *case.mu)
        legs = legs * np.exp(-(mu - case.mu_used) * case.turn_sum)
    else:
        legs = np.repeat(legs, len(case.turn_sum), axis=1)
    return _margins(
        z, ndtr(z[:, 2]), legs, case.axis, case.radius, case.sd, case.tangle, case.bending, case.crushing, case.shear,
        case.spread, case.k, case.force, case.moment, case.shift, case.least_shift, case.own_weight,
        case.own_moment, case.mass_sd, case.rest_sd,
    )  # fmt: skip


@njit(cache=True, error_model="numpy")
def _margins(  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    z, at, legs, axis, radius, sd, tangle, bending, crushing, shear, spread, k, force, moment, shift, least_shift,
    own_weight, own_moment, mass_sd, rest_sd,
):  # fmt: skip
    """See `margins`; `at` (n,) is the union factor's probability, `legs` (n, q) what every leg takes of its middle value."""
    draws, sections, q = len(z), len(radius), force.shape[1]
    out = np.empty((draws, sections))
    for d in range(draws):
        strength = np.exp(spread * z[d, 1])
        moved = max(rest_sd * z[d, 3], least_shift) * np.exp(mass_sd * z[d, 0])
        for s in range(sections):
            size = 0.0
            for j in range(s + 1):
                size += tangle[s, j] * z[d, FIXED + j]
            size = np.exp(sd[s] * size)
            low, middle, high = k[s]
            factor = middle
            if high > low:
                if at[d] * (high - low) <= middle - low:
                    factor = low + np.sqrt(at[d] * (high - low) * (middle - low))
                else:
                    factor = high - np.sqrt((1 - at[d]) * (high - low) * (high - middle))
            own = size * size
            fx, fy, fz = 0.0, 0.0, -own * own_weight[s]
            mx = moved * shift[s, 0] + own * own_moment[s, 0]
            my = moved * shift[s, 1] + own * own_moment[s, 1]
            mz = moved * shift[s, 2] + own * own_moment[s, 2]
            for j in range(q):
                w = legs[d, j]
                fx += w * force[s, j, 0]
                fy += w * force[s, j, 1]
                fz += w * force[s, j, 2]
                mx += w * moment[s, j, 0]
                my += w * moment[s, j, 1]
                mz += w * moment[s, j, 2]
            tx, ty, tz = axis[s]
            n = fx * tx + fy * ty + fz * tz
            v = np.sqrt(max(fx * fx + fy * fy + fz * fz - n * n, 0.0))
            t = mx * tx + my * ty + mz * tz
            m = np.sqrt(max(mx * mx + my * my + mz * mz - t * t, 0.0))
            r = radius[s] * size
            area, z3 = np.pi * r * r, np.pi * r * r * r / 4
            along = abs(n) / (area * (crushing[s] if n < 0 else bending[s] * factor)) + m / (z3 * bending[s] * factor)
            across = 4 * v / (3 * area * shear[s]) + abs(t) / (2 * z3 * shear[s])
            out[d, s] = strength / max(along, across, 1e-300)
    return out


def monte_carlo(case: MarginCase, rng: np.random.Generator, samples: int) -> tuple[Estimate, float]:
    """Margin of the weakest section by drawing, and the chance that it is overloaded."""
    least = margins(case, rng.standard_normal((samples, case.dimensions))).min(axis=1)
    return Estimate.of(least), float(np.mean(least < 1.0))


def first_order(case: MarginCase) -> Estimate:
    """Margin of the weakest section from one change at a time, without drawing (log-normal, errors added in squares).

    Each uncertain quantity alone is moved to its own 5th and 95th percentile; what it costs the logarithm of the margin is added in
    squares with what the others cost. For small, even effects this is the usual first-order rule; where a quantity costs more one way
    than it gives the other, the median moves by half the difference (the second-order term).
    """
    d = case.dimensions
    z = FIVE_PERCENT * np.concatenate([np.zeros((1, d)), np.eye(d), -np.eye(d)])
    log = np.log(margins(case, z).min(axis=1))
    change = np.stack([log[1 : d + 1], log[d + 1 :]]) - log[0]
    worse, better = np.minimum(change.min(axis=0), 0.0), np.maximum(change.max(axis=0), 0.0)
    middle = float(np.exp(log[0]))
    bend = 0.5 * float(change.sum()) / FIVE_PERCENT**2  # uneven effects move the middle
    return Estimate(
        middle * float(np.exp(bend)), middle * float(np.exp(-np.linalg.norm(worse))), middle * float(np.exp(np.linalg.norm(better)))
    )
