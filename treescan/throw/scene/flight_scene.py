"""Everything a flight can meet, laid out flat for the compiled loops: limbs, wires, things beside the tree, ground, foliage."""

from __future__ import annotations

from collections.abc import Collection
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt

from treescan.throw.scene.targets import Targets, find_targets
from treescan.throw.settings import ThrowSettings
from treescan.trees.beside import KINDS, Beside, Site, Terrain
from treescan.wood.graph import WoodGraph

Floats = NDArray[np.float64]

WIRE = -10
"""Limb id of conductors and wires."""

BESIDE = -2
"""Limb id of things beside the tree."""


class Scene(NamedTuple):
    """Flat arrays of one tree and what is beside it. Lengths in metres, local frame.

    start, end (k, 3), r_start, r_end (k,)     Limbs and wires as tapered capsules.
    limb, node, union (k,)                     Limb id (WIRE for wires), child node, union it is a target of (-1 none).
    near, far, limit (k,)                      Of `Targets`.
    slope (k,)                                 Elevation of the segment, outward. [rad]
    stem_node (m,)                             Of `Targets`.
    ground, ground_corner, ground_cell         Terrain without gaps.
    low, high, bad, side_corner, side_cell     What stands beside the tree per column: lowest and highest solid [m] (low > high: none);
                                               True where a bag must not land.
    leaf, leaf_corner, leaf_cell               Foliage density. [1/m]
    has_side, has_leaf, has_wire               False: nothing to look for.
    bag_radius, bag_mass, line, friction, rough, snag, clearance, lift, max_worked, max_between, release, near_thrower, near_worth,
    strike                                     Settings.
    """

    start: Floats
    end: Floats
    r_start: Floats
    r_end: Floats
    limb: NDArray[np.int32]
    node: NDArray[np.int32]
    union: NDArray[np.int32]
    near: Floats
    far: Floats
    limit: Floats
    slope: Floats
    stem_node: NDArray[np.int32]
    ground: Floats
    ground_corner: Floats
    ground_cell: float
    low: Floats
    high: Floats
    bad: NDArray[np.bool_]
    side_corner: Floats
    side_cell: float
    leaf: NDArray[np.float32]
    leaf_corner: Floats
    leaf_cell: float
    has_side: bool
    has_leaf: bool
    has_wire: bool
    bag_radius: float
    bag_mass: float
    line: float
    friction: float
    rough: float
    snag: float
    clearance: float
    lift: float
    max_worked: int
    max_between: int
    release: float
    near_thrower: float
    near_worth: float
    strike: float


def filled_ground(terrain: Terrain, fallback: float) -> Floats:
    """Terrain heights with unseen cells taken from the nearest seen one (or `fallback` where nothing was seen). [m]"""
    h = terrain.height
    seen = np.isfinite(h)
    if not seen.any():
        return np.full(h.shape, fallback)
    if seen.all():
        return np.array(h, float)
    rows, cols = distance_transform_edt(~seen, return_distances=False, return_indices=True)
    return np.array(h[rows, cols], float)


def inside_any(rings: tuple[Floats, ...], xy: Floats) -> NDArray[np.bool_]:
    """True for plan points (k, 2) inside one of the rings (even-odd rule)."""
    out = np.zeros(len(xy), bool)
    x, y = xy[:, 0], xy[:, 1]
    for ring in rings:
        p = np.asarray(ring, float)[:, :2]
        inside = np.zeros(len(xy), bool)
        for (x0, y0), (x1, y1) in zip(p, np.roll(p, -1, axis=0), strict=True):
            if y0 != y1:
                inside ^= ((y0 > y) != (y1 > y)) & (x < (x1 - x0) * (y - y0) / (y1 - y0) + x0)
        out |= inside
    return out


