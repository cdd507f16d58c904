"""What stands around a tree? Ground, lamp posts, wires, fences, walls, hedges; and where does each wire
run?
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from second_bench.axis import smooth_noise
from second_bench.foliage import _blades, _turned, joined
from second_bench.skin import box, tube

GROUND, WOOD, LEAF, WIRE, POLE, FENCE, WALL, NEIGHBOUR, IVY, LIANA = range(10)
UP = np.array([0.0, 0.0, 1.0])
KINDS = ("ground", "wood", "leaf", "wire", "pole", "fence", "wall", "neighbour", "ivy", "liana")


@dataclass(frozen=True)
class Body:
    """Corners (v, 3), triangles (k, 3), what it is, owner (k,) of each triangle (limb or wire index, or
    0).
    """

    corners: np.ndarray
    triangles: np.ndarray
    kind: int
    owner: np.ndarray


@dataclass(frozen=True)
class Wire:
    """A true wire: points along it [m], its radius [m], and what it is: bare, bundled, slack."""

    points: np.ndarray
    radius: float
    kind: str


def body(pair, kind, owner=0):
    """A body of one owner."""
    return Body(*pair, kind, np.full(len(pair[1]), owner))


def ground(slope, half, rng, rough=0.03, lumps=0.05):
    """Ground of a slope with gentle lumps and grass."""
    n = int(2 * half / 0.15)
    x = np.linspace(-half, half, n)
    gx, gy = np.meshgrid(x, x, indexing="ij")
    wave = sum(
        rng.normal() * np.sin(gx * rng.normal(0, 0.7) + gy * rng.normal(0, 0.7) + rng.uniform(0, 6))
        for _ in range(6)
    )
    calm = np.clip(np.hypot(gx, gy) / 2.5 - 0.4, 0, 1)
    z = slope[0] * gx + slope[1] * gy + calm * (lumps * 0.4 * wave) + rng.normal(0, rough, gx.shape) * 0.4
    i = np.arange(n - 1)
    a = (i[:, None] * n + i[None, :]).ravel()
    triangles = np.vstack([np.stack([a, a + n, a + n + 1], 1), np.stack([a, a + n + 1, a + 1], 1)])
    return body((np.stack([gx, gy, z], axis=-1).reshape(-1, 3), triangles), GROUND)


def sagging(a, b, sag, points=80):
    """A hanging wire between two ends: the parabola, close to the catenary at small sag."""
    f = np.linspace(0, 1, points)[:, None]
    line = (1 - f) * a + f * b
    line[:, 2] -= 4 * sag * (f * (1 - f))[:, 0]
    return line


def pole(foot, height, arms=(), top=0.07, base=0.11):
    """A tapered pole with arms given as (height, direction xy, length): a lamp post or a line's pole."""
    foot = np.asarray(foot, float)
    shaft = foot + np.linspace(-0.3, height, 12)[:, None] * [0, 0, 1.0]
    parts = [tube(shaft, np.linspace(base, top, 12), 20)]
    for h, way, length in arms:
        d = np.array([*way, 0.0]) / np.linalg.norm(way)
        middle = foot + h * UP
        parts.append(tube(np.linspace(middle - 0.1 * d, middle + length * d, 8), 0.04, 12))
    return body(joined(parts), POLE)


def cross_armed(foot, height, line):
    """A pole with a cross-arm square to the line of wires, and where three wires are tied."""
    way = np.array([-line[1], line[0]])
    parts = pole(foot, height, ((height - 0.3, way, 1.1), (height - 0.3, -way, 1.1)), 0.1, 0.15)
    middle = np.asarray(foot, float) + (height - 0.2) * UP
    ties = [middle + s * np.array([*way, 0.0]) for s in (-1.0, 0.0, 1.0)]
    return parts, ties


def lamp(foot, height, way):
    """A lamp post with an arm and a lantern."""
    d = np.array([*way, 0.0])
    end = np.asarray(foot, float) + [0, 0, height - 0.1] + 1.5 * d
    half = np.array([0.25, 0.12, 0.06])
    head = box(end - half, end + half)
    post = pole(foot, height, ((height - 0.1, way, 1.5),), 0.05, 0.09)
    return body(joined([(post.corners, post.triangles), head]), POLE)


def fence(start, end, slope, kind):
    """Posts with rails or strained strands."""
    start, end = np.asarray(start, float), np.asarray(end, float)
    n = max(2, round(np.linalg.norm(end - start) / 2.4) + 1)
    feet = start + np.linspace(0, 1, n)[:, None] * (end - start)
    feet = np.column_stack([feet, feet @ np.asarray(slope)])
    parts = [tube(f + np.array([[0, 0, -0.2], [0, 0, 0.5], [0, 0, 1.2]]), 0.05, 10) for f in feet]
    heights, radius = ((0.45, 0.95), 0.035) if kind == "rails" else ((0.3, 0.6, 0.9, 1.1), 0.003)
    parts += [tube(feet + h * UP, radius, 6) for h in heights]
    return body(joined(parts), FENCE)


def wall(low, high, bottom, top):
    """A wall or house as an upright block between two plan corners."""
    return body(box([*low, bottom], [*high, top]), WALL)


def hedge(start, end, width, height, slope, rng):
    """A clipped hedge: thin shoots and leaves filling a block."""
    start, end = np.asarray(start, float), np.asarray(end, float)
    way = (end - start) / np.linalg.norm(end - start)
    side = np.array([-way[1], way[0]])
    length = np.linalg.norm(end - start)
    n = int(length * width * height * 45)
    u, v, w = rng.uniform(0, length, n), rng.uniform(-width / 2, width / 2, n), rng.uniform(0, height, n)
    foot = start + u[:, None] * way + v[:, None] * side
    at = np.column_stack([foot, foot @ np.asarray(slope) + w])
    parts = []
    for p in at[: n // 2]:
        d = rng.normal(0, 0.5, 3) + UP
        parts.append(
            tube(
                p + np.linspace(0, 0.35, 4)[:, None] * d + smooth_noise(rng, 4, 0.1, 0.3, 3) * 0.02,
                rng.uniform(0.002, 0.006),
                5,
            )
        )
    count = int(length * width * height * 1400)
    u, w = rng.uniform(0, length, count), np.minimum(rng.exponential(0.5, count), 1.0)
    v = (width / 2) * rng.choice([-1, 1], count) * (1 - 0.4 * w)
    h = np.where(
        rng.random(count) < 0.25, height * (1 - 0.15 * rng.random(count)), rng.uniform(0.1, height, count)
    )
    foot = start + u[:, None] * way + v[:, None] * side
    out, across = _turned(rng, count)
    parts.append(
        _blades(
            np.column_stack([foot, foot @ np.asarray(slope) + h]),
            out,
            across,
            np.full(count, 0.04),
            np.full(count, 0.03),
        )
    )
    return body(joined(parts), NEIGHBOUR)
