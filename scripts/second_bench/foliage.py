"""Where do leaves, needles and ivy stand? Loose triangles on thin wood and on stems."""

from __future__ import annotations

import numpy as np

from second_bench.skin import frames


def _blades(at, out, side, length, width):
    """Two triangles a blade: from `at` along `out`, as wide as `width` along `side`."""
    a, b = at, at + length[:, None] * out
    half = 0.5 * width[:, None] * side
    middle = 0.5 * (a + b)
    corners = np.stack([a, middle + half, b, middle - half], axis=1)
    pair = np.array([[0, 1, 2], [0, 2, 3]])
    triangles = (4 * np.arange(len(at))[:, None, None] + pair).reshape(-1, 3)
    return corners.reshape(-1, 3), triangles


def _turned(rng, n):
    """n random unit directions, and a unit direction across each."""
    out = rng.normal(size=(n, 3))
    out /= np.linalg.norm(out, axis=1)[:, None]
    side = np.cross(out, rng.normal(size=(n, 3)))
    return out, side / np.linalg.norm(side, axis=1)[:, None]


def _on_twigs(limbs, rng, n, thinner, reach):
    """n places near wood thinner than a radius, with the wood's direction there."""
    xyz = np.vstack([m.xyz[m.radius < thinner] for m in limbs if m.kind in ("limb", "sprout", "stem")])
    way = np.vstack([m.tangent[m.radius < thinner] for m in limbs if m.kind in ("limb", "sprout", "stem")])
    pick = rng.integers(0, len(xyz), n)
    return xyz[pick] + rng.normal(0, reach, (n, 3)), way[pick]


def leaves(limbs, rng, area, size=0.07):
    """Broad leaves of a total area [m2]; corners and triangles."""
    n = int(area / (0.5 * size * 0.7 * size))
    at, _ = _on_twigs(limbs, rng, n, 0.012, 0.09)
    out, side = _turned(rng, n)
    return _blades(at, out, side, size * rng.uniform(0.7, 1.2, n), 0.7 * size * rng.uniform(0.7, 1.2, n))


def needles(limbs, rng, area):
    """Needles in tufts around the shoots."""
    n = int(area / (0.5 * 0.05 * 0.006))
    n = min(n, 400_000)
    at, way = _on_twigs(limbs, rng, n, 0.014, 0.015)
    out, side = _turned(rng, n)
    out = out + 0.7 * way
    out /= np.linalg.norm(out, axis=1)[:, None]
    return _blades(at, out, side, rng.uniform(0.03, 0.07, n), np.full(n, 0.006))


def ivy(limbs, rings, rng, height):
    """A coat of ivy leaves around the stems up to a height, and some way out along the first limbs."""
    parts = []
    for m, r in zip(limbs, rings, strict=True):
        if m.radius[0] < 0.06 or m.kind not in ("stem", "limb"):
            continue
        _, n, b = frames(m)
        low = np.flatnonzero((m.xyz[:, 2] < height) & (m.along < (1e9 if m.kind == "stem" else 1.5)))
        if len(low) < 2:
            continue
        count = int(len(low) * m.step * 2 * np.pi * m.radius[0] * 900)
        i = rng.choice(low, count)
        a = rng.uniform(0, 2 * np.pi, count)
        bark = r[i, (a / (2 * np.pi) * r.shape[1]).astype(int) % r.shape[1]]
        away = np.cos(a)[:, None] * n[i] + np.sin(a)[:, None] * b[i]
        at = (
            m.xyz[i]
            + (bark + rng.exponential(0.05, count) + 0.01)[:, None] * away
            + rng.normal(0, 0.02, (count, 3))
        )
        out, side = _turned(rng, count)
        parts.append(_blades(at, out, side, np.full(count, 0.05), np.full(count, 0.045)))
    return joined(parts)


def joined(parts):
    """Several pairs of corners and triangles as one."""
    parts = [p for p in parts if len(p[0])]
    if not parts:
        return np.zeros((0, 3)), np.zeros((0, 3), int)
    shift = np.cumsum([0] + [len(c) for c, _ in parts[:-1]])
    return np.vstack([c for c, _ in parts]), np.vstack(
        [t + s for (_, t), s in zip(parts, shift, strict=True)]
    )
