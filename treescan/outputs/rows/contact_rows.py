"""On what does the rope bear, how far does it turn there, and with what force? One row a contact, the wanted
union first."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from treescan.assess import Assessment
from treescan.planning.tie_in_point import Floats, TieInPoint
from treescan.reason import Reason
from treescan.wood.graph import WoodGraph


@dataclass(frozen=True)
class ContactRow:
    """One contact under the governing load.

    on : Reason         The union, the stem, or the limb by the union it leaves at.
    side : str          "union", "toward the base" or "toward the climber".
    node : int          Of the segment the rope bears on.
    height : float      Of that place above the stem's foot. [m]
    diameter : float    Of the wood there. [m]
    force : (3,) float  On the wood. [N]  NaN = not seen.
    turn : float        Of the rope. [rad]  NaN = choked, or not seen.
    """

    on: Reason
    side: str
    node: int
    height: float
    diameter: float
    force: Floats
    turn: float


def contact_rows(a: Assessment, p: TieInPoint) -> tuple[ContactRow, ...]:
    """The contacts of one candidate: the union, then supports from it toward the base, then those toward the
    climber."""
    graph, k = a.tree.graph, p.check
    nodes = [(Reason("contact_union", union=p.label), "union", int(k.configuration.rest_node))]
    nodes += [(limb_name(graph, int(n)), "toward the base", int(n)) for n in k.configuration.via]
    nodes += [(limb_name(graph, int(n)), "toward the climber", int(n)) for n in k.configuration.beyond]
    force = np.full((len(nodes), 3), np.nan)
    turn = np.full(len(nodes), np.nan)
    known = np.atleast_2d(k.contact_forces)[: len(nodes)]
    force[: len(known)] = known
    turn[: len(k.contact_turns)] = k.contact_turns[: len(nodes)]
    return tuple(
        ContactRow(
            on,
            side,
            n,
            float(graph.xyz[n, 2] - graph.xyz[0, 2]),
            2 * float(graph.segment_radius[n]),
            f,
            float(t),
        )
        for (on, side, n), f, t in zip(nodes, force, turn, strict=True)
    )


def limb_name(graph: WoodGraph, node: int) -> Reason:
    """The wood of a node: the stem, or a limb by the union it leaves at."""
    limb, u = int(graph.limb[node]), graph.unions
    if limb == 0:
        return Reason("the_stem")
    union = np.repeat(np.arange(len(u)), np.diff(u.arm_start))
    leaves = union[(u.arm_limb == limb) & (graph.limb[u.node[union]] != limb)]
    return (
        Reason("contact_limb", union=u.label[leaves[0]])
        if len(leaves)
        else Reason("contact_limb_numbered", limb=limb)
    )


def contact_words(r: ContactRow) -> Reason:
    """What the contact bears, and how far the rope turns on it.

    >>> on = Reason("contact_union", union="U07")
    >>> contact_words(ContactRow(on, "union", 3, 8.0, 0.2, np.array([0.0, 0.0, -1900.0]), 3.0))
    Reason('contact_turns', force=1900.0, turn=3.0)
    """
    size = float(np.linalg.norm(r.force))
    if not np.isfinite(size):
        return Reason("contact_not_seen")
    if size <= 0:
        return Reason("contact_clear")
    return (
        Reason("contact_turns", force=size, turn=r.turn)
        if np.isfinite(r.turn)
        else Reason("contact_choked", force=size)
    )
