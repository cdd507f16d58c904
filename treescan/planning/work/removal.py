"""Where does the saw go, and in which order?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from treescan.errors import BadInput
from treescan.reason import Reason
from treescan.wood.graph import WoodGraph

Floats = NDArray[np.float64]

BLOCK, RING, BARK = "block", "ring", "bark"
OVER = (BLOCK, RING, BARK)
"""What the rope of the rigging runs over at its union."""

STUB = 0.5
"""A stub of a limb shorter than this holds no rope (project choice). [m]"""


@dataclass(frozen=True)
class Cut:
    """One cut: the saw goes through the segment below `node`; all the graph carries above comes off.

    share : of that segment that stays, 0 = the saw goes at its lower end; lost_from : node from which nothing
    may hang any more, -1 = `node`: a stub that is left of a limb holds no rope. label : name of the piece,
    the crew's own or one made here; made : what a name made here stands for, None where the crew named it.
    """

    node: int
    label: str
    made: Reason | None = None
    share: float = 0.0
    lost_from: int = -1

    def place(self, graph: WoodGraph) -> Floats:
        """Where the saw goes, on the axis, (3,). [m, local]"""
        low = graph.xyz[max(int(graph.parent[self.node]), 0)]
        return low + self.share * (graph.xyz[self.node] - low)

    @property
    def first_lost(self) -> int:
        """Node from which on no anchor is left."""
        return self.lost_from if self.lost_from >= 0 else self.node

    @property
    def piece(self) -> Reason | str:
        """The piece as it is told: the crew's own name letter for letter, else what it is."""
        return self.made or self.label


@dataclass(frozen=True)
class Removal:
    """A tree to be taken down: the cuts in their order, and what the crew plans at each.

    life_support : what the climber hangs on at each cut: a union ("U07"), one anchor ("U07 MRS") or an anchor
    drawn in another tree; "" or missing = not planned. rigging : union node that carries the rigging block at
    each cut, -1 or missing = none. rigging_over : what the rope runs over there, "block", "ring" or "bark"; "" or
    missing = a block.
    """

    cuts: tuple[Cut, ...]
    life_support: tuple[str, ...] = ()
    rigging: tuple[int, ...] = ()
    rigging_over: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        odd = sorted({str(o) for o in self.rigging_over if o not in {"", *OVER}})
        if odd:
            raise BadInput(f"rigging_over is {', '.join(odd)}", remedy=f"use one of {', '.join(OVER)}")

    def __repr__(self) -> str:
        return f"Removal({len(self.cuts)} cuts: {', '.join(c.label for c in self.cuts)})"

    def support_at(self, number: int) -> str | None:
        """Union the climber hangs on at one cut (0 is the first), None where that is not planned."""
        return (self.life_support[number] if number < len(self.life_support) else "") or None

    def rigging_at(self, number: int) -> int | None:
        """Node of the union that carries the rigging block at one cut, None without one."""
        node = self.rigging[number] if number < len(self.rigging) else -1
        return node if node >= 0 else None

    def over_at(self, number: int) -> str:
        """What the rope of the rigging runs over at one cut."""
        return (self.rigging_over[number] if number < len(self.rigging_over) else "") or BLOCK


def cut_limb(
    graph: WoodGraph, limb: int, label: str = "", at: float | None = None, height: float | None = None
) -> Cut:
    """A cut through a limb: at its union, where it leaves the bark of its parent; or farther out.

    Parameters
    ----------
    label : the crew's own name for the piece, "" = none.
    at : float              Distance from the parent's bark out along the limb's axis. [m]
    height : float          The first place along the limb so high above the stem's foot. [m]
    """
    if not 0 < limb < len(graph.limbs):
        raise BadInput(
            f"limb {limb} cannot be cut off",
            remedy=f"limbs are numbered 1 to {len(graph.limbs) - 1}; cut the stem (limb 0) by stem_height_m",
        )
    line = graph.limbs.nodes[limb]
    along = np.cumsum(graph.length[line])
    bark = min(way_to_bark(graph, limb), float(along[-1]))
    if height is not None:
        where = _where_as_high(graph, line, height)
        if where is None:
            raise BadInput(
                f"limb {limb} cannot be cut at {height:.1f} m",
                remedy="give a height that the limb reaches above its union",
            )
        made = Reason("cut_limb_height", limb=limb, height=height)
    else:
        s = bark + (at or 0.0)
        if (s > along[-1] - 1e-9 and at is not None) or (at is not None and at < 0):
            raise BadInput(
                f"limb {limb} cannot be cut {at:.1f} m out",
                remedy=f"it is {along[-1] - bark:.1f} m long from the bark of its parent",
            )
        i = min(int(np.searchsorted(along, s, side="right")), len(line) - 1)
        where = int(line[i]), float(np.clip(1 - (along[i] - s) / max(graph.length[line[i]], 1e-12), 0.0, 1.0))
        made = Reason("cut_limb", limb=limb) if at is None else Reason("cut_limb_at", limb=limb, at=at)
    node, share = where
    out = float(along[np.flatnonzero(line == node)[0]]) - (1 - share) * float(graph.length[node]) - bark
    lost_from = int(line[0]) if out < STUB else -1
    return Cut(node, label or f"limb-{limb}", None if label else made, share, lost_from)