def build_scene(
    graph: WoodGraph, beside: Beside, site: Site, settings: ThrowSettings, wanted: Collection[int] | None = None
) -> tuple[Scene, Targets]:
    """Lay out limbs, wires, surroundings, ground and foliage; only `wanted` unions (rows) are targets, all of them where None."""
    targets = find_targets(graph, settings.reach_along, wanted)
    g = graph.segments
    keep = (np.maximum(g.r_start, g.r_end) * 2 >= settings.smallest_limb) & (graph.length[g.node] > 0)
    wa, wb, wr = _wires(beside, site, settings)
    k, w = int(keep.sum()), len(wa)
    node = np.concatenate([g.node[keep], np.full(w, -1, np.int32)])
    none = np.zeros(w)
    low, high, bad, corner, cell, any_side = _columns(graph, beside, site)
    leaf = beside.foliage.density
    slope = np.arcsin(np.clip(graph.direction[g.node[keep], 2], -1.0, 1.0))
    scene = Scene(
        np.concatenate([g.start[keep], wa]),
        np.concatenate([g.end[keep], wb]),
        np.concatenate([g.r_start[keep], wr]),
        np.concatenate([g.r_end[keep], wr]),
        np.concatenate([g.limb[keep], np.full(w, WIRE, np.int32)]).astype(np.int32),
        node.astype(np.int32),
        np.concatenate([targets.union[node[:k]], np.full(w, -1, np.int32)]).astype(np.int32),
        np.concatenate([targets.near[node[:k]], none]),
        np.concatenate([targets.far[node[:k]], none]),
        np.concatenate([targets.limit[node[:k]], none]),
        np.concatenate([slope, none]),
        targets.stem_node,
        filled_ground(beside.terrain, float(graph.xyz[0, 2])),
        np.asarray(beside.terrain.corner, float),
        float(beside.terrain.cell),
        low,
        high,
        bad,
        corner,
        cell,
        np.ascontiguousarray(leaf, np.float32),
        np.asarray(beside.foliage.corner, float),
        float(beside.foliage.cell),
        bool(any_side),
        bool(np.any(leaf > 0)),
        w > 0,
        settings.bag_radius,
        settings.bag_mass,
        settings.line_density,
        settings.friction,
        settings.friction_high,
        settings.snag_factor,
        settings.shaft_clearance,
        settings.lift_height,
        settings.max_worked,
        settings.max_between,
        settings.release_height,
        settings.near_thrower,
        settings.near_worth,
        settings.strike_speed,
    )
    return scene, targets


def _wires(beside: Beside, site: Site, settings: ThrowSettings) -> tuple[Floats, Floats, Floats]:
    """Drawn conductors and wires the scan saw, as capsules as thick as the clearance to keep."""
    starts, ends = [np.zeros((0, 3))], [np.zeros((0, 3))]
    for conductor in site.conductors:
        line = np.asarray(conductor.line, float)
        starts.append(line[:-1])
        ends.append(line[1:])
    seen = beside.surroundings.of("wire")
    starts.append(seen)
    ends.append(seen + np.array([0.0, 0.0, 1e-3]))
    a, b = np.concatenate(starts), np.concatenate(ends)
    return a, b, np.full(len(a), settings.wire_clearance)


def _columns(graph: WoodGraph, beside: Beside, site: Site) -> tuple[Floats, Floats, NDArray[np.bool_], Floats, float, bool]:
    """What stands beside the tree as lowest and highest solid per plan cell, and where a bag must not land."""
    around = beside.surroundings
    solid = around.kind != KINDS.index("wire")
    drawn = (*site.buildings, *site.roads, *site.water, *site.no_stand)
    if not solid.any() and not drawn:
        return np.ones((1, 1)), np.zeros((1, 1)), np.zeros((1, 1), bool), np.zeros(2), 1.0, False
    cell = max(float(around.cell), 0.2)
    corner = graph.xyz[:, :2].min(axis=0) - 45.0
    cols, rows = np.ceil((graph.xyz[:, :2].max(axis=0) + 45.0 - corner) / cell).astype(int)
    low, high = np.full((rows, cols), np.inf), np.full((rows, cols), -np.inf)
    p = around.xyz[solid]
    i = np.floor((p[:, :2] - corner) / cell).astype(int)
    ok = np.all((i >= 0) & (i < [cols, rows]), axis=1)
    half = around.cell / 2
    np.minimum.at(low, (i[ok, 1], i[ok, 0]), p[ok, 2] - half)
    np.maximum.at(high, (i[ok, 1], i[ok, 0]), p[ok, 2] + half)
    xx, yy = np.meshgrid(corner[0] + (np.arange(cols) + 0.5) * cell, corner[1] + (np.arange(rows) + 0.5) * cell)
    bad = inside_any(drawn, np.column_stack([xx.ravel(), yy.ravel()])).reshape(rows, cols) if drawn else np.zeros((rows, cols), bool)
    return low, high, bad, corner, cell, True
