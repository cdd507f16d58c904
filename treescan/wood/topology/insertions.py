"""From limb axes to graph nodes: where does each limb's axis meet its parent's, and where do nodes stand along it?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from scipy.interpolate import PchipInterpolator

from treescan.wood.fitting.limb_axes import LimbAxes
from treescan.wood.fitting.radius_uncertainty import unread_sd
from treescan.wood.graph import Floats, Ints
from treescan.wood.sections.insertion_point import meet

PAST_FLARE = 6
"""Pieces past the flare whose median radius stands for the limb (project choice)."""
PIECES_TO_STEP = 4
"""A limb of fewer pieces is smoothed over its steps."""
ABOVE_GROUND = 0.02
"""The stem's pieces closer to the ground give way to its foot [m]."""
NO_LENGTH, LEAST_GAP = 1e-6, 1e-3
"""A first segment shorter than the one is made as long as the other [m]."""
HIDDEN_RADII, HIDDEN, HIDDEN_FOOT = 6, 0.35, 1.0
"""A first segment longer than so many radii and this [m], at the stem's foot the last [m], was not seen (project choice)."""
AS_ONE, AS_ONE_SHARE = 0.02, 0.12
"""Limbs that leave closer than this [m], or this share of the radius, leave at one node (project choice)."""
LEAST_STEP, LEAST_LAST = 0.04, 0.02
"""Least way between the places of a limb, and before its last [m] (project choice)."""
CLEAR_OF_FIXED = 0.4
"""Share of a step by which other places keep away from where limbs leave (project choice)."""
LEAST_DIAMETER = 0.06
"""Segments may be so long in any wood [m]."""
THIN_STEP, THICK_STEP = 0.0015, 0.04
"""Change of radius a segment may hide: in thin wood [m], in thick wood as a share of the radius (project choice)."""
THIN_OFF, THICK_OFF, THICK_OFF_SHARE = 0.006, 0.002, 0.05
"""How far a place may lie off the segment: in thin wood [m], in thick wood [m] or as a share of the radius (project choice)."""


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
class Insertion:
    """Where one limb meets its parent: place along the parent [m], and the first vertex of its own that counts."""

    place: float
    first: int


def insertion_of(axes: LimbAxes, k: int) -> Insertion:
    """Carry the limb's axis straight back to its parent's axis.

    Notes
    -----
    The line through the limb's first pieces past the flare is carried backwards; the parent's point nearest to it wins, a long way
    back being held against it a little (near-parallel axes would otherwise meet anywhere).
    """
    rows, up = axes.rows(k), axes.rows(int(axes.parent[k]))
    fitted = np.isfinite(axes.raw_sd[rows])
    place, first = meet(axes.v[rows], axes.s[rows], axes.r[rows], fitted, axes.v[up], axes.s[up], axes.r[up], axes.leaves[k])
    return Insertion(float(place), int(first))


def insertions(axes: LimbAxes) -> Floats:
    """Where every limb's axis meets its parent's, along the parent, (l,); 0 for the stem. [m]"""
    return np.array([0.0] + [insertion_of(axes, k).place for k in range(1, len(axes))])


def gaps(axes: LimbAxes) -> Floats:
    """How far every limb's first piece that counts lies from the bark of its parent, (l,); 0 for the stem. [m]"""
    out = np.zeros(len(axes))
    for k in range(1, len(axes)):
        rows, up = axes.rows(k), axes.rows(int(axes.parent[k]))
        meet = insertion_of(axes, k)
        at = np.array([np.interp(meet.place, axes.s[up], axes.v[up][:, a]) for a in range(3)])
        thick = np.interp(meet.place, axes.s[up], axes.r[up])
        out[k] = max(float(np.linalg.norm(axes.v[rows][meet.first] - at)) - thick, 0.0)
    return out


