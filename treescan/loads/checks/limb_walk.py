"""Does the limb that is walked bear the climber's step?"""

from __future__ import annotations

import numpy as np

from treescan.estimate import Estimate
from treescan.geometry import segment_segment
from treescan.loads.chance.reliability import RopeFriction, sampled_reliability
from treescan.loads.limb_check import UNKNOWN
from treescan.loads.rope.contacts import at_node
from treescan.loads.statics.load_path import LegLoads, load_path, margin_case, unseen, used
from treescan.loads.statics.structural_model import StructuralModel
from treescan.units import G
from treescan.wood.graph import Floats

ON_WOOD = 0.5
"""Work farther than this from any limb's bark lies on no limb [m] (project choice)."""


def steps(tree: StructuralModel, work: Floats) -> tuple[Estimate, ...]:
    """Margin of the weakest wood between each work point (w, 3) and the ground under a step there: the
    climber's weight times `step_factor`, plumb, none of it borne by the rope. `UNKNOWN` off the wood and where
    the scan cannot tell."""
    g = tree.graph
    inner, radius = g.xyz[g.parent[1:]], np.nan_to_num(g.segment_radius[1:])
    found = []
    for place in work:
        gap, _, share = segment_segment(place, place, inner, g.xyz[1:])
        row = int(np.argmin(gap - radius))
        on = gap[row] - radius[row] <= ON_WOOD
        foot = inner[row] + share[row] * (g.xyz[row + 1] - inner[row])
        found.append(_step(tree, row + 1, foot) if on else UNKNOWN)
    return tuple(found)


def _step(tree: StructuralModel, node: int, foot: Floats) -> Estimate:
    """Margin under a step at a point (3,) of a segment's axis."""
    settings, contact = tree.settings, at_node(tree.graph, node, foot)
    if unseen(tree, [contact]) is not None:
        return UNKNOWN
    path = load_path(tree, [contact])
    force = np.array([0.0, 0.0, -settings.step_factor * settings.climber_mass * G])
    loads = LegLoads(np.stack([[foot, foot]]), np.stack([[force, 0.0 * force]]))
    use = used(path, loads)
    case = margin_case(tree, path, [contact], loads, 0, RopeFriction.none(2), use)
    return sampled_reliability(case, tree.few, stands=settings.stands)[0]
