"""Which points belong to the asked tree?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from treescan.cloud.point_cloud import PointCloud
from treescan.trees.beside import Beside


@dataclass(frozen=True)
class Tree:
    """One tree cut out of the scan.

    Attributes
    ----------
    wood : PointCloud       Points taken for wood of this tree.
    leaf : PointCloud       Points of this tree taken for leaves and twigs too fine to model.
    base : (3,) float       Centre of the stem at the ground. [m, local]
    beside : Beside         Ground, foliage, neighbours.
    notes : tuple of str    What was doubtful, one sentence each ("no ground in the scan: level ground at the lowest point assumed").
    """

    wood: PointCloud
    leaf: PointCloud
    base: NDArray[np.float64]
    beside: Beside
    notes: tuple[str, ...] = ()
