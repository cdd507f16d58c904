"""Triangles for the simulated scanner: limbs as tapered tubes, ground, walls, wires, a person.

Each solid is a `Part`: its triangles, what it is, and for every triangle the wood node it belongs to.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from made_up.grown_tree import GrownTree

Floats = NDArray[np.float64]

PARTS = ("wood", "dead wood", "leaf", "ground", "neighbour", "neighbour leaf", "wall", "wire", "person", "ivy")
"""What a point can be; labels index this."""

FACET_ERROR = 0.0008
"""Greatest distance between a tube's facets and the round limb [m]."""


@dataclass(frozen=True)
class Part:
    """One solid: corners (v, 3) [m], triangles (t, 3), label of `PARTS`, node (t,) of the wood it belongs to (-1 = none)."""

    corners: NDArray[np.float32]
    triangles: NDArray[np.uint32]
    label: int
    node: NDArray[np.int32]


@dataclass(frozen=True)
class Bark:
    """Departures from the round limb.

    Attributes
    ----------
    ellipse : float     Longest over shortest diameter minus 1 (section area unchanged).
    rough : float       Depth of furrows over the radius, limited to `deepest`. 0 = smooth.
    deepest : float     [m]
    lobes : float       Root buttresses at the foot: depth over the radius.
    """

    ellipse: float = 0.0
    rough: float = 0.0
    deepest: float = 0.008
    lobes: float = 0.0


def wood_part(tree: GrownTree, label: str = "wood", *, bark: Bark = Bark(), seed: int = 0) -> list[Part]:
    """The tree's wood as tubes, living and dead apart; the surface is the one `WoodGraph.segments` states.

    Parameters
    ----------
    tree : GrownTree
    label : str     "wood" for the asked tree, "neighbour" for others.
    """
    rings = _rings(tree)
    out = []
    for sides in np.unique(rings.sides):
        pick = rings.sides[rings.axis_of] == sides
        out.append(_tubes(tree, rings, pick, int(sides), bark, seed))
    corners = np.concatenate([o[0] for o in out])
    base = np.cumsum([0] + [len(o[0]) for o in out])[:-1]
    triangles = np.concatenate([o[1] + b for o, b in zip(out, base, strict=True)])
    node = np.concatenate([o[2] for o in out])
    if label != "wood":
        return [Part(corners.astype(np.float32), triangles.astype(np.uint32), PARTS.index(label), node)]
    dead = tree.dead[node]
    parts = []
    for name, mask in (("wood", ~dead), ("dead wood", dead)):
        if mask.any():
            parts.append(Part(corners.astype(np.float32), triangles[mask].astype(np.uint32), PARTS.index(name), node[mask]))
    return parts


def long_axes(tree: GrownTree, seed: int = 0) -> tuple[Floats, Floats, Floats, Floats]:
    """Where and which way sections are longest under `Bark(ellipse=...)`: centre, limb's direction, longest width (k, 3) each, radius (k,)."""
    r = _rings(tree)
    of = r.sides[r.axis_of]
    long = np.empty_like(r.centre)
    for sides in np.unique(of):
        pick = of == sides
        e = _carried_sides(r.direction[pick], r.axis_of[pick])
        turn = -0.5 * _phase(r.axis_of[pick], seed)[:, None]
        long[pick] = np.cos(turn) * e + np.sin(turn) * np.cross(r.direction[pick], e)
    return r.centre, r.direction, long, r.radius


@dataclass
class _Rings:
    """Rings in limb order: centre, direction, radius, node each belongs to; axis_of numbers the limbs, sides per limb."""

    centre: Floats
    direction: Floats
    radius: Floats
    node: NDArray[np.int32]
    axis_of: NDArray[np.int64]
    sides: NDArray[np.int64]
    along: Floats


