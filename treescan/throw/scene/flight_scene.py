"""Everything a flight can meet, laid out flat for the compiled loops: limbs, wires, things beside the tree, ground, foliage."""

from __future__ import annotations

from collections.abc import Collection
from typing import NamedTuple

import numpy as np
from scipy.ndimage import distance_transform_edt

from treescan.arrays import Flags, Floats, Floats32, Ints32
from treescan.throw.scene.targets import Targets, find_targets
from treescan.throw.settings import ThrowSettings
from treescan.trees.beside import KINDS, Beside, Site, Terrain
from treescan.wood.graph import WoodGraph

WIRE = -10
"""Limb id of conductors and wires."""

BESIDE = -2
"""Limb id of things beside the tree."""


class Capsules(NamedTuple):
    """Limbs and wires as tapered capsules, and what they are to the unions.

    start, end (k, 3), r_start, r_end (k,)     Axis and radius at both ends. [m, local]
    limb, node, union (k,)                     Limb id (WIRE for wires), child node, union it is a target of (-1 none).
    near, far, limit (k,)                      Of `Targets`. [m]
    slope (k,)                                 Elevation of the segment, outward. [rad]
    """

    start: Floats
    end: Floats
    r_start: Floats
    r_end: Floats
    limb: Ints32
    node: Ints32
    union: Ints32
    near: Floats
    far: Floats
    limit: Floats
    slope: Floats


class Ground(NamedTuple):
    """Terrain without gaps: heights (rows, columns) on a square grid. [m]"""

    height: Floats
    corner: Floats
    cell: float


class Things(NamedTuple):
    """What stands beside the tree, per plan cell.

    low, high       Lowest and highest solid [m]; low > high where there is none.
    bad             True where a bag must not land.
    some            False: nothing to look for.
    """

    low: Floats
    high: Floats
    bad: Flags
    corner: Floats
    cell: float
    some: bool


class Leaves(NamedTuple):
    """Foliage density [1/m] in cubes; `some` False: nothing to look for."""

    density: Floats32
    corner: Floats
    cell: float
    some: bool


class Rules(NamedTuple):
    """The settings that the compiled loops ask for (`ThrowSettings`)."""

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
    limb_cost: float
    overshoot_cost: float
    strike: float


class FlightScene(NamedTuple):
    """One tree and what is beside it. Lengths in metres, local frame.

    stem_node (m,)      Of `Targets`.
    has_wire            False: nothing to look for.
    """

    wood: Capsules
    stem_node: Ints32
    ground: Ground
    things: Things
    leaves: Leaves
    rules: Rules
    has_wire: bool


MARGIN = 45.0
"""Things beside the tree are laid out this far beyond its outermost wood. [m]"""

MIN_COLUMN = 0.2
"""Least side of the plan cells in which things beside the tree are laid out. [m]"""

DOT = 1e-3
"""Length of the capsule round a place where the scan saw a wire. [m]"""

BELOW_GROUND = 2.0
"""Flights are followed this far below the lowest ground. [m]"""


def floor_of(scene: FlightScene) -> float:
    """How far below a release flights are followed: down to the lowest ground. [m]"""
    return -(float(np.ptp(scene.ground.height)) + scene.rules.release + BELOW_GROUND)


def how_far(scene: FlightScene, feet: Floats, union: int) -> float:
    """Level distance from a place (3,) to the middle of the limbs of a wanted union. [m]"""
    rows = scene.wood.union == union
    middle = (scene.wood.start[rows, :2] + scene.wood.end[rows, :2]) / 2
    return float(np.hypot(*(middle - feet[:2]).T).mean()) if len(middle) else 0.0


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


def inside_any(rings: tuple[Floats, ...], xy: Floats) -> Flags:
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
    graph: WoodGraph,
    beside: Beside,
    site: Site,
    settings: ThrowSettings,
    wanted: Collection[int] | None = None,
) -> FlightScene:
    """Lay out limbs, wires, surroundings, ground and foliage; only `wanted` unions (rows) are targets, all of them where None."""
    targets = find_targets(graph, settings.reach_along, wanted)
    terrain, foliage = beside.terrain, beside.foliage
    wood = _capsules(graph, targets, _wires(beside, site, settings), settings.smallest_limb)
    ground = Ground(
        filled_ground(terrain, float(graph.xyz[0, 2])), np.asarray(terrain.corner, float), float(terrain.cell)
    )
    leaves = Leaves(
        np.ascontiguousarray(foliage.density, np.float32),
        np.asarray(foliage.corner, float),
        float(foliage.cell),
        bool(np.any(foliage.density > 0)),
    )
    has_wire = bool(np.any(wood.limb == WIRE))
    return FlightScene(
        wood, targets.stem_node, ground, _things(graph, beside, site), leaves, _rules(settings), has_wire
    )


