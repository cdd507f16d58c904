"""How is the plane of a throw filled from the scene? Shapes near it, crossings, ground, columns, and the cells to look shapes up."""

from __future__ import annotations

import numpy as np
from numba import njit

from treescan.arrays import Floats, Ints32
from treescan.throw.ballistics.flight_line import INFINITE
from treescan.throw.scene.flight_scene import BESIDE, WIRE, FlightScene
from treescan.throw.scene.plane import (
    ALONG,
    BOX_HALF,
    BOX_S,
    BOX_Z,
    CELL,
    CELL_GROWTH,
    CELL_SIDE,
    CELLS_END,
    CELLS_HIGH,
    CELLS_LOW,
    COLUMN_HIGH,
    COLUMN_LOW,
    COLUMN_S,
    COLUMNS,
    COLUMNS_TOP,
    CROSS_HALF,
    CROSS_S,
    CROSS_SHARE,
    CROSS_TOP,
    CROSS_Z,
    CROSSINGS,
    END_N,
    END_S,
    END_Z,
    GROUND_STEP,
    GROUND_TOP,
    LAST_COLUMN,
    MAX_CELLS,
    MIN_S,
    R_END,
    R_START,
    RANGE,
    S_MAX,
    S_MIN,
    SHAPES,
    START_N,
    START_S,
    START_Z,
    TARGETS,
    UNKNOWN,
    UP,
    WIRES,
    Z_MAX,
    Z_MIN,
    Plane,
    Shapes,
)


@njit(cache=True, nogil=True)
def ground_at(ground: Floats, corner: Floats, cell: float, x: float, y: float) -> float:
    """Ground height, bilinear between cell centres; the edge cell's value outside the grid. [m]  Arguments of `Scene`."""
    rows, cols = ground.shape
    p = min(max((x - corner[0]) / cell - 0.5, 0.0), cols - 1.0)
    q = min(max((y - corner[1]) / cell - 0.5, 0.0), rows - 1.0)
    i, j = int(q), int(p)
    i1, j1 = min(i + 1, rows - 1), min(j + 1, cols - 1)
    fy, fx = q - i, p - j
    return (1 - fy) * ((1 - fx) * ground[i, j] + fx * ground[i, j1]) + fy * (
        (1 - fx) * ground[i1, j] + fx * ground[i1, j1]
    )


@njit(cache=True, nogil=True)
def slice_top(z0: float, n0: float, r0: float, z1: float, n1: float, r1: float) -> tuple[float, float]:
    """Highest point of a tapered capsule in the plane n = 0, and the share along it of the sphere it lies on.

    The top of the sphere at share t lies at z(t) + sqrt(r(t)^2 - n(t)^2); for a constant r the highest is at
    n = r dz / sqrt(dz^2 + dn^2), clipped to the segment. Exact but for the square of the taper.
    """
    dz, dn = z1 - z0, n1 - n0
    if abs(dn) < 1e-12:
        t = 1.0 if dz > 0 else 0.0
    else:
        r = r0 + (r1 - r0) * min(max(-n0 / dn, 0.0), 1.0)
        lift = r * abs(dz) / np.sqrt(dz * dz + dn * dn)
        side = 1.0 if (dz > 0) == (dn > 0) else -1.0
        t = min(max((side * lift - n0) / dn, 0.0), 1.0)
    r, n = r0 + (r1 - r0) * t, n0 + dn * t
    return z0 + dz * t + np.sqrt(max(r * r - n * n, 0.0)), t


@njit(cache=True, nogil=True)
def fill_plane(
    scene: FlightScene, plane: Plane, x: float, y: float, azimuth: float, items: Ints32, count: int
) -> None:
    """Fill the plane through (x, y) in direction `azimuth` from the scene's rows items[:count]."""
    ux, uy = np.sin(azimuth), np.cos(azimuth)
    _fill_shapes(scene, plane, x, y, azimuth, items, count)
    ground, terrain = plane.ground, scene.ground
    for k in range(len(ground)):
        s = k * GROUND_STEP
        ground[k] = ground_at(terrain.height, terrain.corner, terrain.cell, x + s * ux, y + s * uy)
    columns = _fill_columns(scene, plane, x, y, azimuth) if scene.things.some else 0
    crossings = plane.counts[CROSSINGS]
    _sort_crossings(plane, crossings)
    targets = _fill_targets(scene, plane, crossings)
    plane.counts[COLUMNS], plane.counts[TARGETS] = columns, targets
    plane.shaft[:crossings] = UNKNOWN
    _sort_into_cells(plane.shapes, plane.counts[SHAPES])
    plane.levels[GROUND_TOP] = ground.max()
    plane.levels[COLUMNS_TOP] = plane.column[:columns, COLUMN_HIGH].max() if columns > 0 else -INFINITE


