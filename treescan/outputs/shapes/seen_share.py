"""How much of some wood did the scan see rather than bridge?"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from treescan.wood.graph import WoodGraph


def seen_share(graph: WoodGraph, nodes: NDArray[np.int32] | None = None) -> float:
    """Share of the length of some segments (all by default) that the scan saw; NaN where there are none."""
    rows = np.arange(len(graph)) if nodes is None else np.asarray(nodes)
    if not len(rows):
        return math.nan
    length = graph.length[rows]
    return float((length * graph.seen[rows]).sum() / max(length.sum(), 1e-9))
