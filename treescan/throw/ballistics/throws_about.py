"""Which throws come out about one aim?"""

import numpy as np

from treescan.arrays import Floats
from treescan.throw.ballistics.aim_scatter import normal_triples, turned
from treescan.throw.settings import Method
from treescan.throw.throw_path import Aim

FLATTEST, STEEPEST, SLOWEST = 0.02, np.pi / 2 - 0.005, 0.5


def throws_about(aim: Aim, method: Method, half: int, each: int) -> tuple[Floats, Floats, Floats]:
    """Equally likely throws about one aim: azimuth (2 half,) [rad]; elevation [rad] and speed [m/s], (2 half, each)."""
    sd, normal = method.spread_at(aim.speed), normal_triples(half * each)
    right, high = turned(aim.elevation, sd.elevation * normal[:, 1], sd.side * normal[:, 0])
    fast = aim.speed * (1 + sd.speed * normal[:, 2])
    order = np.argsort(right, kind="stable")
    left, high, fast = (q[order].reshape(half, each) for q in (right, high, fast))
    turn = left.mean(axis=1)
    return (
        aim.azimuth + np.concatenate([turn, -turn[::-1]]),
        np.clip(np.concatenate([high, high[::-1]]), FLATTEST, STEEPEST),
        np.maximum(np.concatenate([fast, fast[::-1]]), SLOWEST),
    )
