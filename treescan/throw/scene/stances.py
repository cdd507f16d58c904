"""Where may one stand to throw?"""

from __future__ import annotations

import itertools

import numpy as np
from scipy.spatial import cKDTree

from treescan.arrays import Flags, Floats
from treescan.geometry import point_segment
from treescan.reason import Reason
from treescan.throw.scene.flight_scene import inside_any
from treescan.throw.settings import ThrowSettings
from treescan.throw.throw_path import Stances
from treescan.trees.beside import KINDS, Beside, Site
from treescan.wood.graph import WoodGraph


def ring_places(centre: Floats, heading: float, spacing: float, radius: float) -> Floats:
    """Plan points on rings round the stem, about `spacing` apart, the first of each ring towards `heading`, (k, 2).

    Rings turn with the tree, so a turned scan gets the same places.
    """
    rings = [np.zeros((0, 2))]
    for r in np.arange(spacing, radius + 1e-9, spacing):
        n = max(6, round(2 * np.pi * r / spacing))
        a = heading + 2 * np.pi * np.arange(n) / n
        rings.append(centre + r * np.column_stack([np.sin(a), np.cos(a)]))
    return np.concatenate(rings)


def crown_heading(graph: WoodGraph) -> float:
    """Azimuth from the stem's foot to the middle of the wood: a direction that belongs to the tree. [rad]  North when upright."""
    volume = graph.length * graph.segment_radius**2
    d = (graph.xyz[:, :2] * volume[:, None]).sum(axis=0) / max(float(volume.sum()), 1e-12) - graph.xyz[0, :2]
    return float(np.arctan2(d[0], d[1])) if np.hypot(*d) > 1e-6 else 0.0


def standing_places(graph: WoodGraph, beside: Beside, site: Site, settings: ThrowSettings) -> Stances:
    """Places on the terrain from which a bag can be thrown, and why the others were left out.

    Returns
    -------
    Stances     `refused` counts each left-out place once, under the first reason that holds.
    """
    base = graph.xyz[0]
    xy = ring_places(base[:2], crown_heading(graph), settings.stance_spacing, settings.search_radius)
    crown = cKDTree(graph.xyz[:, :2])
    xy = xy[crown.query(xy)[0] <= settings.beyond_crown]
    z = beside.terrain.height_at(xy)
    feet = np.column_stack([xy, np.where(np.isfinite(z), z, base[2])])
    hand = feet + np.array([0.0, 0.0, settings.release_height])
    slope = beside.terrain.slope_at(xy)
    reasons: list[tuple[str, Flags]] = [
        ("place_ground_not_seen", ~np.isfinite(z)),
        ("place_too_steep", np.nan_to_num(slope) > settings.walkable_slope),
        ("place_no_stand_area", inside_any(site.no_stand, xy)),
        ("place_building", inside_any(site.buildings, xy)),
        ("place_road", inside_any(site.roads, xy)),
        ("place_water", inside_any(site.water, xy)),
        ("place_near_conductor", _near_conductor(hand, site, settings.conductor_distance)),
        ("place_near_wire", _within(beside.surroundings.of("wire"), hand, settings.wire_distance)),
        ("place_near_stem", _near_stem(graph, feet, settings)),
        ("place_in_solid", _in_solid(beside, feet, settings)),
        ("place_arm_in_wood", _near_wood(graph, hand, settings)),
        ("place_hand_in_leaves", beside.foliage.density_at(hand) > settings.foliage_limit),
    ]
    left = np.ones(len(xy), bool)
    refused = []
    for code, bad in reasons:
        count = int(np.sum(left & bad))
        if count:
            refused.append((Reason(code), count))
        left &= ~bad
    return Stances(feet[left], tuple(refused))


def _near_conductor(hand: Floats, site: Site, distance: float) -> Flags:
    near = np.zeros(len(hand), bool)
    for conductor in site.conductors:
        line = np.asarray(conductor.line, float)
        for a, b in itertools.pairwise(line):
            near |= point_segment(hand, a, b)[0] < distance
    return near


def _within(points: Floats, places: Floats, distance: float) -> Flags:
    """True for places (k, 3) with one of the points (p, 3) nearer than `distance`."""
    if len(points) == 0 or len(places) == 0:
        return np.zeros(len(places), bool)
    return np.asarray(cKDTree(points).query(places, distance_upper_bound=distance)[0] < distance)


def _near_stem(graph: WoodGraph, feet: Floats, settings: ThrowSettings) -> Flags:
    """Nearer to the bark of a stem, up to 2 m above the ground, than the stem clearance."""
    near = np.zeros(len(feet), bool)
    low = np.flatnonzero((graph.limbs.order[graph.limb] == 0) & (graph.xyz[:, 2] < graph.xyz[0, 2] + 2.0))
    for i in low:
        near |= np.hypot(*(feet[:, :2] - graph.xyz[i, :2]).T) < graph.radius[i] + settings.stem_clearance
    return near


def _in_solid(beside: Beside, feet: Floats, settings: ThrowSettings) -> Flags:
    """A thing beside the tree within half a metre of the thrower's body."""
    around = beside.surroundings
    solid = around.xyz[around.kind != KINDS.index("wire")]
    out = np.zeros(len(feet), bool)
    for height in (0.7, 1.2, settings.release_height + 0.3):
        out |= _within(solid, feet + np.array([0.0, 0.0, height]), 0.5)
    return out


def _near_wood(graph: WoodGraph, hand: Floats, settings: ThrowSettings) -> Flags:
    """Wood thick enough to stop the arm within reach of the release point."""
    g = graph.segments
    keep = np.maximum(g.r_start, g.r_end) * 2 >= settings.smallest_limb
    low = np.minimum(g.start[:, 2], g.end[:, 2]) - settings.wood_reach - np.maximum(g.r_start, g.r_end)
    near = np.zeros(len(hand), bool)
    if len(hand) == 0:
        return near
    for i in np.flatnonzero(keep & (low < hand[:, 2].max())):
        d, t = point_segment(hand, g.start[i], g.end[i])
        near |= d < g.r_start[i] + t * (g.r_end[i] - g.r_start[i]) + settings.wood_reach
    return near