def way_to_bark(graph: WoodGraph, limb: int) -> float:
    """Distance along a limb's axis from its start to where it leaves the bark of its parent; at most the parent's
    diameter, for one that goes on where the parent pointed. [m]"""
    line = graph.limbs.nodes[limb]
    start = int(graph.parent[line[0]])
    r, way = float(graph.radius[start]), graph.direction[start]
    off = graph.xyz[line] - graph.xyz[start]
    beside = np.linalg.norm(off - np.outer(off @ way, way), axis=1)
    along = np.cumsum(graph.length[line])
    out = np.flatnonzero(beside >= r)
    if len(out) == 0:
        return min(2 * r, float(along[-1]))
    i = int(out[0])
    before, here = (float(beside[i - 1]), float(along[i - 1])) if i else (0.0, 0.0)
    share = (r - before) / max(float(beside[i]) - before, 1e-12)
    return min(here + share * (float(along[i]) - here), 2 * r)


def _where_as_high(graph: WoodGraph, line: NDArray[np.int32], height: float) -> tuple[int, float] | None:
    """The segment (its child node) of an axis that first reaches a height above the stem's foot, and the share of
    it below; None where none does."""
    z = graph.xyz[:, 2] - graph.xyz[0, 2]
    for node in line:
        low, high = float(z[max(int(graph.parent[node]), 0)]), float(z[node])
        if low < height <= high:
            return int(node), (height - low) / (high - low)
    return None


def cut_stem(graph: WoodGraph, height: float, label: str = "") -> Cut:
    """A cut through the stem (limb 0) at a height above its foot [m]; label : the crew's own name for the
    piece, "" = none."""
    where = _where_as_high(graph, graph.limbs.nodes[0], height) if height > 0 else None
    if where is None:
        raise BadInput(
            f"the stem cannot be cut at {height:.1f} m",
            remedy="give a height between the foot and the top of the stem",
        )
    node, share = where
    made = None if label else Reason("cut_stem", height=height)
    return Cut(node, label or f"stem-{height:.1f}", made, share)


def taken(graph: WoodGraph, cut: Cut, left: Floats) -> Floats:
    """Share of every segment that a cut takes, where `left` still stand, (n,)."""
    out = np.where(graph.above(cut.node), left, 0.0)
    out[cut.node] = max(float(left[cut.node]) - cut.share, 0.0)
    return out


def check_order(graph: WoodGraph, removal: Removal) -> None:
    """BadInput where a cut takes nothing off because an earlier one already did, all such in one go; and where a block is planned at
    a node that is no union."""
    blocks = [n for n in removal.rigging if n >= 0 and n not in graph.unions.node]
    if blocks:
        raise BadInput(
            f"the rigging is planned at {', '.join(f'node {n}' for n in blocks)}, which {'is no union' if len(blocks) == 1 else 'are no unions'}",
            remedy="give nodes of graph.unions",
        )
    left = np.ones(len(graph))
    empty = []
    for i, cut in enumerate(removal.cuts):
        off = taken(graph, cut, left)
        if not (off > 1e-9).any():
            empty.append(f"cut {i + 1} ({cut.label})")
        left = left - off
    if empty:
        raise BadInput(
            f"{', '.join(empty)} takes nothing off: an earlier cut already did",
            remedy="check the order of the cuts",
        )


@dataclass(frozen=True)
class Standing:
    """The tree between two cuts.

    left : (n,) float       Share of every segment that stands, from its lower end up.
    gone : (n,) bool        Nodes nothing may hang on any more, those of a short stub included.
    """

    left: Floats
    gone: NDArray[np.bool_]


def standing(graph: WoodGraph, removal: Removal) -> tuple[Standing, ...]:
    """The tree before the first cut, and after each: one more than there are cuts; BadInput as `check_order`."""
    check_order(graph, removal)
    return tuple(_states(graph, removal))


def _states(graph: WoodGraph, removal: Removal) -> Iterator[Standing]:
    left, gone = np.ones(len(graph)), np.zeros(len(graph), bool)
    yield Standing(left, gone)
    for cut in removal.cuts:
        left = left - taken(graph, cut, left)
        gone = gone | graph.above(cut.first_lost)
        yield Standing(left, gone)