def _capsules(
    graph: WoodGraph, targets: Targets, wires: tuple[Floats, Floats, Floats], smallest: float
) -> Capsules:
    """Limbs of at least the smallest thickness [m], then wires."""
    g = graph.segments
    keep = (np.maximum(g.r_start, g.r_end) * 2 >= smallest) & (graph.length[g.node] > 0)
    start, end, radius = wires
    node, w = g.node[keep], len(radius)
    none, not_wood = np.zeros(w), np.full(w, -1, np.int32)
    return Capsules(
        start=np.concatenate([g.start[keep], start]),
        end=np.concatenate([g.end[keep], end]),
        r_start=np.concatenate([g.r_start[keep], radius]),
        r_end=np.concatenate([g.r_end[keep], radius]),
        limb=np.concatenate([g.limb[keep], np.full(w, WIRE, np.int32)]).astype(np.int32),
        node=np.concatenate([node, not_wood]).astype(np.int32),
        union=np.concatenate([targets.union[node], not_wood]).astype(np.int32),
        near=np.concatenate([targets.near[node], none]),
        far=np.concatenate([targets.far[node], none]),
        limit=np.concatenate([targets.limit[node], none]),
        slope=np.concatenate([np.arcsin(np.clip(graph.direction[node, 2], -1.0, 1.0)), none]),
    )


def _rules(settings: ThrowSettings) -> Rules:
    return Rules(
        bag_radius=settings.bag_radius,
        bag_mass=settings.bag_mass,
        line=settings.line_density,
        friction=settings.friction,
        rough=settings.friction_high,
        snag=settings.snag_factor,
        clearance=settings.shaft_clearance,
        lift=settings.lift_height,
        max_worked=settings.max_worked,
        max_between=settings.max_between,
        release=settings.release_height,
        near_thrower=settings.near_thrower,
        near_worth=settings.near_worth,
        limb_cost=settings.limb_cost,
        overshoot_cost=settings.overshoot_cost,
        strike=settings.strike_speed,
    )


def _wires(beside: Beside, site: Site, settings: ThrowSettings) -> tuple[Floats, Floats, Floats]:
    """Drawn conductors and wires the scan saw, as capsules as thick as the clearance to keep."""
    starts, ends = [np.zeros((0, 3))], [np.zeros((0, 3))]
    for conductor in site.conductors:
        line = np.asarray(conductor.line, float)
        starts.append(line[:-1])
        ends.append(line[1:])
    seen = beside.surroundings.of("wire")
    starts.append(seen)
    ends.append(seen + np.array([0.0, 0.0, DOT]))
    a, b = np.concatenate(starts), np.concatenate(ends)
    return a, b, np.full(len(a), settings.wire_clearance)


def _things(graph: WoodGraph, beside: Beside, site: Site) -> Things:
    """What stands beside the tree as lowest and highest solid per plan cell, and where a bag must not land."""
    around = beside.surroundings
    solid = around.kind != KINDS.index("wire")
    drawn = (*site.buildings, *site.roads, *site.water, *site.no_stand)
    if not solid.any() and not drawn:
        return Things(np.ones((1, 1)), np.zeros((1, 1)), np.zeros((1, 1), bool), np.zeros(2), 1.0, False)
    cell = max(float(around.cell), MIN_COLUMN)
    corner = graph.xyz[:, :2].min(axis=0) - MARGIN
    cols, rows = np.ceil((graph.xyz[:, :2].max(axis=0) + MARGIN - corner) / cell).astype(int)
    low, high = np.full((rows, cols), np.inf), np.full((rows, cols), -np.inf)
    p = around.xyz[solid]
    i = np.floor((p[:, :2] - corner) / cell).astype(int)
    ok = np.all((i >= 0) & (i < [cols, rows]), axis=1)
    half = around.cell / 2
    np.minimum.at(low, (i[ok, 1], i[ok, 0]), p[ok, 2] - half)
    np.maximum.at(high, (i[ok, 1], i[ok, 0]), p[ok, 2] + half)
    xx, yy = np.meshgrid(
        corner[0] + (np.arange(cols) + 0.5) * cell, corner[1] + (np.arange(rows) + 0.5) * cell
    )
    at = np.column_stack([xx.ravel(), yy.ravel()])
    bad = inside_any(drawn, at).reshape(rows, cols) if drawn else np.zeros((rows, cols), bool)
    return Things(low, high, bad, corner, cell, True)
