"""What does a piece weigh, where is its weight, and how thick is it at the cut?"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from treescan.estimate import Estimate
from treescan.planning.settings import PlanningSettings
from treescan.planning.work.removal import Cut, Floats, way_to_bark
from treescan.wood.graph import WoodGraph

WORST_CV = 0.3
"""Largest error of a radius over the radius that a mass is spread by: twigs known no better weigh next to
nothing (project choice)."""

UNKNOWN_CV = 0.08
"""Error of a radius over the radius where the scan states none (project choice)."""

PERCENTILE_95 = 1.645
"""Standard deviations from the median of a normal distribution to its 95th percentile."""


def piece_mass(
    graph: WoodGraph,
    gone: Floats | NDArray[np.bool_],
    density: float,
    settings: PlanningSettings,
    top: Floats | None = None,
) -> Estimate:
    """Green mass of the segments that come off, with twigs and leaves. [kg]

    Parameters
    ----------
    gone : (n,) bool or float   Share of each segment (down to the parent) that belongs to the piece.
    top : (n,) float            Share of each segment's length at which the piece ends; None = 1, its node.

    Notes
    -----
    Truncated cones x density x (1 + crown allowance), summed; the allowance for twigs and leaves only for limbs
    whose tip is in the piece: a log between two cuts has none. The 5th and 95th percentiles take density (common to
    all), and radius errors taken as common along a limb: relative variance = sd_density^2 + sum over limbs
    of (2 cv_r m_limb / m)^2.
    """
    share = np.asarray(gone, float)
    rows = np.flatnonzero(share > 0)
    tips = np.array([share[line[-1]] > 0 if len(line) else False for line in graph.limbs.nodes])
    twigs = np.where(tips[graph.limb[rows]], settings.crown_allowance, 0.0)
    mass = _volumes(graph, share, np.ones(len(graph)) if top is None else top)[rows] * density * (1 + twigs)
    total = float(mass.sum())
    if total <= 0:
        return Estimate(0.0, 0.0, 0.0)
    sd = graph.radius_sd[rows]
    cv = np.where(np.isfinite(sd), sd / np.maximum(graph.radius[rows], 1e-9), UNKNOWN_CV)
    cv = np.minimum(cv, WORST_CV)
    by_limb = np.bincount(graph.limb[rows], weights=2 * cv * mass)
    spread = float(np.sqrt(settings.green_density_sd**2 + np.sum((by_limb / total) ** 2)))
    return Estimate(total, total * np.exp(-PERCENTILE_95 * spread), total * np.exp(PERCENTILE_95 * spread))


def _volumes(graph: WoodGraph, taken: Floats, top: Floats) -> Floats:
    """Volume of the share `taken` of every segment, its upper end at the share `top` of the segment's length,
    (n,): truncated cones. [m3]"""
    seg, out = graph.segments, np.zeros(len(graph))
    share, end = taken[seg.node], top[seg.node]
    low, high = (seg.r_start + at * (seg.r_end - seg.r_start) for at in (end - share, end))
    squares = low**2 + low * high + high**2
    out[seg.node] = np.pi / 3 * graph.length[seg.node] * share * squares
    return out


def centre_of(graph: WoodGraph, taken: Floats, top: Floats, place: Floats) -> Floats:
    """Centre of the wood of a piece, (3,); `taken` and `top` as in `_volumes`. [m, local]"""
    rows = np.flatnonzero(taken > 0)
    low = graph.xyz[np.maximum(graph.parent[rows], 0)]
    middle = low + (top[rows] - 0.5 * taken[rows])[:, None] * (graph.xyz[rows] - low)
    weight = _volumes(graph, taken, top)[rows]
    return np.average(middle, axis=0, weights=weight) if weight.sum() > 0 else place


def diameter_at(graph: WoodGraph, cut: Cut) -> tuple[float, float]:
    """Diameter at a cut and its sd: beside a union what was measured past the flare, else between the nodes.
    [m]"""
    u = graph.unions
    limb = int(graph.limb[cut.node])
    rows = np.flatnonzero(u.arm_limb == limb) if limb > 0 else np.zeros(0, int)
    near = [r for r in rows if not u.arm_continues[r]]
    line = graph.limbs.nodes[limb]
    out = float(graph.length[line[: np.flatnonzero(line == cut.node)[0] + 1]].sum())
    out -= (1 - cut.share) * float(graph.length[cut.node])
    if near and out <= way_to_bark(graph, limb) + 0.05:
        return float(u.arm_diameter[near[0]]), float(u.arm_diameter_sd[near[0]])
    low = int(graph.parent[cut.node])
    inner = low if low >= 0 and graph.limb[low] == limb else cut.node
    d = 2 * ((1 - cut.share) * graph.radius[inner] + cut.share * graph.radius[cut.node])
    return float(d), 2 * float(graph.radius_sd[cut.node])
