"""The nodes, segments and limbs of a tree file, checked: one tree, parents first, every limb one chain."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from treescan.arrays import Flags, Floats, Ints, Ints32
from treescan.errors import BadInput
from treescan.reason import Reason
from treescan.wood.files.plain_values import number
from treescan.wood.graph import Limbs

MAX_OVAL = 2.5
"""Longest over shortest width of a section that is still taken for one limb (project choice)."""

ROUNDING = 1e-3
"""A direction whose length is this near to one is left as it is written."""


@dataclass(frozen=True)
class FileNodes:
    """Nodes in an order in which parents stand before their children.

    ids : tuple             As the file names them.
    row : dict              Row of every id.
    xyz (n, 3), radius, radius_sd (n,)  [m];  arc (n,) [rad];  seen (n,)
    parent (n,)             -1 at the root.
    segment_radius (n,)     [m];  segment_limb (n,)     -1 where the file does not say.
    oval (n,), oval_dir (n, 3)
    """

    ids: tuple[Any, ...]
    row: dict[Any, int]
    xyz: Floats
    radius: Floats
    radius_sd: Floats
    arc: Floats
    seen: Flags
    parent: Ints32
    segment_radius: Floats
    segment_limb: Ints32
    oval: Floats
    oval_dir: Floats

    def __len__(self) -> int:
        return len(self.xyz)


def nodes_in(data: dict[str, Any], file: str) -> FileNodes:
    """Nodes and segments of the content of a tree file."""
    nodes = data["nodes"]
    if not nodes:
        raise BadInput("has no nodes", file=file)
    n = len(nodes)
    row = {node["id"]: i for i, node in enumerate(nodes)}
    if len(row) != n:
        raise BadInput("has two nodes with the same id", file=file)
    parent, radius_of, limb_of = _segments_in(data.get("segments", []), row, file)
    order = parents_first(parent, file)
    new = np.empty(n, np.int32)
    new[order] = np.arange(n)
    picked = [nodes[i] for i in order]
    xyz = np.array([p["xyz"] for p in picked], float).reshape(n, 3)
    radius = np.array([p["radius"] for p in picked], float)
    if not np.isfinite(xyz).all() or not np.all(radius > 0):
        raise BadInput(
            "has a node without finite coordinates or with a radius that is not above zero", file=file
        )
    oval, oval_dir = ovals_in(picked, file)
    radius_of = radius_of[order]
    return FileNodes(
        ids=tuple(p["id"] for p in picked),
        row={key: int(new[i]) for key, i in row.items()},
        xyz=xyz,
        radius=radius,
        radius_sd=np.array([number(p.get("radius_sd")) for p in picked]),
        arc=np.radians([number(p.get("arc_deg")) for p in picked]),
        seen=np.array([p.get("seen", True) is not False for p in picked]),
        parent=np.where(parent[order] >= 0, new[parent[order]], -1).astype(np.int32),
        segment_radius=np.where(np.isfinite(radius_of), radius_of, radius),
        segment_limb=limb_of[order],
        oval=oval,
        oval_dir=oval_dir,
    )


def _segments_in(
    segments: list[dict[str, Any]], row: dict[Any, int], file: str
) -> tuple[Ints32, Floats, Ints32]:
    """Parent, radius [m] and limb of the segment below every node, in the file's order; -1 and NaN where it has none."""
    n = len(row)
    parent, radius, limb = np.full(n, -1, np.int32), np.full(n, np.nan), np.full(n, -1, np.int32)
    for s in segments:
        if s["child"] not in row or s["parent"] not in row:
            raise BadInput(f"segment {s['parent']} -> {s['child']} names a node that is not there", file=file)
        c = row[s["child"]]
        if parent[c] >= 0 or c == 0:
            fault = (
                f"node {s['child']} has two parents"
                if c
                else "the first node must be the stem base and have no parent"
            )
            raise BadInput(fault, file=file)
        parent[c] = row[s["parent"]]
        radius[c], limb[c] = s.get("radius", np.nan), -1 if s.get("limb") is None else s["limb"]
    return parent, radius, limb


