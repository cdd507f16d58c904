"""What the report's 3-D view is fed: thinned geometry in compact form, and the lines that belong to each candidate."""

from __future__ import annotations

import base64
from typing import Any

import numpy as np
from numpy.typing import NDArray

from treescan.assess import Assessment
from treescan.outputs.shapes.rope_lines import rope_line, rope_rest, swing_arc
from treescan.outputs.shapes.tubes import few_rings, runs
from treescan.outputs.shapes.use_of_capacity import LEGEND, SCALE, low_end_use
from treescan.outputs.strict_json import number
from treescan.outputs.text.say import text
from treescan.planning.tie_in_point import TieInPoint
from treescan.trees.beside import KINDS
from treescan.trees.scan_points import ScanPoints
from treescan.wood.graph import TracedTree, WoodGraph

MAX_RINGS = 9000
MAX_POINTS = 25000
MAX_AROUND = 6000
GROUND_CELLS = 36


def viewer_data(a: Assessment) -> dict[str, Any]:
    """Everything the 3-D view shows, ready for JSON. Lengths in local metres."""
    graph = a.tree.graph
    loaded = np.zeros(len(graph), bool)
    for p in a.points:
        loaded[p.check.check.nodes] = True
    return {
        **tree_scene(a.tree, loaded, a.throws.stances.xyz, MAX_RINGS),
        "points": None if a.tree.points is None else packed_points(a.tree.points, MAX_POINTS),
        "places": packed(a.throws.stances.xyz),
        "work": [
            {"at": _place(xyz), "label": label} for xyz, label in zip(a.work.xyz, a.work.label, strict=True)
        ],
        "wires": [_line(c.line) for c in a.site.conductors],
        "anchors": [anchor_lines(a, p, i) for i, p in enumerate(a.points)],
    }


def tree_scene(tree: TracedTree, loaded: NDArray[np.bool_], places: NDArray[np.float64], rings: int) -> dict[str, Any]:
    """The tree, ground and surroundings, and the scale of colours: what is there before any candidate is.

    loaded : (n,) bool      Wood that is shown however thin it is. places : (s, 3) ground is drawn out to them. rings : the
    thinnest limbs are left out once there are so many.
    """
    wood, left_out = _wood(tree.graph, loaded, rings)
    return {
        "wood": wood,
        "leftOut": left_out,
        "around": _around(tree),
        "ground": _ground(tree, places),
        "base": _place(tree.graph.xyz[0]),
        "top": number(_top(tree), 5),
        "legend": [{"words": s.words, "colour": s.colour} for s in LEGEND],
        "limits": [s.limit for s in SCALE[:-1]],
    }


def _top(tree: TracedTree) -> float:
    """Highest thing to be shown of the tree. [m, local]"""
    wood = float(tree.graph.xyz[:, 2].max())
    return wood if tree.points is None else max(wood, tree.points.top)


def _wood(graph: WoodGraph, loaded: NDArray[np.bool_], most: int) -> tuple[dict[str, Any], int]:
    """Limb tubes with few rings; the thinnest limbs are left out first, load paths never."""
    kept = [
        (run, few_rings(run, graph.seen[run.node].astype(int) * 2 + loaded[run.node])) for run in runs(graph)
    ]
    kept.sort(key=lambda rk: (not loaded[rk[0].node].any(), -rk[0].radius.max()))
    total, last = 0, len(kept)
    for i, (_, rows) in enumerate(kept):
        total += len(rows)
        if total > most and not loaded[kept[i][0].node].any():
            last = i
            break
    ring_of = np.full(len(graph), -1, np.int32)
    rings, counts, seen = [], [], []
    start = 0
    for run, rows in kept[:last]:
        rings.append(np.column_stack([run.line[rows], run.radius[rows]]))
        piece_seen = graph.seen[run.node]
        seen.append(np.array([piece_seen[max(r - 1, 0)] for r in rows], np.uint8))
        ring_of[run.node] = start + np.searchsorted(rows, np.arange(1, len(run.line)))
        counts.append(len(rows))
        start += len(rows)
    return {
        "rings": _base64(np.concatenate(rings).astype("<f4") if rings else np.zeros((0, 4), "<f4")),
        "counts": counts,
        "seen": _base64(np.concatenate(seen) if seen else np.zeros(0, np.uint8)),
        "ringOf": _base64(ring_of.astype("<i4")),
    }, len(kept) - last


