"""Where does the climber go after a slip, how fast, into what, and how hard does the rope pull?"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from treescan.loads.rope.shock import ARC_STEPS, arc, pendulum_force, pendulum_speed
from treescan.planning.reach.sightline import Scene, first_touch
from treescan.planning.tie_in_point import Floats
from treescan.reason import Reason
from treescan.trees.beside import KINDS
from treescan.wood.graph import WoodGraph


@dataclass(frozen=True)
class Swing:
    """One slip: the arc swept until something is hit or the far side is reached.

    path : (k, 3) [m]; sideways : horizontal travel [m]; drop [m]; speed : when it hits, or at the lowest
    point if nothing is hit;
    force : largest rope tension on the way, over the climber's weight; hits : what; met : True when something
    is hit.
    """

    path: Floats
    sideways: float
    drop: float
    speed: float
    force: float
    hits: Reason
    met: bool


def slips(
    graph: WoodGraph,
    scene: Scene,
    anchor: Floats,
    starts: Floats,
    own_limb: NDArray[np.int32],
    body_radius: float,
    push_off: float,
) -> tuple[Swing, ...]:
    """Slips from work points on a taut rope without slack, one each.

    Parameters
    ----------
    anchor : (3,) float; starts : (k, 3) float      [m, local]
    own_limb : (k,) int32           Limb the climber stood on: not counted as hit.
    body_radius, push_off : float   See `PlanningSettings`. [m]
    """
    path, angle = arc(anchor, starts)
    beyond = path.shape[1]
    wood = [
        first_touch(scene, p, body_radius, int(own), push_off) for p, own in zip(path, own_limb, strict=True)
    ]
    at_wood = np.array([j if j >= 0 else beyond for j, _ in wood], int)
    at_ground = _first(path[..., 2] - body_radius < scene.terrain.height_at(path[..., :2]))
    at_voxel, kind = _voxels_met(scene, path, body_radius)
    end = np.minimum(np.minimum(at_wood, at_ground), at_voxel)
    met, row = end < beyond, np.arange(len(path))
    last = np.minimum(end, beyond - 1)
    top, lowest = (
        angle[:, 0],
        angle[row, np.minimum(last, ARC_STEPS // 2)],
    )  # the lowest point of the way, where the rope pulls hardest
    speed = pendulum_speed(np.linalg.norm(starts - anchor, axis=1), top, np.where(met, angle[row, last], 0.0))
    force = pendulum_force(top, lowest)
    out = []
    for i, (way, j) in enumerate(zip(path, last.tolist(), strict=True)):
        if not met[i]:
            hits = Reason("hits_nothing_seen")
        elif j == at_wood[i]:
            hits = limb_named(graph, wood[i][1])
        else:
            hits = (
                Reason("hits_ground")
                if j == at_ground[i]
                else Reason("hits_beside_the_tree", kind=KINDS[kind[i]])
            )
        drop = float(way[0, 2] - way[min(j, ARC_STEPS // 2), 2])
        out.append(
            Swing(
                way[: j + 1],
                math.dist(way[j, :2], way[0, :2]),
                drop,
                float(speed[i]),
                float(force[i]),
                hits,
                bool(met[i]),
            )
        )
    return tuple(out)


def _first(true: NDArray[np.bool_]) -> NDArray[np.int64]:
    """First true column of every row, the number of columns where there is none."""
    return np.where(true.any(axis=1), true.argmax(axis=1), true.shape[1])


def limb_named(graph: WoodGraph, limb: int) -> Reason:
    """A limb named so that a climber finds it: the stem, or the union it leaves from with its diameter."""
    if limb == 0:
        return Reason("the_stem")
    u = graph.unions
    rows = np.flatnonzero((u.arm_limb == limb) & ~u.arm_continues)
    if len(rows) == 0:
        return Reason("limb_numbered", limb=limb)
    union = int(np.searchsorted(u.arm_start, rows[0], side="right")) - 1
    return Reason("limb_at_union", union=u.label[union], diameter=float(u.arm_diameter[rows[0]]))


def _voxels_met(scene: Scene, path: Floats, radius: float) -> tuple[NDArray[np.int64], NDArray[np.uint8]]:
    """First step of every path (k, p, 3) at which a ball touches a voxel beside the tree, p where none, and
    the voxel's kind."""
    if scene.around is None:
        return np.full(len(path), path.shape[1]), np.zeros(len(path), np.uint8)
    gap, row = scene.around.query(path, distance_upper_bound=radius + scene.cell / 2)
    at = _first(np.isfinite(gap))
    which = row[np.arange(len(path)), np.minimum(at, path.shape[1] - 1)]
    return at, scene.kind[np.minimum(which, len(scene.kind) - 1)]
