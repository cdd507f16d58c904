"""How hard does the rope pull when a climber drops through slack and is stopped, and how far may that differ?

Slack, the rope's modulus, its stiffening in service and the friction behind the union are drawn; the stop is
told by its median, its scatter goes on into the margin.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri

from treescan.loads.pull.shock import arrest_force
from treescan.loads.settings import LoadSettings
from treescan.units import G
from treescan.wood.graph import Floats

DRAWS = 512
"""Stops drawn for every place (median within 1 % and scatter within 3 % of 200,000 at random: tests)."""

STEEP = 0.95
"""The scatter is that of the hard half: what lies between the median and this share of the stops."""

NEAREST = 0.3
"""No rope between climber and support is counted shorter than this [m] (project choice)."""


@dataclass(frozen=True)
class Behind:
    """Rope behind the union that shares in a stop with the most and with the least friction on its supports;
    0 where none does. [m]"""

    shortest: float = 0.0
    longest: float = 0.0


def abrupt_stop(
    rope: ArrayLike, behind: Behind, legs: int, settings: LoadSettings, standing: ArrayLike = False
) -> tuple[Floats, Floats]:
    """Median rope force that stops the climber, and the log standard deviation of its hard half.

    Parameters
    ----------
    rope : (l,) float       Between climber and support. [m]
    behind : Behind
    legs : int              Rope legs that end at the climber: two side by side are twice as stiff.
    standing : (l,) bool    The climber stands at that distance before the fall: the slack is rope as well, and
        no fall is longer than the rope that stops it.

    Notes
    -----
    F = W + sqrt(W^2 + 2 W h n K s / L), L = rope + behind. A climber out at a rope angle is stopped and
    swings at once: the two together pull as hard as the stop of a plumb drop, within 2 % [swing_with_body],
    so the angle does not ease it.
    """
    length = np.maximum(np.asarray(rope, float), NEAREST)
    low, high = settings.rope_modulus_bounds
    middle = settings.rope_modulus
    u = _evenly(4)
    slack = _triangular(u[0], 0.0, settings.slack, settings.slack_most * settings.slack)
    modulus = _triangular(u[1], min(low, middle), middle, max(high, middle))
    service = _triangular(u[2], *settings.rope_in_service)
    far = behind.shortest + u[3] * (behind.longest - behind.shortest)
    if settings.slack_most <= 1.0:
        slack = np.full(DRAWS, settings.slack)
    drawn = arrest_force(
        settings.climber_mass * G,
        (legs * modulus * service)[:, None],
        slack[:, None],
        length + np.where(standing, slack[:, None], 0.0) + far[:, None],
    )
    drawn.sort(axis=0)
    median, hard = (_at(drawn, share * (DRAWS - 1)) for share in (0.5, STEEP))
    return np.asarray(median, float), np.asarray(np.log(hard / median) / ndtri(STEEP), float)


def _at(values: Floats, place: float) -> Floats:
    """Values (l,) at a place between the rows of (k, l)."""
    i = int(place)
    return np.asarray(values[i] + (place - i) * (values[min(i + 1, len(values) - 1)] - values[i]), float)


@cache
def _evenly(dimensions: int) -> Floats:
    """Points spread evenly over the unit cube, (dimensions, DRAWS): the additive recurrence with the root of
    x^(d + 1) = x + 1 (Roberts 2018, memory)."""
    root = 1.5
    for _ in range(60):
        root = (1 + root) ** (1 / (dimensions + 1))
    step = root ** -np.arange(1.0, dimensions + 1)
    return np.asarray((0.5 + step[:, None] * np.arange(1, DRAWS + 1)) % 1.0, float)


def _triangular(u: Floats, low: float, middle: float, high: float) -> Floats:
    """Value of a triangular distribution at its probability u; low = high gives that value."""
    if high <= low:
        return np.full_like(u, middle)
    width = high - low
    up = low + np.sqrt(u * width * (middle - low))
    down = high - np.sqrt((1 - u) * width * (high - middle))
    return np.where(u <= (middle - low) / width, up, down)
