"""One wood graph against the truth: unions matched one to one, diameters by class, intervals, topology, false wood, stem figures."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import linear_sum_assignment
from scipy.spatial import cKDTree

from treescan.geometry import point_segment
from treescan.trees.beside import Terrain
from treescan.wood.graph import WoodGraph
from treescan.wood.quality.stem_figures import stem_figures, wood_volume

CLASSES = ((0.03, 0.05), (0.05, 0.10), (0.10, 0.20), (0.20, 0.40), (0.40, 9.0))
"""Diameter classes [m]."""
LEAST_KNOWN = 0.5
"""A place that was not seen, or whose radius has a larger relative sd, claims no diameter: the loads do not use it either."""
UNION_SIZES = (0.05, 0.10, 0.30)
"""Unions are scored by the diameter of their smaller limb from these sizes up [m]."""


@dataclass(frozen=True)
class Samples:
    """Places along segments: xyz (k, 3), radius (k,), sd (k,), length each stands for (k,), segment's child node (k,), inside a parent (k,)."""

    xyz: np.ndarray
    radius: np.ndarray
    sd: np.ndarray
    length: np.ndarray
    node: np.ndarray
    inside: np.ndarray


def samples(graph: WoodGraph, step: float = 0.04) -> Samples:
    """Places every few centimetres along all segments."""
    s = graph.segments
    length = np.linalg.norm(s.end - s.start, axis=1)
    n = np.maximum(1, np.round(length / step).astype(int))
    row = np.repeat(np.arange(len(n)), n)
    f = (np.arange(len(row)) - np.repeat(np.cumsum(n) - n, n) + 0.5) / n[row]
    xyz = s.start[row] + f[:, None] * (s.end - s.start)[row]
    radius = s.r_start[row] + f * (s.r_end - s.r_start)[row]
    return Samples(xyz, radius, graph.radius_sd[s.node[row]], length[row] / n[row], s.node[row], _inside(graph, xyz, s.node[row]))


def _inside(graph: WoodGraph, xyz: np.ndarray, node: np.ndarray) -> np.ndarray:
    """True for places of a side limb that lie within the bark of the limb it leaves."""
    out = np.zeros(len(xyz), bool)
    base = np.full(len(graph), -1)
    for k in range(1, len(graph.limbs)):
        base[graph.limbs.nodes[k]] = graph.parent[graph.limbs.nodes[k][0]]
    at = base[node]
    has = at > 0
    u = at[has]
    axis = graph.direction[u]
    away = xyz[has] - graph.xyz[u]
    across = np.linalg.norm(away - np.sum(away * axis, axis=1, keepdims=True) * axis, axis=1)
    out[has] = (across < graph.segment_radius[u]) & (np.linalg.norm(away, axis=1) < 5 * graph.segment_radius[u])
    return out


