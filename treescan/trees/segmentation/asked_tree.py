"""Which of the trees is meant? The one nearest to the asked place, else the largest; posts and shrubs are no
trees."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from treescan.cloud.point_cloud import PointCloud
from treescan.errors import BadInput
from treescan.trees.beside import KINDS
from treescan.trees.segmentation.segment_scan import Segmentation
from treescan.trees.segmentation.stems import BREAST
from treescan.trees.surroundings.posts import is_post

LEAST_TREE = 2.5
"""What grew from a stem and ends below this height is a person, a post or a shrub, not a tree to climb.
[m]"""
OVER_PLACE, CROWN_BOTTOM = 1.0, 2.0
"""A crown is over the asked place within the first, and above the second height. [m]"""


def asked_label(rough: Segmentation, at: ArrayLike | None, cloud: PointCloud, reach: float) -> int:
    """Label of the tree nearest to `at` (2,), else of the one with most voxels.

    Raises BadInput where no tree stands within `reach` of the place. All in metres, local.
    """
    if at is None:
        size = np.bincount(rough.label[rough.label >= 0], minlength=len(rough.trees))[: len(rough.trees)]
        kinds = kind_of_labels(rough)[: len(rough.trees)]
        return int(np.argmax(np.where(kinds == KINDS.index("neighbour"), size, size - len(rough.label))))
    want = np.asarray(at, float)
    places = [[place for s in stems for place in (s.foot[:2], s.axis_at(BREAST))] for stems in rough.trees]
    away = np.array([min(np.hypot(*(place - want)) for place in of_tree) for of_tree in places])
    k = int(np.argmin(away))
    if away[k] <= reach:
        return k
    over = np.hypot(*(rough.voxels.centre[:, :2] - want).T) < OVER_PLACE
    over &= (rough.above > CROWN_BOTTOM) & (rough.label >= 0) & (rough.label < len(rough.trees))
    if over.any() and rough.trees[0][0].dbh != rough.trees[0][0].dbh:
        return int(np.bincount(rough.label[over]).argmax())
    foot = cloud.frame.to_map(rough.trees[k][0].foot)
    raise BadInput(
        f"no stem within {reach:g} m of the asked place",
        file=cloud.source,
        remedy=f"the nearest tree stands at {foot[0]:.1f}, {foot[1]:.1f} (metres of the cloud's frame), "
        f"{away[k]:.1f} m away",
    )


def kind_of_labels(rough: Segmentation) -> NDArray[np.uint8]:
    """Kind of every label, (t + 2,): trees, then what stands on the ground, then (label -1) what nothing
    reached."""
    kind = np.full(len(rough.trees) + 2, KINDS.index("neighbour"), np.uint8)
    kind[-2], kind[-1] = KINDS.index("ground object"), KINDS.index("unknown")
    order = np.argsort(rough.label, kind="stable")
    start = np.searchsorted(rough.label[order], np.arange(len(rough.trees) + 1))
    for k in range(len(rough.trees)):
        rows = order[start[k] : start[k + 1]]
        if len(rows) == 0 or rough.above[rows].max() < LEAST_TREE:
            kind[k] = KINDS.index("ground object")
        elif is_post(rough.voxels.centre[rows], rough.above[rows]):
            kind[k] = KINDS.index("pole")
    return kind
