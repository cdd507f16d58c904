"""Where does the piece that breaks come down, against the climber and the rope, and what does it add while it
hangs in the rope?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numba import njit

from treescan.loads.fall.backup import carried
from treescan.loads.fall.fall_way import BODY
from treescan.loads.limb_check import Catch
from treescan.loads.rope.contacts import Contact
from treescan.loads.statics.structural_model import StructuralModel
from treescan.reason import Reason
from treescan.units import G
from treescan.wood.graph import Floats


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
    foot, weight = s.point[node], float(s.weight[node])
    piece = carried(g.parent, node) & ~tree.gone
    aside, length, top = _extent(g.parent, g.xyz, piece, node, foot, climber)
    above = float(top - climber[2])
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


@njit(cache=True, error_model="numpy")
def _extent(  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    parent, xyz, piece, node, foot, climber,
):
    """Of a piece of wood above section `node` at `foot`: its distance in plan from the climber, its farthest end from the
    foot, and the height of its highest end, not below the foot. [m]"""
    aside, far, top = np.inf, 0.0, foot[2]
    for i in range(node, len(parent)):
        if not piece[i]:
            continue
        x, y, z = xyz[i]
        px, py = (foot[0], foot[1]) if i == node else (xyz[parent[i], 0], xyz[parent[i], 1])
        dx, dy = x - px, y - py
        size = dx * dx + dy * dy
        share = ((climber[0] - px) * dx + (climber[1] - py) * dy) / size if size > 0.0 else 0.0
        share = min(max(share, 0.0), 1.0)
        aside = min(aside, np.hypot(px + share * dx - climber[0], py + share * dy - climber[1]))
        far = max(far, np.sqrt((x - foot[0]) ** 2 + (y - foot[1]) ** 2 + (z - foot[2]) ** 2))
        top = max(top, z)
    return aside, far, top


def _peak_with(catch: Catch, piece: float, weight: float) -> float:
    """Peak rope force of a stop with a piece of wood in the rope beside the climber, weights in newtons.
    [N]"""
    both, swing = weight + piece, (catch.peak - weight) ** 2 - weight**2  # 2 W h k of the climber's stop
    return float(both + np.sqrt(both**2 + max(swing, 0.0) * both / weight))
