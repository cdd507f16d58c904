"""Limbs about to grow, and where on their parents they start: laterals, forks, dead stubs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from made_up.habits import Habit, LimbRules

Floats = NDArray[np.float64]
UP = np.array([0.0, 0.0, 1.0])


@dataclass
class Shoots:
    """Limbs about to grow, one row each."""

    start: NDArray[np.int64]
    place: Floats
    direction: Floats
    side: Floats
    radius: Floats
    rank: NDArray[np.int64]
    dead: NDArray[np.bool_]

    def where(self, mask: NDArray) -> Shoots:
        """The limbs a mask picks."""
        return Shoots(*(getattr(self, name)[mask] for name in ("start", "place", "direction", "side", "radius", "rank", "dead")))


@dataclass
class Slots:
    """Places for laterals, (m, k): node index along the limb (0 = none), azimuth round it, share of the wood."""

    node: NDArray[np.int64]
    azimuth: Floats
    share: Floats


def laterals(
    rng: np.random.Generator,
    habit: Habit,
    rule: LimbRules,
    s: Shoots,
    n: NDArray[np.int64],
    slots: Slots,
    taken: Floats,
    after: Floats,
    path: Floats,
    heading: Floats,
    side: Floats,
    offset: NDArray[np.int64],
    rank: int,
    d_exp: float,
) -> Shoots:
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
    across = unit((1 - rule.flat) * across + rule.flat * level)
    ratio = np.minimum(r / np.maximum(after[row, node], 1e-9), 1.0)
    angle = np.radians(np.clip(rng.normal(rule.angle[0] + 12 * (0.45 - ratio), rule.angle[1]), 15, 110))
    direction = np.cos(angle)[:, None] * d + np.sin(angle)[:, None] * across
    dead = (rng.uniform(size=len(row)) < habit.dead) & (r < 0.04) & (max(rank, 0) <= 1)
    return Shoots(offset[row] + node - 1, path[row, node], direction, any_side(direction), r, np.full(len(row), max(rank, 0) + 1), dead)


def forks(
    rng: np.random.Generator,
    habit: Habit,
    rule: LimbRules,
    s: Shoots,
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
) -> Shoots:
    """Start the forks (or leaders) that limbs end in."""
    leaders = rank < 0 and habit.leaders > 0
    row = np.repeat(np.arange(len(n)), ends_in)
    if not len(row):
        return none()
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
    out = Shoots(
        offset[row] + n[row] - 1,
        path[row, n[row]],
        direction,
        any_side(direction),
        r,
        np.full(len(row), 0 if rank < 0 else rank),
        np.zeros(len(row), bool),
    )
    return out.where(keep)


def stubs(
    rng: np.random.Generator,
    habit: Habit,
    s: Shoots,
    n: NDArray[np.int64],
    step: Floats,
    rule: LimbRules,
    path: Floats,
    heading: Floats,
    side: Floats,
    offset: NDArray[np.int64],
    radius: Floats,
) -> Shoots:
    """Dead stubs where shaded limbs broke off: on the bare part of stems and leaders, above reach of the ground."""
    bare = rule.bare * n * step
    count = rng.poisson(habit.stubs * bare)
    row = np.repeat(np.arange(len(n)), count)
    if not len(row):
        return none()
    node = np.clip((rng.uniform(0.25, 1.0, len(row)) * rule.bare * n[row]).astype(int), 1, n[row])
    d, e = heading[row, node], side[row, node]
    a = rng.uniform(0, 2 * np.pi, len(row))
    angle = np.radians(rng.normal(75, 12, len(row)))
    direction = np.cos(angle)[:, None] * d + np.sin(angle)[:, None] * (np.cos(a)[:, None] * e + np.sin(a)[:, None] * np.cross(d, e))
    r = np.minimum(rng.uniform(0.006, 0.028, len(row)), 0.35 * radius[row, node])
    return Shoots(offset[row] + node - 1, path[row, node], direction, any_side(direction), r, np.ones(len(row), int), np.ones(len(row), bool))


def any_side(d: Floats) -> Floats:
    """A unit vector across each direction."""
    a = np.where(np.abs(d[:, 2:]) < 0.9, UP, np.array([1.0, 0.0, 0.0]))
    return unit(np.cross(d, a))


def unit(v: Floats) -> Floats:
    """Rows of length 1."""
    return v / np.maximum(np.linalg.norm(v, axis=1, keepdims=True), 1e-12)


def none() -> Shoots:
    """No limbs."""
    z = np.zeros(0, int)
    return Shoots(z, np.zeros((0, 3)), np.zeros((0, 3)), np.zeros((0, 3)), np.zeros(0), z, np.zeros(0, bool))


def joined(groups: list[Shoots]) -> Shoots:
    """Several groups as one."""
    if not groups:
        return none()
    return Shoots(*(np.concatenate([getattr(g, name) for g in groups]) for name in ("start", "place", "direction", "side", "radius", "rank", "dead")))
