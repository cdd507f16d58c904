"""Where does the piece that breaks come down, against the climber and the rope, and what does it add while it
hangs in the rope?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from treescan.geometry import segment_segment
from treescan.loads.fall.backup import carried
from treescan.loads.fall.fall_way import BODY
from treescan.loads.limb_check import Catch
from treescan.loads.rope.contacts import Contact
from treescan.loads.statics.structural_model import StructuralModel
from treescan.reason import Reason
from treescan.units import G
from treescan.wood.graph import Floats

PLUMB = np.array([1.0, 1.0, 0.0])
"""Drops the height of a point."""


def falling_wood(
    tree: StructuralModel, node: int, contacts: Sequence[Contact], climber: Floats, catches: Sequence[Catch]
) -> Reason:
    """The piece above section `node` as it comes down.

    Parameters
    ----------
    contacts : sequence         Of the rope before the break; climber : (3,) float [m].
    catches : sequence          Of the failure chain of this break.

    Notes
    -----
    As it stands the piece falls plumb; toppled full length to any side it lies within its length of the
    break. It hits the climber where its wood stands within half a body of their plumb and above them, and
    may do so anywhere within its length. While it hangs in the rope its weight m g comes on the rope;
    through the first stop F = W' + sqrt(W'^2 + 2 W' h k), W' = W + m g, h and k those of the climber's own
    stop [arrest_force]: the piece is taken to drop as far as the climber.
    """
    g, s = tree.graph, tree.sections
    piece = carried(g.parent, node) & ~tree.gone
    rows = np.flatnonzero(piece)
    foot, weight = s.point[node], float(s.weight[node])
    ends = g.xyz[rows]
    starts = np.where((rows == node)[:, None], foot, g.xyz[g.parent[rows]])
    length = float(np.linalg.norm(ends - foot, axis=1).max(initial=0.0))
    at = climber * PLUMB
    aside = float(np.min(segment_segment(at, at, starts * PLUMB, ends * PLUMB)[0]))
    above = float(max(ends[:, 2].max(initial=foot[2]), foot[2]) - climber[2])
    from_break = float(np.hypot(*(climber - foot)[:2]))
    hangs = any(piece[c.node] for c in contacts)
    first = next((c for c in catches if not c.ground), None) if hangs else None
    peak = None if first is None else _peak_with(first, weight, tree.settings.climber_mass * G)
    return Reason(
        "piece_comes_down",
        over=bool(aside < BODY and above > 0),
        aside=aside,
        drop=max(float(foot[2] - climber[2]), 0.0),
        length=length,
        within=bool(from_break < length + BODY and above > 0),
        weight=weight if hangs else None,
        peak=peak,
        low=first.margin.p5 * first.peak / peak
        if first is not None and peak and first.margin.known
        else None,
    )


def _peak_with(catch: Catch, piece: float, weight: float) -> float:
    """Peak rope force of a stop with a piece of wood in the rope beside the climber, weights in newtons.
    [N]"""
    both, swing = weight + piece, (catch.peak - weight) ** 2 - weight**2  # 2 W h k of the climber's stop
    return float(both + np.sqrt(both**2 + max(swing, 0.0) * both / weight))
