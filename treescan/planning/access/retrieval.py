"""Will the rope come down again from the ground, or is there a fork it can jam in?"""

from __future__ import annotations

import numpy as np

from treescan.loads.limb_check import AnchorConfiguration
from treescan.planning.tie_in_point import Floats, Retrieval
from treescan.reason import Reason
from treescan.wood.graph import WoodGraph

NEAR = 0.4
"""A fork this near the plumb line below the tie-in point can catch a rope end [m] (project choice)."""

BELOW = 0.3
"""A union less than this below the tie-in point is the one the rope lies in [m] (project choice)."""

STEEP = np.radians(45.0)
"""A limb that leaves more steeply than this makes a wedge with the stem (project choice)."""

TOO_MANY = 3
"""Snags from which on the rope is not counted on to come down (project choice)."""


def retrieval(graph: WoodGraph, configuration: AnchorConfiguration, place: Floats) -> Retrieval:
    """Whether rope and hardware of an anchor that bears at `place` (3,) can be pulled down from the ground.

    Notes
    -----
    A snag is a union below the tie-in point, within `NEAR` of its plumb line, whose limb leaves at less than
    45 degrees from its parent: a wedge that opens upward. A line over several limbs is in doubt as soon as it
    bears on any of them; three snags or more are a no.
    """
    u = graph.unions
    below = (u.place[:, 2] < place[2] - BELOW) & (
        np.hypot(*(u.place[:, :2] - place[:2]).T) <= NEAR + u.parent_diameter / 2
    )
    snags = tuple(
        u.label[k] for k in np.flatnonzero(below) if np.any(u.arm_attachment[u.laterals(int(k))] < STEEP)
    )
    anchor = Reason("anchor_named", label=u.label[configuration.union], system=configuration.system)
    if len(snags) >= TOO_MANY:
        return Retrieval(
            "no", snags, Reason("retrieval_by_climbing", anchor=anchor, count=len(snags), unions=snags)
        )
    if snags:
        return Retrieval("doubt", snags, Reason("retrieval_past_forks", anchor=anchor, unions=snags))
    if len(configuration.via) or len(configuration.beyond):
        return Retrieval("doubt", (), Reason("retrieval_over_limbs", anchor=anchor))
    return Retrieval("yes", (), Reason("retrieval_clear", anchor=anchor))
