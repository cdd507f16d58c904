"""What does the base anchor of a basal line bear, and what if the climber is lowered or hauled from there?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from treescan.geometry import unit
from treescan.loads.rig_loads import RigLoads
from treescan.loads.settings import LoadSettings, friction
from treescan.units import G
from treescan.wood.graph import Floats


@dataclass(frozen=True)
class BaseAnchor:
    """Force at the base, and the union's force over the climber's leg in the three things done with a releasable base.

    pull : (3,) float       On whatever the base is tied to, anchor leg counted in full. [N]
    hanging : float         |force on the union| over the climber's leg, no friction: how a basal anchor is judged.
    lowering : float        The rope runs toward the climber; friction holds part of the load, least friction counted.
    hauling : float         The rope is pulled down at the base; friction must be overcome, most friction counted.
    """

    pull: Floats
    hanging: float
    lowering: float
    hauling: float


def base_anchor(loads: RigLoads, hardware: str, row: int, settings: LoadSettings) -> BaseAnchor:
    """The base of one basal rig under one row of its loads.

    Notes
    -----
    Lowering: T_base = T exp(-sum mu beta); hauling: T_base = T exp(sum mu beta), over all supports. The union feels its own two legs; the
    one toward the base carries T exp(-+ mu beta) of the union's own turning.
    """
    own = float(loads.turn[row, -1])
    mu = friction(hardware, settings)
    toward = loads.leg_toward[row, -1]

    def multiple(share: float) -> float:
        return float(np.linalg.norm(toward[1] + share * toward[0]))

    rope = float(loads.pulls.tension[row])
    leg = loads.leg_toward[row, int(np.flatnonzero(loads.touches[row])[0]), 0]  # from the first support toward the base
    return BaseAnchor(-rope * unit(leg), multiple(1.0), multiple(float(np.exp(-mu[0] * own))), multiple(float(np.exp(mu[2] * own))))


def base_words(loads: RigLoads, hardware: str, row: int, settings: LoadSettings) -> str:
    """One sentence for the climber."""
    b = base_anchor(loads, hardware, row, settings)
    tilt = float(np.degrees(np.arccos(np.clip(unit(b.pull)[2], -1.0, 1.0))))
    weight = settings.climber_mass * G
    return (
        f"The base anchor is pulled with up to {np.linalg.norm(b.pull) / 1000:.1f} kN, {tilt:.0f} degrees from plumb (what it is tied to was not "
        f"judged). Lowering from it loads the union no more than {b.lowering:.2f} times the climber's leg (least friction); hauling a climber up "
        f"from it as much as {b.hauling:.2f} times (most friction, {b.hauling * weight / 1000:.1f} kN at rest)."
    )
