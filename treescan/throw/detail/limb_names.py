"""What is a limb called? After the union it leaves."""

from __future__ import annotations

import numpy as np

from treescan.reason import Reason
from treescan.throw.scene.flight_scene import FlightScene
from treescan.throw.throw_path import STEM, THIN_LIMBS
from treescan.wood.graph import WoodGraph


def union_of_limb(graph: WoodGraph, limb: int) -> str:
    """Label of the union a limb leaves from; `STEM` for the stem, `THIN_LIMBS` where it is too thin to make a union."""
    if limb == 0:
        return STEM
    u = graph.unions
    rows = np.flatnonzero((u.arm_limb == limb) & ~u.arm_continues)
    if len(rows) == 0:
        return THIN_LIMBS
    return u.label[int(np.searchsorted(u.arm_start, rows[0], side="right") - 1)]


def limb_name(graph: WoodGraph, limb: int) -> Reason:
    """A limb by the union it leaves."""
    union = union_of_limb(graph, limb)
    if union == STEM:
        return Reason("limb_is_stem")
    return Reason("limb_is_thin") if union == THIN_LIMBS else Reason("limb_leaves_union", union=union)


def item_name(graph: WoodGraph, scene: FlightScene, item: int) -> Reason:
    """What a row of the scene is; a negative one stands beside the tree."""
    return limb_name(graph, int(scene.wood.limb[item])) if item >= 0 else Reason("stands_beside")
