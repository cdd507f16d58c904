"""How near do a piece, and all places its tip can turn to, come to wires, roads, buildings and water?"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from treescan.geometry import inside
from treescan.planning.reach.clearances import Line, approach_distance, distances
from treescan.planning.settings import Approach
from treescan.reason import Reason
from treescan.trees.beside import Area
from treescan.wood.graph import WoodGraph

Floats = NDArray[np.float64]


def near_conductors(
    graph: WoodGraph,
    piece: NDArray[np.bool_],
    place: Floats,
    length: float,
    lines: tuple[Line, ...],
    approach: Approach,
) -> tuple[Reason, ...]:
    """One finding for every conductor that the piece comes near: as it stands, or turned about its cut.

    Parameters
    ----------
    piece : (n,) bool       Nodes of the piece.
    place : (3,) float      Where the saw goes. [m, local]
    length : float          From there to the farthest wood of the piece. [m]
    """
    seg = graph.segments
    rows = piece[seg.node]
    out = []
    for line in lines:
        limit = approach_distance(line.voltage, approach)
        turned = max(float(distances(place[None], place[None], line)[0]) - length, 0.0)
        wood = distances(seg.start[rows], seg.end[rows], line)
        thick = np.maximum(seg.r_start[rows], seg.r_end[rows])
        stands = float(np.maximum(wood - thick, 0.0).min()) if rows.any() else turned
        if min(stands, turned) < limit:
            out.append(
                Reason("piece_near_conductor", to=line.name, stands=stands, turned=turned, limit=limit)
            )
    return tuple(out)


def over_areas(place: Floats, length: float, areas: tuple[Area, ...]) -> tuple[Reason, ...]:
    """One finding for every drawn area within the piece's own length of the cut, in the plan."""
    found = [(a, plan_distance(a.ring, place[:2])) for a in areas]
    return tuple(
        Reason("piece_over_area", what=a.kind, name=a.name or None, away=away, length=length)
        for a, away in found
        if away <= length
    )


def plan_distance(ring: Floats, xy: Floats) -> float:
    """Distance of a place to an area in the plan, 0 inside. [m]"""
    if inside(ring, xy)[0]:
        return 0.0
    a = np.asarray(ring, float)
    step = np.roll(a, -1, axis=0) - a
    at = np.clip(np.sum((xy - a) * step, axis=1) / np.maximum(np.sum(step**2, axis=1), 1e-12), 0.0, 1.0)
    return float(np.linalg.norm(a + at[:, None] * step - xy, axis=1).min())
