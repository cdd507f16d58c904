"""What stands in the vertical plane of one throw? Limbs near it, limbs that pierce it, ground and solid things under it.

Plane coordinates: s along the azimuth from the release point, z up, n across. A flight lies in n = 0 and s only grows.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from treescan.throw.scene.flight_scene import BESIDE, WIRE, Scene

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]

GROUND_STEP = 0.5
"""Step of the ground profile. [m]"""

RANGE = 60.0
"""A flight is followed this far. [m]"""

MIN_S = 0.05
"""Nothing nearer than this can be met: the standing place is clear of wood. [m]"""

INFINITE = 1e9

CELL = 0.2
"""Least side of the cells in which the shapes of a plane are looked up. [m]"""

MOST_CELLS = 40_000
"""Cells of a plane at most; where they or their entries would not fit, cells are made larger."""


class Plane(NamedTuple):
    """One vertical plane, filled by `fill_plane`; `counts` = shapes, crossings, solid columns, wanted crossings, wires.

    shape : (p, 13)         s_min, s_max, z_min, z_max, then s0, z0, n0, s1, z1, n1 of the axis, then s, z and half the diagonal of the box.
    item : (p,) int32       Row in the scene.
    cross : (q, 5)          s, z of the axis crossing; height of the limb's top there; half its width along s; share along the segment.
    cross_item : (q,) int32 Row in the scene, -1 for a thing beside the tree.
    target : (t,) int32     Crossings that belong to a union, by rising s.
    shaft : (q, 2) int8     Is the way down beside the limb clear, near and far side: -1 not looked at, 0 no, 1 yes.
    ground : (g,)           Ground heights every GROUND_STEP.
    column : (c, 3)         s, lowest, highest solid.
    first : (k + 1,) int32  Entries of cell k (s-major, upward) are entry[first[k] : first[k + 1]].
    entry : (e,) int32      Shapes whose box meets the cell.
    size : (2,) int64       Cells along s, cells upward.
    frame : (6,)            Side of a cell, lowest z, end of the cells along s, top of the cells; highest ground, top of the columns.
    looked : (p,) int64     Running number (the last entry) of the piece each shape was last compared with.
    """

    shape: Floats
    item: Ints
    cross: Floats
    cross_item: Ints
    target: Ints
    shaft: NDArray[np.int8]
    ground: Floats
    column: Floats
    counts: Ints
    first: Ints
    entry: Ints
    size: NDArray[np.int64]
    frame: Floats
    looked: NDArray[np.int64]
    scratch: Floats
    scratch_item: Ints


@njit(cache=True, nogil=True)
def empty_plane(capacity: int) -> Plane:
    """Room for a plane that meets at most `capacity` segments."""
    n = capacity + 1
    return Plane(
        np.empty((n, 13)),
        np.empty(n, np.int32),
        np.empty((n + 600, 5)),
        np.empty(n + 600, np.int32),
        np.empty(n + 600, np.int32),
        np.empty((n + 600, 2), np.int8),
        np.empty(int(RANGE / GROUND_STEP) + 2),
        np.empty((600, 3)),
        np.zeros(5, np.int32),
        np.zeros(MOST_CELLS + 1, np.int32),
        np.empty(MOST_CELLS + 8 * n, np.int32),
        np.zeros(2, np.int64),
        np.zeros(6),
        np.zeros(n + 1, np.int64),
        np.empty((n + 600, 5)),
        np.empty(n + 600, np.int32),
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
    return (1 - fy) * ((1 - fx) * ground[i, j] + fx * ground[i, j1]) + fy * ((1 - fx) * ground[i1, j] + fx * ground[i1, j1])


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
def fill_plane(sc: Scene, pl: Plane, ox: float, oy: float, azimuth: float, items: Ints, count: int) -> None:
    """Fill the plane through (ox, oy) in direction `azimuth` from the scene's rows items[:count]."""
    ux, uy = np.sin(azimuth), np.cos(azimuth)
    p, q, wires = 0, 0, 0
    start, end, r_start, r_end, limb, bag = sc.start, sc.end, sc.r_start, sc.r_end, sc.limb, sc.bag_radius
    shape, item, cross, cross_item, ground = pl.shape, pl.item, pl.cross, pl.cross_item, pl.ground
    for m in range(count):
        i = items[m]
        x0, y0, x1, y1 = start[i, 0] - ox, start[i, 1] - oy, end[i, 0] - ox, end[i, 1] - oy
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
        row[0], row[1], row[2], row[3] = min(sa, sb) - reach, s_max, min(za, zb) - reach, max(za, zb) + reach
        row[4], row[5], row[6], row[7], row[8], row[9] = s0, z0, n0, s1, z1, n1
        row[10], row[11] = 0.5 * (row[0] + row[1]), 0.5 * (row[2] + row[3])
        row[12] = 0.5 * np.sqrt((row[1] - row[0]) ** 2 + (row[3] - row[2]) ** 2)
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
                c[0], c[1], c[2], c[3], c[4] = s, z0 + t * (z1 - z0), top, half, t
                cross_item[q] = i
                q += 1
    heights, corner, cell = sc.ground, sc.ground_corner, sc.ground_cell
    for k in range(len(ground)):
        s = k * GROUND_STEP
        ground[k] = ground_at(heights, corner, cell, ox + s * ux, oy + s * uy)
    c = 0
    if sc.has_side:
        c, q = _fill_columns(sc, pl, ox, oy, ux, uy, q)
    _sort_crossings(pl, q)
    w = 0
    for k in range(q):
        if pl.cross_item[k] >= 0 and sc.union[pl.cross_item[k]] >= 0:
            pl.target[w] = k
            w += 1
    pl.counts[0], pl.counts[1], pl.counts[2], pl.counts[3] = p, q, c, w
    pl.counts[4] = wires
    pl.shaft[:q] = -1
    _sort_into_cells(pl, p)
    pl.frame[4] = pl.ground.max()
    pl.frame[5] = pl.column[:c, 2].max() if c > 0 else -INFINITE


