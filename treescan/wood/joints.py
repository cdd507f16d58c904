"""From limb axes to graph nodes: where does each limb's axis meet its parent's, and where do nodes stand along it?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from treescan.wood.graph import Floats, Ints
from treescan.wood.limb_axes import LimbAxes


@dataclass(frozen=True)
class Nodes:
    """Bare nodes of the graph, parents before children; rows as in `WoodGraph`."""

    xyz: Floats
    radius: Floats
    radius_sd: Floats
    arc: Floats
    seen: np.ndarray
    parent: Ints


@dataclass(frozen=True)
class Meeting:
    """Where one limb meets its parent: place along the parent [m], and the first vertex of its own that counts."""

    place: float
    first: int


def meeting(axes: LimbAxes, k: int) -> Meeting:
    """Carry the limb's axis straight back to its parent's axis.

    Notes
    -----
    The line through the limb's first pieces past the flare is carried backwards; the parent's point nearest to it wins, a long way
    back being held against it a little (near-parallel axes would otherwise meet anywhere).
    """
    m = int(axes.parent[k])
    rows, up = axes.rows(k), axes.rows(m)
    v, s, r = axes.v[rows], axes.s[rows], axes.r[rows]
    pv, ps, pr = axes.v[up], axes.s[up], axes.r[up]
    fine = np.linspace(ps[0], ps[-1], max(2, int((ps[-1] - ps[0]) / 0.01)))
    p = np.stack([np.interp(fine, ps, pv[:, a]) for a in range(3)], axis=1)
    thick = np.interp(fine, ps, pr)
    d = np.linalg.norm(v[:, None] - p[None, :: max(1, len(p) // 400)], axis=2)
    nearest = d.argmin(axis=1) * max(1, len(p) // 400)
    clear = d.min(axis=1) > thick[nearest] + 0.4 * r
    good = clear & np.isfinite(axes.raw_sd[rows])
    first = int(np.argmax(good)) if good.any() else (int(np.argmax(clear)) if clear.any() else 0)
    far = first
    while far < len(v) - 1 and s[far] - s[first] < max(4 * r[first], 0.15):
        far += 1
    c0 = v[first]
    u = v[far] - v[first]
    if np.linalg.norm(u) < 1e-6:
        u = c0 - axes.leaves[k]
    if np.linalg.norm(u) < 1e-6:
        u = np.array([0.0, 0.0, 1.0])
    u = u / np.linalg.norm(u)
    w = c0 - p
    t = w @ u
    off2 = np.maximum(np.sum(w * w, axis=1) - t * t, 0.0)
    behind = np.maximum(-t, 0.0)
    cost = off2 + (0.12 * t) ** 2 + 4 * behind**2
    limit = d[first].min() + 3 * thick.max() + 0.5
    cost = np.where(np.sum(w * w, axis=1) > limit**2, np.inf, cost)
    return Meeting(float(fine[int(np.argmin(cost))]), first)


def lay_nodes(axes: LimbAxes, foot: Floats) -> Nodes:
    """Nodes along every limb and at every meeting, from the foot outward.

    Parameters
    ----------
    foot : (3,) float   Stem centre at the ground. [m]
    """
    meet = {k: meeting(axes, k) for k in range(1, len(axes))}
    kids: dict[int, list[int]] = {}
    for k in range(1, len(axes)):
        kids.setdefault(int(axes.parent[k]), []).append(k)
    xyz: list = []
    radius, sd, arc, seen, parent = [], [], [], [], []
    union_node: dict[int, int] = {}
    todo = [0]
    while todo:
        k = todo.pop(0)
        line = _limb_line(axes, k, meet.get(k), xyz[union_node[k]] if k else foot)
        stops, node_of = _stops(line, [meet[c].place for c in kids.get(k, [])])
        at = union_node.get(k, -1)
        ids = []
        for i, place in enumerate(stops):
            if i == 0 and k:
                ids.append(at)  # the union's own node
                continue
            xyz.append(np.array([np.interp(place, line[0], line[1][:, a]) for a in range(3)]))
            radius.append(float(np.interp(place, line[0], line[2])))
            sd.append(float(np.interp(place, line[0], line[3])))
            arc.append(float(np.interp(place, line[0], line[4])))
            j = min(int(np.searchsorted(line[0], place - 1e-9)), len(line[5]) - 1)
            seen.append(bool(line[5][j]))
            parent.append(ids[-1] if ids else -1)
            ids.append(len(xyz) - 1)
        for c, i in zip(kids.get(k, []), node_of, strict=True):
            union_node[c] = ids[i]
            todo.append(c)
    return Nodes(np.array(xyz), np.array(radius), np.array(sd), np.array(arc), np.array(seen, bool), np.array(parent, np.int32))


Line = tuple[Floats, Floats, Floats, Floats, Floats, np.ndarray]


def _limb_line(axes: LimbAxes, k: int, meet: Meeting | None, begin: Floats) -> Line:
    """Place, axis, radius, sd, arc, seen of one limb from its union (or the ground) outward, places as on `axes.s`."""
    rows = axes.rows(k)
    a = meet.first if meet else 0
    v, s = axes.v[rows][a:], axes.s[rows][a:]
    r, sd, arc = axes.r[rows][a:], axes.r_sd[rows][a:], axes.arc[rows][a:]
    seen = axes.points[rows][a:] > 0
    if meet is None:
        begin = _foot_of(v, begin)
        keep = v[:, 2] > begin[2] + 0.02
        keep[-1] = True
        v, s, r, sd, arc, seen = v[keep], s[keep], r[keep], sd[keep], arc[keep], seen[keep]
    gap = float(np.linalg.norm(v[0] - begin))
    if gap < 1e-6:
        begin = begin - np.array([0.0, 0.0, 1e-3])
        gap = 1e-3
    hidden = meet is not None and gap > 6 * r[0] + 0.35
    s = np.concatenate([[s[0] - gap], s])
    return (
        s, np.concatenate([begin[None], v]), np.concatenate([r[:1], r]), np.concatenate([sd[:1], sd]),
        np.concatenate([arc[:1], arc]), np.concatenate([[not hidden], seen & ~(np.arange(len(seen)) == 0) | (seen & (not hidden))]),
    )  # fmt: skip


def _foot_of(v: Floats, foot: Floats) -> Floats:
    """The stem's axis carried down to the ground."""
    low = v[0]
    j = min(len(v) - 1, 3)
    d = v[j] - low
    if low[2] <= foot[2] or d[2] < 0.5 * np.linalg.norm(d):
        return np.array([low[0], low[1], foot[2]]) if low[2] > foot[2] else np.array([foot[0], foot[1], foot[2]])
    return low + d / d[2] * (foot[2] - low[2])