def ovals_in(nodes: list[dict[str, Any]], file: str) -> tuple[Floats, Floats]:
    """Longest over shortest width and the direction of the longest, (n,), (n, 3); 1 and 0 where a node states none."""
    oval, along = np.ones(len(nodes)), np.zeros((len(nodes), 3))
    for i, node in enumerate(nodes):
        ratio = node.get("oval")
        if ratio is None or ratio == 1:
            continue
        oval[i], along[i] = ratio, node["oval_dir"]
        size = float(np.linalg.norm(along[i]))
        if not 1.0 < oval[i] <= MAX_OVAL or not 0 < size < np.inf:
            raise BadInput(
                f"node {node['id']} has an oval of {ratio!r} along {node['oval_dir']!r}",
                file=file,
                remedy=f"give the longest over the shortest width, 1 to {MAX_OVAL:g}, and the direction of the longest as [x, y, z]",
            )
        if abs(size - 1.0) > ROUNDING:
            along[i] /= size
    return oval, along


def parents_first(parent: Ints32, file: str) -> Ints:
    """An order in which parents stand before their children; the given one where it already does."""
    if np.all(parent[1:] < np.arange(1, len(parent))) and np.all(parent[1:] >= 0):
        return np.arange(len(parent))
    loose = np.flatnonzero(parent[1:] < 0)
    if len(loose):
        raise BadInput(
            f"{len(loose)} node(s) hang on nothing (the first in row {loose[0] + 1})",
            file=file,
            remedy="every node but the first needs a segment to its parent",
        )
    kids: list[list[int]] = [[] for _ in parent]
    for i, p in enumerate(parent):
        if p >= 0:
            kids[p].append(i)
    order, k = [0], 0
    while k < len(order):
        order.extend(kids[order[k]])
        k += 1
    if len(order) != len(parent):
        raise BadInput("its segments form a loop", file=file)
    return np.array(order)


def as_stated(limb: Ints32, limbs: Limbs, stated: Ints32) -> tuple[Ints32, Limbs, tuple[Reason, ...]]:
    """Derived limbs with the numbers that the segments of a file state, and what to say where that cannot be.

    The stated numbers are kept where every derived limb carries one of its own, the stem 0, and no limb a lower one than
    the limb it leaves. Else the limbs keep their derived numbers, and it is told which stated number is which.
    """
    count = len(limbs)
    own = [np.unique(stated[line[line > 0]]) for line in limbs.nodes]
    told = np.array([int(v[0]) if len(v) == 1 else -1 for v in own])
    one_each = sorted(told.tolist()) == list(range(count)) and told[0] == 0
    if one_each and all(told[p] < told[k] for k, p in enumerate(limbs.parent) if p >= 0):
        old = np.argsort(told)
        parent = np.where(limbs.parent[old] >= 0, told[np.maximum(limbs.parent[old], 0)], -1).astype(np.int32)
        again = Limbs(parent, limbs.order[old], tuple(limbs.nodes[k] for k in old))
        return told[limb].astype(np.int32), again, ()
    pairs = sorted({(int(v), k) for k, values in enumerate(own) for v in values if v >= 0})
    moved = tuple(Reason("limb_renumbered", stated=v, limb=k) for v, k in pairs if v != k)
    return limb, limbs, (Reason("limbs_numbered_anew", limbs=moved),) if moved else ()


def limbs_in(data: dict[str, Any], parent: Ints32, seg_limb: Ints32, file: str) -> tuple[Ints32, Limbs]:
    """The limbs as the file numbers them, checked: every limb one chain."""
    given = {x["id"]: x for x in data["limbs"]}
    limb = seg_limb.copy()
    limb[0] = 0
    ids = sorted(given)
    if ids != list(range(len(ids))) or np.any(limb < 0) or np.any(limb >= len(ids)):
        raise BadInput(
            "limb ids must run from 0 and every segment must name its limb",
            file=file,
            remedy="or leave 'limbs' out to have them derived",
        )
    first = np.full(len(ids), -1, np.int32)
    last = np.full(len(ids), -1, np.int32)
    last[0] = 0
    chain: list[list[int]] = [[] for _ in ids]
    chain[0] = [0]
    for i in range(1, len(parent)):
        k = limb[i]
        if first[k] < 0 and k > 0:
            first[k] = i
        elif parent[i] != last[k]:
            raise BadInput(f"limb {k} is not one unbranched chain", file=file)
        last[k] = i
        chain[k].append(i)
    if np.any(last < 0):
        raise BadInput(f"limb {int(np.argmax(last < 0))} has no segment", file=file)
    derived = np.array([-1 if k == 0 else limb[parent[first[k]]] for k in ids], np.int32)
    order = np.array([given[k].get("order", 0) for k in ids], np.int32)
    return limb, Limbs(derived, order, tuple(np.array(c, np.int32) for c in chain))
