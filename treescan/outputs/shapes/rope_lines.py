"""Where do rope, throw and swing run, as lines to draw? Taken from the computed results; only joined up for the eye."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from treescan.assess import Assessment
from treescan.loads.pull.shock import arc
from treescan.loads.rope.contacts import union_contact
from treescan.planning.candidates.contact import contact_point
from treescan.planning.tie_in_point import ROUND_STEM, TieInPoint
from treescan.trees.beside import Terrain
from treescan.wood.graph import WoodGraph

Floats = NDArray[np.float64]
ROUND = 0.45
"""Of a stem that is marked above and below a rope round it. [m]"""


def rope_rest(graph: WoodGraph, p: TieInPoint) -> Floats:
    """Where the rope bears on the wood, on top of the limb, (3,). [m, local]"""
    bears = union_contact(graph, p.check.configuration)
    return bears.point + np.array([0.0, 0.0, graph.segment_radius[bears.node]])


def ground_below(terrain: Terrain, xyz: Floats, fallback: float) -> Floats:
    """The point on the terrain plumb under a place, (3,); at `fallback` height where the ground is unseen. [m, local]"""
    z = float(terrain.height_at(xyz[:2]))
    return np.array([xyz[0], xyz[1], z if np.isfinite(z) else fallback])


LEGS = (0.06, 0.0, 0.0)
"""From the middle to a leg of a doubled rope. [m]"""


def rope_line(a: Assessment, p: TieInPoint, legs: Sequence[float] | Floats = LEGS) -> Floats:
    """The climbing rope from its far end over every support to the ground under the tie-in point, (k, 3). [m, local]"""
    graph, terrain = a.tree.graph, a.tree.beside.terrain
    rest = rope_rest(graph, p)
    foot = ground_below(terrain, rest, float(graph.xyz[0, 2]))
    configuration = p.check.configuration
    if configuration.system == "SRS basal":
        supports = [graph.xyz[n] + [0.0, 0.0, graph.segment_radius[n]] for n in configuration.via[::-1]]
        outer = [graph.xyz[n] + [0.0, 0.0, graph.segment_radius[n]] for n in configuration.beyond]
        below = ground_below(terrain, outer[-1], float(graph.xyz[0, 2])) if outer else foot
        return np.array([configuration.base, *supports, rest, *outer, below])
    if configuration.system == "MRS":
        aside = np.asarray(legs, float)
        return np.array([foot + aside, rest + aside, rest - aside, foot - aside])
    return np.array([rest, foot])


def limb_to_use(graph: WoodGraph, p: TieInPoint, beyond: float = 2.5) -> NDArray[np.int32]:
    """Nodes of the wood the rope lies on, foot first: the limb from its union to `beyond` [m] past the rope; of a stem that the rope
    goes round, the piece about it."""
    rest = p.check.configuration.rest_node
    own = graph.limbs.nodes[int(graph.limb[rest])]
    along = np.cumsum(graph.length[own])
    at = float(along[own == rest][0]) if np.any(own == rest) else 0.0
    near = np.abs(along - at) <= ROUND if ROUND_STEM in p.hardware else along <= at + beyond
    started = np.flatnonzero(np.isin(own, graph.unions.arm_node[graph.unions.arms(p.union)]))
    if len(started) and ROUND_STEM not in p.hardware:
        near &= np.arange(len(own)) >= started[0]
    chosen: NDArray[np.int32] = own[near]
    return chosen


def swing_from(a: Assessment, p: TieInPoint) -> int:
    """Row of the served work point with the longest sideways swing, -1 when none is served."""
    if not len(a.work) or not p.reach.served.any():
        return -1
    flat = np.linalg.norm((a.work.xyz - rope_rest(a.tree.graph, p))[:, :2], axis=1)
    return int(np.argmax(np.where(p.reach.served, flat, -1.0)))


def swing_arc(a: Assessment, p: TieInPoint) -> Floats:
    """The pendulum from the served work point with the longest swing, through plumb and up again, (k, 3); empty when none."""
    row = swing_from(a, p)
    return (
        np.zeros((0, 3))
        if row < 0
        else arc(contact_point(a.tree.graph, p.check.configuration), a.work.xyz[row], steps=24)[0]
    )
