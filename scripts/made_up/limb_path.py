"""Which way does a limb grow, where do its laterals sit, and how thick is it along the way?"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from made_up.habits import Habit, LimbRules
from made_up.shoots import UP, Shoots, Slots

Floats = NDArray[np.float64]
LOWEST_TWIG = 0.7
"""Limbs end when they hang down to this height above the stem's foot [m]."""


def rules_of(habit: Habit, rank: int) -> LimbRules:
    """Rules of a rank: -1 stem, 0 leader, 1 and up the limbs."""
    if rank < 0:
        return habit.stem
    return habit.leader_rules if rank == 0 else habit.limbs[min(rank, len(habit.limbs)) - 1]


def ends(rng: np.random.Generator, habit: Habit, rule: LimbRules, s: Shoots, rank: int, tip: float) -> NDArray[np.int64]:
    """How many forks each limb ends in."""
    if rank < 0 and habit.leaders:
        return np.full(len(s.start), habit.leaders)
    drawn = np.searchsorted(np.cumsum(rule.fork) / np.sum(rule.fork), rng.uniform(size=len(s.start)))
    kinds = np.array([0, 2, 3])[drawn]
    return np.where(s.radius * rule.end > 2.5 * tip, kinds, 0)


def place_laterals(rng: np.random.Generator, rule: LimbRules, s: Shoots, n: NDArray[np.int64], tip: float) -> Slots:
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
    return Slots(node, azimuth, share)


def walk(
    rng: np.random.Generator, rule: LimbRules, s: Shoots, n: NDArray[np.int64], step: Floats, slots: Slots, light: Floats, rank: int
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


def cut_low(path: Floats, n: NDArray[np.int64], rank: int) -> NDArray[np.int64]:
    """Limbs that hang to the ground end there."""
    if rank < 0:
        return n
    low = path[:, 1:, 2] < LOWEST_TWIG
    first = np.where(low.any(axis=1), low.argmax(axis=1), n)
    return np.clip(np.minimum(n, first), 1, None)


def spend(
    habit: Habit, rule: LimbRules, s: Shoots, n: NDArray[np.int64], slots: Slots, ends_in: NDArray[np.int64], rank: int, d_exp: float, tip: float
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
