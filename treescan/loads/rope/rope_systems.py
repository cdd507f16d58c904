"""What rope systems and anchor hardware there are, and what each does to the load on the union."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class RopeSystem:
    """How a rope is rigged.

    legs_at_climber : int   Rope legs that end at the climber (they share the tension).
    basal : bool            The other end goes to an anchor at the ground, so the union bears both legs in full.
    isolated : bool         Only the wanted limb may be between the legs.
    words : str             What it does to the union.
    source : str            Key of `treescan.sources`.
    """

    legs_at_climber: int
    basal: bool
    isolated: bool
    words: str
    source: str


SYSTEMS: dict[str, RopeSystem] = {
    "MRS": RopeSystem(
        2, False, True, "both legs end at the climber and share the weight: the union bears it once", "common_practice"
    ),
    "SRS canopy": RopeSystem(
        1, False, True, "fixed at the union: the union bears the weight once; the line must be isolated", "common_practice"
    ),
    "SRS basal": RopeSystem(
        1, True, False, "fixed at the ground: the union bears both legs, just under twice the weight", "basal_two"
    ),
}
"""Rope systems by name."""

HARDWARE: dict[str, str] = {
    "rope on bark": "the rope runs on the bark; range by how rough the bark is",
    "sleeve": "the rope runs in a sleeve over the bark",
    "ring": "the rope runs through a metal ring on a sling",
    "pulley": "the rope runs over a pulley on a sling",
}
"""Anchor hardware in words; its friction is a setting (`loads.settings.friction`)."""
