"""How far does the wind move each piece of wood while the scanner turns?

The wood bends by first-order kinematics: each piece's turn grows with the length it carries over its thickness, so that stems stand still, twigs swing
by the amplitude asked for, and everything on a limb moves with it. Points are moved after they are hit: blur, not changed occlusion.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from made_up.grown_tree import GrownTree

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Wind:
    """Sway of one tree: `tip` is the sd of the movement of the 95th-percentile twig [m]; `mean_lean` the steady part's share."""

    flex: Floats
    phase: Floats
    tip: float
    direction: Floats
    mean_share: float = 0.4

    def shift(self, node: NDArray[np.int32], time: Floats, scan: int) -> Floats:
        """Displacement (m, 3) of points on `node` seen at `time` (0..1) of a scan. [m]"""
        beat = np.sin(2 * np.pi * (37.0 + 3 * scan) * time + self.phase[node] + scan) * np.sqrt(2) * np.sqrt(1 - self.mean_share**2)
        gust = self.mean_share * np.cos(1.7 * scan)
        push = self.tip * self.flex[node] * (beat + gust)
        side = 0.5 * self.tip * self.flex[node] * np.sin(2 * np.pi * (29.0 + 2 * scan) * time + 2 * self.phase[node])
        across = np.array([-self.direction[1], self.direction[0], 0.0])
        return push[:, None] * self.direction + side[:, None] * across


def blow(tree: GrownTree, tip: float, seed: int = 0) -> Wind:
    """Wind from a drawn direction that moves the outer twigs by `tip` (sd). [m]"""
    rng = np.random.default_rng([seed, 613])
    n = len(tree)
    step = np.zeros(n)
    step[1:] = np.linalg.norm(tree.xyz[1:] - tree.xyz[tree.parent[1:]], axis=1)
    turn = step / np.maximum(tree.segment_radius, 0.002) ** 1.2
    flex = np.zeros(n)
    lean = np.zeros(n)
    for i in range(1, n):
        p = tree.parent[i]
        lean[i] = lean[p] + turn[i]
        flex[i] = flex[p] + lean[i] * step[i]
    flex /= max(np.percentile(flex, 95), 1e-9)
    own = rng.uniform(0, 2 * np.pi, int(tree.order.max()) + 1 + int(tree.axis.max()) + 1)
    # limbs of order 2 and up swing with the order-1 limb that carries them
    carrier = np.zeros(n, np.int64)
    for i in range(1, n):
        carrier[i] = tree.axis[i] if tree.order[i] <= 1 else carrier[tree.parent[i]]
    a = rng.uniform(0, 2 * np.pi)
    return Wind(flex, own[carrier], tip, np.array([np.cos(a), np.sin(a), 0.0]))
