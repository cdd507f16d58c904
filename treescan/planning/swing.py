"""Where does the climber go after a slip, how fast, into what, and how hard does the rope pull?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from treescan.loads.shock import pendulum_force, pendulum_speed
from treescan.planning.sightline import Scene, first_touch
from treescan.planning.tie_in_point import Floats
from treescan.trees.beside import KINDS
from treescan.wood.graph import WoodGraph

STEPS = 48
"""Points along a swept arc."""


@dataclass(frozen=True)
class Swing:
    """One slip: the arc swept until something is hit or the far side is reached.

    path : (k, 3) [m]; sideways : horizontal travel [m]; drop [m]; speed : when it hits, or at the lowest point if nothing is hit;
    force : largest rope tension on the way, over the climber's weight; hits : in words; met : True when something is hit.
    """

    path: Floats
    sideways: float
    drop: float
    speed: float
    force: float
    hits: str
    met: bool


def arc(anchor: Floats, start: Floats, steps: int = STEPS) -> tuple[Floats, Floats]:
    """The pendulum's way from `start` through the lowest point to the far side.

    Returns
    -------
    path : (steps + 1, 3) float     [m, local]
    angle : (steps + 1,) float      From plumb, falling from +angle to -angle. [rad]
    """
    d = start - anchor
    length, out = float(np.linalg.norm(d)), float(np.hypot(d[0], d[1]))
    ahead = np.array([d[0], d[1], 0.0]) / out if out > 0 else np.zeros(3)
    top = float(np.arctan2(out, -d[2]))
    angle = np.linspace(top, -top, steps + 1)
    return anchor + length * (np.sin(angle)[:, None] * ahead - np.cos(angle)[:, None] * np.array([0.0, 0.0, 1.0])), angle


def slip(graph: WoodGraph, scene: Scene, anchor: Floats, start: Floats, own_limb: int, body_radius: float, push_off: float) -> Swing:
    """A slip from one work point on a taut rope without slack.

    Parameters
    ----------
    anchor, start : (3,) float      [m, local]
    own_limb : int                  Limb the climber stood on: not counted as hit.
    body_radius, push_off : float   See `PlanningSettings`. [m]
    """
    path, angle = arc(anchor, start)
    length = float(np.linalg.norm(start - anchor))
    j_wood, limb = first_touch(scene, path, body_radius, own_limb, push_off)
    met: list[tuple[int, str]] = [(int(j_wood), limb_words(graph, int(limb)))] if j_wood >= 0 else []
    ground = scene.terrain.height_at(path[:, :2])
    low = np.flatnonzero(path[:, 2] - body_radius < ground)
    if len(low):
        met.append((int(low[0]), "the ground"))
    met += _voxels_met(scene, path, body_radius)
    if not met:
        swept = float(np.hypot(*(path[-1] - path[0])[:2]))
        return Swing(
            path,
            swept,
            _drop(path),
            float(pendulum_speed(length, angle[0])),
            float(pendulum_force(angle[0])),
            "nothing the scan saw",
            False,
        )
    j, what = min(met)
    speed = float(pendulum_speed(length, angle[0], angle[j]))
    force = float(pendulum_force(angle[0], angle[: j + 1]).max()) if j else float(np.cos(angle[0]))
    return Swing(path[: j + 1], float(np.hypot(*(path[j] - path[0])[:2])), _drop(path[: j + 1]), speed, force, what, True)


def limb_words(graph: WoodGraph, limb: int) -> str:
    """A limb named so that a climber finds it: "the stem", "the limb at U07 (14 cm)"."""
    if limb == 0:
        return "the stem"
    u = graph.unions
    rows = np.flatnonzero((u.arm_limb == limb) & ~u.arm_continues)
    if len(rows) == 0:
        return f"a branch (limb {limb})"
    union = int(np.searchsorted(u.arm_start, rows[0], side="right")) - 1
    return f"the limb at {u.label[union]} ({100 * u.arm_diameter[rows[0]]:.0f} cm)"


def _drop(path: Floats) -> float:
    return float(path[0, 2] - path[:, 2].min())


def _voxels_met(scene: Scene, path: Floats, radius: float) -> list[tuple[int, str]]:
    """First step of a path at which a ball touches a voxel beside the tree."""
    if scene.around is None:
        return []
    gap, row = scene.around.query(path, distance_upper_bound=radius + scene.cell / 2)
    hit = np.flatnonzero(np.isfinite(gap))
    return [(int(hit[0]), f"a {KINDS[scene.kind[row[hit[0]]]]}")] if len(hit) else []
