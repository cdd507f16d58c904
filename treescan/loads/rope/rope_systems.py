"""What rope systems and anchor hardware there are, and what each does to the load on the union."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class RopeSystem:
    """How a rope is set up.

    legs_at_climber : int   Rope legs that end at the climber (they share the tension).
    basal : bool            The other end goes to an anchor at the ground, so the union bears both legs in
        full.
    isolated : bool         Only the wanted limb may be between the legs.
    source : str            Key of `treescan.sources`.
    """

    legs_at_climber: int
    basal: bool
    isolated: bool
    source: str

    @property
    def choked(self) -> bool:
        """True where the line is choked round the limb at the union."""
        return self.isolated and self.legs_at_climber == 1


SYSTEMS: dict[str, RopeSystem] = {
    "MRS": RopeSystem(2, False, True, "common_practice"),
    "SRS canopy": RopeSystem(1, False, True, "common_practice"),
    "SRS basal": RopeSystem(1, True, False, "basal_two"),
}
"""Rope systems by name: moving rope, both legs share the weight; fixed at the union, which bears it once;
fixed at the ground, so that the union bears both legs, just under twice the weight."""

HARDWARE = ("rope on bark", "sleeve", "ring", "pulley")
"""What the rope runs on at the union: the bark, a sleeve over it, a metal ring on a sling, a pulley on a
sling; its friction is a setting (`loads.settings.friction`)."""