def packed_points(points: ScanPoints, most: int) -> dict[str, Any]:
    """The first points of a scan, an even pick of all, as 16-bit steps."""
    return {"low": _place(points.low), "step": points.step, "data": _base64(points.steps[:most].astype("<u2"))}


def packed(xyz: NDArray) -> dict[str, Any]:
    """Points as steps of 2 mm or more from their low corner, 16 bits each."""
    xyz = np.asarray(xyz, float).reshape(-1, 3)
    if len(xyz) == 0:
        return {"low": [0, 0, 0], "step": 0.002, "data": ""}
    low = xyz.min(axis=0)
    step = max(0.002, float((xyz - low).max()) / 65000.0)
    return {"low": _place(low), "step": step, "data": _base64(np.round((xyz - low) / step).astype("<u2"))}


def _around(tree: TracedTree) -> list[dict[str, Any]]:
    """Neighbours, walls, poles and wires within 30 m, thinned, one entry a kind."""
    s = tree.beside.surroundings
    near = np.linalg.norm(s.xyz[:, :2] - tree.graph.xyz[0, :2], axis=1) < 30.0
    share = min(1.0, MAX_AROUND / max(int(near.sum()), 1))
    out = []
    for i, kind in enumerate(KINDS):
        xyz = s.xyz[near & (s.kind == i)]
        if len(xyz):
            rows = np.linspace(0, len(xyz) - 1, max(1, int(len(xyz) * share))).astype(int)
            out.append({"kind": kind, "points": packed(xyz[rows])})
    return out


def _ground(tree: TracedTree, places: NDArray[np.float64]) -> dict[str, Any]:
    """Terrain heights on a coarse grid about the stem; null where unseen."""
    base, t = tree.graph.xyz[0], tree.beside.terrain
    spread = np.abs(tree.graph.xyz[:, :2] - base[:2]).max()
    if len(places):
        spread = max(spread, np.abs(places[:, :2] - base[:2]).max())
    half = float(np.clip(np.ceil(spread + 3.0), 8.0, 30.0))
    step = 2 * half / GROUND_CELLS
    axis = np.linspace(-half, half, GROUND_CELLS + 1)
    x, y = np.meshgrid(base[0] + axis, base[1] + axis)
    z = t.height_at(np.stack([x, y], -1))
    return {
        "x": number(base[0] - half, 7),
        "y": number(base[1] - half, 7),
        "step": step,
        "side": GROUND_CELLS + 1,
        "z": [number(v, 5) for v in z.ravel()],
    }


def anchor_lines(a: Assessment, p: TieInPoint, i: int) -> dict[str, Any]:
    """The lines and colours of one candidate."""
    c, graph = p.check.check, a.tree.graph
    out: dict[str, Any] = {
        "id": i,
        "rank": p.rank,
        "label": p.label,
        "union": p.union,
        "system": p.system,
        "hardware": p.hardware,
        "usable": bool(p.usable),
        "verdict": p.verdict,
        "at": _place(graph.unions.rope_place(p.union)),
        "height": number(graph.unions.height[p.union], 4),
        "says": text("viewer_tag", rank=p.rank, label=p.label, height=float(graph.unions.height[p.union]))
        if p.usable
        else p.label,
        "path": [int(n) for n in c.nodes],
        "use": [number(u, 3) for u in low_end_use(c)],
        "governing": int(c.governing),
        "rest": _place(rope_rest(graph, p)),
        "rope": _line(rope_line(a, p)),
        "swing": _line(swing_arc(a, p)),
        "catches": [_place(graph.unions.rope_place(k.union)) for k in p.check.catches if k.union is not None],
        "served": [int(v) for v in p.reach.served],
    }
    t = p.throw
    if t is not None:
        column = min(max(t.isolation_class, 1), 3) - 1
        chance = np.asarray(a.throws.chance, float)[t.union, :, column]
        out |= {
            "throw": _line(t.path),
            "stand": _place(t.stand),
            "chance": _base64(np.round(255 * chance).astype(np.uint8)),
        }
    return out


def _place(xyz: NDArray) -> list[float]:
    return [round(float(v), 3) for v in xyz]


def _line(xyz: NDArray) -> list[float]:
    """A line as one flat list, to the centimetre."""
    return [round(float(v), 2) for v in np.asarray(xyz, float).ravel()]


def _base64(array: NDArray) -> str:
    return base64.b64encode(np.ascontiguousarray(array).tobytes()).decode("ascii")
