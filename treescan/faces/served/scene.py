"""What does the view draw? The tree before any plan, and the lines of what is chosen."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from treescan.assess import Assessment
from treescan.outputs.report.viewer_data import anchor_lines, tree_scene
from treescan.throw.throw_path import Throw
from treescan.wood.graph import TracedTree

MOST_RINGS = 60_000
"""Of the tree: every limb of one with 30,000 nodes and more; the thinnest go first. [rings]"""


def scene(tree: TracedTree) -> dict[str, Any]:
    """The tree with its limbs by ring, every union, ground and surroundings, and how its points are packed; needs no plan."""
    graph, u = tree.graph, tree.graph.unions
    out = tree_scene(tree, graph.segment_radius > 0.02, np.zeros((0, 3)), MOST_RINGS)
    if tree.points is not None:
        out["points"] = {"low": places(tree.points.low), "step": tree.points.step}
    out["limbOf"] = [int(v) for v in graph.limb]
    out["unions"] = [
        {"label": str(u.label[k]), "at": places(u.place[k]), "height": round(float(u.height[k]), 2)}
        for k in range(len(u))
    ]
    out["foot"] = places(graph.xyz[0])
    return out


def points(tree: TracedTree) -> bytes:
    """Steps of the points of the scan, x, y, z, two bytes each, least first; coarse picks first. Empty where there are none."""
    return b"" if tree.points is None else tree.points.steps.astype("<u2").tobytes()


def lines(a: Assessment, number: int) -> dict[str, Any]:
    """Rope, throw, swing, catches and use of capacity of one candidate by its row."""
    out = anchor_lines(a, a.points[number], number)
    out.pop("chance", None)
    p = a.points[number]
    k = p.check
    out["falls"] = [
        {"from": places(p.place), "to": places(a.tree.graph.unions.place[c.union])} for c in k.catches if c.union is not None
    ]
    return out


def thrown(found: tuple[Throw, ...]) -> list[list[float]]:
    """The flights of throws, flat, the most certain first."""
    return [places(t.path) for t in found]


def places(xyz: NDArray[np.float64]) -> list[float]:
    """Local places to the centimetre, flat."""
    return [round(float(v), 2) for v in np.asarray(xyz, float).ravel()]
