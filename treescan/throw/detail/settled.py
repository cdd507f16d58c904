"""How does the line lie once all workings are done, and where does it bear on the wanted limb?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from treescan.arrays import Floats
from treescan.throw.detail.followed import Followed
from treescan.throw.detail.taut_line import TautLine, slice_outline, taut_line
from treescan.throw.outcome.ends import HIT_LIMB, LANDED
from treescan.throw.scene.flight_scene import FlightScene
from treescan.throw.scene.plane import (
    CROSS_HALF,
    CROSS_S,
    CROSS_SHARE,
    CROSS_TOP,
    END_N,
    GROUND_STEP,
    SHAPES,
    START_S,
    Plane,
)
from treescan.throw.settings import ThrowSettings
from treescan.wood.graph import WoodGraph
from treescan.wood.topology.crotch import crotch_along


@dataclass(frozen=True)
class Rest:
    """Where the line bears on the wanted limb.

    place : (3,) float      [m, local]
    distance : float        From the union's axis along the limb. [m]
    slides : bool           The limb is steep enough for the line to slide to the union by itself.
    """

    place: Floats
    distance: float
    slides: bool


def settled_line(
    scene: FlightScene,
    flown: Followed,
    wanted: int,
    kept: tuple[int, ...],
    worked_far: bool,
    worked_near: bool,
) -> tuple[TautLine, tuple[int, ...]]:
    """The taut line after all workings, and the crossing of each obstacle it was laid over.

    A leg that was worked hangs plumb beside the wanted limb; otherwise it runs to the hand or to where the bag came down.

    Parameters
    ----------
    wanted : int, kept : tuple      Crossings the line stays over.
    worked_far, worked_near : bool  Which legs were worked.
    """
    crossings = tuple(sorted([wanted, *kept], key=flown.at))
    s, half = flown.plane.cross[wanted, CROSS_S], flown.plane.cross[wanted, CROSS_HALF]
    away = half + scene.rules.bag_radius + scene.rules.clearance
    near_end = (s - away if worked_near else 0.0, flown.hand)
    if worked_far:
        far_end = (s + away, _ground(flown.plane, s + away))
    else:
        down = flown.end == LANDED or (flown.end == HIT_LIMB and not flown.lodged)
        far_end = (flown.s_end, _ground(flown.plane, flown.s_end) if down else float(flown.path[-1, 1]))
    outlines = [_outline(scene, flown.plane, o) for o in crossings]
    return taut_line(near_end, far_end, outlines), crossings


def _ground(plane: Plane, s: float) -> float:
    """Height of the ground. [m, local]"""
    return float(np.interp(s, np.arange(len(plane.ground)) * GROUND_STEP, plane.ground))


def _outline(scene: FlightScene, plane: Plane, crossing: int) -> Floats:
    """Outline of the limb (or thing) at one crossing in the plane."""
    item, row = int(plane.cross_item[crossing]), plane.cross[crossing]
    if item < 0:
        s, top, half = row[CROSS_S], row[CROSS_TOP], row[CROSS_HALF]
        return np.array([[s - half, top], [s, top], [s + half, top]])
    k = int(np.flatnonzero(plane.shapes.item[: plane.counts[SHAPES]] == item)[0])
    s0, z0, n0, s1, z1, n1 = plane.shapes.shape[k, START_S : END_N + 1]
    return slice_outline(
        (s0, z0, n0), (s1, z1, n1), float(scene.wood.r_start[item]), float(scene.wood.r_end[item])
    )


def rest_on_limb(
    graph: WoodGraph, scene: FlightScene, flown: Followed, crossing: int, union: int, settings: ThrowSettings
) -> Rest:
    """Where the line bears: the top of the limb where it was thrown, or in the crotch once it has slid in (beside the parent's bark where
    the union has no crotch for this limb)."""
    wood, item, row = scene.wood, flown.item(crossing), flown.plane.cross[crossing]
    along = float(wood.near[item] + row[CROSS_SHARE] * (wood.far[item] - wood.near[item]))
    if not wood.slope[item] > np.arctan(settings.friction):
        return Rest(flown.in_space(row[[CROSS_S, CROSS_TOP]][None])[0], along, False)
    arms = graph.unions.arms(union)
    arm = arms.start + np.flatnonzero(graph.unions.arm_limb[arms] == wood.limb[item])
    inner = crotch_along(graph, union, int(arm[0])) if len(arm) else float("nan")
    distance = min(along, inner if np.isfinite(inner) else float(graph.unions.parent_diameter[union]) / 2)
    rows = np.flatnonzero(
        (wood.union == union) & (wood.limb == wood.limb[item]) & (wood.far >= distance - 1e-9)
    )
    i = int(rows[np.argmin(wood.near[rows])]) if len(rows) else item
    length = max(float(wood.far[i] - wood.near[i]), 1e-9)
    t = float(np.clip((distance - wood.near[i]) / length, 0.0, 1.0))
    d = (wood.end[i] - wood.start[i]) / length
    up = np.array([0.0, 0.0, 1.0]) - d[2] * d
    size = float(np.linalg.norm(up))
    radius = wood.r_start[i] + t * (wood.r_end[i] - wood.r_start[i])
    place = wood.start[i] + t * (wood.end[i] - wood.start[i]) + (radius * up / size if size > 1e-6 else 0.0)
    return Rest(np.asarray(place), distance, True)
