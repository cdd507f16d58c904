"""What goes between rope and wood: which hardware fits, what friction it makes, how hard the rope presses on the bark."""

from __future__ import annotations

import numpy as np

from treescan.loads.rope.rope_systems import HARDWARE
from treescan.loads.settings import LoadSettings, friction
from treescan.planning.kit.rope_and_kit import bark_pressure
from treescan.planning.tie_in_point import TieInPoint
from treescan.units import G
from treescan.wood.graph import WoodGraph

HALF_TURN = np.pi
"""Turning of a rope whose two legs hang down on either side. [rad]"""


def passed_on(mu: float, turn: float = HALF_TURN) -> float:
    """Share of the pull that a support passes on to the other leg, e^(-mu turn)."""
    return float(np.exp(-mu * turn))


def at_the_union(graph: WoodGraph, point: TieInPoint, loads: LoadSettings) -> tuple[str, ...]:
    """Sentences on hardware, friction and bark at one tie-in point.

    Notes
    -----
    Friction by e^(-mu pi) with the middle value of each hardware. Bark pressure is the rope's pull over limb radius and rope width,
    with the climber's weight on the leg that bears on bark; no published limit was found, so the figure stands without a judgement.
    """
    configuration = point.check.configuration
    limb = 2 * float(graph.segment_radius[configuration.rest_node])
    out = []
    if configuration.system != "SRS canopy":
        shares = ", ".join(f"{name} {100 * passed_on(friction(name, loads)[1]):.0f} %" for name in HARDWARE)
        out.append(f"Of the pull on one leg the other gets about: {shares} (rope turned by half a round, middle friction).")
    if np.isfinite(limb) and limb > 0 and configuration.hardware == "rope on bark":
        pull = loads.climber_mass * G
        moves = "which does not move in use" if configuration.system == "SRS canopy" else "which runs or creeps over it"
        out.append(
            f"The rope, {moves}, presses on the bark of the {100 * limb:.0f} cm limb with about {bark_pressure(pull, limb) / 1e6:.2f} MPa under the "
            "climber's weight: sleeve or friction saver where bark is thin, mossy or to be kept."
        )
    return tuple(out)
