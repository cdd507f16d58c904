"""Which limbs may be dead? Ends broken off short, or bare while the rest of the tree is in leaf: suspects, not findings."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.spatial import cKDTree

from treescan.wood.graph import DEAD_SUSPECT, Floats, WoodGraph

MIN_THICK = 0.05
"""Thinner limbs are not looked at [m]."""
BLUNT = 0.55
"""A broken end is at least this share of the limb's own diameter."""
SHORT = 20.0
"""A broken limb is no longer than this many of its diameters."""
SURE = 0.10
"""A blunt end counts when its radius is known to this share."""
ROUND = 0.4
"""How far from the wood leaves and twigs count as its own [m]."""
BARE = 0.05
"""A limb with less than this share of the foliage that its length would carry elsewhere on the tree is bare."""
IN_LEAF = 30.0
"""Points of leaves per metre of limb above which the tree counts as in leaf."""
MIN_LEAVES, MIN_LIMBS = 1000, 4
"""Points of leaves and limbs from which bare limbs can be told from others at all."""
MIN_LENGTH = 0.5
"""Shorter limbs are not called bare [m]."""
EXTRA_LENGTH = 0.3
"""Added to the slim wood that a limb carries: twigs that were not modelled [m]."""
OFF_WOOD, OFF_MORE = 1.5, 0.13
"""Points farther from an axis than this many radii and so much more [m] lie off the wood; nodes stand up to 25 cm apart."""
AHEAD, GAP_AHEAD, FEW = 0.25, 0.08, 5
"""How far beyond a broken end nothing may lie [m], where that begins [m], and how many points still count as nothing."""


def with_dead_suspects(graph: WoodGraph, wood: Floats, leaf: Floats) -> WoodGraph:
    """The graph with the flag "dead suspect" on unions whose thickest side limb may be dead.

    Parameters
    ----------
    graph : WoodGraph
    wood, leaf : (n, 3) float   Points of the tree. [m]

    Notes
    -----
    Broken: the end is blunt, the limb short, it carries no other limb, and nothing of the tree lies beyond the end. Bare: the tree is in
    leaf, and the limb with all it carries has almost none. Both are low confidence: a limb hidden beyond its last seen piece looks broken,
    one in the shade looks bare; a dead limb that still has its twigs looks alive when the whole tree is bare.
    """
    suspect = broken(graph, wood, leaf) | bare(graph, wood, leaf)
    u = graph.unions
    flags = tuple(
        (*f, DEAD_SUSPECT)
        if len(rows := u.laterals(k)) and suspect[u.arm_limb[rows[0]]] and DEAD_SUSPECT not in f
        else f
        for k, f in enumerate(u.flags)
    )
    return replace(graph, unions=replace(u, flags=flags))


def _base_diameter(graph: WoodGraph) -> Floats:
    """Diameter past the flare of every limb that leaves a listed union, 0 for the others, (l,). [m]"""
    out = np.zeros(len(graph.limbs))
    u = graph.unions
    rows = np.flatnonzero(~u.arm_continues)
    out[u.arm_limb[rows]] = u.arm_diameter[rows]
    return out


def broken(graph: WoodGraph, wood: Floats, leaf: Floats) -> np.ndarray:
    """True for limbs with a blunt end and nothing beyond it, (l,)."""
    limbs = graph.limbs
    thick = _base_diameter(graph)
    tip = np.array([nodes[-1] for nodes in limbs.nodes])
    length = np.array([graph.length[nodes].sum() for nodes in limbs.nodes])
    carries = np.zeros(len(limbs), bool)
    carries[limbs.parent[1:]] = True
    out = (
        (thick >= MIN_THICK)
        & ~carries
        & (2 * graph.radius[tip] >= BLUNT * thick)
        & (length <= SHORT * thick)
        & graph.seen[tip]
    )
    out &= ~(graph.radius_sd[tip] >= SURE * graph.radius[tip])
    rows = np.flatnonzero(out)
    if len(rows) == 0:
        return out
    points = np.concatenate([wood, leaf])
    for k in rows:
        ahead = graph.xyz[tip[k]] + (0.5 * AHEAD + graph.radius[tip[k]] + GAP_AHEAD) * graph.direction[tip[k]]
        near = points[np.abs(points - ahead).max(axis=1) < AHEAD]
        out[k] = (
            np.count_nonzero(np.linalg.norm(near - ahead, axis=1) < 0.5 * AHEAD + graph.radius[tip[k]]) <= FEW
        )
    return out


def bare(graph: WoodGraph, wood: Floats, leaf: Floats) -> np.ndarray:
    """True for limbs without leaves on a tree in leaf, (l,); points taken for wood that lie off every modelled limb count as leaves too."""
    limbs = graph.limbs
    if len(leaf) < MIN_LEAVES or len(limbs) < MIN_LIMBS:
        return np.zeros(len(limbs), bool)
    places = cKDTree(graph.xyz)
    gap, nearest = places.query(leaf, distance_upper_bound=ROUND, workers=-1)
    found = np.bincount(nearest[np.isfinite(gap)], minlength=len(graph)).astype(float)
    gap, nearest = places.query(wood, distance_upper_bound=ROUND, workers=-1)
    own = np.minimum(nearest, len(graph) - 1)
    stray = np.isfinite(gap) & (gap > OFF_WOOD * graph.radius[own] + OFF_MORE)
    found += np.bincount(nearest[stray], minlength=len(graph))
    slim = graph.length * (2 * graph.segment_radius < MIN_THICK)
    carried, slim_length = graph.tips_to_base(found), graph.tips_to_base(slim)
    first = np.array([nodes[0] for nodes in limbs.nodes])
    length = slim_length[first] + EXTRA_LENGTH
    usual = found.sum() / max(float(slim.sum()), 1.0)
    if usual < IN_LEAF:
        return np.zeros(len(limbs), bool)
    whole = np.array([graph.length[nodes].sum() for nodes in limbs.nodes])
    return (
        (_base_diameter(graph) >= MIN_THICK)
        & (whole >= MIN_LENGTH)
        & (carried[first] < BARE * usual * length)
    )
