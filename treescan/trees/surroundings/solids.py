"""What in the scan is built, not grown? Walls and roofs by their planes, wires by their long bare sagging lines, posts by their bareness."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from treescan.trees.material.growth import nearest, shape_of

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
LEAST_WALL = (1.2, 2.0)
"""Short and long side of the smallest plane taken for a wall or roof. [m]"""
LEAST_ROOF = 6.0
"""Smallest face that is not upright and still taken for a roof. [m2]"""
MOST_FACES = 8
LEAST_WIRE = 5.0
"""Shortest line taken for a wire. [m]"""


@dataclass(frozen=True)
class Wire:
    """A sagging line: plan origin (2,) and direction (2,), height a + b s + c s^2 along it, from s = first to s = last. [m]"""

    origin: Floats
    along: Floats
    sag: Floats
    first: float
    last: float

    def distance(self, xyz: Floats) -> Floats:
        """Distance of points (n, 3) from the line, inf beyond its ends. [m]"""
        s = (xyz[:, :2] - self.origin) @ self.along
        side = (xyz[:, :2] - self.origin) @ np.array([-self.along[1], self.along[0]])
        up = xyz[:, 2] - (self.sag[0] + self.sag[1] * s + self.sag[2] * s**2)
        return np.where((s >= self.first) & (s <= self.last), np.hypot(side, up), np.inf)


@dataclass(frozen=True)
class Solids:
    """Built things among coarse voxels: building (m,) bool, wire (m,) bool, the wires as lines, roof (r, 3) places on roofs."""

    building: Bools
    wire: Bools
    wires: tuple[Wire, ...]
    roof: Floats


def find_solids(xyz: Floats, above: Floats, cell: float, spacing: float) -> Solids:
    """Walls, roofs and wires among coarse voxels.

    Parameters
    ----------
    xyz : (m, 3), above : (m,)  Voxel centres (means of their points) and heights above the ground. [m]
    cell : float                Voxel edge. [m]
    spacing : float             Usual distance between points of the scan. [m]
    """
    none = np.zeros(len(xyz), bool)
    if len(xyz) < 50:
        return Solids(none, none.copy(), (), np.zeros((0, 3)))
    near, far = nearest(xyz, 16)
    value, normal, along = shape_of(xyz, near)
    building, roof = _planes(xyz, near, value, normal, cell, spacing)
    near7 = np.ascontiguousarray(near[:, :7])
    value, _, along = shape_of(xyz, near7)
    wires = _wires(xyz, above, near7, far[:, 6], value, along, cell, building)
    wire = none.copy()
    for w in wires:
        wire |= w.distance(xyz) < max(0.06, 0.5 * spacing)
    return Solids(building, wire & ~building, wires, roof)


def _planes(xyz: Floats, near: NDArray[np.int32], value: Floats, normal: Floats, cell: float, spacing: float) -> tuple[Bools, Floats]:
    """Voxels of large flat faces, and places on roofs: flat patches joined where they go on in one plane, kept where large, full and flat."""
    total = np.maximum(value.sum(axis=1), 1e-12)
    flat = (value[:, 2] / total < 0.03) & (value[:, 1] / total > 0.15)
    group = _join_flat(xyz, near, normal, flat, 0.06 + 0.1 * spacing)
    out = np.zeros(len(xyz), bool)
    count = np.bincount(group[flat], minlength=1)
    roofs: list[Floats] = []
    for g in np.nonzero(count >= 0.4 * LEAST_WALL[0] * LEAST_WALL[1] / cell**2)[0]:
        rows = np.nonzero(flat & (group == g))[0]
        for _ in range(MOST_FACES):
            if len(rows) < 8:
                break
            centre, facing, on = _main_plane(xyz[rows], normal[rows], 0.08 + 0.15 * spacing)
            face, rows = xyz[rows[on]], rows[~on]
            if not _is_face(face, centre, facing, cell, spacing):
                break
            close = np.nonzero(np.abs((xyz - centre) @ facing) < 0.15 + 0.15 * spacing)[0]
            beside = cKDTree(face).query(xyz[close], distance_upper_bound=2.0 * cell, workers=-1)[0]
            out[close[np.isfinite(beside)]] = True
            if abs(facing[2]) > 0.35:
                roofs.append(face)
    return out, np.vstack(roofs) if roofs else np.zeros((0, 3))


def under_roofs(xyz: Floats, roof: Floats, beside: float = 1.0, over: float = 1.5) -> Bools:
    """Points under a roof, up to `over` above it, or `beside` it: the front with its windows and balconies, (n,). All in metres."""
    out = np.zeros(len(xyz), bool)
    if len(roof) == 0:
        return out
    away, k = cKDTree(roof[:, :2]).query(xyz[:, :2], distance_upper_bound=beside, workers=-1)
    near = np.isfinite(away)
    out[near] = xyz[near, 2] < roof[k[near], 2] + over
    return out


def _main_plane(xyz: Floats, normal: Floats, tolerance: float) -> tuple[Floats, Floats, Bools]:
    """The plane most of the patches agree with: a place on it, its normal, and which patches lie in it."""
    best = np.zeros(len(xyz), bool)
    for k in np.linspace(0, len(xyz) - 1, 40).astype(int):
        on = (np.abs((xyz - xyz[k]) @ normal[k]) < tolerance) & (np.abs(normal @ normal[k]) > 0.95)
        if on.sum() > best.sum():
            best = on
    if best.sum() < 4:
        return xyz.mean(axis=0), np.array([0.0, 0.0, 1.0]), best
    for _ in range(2):
        centre = xyz[best].mean(axis=0)
        facing = np.linalg.svd(xyz[best] - centre, full_matrices=False)[2][2]
        best = (np.abs((xyz - centre) @ facing) < tolerance) & (np.abs(normal @ facing) > 0.93)
        if best.sum() < 4:
            break
    return centre, facing, best


def _is_face(face: Floats, centre: Floats, facing: Floats, cell: float, spacing: float) -> bool:
    """True when patches in one plane make a large, full face; a roof or floor has to be larger than a wall (fans of twigs are flat too)."""
    if len(face) < 0.4 * LEAST_WALL[0] * LEAST_WALL[1] / cell**2:
        return False
    plan = (face - centre) @ np.linalg.svd(face - centre, full_matrices=False)[2][:2].T
    short, long = np.percentile(plan, 97, axis=0)[::-1] - np.percentile(plan, 3, axis=0)[::-1]
    short, long = min(short, long), max(short, long)
    area = len(np.unique(np.floor(plan / (1.5 * cell)), axis=0)) * (1.5 * cell) ** 2
    rms = np.sqrt(np.mean(((face - centre) @ facing) ** 2))
    least = LEAST_ROOF if abs(facing[2]) > 0.35 else 0.4 * LEAST_WALL[0] * LEAST_WALL[1]
    return bool(short > LEAST_WALL[0] and long > LEAST_WALL[1] and area > max(least, 0.4 * short * long) and rms < 0.05 + 0.1 * spacing)


@njit(cache=True)
def _join_flat(xyz, near, normal, flat, step):  # type: ignore[no-untyped-def]
    n = len(xyz)
    root = np.arange(n)
    for i in range(n):
        if not flat[i]:
            continue
        for q in range(1, near.shape[1]):
            j = near[i, q]
            if not flat[j]:
                continue
            turn, off_i, off_j = 0.0, 0.0, 0.0
            for a in range(3):
                turn += normal[i, a] * normal[j, a]
                off_i += normal[i, a] * (xyz[j, a] - xyz[i, a])
                off_j += normal[j, a] * (xyz[j, a] - xyz[i, a])
            if abs(turn) > 0.985 and abs(off_i) < step and abs(off_j) < step:
                a, b = i, j
                while root[a] != a:
                    root[a] = root[root[a]]
                    a = root[a]
                while root[b] != b:
                    root[b] = root[root[b]]
                    b = root[b]
                root[max(a, b)] = min(a, b)
    for i in range(n):
        a = i
        while root[a] != a:
            a = root[a]
        root[i] = a
    return root


def _wires(
    xyz: Floats, above: Floats, near: NDArray[np.int32], far: NDArray, value: Floats, along: Floats, cell: float, building: Bools
) -> tuple[Wire, ...]:
    """Long bare lines: voxels that lie in a row with nothing beside them, joined, continued along their own sag."""
    total = np.maximum(value.sum(axis=1), 1e-12)
    bare = (value[:, 0] / total > 0.985) & (np.abs(along[:, 2]) < 0.6) & (above > 2.2) & ~building & (far < 6.5 * cell)
    rows = np.nonzero(bare)[0]
    if len(rows) < 8:
        return ()
    pairs = cKDTree(xyz[rows]).query_pairs(5 * cell, output_type="ndarray")
    a, b = rows[pairs[:, 0]], rows[pairs[:, 1]]
    d = xyz[b] - xyz[a]
    reach = np.linalg.norm(d, axis=1)
    same = (np.abs((along[a] * along[b]).sum(axis=1)) > 0.98) & (np.abs((along[a] * d).sum(axis=1)) > 0.97 * reach)
    graph = coo_matrix((np.ones(same.sum()), (pairs[same, 0], pairs[same, 1])), shape=(len(rows), len(rows)))
    _, of = connected_components(graph, directed=False)
    found: list[Wire] = []
    for g in np.argsort(-np.bincount(of)):
        piece = rows[of == g]
        if len(piece) < 8:
            break
        if found and np.median(np.min([w.distance(xyz[piece]) for w in found], axis=0)) < 0.15:
            continue
        w = _one_wire(xyz, xyz[piece], bare, cell)
        if w is not None:
            found.append(w)
    return tuple(found)


def _one_wire(xyz: Floats, piece: Floats, bare: Bools, cell: float) -> Wire | None:
    """Continue a bare piece both ways as a straight plan line with a parabola of heights; a wire if it is long, thin and mostly bare."""
    centre = piece.mean(axis=0)[:2]
    u = np.linalg.svd(piece[:, :2] - centre, full_matrices=False)[2][0]
    mine = piece
    sag = np.zeros(3)
    for _ in range(6):
        s = (mine[:, :2] - centre) @ u
        if np.ptp(s) < 1.0:
            return None
        degree = 2 if np.ptp(s) > 3.0 else 1
        fit = np.polynomial.polynomial.polyfit(s, mine[:, 2], degree)
        sag[:] = 0.0
        sag[: degree + 1] = fit
        slack = 0.5 * np.ptp(s) + 1.0
        w = Wire(centre, u, sag.copy(), float(s.min() - slack), float(s.max() + slack))
        d = w.distance(xyz)
        close = xyz[d < 0.05]
        t = np.sort((close[:, :2] - centre) @ u)
        ends = _run(t, float(np.median(s)), 2.5)
        keep = (close[:, :2] - centre) @ u
        grown = close[(keep >= ends[0]) & (keep <= ends[1])]
        off = grown[:, :2] - centre
        line = np.linalg.lstsq(np.column_stack([np.ones(len(off)), off @ u]), off @ np.array([-u[1], u[0]]), rcond=None)[0]
        u = u + line[1] * np.array([-u[1], u[0]])
        u /= np.linalg.norm(u)
        centre = centre + line[0] * np.array([-u[1], u[0]])
        if len(grown) == len(mine):
            mine = grown
            break
        mine = grown
    s = (mine[:, :2] - centre) @ u
    w = Wire(centre, u, sag.copy(), float(s.min() - cell), float(s.max() + cell))
    d = w.distance(xyz)
    on = d < 0.05
    steps = np.unique(np.floor((xyz[on][:, :2] - centre) @ u / 0.25))
    bare_steps = np.unique(np.floor((xyz[on & bare][:, :2] - centre) @ u / 0.25))
    beside = np.unique(np.floor((xyz[(d > 0.1) & (d < 0.35)][:, :2] - centre) @ u / 0.25))
    lone = len(np.setdiff1d(steps, beside))
    long = np.ptp(s)
    rms = np.sqrt(np.mean(d[on] ** 2))
    if long < LEAST_WIRE or rms > 0.03 or len(steps) * 0.25 < 0.55 * long or len(bare_steps) < 0.3 * len(steps) or lone < 0.4 * len(steps):
        return None
    return w


def _run(t: Floats, start: float, gap: float) -> tuple[float, float]:
    """The stretch of sorted places round `start` without a gap."""
    i = int(np.clip(np.searchsorted(t, start), 0, len(t) - 1))
    breaks = np.nonzero(np.diff(t) > gap)[0]
    left = breaks[breaks < i]
    right = breaks[breaks >= i]
    return float(t[left[-1] + 1] if len(left) else t[0]), float(t[right[0]] if len(right) else t[-1])


def is_post(xyz: Floats, above: Floats) -> bool:
    """True when nearly all that grew from a foot stays close to one straight line: a post, not a tree.

    Parameters
    ----------
    xyz : (n, 3), above : (n,)      Voxels of one label and their heights above the ground. [m]
    """
    low = above > 0.3
    if low.sum() < 8 or np.ptp(above[low]) < 1.5:
        return False
    p = xyz[low]
    z = p[:, 2] - p[:, 2].mean()
    layer = np.floor(above[low] / 0.3).astype(int)
    used = np.unique(layer)
    mid = np.array([[np.median(p[layer == k, 0]), np.median(p[layer == k, 1]), np.median(z[layer == k])] for k in used])
    a = np.column_stack([np.ones(len(mid)), mid[:, 2]])
    fit = np.linalg.lstsq(a, mid[:, :2], rcond=None)[0]
    off = np.hypot(*(p[:, :2] - np.column_stack([np.ones(len(p)), z]) @ fit).T)
    return bool(np.mean(off < 0.3) > 0.85 and np.hypot(*fit[1]) < 0.15)
