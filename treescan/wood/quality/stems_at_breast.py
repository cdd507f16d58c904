"""How thick is every stem at breast height? One for most trees, several for clumps and low forks."""

from __future__ import annotations

import numpy as np

from treescan.wood.graph import BREAST_HEIGHT, Floats, Ints, StemAtBreast, WoodGraph

LEAST_KNOWN = 0.25
"""A diameter whose standard deviation is a larger share of it than this was not measured and is not stated (a choice of this project)."""
STEM_SHARE, UPRIGHT = 0.5, 0.5
"""What crosses breast height is a stem from this share of the thickest one's radius, and so steep (sine; a choice of this project)."""
SWELLS, LOWEST, ARM_SHARE = 1.0, 0.3, 0.5
"""A fork swells the stem below it over so many of its diameters; no diameter is read lower above the ground than the second [m]; it is a fork where
the side limb has the third of the stem's diameter (a choice of this project; to measure below a swelling and state the height is common practice)."""


def stems_at_breast(graph: WoodGraph, ground: float, breast_height: float = BREAST_HEIGHT) -> tuple[StemAtBreast, ...]:
    """Every stem that crosses breast height, thickest first.

    Parameters
    ----------
    ground : float          Height of the highest ground touching the stem. [m, local]
    breast_height : float   [m]
    """
    z = ground + breast_height
    heights = graph.xyz[:, 2]
    below = np.maximum(graph.parent, 0)
    node = np.flatnonzero((graph.parent >= 0) & (heights[below] < z) & (heights >= z))
    way = graph.xyz[node] - graph.xyz[graph.parent[node]]
    node = node[way[:, 2] >= UPRIGHT * np.linalg.norm(way, axis=1)]
    if len(node) == 0:
        return ()
    thick = graph.segment_radius[node]
    node = node[thick >= STEM_SHARE * thick.max()]
    out = []
    for k in np.unique(graph.limb[node]):
        line = graph.limbs.nodes[k]
        at = _below_swelling(graph, int(k), z, ground + LOWEST)
        dbh, sd = diameter_at(graph, _with_union(graph, line), at)
        place = np.array([np.interp(at, graph.xyz[line, 2], graph.xyz[line, a]) for a in range(2)])
        out.append(StemAtBreast(int(k), np.array([*place, at]), at - ground, dbh, sd))
    out.sort(key=lambda stem: -stem.dbh if stem.dbh == stem.dbh else 0.0)
    return tuple(out)


def _with_union(graph: WoodGraph, line: Ints) -> Ints:
    """A limb's nodes with the one it leaves from."""
    first = int(graph.parent[line[0]])
    return line if first < 0 else np.concatenate([[first], line])


def _below_swelling(graph: WoodGraph, limb: int, z: float, lowest: float) -> float:
    """Height at which a stem is measured: z, or below the fork that swells it there. [m, local]"""
    unions = graph.unions
    height = z
    for u in np.argsort(-unions.place[:, 2]):
        fork = float(unions.place[u, 2])
        rows = unions.arms(int(u))
        side = unions.arm_diameter[rows][~unions.arm_continues[rows]]
        diameter = float(unions.parent_diameter[u])
        if graph.limb[unions.node[u]] != limb or len(side) == 0 or side.max() < ARM_SHARE * diameter:
            continue
        if height <= fork and height > fork - SWELLS * diameter:
            height = fork - SWELLS * diameter
    return max(height, lowest) if height < z else z


def diameter_at(graph: WoodGraph, stem: Ints, z: float) -> tuple[float, float]:
    """Diameter and its standard deviation where a line of nodes rises through a height [m, local]; NaN where it was not seen well enough. [m]"""
    heights: Floats = graph.xyz[stem, 2]
    above = np.flatnonzero(heights >= z)
    if len(above) == 0 or above[0] == 0:
        return float("nan"), float("nan")
    j = int(above[0])
    a, b = stem[j - 1], stem[j]
    if not graph.seen[b]:
        return float("nan"), float("nan")
    f = (z - heights[j - 1]) / max(heights[j] - heights[j - 1], 1e-9)
    r = (1 - f) * graph.radius[a] + f * graph.radius[b]
    sd = (
        max(graph.radius_sd[a], graph.radius_sd[b])
        if np.isfinite(graph.radius_sd[[a, b]]).all()
        else float("nan")
    )
    if sd > LEAST_KNOWN * r:
        return float("nan"), float("nan")
    return float(2 * r), float(2 * sd)
