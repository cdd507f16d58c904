"""Grow a tree by rules: limbs of one order at a time, all together, from the stem out to the twigs.

Every limb has r^D to spend (Leonardo's rule): part is lost along it (taper), the rest is shared between its laterals and its end, so that
at each union r^D before = r^D after + r^D of the lateral, with a little scatter. Its path follows lift (towards or away from the vertical), light
(outward), a slow random curvature and a kink away from each strong lateral.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from made_up.habits import HABITS, Habit, LimbRules
from treescan.trees.beside import Terrain
from treescan.wood.assemble import assemble
from treescan.wood.graph import WoodGraph

Floats = NDArray[np.float64]
UP = np.array([0.0, 0.0, 1.0])
LOWEST_TWIG = 0.7
"""Limbs end when they hang down to this height above the stem's foot [m]."""


@dataclass(frozen=True)
class GrownTree:
    """A tree with every diameter known.

    Attributes
    ----------
    xyz : (n, 3) [m]; radius, segment_radius : (n,) [m]; parent : (n,) int32
        As in `WoodGraph`, twigs and all.
    axis : (n,) int32       Limb as grown (its own count, not the graph's limb number).
    order : (n,) int32      0 stem and leaders, 1 limbs, 2 ...
    dead : (n,) bool        Dead stubs and dead limbs: leafless.
    habit : str
    seed : int
    """

    xyz: Floats
    radius: Floats
    segment_radius: Floats
    parent: NDArray[np.int32]
    axis: NDArray[np.int32]
    order: NDArray[np.int32]
    dead: NDArray[np.bool_]
    habit: str
    seed: int

    def __len__(self) -> int:
        return len(self.xyz)

    @property
    def height(self) -> float:
        """Of the highest twig above the stem's foot. [m]"""
        return float((self.xyz[:, 2] + self.radius).max() - self.xyz[0, 2])

    def kept(self, thinnest: float) -> NDArray[np.bool_]:
        """Nodes of wood at least `thinnest` thick [m] all the way from the ground, (n,)."""
        keep = 2 * self.segment_radius >= thinnest
        keep[0] = True
        for i in range(1, len(keep)):
            keep[i] &= keep[self.parent[i]]
        return keep

    def graph(self, thinnest: float = 0.01, terrain: Terrain | None = None) -> WoodGraph:
        """The exact wood graph of all wood at least `thinnest` thick [m]."""
        keep = self.kept(thinnest)
        new = np.cumsum(keep) - 1
        parent = np.where(self.parent[keep] >= 0, new[self.parent[keep]], -1)
        return assemble(
            self.xyz[keep],
            self.radius[keep],
            parent,
            segment_radius=self.segment_radius[keep],
            radius_sd=np.zeros(keep.sum()),
            arc=np.full(keep.sum(), 2 * np.pi),
            terrain=terrain,
        )

    def moved(self, xyz: Floats) -> GrownTree:
        """The same tree with its foot at `xyz`."""
        return GrownTree(
            self.xyz + (np.asarray(xyz, float) - self.xyz[0]),
            self.radius,
            self.segment_radius,
            self.parent,
            self.axis,
            self.order,
            self.dead,
            self.habit,
            self.seed,
        )


@dataclass
class _Shoots:
    """Limbs about to grow, one row each."""

    start: NDArray[np.int64]
    place: Floats
    direction: Floats
    side: Floats
    radius: Floats
    rank: NDArray[np.int64]
    dead: NDArray[np.bool_]

    def where(self, mask: NDArray) -> _Shoots:
        return _Shoots(*(getattr(self, name)[mask] for name in ("start", "place", "direction", "side", "radius", "rank", "dead")))


