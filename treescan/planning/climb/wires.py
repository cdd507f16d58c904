"""Which wires does the scan alone claim, and what hangs on that claim?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from treescan.planning.access.approach import is_claim, refused_for_wires_alone
from treescan.planning.reach.clearances import approach_distance, claimed_wires
from treescan.planning.tie_in_point import TieInPoint
from treescan.planning.tree_context import TreeContext
from treescan.reason import Reason


def wires_claimed(context: TreeContext, points: Sequence[TieInPoint]) -> tuple[Reason, ...]:
    """The wire that only the scan claims, where it comes nearest, and the candidates refused for it; () where it
    claims none."""
    wires, foot = claimed_wires(context.beside, context.site), context.graph.xyz[0]
    if len(wires) == 0:
        return ()
    out = wires[:, :2] - foot[:2]
    nearest = int(np.argmin(np.hypot(*out.T)))
    near = [p for p in points if _for_a_claim(p)]
    return (
        Reason(
            "wires_claimed",
            places=len(wires),
            away=float(np.hypot(*out[nearest])),
            azimuth=float(np.arctan2(*out[nearest])),
            height=float(wires[nearest, 2] - foot[2]),
            limit=approach_distance(float("nan"), context.settings.approach),
            refused=len(near),
            alone=sum(refused_for_wires_alone(p) for p in near),
            n=len(points),
        ),
    )


def _for_a_claim(point: TieInPoint) -> bool:
    """True where a wire that only the scan claims stands against it."""
    return any(is_claim(g) for g in point.gates)
