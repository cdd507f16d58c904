"""What the tests hold the loads room against, and the product has no use for: margins of single sections, draws of their own, first order,
capstan tensions along a rope, whole checks from a graph."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike
from scipy.stats import multivariate_normal

from treescan.estimate import Estimate
from treescan.loads.chance.reliability import MarginCase, each_margin, sampled_reliability
from treescan.loads.checks.anchor import checked
from treescan.loads.limb_check import AnchorCheck, AnchorConfiguration
from treescan.loads.material.wood_strength import Wood
from treescan.loads.rope.rope_run import RopeRun, Supports
from treescan.loads.settings import LoadSettings
from treescan.loads.statics.structural_model import whole_tree
from treescan.trees.beside import Beside
from treescan.wood.graph import Floats, WoodGraph


def check_anchors(
    graph: WoodGraph, beside: Beside, wood: Wood, configurations: Sequence[AnchorConfiguration], work_xyz: Floats, settings: LoadSettings, seed: int
) -> tuple[AnchorCheck, ...]:
    """As `checked`, from the tree's own parts."""
    return checked(whole_tree(graph, beside, wood, settings, seed), configurations, work_xyz)


def tensions(run: RopeRun, at_end: float, mu: ArrayLike = 0.0) -> Floats:
    """Tension of every leg from the start to the end, (c + 1,), when friction `mu` (c,) helps to hold the end. [N]

    T_before = T_after exp(-mu beta) at each support (capstan); with mu = 0 the same tension everywhere.
    """
    drop = np.broadcast_to(np.asarray(mu, float), run.turn.shape) * run.turn
    return at_end * np.exp(-np.concatenate([np.cumsum(drop[::-1])[::-1], [0.0]]))


def subset(supports: Supports, keep: Sequence[int]) -> Supports:
    """Some of the supports, in the order given."""
    i = np.asarray(keep, int)
    s = supports
    return Supports(s.origin[i], s.axis[i], s.top[i], s.radius[i], s.taper[i], s.low[i], s.high[i], s.sense[i])


def margins(case: MarginCase, z: Floats) -> Floats:
    """Strength over stress of every section for standard normals z (n, dimensions), as (n, s)."""
    return each_margin(case, z)[0].T


def monte_carlo(case: MarginCase, rng: np.random.Generator, samples: int, *, stands: bool = True) -> tuple[Estimate, float]:
    """`sampled_reliability` with draws of its own."""
    return sampled_reliability(case, rng.standard_normal((samples, case.dimensions)), stands=stands)


def first_order(case: MarginCase, *, stands: bool = True) -> Estimate:
    """Margin of the weakest section from one change at a time, without drawing.

    Each uncertain quantity alone is moved to the places of a five-point Gauss rule; means, variances and third moments of what that does
    to the logarithm of each limb's margin add up, and give its distribution (Cornish and Fisher's first term); the weakest of the limbs
    comes from the normal distribution of them all with the correlations the common quantities make. With `stands`, the margins under the
    own weight alone are further such sums and must exceed 1.
    """
    d, points = case.dimensions, len(GAUSS)
    z = np.concatenate([np.zeros((1, d)), *(g * np.eye(d) for g, _ in GAUSS)])
    load, own = (np.log(np.minimum(m, 1e30)) for m in _by_limb(case, z))
    every = np.concatenate([load, own] if stands else [load])
    change = (every[:, 1:] - every[:, :1]).reshape(len(every), points, d)
    sums = [_sum_of_changes(float(v[0]), c) for v, c in zip(every, change, strict=True)]
    sure = np.array([sd == 0 and k >= len(load) for k, (_, sd, _) in enumerate(sums)])  # an own weight that no draw makes matter
    change, sums = change[~sure], [q for q, out in zip(sums, sure, strict=True) if not out]
    mean = np.array([_mean(c) for c in change])
    together = np.array([[float(np.sum(_mean(a * b) - ma * mb)) for b, mb in zip(change, mean, strict=True)] for a, ma in zip(change, mean, strict=True)])
    scale = np.array([max(sd, 1e-12) for _, sd, _ in sums])
    normal = multivariate_normal(cov=together / np.outer(scale, scale), allow_singular=True)
    u = np.linspace(-6, 6, 2401)
    curves = [np.maximum.accumulate(m + sd * (u + skew / 6 * (np.minimum(u * u, 9.0) - 1))) for m, sd, skew in sums]
    limbs = len(load)
    at = np.linspace(min(c[240] for c in curves[:limbs]), min(c[-240] for c in curves[:limbs]), 160)
    asked = np.column_stack([np.interp(at if k < limbs else np.zeros_like(at), c, u) for k, c in enumerate(curves)])
    share = 1.0 - normal.cdf(-asked) / normal.cdf(np.concatenate([np.full(limbs, 8.0), -asked[0, limbs:]]))
    mid, p5, p95 = np.exp(np.interp([0.5, 0.05, 0.95], np.maximum.accumulate(share), at))
    return Estimate(float(mid), float(p5), float(p95))


def _by_limb(case: MarginCase, z: Floats) -> tuple[Floats, Floats]:
    """As `both_margins`, of every limb that has sections here by itself, (limbs, n) each."""
    load, own = each_margin(case, z)
    rows = [np.flatnonzero(case.limb == k) for k in np.unique(case.limb)]
    return np.array([load[r].min(axis=0) for r in rows]), np.array([own[r].min(axis=0) for r in rows])


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