def grow(
    seed: int,
    habit: str | Habit = "broadleaf",
    *,
    height: float = 15.0,
    dbh: float = 0.45,
    thinnest: float = 0.005,
    base: tuple[float, float, float] = (0.0, 0.0, 0.0),
    toward_light: tuple[float, float] = (0.0, 0.0),
    lean_azimuth: float | None = None,
) -> GrownTree:
    """Grow one tree.

    Parameters
    ----------
    seed : int              Same seed, same tree.
    habit : str or Habit    One of `HABITS`, or your own.
    height, dbh : float     [m]  The height is met exactly, the diameter at breast height within a few mm (measure it on the graph).
    thinnest : float        Diameter at which twigs end. [m]
    base : (3,)             Foot of the stem. [m]
    toward_light : (2,)     One-sided light: turn per metre along x, y (a neighbour to the west: (0.03, 0)). [1/m]
    lean_azimuth : float    Direction of the lean, clockwise from +y [rad]; default drawn.
    """
    name, rules = (habit, HABITS[habit]) if isinstance(habit, str) else ("own", habit)
    rng = np.random.default_rng([seed, 8191])
    d_exp = float(np.clip(rng.normal(*rules.leonardo), 1.8, 2.3))
    tip = thinnest / 2
    az = rng.uniform(0, 2 * np.pi) if lean_azimuth is None else np.pi / 2 - lean_azimuth
    lean = np.radians(rules.lean * (rng.uniform(0.8, 1.2)))
    up = np.array([[np.cos(az) * np.sin(lean), np.sin(az) * np.sin(lean), np.cos(lean)]])
    length = rules.stem_share * height
    low = min(1.3 / length, 1.0)
    r0 = dbh / 2 / (1 - rules.stem.taper * low) ** (1 / d_exp)
    pieces: list[dict[str, NDArray]] = [
        {
            "xyz": np.zeros((1, 3)),
            "radius": np.array([r0]),
            "segment_radius": np.array([r0]),
            "parent": np.array([-1]),
            "axis": np.array([1]),
            "order": np.array([0]),
            "dead": np.array([False]),
        }
    ]
    shoots = _Shoots(np.array([0]), np.zeros((1, 3)), up, _any_side(up), np.array([r0]), np.array([-1]), np.array([False]))
    count, axes = 1, 1
    light = np.array([toward_light[0], toward_light[1], 0.0])
    for _ in range(16):
        if not len(shoots.start):
            break
        later: list[_Shoots] = []
        for rank in np.unique(shoots.rank):
            group = shoots.where(shoots.rank == rank)
            piece, children = _grow_group(rng, rules, group, int(rank), count, axes, d_exp, tip, length if rank < 0 else None, light)
            pieces.append(piece)
            later += children
            count += len(piece["xyz"])
            axes += len(group.start)
        shoots = _joined(later)
    out = {k: np.concatenate([p[k] for p in pieces]) for k in pieces[0]}
    scale = height / float((out["xyz"][:, 2]).max())
    xyz = out["xyz"] * scale + np.asarray(base, float)
    radius, segment_radius = _butt(out, xyz, rules, dbh)
    return GrownTree(
        xyz,
        radius,
        segment_radius,
        out["parent"].astype(np.int32),
        out["axis"].astype(np.int32),
        out["order"].astype(np.int32),
        out["dead"].astype(bool),
        name,
        seed,
    )


def _grow_group(
    rng: np.random.Generator,
    habit: Habit,
    s: _Shoots,
    rank: int,
    first: int,
    first_axis: int,
    d_exp: float,
    tip: float,
    fixed_length: float | None,
    light: Floats,
) -> tuple[dict[str, NDArray], list[_Shoots]]:
    """Grow all limbs of one rank: their nodes, and the limbs that start on them."""
    rule = _rules(habit, rank)
    m = len(s.start)
    ends_in = _ends(rng, habit, rule, s, rank, tip)
    full = np.full(m, fixed_length) if fixed_length else rule.reach * (2 * s.radius) ** rule.power * np.exp(rng.normal(0, 0.12, m))
    length = full if rank < 0 else np.where(ends_in > 0, rule.end_at * full, full)
    step = np.where(s.radius > 0.006, np.clip(0.9 * s.radius, 0.04, 0.12), 0.08)
    n = np.maximum(2, np.ceil(length / step)).astype(int)
    step = length / n
    slots = _place_laterals(rng, rule, s, n, tip)
    path, heading, side = _walk(rng, rule, s, n, step, slots, light, rank)
    n = _cut_low(path, n, rank)
    n = np.where(s.dead & (rank >= 0), np.maximum(1, (n * rng.uniform(0.12, 0.6, m)).astype(int)), n)
    ends_in = np.where(s.dead, 0, ends_in)
    before, radius, taken = _spend(habit, rule, s, n, slots, ends_in, rank, d_exp, tip)
    k = np.arange(path.shape[1] - 1)
    own = k[None, :] < n[:, None]
    row, col = np.nonzero(own)
    offset = first + np.concatenate([[0], np.cumsum(n)])[:-1]
    node_id = offset[row] + col
    along = (col + 1) * step[row]
    at_foot = np.where(s.start[row] > 0, 1.0, 0.0) * habit.collar * np.exp(-along / (3.0 * s.radius[row])) * (s.radius[row] > 0.012)
    r = radius[row, col + 1] * (1 + at_foot)
    piece = {
        "xyz": path[row, col + 1],
        "radius": r,
        "segment_radius": r.copy(),
        "parent": np.where(col == 0, s.start[row], node_id - 1),
        "axis": first_axis + row,
        "order": np.full(len(row), max(rank, 0)),
        "dead": s.dead[row],
    }
    children = [_laterals(rng, habit, rule, s, n, slots, taken, before, path, heading, side, offset, rank, d_exp)]
    children.append(_forks(rng, habit, rule, s, n, ends_in, radius, path, heading, side, offset, rank, d_exp, tip))
    if rank <= 0 and habit.stubs > 0:
        children.append(_stubs(rng, habit, s, n, step, rule, path, heading, side, offset, radius))
    return piece, [c for c in children if len(c.start)]


