"""How might this anchor be load-tested before anyone hangs on it? A proposal for the competent person, never a proof."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from treescan.geometry import unit
from treescan.loads.limb_check import AnchorCheck
from treescan.loads.rope.rope_systems import SYSTEMS
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
    clear_centre : (2,), clear_radius : float   Nobody inside this circle in plan, whole metres. [m, local]
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
    Clear of people: `settings.clear_share` times as far as `falls_within`.
    """
    if check.check.verdict == "not seen":
        return None
    pull = settings.test_people * settings.climber_mass * G
    multiple = check.multiple_of_weight if SYSTEMS[check.configuration.system].basal else 1.0
    on_union = pull * multiple
    direction = unit(check.force)
    foot = graph.unions.place[check.configuration.union][:2]
    reach, piece = falls_within(graph, check, foot)
    radius = float(np.ceil(max(settings.clear_least, settings.clear_share * reach) - 1e-9))
    people = int(np.ceil(settings.test_people))
    pullers = int(np.ceil(pull / (2.0 * settings.hand_pull)))
    used = float(np.linalg.norm(check.force))
    tilt = float(np.degrees(np.arccos(np.clip(-direction[2], -1.0, 1.0))))
    words = (
        "Look at the limb, the lower stem and the ground round the stem first; do not attach anyone until the test is done.",
        f"AnchorConfiguration as in use and pull on the climber's leg; the force on the union then stands {tilt:.0f} degrees from plumb.",
        f"Build up gently to {people} people hanging on it (or {pullers} on a 2:1): {pull / 1000:.1f} kN in the rope, "
        f"{on_union / 1000:.1f} kN on the union, {100 * on_union / used:.0f} % of the governing load ({check.case}).",
        f"Nobody but those pulling within {radius:.0f} m of the plumb of the union, and they stand to the side: what may break reaches "
        f"{piece:.1f} m from where it breaks and can topple full length to any side.",
        "Watch and listen to limb, stem and ground; slacken fully before climbing: tension left in the leg adds to the load.",
        PROPOSAL,
    )
    return LoadTest(pull, on_union, direction, people, pullers, on_union / used, foot, radius, words)


def falls_within(graph: WoodGraph, check: AnchorCheck, centre: Floats) -> tuple[float, float]:
    """How far from a point in plan (2,) any piece that may break can lie, and how far that piece reaches from where it breaks. [m]

    Notes
    -----
    A piece can topple to any side with its full length, upright or not: its reach in space counts, not its plan. The break may lie off the
    centre by as much again as its plan distance. The furthest of the governing and of every likely break counts.
    """
    found = [(0.0, 0.0)]
    for node in dict.fromkeys([check.check.governing, *(b.node for b in check.breaks)]):
        foot = graph.xyz[max(int(graph.parent[node]), 0)]  # the segment's lower end
        piece = float(np.linalg.norm(graph.xyz[graph.above(node)] - foot, axis=1).max())
        found.append((piece + float(np.linalg.norm(foot[:2] - centre)), piece))
    return max(found)
