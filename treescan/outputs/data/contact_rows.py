"""On what does the rope bear, how far does it turn there, and with what force? One row a contact, the wanted union first."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from treescan.assess import Assessment
from treescan.outputs.text import wording as w
from treescan.planning.tie_in_point import Floats, TieInPoint
from treescan.wood.graph import WoodGraph


@dataclass(frozen=True)
class ContactRow:
    """One contact under the governing load.

    on : str            "U07", "the stem" or "the limb from U12".
    side : str          "union", "toward the base" or "toward the climber".
    node : int          Of the segment the rope bears on.
    height : float      Of that place above the stem's foot. [m]
    diameter : float    Of the wood there. [m]
    force : (3,) float  On the wood. [N]  NaN = not seen.
    turn : float        Of the rope. [rad]  NaN = choked, or not seen.
    """

    on: str
    side: str
    node: int
    height: float
    diameter: float
    force: Floats
    turn: float


def contact_rows(a: Assessment, p: TieInPoint) -> tuple[ContactRow, ...]:
    """The contacts of one candidate: the union, then supports from it toward the base, then those toward the climber."""
    graph, k = a.tree.graph, p.check
    nodes = [(p.label, "union", int(k.configuration.rest_node))]
    nodes += [(limb_name(graph, int(n)), "toward the base", int(n)) for n in k.configuration.via]
    nodes += [(limb_name(graph, int(n)), "toward the climber", int(n)) for n in k.configuration.beyond]
    force = np.full((len(nodes), 3), np.nan)
    turn = np.full(len(nodes), np.nan)
    known = np.atleast_2d(k.contact_forces)[: len(nodes)]
    force[: len(known)] = known
    turn[: len(k.contact_turns)] = k.contact_turns[: len(nodes)]
    return tuple(
        ContactRow(on, side, n, float(graph.xyz[n, 2] - graph.xyz[0, 2]), 2 * float(graph.segment_radius[n]), f, float(t))
        for (on, side, n), f, t in zip(nodes, force, turn, strict=True)
    )


def limb_name(graph: WoodGraph, node: int) -> str:
    """The wood of a node by the union its limb leaves at: "the limb from U12", or "the stem"."""
    limb, u = int(graph.limb[node]), graph.unions
    if limb == 0:
        return "the stem"
    union = np.repeat(np.arange(len(u)), np.diff(u.arm_start))
    leaves = union[(u.arm_limb == limb) & (graph.limb[u.node[union]] != limb)]
    return f"the limb from {u.label[leaves[0]]}" if len(leaves) else f"limb {limb}"


def contact_words(r: ContactRow) -> str:
    """What the contact bears, and how far the rope turns on it.

    >>> contact_words(ContactRow("U07", "union", 3, 8.0, 0.2, np.array([0.0, 0.0, -1900.0]), 3.0))
    '1.9 kN (427 lbf), the rope turns by 172°'
    """
    size = float(np.linalg.norm(r.force))
    if not w.finite(size):
        return w.NOT_SEEN
    if size <= 0:
        return "nothing: the taut rope clears it"
    return f"{w.force(size)}, " + (f"the rope turns by {w.degrees(r.turn)}" if w.finite(r.turn) else "choked")
