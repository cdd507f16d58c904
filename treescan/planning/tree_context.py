"""What is everything judged for: which tree, beside what, on which site, for which work, by which rules?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from treescan.planning.settings import PlanningSettings
from treescan.planning.tie_in_point import Work
from treescan.trees.beside import Beside, Site
from treescan.wood.graph import WoodGraph


@dataclass(frozen=True)
class TreeContext:
    """One tree to be planned for.

    graph : the traced wood; beside : terrain, foliage, neighbours, wires the scan saw; site : what the user drew; work : where hands must
    get to; settings : the rules of planning; cut_off : where the work is the cuts of a removal, the nodes (n,) bool that are
    gone once each is done: what hangs on them serves neither that cut nor a later one.
    """

    graph: WoodGraph
    beside: Beside
    site: Site
    work: Work
    settings: PlanningSettings
    cut_off: tuple[NDArray[np.bool_], ...] = ()
