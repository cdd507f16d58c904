"""Where on the wood does the rope bear?"""

from __future__ import annotations

import math

import numpy as np

from treescan.loads.limb_check import AnchorConfiguration
from treescan.loads.rope.contacts import middle, union_contact
from treescan.planning.tie_in_point import Floats
from treescan.wood.graph import Ints, WoodGraph
from treescan.wood.topology.crotch import crotch_along

DEAD_FLAGS = frozenset({"dead suspect", "dead"})
"""Flags of a union whose limb may be dead: what the scan suspects, and what a tree.json made elsewhere may
state."""


def looks_dead(graph: WoodGraph, union: int) -> bool:
    """True where the union is flagged as one whose limb may be dead."""
    return not DEAD_FLAGS.isdisjoint(graph.unions.flags[union])


def line_from_union(graph: WoodGraph, union: int, node: int) -> Ints:
    """Nodes of the limb that holds `node`, from the union (itself first) outward to the limb's tip."""
    start, line = int(graph.unions.node[union]), graph.limbs.nodes[graph.limb[node]]
    beyond = line[line > start]
    own = graph.limb[start] == graph.limb[node]
    if not own:
        beyond = line
    return np.concatenate([[start], beyond]).astype(np.int32)


def round_stem(graph: WoodGraph, configuration: AnchorConfiguration) -> bool:
    """True when the rope is choked round the stem just above a union instead of lying over one of its
    limbs."""
    return int(configuration.rest_node) == int(graph.unions.node[configuration.union])


def place_on_limb(graph: WoodGraph, union: int, node: int, distance: float) -> tuple[int, Floats]:
    """The segment (its child node) and the point `distance` metres out from the union's axis along the limb
    that holds `node`."""
    line = line_from_union(graph, union, node)
    if len(line) < 2:
        return int(node), graph.xyz[node].copy()
    step = graph.length[line]
    step[:2] = (
        0.0,
        math.dist(graph.xyz[line[0]], graph.xyz[line[1]]),
    )  # the limb may leave a merged union a little beside its node
    along = np.cumsum(step)
    s = float(np.clip(distance, 0.0, along[-1]))
    i = int(np.clip(np.searchsorted(along, s), 1, len(line) - 1))
    share = (s - along[i - 1]) / max(along[i] - along[i - 1], 1e-12)
    return int(line[i]), graph.xyz[line[i - 1]] + share * (graph.xyz[line[i]] - graph.xyz[line[i - 1]])


def union_point(graph: WoodGraph, configuration: AnchorConfiguration) -> Floats:
    """The point of the limb's axis the rope bears on at the union, (3,): where the forces are told for, too. [m, local]"""
    return union_contact(graph, configuration).point


def contact_point(graph: WoodGraph, configuration: AnchorConfiguration) -> Floats:
    """The point of the limb's axis the climber's leg hangs from, (3,): at the union, or on the outermost limb
    under that leg. [m, local]"""
    return (
        middle(graph, int(configuration.beyond[-1]))
        if len(configuration.beyond)
        else union_point(graph, configuration)
    )


def hanging_node(configuration: AnchorConfiguration) -> int:
    """Segment the climber's leg hangs from."""
    return int(configuration.beyond[-1]) if len(configuration.beyond) else int(configuration.rest_node)


def bearing_nodes(graph: WoodGraph, configuration: AnchorConfiguration) -> list[int]:
    """Nodes the rope bears on: the limb at the union, the union itself, further supports of a basal line."""
    union = int(graph.unions.node[configuration.union])
    return [
        int(configuration.rest_node),
        union,
        *(int(n) for n in (*configuration.via, *configuration.beyond)),
    ]


def own_limbs(graph: WoodGraph, configuration: AnchorConfiguration) -> tuple[int, int]:
    """The limb the climber's leg hangs from, second, and the one it stands on, first: they do not foul their
    own rope."""
    limb = int(graph.limb[hanging_node(configuration)])
    if len(configuration.beyond):
        return max(int(graph.limbs.parent[limb]), 0), limb
    return int(graph.limb[graph.unions.node[configuration.union]]), limb


def base_way(graph: WoodGraph, configuration: AnchorConfiguration) -> Floats:
    """The base leg of a basal line from where the climber hangs over the union and every other support to the
    base, (k, 3). [m, local]"""
    outer = [middle(graph, int(n)) for n in configuration.beyond[::-1]]
    return np.vstack(
        [*outer, union_point(graph, configuration), graph.xyz[configuration.via], configuration.base]
    )


def in_the_union(graph: WoodGraph, union: int, arm: int) -> float:
    """Distance from the union's axis at which a rope lies in the crotch, against the bark of the stem. [m]

    From the crotch the scan shows. Where it shows none between these limbs: the limb comes out of the bark at
    r / sin(attachment); a rope sits one limb radius further at most. The sine is kept above 0.5 so that a steep
    fork does not push the rope metres out.
    """
    seen = crotch_along(graph, union, arm)
    if np.isfinite(seen):
        return seen
    u = graph.unions
    sine = max(float(np.sin(u.arm_attachment[arm])), 0.5)
    return float(u.parent_diameter[union]) / 2 / sine + 0.25 * float(u.arm_diameter[arm])
