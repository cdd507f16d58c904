"""How might this anchor be load-tested before anyone hangs on it? A proposal for the competent person, never a proof."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from treescan.geometry import unit
from treescan.loads.limb_check import AnchorCheck
from treescan.loads.rope_systems import SYSTEMS
from treescan.loads.settings import LoadSettings
from treescan.units import G
from treescan.wood.graph import Floats, WoodGraph

PROPOSAL = "A proposal for the competent person; passing it proves nothing beyond the load applied."


@dataclass(frozen=True)
class LoadTest:
    """One test.

    pull : float            On the rope. [N]
    on_union : float        Force it brings onto the union. [N]
    direction : (3,) float  Unit vector of the pull, as in use.
    people : int            Hanging on the rope.
    pullers : int           Or pulling by hand through a 2:1.
    share : float           Of the governing load in use that the test applies to the union.
    clear_centre : (2,), clear_radius : float   Nobody inside this circle in plan. [m, local]
    words : tuple of str    Steps.
    """

    pull: float
    on_union: float
    direction: Floats
    people: int
    pullers: int
    share: float
    clear_centre: Floats
    clear_radius: float
    words: tuple[str, ...]


def load_test(graph: WoodGraph, check: AnchorCheck, settings: LoadSettings) -> LoadTest | None:
    """The test of one checked anchor; None where the anchor was not seen, for what cannot be judged is not to be loaded.

    Notes
    -----
    The pull is `settings.test_people` times the climber's weight on the rope path and in the direction of use, built up gently.
    Clear of people: half as far again as the wood reaches that would come down with the governing break.
    """
    if check.check.verdict == "not seen":
        return None
    pull = settings.test_people * settings.climber_mass * G
    multiple = check.multiple_of_weight if SYSTEMS[check.rig.system].basal else 1.0
    on_union = pull * multiple
    direction = unit(check.force)
    foot = graph.unions.place[check.rig.union][:2]
    falls = graph.xyz[graph.above(check.check.governing)]
    radius = max(settings.clear_least, settings.clear_share * float(np.linalg.norm(falls[:, :2] - foot, axis=1).max(initial=0.0)))
    people = int(np.ceil(settings.test_people))
    pullers = int(np.ceil(pull / (2.0 * settings.hand_pull)))
    used = float(np.linalg.norm(check.force))
    tilt = float(np.degrees(np.arccos(np.clip(-direction[2], -1.0, 1.0))))
    words = (
        "Look at the limb, the lower stem and the ground round the stem first; do not attach anyone until the test is done.",
        f"Rig as in use and pull on the climber's leg; the force on the union then stands {tilt:.0f} degrees from plumb.",
        f"Build up gently to {people} people hanging on it (or {pullers} on a 2:1): {pull / 1000:.1f} kN in the rope, "
        f"{on_union / 1000:.1f} kN on the union, {100 * on_union / used:.0f} % of the governing load ({check.case}).",
        f"Nobody but those pulling within {radius:.0f} m of the plumb of the union, and they stand to the side.",
        "Watch and listen to limb, stem and ground; slacken fully before climbing: tension left in the leg adds to the load.",
        PROPOSAL,
    )
    return LoadTest(pull, on_union, direction, people, pullers, on_union / used, foot, radius, words)
