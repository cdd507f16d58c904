"""What wood stands in the way of a straight rope?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from treescan.planning.tie_in_point import Floats
from treescan.trees.beside import Beside, Terrain
from treescan.wood.graph import WoodGraph

THINNEST = 0.01
"""Wood thinner than this radius gives way to a rope and is left out [m] (project choice)."""

UNKNOWN = 0.05
"""Radius taken for wood whose diameter was not seen, as an obstacle only [m] (project choice)."""


@dataclass(frozen=True)
class Scene:
    """Solid things a rope or a swinging climber can meet, made once for a tree.

    start, end : (s, 3); r_start, r_end : (s,) [m]; limb : (s,) int32: the tree's own wood as tapered capsules;
    around : tree of the voxels beside it, with kind (k,) and cell [m]; terrain.
    """

    start: Floats
    end: Floats
    r_start: Floats
    r_end: Floats
    limb: NDArray[np.int32]
    around: cKDTree | None
    kind: NDArray[np.uint8]
    cell: float
    terrain: Terrain

    @classmethod
    def of(cls, graph: WoodGraph, beside: Beside) -> Scene:
        """All wood of at least 2 cm outside its parent limb's bark, and everything the scan saw beside the tree."""
        start, outside = _out_of_parents(graph)
        seg = graph.segments
        r_start, r_end = (np.where(np.isfinite(r), r, UNKNOWN) for r in (seg.r_start, seg.r_end))
        keep = outside & (np.maximum(r_start, r_end) >= THINNEST)
        s = beside.surroundings
        return cls(
            np.ascontiguousarray(start[keep]),
            np.ascontiguousarray(seg.end[keep]),
            np.ascontiguousarray(r_start[keep]),
            np.ascontiguousarray(r_end[keep]),
            np.ascontiguousarray(seg.limb[keep]),
            cKDTree(s.xyz) if len(s.xyz) else None,
            s.kind,
            s.cell,
            beside.terrain,
        )


def _out_of_parents(graph: WoodGraph) -> tuple[Floats, NDArray[np.bool_]]:
    """Segment starts moved out to the parent limb's bark, and which segments are left, (s, 3) and (s,).

    A limb's axis begins on its parent's axis; up to the bark it is inside the parent, where no rope can be.
    """
    seg = graph.segments
    root = np.array([graph.parent[nodes[0]] for nodes in graph.limbs.nodes], np.int64)
    fork = root[seg.limb]
    bark = np.where((fork >= 0) & np.isfinite(graph.radius[fork]), graph.radius[fork], 0.0)
    centre = graph.xyz[fork]
    near, far = np.linalg.norm(seg.start - centre, axis=1), np.linalg.norm(seg.end - centre, axis=1)
    share = np.clip((bark - near) / np.maximum(far - near, 1e-9), 0.0, 1.0)
    moved = np.where((near < bark)[:, None], seg.start + share[:, None] * (seg.end - seg.start), seg.start)
    return moved, far > bark


def first_fouls(
    scene: Scene,
    anchor: Floats,
    points: Floats,
    own: tuple[int, int],
    work_limb: NDArray[np.int32],
    lean_limit: float,
    near: float,
    far: float,
) -> NDArray[np.int32]:
    """The limb that fouls each straight rope from one tie-in point, nearest the tie-in point first, -1 where none does.

    Parameters
    ----------
    anchor : (3,) float         Where the ropes start. [m, local]
    points : (w, 3) float       Where they end. [m, local]
    own : two limb ids          Limbs the rope lies against anyway: the stem it goes round and the limb it bears on.
    work_limb : (w,) int32      Limb each point lies on; it never fouls its own rope.
    lean_limit : float          Bend beyond which a limb fouls. [rad]
    near, far : float           Wood within these distances of the start and the end is left out. [m]

    Notes
    -----
    A rope that must go round a limb is pushed aside by p = r - d, r the limb's radius, d its axis' distance from the straight
    rope. With a and b the distances from there to the two ends the rope bends by p/a + p/b (small angles). A thin limb halfway
    down a long rope bends it by a degree and is no obstacle; a stem close to the climber is.
    """
    return _first_fouls(
        scene.start, scene.end, scene.r_start, scene.r_end, scene.limb, np.ascontiguousarray(anchor, dtype=np.float64),
        np.ascontiguousarray(points, dtype=np.float64), own[0], own[1], np.ascontiguousarray(work_limb, dtype=np.int32),
        lean_limit, near, far,
    )  # fmt: skip


