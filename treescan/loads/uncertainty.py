"""How sure is the margin? Diameters, strength, union factor, friction, mass and the rope's place all vary; the decision looks
at the low end.

Everything is a map from independent standard normals to the margin, so that drawing at random (Monte Carlo) and the slope at
the middle (first order) answer the same question and can be held against each other.

What is counted once. The share of clear-wood strength that live branches kept (0.40 of MOR on the circle over bark) and its scatter
(0.446) were measured on attached branches, pulled until they broke in the branch or at the union, every stress over the MOR of the
branch's own wood (Kane 2007). So
- bark, the oval section taken for a circle, knots, and the weakness of an ordinary union are in the share: the union factor is 1
  without a range there, and acts only beyond (see `union_check`);
- how much the wood of one tree differs from the table's row is not in it, because each branch was held against its own wood: the
  scatter of MOR comes on top, once (0.16 beside 0.446 widens the spread from 0.43 to 0.45 only);
- the error of the scan's diameter is not in it either: those branches were measured by hand;
- an oval that is reported, or measured beyond doubt, moves the stress by its own ratio on top: what the ovals of those branches did on the
  whole is in the share, so a limb higher than wide may gain a few per cent twice, far inside the scatter.
A tree that stands carries its own weight. Draws in which it could not are left out: without that, a heavy limb would be refused for a
strength so low that it would have broken long ago. Wind and snow it has borne are not counted, so nothing is flattered.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numba import njit
from scipy.special import ndtr

from treescan.estimate import Estimate
from treescan.loads.settings import LoadSettings
from treescan.wood.graph import Floats

FIXED = 5
"""Normals ahead of those of the diameters: mass, strength, union factor, rope place, friction."""

PLENTY = 12.0
"""Own-weight margins beyond this at the middle values need no look: no draw makes them 1 (5 log standard deviations, derived)."""

LEAST_STANDING = 0.05
"""Least share of the draws in which the tree stands, for the rest of them to be believed (project choice)."""


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
    return _run(case, z)[0]


def both_margins(case: MarginCase, z: Floats) -> tuple[Floats, Floats]:
    """Least strength over stress of all sections under the load, and under the tree's own weight alone, (n,) each.

    The second is infinite where its middle value is beyond `PLENTY`: there nothing can be learnt from the wood standing.
    """
    _, load, own = _run(case, z)
    return load, own


def _run(case: MarginCase, z: Floats) -> tuple[Floats, Floats, Floats]:
    """Margins (n, s), and the least of them and of those under the own weight alone (n,)."""
    z = np.ascontiguousarray(z)
    legs = np.exp(case.mass_sd * z[:, :1])
    if case.turn_sum.any():
        mu = triangular(z[:, 4:5], *case.mu)
        legs = legs * np.exp(-(mu - case.mu_used) * case.turn_sum)
    else:
        legs = np.repeat(legs, len(case.turn_sum), axis=1)
    return _margins(
        z, ndtr(z[:, 2]), legs, case.axis, case.radius, case.sd, case.tangle, case.bending, case.crushing, case.shear,
        case.spread, case.k, case.force, case.moment, case.shift, case.least_shift, case.own_weight,
        case.own_moment, case.mass_sd, case.rest_sd, PLENTY,
    )  # fmt: skip


@njit(cache=True, error_model="numpy")
def _use(fx, fy, fz, mx, my, mz, axis, r, bending, crushing, shear):  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    """Stress over strength of one round section under force and moment."""
    tx, ty, tz = axis
    n = fx * tx + fy * ty + fz * tz
    v = np.sqrt(max(fx * fx + fy * fy + fz * fz - n * n, 0.0))
    t = mx * tx + my * ty + mz * tz
    m = np.sqrt(max(mx * mx + my * my + mz * mz - t * t, 0.0))
    area, z = np.pi * r * r, np.pi * r * r * r / 4
    along = abs(n) / (area * (crushing if n < 0 else bending)) + m / (z * bending)
    return max(along, 4 * v / (3 * area * shear) + abs(t) / (2 * z * shear))


@njit(cache=True, error_model="numpy")
def _margins(  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    z, at, legs, axis, radius, sd, tangle, bending, crushing, shear, spread, k, force, moment, shift, least_shift,
    own_weight, own_moment, mass_sd, rest_sd, plenty,
):  # fmt: skip
    """See `both_margins`; `at` (n,) is the union factor's probability, `legs` (n, q) what every leg takes of its middle value."""
    draws, sections, q = len(z), len(radius), force.shape[1]
    out, least, own_least = np.empty((draws, sections)), np.full(draws, np.inf), np.full(draws, np.inf)
    heavy = np.empty(sections, np.bool_)
    for s in range(sections):
        alone = _use(
            0.0, 0.0, -own_weight[s], own_moment[s, 0], own_moment[s, 1], own_moment[s, 2], axis[s], radius[s],
            bending[s] * k[s, 1], crushing[s], shear[s],
        )  # fmt: skip
        heavy[s] = alone * plenty > 1.0
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
            own, r = size * size, radius[s] * size
            fz0, mx0, my0, mz0 = -own * own_weight[s], own * own_moment[s, 0], own * own_moment[s, 1], own * own_moment[s, 2]
            if heavy[s]:
                alone = _use(0.0, 0.0, fz0, mx0, my0, mz0, axis[s], r, bending[s] * factor, crushing[s], shear[s])
                own_least[d] = min(own_least[d], strength / alone)
            fx, fy, fz = 0.0, 0.0, fz0
            mx, my, mz = moved * shift[s, 0] + mx0, moved * shift[s, 1] + my0, moved * shift[s, 2] + mz0
            for j in range(q):
                w = legs[d, j]
                fx += w * force[s, j, 0]
                fy += w * force[s, j, 1]
                fz += w * force[s, j, 2]
                mx += w * moment[s, j, 0]
                my += w * moment[s, j, 1]
                mz += w * moment[s, j, 2]
            used = _use(fx, fy, fz, mx, my, mz, axis[s], r, bending[s] * factor, crushing[s], shear[s])
            out[d, s] = strength / max(used, 1e-300)
            least[d] = min(least[d], out[d, s])
    return out, least, own_least


