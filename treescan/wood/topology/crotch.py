"""Where would a rope lie in a fork? The upper bark between the limbs, not where their axes meet."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from treescan.geometry import unit
from treescan.wood.graph import Floats, Ints, Unions, WoodGraph

FINE = 0.01
"""Step along the arms at which they are held against each other [m]."""
FARTHEST, FARTHEST_RADII = 1.0, 12.0
"""Arms that have not parted so far from where their axes meet [m], or so many radii of the parent, have no crotch."""
SPAN = 10
"""Steps over which an arm's direction is read (project choice)."""
NO_LENGTH = 1e-9
"""Guards a division by a way of no length [m]."""
ROUNDS = 8
"""Newton steps to the point on both barks."""


def crotches(graph: WoodGraph) -> Floats:
    """The crotch of every union, (u, 3) [m, local]; NaN where the arms do not part, or the fork hangs.

    Of several limbs at one union the thickest side limb is taken, with the limb that goes on, or the next thickest where none does.

    Notes
    -----
    The point that lies on the bark of both arms (at each axis' distance of its radius there) on the side between them, in the plane of the
    fork: where both have parted it is the deepest place a rope can slip to. A fork whose arms both fall away from it holds no rope: NaN.
    """
    unions = graph.unions
    out = np.full((len(unions), 3), np.nan)
    for u in range(len(unions)):
        pair = _crotch_arms(unions, u)
        if not pair:
            continue
        a, b = (_arm(graph, int(unions.node[u]), int(unions.arm_node[k])) for k in pair)
        reach = max(FARTHEST, FARTHEST_RADII * float(unions.parent_diameter[u]) / 2)
        out[u] = crotch_between(a, b, reach)
    return out


def with_crotches(graph: WoodGraph) -> WoodGraph:
    """The graph with the crotch of every union found."""
    return replace(graph, unions=replace(graph.unions, crotch=crotches(graph)))


def crotch_along(graph: WoodGraph, union: int, arm: int) -> float:
    """How far out along an arm (its row in the arm table) a rope in the union's crotch lies, from where the axes meet. [m]

    NaN where the union has no crotch, or it lies between two other arms.
    """
    unions = graph.unions
    if np.isnan(unions.crotch[union, 0]) or arm not in _crotch_arms(unions, union):
        return float("nan")
    axis, _ = _arm(graph, int(unions.node[union]), int(unions.arm_node[arm]))
    _, k, share = _nearest(axis, unions.crotch[union])
    step = np.linalg.norm(np.diff(axis, axis=0), axis=1)
    return float(step[:k].sum() + share * step[k])


def _crotch_arms(unions: Unions, union: int) -> tuple[int, ...]:
    """Rows of the two arms a union's crotch lies between: what goes on (else the second thickest limb) and the thickest side limb."""
    rows = unions.arms(union)
    arms = np.arange(rows.start, rows.stop)
    on, side = arms[unions.arm_continues[arms]], arms[~unions.arm_continues[arms]]
    if len(side) == 0 or len(arms) < 2:
        return ()
    side = side[np.argsort(-unions.arm_diameter[side])]
    return (int(on[0]) if len(on) else int(side[1]), int(side[0]))


def _arm(graph: WoodGraph, union: int, node: int) -> tuple[Floats, Floats]:
    """Axis and radii of one limb from its union outward, (n, 3), (n,). [m]"""
    line = graph.limbs.nodes[graph.limb[node]]
    nodes: Ints = line[int(np.flatnonzero(line == node)[0]) :]
    axis = np.vstack([graph.xyz[union], graph.xyz[nodes]])
    radius = graph.segment_radius[nodes]
    return axis, np.concatenate([radius[:1], radius])


def crotch_between(a: tuple[Floats, Floats], b: tuple[Floats, Floats], reach: float) -> Floats:
    """The point on the bark of both arms, between them, (3,); NaN where they do not part within `reach` of where both begin. [m]

    Parameters
    ----------
    a, b : ((n, 3), (n,))   Axis and radii of each arm, from the same place outward. [m]
    """
    none = np.full(3, np.nan)
    (p, rp), (q, rq) = (_evenly(axis, radius, reach) for axis, radius in (a, b))
    n = min(len(p), len(q))
    if n < 2:
        return none
    apart = np.linalg.norm(p[:n] - q[:n], axis=1) - rp[:n] - rq[:n]
    joined = np.flatnonzero(apart < 0)
    if len(joined) == 0 or joined[-1] + 1 >= n:
        return none
    i = int(joined[-1]) + 1
    place = p[i] + (q[i] - p[i]) * rp[i] / (rp[i] + rq[i])
    for _ in range(ROUNDS):
        (off_p, bark_p), (off_q, bark_q) = _foot(p, rp, place), _foot(q, rq, place)
        off, bark = np.stack([off_p, off_q]), np.array([bark_p, bark_q])
        away = np.linalg.norm(off, axis=1)
        if away.min() < NO_LENGTH:
            return none
        # shortest move after which both distances are the radii
        place = place + np.linalg.lstsq(off / away[:, None], bark - away, rcond=None)[0]
    if np.linalg.norm(place - p[i]) > reach:
        return none
    ahead = unit(p[i] - p[max(i - SPAN, 0)]) + unit(q[i] - q[max(i - SPAN, 0)])
    return place if ahead[2] > 0 else none


def _foot(axis: Floats, radius: Floats, place: Floats) -> tuple[Floats, float]:
    """From the nearest point of an axis to a place, (3,), and the radius there. [m]"""
    off, k, share = _nearest(axis, place)
    return off, float(radius[k] + share * (radius[k + 1] - radius[k]))


def _nearest(axis: Floats, place: Floats) -> tuple[Floats, int, float]:
    """From the nearest point of an axis to a place, (3,) [m]; the step of the axis it lies on, and at which share of it."""
    way = np.diff(axis, axis=0)
    f = np.clip(np.sum((place - axis[:-1]) * way, axis=1) / np.maximum(np.sum(way * way, axis=1), NO_LENGTH**2), 0, 1)
    off = place - (axis[:-1] + f[:, None] * way)
    k = int(np.argmin(np.sum(off * off, axis=1)))
    return off[k], k, float(f[k])


def _evenly(axis: Floats, radius: Floats, reach: float) -> tuple[Floats, Floats]:
    """Axis and radii at even steps out to `reach` [m]."""
    s = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(axis, axis=0), axis=1))])
    at = np.arange(0.0, min(s[-1], reach), FINE)
    return np.stack([np.interp(at, s, axis[:, c]) for c in range(3)], axis=1), np.interp(at, s, radius)
