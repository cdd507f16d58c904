"""What would settle a question the scan left open?"""

from __future__ import annotations

import numpy as np

from treescan.loads.limb_check import AnchorCheck
from treescan.wood.graph import WoodGraph

TO_SETTLE = "To settle it"
"""How the sentence starts."""

POINTS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")


def what_settles(graph: WoodGraph, check: AnchorCheck) -> str:
    """Where to look again, from the lowest wood on the way to the ground that was not seen or not measured."""
    node = unseen_node(graph, check)
    p = graph.xyz[node]
    out = p[:2] - graph.xyz[0, :2]
    far = float(np.hypot(*out))
    where = f"{p[2] - graph.xyz[0, 2]:.1f} m up"
    side = "from two sides"
    if far >= 0.3:
        word = POINTS[round(float(np.degrees(np.arctan2(out[0], out[1]))) / 45.0) % 8]
        where += f", {far:.1f} m {word} of the stem's foot"
        side = f"from the {word} and one other side"
    return f"{TO_SETTLE}: scan again, leaf-off, so that the wood {where} is seen {side}, or have a climber measure it there by hand."


def unseen_node(graph: WoodGraph, check: AnchorCheck) -> int:
    """The lowest unseen or unmeasured node below the rope, else the union itself."""
    path = graph.path_to_base(check.configuration.rest_node)
    bad = path[~graph.seen[path] | ~np.isfinite(graph.segment_radius[path])]
    return int(bad.min()) if len(bad) else int(graph.unions.node[check.configuration.union])
