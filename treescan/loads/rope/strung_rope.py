"""What do two lines to one climber, or a rope strung between two trees, put on each anchor?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from treescan.geometry import angle_between
from treescan.wood.graph import Floats

WIDEST = np.deg2rad(120.0)
"""Angle between the lines beyond which each anchor bears more than the load (Arboriculture Australia 2022,
pp. 129-130)."""


@dataclass(frozen=True)
class TwoLines:
    """A load on two lines.

    tension : (2,) float [N]; force : (2, 3) float on the anchors [N]; place : (3,) of the load [m]; between :
        angle between the
    lines [rad]; sideways : level force that the lines leave to hands and feet at this place [N]; flat : True
    beyond 120 degrees.
    """

    tension: Floats
    force: Floats
    place: Floats
    between: float
    sideways: float
    flat: bool


def line_tensions(anchors: ArrayLike, places: ArrayLike, weight: float) -> Floats:
    """Tensions of two lines that carry all of a weight at given places, neither of them pushing, (w, 2). [N]

    Parameters
    ----------
    anchors : (2, 3) float, places : (w, 3) float   [m]
    weight : float                                  [N]

    Notes
    -----
    Of all pairs with T_a u_az + T_b u_bz = W, u the unit vectors to the anchors, that with the least level
    force left over: none in the plumb plane of the two lines. Where one line would have to push it hangs
    slack, and the steeper one carries W / cos of its angle, as for a climber braced at the feet. NaN where
    neither anchor lies above the place.
    """
    legs = np.asarray(anchors, float)[None] - np.asarray(places, float).reshape(-1, 1, 3)
    u = legs / np.linalg.norm(legs, axis=2, keepdims=True)
    level, z = u[..., :2], u[..., 2]
    first = weight * z / np.maximum((z * z).sum(axis=1, keepdims=True), 1e-12)
    along = np.stack([-z[:, 1], z[:, 0]], axis=1)  # changes of the pair that leave the plumb part as it is
    left, change = (np.einsum("lq,lqk->lk", t, level) for t in (first, along))
    size = (change * change).sum(axis=1)
    shift = np.where(size > 1e-12, -(change * left).sum(axis=1) / np.maximum(size, 1e-12), 0.0)
    out = first + shift[:, None] * along
    slack = (out < -1e-9 * weight).any(axis=1)
    steeper = z.argmax(axis=1)
    rows = np.flatnonzero(slack)
    out[rows] = 0.0
    out[rows, steeper[rows]] = weight / np.maximum(z[rows, steeper[rows]], 1e-9)
    out = np.maximum(out, 0.0)
    out[~(z.max(axis=1) > 0.0)] = np.nan
    return np.asarray(out, float)


def hanging_between(anchors: ArrayLike, climber: ArrayLike, weight: float) -> TwoLines:
    """A climber, or a climber's rope, held at one place by two lines: see `line_tensions`.

    Parameters
    ----------
    anchors : (2, 3) float, climber : (3,) float    [m]
    weight : float                                  [N]

    Raises
    ------
    ValueError      Where neither anchor lies above the place.
    """
    a, p = np.asarray(anchors, float), np.asarray(climber, float)
    t = line_tensions(a, p, weight)[0]
    if not np.isfinite(t).all():
        raise ValueError("no anchor lies above the load")
    u = (a - p) / np.linalg.norm(a - p, axis=1, keepdims=True)
    between = float(angle_between(u[0], u[1]))
    return TwoLines(t, -t[:, None] * u, p, between, float(np.linalg.norm((u.T @ t)[:2])), between > WIDEST)


def strung(anchors: ArrayLike, rope: float, weight: float) -> TwoLines:
    """A load that runs freely on a rope of fixed length strung between two anchors (a floating anchor).

    Parameters
    ----------
    anchors : (2, 3) float  [m]
    rope : float            Length between the anchors, longer than their distance. [m]
    weight : float          [N]

    Notes
    -----
    Both legs carry the same tension at the same angle a below level: cos a = D / L, T = W / (2 sin a), D the
    plan distance.
    """
    a = np.asarray(anchors, float)
    span = a[1] - a[0]
    plan = float(np.hypot(span[0], span[1]))
    if not rope > np.linalg.norm(span):
        raise ValueError("the rope must be longer than the distance of its anchors")
    angle = np.arccos(plan / rope)
    # the legs drop rope * sin(a) together, and differ by the anchors' difference in height
    first = 0.5 * (rope - span[2] / np.sin(angle))
    along = span[:2] / plan if plan > 0 else np.zeros(2)
    if first <= 0 or first >= rope:
        raise ValueError("the load hangs straight below the lower anchor")
    place = a[0] + np.array([*(along * first * np.cos(angle)), -first * np.sin(angle)])
    return hanging_between(a, place, weight)


def rope_for_angle(anchors: ArrayLike, between: float) -> float:
    """Rope to string between two anchors so that its legs meet at the angle `between` [rad] where a load runs
    freely: D / sin(between / 2). [m]"""
    a = np.asarray(anchors, float)
    return float(np.hypot(*(a[1] - a[0])[:2])) / float(np.sin(between / 2))


def fixed_point(anchors: ArrayLike, between: float, share: float) -> Floats:
    """The highest place below the line between two anchors, at a share of the way in the plan, where two
    lines meet at no more than `between`.

    Parameters
    ----------
    anchors : (2, 3) float  [m]
    between : float         Below half a turn. [rad]
    share : float           0 = below the first anchor, 1 = below the second.

    Returns
    -------
    (3,) float              Both lines are fixed to this point: it does not run. [m]
    """
    a, b = np.asarray(anchors, float)
    at = a + share * (b - a)
    low, high = 0.0, 50.0 * float(np.linalg.norm(b - a)) + 1.0
    for _ in range(80):
        mid = (low + high) / 2
        point = at - np.array([0.0, 0.0, mid])
        if angle_between(a - point, b - point) > between:
            low = mid
        else:
            high = mid
    return np.asarray(at - np.array([0.0, 0.0, high]), float)
