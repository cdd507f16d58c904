"""Where may a loaded path give way first, and what does that leave standing?"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from treescan.loads.settings import MIDDLE
from treescan.loads.statics.load_path import LoadPath
from treescan.loads.statics.structural_model import StructuralModel
from treescan.wood.graph import Floats

STEM = "stem"
"""Kind of a break of the stem above the lowest limb."""

ALSO_LIKELY = 0.5
"""Breaks used at least this share of the most used section are followed too (project choice: strength
scatters by half)."""



class MayBreak(NamedTuple):
    """One section that may give way: kind, row of the path, and whether it is among the likely first ones."""

    kind: str
    row: int
    likely: bool


def breaks_to_follow(tree: StructuralModel, path: LoadPath, utilised: Floats) -> tuple[MayBreak, ...]:
    """The likely breaks, then what is told besides: the limb or union of the anchor itself where the stem alone is
    likely, and the stem where a limb or union alone is; each apart from the other."""
    likely = tuple(MayBreak(kind, row, True) for kind, row in likely_breaks(tree, path, utilised))
    ranked = _weakest(tree, path, utilised)
    out = list(likely)
    for stem in (False, True):
        if not any((b.kind == STEM) == stem for b in out):
            out += [MayBreak(kind, row, False) for _, kind, row in ranked if (kind == STEM) == stem][:1]
    return tuple(out)


def likely_breaks(tree: StructuralModel, path: LoadPath, utilised: Floats) -> tuple[tuple[str, int], ...]:
    """Kind and row of the sections that may give way first, the most used first: the weakest of the limb, of
    its unions, of the stem's top.

    Only breaks whose loss leaves something to catch the rope: the stem below the lowest limb carries every
    support of the tree; its own margin decides the verdict, but what catches the rope is a question about
    limbs and the stem's upper part. A kind whose weakest section is used less than `ALSO_LIKELY` of the most
    used one is left out.
    """
    node, found = path.node, _weakest(tree, path, utilised)
    if not found:
        return ((STEM, int(np.argmax(utilised))),)
    kept: list[tuple[str, int]] = []
    for use, kind, row in found:
        near = [r for _, r in kept if _same_place(tree, int(node[r]), int(node[row]))]
        if use >= ALSO_LIKELY * found[0][0] and not near:
            kept.append((kind, row))
    return tuple(kept)


def _weakest(tree: StructuralModel, path: LoadPath, utilised: Floats) -> list[tuple[float, str, int]]:
    """Use, kind and row of the weakest section of each kind whose loss leaves something to catch the rope, the most
    used first."""
    s, node = tree.sections, path.node
    leaves = tree.leaves_limbs[node]
    stem = tree.graph.limb[node] == 0
    union = (s.fork[node] | (s.k[node, MIDDLE] < 1.0)) & ~stem
    found = []
    for kind, of in (("limb", ~stem & ~union), ("union tear-out", union), (STEM, stem)):
        score = np.where(of & leaves, utilised, -1.0)
        if len(score) and score.max() >= 0:
            found.append((float(score.max()), kind, int(np.argmax(score))))
    return sorted(found, key=lambda f: -f[0])


def _same_place(tree: StructuralModel, a: int, b: int) -> bool:
    """True for two sections of one limb less than its diameter apart: the same break told twice."""
    s, g = tree.sections, tree.graph
    return bool(g.limb[a] == g.limb[b] and np.linalg.norm(s.point[a] - s.point[b]) < 2 * s.radius[a])