def _rings(tree: GrownTree) -> _Rings:
    """Every limb's rings: a foot ring on the parent's axis with the limb's own radius, then one ring a node."""
    n = len(tree)
    axis = tree.axis.copy()
    axis[0] = axis[1] if n > 1 else 0
    ids = np.arange(n)
    foot = (ids > 0) & (axis != axis[np.maximum(tree.parent, 0)])
    order = np.lexsort((np.concatenate([ids * 2, ids[foot] * 2 - 1]), np.concatenate([axis, axis[foot]])))
    node = np.concatenate([ids, ids[foot]])[order]
    centre = np.concatenate([tree.xyz, tree.xyz[tree.parent[foot]]])[order]
    radius = np.concatenate([tree.radius, tree.segment_radius[foot]])[order]
    _, axis_of = np.unique(axis[node], return_inverse=True)
    step = np.diff(centre, axis=0, append=centre[-1:])
    last = np.append(axis_of[1:] != axis_of[:-1], True)
    size = np.linalg.norm(step, axis=1, keepdims=True)
    step = np.where(size > 0, step / np.maximum(size, 1e-12), 0)
    before = np.roll(step, 1, axis=0)
    first = np.roll(last, 1)
    step[last] = before[last]
    before[first] = step[first]
    direction = step + before
    direction /= np.maximum(np.linalg.norm(direction, axis=1, keepdims=True), 1e-12)
    largest = np.zeros(axis_of.max() + 1)
    np.maximum.at(largest, axis_of, radius)
    need = np.pi / np.arccos(np.clip(1 - FACET_ERROR / np.maximum(largest, 2 * FACET_ERROR), -1, 0.99995))
    sides = np.array([5, 6, 8, 12, 16, 24, 32, 48, 64])
    chosen = sides[np.minimum(np.searchsorted(sides, need), len(sides) - 1)]
    length = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(centre, axis=0), axis=1))])
    return _Rings(centre, direction, radius, node.astype(np.int32), axis_of, chosen, length)


def _tubes(tree: GrownTree, r: _Rings, pick: NDArray, sides: int, bark: Bark, seed: int) -> tuple[Floats, NDArray, NDArray]:
    """Corners, triangles and node per triangle of the limbs that have this many sides."""
    if bark.rough and sides >= 12:
        sides *= 2
    c, d, radius, node, axis, along = r.centre[pick], r.direction[pick], r.radius[pick], r.node[pick], r.axis_of[pick], r.along[pick]
    e = _carried_sides(d, axis)
    f = np.cross(d, e)
    angle = 2 * np.pi * np.arange(sides) / sides
    fit = np.sqrt(2 * np.pi / (sides * np.sin(2 * np.pi / sides)))
    shape = _outline(angle, radius, along, axis, tree, c, bark, seed)
    ring = c[:, None] + (radius * fit)[:, None, None] * shape[..., None] * (
        np.cos(angle)[None, :, None] * e[:, None] + np.sin(angle)[None, :, None] * f[:, None]
    )
    corners = ring.reshape(-1, 3)
    joined = np.nonzero(axis[1:] == axis[:-1])[0]
    k = np.arange(sides)
    a = joined[:, None] * sides + k
    b = joined[:, None] * sides + (k + 1) % sides
    quads = np.stack([np.stack([a, b, a + sides], -1), np.stack([b, b + sides, a + sides], -1)], axis=2).reshape(-1, 3)
    quad_node = np.repeat(node[joined + 1], 2 * sides)
    last = np.nonzero(np.append(axis[1:] != axis[:-1], True))[0]
    tips = c[last] + 0.5 * radius[last, None] * d[last]
    tip_id = len(corners) + np.arange(len(last))
    cap = np.stack([last[:, None] * sides + k, last[:, None] * sides + (k + 1) % sides, np.repeat(tip_id[:, None], sides, 1)], -1).reshape(-1, 3)
    return np.concatenate([corners, tips]), np.concatenate([quads, cap]), np.concatenate([quad_node, np.repeat(node[last], sides)])


