"""Which limbs does a tree of one form put out? Axes and radii only; bark comes later."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, replace

import numpy as np

from second_bench.axis import Limb, across, along_curve, smooth_noise, walk
from second_bench.forms import Form

UP = np.array([0.0, 0.0, 1.0])
LEAST_RADIUS = 0.0055
"""Thinner laterals are left to the foliage. [m]"""
TIP_RADIUS = 0.003
BELOW_GROUND = 0.5
GOLDEN = np.deg2rad(137.5)
SPLIT = 0.42
"""Share of the cross section's area (for equal radii) that a lateral takes from its parent."""
MOST_LIMBS = 2600


@dataclass(frozen=True)
class _Bud:
    """A limb still to grow."""

    start: np.ndarray
    direction: np.ndarray
    normal: np.ndarray
    radius: float
    length: float
    parent: int
    at: int
    order: int
    kind: str
    angle: float


def step_for(radius):
    """Distance of stations on a limb of this radius. [m]"""
    return 0.06 if radius < 0.012 else float(np.clip(0.8 * radius, 0.015, 0.05))


def grow(form: Form, rng: np.random.Generator, slope=(0.0, 0.0)) -> tuple[Limb, ...]:
    """Limbs of a tree whose foot is the origin, parents before children; the ground rises by slope . (x,
    y).
    """
    slope = np.asarray(slope, float)
    limbs: list[Limb] = []
    buds = deque(_stem_buds(form, rng, slope))
    while buds and len(limbs) < MOST_LIMBS:
        bud = buds.popleft()
        limb, laterals = _extend(bud, form, rng, slope)
        if limb is None:
            continue
        index = len(limbs)
        limbs.append(limb)
        buds.extend(replace(b, parent=index) for b in laterals)
    if form.knuckles:
        limbs += _brushes(limbs, rng)
    limbs += _sinkers(limbs, form, rng, slope)
    limbs += _grafts(limbs, form, rng)
    return tuple(limbs)


def _stem_buds(form, rng, slope):
    turn = rng.uniform(0, 2 * np.pi)
    for k in range(form.stems):
        azimuth = turn + 2 * np.pi * k / form.stems + rng.normal(0, 0.2)
        away = np.array([np.cos(azimuth), np.sin(azimuth), 0.0])
        foot = away * rng.uniform(*form.stem_gap)
        lean = np.deg2rad(rng.uniform(*form.lean))
        d = np.cos(lean) * UP + np.sin(lean) * away
        foot[2] = slope @ foot[:2]
        start = foot - d * BELOW_GROUND / d[2]
        radius = rng.uniform(*form.dbh) / 2 * 1.03
        yield _Bud(
            start, d, across(d), radius, rng.uniform(*form.height) + BELOW_GROUND, -1, 0, 0, "stem", 0.0
        )


def _nodes(bud, form, rng):
    """Arc length of the nodes, with azimuth, aspect, angle and kind of each lateral there, as rows."""
    rows = []
    azimuth = rng.uniform(0, 2 * np.pi)
    trunk = bud.kind == "stem"
    if trunk and bud.parent < 0:
        s = BELOW_GROUND + rng.uniform(*form.clear)
        if form.low_fork:
            for _ in range(rng.integers(1, 3)):
                rows.append(
                    (
                        BELOW_GROUND + rng.uniform(*form.low_fork),
                        azimuth,
                        rng.uniform(0.78, 0.98),
                        np.deg2rad(rng.uniform(16, 34)),
                        "stem",
                    )
                )
                azimuth += rng.uniform(1.8, 2.6)
    elif trunk:
        s = rng.uniform(1.6, 2.6)
    else:
        s = max(0.14 * bud.length, 0.25) + 2.5 * bud.radius
    while s < 0.95 * bud.length:
        local = bud.radius * (1 - s / bud.length) ** form.taper
        count = rng.integers(form.whorl[0], form.whorl[1] + 1) if trunk else 1
        for k in range(count):
            fork = rng.random() < form.fork
            aspect = rng.uniform(0.74, 0.98) if fork else float(np.clip(rng.normal(*form.aspect), 0.12, 0.9))
            angle = np.deg2rad(rng.uniform(*form.angle)) * (0.75 if fork else 1.0)
            rows.append(
                (
                    s + rng.uniform(-0.05, 0.05) * (count > 1),
                    azimuth + 2 * np.pi * k / count + rng.normal(0, 0.15),
                    aspect,
                    angle,
                    "limb",
                )
            )
        azimuth += GOLDEN if trunk else np.pi + rng.normal(0, 0.6)
        s += (
            rng.uniform(*form.stem_gap_nodes)
            if trunk
            else form.gap * max(local / 0.05, 0.05) ** 0.5 * rng.uniform(0.6, 1.4)
        )
    return sorted(rows)


