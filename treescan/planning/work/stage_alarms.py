"""What must the climber not hang on, and the block not be tied to, at one cut of a removal?"""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np
from numpy.typing import NDArray

from treescan.errors import BadInput
from treescan.loads.fall.backup import common_node
from treescan.loads.limb_check import AnchorConfiguration
from treescan.planning.candidates.contact import bearing_nodes
from treescan.planning.tie_in_point import REMARKS, Judged, TieInPoint
from treescan.reason import Reason
from treescan.wood.graph import CODOMINANT, WoodGraph

Flags = NDArray[np.bool_]

APART = 1.0
"""Climber and block on one stem are farther apart than this along it (project choice). [m]"""

OF_THE_THROW = frozenset({"throw_passes_over", "throw_near_conductor"})
"""Doubts about the throw that sets a line."""

FORK = 0.6
"""A limb at least this share of the thickest at its union makes it a fork into leaders, for what climber and block share
(project choice)."""

WEAK = frozenset({"stated_against", "dead_suspect", "does_not_hold", "margin_low", "defect_margin_low", "defect_stop_breaks"})
"""Gates that speak against the wood itself, whatever hangs on it."""


def dies_with(graph: WoodGraph, anchor: TieInPoint | Judged | AnchorConfiguration, gone: Flags) -> bool:
    """True when any wood the rope bears on comes off.

    The limb at the union, the union itself, or a further support of a basal line.
    """
    configuration = anchor if isinstance(anchor, AnchorConfiguration) else anchor.check.configuration
    return bool(gone[bearing_nodes(graph, configuration)].any())


def may_hang(point: TieInPoint) -> bool:
    """True where nothing stands against an anchor but that no straight rope from it serves the work: one may hang there
    with a lanyard beside, or on the way down."""
    return all(g.code == "serves_no_work" for g in point.gates)


def support_alarms(
    graph: WoodGraph,
    life: str | None,
    gone: Flags,
    here: Flags,
    points: Sequence[TieInPoint],
    others: Collection[str] = (),
) -> tuple[Reason, ...]:
    """What speaks against hanging where the crew plans to at one stage.

    Parameters
    ----------
    life : str or None      A union ("U07"), one anchor ("U07 MRS"), or an anchor drawn in another tree.
    gone, here : (n,) bool  Nodes that this cut takes off; nodes that stand before it.
    points : of the whole tree, usable or not.
    others : names of anchors drawn in other trees.
    """
    if life is None:
        return ()
    if life in others:
        return (Reason("support_in_other_tree", anchor=life),)
    union = union_of(graph, life)
    if union is None:
        raise BadInput(
            f"life support '{life}' is not a union of this tree",
            remedy="name a union, or an anchor drawn on the site plan",
        )
    mine = points_at(points, life)
    if not here[union] or (mine and all(dies_with(graph, p, ~here) for p in mine)):
        return (Reason("support_gone", union=life),)
    out = []
    if gone[union] or any(dies_with(graph, p, gone) for p in mine):
        out.append(Reason("support_on_piece", union=life))
    standing = [p for p in mine if not dies_with(graph, p, ~here)]
    return (*out, *_verdict_alarms(life, standing))


def hanging_doubts(point: TieInPoint) -> tuple[Reason, ...]:
    """What to look at first before hanging on an anchor; not what concerns the throw alone, once the line is set."""
    return tuple(d for d in point.doubts if d.code not in REMARKS and d.code not in OF_THE_THROW)


def _verdict_alarms(life: str, mine: Sequence[TieInPoint]) -> tuple[Reason, ...]:
    """What the list of anchors says against the one the climber is to hang on."""
    if not mine:
        return (Reason("support_never_judged", union=life),)
    refused = [p for p in mine if not may_hang(p)]
    if len(refused) == len(mine):
        return (Reason("support_refused", union=life, why=refused[0].gates[0]),)
    some = tuple(Reason("support_refused", union=p.name, why=p.gates[0]) for p in refused)
    usable = [p for p in mine if may_hang(p)]
    doubts = [d for p in usable if (d := hanging_doubts(p))]
    if doubts and len(doubts) == len(usable):
        return (*some, Reason("support_doubtful", union=life, why=doubts[0][0]))
    return some


