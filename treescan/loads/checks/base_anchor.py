"""What does the base anchor of a basal line bear, and what if the climber is lowered or hauled from there?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from treescan.geometry import unit
from treescan.loads.rope.configuration_loads import ConfigurationLoads
from treescan.loads.settings import HIGH, LOW, LoadSettings, friction
from treescan.reason import Reason
from treescan.units import G
from treescan.wood.graph import Floats

TENTH = 100.0
"""Figures of the base's pull are told in tenths of a kilonewton [N]."""

ROUNDING = 1e-9
"""What floating sums may add to a whole figure."""


@dataclass(frozen=True)
class BaseAnchor:
    """Force at the base, and the union's force over the climber's leg in the three things done with a
    releasable base.

    pull : (3,) float       Hardest on whatever the base is tied to in ordinary use, from any place, anchor
        leg counted in full. [N]
    hard_pull : (3,) float  The same in the exceptional cases; no longer than 0 where there are none. [N]
    hanging : float         |force on the union| over the climber's leg, no friction: how a basal anchor is
        judged.
    lowering : float        The rope runs toward the climber; friction holds part of the load, least friction
        counted.
    hauling : float         The rope is pulled down at the base; friction must be overcome, most friction
        counted.
    """

    pull: Floats
    hard_pull: Floats
    hanging: float
    lowering: float
    hauling: float


def base_anchor(loads: ConfigurationLoads, hardware: str, union: int, settings: LoadSettings) -> BaseAnchor:
    """The base of one basal configuration, the most of all places of the climber; union : its row of the
    contacts.

    Notes
    -----
    Lowering: T_base = T exp(-sum mu beta); hauling: T_base = T exp(sum mu beta), over all supports. The union
    feels its own two legs: the one toward the base carries exp(-+ mu beta) of the other, by the union's own
    turning, and that one the same of T by what lies under the climber's leg. A pre-load left in the anchor
    leg is the least of its pull.
    """
    own, under = loads.turn[:, union], loads.turn[:, union + 1 :].sum(axis=1)
    toward = loads.leg_toward[:, union]

    def multiple(sign: float, k: int) -> float:
        before = np.exp(sign * settings.mu_bark[k] * under)
        after = before * np.exp(sign * friction(hardware, settings)[k] * own)
        return float(
            np.linalg.norm(before[:, None] * toward[:, 1] + after[:, None] * toward[:, 0], axis=1).max()
        )

    first = np.argmax(loads.touches, axis=1)  # the first support, from which the leg goes toward the base
    leg = loads.leg_toward[np.arange(len(first)), first, 0]

    def hardest(pull: Floats) -> Floats:
        row = int(np.argmax(pull))
        kept = settings.preload * settings.climber_mass * G if pull[row] > 0 else 0.0
        return -max(float(pull[row]), kept) * unit(leg[row])

    return BaseAnchor(
        hardest(loads.pulls.most),
        hardest(loads.pulls.hard),
        multiple(0.0, LOW),
        multiple(-1.0, LOW),
        multiple(1.0, HIGH),
    )


def base_notes(
    loads: ConfigurationLoads, hardware: str, union: int, settings: LoadSettings
) -> tuple[Reason, Reason]:
    """What the climber must know of the base anchor: its hardest pull, and what lowering and hauling from it
    do to the union."""
    b = base_anchor(loads, hardware, union, settings)
    shock = float(np.linalg.norm(b.hard_pull))
    return (
        Reason(
            "base_anchor_pulled",
            at_most=_up(float(np.linalg.norm(b.pull))),
            tilt=float(np.arccos(np.clip(unit(b.pull)[2], -1.0, 1.0))),
            shock_at_most=_up(shock) if shock > 0 else None,
        ),
        Reason(
            "base_lowering_hauling",
            lowering=b.lowering,
            hauling=b.hauling,
            force=b.hauling * settings.climber_mass * G,
        ),
    )


def _up(force: float) -> float:
    """A force rounded up to whole tenths of a kilonewton, so that "up to" holds as printed. [N]"""
    return float(np.ceil(force / TENTH - ROUNDING) * TENTH)