def _extend(bud, form, rng, slope):
    """The limb of a bud and the buds on it (their parent still to be filled in)."""
    step = step_for(bud.radius)
    n = max(4, round(bud.length / step))
    rows = _nodes(bud, form, rng)
    s = np.arange(n) * step / bud.length
    trunk = bud.kind == "stem"
    pull = np.where(trunk, form.upright, form.pull[0] + (form.pull[1] - form.pull[0]) * s)
    forces = pull[:, None] * UP + (0.4 if trunk else 1.0) * form.wander * smooth_noise(rng, n, step, 0.9, 3)

    turns = [
        (round(a / step), angle * w * w / (1 + w * w) * 1.2, az, max(1, round(0.18 / step)))
        for a, az, w, angle, _ in rows
        if w > 0.6
    ]
    at, angle, azimuth, steps = (
        (np.array(c) for c in zip(*turns, strict=True)) if turns else (np.zeros(0),) * 4
    )
    xyz, normal = walk(
        bud.start,
        bud.direction,
        bud.normal,
        step,
        forces,
        at.astype(np.int64),
        angle.astype(float),
        azimuth.astype(float),
        steps.astype(np.int64),
    )
    clear = xyz[:, 2] - xyz[:, :2] @ slope > 0.45
    if not trunk and not clear.all():
        xyz, normal = xyz[: int(np.argmin(clear))], normal[: int(np.argmin(clear))]
    if len(xyz) < 6:
        return None, []

    t = np.clip(np.arange(len(xyz)) * step / bud.length, 0, 1)
    radius = TIP_RADIUS + (bud.radius - TIP_RADIUS) * (1 - t) ** (form.stem_taper if trunk else form.taper)
    buds = []
    for a, az, aspect, angle_, kind in rows:
        i = round(a / step)
        if i >= len(xyz) - 2 or radius[i] * aspect < LEAST_RADIUS or radius[i] < 2 * TIP_RADIUS:
            continue
        child = aspect * radius[i]
        d = xyz[i] - xyz[i - 1]
        d /= np.linalg.norm(d)
        m, b = normal[i], np.cross(d, normal[i])
        away = np.cos(az) * m + np.sin(az) * b
        own = angle_ * (1 - aspect**2 / (1 + aspect**2) * (aspect > 0.6))
        direction = np.cos(own) * d + np.sin(own) * away
        length = (
            (bud.length - a) * rng.uniform(0.85, 1.0)
            if kind == "stem"
            else form.reach * (child / 0.05) ** 0.7 * rng.uniform(0.8, 1.2)
        )
        buds.append(
            _Bud(
                xyz[i],
                direction,
                across(direction),
                child,
                length,
                -1,
                i,
                bud.order + (kind != "stem"),
                kind,
                angle_,
            )
        )
        width = max(1.0, radius[i] / step)
        radius = radius * (
            1
            - (1 - np.sqrt(1 - SPLIT * aspect**2))
            / (1 + np.exp(-(np.arange(len(xyz)) - i - width) / (0.5 * width)))
        )
    return Limb(
        xyz, normal, np.maximum(radius, TIP_RADIUS), bud.parent, bud.at, bud.order, bud.kind, bud.angle
    ), buds


def shoot(limbs, parent, at, direction, radius, length, kind, rng, pull=0.5, end=0.5):
    """One plain limb without laterals on station `at` of a limb; `end` is its last radius over its first."""
    step = step_for(radius)
    n = max(6, round(length / step))
    d = np.asarray(direction, float) / np.linalg.norm(direction)
    forces = pull * UP + 0.12 * smooth_noise(rng, n, step, 0.8, 3)
    none = np.zeros(0)
    xyz, normal = walk(
        limbs[parent].xyz[at],
        d,
        across(d),
        step,
        forces,
        none.astype(np.int64),
        none,
        none,
        none.astype(np.int64),
    )
    radius = np.linspace(radius, radius * end, len(xyz))
    cos = float(d @ limbs[parent].tangent[at])
    return Limb(
        xyz, normal, radius, parent, at, limbs[parent].order + 1, kind, float(np.arccos(np.clip(cos, -1, 1)))
    )


