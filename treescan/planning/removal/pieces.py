"""What does a piece weigh, where is its weight, and how thick is it at the cut?"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from treescan.estimate import Estimate
from treescan.planning.settings import PlanningSettings
from treescan.planning.work.removal import Cut, Floats, way_to_bark
from treescan.wood.graph import Segments, WoodGraph

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
    Truncated cones x density, summed, from the bark of the parent outward: wood inside the parent counts once. Twigs and
    leaves hang at the tips: a piece with the tip of a limb bears the allowance for the whole limb (of stem and leaders: for the
    piece's own part of them), a log between two cuts none. The 5th and 95th percentiles take density (common to
    all), and radius errors taken as common along a limb: relative variance = sd_density^2 + sum over limbs
    of (2 cv_r m_limb / m)^2.
    """
    share = np.asarray(gone, float)
    rows = np.flatnonzero(share > 0)
    ends = np.ones(len(graph)) if top is None else top
    tips = np.array([share[line[-1]] > 0 if len(line) else False for line in graph.limbs.nodes])
    wood = _volumes(graph, share, ends)[rows] * density
    own = np.bincount(graph.limb[rows], weights=wood, minlength=len(tips))
    limb = np.bincount(graph.limb, weights=_volumes(graph, np.ones(len(graph)), np.ones(len(graph))), minlength=len(tips))
    stems = graph.limbs.order == 0
    limb[stems] = own[stems] / density
    twigs = settings.crown_allowance * np.where(tips & (own > 0), limb * density / np.maximum(own, 1e-12), 0.0)
    mass = wood * (1 + twigs[graph.limb[rows]])
    total = float(mass.sum())
    if total <= 0:
        return Estimate(0.0, 0.0, 0.0)
    sd = graph.radius_sd[rows]
    cv = np.where(np.isfinite(sd), sd / np.maximum(graph.radius[rows], 1e-9), UNKNOWN_CV)
    cv = np.minimum(cv, WORST_CV)
    by_limb = np.bincount(graph.limb[rows], weights=2 * cv * mass)
    spread = float(np.sqrt(settings.green_density_sd**2 + np.sum((by_limb / total) ** 2)))
    return Estimate(total, total * np.exp(-PERCENTILE_95 * spread), total * np.exp(PERCENTILE_95 * spread))


def inside_parent(graph: WoodGraph) -> Floats:
    """Share of every segment, from its lower end, that lies inside the bark of its limb's parent, (n,)."""
    out = np.zeros(len(graph))
    for limb, line in enumerate(graph.limbs.nodes):
        if limb == 0 or len(line) == 0:
            continue
        length = graph.length[line]
        begins = np.cumsum(length) - length
        out[line] = np.clip((way_to_bark(graph, limb) - begins) / np.maximum(length, 1e-12), 0.0, 1.0)
    return out


def _volumes(graph: WoodGraph, taken: Floats, top: Floats) -> Floats:
    """Volume of the share `taken` of every segment, its upper end at the share `top` of the segment's length,
    (n,): truncated cones. [m3]"""
    seg, out = graph.segments, np.zeros(len(graph))
    end = top[seg.node]
    share = np.clip(end - np.maximum(end - taken[seg.node], inside_parent(graph)[seg.node]), 0.0, None)
    firsts = np.array([line[0] for line in graph.limbs.nodes[1:] if len(line)], int)
    foot = np.where(np.isin(seg.node, firsts), seg.r_end, seg.r_start)  # a limb begins with its own radius, not its parent's
    low, high = (foot + at * (seg.r_end - foot) for at in (end - share, end))
    squares = low**2 + low * high + high**2
    out[seg.node] = np.pi / 3 * graph.length[seg.node] * share * squares
    return out


def ends_of(graph: WoodGraph, taken: Floats, top: Floats) -> Floats:
    """Upper ends of the segments of a piece, at an earlier cut where one ends them, (k, 3); `taken` and `top` as in
    `_volumes`. [m, local]"""
    rows = np.flatnonzero(taken > 0)
    low = graph.xyz[np.maximum(graph.parent[rows], 0)]
    return low + top[rows, None] * (graph.xyz[rows] - low)


def wood_of(graph: WoodGraph, taken: Floats, top: Floats) -> Segments:
    """The wood of a piece as it stands, from saw to saw or to its tips; `taken` and `top` as in `_volumes`."""
    seg = graph.segments
    end = top[seg.node]
    begin = end - taken[seg.node]
    rows = np.flatnonzero(taken[seg.node] > 0)
    way, taper = seg.end - seg.start, seg.r_end - seg.r_start
    low, high = begin[rows], end[rows]
    return Segments(
        seg.start[rows] + low[:, None] * way[rows],
        seg.start[rows] + high[:, None] * way[rows],
        seg.r_start[rows] + low * taper[rows],
        seg.r_start[rows] + high * taper[rows],
        seg.limb[rows],
        seg.node[rows],
    )


def farthest_bark(wood: Segments, place: Floats) -> float:
    """From a place (3,) to the farthest bark of a piece: the far edge of the discs at the ends of its segments. [m]"""
    way = wood.end - wood.start
    way = way / np.maximum(np.linalg.norm(way, axis=1), 1e-12)[:, None]
    far = 0.0
    for end, radius in ((wood.start, wood.r_start), (wood.end, wood.r_end)):
        off = end - place
        along = np.sum(off * way, axis=1)
        beside = np.linalg.norm(off - along[:, None] * way, axis=1)
        far = max(far, float(np.hypot(along, beside + np.nan_to_num(radius)).max(initial=0.0)))
    return far


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