def _carried_sides(d: Floats, axis: NDArray) -> Floats:
    """Side vectors carried along each limb without twist; all limbs step together."""
    n = len(d)
    start = np.nonzero(np.append(True, axis[1:] != axis[:-1]))[0]
    count = np.diff(np.append(start, n))
    e = np.zeros((n, 3))
    a = np.where(np.abs(d[start][:, 2:]) < 0.9, [[0.0, 0.0, 1.0]], [[1.0, 0.0, 0.0]])
    now = np.cross(d[start], a)
    for i in range(int(count.max())):
        live = count > i
        at = start[live] + i
        v = now[live] - np.sum(now[live] * d[at], axis=1, keepdims=True) * d[at]
        v /= np.maximum(np.linalg.norm(v, axis=1, keepdims=True), 1e-9)
        now[live] = v
        e[at] = v
    return e


def _phase(axis: NDArray, seed: int) -> Floats:
    """Turn of every limb's outline, a ring each. [rad]"""
    return np.random.default_rng([seed, 77]).uniform(0, 2 * np.pi, int(axis.max()) + 1)[axis]


def _outline(angle: Floats, radius: Floats, along: Floats, axis: NDArray, tree: GrownTree, centre: Floats, bark: Bark, seed: int) -> Floats:
    """Factor on the radius per ring and side, mean square 1."""
    shape = np.ones((len(radius), len(angle)))
    phase = _phase(axis, seed)[:, None]
    if bark.ellipse:
        half = bark.ellipse / (2 + bark.ellipse)
        shape += half * np.cos(2 * angle[None, :] + phase)
    if bark.rough:
        depth = np.minimum(bark.rough, bark.deepest / np.maximum(radius, 1e-6))[:, None]
        wave = np.zeros_like(shape)
        for turns, pace, weight in ((7, 9.0, 0.5), (13, 17.0, 0.4), (5, 31.0, 0.3), (19, 6.0, 0.3)):
            wave += weight * np.sin(turns * angle[None, :] + pace * along[:, None] + turns * phase)
        shape += depth * wave
    if bark.lobes:
        high = np.exp(-(centre[:, 2] - tree.xyz[0, 2]) / 0.35)[:, None] * (np.abs(radius - tree.radius[0]) < 0.5 * tree.radius[0])[:, None]
        shape += bark.lobes * high * np.cos(5 * angle[None, :] + phase)
    return shape / np.sqrt(np.mean(shape**2, axis=1, keepdims=True))


def stump_part(tree: GrownTree, label: str = "wood") -> Part:
    """The stem's continuation below its foot, so that it meets sloping ground on the low side."""
    r = tree.radius[0]
    k = np.arange(48)
    ring = np.stack([np.cos(2 * np.pi * k / 48), np.sin(2 * np.pi * k / 48), 0 * k], -1) * r
    corners = np.concatenate([tree.xyz[0] + ring * [1.15, 1.15, 1] - [0, 0, 0.8], tree.xyz[0] + ring])
    n = (k + 1) % 48
    triangles = np.concatenate([np.stack([k, n, k + 48], -1), np.stack([n, n + 48, k + 48], -1)])
    return Part(corners.astype(np.float32), triangles.astype(np.uint32), PARTS.index(label), np.zeros(len(triangles), np.int32))


def ground_part(height: Callable[[Floats], Floats], half_width: float = 30.0, cell: float = 0.25, centre: tuple[float, float] = (0.0, 0.0)) -> Part:
    """The ground z = height(xy) as a grid of triangles."""
    g = np.arange(-half_width, half_width + cell / 2, cell)
    x, y = np.meshgrid(g + centre[0], g + centre[1])
    xy = np.stack([x.ravel(), y.ravel()], -1)
    corners = np.column_stack([xy, height(xy)])
    k = len(g)
    i = (np.arange(k - 1)[:, None] * k + np.arange(k - 1)[None, :]).ravel()
    triangles = np.concatenate([np.stack([i, i + 1, i + k], -1), np.stack([i + 1, i + k + 1, i + k], -1)])
    return _thing(corners, triangles, "ground")