@njit(cache=True, nogil=True)
def _fill_shapes(
    scene: FlightScene, plane: Plane, x: float, y: float, azimuth: float, items: Ints32, count: int
) -> None:
    """Limbs and wires near the plane, and where their axes pierce it."""
    ux, uy = np.sin(azimuth), np.cos(azimuth)
    p, q, wires = 0, 0, 0
    start, end, r_start, r_end, limb = (
        scene.wood.start,
        scene.wood.end,
        scene.wood.r_start,
        scene.wood.r_end,
        scene.wood.limb,
    )
    bag = scene.rules.bag_radius
    shape, item, cross, cross_item = plane.shapes.shape, plane.shapes.item, plane.cross, plane.cross_item
    for m in range(count):
        i = items[m]
        x0, y0, x1, y1 = start[i, 0] - x, start[i, 1] - y, end[i, 0] - x, end[i, 1] - y
        n0, n1 = x0 * uy - y0 * ux, x1 * uy - y1 * ux
        r0, r1 = r_start[i], r_end[i]
        reach = max(r0, r1) + bag
        if (n0 > reach and n1 > reach) or (n0 < -reach and n1 < -reach):
            continue
        s0, s1 = x0 * ux + y0 * uy, x1 * ux + y1 * uy
        z0, z1 = start[i, 2], end[i, 2]
        t0, t1 = 0.0, 1.0
        if abs(n1 - n0) > 1e-12:
            ta, tb = (-reach - n0) / (n1 - n0), (reach - n0) / (n1 - n0)
            t0, t1 = max(0.0, min(ta, tb)), min(1.0, max(ta, tb))
        sa, sb = s0 + t0 * (s1 - s0), s0 + t1 * (s1 - s0)
        s_max = max(sa, sb) + reach
        if s_max < MIN_S:
            continue
        za, zb = z0 + t0 * (z1 - z0), z0 + t1 * (z1 - z0)
        row = shape[p]
        row[S_MIN], row[S_MAX], row[Z_MIN], row[Z_MAX] = (
            min(sa, sb) - reach,
            s_max,
            min(za, zb) - reach,
            max(za, zb) + reach,
        )
        row[START_S], row[START_Z], row[START_N], row[END_S], row[END_Z], row[END_N] = s0, z0, n0, s1, z1, n1
        row[BOX_S], row[BOX_Z] = 0.5 * (row[S_MIN] + row[S_MAX]), 0.5 * (row[Z_MIN] + row[Z_MAX])
        row[BOX_HALF] = 0.5 * np.sqrt((row[S_MAX] - row[S_MIN]) ** 2 + (row[Z_MAX] - row[Z_MIN]) ** 2)
        row[R_START], row[R_END] = r0 + bag, r1 + bag
        item[p] = i
        wires += limb[i] == WIRE
        p += 1
        if (n0 < 0.0) != (n1 < 0.0):
            t = n0 / (n0 - n1)
            s = s0 + t * (s1 - s0)
            if s > MIN_S:
                top, _ = slice_top(z0, n0, r0, z1, n1, r1)
                r = r0 + t * (r1 - r0)
                half = min(r * np.sqrt(1.0 + ((s1 - s0) / (n1 - n0)) ** 2), r + 0.5 * abs(s1 - s0))
                c = cross[q]
                c[CROSS_S], c[CROSS_Z], c[CROSS_TOP], c[CROSS_HALF], c[CROSS_SHARE] = (
                    s,
                    z0 + t * (z1 - z0),
                    top,
                    half,
                    t,
                )
                cross_item[q] = i
                q += 1
    plane.counts[SHAPES], plane.counts[CROSSINGS], plane.counts[WIRES] = p, q, wires


@njit(cache=True, nogil=True)
def _fill_targets(scene: FlightScene, plane: Plane, count: int) -> int:
    """What every crossing belongs to; returns how many serve a union: within reach of it, and not drooping so that the line slides off."""
    wood, droop, targets = scene.wood, -np.arctan(scene.rules.friction), 0
    for k in range(count):
        i = plane.cross_item[k]
        plane.cross_limb[k], plane.cross_node[k], plane.cross_union[k] = BESIDE, -1, -1
        if i < 0:
            continue
        plane.cross_limb[k], plane.cross_node[k] = wood.limb[i], wood.node[i]
        along = wood.near[i] + plane.cross[k, CROSS_SHARE] * (wood.far[i] - wood.near[i])
        if wood.union[i] < 0 or along > wood.limit[i] or wood.slope[i] < droop:
            continue
        plane.cross_union[k] = wood.union[i]
        plane.target[targets] = k
        targets += 1
    return targets


@njit(cache=True, nogil=True)
def _sort_crossings(plane: Plane, count: int) -> None:
    """Crossings by rising s."""
    order = np.argsort(plane.cross[:count, CROSS_S])
    plane.scratch[:count] = plane.cross[:count]
    plane.scratch_item[:count] = plane.cross_item[:count]
    for k in range(count):
        for d in range(CROSS_SHARE + 1):
            plane.cross[k, d] = plane.scratch[order[k], d]
        plane.cross_item[k] = plane.scratch_item[order[k]]


