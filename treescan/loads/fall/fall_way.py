"""Which way does a climber go from one hold of the rope to the next, and what do they meet first?"""

from __future__ import annotations

import numpy as np
from numba import njit

from treescan.geometry import gap_segments
from treescan.loads.pull.shock import arc
from treescan.units import G
from treescan.wood.graph import Floats, WoodGraph

BODY = 0.5
"""Half width of a climber from harness to feet: wood nearer than this to their way is met [m] (project
choice)."""

NEARER = 0.05
"""Wood that was as near before the fall is met only where the climber comes nearer to it by this [m] (project
choice)."""

DROP_STEPS = 16
"""Steps of the plumb part of the way."""

NOTHING, GROUND = -1, -2
"""Met first, besides the numbers of limbs (0 = the stem)."""


def fall_way(start: Floats, pivot: Floats, length: float, fallen: float = 0.0) -> tuple[Floats, Floats]:
    """Plumb down until the rope is tight, then the pendulum through the lowest point to the far side.

    Parameters
    ----------
    start : (3,) float      Where the climber is when the hold is lost. [m]
    pivot : (3,) float      Where the rope comes down from its new hold. [m]
    length : float          Rope below that. [m]
    fallen : float          Height already fallen at `start`: a limb that broke did not stop the climber. [m]

    Returns
    -------
    way : (k, 3) float      [m]
    speed : (k,) float      [m/s]

    Notes
    -----
    The rope takes up the speed along it and leaves that across it: v^2 = 2 g (h sin(a)^2 + z), h the plumb
    part with what was fallen before, a the rope's angle from plumb when it comes tight, z the height lost
    from there.
    """
    off = start[:2] - pivot[:2]
    out = float(np.hypot(off[0], off[1]))
    reach = min(out, length)
    tight = np.array(
        [
            *(pivot[:2] + off * (reach / out if out > 0 else 0.0)),
            min(pivot[2] - np.sqrt(length * length - reach * reach), start[2]),
        ]
    )
    drop = start + np.linspace(0.0, 1.0, DROP_STEPS + 1)[:, None] * (tight - start)
    speed = np.sqrt(2 * G * (fallen + start[2] - drop[:, 2]))
    if out < 1e-9:
        return drop, speed
    swing = arc(pivot, tight)[0][1:]
    across = (fallen + start[2] - tight[2]) * (reach / length) ** 2
    return np.concatenate([drop, swing]), np.concatenate(
        [speed, np.sqrt(2 * G * np.maximum(across + tight[2] - swing[:, 2], 0.0))]
    )


def first_met(
    graph: WoodGraph, gone: np.ndarray, way: Floats, feet: Floats, ground: Floats, least: float
) -> tuple[int, int]:
    """What the climber meets first, a limb's number, `GROUND` or `NOTHING`, and at which step of the way.

    Parameters
    ----------
    gone : (n,) bool        Wood that fell.
    way : (k, 3) float      From `fall_way`. [m]
    feet, ground : (k,)     Heights of the feet and of the ground along it; the body hangs plumb from the way
        down to the feet. [m]
    least : float           Thinner wood gives way. [m]
    """
    limb, at = _first_wood(
        graph.xyz,
        graph.parent,
        graph.segment_radius,
        graph.limb,
        gone,
        way,
        way[:, 2] - feet,
        least / 2,
        BODY,
        NEARER,
        len(graph.limbs),
    )
    low = np.flatnonzero(feet < np.minimum(ground, feet[0] - NEARER))
    if len(low) and (limb < 0 or low[0] < at):
        return GROUND, int(low[0])
    return (NOTHING if limb < 0 else int(limb)), int(at)


@njit(cache=True, error_model="numpy")
def _first_wood(  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    xyz,
    parent,
    radius,
    limb,
    gone,
    way,
    legs,
    least,
    body,
    nearer,
    limbs,
):
    """Limb first met along the way by a body that hangs `legs` (k,) below it, and the step at which, (-1, -1)
    where none is."""
    low, high = way[0].copy(), way[0].copy()
    for step in range(len(way)):
        for k in range(3):
            low[k], high[k] = min(low[k], way[step, k]), max(high[k], way[step, k])
        low[2] = min(low[2], way[step, 2] - legs[step])
    near = np.empty(len(parent), np.int64)
    n = 0
    before = np.full(limbs, np.inf)
    for i in range(1, len(parent)):
        r = radius[i]
        if gone[i] or not r >= least:
            continue
        j = parent[i]
        reach, away = body + r, False
        for k in range(3):
            if max(xyz[i, k], xyz[j, k]) < low[k] - reach or min(xyz[i, k], xyz[j, k]) > high[k] + reach:
                away = True
                break
        if not away:
            near[n] = i
            n += 1
            before[limb[i]] = min(before[limb[i]], _gap(way[0], legs[0], xyz[j], xyz[i]) - r)
    found, at, min_gap = -1, -1, np.inf
    last = len(way)
    for m in range(n):
        i = near[m]
        close = min(body, before[limb[i]] - nearer)
        for step in range(1, last):
            gap = _gap(way[step], legs[step], xyz[parent[i]], xyz[i]) - radius[i]
            if gap < close:
                if step < at or at < 0 or gap < min_gap:
                    found, at, min_gap, last = limb[i], step, gap, step + 1
                break
    return found, at


@njit(cache=True, error_model="numpy")
def _gap(p, legs, a, b):  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    """Distance from a plumb line of length `legs` below a point to a segment."""
    square, _, _ = gap_segments(
        p[0], p[1], p[2], 0.0, 0.0, -legs, a[0], a[1], a[2], b[0] - a[0], b[1] - a[1], b[2] - a[2]
    )
    return np.sqrt(square)