def _rules(habit: Habit, rank: int) -> LimbRules:
    """Rules of a rank: -1 stem, 0 leader, 1 and up the limbs."""
    if rank < 0:
        return habit.stem
    return habit.leader_rules if rank == 0 else habit.limbs[min(rank, len(habit.limbs)) - 1]


def _ends(rng: np.random.Generator, habit: Habit, rule: LimbRules, s: _Shoots, rank: int, tip: float) -> NDArray[np.int64]:
    """How many forks each limb ends in."""
    if rank < 0 and habit.leaders:
        return np.full(len(s.start), habit.leaders)
    drawn = np.searchsorted(np.cumsum(rule.fork) / np.sum(rule.fork), rng.uniform(size=len(s.start)))
    kinds = np.array([0, 2, 3])[drawn]
    return np.where(s.radius * rule.end > 2.5 * tip, kinds, 0)


@dataclass
class _Slots:
    """Places for laterals, (m, k): node index along the limb (0 = none), azimuth round it, share of the wood."""

    node: NDArray[np.int64]
    azimuth: Floats
    share: Floats


def _place_laterals(rng: np.random.Generator, rule: LimbRules, s: _Shoots, n: NDArray[np.int64], tip: float) -> _Slots:
    """Draw where along each limb its laterals sit, which way they point, and how the wood is shared."""
    m = len(s.start)
    most = max(rule.laterals[1], 1)
    count = rng.integers(rule.laterals[0], rule.laterals[1] + 1, m)
    room = np.maximum(0, ((s.radius / tip) ** 2 * 0.8).astype(int))
    count = np.where(s.dead | (s.radius < 1.5 * tip), 0, np.minimum(count, room))
    turns = -(-most // rule.whorl)
    used = -(-count // rule.whorl)
    j = np.arange(turns)[None, :]
    u = rule.bare + (1 - rule.bare) * (j + 0.5 + rng.uniform(-0.3, 0.3, (m, turns))) / np.maximum(used, 1)[:, None]
    node = np.clip(np.round(u * n[:, None]), 1, np.maximum(n - 1, 1)[:, None]).astype(int)
    node = np.where((j < used[:, None]) & (u < 1), node, 0)
    golden = np.radians(137.5)
    turn = rng.uniform(0, 2 * np.pi, (m, 1)) + golden * j + rng.normal(0, 0.35, (m, turns))
    node = np.repeat(node, rule.whorl, axis=1)
    if rule.whorl > 1:
        node = np.where(rng.uniform(size=node.shape) < 0.12, 0, node)
    azimuth = (
        np.repeat(turn, rule.whorl, axis=1)
        + np.tile(np.arange(rule.whorl) * 2 * np.pi / rule.whorl, turns)
        + rng.normal(0, 0.15, node.shape) * (rule.whorl > 1)
    )
    u = node / n[:, None]
    share = np.where(node > 0, np.exp(rng.normal(0, rule.unequal, node.shape)) * np.maximum(1.05 - u, 0.05), 0.0)
    return _Slots(node, azimuth, share)


def _walk(
    rng: np.random.Generator, rule: LimbRules, s: _Shoots, n: NDArray[np.int64], step: Floats, slots: _Slots, light: Floats, rank: int
) -> tuple[Floats, Floats, Floats]:
    """Paths (m, k + 1, 3) of the limbs, their headings and side vectors."""
    m, k = len(n), int(n.max())
    path, heading, side = (np.zeros((m, k + 1, 3)) for _ in range(3))
    p, d, e = s.place.copy(), s.direction.copy(), s.side.copy()
    path[:, 0], heading[:, 0], side[:, 0] = p, d, e
    kink = np.zeros((m, k + 1, 2))
    total = np.maximum(slots.share.sum(axis=1), 1e-12)
    rows = np.repeat(np.arange(m)[:, None], slots.node.shape[1], axis=1)
    strength = rule.kink * slots.share / total[:, None] * (1 - rule.taper) * (rule.whorl == 1)
    np.add.at(kink, (rows, slots.node, 0), strength * np.cos(slots.azimuth))
    np.add.at(kink, (rows, slots.node, 1), strength * np.sin(slots.azimuth))
    kink[:, 0] = 0
    bend = rng.normal(0, 1.0, (m, 3))
    h = step[:, None]
    for i in range(1, k + 1):
        u = np.minimum(i / n, 1.0)[:, None]
        memory = np.exp(-h / 0.5)
        bend = bend * memory + rng.normal(0, 1.0, (m, 3)) * np.sqrt(1 - memory**2)
        out = p * np.array([1.0, 1.0, 0.0])
        out /= np.maximum(np.linalg.norm(out, axis=1, keepdims=True), 0.3)
        lift = rule.lift[0] * (1 - u) + rule.lift[1] * u
        f = np.cross(d, e)
        d = d + h * (lift * UP + rule.outward * out + rule.wander * bend + light * (rank != -1)) - kink[:, i - 1, :1] * e - kink[:, i - 1, 1:] * f
        d /= np.linalg.norm(d, axis=1, keepdims=True)
        e = e - np.sum(e * d, axis=1, keepdims=True) * d
        e /= np.linalg.norm(e, axis=1, keepdims=True)
        p = p + h * d
        path[:, i], heading[:, i], side[:, i] = p, d, e
    return path, heading, side


def _cut_low(path: Floats, n: NDArray[np.int64], rank: int) -> NDArray[np.int64]:
    """Limbs that hang to the ground end there."""
    if rank < 0:
        return n
    low = path[:, 1:, 2] < LOWEST_TWIG
    first = np.where(low.any(axis=1), low.argmax(axis=1), n)
    return np.clip(np.minimum(n, first), 1, None)


def _spend(
    habit: Habit, rule: LimbRules, s: _Shoots, n: NDArray[np.int64], slots: _Slots, ends_in: NDArray[np.int64], rank: int, d_exp: float, tip: float
) -> tuple[Floats, Floats, Floats]:
    """Share each limb's r^D out: radius before and after each node (m, k + 1), and r^D of every lateral."""
    m, k = len(n), int(n.max())
    q0 = s.radius**d_exp
    end = rule.end if rank >= 0 or not habit.leaders else None
    at_end = np.where(ends_in > 0, q0 * (end**d_exp if end else 0.0), np.minimum((0.7 * tip) ** d_exp, 0.5 * q0))
    if end is None:
        at_end = q0 * (1 - rule.taper) * (0.85 if slots.share.any() else 1.0)
    lost = np.where(s.dead | ~slots.share.any(axis=1), q0 - at_end, np.minimum(rule.taper * q0, q0 - at_end))
    lost = np.where(s.dead, 0.5 * q0, lost)
    share = np.where((slots.node > 0) & (slots.node < n[:, None]), slots.share, 0.0)
    budget = q0 - at_end - lost
    for _ in range(3):
        q = budget[:, None] * share / np.maximum(share.sum(axis=1, keepdims=True), 1e-12)
        share = np.where(q < tip**d_exp, 0.0, np.minimum(share, 0.55 * share.sum(axis=1, keepdims=True)))
    q = budget[:, None] * share / np.maximum(share.sum(axis=1, keepdims=True), 1e-12)
    none = ~(share > 0).any(axis=1)
    lost = np.where(none & ~s.dead, q0 - at_end, lost)
    drop = np.zeros((m, k + 2))
    rows = np.repeat(np.arange(m)[:, None], q.shape[1], axis=1)
    np.add.at(drop, (rows, np.minimum(slots.node, k)), q)
    drop[:, 0] = 0
    taken = np.cumsum(drop, axis=1)
    u = np.minimum(np.arange(k + 1)[None, :] / n[:, None], 1.0)
    base = q0[:, None] - lost[:, None] * u
    before = np.maximum(base - (taken[:, : k + 1] - drop[:, : k + 1]), 1e-12)
    after = np.maximum(base - taken[:, : k + 1], 1e-12)
    return after ** (1 / d_exp), before ** (1 / d_exp), q


def _laterals(
    rng: np.random.Generator,
    habit: Habit,
    rule: LimbRules,
    s: _Shoots,
    n: NDArray[np.int64],
    slots: _Slots,
    taken: Floats,
    after: Floats,
    path: Floats,
    heading: Floats,
    side: Floats,
    offset: NDArray[np.int64],
    rank: int,
    d_exp: float,
) -> _Shoots:
    """Start the laterals that got wood."""
    row, col = np.nonzero(taken > 0)
    node = slots.node[row, col]
    r = taken[row, col] ** (1 / d_exp) * np.exp(rng.normal(0, habit.scatter, len(row)))
    d, e = heading[row, node], side[row, node]
    a = slots.azimuth[row, col]
    across = np.cos(a)[:, None] * e + np.sin(a)[:, None] * np.cross(d, e)
    level = np.cross(d, UP)
    size = np.linalg.norm(level, axis=1, keepdims=True)
    level = np.where(size > 0.3, level / np.maximum(size, 1e-9), across)
    level *= np.where(np.sum(level * across, axis=1, keepdims=True) < 0, -1.0, 1.0)
    across = _unit((1 - rule.flat) * across + rule.flat * level)
    ratio = np.minimum(r / np.maximum(after[row, node], 1e-9), 1.0)
    angle = np.radians(np.clip(rng.normal(rule.angle[0] + 12 * (0.45 - ratio), rule.angle[1]), 15, 110))
    direction = np.cos(angle)[:, None] * d + np.sin(angle)[:, None] * across
    dead = (rng.uniform(size=len(row)) < habit.dead) & (r < 0.04) & (max(rank, 0) <= 1)
    return _Shoots(offset[row] + node - 1, path[row, node], direction, _any_side(direction), r, np.full(len(row), max(rank, 0) + 1), dead)


def _forks(
    rng: np.random.Generator,
    habit: Habit,
    rule: LimbRules,
    s: _Shoots,
    n: NDArray[np.int64],
    ends_in: NDArray[np.int64],
    radius: Floats,
    path: Floats,
    heading: Floats,
    side: Floats,
    offset: NDArray[np.int64],
    rank: int,
    d_exp: float,
    tip: float,
) -> _Shoots:
    """Start the forks (or leaders) that limbs end in."""
    leaders = rank < 0 and habit.leaders > 0
    row = np.repeat(np.arange(len(n)), ends_in)
    if not len(row):
        return _none()
    turn = np.concatenate([np.arange(c) * 2 * np.pi / c for c in ends_in if c])
    turn = turn + rng.uniform(0, 2 * np.pi, len(n))[row] + rng.normal(0, 0.15, len(row))
    uneven = (1 - habit.leader_evenness) if leaders else 0.35
    weight = np.exp(rng.normal(0, uneven, len(row)))
    share = weight / np.bincount(row, weight, minlength=len(n))[row]
    q = radius[row, n[row]] ** d_exp * share * (habit.head if leaders else 1.0)
    r = q ** (1 / d_exp) * np.exp(rng.normal(0, habit.scatter, len(row)))
    opening = (habit.leader_angle, 4.0) if leaders else rule.fork_angle
    angle = np.radians(np.maximum(rng.normal(*opening, len(row)) * 2 * (1 - share) / (2 * (1 - 1 / ends_in[row])), 5.0))
    d, e = heading[row, n[row]], side[row, n[row]]
    across = np.cos(turn)[:, None] * e + np.sin(turn)[:, None] * np.cross(d, e)
    direction = np.cos(angle)[:, None] * d + np.sin(angle)[:, None] * across
    keep = r > tip
    out = _Shoots(
        offset[row] + n[row] - 1,
        path[row, n[row]],
        direction,
        _any_side(direction),
        r,
        np.full(len(row), 0 if rank < 0 else rank),
        np.zeros(len(row), bool),
    )
    return out.where(keep)


def _stubs(
    rng: np.random.Generator,
    habit: Habit,
    s: _Shoots,
    n: NDArray[np.int64],
    step: Floats,
    rule: LimbRules,
    path: Floats,
    heading: Floats,
    side: Floats,
    offset: NDArray[np.int64],
    radius: Floats,
) -> _Shoots:
    """Dead stubs where shaded limbs broke off: on the bare part of stems and leaders, above reach of the ground."""
    bare = rule.bare * n * step
    count = rng.poisson(habit.stubs * bare)
    row = np.repeat(np.arange(len(n)), count)
    if not len(row):
        return _none()
    node = np.clip((rng.uniform(0.25, 1.0, len(row)) * rule.bare * n[row]).astype(int), 1, n[row])
    d, e = heading[row, node], side[row, node]
    a = rng.uniform(0, 2 * np.pi, len(row))
    angle = np.radians(rng.normal(75, 12, len(row)))
    direction = np.cos(angle)[:, None] * d + np.sin(angle)[:, None] * (np.cos(a)[:, None] * e + np.sin(a)[:, None] * np.cross(d, e))
    r = np.minimum(rng.uniform(0.006, 0.028, len(row)), 0.35 * radius[row, node])
    return _Shoots(offset[row] + node - 1, path[row, node], direction, _any_side(direction), r, np.ones(len(row), int), np.ones(len(row), bool))


def _butt(out: dict[str, NDArray], xyz: Floats, habit: Habit, dbh: float) -> tuple[Floats, Floats]:
    """Swell the stem towards the ground, and limit a limb's foot to the wood it stands on."""
    radius, segment = out["radius"].copy(), out["segment_radius"].copy()
    parent = out["parent"]
    stem = out["axis"] <= 1
    swell = 1 + habit.flare * np.exp(-(xyz[:, 2] - xyz[0, 2]) / (0.7 * dbh))
    radius = np.where(stem, radius * swell, radius)
    segment = np.where(stem, segment * swell, segment)
    while True:
        limit = np.where(parent >= 0, radius[np.maximum(parent, 0)], np.inf)
        if not np.any(segment > limit):
            return radius, segment
        segment = np.minimum(segment, limit)
        radius = np.minimum(radius, segment)


def _any_side(d: Floats) -> Floats:
    """A unit vector across each direction."""
    a = np.where(np.abs(d[:, 2:]) < 0.9, UP, np.array([1.0, 0.0, 0.0]))
    return _unit(np.cross(d, a))


def _unit(v: Floats) -> Floats:
    return v / np.maximum(np.linalg.norm(v, axis=1, keepdims=True), 1e-12)


def _none() -> _Shoots:
    z = np.zeros(0, int)
    return _Shoots(z, np.zeros((0, 3)), np.zeros((0, 3)), np.zeros((0, 3)), np.zeros(0), z, np.zeros(0, bool))


def _joined(groups: list[_Shoots]) -> _Shoots:
    if not groups:
        return _none()
    return _Shoots(
        *(np.concatenate([getattr(g, name) for g in groups]) for name in ("start", "place", "direction", "side", "radius", "rank", "dead"))
    )


def broken(tree: GrownTree, axes: NDArray[np.int64], left: float) -> GrownTree:
    """The tree with some of its limbs snapped off `left` from their parent's axis [m], dead since: a stub each."""
    out = np.zeros(tree.axis.max() + 1)
    from_foot = np.zeros(len(tree))
    cut = np.zeros(len(tree), bool)
    out[axes] = 1
    for i in range(1, len(tree)):
        p = tree.parent[i]
        same = tree.axis[p] == tree.axis[i]
        from_foot[i] = (from_foot[p] if same else 0.0) + float(np.linalg.norm(tree.xyz[i] - tree.xyz[p]))
        cut[i] = cut[p] or bool(out[tree.axis[i]] and (from_foot[i] > left and from_foot[p] > 0)) or bool(out[tree.axis[p]] and not same and p > 0)
    new = np.cumsum(~cut) - 1
    parent = np.where(tree.parent >= 0, new[tree.parent], -1)[~cut].astype(np.int32)
    dead = (tree.dead | np.isin(tree.axis, axes))[~cut]
    xyz, radius, segment, axis, order = (a[~cut] for a in (tree.xyz, tree.radius, tree.segment_radius, tree.axis, tree.order))
    return GrownTree(xyz, radius, segment, parent, axis, order, dead, tree.habit, tree.seed)


def grow_tree(seed: int, habit: str | Habit = "broadleaf", *, thinnest: float = 0.01, **how: Any) -> WoodGraph:
    """Grow a tree (`grow` takes the same words) and give its exact wood graph down to a diameter. [m]"""
    return grow(seed, habit, **how).graph(thinnest)


@lru_cache(maxsize=8)
def grown(seed: int, habit: str = "broadleaf", height: float = 15.0, dbh: float = 0.45, thinnest: float = 0.005) -> GrownTree:
    """`grow`, remembered: tests share trees."""
    return grow(seed, habit, height=height, dbh=dbh, thinnest=thinnest)
