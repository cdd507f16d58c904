"""How hard does a rope pull when a climber is stopped, swings, or is held out at an angle?"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from treescan.units import G
from treescan.wood.graph import Floats

ARC_STEPS = 48
"""Steps along a swept arc."""


def arrest_force(weight: ArrayLike, modulus: ArrayLike, fall: ArrayLike, rope: ArrayLike) -> Floats:
    """Peak rope force that stops a fall, undamped spring.

    Parameters
    ----------
    weight : float      W = m g. [N]
    modulus : float     K, rope force per strain. [N]
    fall : float        Free fall before the rope comes tight. [m]
    rope : float        Rope that stretches, from the climber to the fixing. [m]

    Notes
    -----
    F = W + sqrt(W^2 + 2 W f K), f = fall / rope: the energy W (h + e) = F e / 2 with stretch e = F L / K. f =
    0 gives 2 W.
    """
    w, k, h, length = (np.asarray(x, float) for x in (weight, modulus, fall, rope))
    return w + np.sqrt(w * w + 2 * w * k * h / length)


def stretch(force: ArrayLike, rope: ArrayLike, modulus: ArrayLike) -> Floats:
    """Stretch of a rope under a force, F L / K. [m]"""
    return np.asarray(force, float) * np.asarray(rope, float) / np.asarray(modulus, float)


def pendulum_speed(length: ArrayLike, angle: ArrayLike, at: ArrayLike = 0.0) -> Floats:
    """Speed in a swing from rest at `angle`, with the rope at angle `at`: sqrt(2 g L (cos(at) - cos(angle))).
    [m/s]"""
    return np.sqrt(
        np.maximum(
            2
            * G
            * np.asarray(length, float)
            * (np.cos(np.asarray(at, float)) - np.cos(np.asarray(angle, float))),
            0.0,
        )
    )


def pendulum_force(angle: ArrayLike, at: ArrayLike = 0.0) -> Floats:
    """Rope force over weight in a swing from rest at `angle`, with the rope at angle `at`: 3 cos(at) - 2
    cos(angle).

    At the lowest point 3 - 2 cos(angle): 1.27 at 30 degrees, 1.59 at 45, 2 at 60, 3 at 90.
    """
    return 3 * np.cos(np.asarray(at, float)) - 2 * np.cos(np.asarray(angle, float))


FEET_FASTER = 1.45
"""Speed of a swinging climber's feet over that of the harness, at most: a body that hangs plumb at the start
turns late and whips [swing_with_body: 1.20 to 1.44 on 2 to 12 m of rope]."""


def feet_speed(speed: ArrayLike, rope: ArrayLike, legs: float) -> Floats:
    """Speed of the feet in a swing of the harness: the larger of a body in line with the rope, v (L + legs) /
    L, and of one that whips, `FEET_FASTER`. [m/s]"""
    v, length = np.asarray(speed, float), np.asarray(rope, float)
    return v * np.maximum(FEET_FASTER, 1.0 + legs / length)


def swing_stretch(
    weight: float, modulus: float, rope: ArrayLike, angle: ArrayLike, at: ArrayLike = 0.0
) -> Floats:
    """Further stretch of the rope in a swing from rest at `angle`, hung there under W cos(angle): (T - W
    cos(angle)) rope / K, T = W (3 cos(at) - 2 cos(angle)). [m] Never below 0.

    Right within 3 cm for a point mass on 5 to 12 m of rope; the feet of a body stay 1 to 15 cm above it
    [swing_with_body].
    """
    pull = weight * (pendulum_force(angle, at) - np.cos(np.asarray(angle, float)))
    return np.maximum(stretch(pull, rope, modulus), 0.0)


def arc(anchor: Floats, start: Floats, steps: int = ARC_STEPS) -> tuple[Floats, Floats]:
    """The pendulum's way from `start` through the lowest point to the far side.

    Parameters
    ----------
    anchor : (3,) float; start : (..., 3) float     [m, local]

    Returns
    -------
    path : (..., steps + 1, 3) float    [m, local]
    angle : (..., steps + 1) float      From plumb, falling from +angle to -angle. [rad]
    """
    d = np.asarray(start, float) - anchor
    out = np.hypot(d[..., 0], d[..., 1])
    length = np.hypot(out, d[..., 2])
    angle = np.arctan2(out, -d[..., 2])[..., None] * np.linspace(1.0, -1.0, steps + 1)
    ahead = d[..., None, :2] / np.where(out > 0, out, 1.0)[..., None, None]
    path = np.empty((*angle.shape, 3))
    path[..., :2] = anchor[:2] + (length[..., None] * np.sin(angle))[..., None] * ahead
    path[..., 2] = anchor[2] - length[..., None] * np.cos(angle)
    return path, angle


def braced_tension(angle: ArrayLike) -> Floats:
    """Rope force over weight of a climber standing out at a rope angle and braced sideways: 1 / cos th."""
    return 1.0 / np.cos(np.asarray(angle, float))


def sharing_length(climber_leg: float, legs_behind: ArrayLike, turn: ArrayLike, mu: float) -> float:
    """Rope that shares in stopping a fall: the climber's leg, and those behind supports as far as friction
    lets tension reach them.

    A leg behind a turn beta takes exp(-mu beta) of the tension, so it stretches by that share of its length.
    [m] `legs_behind` and `turn` run from the climber outward to the anchor.
    """
    behind = np.asarray(legs_behind, float)
    reach = np.exp(-mu * np.cumsum(np.asarray(turn, float)))
    return float(climber_leg + np.sum(behind * reach))
