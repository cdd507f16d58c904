"""What do two lines to one climber, or a rope strung between two trees, put on each anchor?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from treescan.geometry import angle_between
from treescan.wood.graph import Floats

WIDEST = np.deg2rad(120.0)
"""Angle between the lines beyond which each anchor bears more than the load (Arboriculture Australia 2022, pp. 129-130)."""


@dataclass(frozen=True)
class TwoLines:
    """A load on two lines.

    tension : (2,) float [N]; force : (2, 3) float on the anchors [N]; place : (3,) of the load [m]; between : angle between the
    lines [rad]; sideways : force that the lines cannot take at this place [N]; flat : True beyond 120 degrees.
    """

    tension: Floats
    force: Floats
    place: Floats
    between: float
    sideways: float
    flat: bool


def hanging_between(anchors: ArrayLike, climber: ArrayLike, weight: float) -> TwoLines:
    """A climber held at one place by two lines: the pulls that carry the weight best, neither of them pushing.

    Parameters
    ----------
    anchors : (2, 3) float, climber : (3,) float    [m]
    weight : float                                  [N]
    """
    a, p = np.asarray(anchors, float), np.asarray(climber, float)
    legs = a - p
    u = legs / np.linalg.norm(legs, axis=1, keepdims=True)
    load = np.array([0.0, 0.0, weight])
    t, *_ = np.linalg.lstsq(u.T, load, rcond=None)
    if (t < 0).any():  # one line would have to push: it hangs slack and the other carries what it can
        k = int(np.argmax(u @ load))
        t = np.zeros(2)
        t[k] = max(float(u[k] @ load), 0.0)
    between = float(angle_between(u[0], u[1]))
    return TwoLines(t, -t[:, None] * u, p, between, float(np.linalg.norm(load - u.T @ t)), between > WIDEST)


def strung(anchors: ArrayLike, rope: float, weight: float) -> TwoLines:
    """A load that runs freely on a rope of fixed length strung between two anchors (a floating anchor).

    Parameters
    ----------
    anchors : (2, 3) float  [m]
    rope : float            Length between the anchors, longer than their distance. [m]
    weight : float          [N]

    Notes
    -----
    Both legs carry the same tension at the same angle a below level: cos a = D / L, T = W / (2 sin a), D the plan distance.
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