def _stops(line: Line, meets: list[float]) -> tuple[Floats, list[int]]:
    """Places of the nodes on one limb (its own union node left out for side limbs), and the node of every meeting."""
    s, r = line[0], line[2]
    grid = [s[0]]
    while grid[-1] < s[-1] - 1e-6:
        grid.append(min(grid[-1] + max(0.04, 0.5 * float(np.interp(grid[-1], s, r))), s[-1]))
    if len(grid) > 2 and grid[-1] - grid[-2] < 0.02:
        grid.pop(-2)
    order = np.argsort(meets, kind="stable")
    fixed: list[float] = []
    which = [0] * len(meets)
    for i in order:
        at = float(np.clip(meets[i], s[0], s[-1]))
        close = max(0.02, 0.12 * float(np.interp(at, s, r)))
        if fixed and at - fixed[-1] < close:
            which[i] = len(fixed) - 1
        else:
            which[i] = len(fixed)
            fixed.append(at)
    f = np.array(fixed)
    free = [g for g in grid[1:-1] if not len(f) or np.abs(f - g).min() > 0.4 * max(0.04, 0.5 * float(np.interp(g, s, r)))]
    places = np.unique(np.concatenate([[grid[0], grid[-1]], free, f]))
    node = np.searchsorted(places, f)
    return places, [int(node[w]) for w in which]
