"""What wood stands in the way of a straight rope?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from treescan.planning.reach.wood_boxes import boxes_of, fouls, touch
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

    start, end : (s, 3); r_start, r_end : (s,) [m]; limb : (s,) int32: the tree's own wood as tapered
    capsules, sorted by limb; box (b + 1,), box_low, box_high (b, 3) : from `wood_boxes.boxes_of`;
    around : tree of the voxels beside it, with kind (k,) and cell [m]; terrain.
    """

    start: Floats
    end: Floats
    r_start: Floats
    r_end: Floats
    limb: NDArray[np.int32]
    box: NDArray[np.int32]
    box_low: Floats
    box_high: Floats
    around: cKDTree | None
    kind: NDArray[np.uint8]
    cell: float
    terrain: Terrain

    @classmethod
    def of(cls, graph: WoodGraph, beside: Beside, gone: NDArray[np.bool_] | None = None) -> Scene:
        """All wood of at least 2 cm outside its parent limb's bark, and everything the scan saw beside the
        tree.

        gone : (n,) bool    Nodes whose segments have been cut off and stand in nobody's way.
        """
        start, outside = _out_of_parents(graph)
        seg = graph.segments
        r_start, r_end = (np.where(np.isfinite(r), r, UNKNOWN) for r in (seg.r_start, seg.r_end))
        here = outside & (np.maximum(r_start, r_end) >= THINNEST)
        rows = np.flatnonzero(here if gone is None else here & ~gone[seg.node])
        rows = rows[np.argsort(seg.limb[rows], kind="stable")]
        s = beside.surroundings
        wood = start[rows], seg.end[rows], r_start[rows], r_end[rows], seg.limb[rows]
        return cls(
            *wood,
            *boxes_of(*wood),
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
    """The limb that fouls each straight rope from one tie-in point, nearest the tie-in point first, -1 where
    none does.

    Parameters
    ----------
    anchor : (3,) float         Where the ropes start. [m, local]
    points : (w, 3) float       Where they end. [m, local]
    own : two limb ids          Limbs the rope lies against anyway: the stem it goes round and the limb it
    bears on.
    work_limb : (w,) int32      Limb each point lies on; it never fouls its own rope.
    lean_limit : float          Bend beyond which a limb fouls. [rad]
    near, far : float           Wood within these distances of the start and the end is left out. [m]

    Notes
    -----
    A rope that must go round a limb is pushed aside by p = r - d, r the limb's radius, d its axis' distance
    from the straight rope. With a and b the distances from there to the two ends the rope bends by p/a + p/b
    (small angles). A thin limb halfway down a long rope bends it by a degree and is no obstacle; a stem close
    to the climber is.
    """
    w = scene
    wood = w.start, w.end, w.r_start, w.r_end, w.limb, w.box, w.box_low, w.box_high
    start, ends = (
        np.ascontiguousarray(anchor, dtype=np.float64),
        np.ascontiguousarray(points, dtype=np.float64),
    )
    return fouls(
        *wood,
        start,
        ends,
        own[0],
        own[1],
        np.ascontiguousarray(work_limb, dtype=np.int32),
        lean_limit,
        near,
        far,
    )


def first_touch(
    scene: Scene, path: Floats, radius: float, skip_limb: int, skip_length: float
) -> tuple[int, int]:
    """First point of a path where a ball of this radius touches wood: (index, limb), or (-1, -1).

    path : (k, 3) [m, local]; the first `skip_length` metres are free, and so is `skip_limb` all along.
    """
    w = scene
    wood = w.start, w.end, w.r_start, w.r_end, w.limb, w.box, w.box_low, w.box_high
    step, limb = touch(*wood, np.ascontiguousarray(path, dtype=np.float64), radius, skip_limb, skip_length)
    return int(step), int(limb)
