"""What else hangs on an old tree? Dead stubs, watersprouts, lianas."""

from __future__ import annotations

import numpy as np

from second_bench.axis import Limb, along_curve
from second_bench.growth import UP, shoot
from second_bench.skin import frames


def with_extras(limbs, rng, stubs=0, sprouts=0, lianas=0) -> tuple[Limb, ...]:
    """The limbs, then dead stubs, watersprouts and lianas added to them."""
    out = list(limbs)
    hosts = [i for i, m in enumerate(limbs) if m.kind in ("stem", "limb") and m.radius[0] > 0.05]
    for _ in range(stubs):
        i, at = _place(limbs, hosts, rng)
        radius = rng.uniform(0.15, 0.4) * limbs[i].radius[at]
        out.append(
            shoot(
                out,
                i,
                at,
                _sideways(limbs[i], at, rng, 0.5),
                radius,
                limbs[i].radius[at] + rng.uniform(0.08, 0.6),
                "stub",
                rng,
                0.0,
                0.9,
            )
        )
    for _ in range(sprouts):
        i, at = _place(limbs, hosts, rng)
        d = _sideways(limbs[i], at, rng, 0.3) + 0.8 * UP
        radius = min(rng.uniform(0.006, 0.016), 0.6 * limbs[i].radius[at])
        out.append(
            shoot(out, i, at, d, radius, limbs[i].radius[at] + rng.uniform(0.6, 2.0), "sprout", rng, 0.6, 0.3)
        )
    for _ in range(lianas):
        out.append(_liana(limbs[0], rng))
    return tuple(out)


def _place(limbs, hosts, rng):
    """A limb, the longer the likelier, and a station on it away from its ends."""
    length = np.array([len(limbs[i].xyz) * limbs[i].step for i in hosts])
    i = int(rng.choice(hosts, p=length / length.sum()))
    low = 0.25 if limbs[i].parent >= 0 else 0.2
    return i, int(rng.uniform(low, 0.8) * len(limbs[i].xyz))


def _sideways(limb, at, rng, forward):
    """A direction away from the axis, leaning forward along it."""
    t, n, b = (f[at] for f in frames(limb))
    a = rng.uniform(0, 2 * np.pi)
    return np.cos(a) * n + np.sin(a) * b + forward * t


def _liana(stem, rng):
    """A climber's stem that winds up a trunk just off its bark."""
    _, n, b = frames(stem)
    last = int(rng.uniform(0.35, 0.7) * len(stem.xyz))
    first = int(np.argmax(stem.xyz[:, 2] > stem.xyz[0, 2] + 0.3))
    s = np.arange(first, last)
    radius = rng.uniform(0.008, 0.02)
    angle = rng.uniform(0, 2 * np.pi) + rng.uniform(-0.9, 0.9) * s * stem.step
    off = stem.radius[s] * 1.05 + radius + 0.01
    points = stem.xyz[s] + off[:, None] * (np.cos(angle)[:, None] * n[s] + np.sin(angle)[:, None] * b[s])
    xyz, normal = along_curve(points, 0.05)
    return Limb(xyz, normal, np.full(len(xyz), radius), 0, first, 9, "liana")