def rigging_alarms(
    graph: WoodGraph,
    rigging: int | None,
    life: str | None,
    piece: Reason | str,
    gone: Flags,
    here: Flags,
    points: Sequence[TieInPoint],
) -> tuple[Reason, ...]:
    """What speaks against the wood that carries the rigging block at one stage."""
    if rigging is None:
        return ()
    if not here[rigging]:
        return (Reason("rigging_gone", piece=piece),)
    out = []
    row = np.flatnonzero(graph.unions.node == rigging)
    arms = graph.unions.arm_node[graph.unions.laterals(int(row[0]))] if len(row) else np.zeros(0, int)
    if len(arms) and not here[arms].any():
        out.append(Reason("rigging_limb_gone", union=graph.unions.label[int(row[0])]))
    if gone[rigging]:
        out.append(Reason("rigging_on_piece", piece=piece))
    there = [p for p in points if int(graph.unions.node[p.union]) == rigging]
    weak = [g for p in there for g in p.gates if g.code in WEAK]
    if there and weak and all(any(g.code in WEAK for g in p.gates) for p in there):
        out.append(Reason("rigging_on_refused", union=there[0].label, why=weak[0]))
    shared = None if life is None else _shared_by(graph, rigging, life, points)
    if shared is not None:
        out.append(Reason("support_shares_rigging", union=life, wood=_wood(graph, shared)))
    elif life is not None and (weakest := _weakest_below(graph, rigging, life, points)) is not None:
        out.append(Reason("support_weakest_below", union=life, wood=_wood(graph, weakest)))
    return tuple(out)


def union_of(graph: WoodGraph, name: str) -> int | None:
    """Node of the union that a union's label or an anchor's name ("U07 MRS") stands for; None for another
    name."""
    label = name if name in graph.unions.label else name.partition(" ")[0]
    return int(graph.unions.node[graph.unions.label.index(label)]) if label in graph.unions.label else None


def points_at(points: Sequence[TieInPoint], name: str) -> list[TieInPoint]:
    """The anchors a name stands for: all at a union, or the one."""
    return [p for p in points if name in (p.label, p.name)]


def _shared_by(graph: WoodGraph, rigging: int, life: str, points: Sequence[TieInPoint]) -> int | None:
    """Node of the limb, the leader or the stretch of stem close by that holds the climber and that the block loads;
    None where they share but the stem well below."""
    union = union_of(graph, life)
    if union is None:
        return None
    if union == rigging:
        return rigging
    for p in points_at(points, life):
        for node in bearing_nodes(graph, p.check.configuration):
            meet = int(common_node(graph.parent, node, rigging))
            if _one_leader(graph, meet) or _close(graph, meet, node, rigging):
                return meet
    meet = int(common_node(graph.parent, union, rigging))
    return meet if _one_leader(graph, meet) or _close(graph, meet, union, rigging) else None


def _weakest_below(graph: WoodGraph, rigging: int, life: str, points: Sequence[TieInPoint]) -> int | None:
    """Node at which an anchor would break first and that carries the block too: the stem below both; None where none
    does."""
    below_block = set(graph.path_to_base(rigging).tolist())
    weakest = (int(p.check.check.governing) for p in points_at(points, life))
    return next((node for node in weakest if node in below_block), None)


def _one_leader(graph: WoodGraph, meet: int) -> bool:
    """True where the wood both ways share is a limb, or a leader above a codominant union, of any order."""
    if graph.limb[meet] != 0:
        return True
    u = graph.unions
    forks = {
        int(n)
        for k, (n, flags) in enumerate(zip(u.node, u.flags, strict=True))
        if CODOMINANT in flags or _forks(u.arm_diameter[u.arms(k)])
    }
    return any(int(n) in forks for n in graph.path_to_base(meet)[1:])


def _forks(diameter: NDArray[np.float64]) -> bool:
    """True where the second of the limbs above a union is a leader by its size beside the first. [m]"""
    known = np.sort(diameter[np.isfinite(diameter)])
    return bool(len(known) > 1 and known[-2] >= FORK * known[-1])


def _close(graph: WoodGraph, meet: int, one: int, other: int) -> bool:
    """True where both bear on the stem within `APART` of each other."""
    up = [float(graph.length[_way(graph, node, meet)].sum()) for node in (one, other)]
    return sum(up) < APART


def _way(graph: WoodGraph, node: int, meet: int) -> list[int]:
    """Nodes from one down to where the ways meet, that one left out."""
    out = []
    while node != meet:
        out.append(node)
        node = int(graph.parent[node])
    return out


def _wood(graph: WoodGraph, node: int) -> Reason:
    height = float(graph.xyz[node, 2] - graph.xyz[0, 2])
    diameter = 2 * float(graph.segment_radius[node])
    if graph.limb[node] == 0:
        return Reason("line_wood_stem", height=height, diameter=diameter)
    return Reason("line_wood_limb", limb=int(graph.limb[node]), height=height, diameter=diameter)