@njit(cache=True, nogil=True)
def _sort_into_cells(shapes: Shapes, count: int) -> None:
    """Enter every shape in the cells its box meets; cells grow until they and their entries fit."""
    s_high, z_low, z_high = 0.0, INFINITE, -INFINITE
    for k in range(count):
        row = shapes.shape[k]
        s_high, z_low, z_high = max(s_high, row[S_MAX]), min(z_low, row[Z_MIN]), max(z_high, row[Z_MAX])
    s_high = min(s_high, RANGE)
    if count == 0:
        z_low = z_high = 0.0
    frame, cell = shapes.frame, CELL
    while True:
        along, up = int(s_high / cell) + 1, int((z_high - z_low) / cell) + 1
        if along * up <= MAX_CELLS:
            shapes.size[ALONG], shapes.size[UP] = along, up
            frame[CELL_SIDE], frame[CELLS_LOW] = cell, z_low
            frame[CELLS_END], frame[CELLS_HIGH] = along * cell, z_low + up * cell
            if _count_entries(shapes, count) <= len(shapes.entry):
                break
        cell *= CELL_GROWTH
    for k in range(count):
        a0, a1, b0, b1 = _cells_of(shapes, k)
        for a in range(a0, a1 + 1):
            for c in range(a * up + b0, a * up + b1 + 1):
                shapes.first[c] -= 1
                shapes.entry[shapes.first[c]] = k


@njit(cache=True, nogil=True)
def _cells_of(shapes: Shapes, k: int) -> tuple[int, int, int, int]:
    """First and last cell along s and upward that the box of shape k meets; last before first when it lies outside."""
    inv, z_low, row = 1.0 / shapes.frame[CELL_SIDE], shapes.frame[CELLS_LOW], shapes.shape[k]
    a1 = min(int(max(row[S_MAX], 0.0) * inv), shapes.size[ALONG] - 1)
    b1 = min(int((row[Z_MAX] - z_low) * inv), shapes.size[UP] - 1)
    return int(max(row[S_MIN], 0.0) * inv), a1, int((row[Z_MIN] - z_low) * inv), b1


@njit(cache=True, nogil=True)
def _count_entries(shapes: Shapes, count: int) -> int:
    """Leave in `first` the end of every cell's entries; returns their number."""
    cells, up = shapes.size[ALONG] * shapes.size[UP], shapes.size[UP]
    shapes.first[: cells + 1] = 0
    total = 0
    for k in range(count):
        a0, a1, b0, b1 = _cells_of(shapes, k)
        total += max(a1 - a0 + 1, 0) * (b1 - b0 + 1)
        for a in range(a0, a1 + 1):
            for c in range(a * up + b0, a * up + b1 + 1):
                shapes.first[c] += 1
    for c in range(cells):
        shapes.first[c + 1] += shapes.first[c]
    return total


@njit(cache=True, nogil=True)
def _fill_columns(scene: FlightScene, plane: Plane, x: float, y: float, azimuth: float) -> int:
    """Solid columns along the plane, returns their number; each run higher than a person can lift a line over is one more crossing."""
    ux, uy = np.sin(azimuth), np.cos(azimuth)
    things, terrain, lift = scene.things, scene.ground, scene.rules.lift
    rows, cols = things.low.shape
    c, q, step = 0, plane.counts[CROSSINGS], things.cell
    run_start, run_top, run_s, run_low = -1.0, -INFINITE, 0.0, INFINITE
    for k in range(1, min(int(RANGE / step), LAST_COLUMN)):
        s = k * step
        at_x, at_y = x + s * ux, y + s * uy
        j = int(np.floor((at_x - things.corner[0]) / step))
        i = int(np.floor((at_y - things.corner[1]) / step))
        solid = 0 <= i < rows and 0 <= j < cols and things.high[i, j] >= things.low[i, j]
        if solid:
            plane.column[c, COLUMN_S], plane.column[c, COLUMN_LOW], plane.column[c, COLUMN_HIGH] = (
                s,
                things.low[i, j],
                things.high[i, j],
            )
            c += 1
        tall = (
            solid
            and things.high[i, j] > ground_at(terrain.height, terrain.corner, terrain.cell, at_x, at_y) + lift
        )
        if tall:
            if run_start < 0.0:
                run_start, run_top, run_low = s, -INFINITE, INFINITE
            if things.high[i, j] > run_top:
                run_top, run_s = things.high[i, j], s
            run_low = min(run_low, things.low[i, j])
        elif run_start >= 0.0:
            row = plane.cross[q]
            row[CROSS_S], row[CROSS_Z], row[CROSS_TOP], row[CROSS_HALF] = (
                run_s,
                run_low,
                run_top,
                0.5 * (s - run_start),
            )
            row[CROSS_SHARE] = 0.0
            plane.cross_item[q] = -1
            q += 1
            run_start = -1.0
    plane.counts[CROSSINGS] = q
    return c
