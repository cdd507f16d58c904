"""Will the rope come down again from the ground, or is there a fork it can jam in?"""

from __future__ import annotations

import numpy as np

from treescan.planning.tie_in_point import Retrieval, TieInPoint
from treescan.wood.graph import WoodGraph

NEAR = 0.4
"""A fork this near the plumb line below the tie-in point can catch a rope end [m] (project choice)."""

STEEP = np.radians(45.0)
"""A limb that leaves more steeply than this makes a wedge with the stem (project choice)."""


def retrieval(graph: WoodGraph, point: TieInPoint) -> Retrieval:
    """Whether rope and hardware can be pulled down from the ground.

    Notes
    -----
    A snag is a union below the tie-in point, within `NEAR` of its plumb line, whose limb leaves at less than 45 degrees from its
    parent: a wedge that opens upward. A line over several limbs is in doubt as soon as it bears on any of them; three snags or
    more are a no.
    """
    u = graph.unions
    below = (u.place[:, 2] < point.place[2] - 0.3) & (np.hypot(*(u.place[:, :2] - point.place[:2]).T) <= NEAR + u.parent_diameter / 2)
    snags = tuple(u.label[k] for k in np.flatnonzero(below) if np.any(u.arm_attachment[u.laterals(int(k))] < STEEP))
    name = f"{point.label} {point.system}"
    if len(snags) >= 3:
        return Retrieval("no", snags, f"{name}: {len(snags)} wedge forks below it ({', '.join(snags[:4])}): plan to climb up and derig.")
    if snags or len(point.check.configuration.via) or len(point.check.configuration.beyond):
        why = f"wedge fork(s) {', '.join(snags)} below it" if snags else "the line bears on several limbs"
        return Retrieval("doubt", snags, f"{name}: {why}; retrieve with a small end, without knots, and watch it down.")
    return Retrieval("yes", (), f"{name}: no wedge fork in the way of a falling rope end.")
