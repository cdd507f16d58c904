"""Where does the climber go after a slip, how fast, into what, and how hard does the rope pull?"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from treescan.loads.pull.shock import (
    ARC_STEPS,
    arc,
    feet_speed,
    pendulum_force,
    pendulum_speed,
    swing_stretch,
)
from treescan.loads.settings import LoadSettings
from treescan.planning.reach.sightline import Scene, first_touch
from treescan.planning.tie_in_point import Floats
from treescan.reason import Reason
from treescan.trees.beside import KINDS
from treescan.units import G
from treescan.wood.graph import WoodGraph

NEARER = 0.05
"""Feet that start in the ground meet it only where they come lower by this [m] (project choice)."""


@dataclass(frozen=True)
class Swing:
    """One slip: the arc swept until something is hit or the far side is reached.

    path : (k, 3) of the harness [m]; sideways : horizontal travel [m]; drop [m]; speed : of what hits,
    harness or feet, then, or of the feet at the lowest point if nothing is hit; force : largest rope tension
    on the way, over the climber's weight; hits : what, and whether the feet do; met : True when something is
    hit.
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
    loads: LoadSettings = LoadSettings(),
) -> tuple[Swing, ...]:
    """Slips from work points on a taut rope without slack, one each, of a body from harness to feet.

    Parameters
    ----------
    anchor : (3,) float; starts : (k, 3) float      [m, local]
    own_limb : (k,) int32           Limb the climber stood on: not counted as hit.
    body_radius, push_off : float   See `PlanningSettings`. [m]
    loads : LoadSettings            Climber's mass, legs, rope modulus, what a body adds to the force.

    Notes
    -----
    The rope stretches by (T - W cos) L / K, L all rope from the climber over the anchor down to the ground,
    as if nothing held any of it back: the low point errs deep. The body is tried plumb, as it starts, and in
    line with the rope, as it turns.
    """
    path, angle = arc(anchor, starts)
    length, beyond = np.linalg.norm(starts - anchor, axis=1), path.shape[1]
    rope = _rope(scene, anchor, length)
    further = swing_stretch(loads.climber_mass * G, loads.rope_modulus, rope, angle[:, :1], angle)
    body = _body(path, anchor, length, further, loads)
    meetings = [
        _met(graph, scene, way, own_limb, body_radius, push_off, body_radius if i == 0 else 0.0)
        for i, way in enumerate(body)
    ]
    first = np.stack([steps for steps, _ in meetings])
    part, row = first.argmin(axis=0), np.arange(len(path))
    end = first[part, row]
    met, last = end < beyond, np.minimum(end, beyond - 1)
    # the lowest point of the way is where the rope pulls hardest
    top, lowest = angle[:, 0], angle[row, np.minimum(last, ARC_STEPS // 2)]
    harness = pendulum_speed(length, top, np.where(met, angle[row, last], 0.0))
    feet = feet_speed(harness, length, loads.harness_to_feet)
    speed = np.where((part > 0) | ~met, feet, harness)
    force = loads.swing_body * pendulum_force(top, lowest)
    out = []
    for i, (way, j, p) in enumerate(zip(body[0], last.tolist(), part.tolist(), strict=True)):
        hits = meetings[p][1][i] if met[i] else Reason("hits_nothing_seen")
        if met[i] and p > 0:
            hits = Reason("hits_feet_first", hits=hits)
        sideways = math.dist(way[j, :2], way[0, :2])
        drop = float(way[0, 2] - way[min(j, ARC_STEPS // 2), 2])
        out.append(Swing(way[: j + 1], sideways, drop, float(speed[i]), float(force[i]), hits, bool(met[i])))
    return tuple(out)


def _met(
    graph: WoodGraph,
    scene: Scene,
    ways: Floats,
    own_limb: NDArray[np.int32],
    radius: float,
    push_off: float,
    above_ground: float,
) -> tuple[NDArray[np.int64], list[Reason]]:
    """First step (k,) of every way (k, p, 3) at which a ball touches wood, ground or what stands beside the
    tree, p where none, and what that is; above_ground : the ball's radius against the ground. [m]"""
    beyond = ways.shape[1]
    wood = [
        first_touch(scene, way, radius, int(own), push_off) for way, own in zip(ways, own_limb, strict=True)
    ]
    at_wood = np.array([j if j >= 0 else beyond for j, _ in wood], int)
    at_ground = _ground_met(scene, ways, above_ground)
    at_voxel, kind = _voxels_met(scene, ways, radius)
    first = np.minimum(np.minimum(at_wood, at_ground), at_voxel)
    what = []
    for i, j in enumerate(first.tolist()):
        if j == at_wood[i] and j < beyond:
            what.append(limb_named(graph, wood[i][1]))
        elif j == at_ground[i]:
            what.append(Reason("hits_ground"))
        else:
            what.append(Reason("hits_beside_the_tree", kind=KINDS[kind[i]]))
    return first, what


def _rope(scene: Scene, anchor: Floats, length: Floats) -> Floats:
    """All rope that may stretch in each swing, (k, 1): to the anchor and down to the ground behind it. [m]"""
    ground = float(scene.terrain.height_at(anchor[:2]))
    return np.asarray(length[:, None] + (max(anchor[2] - ground, 0.0) if np.isfinite(ground) else 0.0))


def _body(
    path: Floats, anchor: Floats, length: Floats, further: Floats, loads: LoadSettings
) -> tuple[Floats, ...]:
    """Ways (k, p, 3) of the harness, of the middle of the legs and the feet in line with the rope, and of the
    feet hung plumb, on a rope longer by `further` (k, p). [m]"""
    along = (path - anchor) / length[:, None, None]
    reach, legs = (length[:, None] + further)[..., None], loads.harness_to_feet
    harness = anchor + along * reach
    below = harness - np.array([0.0, 0.0, legs])
    return harness, harness + along * (0.5 * legs), harness + along * legs, below


def _ground_met(scene: Scene, ways: Floats, radius: float) -> NDArray[np.int64]:
    """First step of every way (k, p, 3) at which a ball touches the ground, lower than where it starts; p
    where none."""
    low, ground = ways[..., 2] - radius, scene.terrain.height_at(ways[..., :2])
    return _first(low < np.minimum(ground, low[:, :1] - NEARER))


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