def wall_part(start: tuple[float, float], end: tuple[float, float], base: float, height: float, thick: float = 0.3) -> Part:
    """A wall between two plan points, from `base` - 0.5 m to `base` + `height` [m]."""
    a, b = np.array(start, float), np.array(end, float)
    across = np.array([-(b - a)[1], (b - a)[0]]) / np.linalg.norm(b - a) * thick / 2
    plan = np.array([a - across, b - across, b + across, a + across])
    corners = np.concatenate([np.column_stack([plan, np.full(4, base - 0.5)]), np.column_stack([plan, np.full(4, base + height)])])
    return _thing(corners, _BOX, "wall")


_BOX = np.array([[0, 1, 5], [0, 5, 4], [1, 2, 6], [1, 6, 5], [2, 3, 7], [2, 7, 6], [3, 0, 4], [3, 4, 7], [4, 5, 6], [4, 6, 7], [0, 2, 1], [0, 3, 2]])


def wire_line(start: Floats, end: Floats, sag: float, pieces: int = 240) -> Floats:
    """A hanging wire as a polyline (pieces + 1, 3): a parabola with the given sag [m]."""
    u = np.linspace(0, 1, pieces + 1)[:, None]
    line = (1 - u) * np.asarray(start, float) + u * np.asarray(end, float)
    line[:, 2:] -= 4 * sag * u * (1 - u)
    return line


def tube_part(line: Floats, radius: float, label: str, sides: int = 6) -> Part:
    """A tube of constant radius along a polyline (p, 3)."""
    n = len(line)
    d = np.gradient(line, axis=0)
    d /= np.linalg.norm(d, axis=1, keepdims=True)
    e = _carried_sides(d, np.zeros(n, int))
    f = np.cross(d, e)
    a = 2 * np.pi * np.arange(sides) / sides
    corners = (line[:, None] + radius * (np.cos(a)[None, :, None] * e[:, None] + np.sin(a)[None, :, None] * f[:, None])).reshape(-1, 3)
    i = np.arange(n - 1)[:, None] * sides
    k = np.arange(sides)
    p, q = i + k, i + (k + 1) % sides
    triangles = np.concatenate([np.stack([p, q, p + sides], -1).reshape(-1, 3), np.stack([q, q + sides, p + sides], -1).reshape(-1, 3)])
    return _thing(corners, triangles, label)


def person_part(foot: Floats, height: float = 1.75) -> Part:
    """A standing person as a few tubes."""
    f = np.asarray(foot, float)
    pieces = [
        (np.array([[-0.1, 0, 0.0], [-0.1, 0, 0.5], [-0.09, 0, 0.9]]), 0.07),
        (np.array([[0.1, 0, 0.0], [0.1, 0, 0.5], [0.09, 0, 0.9]]), 0.07),
        (np.array([[0, 0, 0.85], [0, 0, 1.15], [0, 0, 1.45]]), 0.16),
        (np.array([[-0.22, 0, 1.42], [-0.27, 0, 1.1], [-0.27, 0.05, 0.8]]), 0.045),
        (np.array([[0.22, 0, 1.42], [0.27, 0, 1.1], [0.27, 0.05, 0.8]]), 0.045),
        (np.array([[0, 0, 1.5], [0, 0, 1.62], [0, 0, 1.75]]), 0.1),
    ]
    return merged([tube_part(f + line * [1, 1, height / 1.75], r, "person", 12) for line, r in pieces])


def merged(parts: list[Part]) -> Part:
    """Several solids of one label as one."""
    base = np.cumsum([0] + [len(p.corners) for p in parts])[:-1]
    return Part(
        np.concatenate([p.corners for p in parts]),
        np.concatenate([p.triangles + np.uint32(b) for p, b in zip(parts, base, strict=True)]).astype(np.uint32),
        parts[0].label,
        np.concatenate([p.node for p in parts]),
    )


def _thing(corners: Floats, triangles: NDArray, label: str) -> Part:
    return Part(corners.astype(np.float32), triangles.astype(np.uint32), PARTS.index(label), np.full(len(triangles), -1, np.int32))