def lay_nodes(axes: LimbAxes, foot: Floats) -> Nodes:
    """Nodes along every limb and at every insertion_of, from the foot outward.

    Parameters
    ----------
    foot : (3,) float   Stem centre at the ground. [m]
    """
    meet = {k: insertion_of(axes, k) for k in range(1, len(axes))}
    kids: dict[int, list[int]] = {}
    for k in range(1, len(axes)):
        kids.setdefault(int(axes.parent[k]), []).append(k)
    parts: list[tuple[np.ndarray, ...]] = []
    union_node: dict[int, int] = {}
    union_place: dict[int, Floats] = {}
    bark: dict[int, float] = {0: 0.0}
    total = 0
    todo = [0]
    while todo:
        k = todo.pop(0)
        line = _limb_line(axes, k, meet.get(k), union_place[k] if k else foot, bark[k])
        stops, node_of = _stops(line, [meet[c].place for c in kids.get(k, [])], bark[k])
        s, v, r, sd, arc, seen = line
        own = stops[1:] if k else stops  # a side limb starts at the union's own node
        steps = _steps(line, [(meet[c].place, _thickness(axes, c, meet[c].first)) for c in kids.get(k, [])])
        ids = np.arange(total, total + len(own))
        before = np.concatenate([[union_node.get(k, -1)], ids[:-1]])
        at = np.stack([np.interp(own, s, v[:, a]) for a in range(3)], axis=1)
        row = np.minimum(np.searchsorted(s, own - 1e-9), len(seen) - 1)
        parts.append((at, _between(own, s, r, steps), _between(own, s, sd, steps), np.interp(own, s, arc), seen[row], before))
        total += len(own)
        id_of = np.concatenate([[union_node[k]], ids]) if k else ids
        place_of = np.concatenate([union_place[k][None], at]) if k else at
        for c, i in zip(kids.get(k, []), node_of, strict=True):
            union_node[c], union_place[c] = int(id_of[i]), place_of[i]
            bark[c] = float(np.interp(stops[i], s, r))
            todo.append(c)
    xyz, radius, sd, arc, seen, parent = (np.concatenate(column) for column in zip(*parts, strict=True))
    return Nodes(xyz, radius, sd, arc, seen.astype(bool), parent.astype(np.int32))


STEP = 0.35
"""A limb from this share of its parent's radius up makes the parent's radius step where it leaves; thinner ones take off too little to tell."""


def _thickness(axes: LimbAxes, k: int, first: int) -> float:
    """Radius of a limb past its flare. [m]"""
    r = axes.r[axes.rows(k)][first : first + PAST_FLARE]
    return float(np.median(r)) if len(r) else 0.0


def _steps(line: Line, leaving: list[tuple[float, float]]) -> list[float]:
    """Places along a limb where its radius steps, from the places and radii of the limbs that leave it. [m]"""
    s, _, r = line[:3]
    return sorted(p for p, thick in leaving if s[0] < p < s[-1] and thick > STEP * float(np.interp(p, s, r)))


def _between(places: Floats, s: Floats, value: Floats, steps: list[float]) -> Floats:
    """A radius or its sd at places along a limb: smooth between the pieces (it keeps to their order, so nothing swells), with a jump at every step.

    The pieces that lie across a step saw the wood of both sides and are passed over; a place on the step itself belongs to the side below.
    """
    if not steps or len(s) < PIECES_TO_STEP:
        return _smooth(places, s, value)
    half = 0.5 * np.diff(s, append=2 * s[-1] - s[-2])
    edge = np.array(steps)
    across = np.any((s[:, None] - half[:, None] < edge) & (s[:, None] + half[:, None] > edge), axis=1)
    across[[0, -1]] = False
    side, want = np.searchsorted(edge, s, side="left"), np.searchsorted(edge, places, side="left")
    out = np.empty(len(places))
    for g in range(len(edge) + 1):
        mine = (side == g) & ~across
        if not mine.any():
            mine = side == g
        here = want == g
        out[here] = _smooth(places[here], s[mine], value[mine]) if mine.any() else _smooth(places[here], s, value)
    return out


