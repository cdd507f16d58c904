"""Where do rope, throw and swing run, as lines to draw? Taken from the computed results; only joined up for the eye."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from treescan.assess import Assessment
from treescan.loads.pull.shock import arc
from treescan.loads.rope.contacts import union_contact
from treescan.planning.candidates.contact import contact_point
from treescan.planning.tie_in_point import TieInPoint
from treescan.trees.beside import Terrain
from treescan.wood.graph import WoodGraph

Floats = NDArray[np.float64]


def rope_rest(graph: WoodGraph, p: TieInPoint) -> Floats:
    """Where the rope bears on the wood, on top of the limb, (3,). [m, local]"""
    bears = union_contact(graph, p.check.configuration)
    return bears.point + np.array([0.0, 0.0, graph.segment_radius[bears.node]])


def ground_below(terrain: Terrain, xyz: Floats, fallback: float) -> Floats:
    """The point on the terrain plumb under a place, (3,); at `fallback` height where the ground is unseen. [m, local]"""
    z = float(terrain.height_at(xyz[:2]))
    return np.array([xyz[0], xyz[1], z if np.isfinite(z) else fallback])


def rope_line(a: Assessment, p: TieInPoint) -> Floats:
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
        aside = np.array([0.06, 0.0, 0.0])
        return np.array([foot + aside, rest + aside, rest - aside, foot - aside])
    return np.array([rest, foot])


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