@njit(cache=True)
def _closest(p0, p1, q0, q1):  # type: ignore[no-untyped-def]
    """Distance between two segments and the shares along both (same formula as `treescan.geometry.segment_segment`)."""
    d1x, d1y, d1z = p1[0] - p0[0], p1[1] - p0[1], p1[2] - p0[2]
    d2x, d2y, d2z = q1[0] - q0[0], q1[1] - q0[1], q1[2] - q0[2]
    rx, ry, rz = p0[0] - q0[0], p0[1] - q0[1], p0[2] - q0[2]
    a = d1x * d1x + d1y * d1y + d1z * d1z
    e = d2x * d2x + d2y * d2y + d2z * d2z
    f = d2x * rx + d2y * ry + d2z * rz
    b = d1x * d2x + d1y * d2y + d1z * d2z
    c = d1x * rx + d1y * ry + d1z * rz
    denom = a * e - b * b
    s = 0.0
    if denom > 1e-14 * a * e:
        s = min(1.0, max(0.0, (b * f - c * e) / denom))
    t = (b * s + f) / e if e > 0.0 else 0.0
    if t < 0.0:
        t = 0.0
        s = min(1.0, max(0.0, -c / a)) if a > 0.0 else 0.0
    elif t > 1.0:
        t = 1.0
        s = min(1.0, max(0.0, (b - c) / a)) if a > 0.0 else 0.0
    if a <= 0.0:
        s = 0.0
    x = rx + s * d1x - t * d2x
    y = ry + s * d1y - t * d2y
    z = rz + s * d1z - t * d2z
    return np.sqrt(x * x + y * y + z * z), s, t


@njit(cache=True)
def _first_fouls(  # type: ignore[no-untyped-def]
    start, end, r_start, r_end, limb, anchor, points, own_a, own_b, work_limb, lean_limit, near, far
):
    out = np.full(len(points), -1, np.int32)
    for w in range(len(points)):
        p = points[w]
        length = np.sqrt((p[0] - anchor[0]) ** 2 + (p[1] - anchor[1]) ** 2 + (p[2] - anchor[2]) ** 2)
        if length <= near + far:
            continue
        low_x, high_x = min(p[0], anchor[0]), max(p[0], anchor[0])
        low_y, high_y = min(p[1], anchor[1]), max(p[1], anchor[1])
        low_z, high_z = min(p[2], anchor[2]), max(p[2], anchor[2])
        first = length
        for i in range(len(limb)):
            k = limb[i]
            if k == own_a or k == own_b or k == work_limb[w]:  # noqa: PLR1714, SIM109 (compiled)
                continue
            r = max(r_start[i], r_end[i])
            q0, q1 = start[i], end[i]
            if max(q0[0], q1[0]) + r < low_x or min(q0[0], q1[0]) - r > high_x:
                continue
            if max(q0[1], q1[1]) + r < low_y or min(q0[1], q1[1]) - r > high_y:
                continue
            if max(q0[2], q1[2]) + r < low_z or min(q0[2], q1[2]) - r > high_z:
                continue
            gap, s, t = _closest(anchor, p, q0, q1)
            push = r_start[i] + (r_end[i] - r_start[i]) * t - gap
            if push <= 0.0:
                continue
            a, b = s * length, (1.0 - s) * length
            if a < near or b < far or a >= first:
                continue
            if push / a + push / max(b, 1e-9) > lean_limit:
                first = a
                out[w] = k
    return out


@njit(cache=True)
def first_touch(start, end, r_start, r_end, limb, path, radius, skip_limb, skip_length):  # type: ignore[no-untyped-def]
    """First point of a path where a ball of this radius touches wood: (index, limb), or (-1, -1).

    path : (k, 3); the first `skip_length` metres are free, and so is `skip_limb` all along.
    """
    run = 0.0
    for j in range(len(path)):
        if j > 0:
            run += np.sqrt((path[j, 0] - path[j - 1, 0]) ** 2 + (path[j, 1] - path[j - 1, 1]) ** 2 + (path[j, 2] - path[j - 1, 2]) ** 2)
        if run < skip_length:
            continue
        p = path[j]
        for i in range(len(limb)):
            if limb[i] == skip_limb:
                continue
            q0, q1 = start[i], end[i]
            r = max(r_start[i], r_end[i]) + radius
            if p[2] < min(q0[2], q1[2]) - r or p[2] > max(q0[2], q1[2]) + r:
                continue
            if p[0] < min(q0[0], q1[0]) - r or p[0] > max(q0[0], q1[0]) + r:
                continue
            if p[1] < min(q0[1], q1[1]) - r or p[1] > max(q0[1], q1[1]) + r:
                continue
            gap, _, t = _closest(p, p, q0, q1)
            if gap < r_start[i] + (r_end[i] - r_start[i]) * t + radius:
                return j, limb[i]
    return -1, -1
