"""How hard does a rope press on the bark it runs over?"""

from __future__ import annotations

ROPE_DIAMETER = 0.0117
"""Of a climbing rope [m] (common practice, no source)."""


def bark_pressure(tension: float, limb_diameter: float, rope_diameter: float = ROPE_DIAMETER) -> float:
    """Mean pressure of a taut rope on the bark of a round limb. [Pa]

    Parameters
    ----------
    tension : float                         [N]
    limb_diameter, rope_diameter : float    [m]

    Notes
    -----
    p = T / (R d), R the limb's radius, d the rope's diameter.

    References
    ----------
    A taut rope round a cylinder presses T / R per metre of contact (equilibrium of a bent rope, statics);
    spread over its width.
    """
    return tension / (limb_diameter / 2 * rope_diameter)