def drawn(case: MarginCase, z: Floats, *, stands: bool = True, also: Sequence[MarginCase] = ()) -> tuple[Estimate, float]:
    """Margin of the weakest section over draws z (n, at least `dimensions`), and the chance that it is overloaded.

    `also` are further loads the same wood must bear: in every draw the worst of all counts.

    With `stands` the draws are left out in which the wood would break under its own weight alone: it is there, so they are not so.
    Fewer than `LEAST_STANDING` of the draws left means that the tree as measured is not this tree: *not seen*.
    """
    least, own = both_margins(case, z[:, : case.dimensions])
    for other in also:
        more, own_more = both_margins(other, z[:, : other.dimensions])
        least, own = np.minimum(least, more), np.minimum(own, own_more)
    if stands:
        up = own > 1.0
        if up.mean() < LEAST_STANDING:
            return Estimate(float("nan"), float("nan"), float("nan")), float("nan")
        least = least[up]
    return Estimate.of(least), float(np.mean(least < 1.0))


def monte_carlo(case: MarginCase, rng: np.random.Generator, samples: int, *, stands: bool = True) -> tuple[Estimate, float]:
    """`drawn` with draws of its own."""
    return drawn(case, rng.standard_normal((samples, case.dimensions)), stands=stands)


def first_order(case: MarginCase, *, stands: bool = True) -> Estimate:
    """Margin of the weakest section from one change at a time, without drawing.

    Each uncertain quantity alone is moved to the places of a five-point Gauss rule; means, variances and third moments of what that does
    to the logarithm of the margin add up, and give the percentiles (Cornish and Fisher's first term). With `stands`, the margin under the
    own weight alone is a second such sum, correlated with the first, and must exceed 1.
    """
    d, points = case.dimensions, len(GAUSS)
    z = np.concatenate([np.zeros((1, d)), *(g * np.eye(d) for g, _ in GAUSS)])
    load, own = (np.log(np.minimum(m, 1e30)) for m in both_margins(case, z))
    change, own_change = ((x[1:] - x[0]).reshape(points, d) for x in (load, own))
    mean, sd, skew = _sum_of_changes(float(load[0]), change)
    own_mean, own_sd, own_skew = _sum_of_changes(float(own[0]), own_change)
    u = np.linspace(-6, 6, 2401)
    log = np.maximum.accumulate(mean + sd * (u + skew / 6 * (np.minimum(u * u, 9.0) - 1)))
    weight = np.exp(-0.5 * u * u)
    if stands and own_sd > 0 and sd > 0:
        both = float(np.sum(_mean(change * own_change) - _mean(change) * _mean(own_change)))
        along = both / (sd * own_sd)
        own_middle = own_mean - own_sd * own_skew / 6
        weight *= ndtr((own_middle + own_sd * along * u) / (own_sd * np.sqrt(max(1 - along * along, 1e-6))))
    share = np.cumsum(weight) / weight.sum()
    mid, p5, p95 = np.exp(np.interp([0.5, 0.05, 0.95], share, log))
    return Estimate(float(mid), float(p5), float(p95))


GAUSS = tuple((sign * z, w) for z, w in ((1.3556261799742659, 0.2220759220056126), (2.8569700138728056, 0.01125741132772069)) for sign in (1, -1))
"""Places and weights of the five-point Gauss-Hermite rule for a standard normal, the middle left out."""


def _mean(values: Floats) -> Floats:
    """Mean over a standard normal of what is 0 in the middle and (points, d) at the other places of the Gauss rule."""
    return np.asarray(np.array([w for _, w in GAUSS]) @ values, float)


def _sum_of_changes(middle: float, change: Floats) -> tuple[float, float, float]:
    """Mean, standard deviation and skewness of `middle` plus the independent changes (points, d)."""
    first, second, third = _mean(change), _mean(change**2), _mean(change**3)
    variance = float(np.sum(second - first**2))
    moment = float(np.sum(third - 3 * first * second + 2 * first**3))
    return middle + float(first.sum()), float(np.sqrt(variance)), moment / variance**1.5 if variance > 0 else 0.0
