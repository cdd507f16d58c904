"""Where does a piece swing when it hangs in the rigging, and what does it pass or strike?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from treescan.geometry import inside
from treescan.loads.limb_check import limb_named
from treescan.loads.pull.shock import arc, pendulum_speed
from treescan.planning.reach.clearances import Line, approach_distance, distances
from treescan.planning.settings import PlanningSettings
from treescan.planning.tie_in_point import Floats
from treescan.planning.work.piece_room import plan_distance
from treescan.reason import Reason
from treescan.trees.beside import Area, Terrain
from treescan.wood.graph import WoodGraph

ROOM = 1.5
"""Of the climber and the climber's rope from the wood of a piece that swings: nearer it is an alarm (project choice). [m]"""


@dataclass(frozen=True)
class PieceSwing:
    """The way of a piece's centre of mass about the block, there and back, as long as nothing holds it.

    path : (k, 3) float     Of the centre, from where it is cut. [m, local]
    radius : float          Farthest bark of the piece from its centre. [m]
    speed : float           At the lowest point. [m/s]
    sideways : float        From where it is cut to the far side, in the plan. [m]
    """

    path: Floats
    radius: float
    speed: float
    sideways: float


def piece_swing(block: Floats, place: Floats, centre: Floats, reach: float) -> PieceSwing | None:
    """The pendulum of a piece below its block, without loss; None for one whose cut or centre lies above the block: it falls
    past the block and no rope guides it.

    Parameters
    ----------
    block, place, centre : (3,)     The block, the cut, the piece's centre of mass. [m, local]
    reach : float                   From its centre to its farthest bark. [m]
    """
    if place[2] > block[2] or centre[2] >= block[2]:
        return None
    path, angle = arc(block, centre)
    speed = float(pendulum_speed(np.linalg.norm(centre - block), angle[0]))
    return PieceSwing(path, reach, speed, float(np.linalg.norm((path[-1] - path[0])[:2])))


def swing_findings(
    swing: PieceSwing,
    graph: WoodGraph,
    stands: NDArray[np.bool_],
    terrain: Terrain,
    climber: Floats,
    lines: tuple[Line, ...],
    areas: tuple[Area, ...],
    settings: PlanningSettings,
) -> tuple[Reason, tuple[Reason, ...]]:
    """What is told of a swing, and the alarms it raises.

    Parameters
    ----------
    stands : (n,) bool      Nodes whose segments stand once the piece is off.
    climber : (k, 2, 3) float   The climber's rope from each anchor that is meant to the cut; none = not planned. [m, local]

    Notes
    -----
    Wood, rope, wires and areas are held against the way of the centre with the piece's farthest wood round it: it may turn
    any way in its rope. The first `push_off` of the way is left out for wood and climber, for there the piece still stands beside
    them; a swing shorter than that never leaves the climber.
    """
    way = Line(swing.path[:-1], swing.path[1:], 0.0, float("nan"), Reason("piece_itself"))
    gone = np.linalg.norm(np.diff(swing.path, axis=0), axis=1).cumsum() > settings.push_off
    alarms = []
    for line in lines:
        limit = approach_distance(line.voltage, settings.approach)
        away = max(float(distances(swing.path[:-1], swing.path[1:], line).min()) - swing.radius, 0.0)
        if away < limit:
            alarms.append(Reason("swing_near_conductor", to=line.name, away=away, limit=limit))
    alarms += [
        Reason("swing_over_area", what=a.kind, name=a.name or None, away=over)
        for a in areas
        if (over := _over(a.ring, swing.path)) <= swing.radius
    ]
    alarms += _at_the_climber(swing, climber, gone)
    strikes, past = None, None
    if gone.any():
        free = Line(swing.path[:-1][gone], swing.path[1:][gone], 0.0, way.voltage, way.name)
        seg = graph.segments
        rows = np.flatnonzero(stands[seg.node])
        gap = distances(seg.start[rows], seg.end[rows], free) - np.maximum(seg.r_start, seg.r_end)[rows]
        near = int(np.argmin(gap)) if len(rows) else -1
        if near >= 0:
            past = max(float(gap[near]), 0.0)
            strikes = limb_named(int(seg.limb[rows[near]])) if past < swing.radius else None
    ground = terrain.height_at(swing.path[:, :2])
    low = float(np.nanmin(swing.path[:, 2] - np.where(np.isfinite(ground), ground, graph.xyz[0, 2])))
    told = Reason(
        "piece_swings",
        sideways=swing.sideways,
        speed=swing.speed,
        radius=swing.radius,
        strikes=strikes,
        past=past,
        ground=low if low < swing.radius else None,
    )
    return told, tuple(alarms)


def _at_the_climber(swing: PieceSwing, ropes: Floats, gone: NDArray[np.bool_]) -> list[Reason]:
    """An alarm where the piece swings into or past the climber, who is at the cut, or the nearest of the ropes, (k, 2, 3).

    gone : (k - 1,) bool    Stretches of the way past the push-off.
    """
    if not len(ropes):
        return []
    past = gone if gone.any() else np.ones_like(gone)
    free = Line(swing.path[:-1][past], swing.path[1:][past], 0.0, float("nan"), Reason("piece_itself"))
    centre = float(distances(ropes[:, 0], ropes[:, 1], free).min())
    away = max(centre - swing.radius, 0.0)
    if away >= ROOM:
        return []
    return [Reason("swing_near_climber", away=away, strikes=away == 0, centre=centre, radius=swing.radius, room=ROOM)]


def _over(ring: Floats, path: Floats) -> float:
    """Least distance of a way to an area in the plan, 0 inside. [m]"""
    if inside(ring, path[:, :2]).any():
        return 0.0
    return min(plan_distance(ring, p[:2]) for p in path)
