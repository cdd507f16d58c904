"""How near do a piece, and all places its tip can turn to, come to wires, roads, buildings and water?"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from treescan.geometry import inside, ring_edges
from treescan.planning.reach.clearances import Line, approach_distance, distances
from treescan.planning.settings import Approach
from treescan.reason import Reason
from treescan.trees.beside import Area
from treescan.wood.graph import Segments

Floats = NDArray[np.float64]


FAR = 30.0
"""Conductors and areas farther than this from a piece, turned about its cut, are not told [m] (project choice)."""

ROLLS = 1.0
"""A piece whose turned wood stays farther than this from an area raises no alarm for it, but is told [m] (project
choice)."""


def near_conductors(
    wood: Segments, place: Floats, reach: float, lines: tuple[Line, ...], approach: Approach
) -> tuple[tuple[Reason, ...], tuple[Reason, ...]]:
    """Alarms for conductors that the piece comes near, as it stands or turned about its cut; and the same figures for
    all others within `FAR`.

    Parameters
    ----------
    wood : Segments         Of the piece, from the saw on.
    place : (3,) float      Where the saw goes. [m, local]
    reach : float           From there to the farthest bark of the piece. [m]
    """
    alarms, told = [], []
    for line in lines:
        limit = approach_distance(line.voltage, approach)
        turned = max(float(distances(place[None], place[None], line)[0]) - reach, 0.0)
        axis = distances(wood.start, wood.end, line)
        thick = np.nan_to_num(np.maximum(wood.r_start, wood.r_end))
        stands = float(np.maximum(axis - thick, 0.0).min()) if len(axis) else turned
        figures = {"to": line.name, "stands": stands, "turned": turned, "limit": limit}
        if min(stands, turned) < limit:
            alarms.append(Reason("piece_near_conductor", **figures))
        elif turned < FAR:
            told.append(Reason("piece_from_conductor", **figures))
    return tuple(alarms), tuple(told)


def over_areas(
    wood: Segments, place: Floats, reach: float, areas: tuple[Area, ...]
) -> tuple[tuple[Reason, ...], tuple[Reason, ...]]:
    """Alarms for drawn areas that the piece stands over or, turned about its cut, comes near in the plan; and the same
    figures for all others within `FAR`; parameters as `near_conductors`."""
    alarms, told = [], []
    for area in areas:
        from_cut = plan_distance(area.ring, place[:2])
        turned = max(from_cut - reach, 0.0)
        stands = min(_wood_from(area.ring, wood.start, wood.end, np.maximum(wood.r_start, wood.r_end)), from_cut)
        figures = {"what": area.kind, "name": area.name or None, "stands": stands, "turned": turned}
        if min(stands, turned) <= ROLLS:
            alarms.append(Reason("piece_over_area", over=stands <= 0, **figures))
        elif turned < FAR:
            told.append(Reason("piece_from_area", **figures))
    return tuple(alarms), tuple(told)


def _wood_from(ring: Floats, start: Floats, end: Floats, radius: Floats) -> float:
    """Least distance in the plan of wood to an area, 0 over it. [m]"""
    if len(start) == 0:
        return float("inf")
    places = np.concatenate([start[:, :2], end[:, :2]])
    if inside(ring, places).any():
        return 0.0
    first, last = (np.column_stack([p, np.zeros(len(p))]) for p in ring_edges(ring))
    flat = [np.column_stack([p[:, :2], np.zeros(len(p))]) for p in (start, end)]
    edge = Line(first, last, 0.0, float("nan"), Reason("area_itself"))
    return float(np.maximum(distances(flat[0], flat[1], edge) - np.nan_to_num(radius), 0.0).min())


def plan_distance(ring: Floats, xy: Floats) -> float:
    """Distance of a place to an area in the plan, 0 inside. [m]"""
    if inside(ring, xy)[0]:
        return 0.0
    a, b = ring_edges(ring)
    step = b - a
    at = np.clip(np.sum((xy - a) * step, axis=1) / np.maximum(np.sum(step**2, axis=1), 1e-12), 0.0, 1.0)
    return float(np.linalg.norm(a + at[:, None] * step - xy, axis=1).min())
