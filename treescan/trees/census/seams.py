"""Which trees of neighbouring parts are one? The part that sees a tree deepest inside its own ground tells it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.spatial import cKDTree

from treescan.trees.census.cells import Cell
from treescan.trees.census.look_through import FoundTree

SAME_FOOT, SAME_CROWN = 0.6, 2.0
"""Feet of two parts so near one another are one tree's: where stems were seen, and where trees were found by their
crowns (project choice). [m]"""


def one_each(parts: Sequence[tuple[Cell, Sequence[FoundTree]]]) -> tuple[FoundTree, ...]:
    """Every tree once, from west to east in rows from south to north; the order of the parts does not matter.

    Parameters
    ----------
    parts : sequence        Parts and the trees told by each, those just beside it included.
    """
    told = [(cell.depth(np.array(t.foot)), n, t) for n, (cell, trees) in enumerate(parts) for t in trees]
    told.sort(key=lambda row: (-row[0], row[2].foot))
    if not told:
        return ()
    feet = np.array([t.foot[:2] for _, _, t in told])
    near = cKDTree(feet).query_ball_point(feet, SAME_CROWN)
    kept: list[int] = []
    gone: set[int] = set()
    for i, (depth, part, t) in enumerate(told):
        if i in gone:
            continue
        twins = [
            j
            for j in near[i]
            if j > i
            and told[j][1] != part
            and np.hypot(*(feet[j] - feet[i]))
            < (SAME_CROWN if t.by_crown or told[j][2].by_crown else SAME_FOOT)
        ]
        gone.update(twins)
        if depth >= 0 or not twins:
            kept.append(i)
    return tuple(sorted((told[i][2] for i in kept), key=lambda t: (round(t.foot[1]), t.foot[0], t.foot[1])))
