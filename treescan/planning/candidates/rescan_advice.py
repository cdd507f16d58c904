"""What would settle a question the scan left open?"""

from __future__ import annotations

import numpy as np

from treescan.loads.limb_check import AnchorCheck
from treescan.reason import Reason
from treescan.wood.graph import WoodGraph

RESCANS = frozenset({"rescan_limb", "rescan_stem"})
"""Codes of what a rescan would settle; they stand beside a gate and are none themselves."""

BESIDE_STEM = 0.3
"""Wood nearer than this to the plumb line over the stem's foot has no side of its own [m] (project
choice)."""


def rescan_advice(graph: WoodGraph, check: AnchorCheck) -> Reason:
    """Where to look again, from the lowest wood on the way to the ground that was not seen or not
    measured."""
    place = graph.xyz[unseen_node(graph, check)]
    out = place[:2] - graph.xyz[0, :2]
    away, height = float(np.hypot(*out)), float(place[2] - graph.xyz[0, 2])
    if away < BESIDE_STEM:
        return Reason("rescan_stem", height=height)
    return Reason("rescan_limb", height=height, away=away, azimuth=float(np.arctan2(out[0], out[1])))


def unseen_node(graph: WoodGraph, check: AnchorCheck) -> int:
    """The lowest unseen or unmeasured node below the rope, else the union itself."""
    path = graph.path_to_base(check.configuration.rest_node)
    bad = path[~graph.seen[path] | ~np.isfinite(graph.segment_radius[path])]
    return int(bad.min()) if len(bad) else int(graph.unions.node[check.configuration.union])