def _smooth(places: Floats, s: Floats, value: Floats) -> Floats:
    """Monotone cubic between the pieces of thick limbs, straight lines for thin ones; constant beyond the ends."""
    if len(s) < 3 or value[0] < 2 * THIN:
        return np.interp(places, s, value)
    return np.asarray(PchipInterpolator(s, value)(np.clip(places, s[0], s[-1])))


Line = tuple[Floats, Floats, Floats, Floats, Floats, np.ndarray]


def _limb_line(axes: LimbAxes, k: int, meet: Insertion | None, begin: Floats, bark: float) -> Line:
    """Place, axis, radius, sd, arc, seen of one limb from its union (or the ground) outward, places as on `axes.s`."""
    rows = axes.rows(k)
    a = meet.first if meet else 0
    v, s = axes.v[rows][a:], axes.s[rows][a:]
    r, sd, arc = axes.r[rows][a:], axes.r_sd[rows][a:], axes.arc[rows][a:]
    seen = axes.points[rows][a:] > 0
    if meet is None:
        begin = _foot_of(v, begin)
        keep = v[:, 2] > begin[2] + ABOVE_GROUND
        keep[-1] = True
        v, s, r, sd, arc, seen = v[keep], s[keep], r[keep], sd[keep], arc[keep], seen[keep]
    gap = float(np.linalg.norm(v[0] - begin))
    if gap < NO_LENGTH:
        begin = begin - np.array([0.0, 0.0, LEAST_GAP])
        gap = LEAST_GAP
    hidden = gap > HIDDEN_RADII * r[0] + (HIDDEN if meet else HIDDEN_FOOT)  # grass and a butt unseen leave the stem's foot in view
    begins = np.hypot(sd[:1], unread_sd(np.maximum(gap - bark, 0.0)))
    s = np.concatenate([[s[0] - gap], s])
    return (
        s, np.concatenate([begin[None], v]), np.concatenate([r[:1], r]), np.concatenate([begins, sd]),
        np.concatenate([arc[:1], arc]), np.concatenate([[not hidden], seen & ~(np.arange(len(seen)) == 0) | (seen & (not hidden))]),
    )  # fmt: skip


def _foot_of(v: Floats, foot: Floats) -> Floats:
    """The stem's axis carried down to the ground."""
    low = v[0]
    j = min(len(v) - 1, 3)
    d = v[j] - low
    if low[2] <= foot[2] or d[2] <= 0.5 * np.linalg.norm(d):
        return np.array([low[0], low[1], foot[2]]) if low[2] > foot[2] else np.array([foot[0], foot[1], foot[2]])
    return low + d / d[2] * (foot[2] - low[2])


def _stops(line: Line, meets: list[float], bark: float) -> tuple[Floats, list[int]]:
    """Places of the nodes on one limb (its own union node first), and the node of every meeting.

    Parameters
    ----------
    line : Line             As from `_limb_line`.
    meets : list of float   Where side limbs leave. [m]
    bark : float            Radius of the parent limb where this one leaves, 0 for the stem. [m]
    """
    s, v, r, seen = line[0], line[1], line[2], line[5]
    f, which = _fixed(s, r, np.array(meets))
    places, keep = _grid(s, r, f, np.flatnonzero(seen[1:] != seen[:-1]) + 1)
    at = np.stack([np.interp(places, s, v[:, a]) for a in range(3)], axis=1)
    keep[places - places[0] < bark] |= r[0] >= THIN  # the flare of a limb is kept in full
    places = places[_needed(places, at, np.interp(places, s, r), keep)]
    node = np.searchsorted(places, f - 1e-12)
    return places, [int(node[w]) for w in which]