@njit(cache=True, nogil=True)
def _sort_crossings(pl: Plane, q: int) -> None:
    """Crossings by rising s."""
    order = np.argsort(pl.cross[:q, 0])
    pl.scratch[:q] = pl.cross[:q]
    pl.scratch_item[:q] = pl.cross_item[:q]
    for k in range(q):
        for d in range(5):
            pl.cross[k, d] = pl.scratch[order[k], d]
        pl.cross_item[k] = pl.scratch_item[order[k]]


@njit(cache=True, nogil=True)
def _sort_into_cells(pl: Plane, p: int) -> None:
    """Enter every shape in the cells its box meets; cells grow until they and their entries fit."""
    s_high, z_low, z_high = 0.0, INFINITE, -INFINITE
    for k in range(p):
        h = pl.shape[k]
        s_high, z_low, z_high = max(s_high, h[1]), min(z_low, h[2]), max(z_high, h[3])
    s_high = min(s_high, RANGE)
    if p == 0:
        z_low = z_high = 0.0
    cell = CELL
    while True:
        ns, nz = int(s_high / cell) + 1, int((z_high - z_low) / cell) + 1
        if ns * nz <= MOST_CELLS:
            pl.size[0], pl.size[1] = ns, nz
            pl.frame[0], pl.frame[1], pl.frame[2], pl.frame[3] = cell, z_low, ns * cell, z_low + nz * cell
            if _count_entries(pl, p) <= len(pl.entry):
                break
        cell *= 1.5
    for k in range(p):
        a0, a1, b0, b1 = _cells_of(pl, k)
        for a in range(a0, a1 + 1):
            for c in range(a * nz + b0, a * nz + b1 + 1):
                pl.first[c] -= 1
                pl.entry[pl.first[c]] = k


@njit(cache=True, nogil=True)
def _cells_of(pl: Plane, k: int) -> tuple[int, int, int, int]:
    """First and last cell along s and upward that the box of shape k meets; last before first when it lies outside."""
    inv = 1.0 / pl.frame[0]
    a1 = min(int(max(pl.shape[k, 1], 0.0) * inv), pl.size[0] - 1)
    b1 = min(int((pl.shape[k, 3] - pl.frame[1]) * inv), pl.size[1] - 1)
    return int(max(pl.shape[k, 0], 0.0) * inv), a1, int((pl.shape[k, 2] - pl.frame[1]) * inv), b1


@njit(cache=True, nogil=True)
def _count_entries(pl: Plane, p: int) -> int:
    """Leave in `first` the end of every cell's entries; returns their number."""
    cells, nz = pl.size[0] * pl.size[1], pl.size[1]
    pl.first[: cells + 1] = 0
    total = 0
    for k in range(p):
        a0, a1, b0, b1 = _cells_of(pl, k)
        total += max(a1 - a0 + 1, 0) * (b1 - b0 + 1)
        for a in range(a0, a1 + 1):
            for c in range(a * nz + b0, a * nz + b1 + 1):
                pl.first[c] += 1
    for c in range(cells):
        pl.first[c + 1] += pl.first[c]
    return total


@njit(cache=True, nogil=True)
def _fill_columns(sc: Scene, pl: Plane, ox: float, oy: float, ux: float, uy: float, q: int) -> tuple[int, int]:
    """Solid columns along the plane; each run higher than a person can lift a line over counts as one crossing."""
    rows, cols = sc.low.shape
    c, step = 0, sc.side_cell
    run_start, run_top, run_s, run_low = -1.0, -INFINITE, 0.0, INFINITE
    for k in range(1, min(int(RANGE / step), 590)):
        s = k * step
        x, y = ox + s * ux, oy + s * uy
        j = int(np.floor((x - sc.side_corner[0]) / step))
        i = int(np.floor((y - sc.side_corner[1]) / step))
        solid = 0 <= i < rows and 0 <= j < cols and sc.high[i, j] >= sc.low[i, j]
        if solid:
            pl.column[c, 0], pl.column[c, 1], pl.column[c, 2] = s, sc.low[i, j], sc.high[i, j]
            c += 1
        tall = solid and sc.high[i, j] > ground_at(sc.ground, sc.ground_corner, sc.ground_cell, x, y) + sc.lift
        if tall:
            if run_start < 0.0:
                run_start, run_top, run_low = s, -INFINITE, INFINITE
            if sc.high[i, j] > run_top:
                run_top, run_s = sc.high[i, j], s
            run_low = min(run_low, sc.low[i, j])
        elif run_start >= 0.0:
            row = pl.cross[q]
            row[0], row[1], row[2], row[3], row[4] = run_s, run_low, run_top, 0.5 * (s - run_start), 0.0
            pl.cross_item[q] = -1
            q += 1
            run_start = -1.0
    return c, q


@njit(cache=True, nogil=True)
def limb_of(sc: Scene, item: int) -> int:
    """Limb of a crossing's item; BESIDE for what is not this tree."""
    return sc.limb[item] if item >= 0 else BESIDE