def _brushes(limbs, rng):
    """Shoots of some years on the cut heads of a pollard."""
    out = []
    heads = [i for i, m in enumerate(limbs) if m.order <= 1 and m.radius[0] > 0.04]
    for i in heads:
        limb = limbs[i]
        last = int(np.searchsorted(-limb.radius, -0.55 * limb.radius[0]))
        last = int(np.clip(last, len(limb.xyz) // 2, len(limb.xyz) - 2))
        limbs[i] = replace(
            limb, xyz=limb.xyz[: last + 1], normal=limb.normal[: last + 1], radius=limb.radius[: last + 1]
        )
        for _ in range(rng.integers(5, 10)):
            azimuth, rise = rng.uniform(0, 2 * np.pi), rng.uniform(0.5, 1.2)
            d = np.array([np.cos(azimuth) * np.cos(rise), np.sin(azimuth) * np.cos(rise), np.sin(rise)])
            radius = min(rng.uniform(0.012, 0.05), 0.6 * limb.radius[last])
            out.append(
                shoot(
                    limbs,
                    i,
                    last - int(rng.integers(0, 3)),
                    d,
                    radius,
                    3.4 * (radius / 0.03) ** 0.6,
                    "limb",
                    rng,
                    0.35,
                    0.15,
                )
            )
    keep = {
        i
        for i, m in enumerate(limbs)
        if m.parent < 0 or (m.order <= 1 and m.at < len(limbs[m.parent].xyz) - 3)
    }
    if len(keep) < len(limbs):
        _forget(limbs, keep, out)
    return out


def _forget(limbs, keep, out):
    """Drop limbs whose foot was cut off (and all on them) in place, and renumber `limbs` and `out`."""
    stays: dict[int, int] = {}
    kept = []
    for i, m in enumerate(limbs):
        if i in keep and (m.parent < 0 or m.parent in stays):
            stays[i] = len(kept)
            kept.append(replace(m, parent=stays[m.parent] if m.parent >= 0 else -1))
    limbs[:] = kept
    out[:] = [replace(m, parent=stays[m.parent]) for m in out if m.parent in stays]


def _sinkers(limbs, form, rng, slope):
    """Low limbs that sink to the ground and rise again."""
    out = []
    for _ in range(form.sinkers):
        stem = limbs[0]
        at = int(np.argmin(np.abs(stem.xyz[:, 2] - rng.uniform(1.3, 1.7))))
        azimuth, radius = rng.uniform(0, 2 * np.pi), 0.3 * stem.radius[at]
        away = np.array([np.cos(azimuth), np.sin(azimuth), 0.0])
        foot = stem.xyz[at]
        reach = np.array([0.0, 0.8, 1.8, 2.8, 3.6, 4.4, 5.0])
        rise = np.array([0.0, 0.25, -0.05, -0.75, -1.0, -0.55, 0.6])
        rise = np.where(rise < 0, rise * (foot[2] - 0.05) / 1.0, rise)
        points = foot + reach[:, None] * away + rise[:, None] * UP
        points[:, 2] += np.where(reach > 2, (points[:, :2] - foot[:2]) @ slope, 0.0)
        xyz, normal = along_curve(_rounded(points), step_for(radius))
        out.append(
            Limb(xyz, normal, np.linspace(radius, 0.35 * radius, len(xyz)), 0, at, 1, "limb", np.deg2rad(75))
        )
    return out


def _grafts(limbs, form, rng):
    """Limbs that bridge from one limb into another and have grown together with it."""
    out = []
    big = [
        i
        for i, m in enumerate(limbs)
        if m.order == 1 and m.kind == "limb" and len(m.xyz) > 30 and m.radius[0] > 0.05
    ]
    for _ in range(form.grafts):
        if len(big) < 2:
            break
        a, b = rng.choice(big, 2, replace=False)
        i = int(len(limbs[a].xyz) * 0.35)
        gaps = np.linalg.norm(limbs[b].xyz - limbs[a].xyz[i], axis=1)
        gaps[: len(gaps) // 5] = np.inf
        j = int(np.argmin(gaps))
        if gaps[j] > 3.5 or gaps[j] < 0.5:
            continue
        p, q = limbs[a].xyz[i], limbs[b].xyz[j]
        middle = (p + q) / 2 + 0.15 * gaps[j] * UP
        xyz, normal = along_curve(_rounded(np.array([p, middle, q])), 0.03)
        radius = 0.45 * min(limbs[a].radius[i], limbs[b].radius[j])
        d = (xyz[3] - xyz[0]) / np.linalg.norm(xyz[3] - xyz[0])
        angle = float(np.arccos(np.clip(d @ limbs[a].tangent[i], -1, 1)))
        out.append(Limb(xyz, normal, np.full(len(xyz), radius), int(a), i, 2, "graft", angle))
    return out


def _rounded(points, rounds=4):
    """Corners cut off, ends kept."""
    for _ in range(rounds):
        a, b = points[:-1], points[1:]
        cut = np.stack([0.75 * a + 0.25 * b, 0.25 * a + 0.75 * b], axis=1).reshape(-1, 3)
        points = np.vstack([points[:1], cut, points[-1:]])
    return points