def _fixed(s: Floats, r: Floats, meets: Floats) -> tuple[Floats, list[int]]:
    """Places that must be nodes because limbs leave there, those very near each other taken as one; and the place of every limb."""
    fixed: list[float] = []
    which = [0] * len(meets)
    for i in np.argsort(meets, kind="stable"):
        at = float(np.clip(meets[i], s[0], s[-1]))
        if not fixed or at - fixed[-1] >= max(AS_ONE, AS_ONE_SHARE * float(np.interp(at, s, r))):
            fixed.append(at)
        which[i] = len(fixed) - 1
    return np.array(fixed), which


@njit(cache=True)
def _fine(s, r):  # type: ignore[no-untyped-def]
    """Places every half radius, at least 4 cm apart."""
    out = [s[0]]
    while out[-1] < s[-1] - NO_LENGTH:
        out.append(min(out[-1] + max(LEAST_STEP, 0.5 * np.interp(out[-1], s, r)), s[-1]))
    if len(out) > 2 and out[-1] - out[-2] < LEAST_LAST:
        out.pop(-2)
    return np.array(out)


def _grid(s: Floats, r: Floats, fixed: Floats, changes: Ints) -> tuple[Floats, np.ndarray]:
    """Places every half radius with the fixed ones among them, and True for those that must stay."""
    fine = _fine(s, r)
    inner = fine[1:-1]
    if len(fixed) and len(inner):
        j = np.searchsorted(fixed, inner)
        gap = np.minimum(np.abs(fixed[np.minimum(j, len(fixed) - 1)] - inner), np.abs(fixed[np.maximum(j - 1, 0)] - inner))
        inner = inner[gap > CLEAR_OF_FIXED * np.maximum(LEAST_STEP, 0.5 * np.interp(inner, s, r))]
    ends = np.array([fine[0], fine[-1]])
    places = np.unique(np.concatenate([ends, inner, fixed]))
    must = np.unique(np.concatenate([ends, fixed]))
    keep = np.zeros(len(places), bool)
    keep[np.searchsorted(places, must)] = True
    if len(changes):  # where a hidden piece begins or ends
        at = np.searchsorted(places, s[changes])
        keep[np.clip(at, 0, len(places) - 1)] = True
        keep[np.clip(at - 1, 0, len(places) - 1)] = True
    return places, keep


THIN = 0.015
"""Wood of a smaller radius gets nodes only where its course or thickness asks for them [m]."""
LONGEST = 0.25
"""Longest segment of thin wood [m]; thicker wood has a node at least every diameter."""


@njit(cache=True)
def _needed(places, at, radius, keep):  # type: ignore[no-untyped-def]
    """True for the nodes that the limb's course and taper need.

    A node is left out when, over the longer segment, no place between lies off the straight line by more than 2 mm or a twentieth of
    the radius (thin wood: 4 mm), the radius changes by no more than 4 % (thin wood: 1.5 mm), and the segment is no longer than a
    diameter or 6 cm (thin wood: `LONGEST`).
    """
    n = len(places)
    out = keep.copy()
    out[0] = out[n - 1] = True
    last = 0
    i = 1
    while i < n:
        if out[i]:
            last = i
            i += 1
            continue
        nxt = i + 1  # may the segment run from last to nxt, without i?
        thin = radius[last] < THIN
        far = LONGEST if thin else max(LEAST_DIAMETER, 2.0 * radius[last])
        step = THIN_STEP if thin else THICK_STEP * radius[last]
        off = THIN_OFF if thin else max(THICK_OFF, THICK_OFF_SHARE * radius[last])
        good = places[nxt] - places[last] <= far and abs(radius[nxt] - radius[last]) <= step
        if good:
            d = at[nxt] - at[last]
            l2 = max(np.sum(d * d), 1e-12)
            for j in range(last + 1, nxt):
                w = at[j] - at[last]
                f = min(max(np.sum(w * d) / l2, 0.0), 1.0)
                e = w - f * d
                if np.sum(e * e) > off * off:
                    good = False
                    break
        if not good:
            out[i] = True
            last = i
        i += 1
    return out