def nearest_segment(graph: WoodGraph, xyz: np.ndarray, candidates: int = 24) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Nearest segment of a graph to points, the parts inside a parent limb left out: child node, distance, share along."""
    dense = samples(graph, 0.05)
    own = dense.node[~dense.inside]
    tree = cKDTree(dense.xyz[~dense.inside])
    k = min(candidates, len(own))
    _, near = tree.query(xyz, k)
    node = own[near.reshape(len(xyz), k)]
    d, share = point_segment(xyz[:, None], graph.xyz[graph.parent[node]], graph.xyz[node])
    best = np.argmin(d, axis=1)
    row = np.arange(len(xyz))
    return node[row, best], d[row, best], share[row, best]


@dataclass(frozen=True)
class Comparison:
    """Raw tallies of one case; tables add them up over cases.

    Attributes
    ----------
    unions : dict           Smallest limb -> (true, found, claimed, right, errors [m], errors over the parent's diameter).
    diameters : dict        Class -> (relative errors, within the 90 % interval, true length, matched length, length with a diameter): the first
        two only where a diameter is claimed.
    wrong_parent, carried : float   Length of wood of 10 cm and more hung on a wrong limb, and all of it. [m]
    false_wood, wood : float        Length of claimed wood of 5 cm and more where there is none, and all claimed. [m]
    dbh_error, height_error : float [m]     volume_error : float relative
    assessable : bool       What the scan's fitness says of it.     seconds : float     For the wood graph.
    """

    unions: dict
    diameters: dict
    wrong_parent: float
    carried: float
    false_wood: float
    wood: float
    dbh_error: float
    height_error: float
    volume_error: float
    assessable: bool = True
    seconds: float = float("nan")


def compare(graph: WoodGraph, truth: WoodGraph, terrain: Terrain | None = None, top_z: float | None = None, height: float | None = None) -> Comparison:
    """Score a graph against the truth.

    A true place counts as found when the claimed axis passes within half its radius plus 2 cm. A union is right when it lies within one
    parent diameter (at least 15 cm) of a true one that no other union takes, its smaller limb half to twice as thick.
    """
    t = samples(truth)
    out = ~t.inside
    node, d, share = nearest_segment(graph, t.xyz)
    s = graph.segments
    r = s.r_start[node - 1] + share * (s.r_end - s.r_start)[node - 1]
    sd = graph.radius_sd[node]
    matched = d < 0.5 * t.radius + 0.02
    diameters = {}
    for low, high in CLASSES:
        mine = out & (2 * t.radius >= low) & (2 * t.radius < high)
        found = mine & matched
        ok = found & graph.seen[node] & ~(sd > LEAST_KNOWN * r)
        e = r[ok] / t.radius[ok] - 1
        held = np.abs(r[ok] - t.radius[ok]) <= 1.645 * sd[ok]
        diameters[low] = (e, held, *(float(t.length[rows].sum()) for rows in (mine, found, ok)))
    wrong, carried = _topology(graph, truth, t)
    false, wood = _false_wood(graph, truth)
    flat = terrain or Terrain.flat(float(truth.xyz[0, 2]), truth.xyz[0])
    a, b = stem_figures(graph, flat, top_z), stem_figures(truth, flat)
    volume = _volume(graph) / _volume(truth) - 1
    unions = {size: _unions(graph, truth, size) for size in UNION_SIZES}
    return Comparison(unions, diameters, wrong, carried, false, wood, a.dbh - b.dbh, a.height - (height or b.height), volume)


def _volume(graph: WoodGraph, thinnest: float = 0.03) -> float:
    """Volume of the wood of 3 cm and more. [m3]"""
    keep = 2 * graph.segment_radius >= thinnest
    s = graph.segments
    v = np.pi / 3 * np.linalg.norm(s.end - s.start, axis=1) * (s.r_start**2 + s.r_start * s.r_end + s.r_end**2)
    return wood_volume(graph) - float(v[~keep[1:]].sum())


def _items(graph: WoodGraph, smallest: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Place, smaller limb's diameter and parent diameter, one row for every limb but the thickest above each union."""
    place, size, parent = [], [], []
    u = graph.unions
    for k in range(len(u)):
        for d in np.sort(u.arm_diameter[u.arms(k)])[::-1][1:]:
            if d >= smallest:
                place.append(u.place[k])
                size.append(d)
                parent.append(u.parent_diameter[k])
    return np.array(place).reshape(-1, 3), np.array(size), np.array(parent)


def _unions(graph: WoodGraph, truth: WoodGraph, smallest: float) -> tuple:
    """Recall looks for every true union among claims down to half its size; precision the other way round."""
    tp, ts, td = _items(truth, smallest)
    gp, gs, _ = _items(graph, 0.5 * smallest)
    rows, cols = _match(tp, ts, td, gp, gs)
    error = np.linalg.norm(tp[rows] - gp[cols], axis=1)
    cp, cs, _ = _items(graph, smallest)
    ap, as_, ad = _items(truth, 0.5 * smallest)
    right, _ = _match(ap, as_, ad, cp, cs)
    return len(tp), len(rows), len(cp), len(right), error, error / td[rows] if len(rows) else error


def _match(tp: np.ndarray, ts: np.ndarray, td: np.ndarray, gp: np.ndarray, gs: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    if len(tp) == 0 or len(gp) == 0:
        return np.zeros(0, int), np.zeros(0, int)
    d = np.linalg.norm(tp[:, None] - gp[None], axis=2)
    ratio = gs[None] / ts[:, None]
    ok = (d <= np.maximum(td, 0.15)[:, None]) & (ratio > 0.5) & (ratio < 2.0)
    cost = np.where(ok, d + 0.05 * np.abs(np.log(ratio)), 1e3)
    rows, cols = linear_sum_assignment(cost)
    good = ok[rows, cols]
    return rows[good], cols[good]


def _topology(graph: WoodGraph, truth: WoodGraph, t: Samples) -> tuple[float, float]:
    """Length of true wood of 10 cm and more that hangs on a wrong limb somewhere below, and all that was matched. [m]

    A link of the graph is wrong when the true places of its two ends are much farther apart along the true wood than straight, unless its lower
    end lies inside the wood that carries its upper one: where limbs part the wood of both is one, and the nearest axis may be the other's.
    """
    mid = graph.xyz
    node, d, share = nearest_segment(truth, mid)
    depth = np.zeros(len(truth))
    for i in range(1, len(truth)):
        depth[i] = depth[truth.parent[i]] + truth.length[i]
    at = depth[node] - (1 - share) * truth.length[node]
    level = np.zeros(len(truth), int)
    for i in range(1, len(truth)):
        level[i] = level[truth.parent[i]] + 1
    bad = np.zeros(len(graph), bool)
    for i in range(1, len(graph)):
        p = graph.parent[i]
        bad[i] = bad[p]
        if bad[i] or p == 0:
            continue
        a, b = int(node[i]), int(node[p])
        while a != b:
            if level[a] >= level[b]:
                a = truth.parent[a]
            else:
                b = truth.parent[b]
        way = abs(at[i] - at[p]) if a in (int(node[i]), int(node[p])) else at[i] + at[p] - 2 * depth[a]
        reach = 2 * truth.segment_radius[node[p]] + 2 * truth.segment_radius[node[i]]
        near = d[i] < 2 * truth.segment_radius[node[i]] + 0.05
        far = 1.5 * graph.length[i] + 2 * reach + 0.1
        bad[i] = near and way > far and not _in_wood_below(truth, mid[p], int(node[i]), far)
    back, gap, _ = nearest_segment(graph, t.xyz)
    mine = ~t.inside & (2 * t.radius >= 0.10) & (gap < 0.5 * t.radius + 0.02)
    return float(t.length[mine & bad[back]].sum()), float(t.length[mine].sum())


def _in_wood_below(truth: WoodGraph, place: np.ndarray, node: int, reach: float) -> bool:
    """True when a place lies in the true wood that carries a node, followed down over at most `reach` [m]."""
    gone = 0.0
    while node > 0 and gone <= reach:
        below = int(truth.parent[node])
        d, _ = point_segment(place[None], truth.xyz[below][None], truth.xyz[node][None])
        if d[0] < truth.segment_radius[node]:
            return True
        gone, node = gone + truth.length[node], below
    return False


def _false_wood(graph: WoodGraph, truth: WoodGraph) -> tuple[float, float]:
    """Length of claimed wood of 5 cm and more outside the true wood (by more than 3 cm), and all claimed. [m]"""
    g = samples(graph)
    mine = (2 * g.radius >= 0.05) & ~g.inside
    node, d, share = nearest_segment(truth, g.xyz[mine])
    s = truth.segments
    r = s.r_start[node - 1] + share * (s.r_end - s.r_start)[node - 1]
    return float(g.length[mine][d > r + 0.03].sum()), float(g.length[mine].sum())
