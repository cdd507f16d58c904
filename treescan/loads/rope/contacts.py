"""Where on the wood does the rope of a configuration bear? Contacts as straight tapered bars, from the base
anchor to the union."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numba import njit

from treescan.geometry import segment_segment
from treescan.loads.limb_check import AnchorConfiguration
from treescan.loads.rope.rope_run import Supports
from treescan.wood.graph import Floats, WoodGraph

LOCAL = 0.3
"""A limb is taken as straight this far either side of the rope, or two diameters if that is more [m] (project
choice)."""


@dataclass(frozen=True)
class Contact:
    """One place where the rope bears.

    node : int              Segment child node of the wood it bears on.
    point : (3,) float      On the limb's axis. [m]
    axis : (3,) float       Limb direction there, outward.
    radius : float          [m]
    taper : float           Change of radius per metre outward.
    out : float             Distance from the parent's bark along the limb; NaN away from the wanted union.
        [m]
    """

    node: int
    point: Floats
    axis: Floats
    radius: float
    taper: float
    out: float


def union_contact(graph: WoodGraph, configuration: AnchorConfiguration) -> Contact:
    """The rope on the limb at the wanted union.

    It bears `configuration.rest_distance` from the union's axis along the limb, but no nearer to the parent's
    bark than `configuration.min_lever` limb diameters: no rope sits without any lever arm, and a thin limb must not pass
    because the arm was taken as nothing. Looked up where the same was asked of the same graph before.
    """
    c = configuration
    kept, key = graph.kept, ("union contact", c.union, int(c.rest_node), float(c.rest_distance), c.min_lever)
    found: Contact | None = kept.get(key)
    if found is None:
        found = kept[key] = _union_contact(graph, configuration)
    return found


def _union_contact(graph: WoodGraph, configuration: AnchorConfiguration) -> Contact:
    fork = int(graph.unions.node[configuration.union])
    line = line_out(graph, fork, int(configuration.rest_node))
    if len(line) == 0:
        return at_node(graph, int(configuration.rest_node), graph.xyz[configuration.rest_node])
    place = np.concatenate([[0.0], np.cumsum(graph.length[line])])
    j, beyond = _outside(graph, line)
    bark = place[j] + beyond
    own = 2.0 * float(graph.segment_radius[line[j]])
    at = float(configuration.rest_distance) if np.isfinite(configuration.rest_distance) else bark
    at = max(at, bark + (configuration.min_lever * own if np.isfinite(own) else 0.0))
    at = min(at, place[-1])
    j = min(int(np.searchsorted(place, at)), len(line)) - 1
    node = int(line[max(j, 0)])
    point = graph.xyz[graph.parent[node]] + graph.direction[node] * (at - place[max(j, 0)])
    return at_node(graph, node, point, out=at - bark)


def _outside(graph: WoodGraph, line: np.ndarray) -> tuple[int, float]:
    """Row of the first segment of a line of nodes that is outside the bark of its limb's parent, the last
    where none is, and how far along it its bark ends. [m]"""
    bark = bark_radius(graph)
    for limb in dict.fromkeys(graph.limb[line].tolist()):
        rows = np.flatnonzero(graph.limb[line] == limb)
        if limb == 0:
            return int(rows[0]), 0.0
        nodes = np.asarray(graph.limbs.nodes[limb], np.int64)
        exit_row, share = bark_exit(nodes, graph.parent, graph.xyz, graph.direction, bark)
        free = rows[line[rows] >= nodes[exit_row]]
        if len(free):
            node = int(line[free[0]])
            start = graph.xyz[graph.parent[node]]
            moved = share if node == nodes[exit_row] else 0.0
            return int(free[0]), math.dist(start + moved * (graph.xyz[node] - start), start)
    return len(line) - 1, 0.0


def bark_radius(graph: WoodGraph) -> Floats:
    """Radius of the bark at every node, (n,): of the segment down from it, at the root its own. [m]"""
    out = graph.segment_radius.copy()
    out[0] = graph.radius[0]
    return out


@njit(cache=True, error_model="numpy")
def bark_exit(  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    nodes, parent, xyz, direction, bark,
):
    """Which of a limb's nodes, from its first outward, is the first whose segment leaves the parent's bark,
    and at which share of that segment; the last one, at 0, for a stub that never does."""
    node = parent[nodes[0]]
    if not np.isfinite(bark[node]):
        return 0, 0.0
    along, foot, before = direction[node], xyz[node], 0.0
    for j in range(len(nodes)):
        out = xyz[nodes[j]] - foot
        part = out[0] * along[0] + out[1] * along[1] + out[2] * along[2]
        square = out[0] ** 2 + out[1] ** 2 + out[2] ** 2
        # a steep limb leaves the bark after three radii at the latest
        off = max(np.sqrt(max(square - part * part, 0.0)), np.sqrt(square) / 3.0)
        if off > bark[node]:
            return j, min(max((bark[node] - before) / (off - before), 0.0), 1.0)
        before = off
    return len(nodes) - 1, 0.0


def line_out(graph: WoodGraph, fork: int, rest: int) -> np.ndarray:
    """Nodes from the fork outward through `rest` to the end of its limb; empty if `rest` is not above the
    fork."""
    back = [rest]
    while graph.parent[back[-1]] >= 0 and graph.parent[back[-1]] != fork:
        back.append(int(graph.parent[back[-1]]))
    if graph.parent[back[-1]] != fork:
        return np.zeros(0, np.int32)
    out = graph.limbs.nodes[graph.limb[rest]]
    return np.concatenate([np.array(back[::-1], np.int32), out[np.searchsorted(out, rest, side="right") :]])


def at_node(graph: WoodGraph, node: int, point: Floats, *, out: float = float("nan")) -> Contact:
    """The limb round a point on segment `node`, as a straight bar; `out` from the parent's bark at the wanted
    union. [m]"""
    radius = float(graph.segment_radius[node])
    reach = max(LOCAL, 4.0 * radius) if math.isfinite(radius) else LOCAL
    place = np.asarray(point, float)
    axis, taper = _straight(
        graph.limbs.nodes[graph.limb[node]],
        graph.parent,
        graph.xyz,
        graph.segment_radius,
        int(node),
        place,
        reach,
    )
    return Contact(int(node), place, axis, radius, taper, out)


@njit(cache=True, error_model="numpy")
def _straight(  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    line, parent, xyz, radius, node, point, reach,
):
    """Unit axis (3,) of the segments of `line` whose middles lie within reach of a point, and the slope of
    the straight line through their radii, 0 where they are too few or one is unknown."""
    near = np.empty(len(line), np.int64)
    n = 0
    for i in line:
        if parent[i] >= 0 and np.sqrt(np.sum((0.5 * (xyz[i] + xyz[parent[i]]) - point) ** 2)) <= reach:
            near[n] = i
            n += 1
    if n < 2:
        near[0], n = node, 1
    axis = xyz[near[n - 1]] - xyz[parent[near[0]]]
    size = np.sqrt(np.sum(axis * axis))
    if size > 0.0:
        axis = axis / size
    if n <= 2:
        return axis, 0.0
    along, r = np.empty(n), np.empty(n)
    for k in range(n):
        i = near[k]
        along[k], r[k] = np.sum((0.5 * (xyz[i] + xyz[parent[i]]) - point) * axis), radius[i]
    if not np.all(np.isfinite(r)) or along.max() - along.min() <= 0.05:
        return axis, 0.0
    off = along - along.mean()
    return axis, min(max(np.sum(off * r) / np.sum(off * off), -0.1), 0.1)


def middle(graph: WoodGraph, node: int) -> Floats:
    """The middle of a segment, (3,). [m]"""
    return np.asarray(0.5 * (graph.xyz[node] + graph.xyz[graph.parent[node]]), float)


def via_contact(graph: WoodGraph, node: int, start: Floats, end: Floats) -> Contact:
    """The limb of segment `node` where the straight line from `start` to `end` comes nearest to it."""
    a, b = graph.xyz[graph.parent[node]], graph.xyz[node]
    _, _, share = segment_segment(start, end, a, b)
    return at_node(graph, node, a + float(share) * (b - a))


def supports_of(contacts: Sequence[Contact]) -> Supports:
    """The contacts as bars the rope is held on: a union or friction keeps it from travelling along the
    limb."""
    return Supports.of(
        np.array([c.point for c in contacts]),
        np.array([c.axis for c in contacts]),
        np.array([c.radius if math.isfinite(c.radius) else 0.0 for c in contacts]),
        taper=np.array([c.taper for c in contacts]),
    )
