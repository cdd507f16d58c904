"""What goes between rope and wood: what friction each hardware makes, and how hard the rope presses on the
bark."""

from __future__ import annotations

import numpy as np

from treescan.loads.limb_check import AnchorConfiguration
from treescan.loads.rope.bark_pressure import bark_pressure
from treescan.loads.rope.rope_systems import HARDWARE
from treescan.loads.settings import LoadSettings, friction
from treescan.reason import Reason
from treescan.units import G
from treescan.wood.graph import WoodGraph

HALF_TURN = np.pi
"""Turning of a rope whose two legs hang down on either side. [rad]"""


def passed_on(mu: float, turn: float = HALF_TURN) -> float:
    """Share of the pull that a support passes on to the other leg, e^(-mu turn)."""
    return float(np.exp(-mu * turn))


def at_the_union(
    graph: WoodGraph, configuration: AnchorConfiguration, loads: LoadSettings
) -> tuple[Reason, ...]:
    """Hardware, friction and bark at one anchor.

    Notes
    -----
    Friction by e^(-mu pi) with the middle value of each hardware. Bark pressure is the rope's pull over limb
    radius and rope width, with the climber's weight on the leg that bears on bark; no published limit was
    found, so the figure stands without a judgement.
    """
    limb = 2 * float(graph.segment_radius[configuration.rest_node])
    out = []
    if configuration.system != "SRS canopy":
        shares = [(name, passed_on(friction(name, loads)[1])) for name in HARDWARE]
        out.append(
            Reason(
                "friction_at_union",
                shares=tuple(
                    Reason("share_of_hardware", hardware=name, share=share) for name, share in shares
                ),
            )
        )
    if np.isfinite(limb) and limb > 0 and configuration.hardware == "rope on bark":
        pressure = bark_pressure(loads.climber_mass * G, limb)
        out.append(
            Reason(
                "bark_pressure", diameter=limb, pressure=pressure, moves=configuration.system != "SRS canopy"
            )
        )
    return tuple(out)
