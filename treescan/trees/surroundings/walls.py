"""Which voxels are walls and roofs? Flat patches that go on in one plane, kept where large, full and flat."""

from __future__ import annotations

import numpy as np
from numba import njit
from scipy.spatial import cKDTree

from treescan.arrays import Flags, Floats, Ints32

LEAST_WALL = (1.2, 2.0)
"""Short and long side of the smallest plane taken for a wall or roof. [m]"""
LEAST_ROOF = 6.0
"""Smallest face that is not upright and still taken for a roof. [m2]"""
FILLED = 0.4
"""Share of a face, by area, that must be seen."""
MOST_FACES = 8
"""Faces looked for in one group of flat patches."""
FLAT, WIDE = 0.03, 0.15
"""A patch is flat where its least spread is below the first share of the whole, and wide where the middle one
is over the second."""
IN_LINE, IN_LINE_NOISE = 0.06, 0.1
"""Two patches go on in one plane where each lies so close to the other's [m], plus the second figure times
the spacing."""
SAME_WAY = 0.985
"""and their normals agree by so much (cosine)."""
ON_FACE, ON_FACE_NOISE = 0.08, 0.15
"""A patch lies in a face's plane within the first [m], plus the second figure times the spacing."""
SEED_AGREES, FIT_AGREES = 0.95, 0.93
"""Cosine between normals of a patch and of the plane, while it is looked for and when it is fitted."""
SEEDS, LEAST_IN_PLANE, LEAST_PATCHES = 40, 4, 8
"""Planes tried for a group, patches a plane must hold to be fitted, and a group to be looked at."""
BESIDE_FACE, BESIDE_CELLS = 0.15, 2.0
"""Voxels this close to the plane [m], and so many cells from a patch of it, belong to the face."""
LEANING = 0.35
"""Upward part of a normal from which on a face is a roof or floor, not a wall."""
EDGE, PLAN_CELL = 3, 1.5
"""Per cent of patches outside a face's size at either end, and cells in which its area is counted."""
FACE_ROUGH, FACE_ROUGH_NOISE = 0.05, 0.1
"""Roughness of a face at most [m], plus the second figure times the spacing."""
BESIDE_ROOF, OVER_ROOF = 1.0, 1.5
"""What stands so far beside a roof, or over it, belongs to the building: the front with its windows and
balconies. [m]"""


def find_faces(
    xyz: Floats, near: Ints32, value: Floats, normal: Floats, cell: float, spacing: float
) -> tuple[Flags, Floats]:
    """Voxels of large flat faces, (n,), and places on roofs, (r, 3) [m].

    Parameters
    ----------
    xyz : (n, 3), near : (n, k)         Voxel centres [m] and their nearest neighbours.
    value : (n, 3), normal : (n, 3)     Spread of each neighbourhood, largest first [m2], and its normal.
    cell, spacing : float               Voxel edge, and usual distance between points of the scan. [m]
    """
    total = np.maximum(value.sum(axis=1), 1e-12)
    flat = (value[:, 2] / total < FLAT) & (value[:, 1] / total > WIDE)
    group = _join_flat(xyz, near, normal, flat, IN_LINE + IN_LINE_NOISE * spacing)
    out = np.zeros(len(xyz), bool)
    count = np.bincount(group[flat], minlength=1)
    roofs: list[Floats] = []
    for g in np.nonzero(count >= FILLED * LEAST_WALL[0] * LEAST_WALL[1] / cell**2)[0]:
        rows = np.nonzero(flat & (group == g))[0]
        for _ in range(MOST_FACES):
            if len(rows) < LEAST_PATCHES:
                break
            centre, facing, on = _main_plane(xyz[rows], normal[rows], ON_FACE + ON_FACE_NOISE * spacing)
            face, rows = xyz[rows[on]], rows[~on]
            if not _is_face(face, centre, facing, cell, spacing):
                break
            close = np.nonzero(np.abs((xyz - centre) @ facing) < BESIDE_FACE + ON_FACE_NOISE * spacing)[0]
            beside = cKDTree(face).query(xyz[close], distance_upper_bound=BESIDE_CELLS * cell, workers=-1)[0]
            out[close[np.isfinite(beside)]] = True
            if abs(facing[2]) > LEANING:
                roofs.append(face)
    return out, np.vstack(roofs) if roofs else np.zeros((0, 3))


def under_roofs(xyz: Floats, roof: Floats) -> Flags:
    """Points (n, 3) under a roof (r, 3), a little over it or beside it, (n,). [m]"""
    out = np.zeros(len(xyz), bool)
    if len(roof) == 0:
        return out
    away, k = cKDTree(roof[:, :2]).query(xyz[:, :2], distance_upper_bound=BESIDE_ROOF, workers=-1)
    near = np.isfinite(away)
    out[near] = xyz[near, 2] < roof[k[near], 2] + OVER_ROOF
    return out


def _main_plane(xyz: Floats, normal: Floats, tolerance: float) -> tuple[Floats, Floats, Flags]:
    """The plane most of the patches agree with: a place on it, its normal, and which patches lie in it."""
    best = np.zeros(len(xyz), bool)
    for k in np.linspace(0, len(xyz) - 1, SEEDS).astype(int):
        on = (np.abs((xyz - xyz[k]) @ normal[k]) < tolerance) & (np.abs(normal @ normal[k]) > SEED_AGREES)
        if on.sum() > best.sum():
            best = on
    if best.sum() < LEAST_IN_PLANE:
        return xyz.mean(axis=0), np.array([0.0, 0.0, 1.0]), best
    for _ in range(2):
        centre = xyz[best].mean(axis=0)
        facing = np.linalg.svd(xyz[best] - centre, full_matrices=False)[2][2]
        best = (np.abs((xyz - centre) @ facing) < tolerance) & (np.abs(normal @ facing) > FIT_AGREES)
        if best.sum() < LEAST_IN_PLANE:
            break
    return centre, facing, best


def _is_face(face: Floats, centre: Floats, facing: Floats, cell: float, spacing: float) -> bool:
    """True when patches in one plane make a large, full face; a roof or floor has to be larger than a wall
    (fans of twigs are flat too)."""
    if len(face) < FILLED * LEAST_WALL[0] * LEAST_WALL[1] / cell**2:
        return False
    plan = (face - centre) @ np.linalg.svd(face - centre, full_matrices=False)[2][:2].T
    short, long = np.percentile(plan, 100 - EDGE, axis=0)[::-1] - np.percentile(plan, EDGE, axis=0)[::-1]
    short, long = min(short, long), max(short, long)
    area = len(np.unique(np.floor(plan / (PLAN_CELL * cell)), axis=0)) * (PLAN_CELL * cell) ** 2
    rms = np.sqrt(np.mean(((face - centre) @ facing) ** 2))
    least = LEAST_ROOF if abs(facing[2]) > LEANING else FILLED * LEAST_WALL[0] * LEAST_WALL[1]
    large = short > LEAST_WALL[0] and long > LEAST_WALL[1] and area > max(least, FILLED * short * long)
    return bool(large and rms < FACE_ROUGH + FACE_ROUGH_NOISE * spacing)


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
            if abs(turn) > SAME_WAY and abs(off_i) < step and abs(off_j) < step:
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
