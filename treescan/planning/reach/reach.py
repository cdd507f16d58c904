"""How much of the work does one tie-in point serve, at what rope angle, and what does a slip cost?"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from treescan.loads.pull.load_cases import rope_angles
from treescan.loads.pull.shock import pendulum_speed
from treescan.loads.settings import LoadSettings
from treescan.planning.reach.sightline import Scene, first_fouls
from treescan.planning.reach.swing import slips
from treescan.planning.settings import SHARE_ANGLES, PlanningSettings
from treescan.planning.tie_in_point import Floats, Reach, Work
from treescan.reason import Reason
from treescan.units import G
from treescan.wood.graph import WoodGraph

SLIPS = 12
"""Slips followed in detail, from the work points with the most speed to gain."""


def reach(
    graph: WoodGraph,
    scene: Scene,
    anchor: Floats,
    own_limbs: tuple[int, int],
    work: Work,
    work_limb: NDArray[np.int32],
    settings: PlanningSettings,
    loads: LoadSettings = LoadSettings(),
) -> Reach:
    """Coverage of the work from one place in the tree.

    Parameters
    ----------
    anchor : (3,) float         Where the rope bears. [m, local]
    own_limbs : two limb ids    The stem the rope goes round and the limb it bears on.
    work_limb : (w,) int32      From `work.limb_of_work`.
    loads : LoadSettings        Climber, body and rope, for the swing.

    Returns
    -------
    Reach   A point is served when it lies below the tie-in point, within the rope angle limit, and no limb
    fouls the straight
            rope.
    """
    angle = rope_angles(anchor, work.xyz)
    widest = max(settings.rope_angle_limit, *SHARE_ANGLES)
    fouled = np.full(len(work), -1, np.int32)
    ask = angle <= widest
    fouled[ask] = first_fouls(
        scene,
        anchor,
        work.xyz[ask],
        own_limbs,
        work_limb[ask],
        settings.lean_limit,
        settings.own_wood,
        settings.hand_reach,
    )
    clear = (fouled < 0) & (angle < np.pi / 2)
    served = clear & (angle <= settings.rope_angle_limit)
    total = float(work.weight.sum())
    share_at = tuple(
        (limit, float(work.weight[clear & (angle <= limit)].sum()) / total) for limit in SHARE_ANGLES
    )
    side, speed, hits, force = _worst_slip(graph, scene, anchor, work, work_limb, served, settings, loads)
    return Reach(
        served=served,
        angle=angle,
        share=float(work.weight[served].sum()) / total,
        share_at=share_at,
        worst_angle=float(angle[served].max()) if served.any() else float("nan"),
        swing=side,
        swing_speed=speed,
        swing_hits=hits,
        swing_force=force * loads.climber_mass * G,
        fouled=fouled,
    )


def _worst_slip(
    graph: WoodGraph,
    scene: Scene,
    anchor: Floats,
    work: Work,
    work_limb: NDArray[np.int32],
    served: NDArray[np.bool_],
    settings: PlanningSettings,
    loads: LoadSettings,
) -> tuple[float, float, Reason, float]:
    """Sideways travel, speed, what is hit, and force over weight of the worst slip from served work.

    A slip that hits something is worse than one that does not; among equals the faster one is worse.
    """
    rows = np.flatnonzero(served)
    if len(rows) == 0:
        return float("nan"), float("nan"), Reason("no_work_served"), float("nan")
    length = np.linalg.norm(work.xyz[rows] - anchor, axis=1)
    angle = rope_angles(anchor, work.xyz[rows])
    rows = rows[np.argsort(-pendulum_speed(length, angle), kind="stable")[:SLIPS]]
    found = slips(
        graph,
        scene,
        anchor,
        work.xyz[rows],
        work_limb[rows],
        settings.body_radius,
        settings.push_off,
        loads,
    )
    worst = max(found, key=lambda s: (s.met, s.speed))
    return worst.sideways, worst.speed, worst.hits, max(s.force for s in found)
