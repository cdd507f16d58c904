"""How hard is each piece of wood used, and in which colour is that shown? Blue to orange, for colour-blind readers too."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from treescan.loads.limb_check import LimbCheck
from treescan.outputs.text.say import text
from treescan.planning.tie_in_point import TieInPoint
from treescan.wood.graph import WoodGraph


@dataclass(frozen=True)
class Shade:
    """One class of the scale: up to which use of capacity, the code of its words, and its colour."""

    limit: float
    code: str
    colour: str

    @property
    def words(self) -> str:
        """As the reader reads it."""
        return text(self.code)


SCALE = (
    Shade(0.10, "use_under_10", "#1d5c8f"),
    Shade(0.25, "use_under_25", "#6fa8cf"),
    Shade(0.50, "use_under_50", "#f0c37c"),
    Shade(1.00, "use_under_100", "#dd7a1f"),
    Shade(float("inf"), "use_over", "#7d2a06"),
)
UNLOADED = Shade(float("nan"), "use_unloaded", "#c9bda6")
UNSEEN = Shade(float("nan"), "use_unseen", "#8b9298")
LEGEND = (*SCALE, UNLOADED, UNSEEN)


def shade_of(use: NDArray[np.float64], seen: NDArray[np.bool_]) -> NDArray[np.intp]:
    """Row of `LEGEND` for each piece of wood.

    Parameters
    ----------
    use : (n,) float    Stress over strength; NaN = not in the load path.
    seen : (n,) bool    False where the scan did not see the piece: it stays grey whatever was computed.
    """
    limits = np.array([s.limit for s in SCALE])
    row = np.minimum(np.searchsorted(limits, np.nan_to_num(use, nan=0.0), side="left"), len(SCALE) - 1)
    row = np.where(np.isnan(use), len(SCALE), row)
    return np.where(seen, row, len(SCALE) + 1)


def low_end_use(check: LimbCheck) -> NDArray[np.float64]:
    """Use of capacity of each section at the low end of strength over stress, (k,): the weakest shows what the verdict says.

    The median where the low end is not known.
    """
    use, margin = np.asarray(check.utilisation, float), check.margin
    return use * (margin.median / margin.p5) if margin.known and margin.p5 > 0 else use


def greatest_use(graph: WoodGraph, points: Sequence[TieInPoint]) -> NDArray[np.float64]:
    """Greatest use of capacity of each segment over all usable candidates, (n,); NaN where none loads it."""
    use = np.full(len(graph), -np.inf)
    for p in points:
        c = p.check.check
        if p.usable and len(c.nodes):
            np.maximum.at(use, c.nodes, np.nan_to_num(c.utilisation, nan=-np.inf))
    return np.where(np.isfinite(use), use, np.nan)
