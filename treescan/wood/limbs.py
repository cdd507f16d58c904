"""Which segments make one limb? At every fork the best continuation carries the parent limb on."""

from __future__ import annotations

import numpy as np

from treescan.wood.graph import Floats, Ints, Limbs


def label_limbs(xyz: Floats, segment_radius: Floats, parent: Ints) -> tuple[Ints, Limbs]:
    """Limb of every segment, and the table of limbs.

    Parameters
    ----------
    xyz : (n, 3) float, segment_radius : (n,) float, parent : (n,) int32    As in `WoodGraph`. [m]

    Returns
    -------
    limb : (n,) int32       Limb of the segment down to the parent (the root: 0).
    limbs : Limbs

    Notes
    -----
    The continuation is the child with the largest r^2 (1 + cos a) / 2, r its radius and a its turn from the limb's direction,
    both taken a few nodes out so that the flare does not decide (models.md section 1: "diameter and direction").
    Codominant stems (aspect ratio >= 0.8 at a fork of a stem, both within 45 degrees of the parent) keep order 0.
    """
    n = len(xyz)
    kids: list[list[int]] = [[] for _ in range(n)]
    for i in range(1, n):
        kids[parent[i]].append(i)
    carried = np.ones(n, np.int64)
    for i in range(n - 1, 0, -1):
        carried[parent[i]] += carried[i]

    def outward(node: int, distance: float) -> int:
        """Main-line node at least `distance` beyond the fork (or the last one)."""
        start, at = xyz[parent[node]], node
        while np.linalg.norm(xyz[at] - start) < distance and kids[at]:
            at = max(kids[at], key=lambda k: (segment_radius[k], carried[k]))
        return at

    limb = np.zeros(n, np.int32)
    limb_parent, order, nodes = [-1], [0], [[0]]
    for i in range(n):
        if not kids[i]:
            continue
        here = limb[i]
        back = i
        while parent[back] >= 0 and limb[parent[back]] == here and np.linalg.norm(xyz[back] - xyz[i]) < 3 * segment_radius[i] + 0.05:
            back = parent[back]
        ahead = xyz[i] - xyz[back] if back != i else np.array([0.0, 0.0, 1.0])
        ahead = ahead / max(np.linalg.norm(ahead), 1e-9)
        radius, turn, score = {}, {}, {}
        for k in kids[i]:
            far = outward(k, 2 * segment_radius[i] + segment_radius[k]) if len(kids[i]) > 1 else k
            d = xyz[far] - xyz[i]
            c = float(d @ ahead) / max(float(np.linalg.norm(d)), 1e-9)
            radius[k], turn[k] = segment_radius[far], np.arccos(np.clip(c, -1, 1))
            score[k] = (radius[k] ** 2 * (1 + c) / 2, carried[k])
        best = max(kids[i], key=lambda k: score[k])
        for k in kids[i]:
            if k == best:
                limb[k] = here
                nodes[here].append(k)
                continue
            codominant = order[here] == 0 and radius[k] >= 0.8 * radius[best] and max(turn[k], turn[best]) < np.pi / 4
            limb[k] = len(nodes)
            limb_parent.append(int(here))
            order.append(0 if codominant else order[here] + 1)
            nodes.append([k])
    return limb, Limbs(np.array(limb_parent, np.int32), np.array(order, np.int32), tuple(np.array(v, np.int32) for v in nodes))
