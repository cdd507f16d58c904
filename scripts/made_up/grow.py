"""Grow a tree by rules: limbs of one order at a time, all together, from the stem out to the twigs.

Every limb has r^D to spend (Leonardo's rule): part is lost along it (taper), the rest is shared between its laterals and its end, so that
at each union r^D before = r^D after + r^D of the lateral, with a little scatter. Its path follows lift (towards or away from the vertical), light
(outward), a slow random curvature and a kink away from each strong lateral.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from made_up.grown_tree import GrownTree
from made_up.habits import HABITS, Habit
from made_up.limb_path import cut_low, ends, place_laterals, rules_of, spend, walk
from made_up.shoots import Shoots, any_side, forks, joined, laterals, stubs
from treescan.wood.graph import WoodGraph

Floats = NDArray[np.float64]


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
    shoots = Shoots(np.array([0]), np.zeros((1, 3)), up, any_side(up), np.array([r0]), np.array([-1]), np.array([False]))
    count, axes = 1, 1
    light = np.array([toward_light[0], toward_light[1], 0.0])
    for _ in range(16):
        if not len(shoots.start):
            break
        later: list[Shoots] = []
        for rank in np.unique(shoots.rank):
            group = shoots.where(shoots.rank == rank)
            piece, children = _grow_group(rng, rules, group, int(rank), count, axes, d_exp, tip, length if rank < 0 else None, light)
            pieces.append(piece)
            later += children
            count += len(piece["xyz"])
            axes += len(group.start)
        shoots = joined(later)
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
    s: Shoots,
    rank: int,
    first: int,
    first_axis: int,
    d_exp: float,
    tip: float,
    fixed_length: float | None,
    light: Floats,
) -> tuple[dict[str, NDArray], list[Shoots]]:
    """Grow all limbs of one rank: their nodes, and the limbs that start on them."""
    rule = rules_of(habit, rank)
    m = len(s.start)
    ends_in = ends(rng, habit, rule, s, rank, tip)
    full = np.full(m, fixed_length) if fixed_length else rule.reach * (2 * s.radius) ** rule.power * np.exp(rng.normal(0, 0.12, m))
    length = full if rank < 0 else np.where(ends_in > 0, rule.end_at * full, full)
    step = np.where(s.radius > 0.006, np.clip(0.9 * s.radius, 0.04, 0.12), 0.08)
    n = np.maximum(2, np.ceil(length / step)).astype(int)
    step = length / n
    slots = place_laterals(rng, rule, s, n, tip)
    path, heading, side = walk(rng, rule, s, n, step, slots, light, rank)
    n = cut_low(path, n, rank)
    n = np.where(s.dead & (rank >= 0), np.maximum(1, (n * rng.uniform(0.12, 0.6, m)).astype(int)), n)
    ends_in = np.where(s.dead, 0, ends_in)
    before, radius, taken = spend(habit, rule, s, n, slots, ends_in, rank, d_exp, tip)
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
    children = [laterals(rng, habit, rule, s, n, slots, taken, before, path, heading, side, offset, rank, d_exp)]
    children.append(forks(rng, habit, rule, s, n, ends_in, radius, path, heading, side, offset, rank, d_exp, tip))
    if rank <= 0 and habit.stubs > 0:
        children.append(stubs(rng, habit, s, n, step, rule, path, heading, side, offset, radius))
    return piece, [c for c in children if len(c.start)]


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


def grow_tree(seed: int, habit: str | Habit = "broadleaf", *, thinnest: float = 0.01, **how: Any) -> WoodGraph:
    """Grow a tree (`grow` takes the same words) and give its exact wood graph down to a diameter. [m]"""
    return grow(seed, habit, **how).graph(thinnest)


@lru_cache(maxsize=8)
def grown(seed: int, habit: str = "broadleaf", height: float = 15.0, dbh: float = 0.45, thinnest: float = 0.005) -> GrownTree:
    """`grow`, remembered: tests share trees."""
    return grow(seed, habit, height=height, dbh=dbh, thinnest=thinnest)
