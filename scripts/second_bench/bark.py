"""How far does bark stand from the axis, at each station and all around?

Unround wood, furrows, plates, flutes, flares, burls, scars.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from second_bench.axis import Limb, smooth_noise


@dataclass(frozen=True)
class Bark:
    """What one tree wears. Shares are of the local radius.

    Attributes
    ----------
    harmonics : float      Most that harmonics 2 to 5 may sum to.
    furrows : float        Depth of furrows.
    plates : float         Thickness of plates. [m]
    flutes : float         Height of flutes at the foot.
    buttress : float       Spread of the butt at the ground.
    burls, scars : int     Burls; pruning scars of healed cuts.
    collar : float         Swelling of a limb's base.
    """

    harmonics: float = 0.02
    furrows: float = 0.02
    plates: float = 0.0
    flutes: float = 0.0
    buttress: float = 0.35
    burls: int = 0
    scars: int = 2
    collar: float = 0.25


SMOOTH = Bark(harmonics=0.0, furrows=0.0, scars=0, buttress=0.0, collar=0.0)

BARKS: dict[str, Bark] = {
    "smooth": Bark(harmonics=0.015, furrows=0.0, scars=3, buttress=0.3, collar=0.22),
    "furrowed": Bark(harmonics=0.03, furrows=0.045, burls=1),
    "plated": Bark(harmonics=0.02, furrows=0.012, plates=0.007),
    "fluted": Bark(harmonics=0.025, flutes=0.09, buttress=0.7, furrows=0.005),
    "burred": Bark(harmonics=0.03, furrows=0.03, burls=7, scars=6, collar=0.4),
}
FURROW_APART = 0.055
FURROW_MOST = 0.02
COARSE_BARK_FROM = 0.05
"""Radius from which bark is old enough to furrow. [m]"""


def ring_size(radius: float) -> int:
    """Corners of the rings of a limb."""
    if radius > COARSE_BARK_FROM:
        return int(np.clip(4 * round(2 * np.pi * radius / FURROW_APART), 48, 176))
    return 32 if radius > 0.02 else 16 if radius > 0.01 else 8


def ring_area(rings):
    """Area of each ring as the polygon its corners make. [m2]"""
    m = rings.shape[1]
    return 0.5 * np.sin(2 * np.pi / m) * (rings * np.roll(rings, -1, axis=1)).sum(axis=1)


def bark_distance(parent_radius, angle):
    """Along a straight limb, from the parent's axis to its bark. [m]"""
    return float(parent_radius / max(np.sin(angle), 0.22))


def dressed(
    limbs: tuple[Limb, ...], bark: Bark, rng: np.random.Generator, ground=(0.0, 0.0)
) -> list[np.ndarray]:
    """Rings (n, corners) of every limb: distance of the bark from the axis. [m]"""
    children: dict[int, list[int]] = {}
    for i, m in enumerate(limbs):
        if m.parent >= 0:
            children.setdefault(m.parent, []).append(i)
    burls = _spots(limbs, bark.burls, rng)
    scars = _spots(limbs, bark.scars, rng)
    slope = np.asarray(ground, float)
    out = []
    for i, limb in enumerate(limbs):
        height = limb.xyz[:, 2] - limb.xyz[:, :2] @ slope
        rings = _unround(limb, bark, rng, height)
        rings *= _own_collar(limb, limbs, bark, rng)[:, None]
        for c in children.get(i, ()):
            rings *= _swelling(limb, limbs[c], bark)[:, None]
        if limb.parent < 0 and bark.buttress:
            rings *= _butt(rings.shape[1], height, bark, rng)
        for at, angle in burls.get(i, ()):
            rings += _bump(
                limb,
                rings.shape[1],
                at,
                angle,
                rng.uniform(0.2, 0.45) * limb.radius[at],
                rng.uniform(0.4, 0.8) * limb.radius[at],
            )
        for at, angle in scars.get(i, ()):
            width = rng.uniform(0.25, 0.5) * limb.radius[at]
            rings += _bump(limb, rings.shape[1], at, angle, 0.3 * width, width)
            rings -= _bump(limb, rings.shape[1], at, angle, 0.32 * width, 0.45 * width)
        out.append(rings)
    return out


def _unround(limb, bark, rng, height):
    """Rings of the nominal area with everything that leaves the area as it is."""
    n, m = len(limb.radius), ring_size(float(limb.radius[0]))
    theta = np.arange(m) * 2 * np.pi / m
    shape = np.ones((n, m))
    if bark.harmonics:
        share = rng.dirichlet(np.ones(4)) * bark.harmonics * rng.uniform(0.5, 1.0)
        for k in range(2, 6):
            phase = rng.uniform(0, 2 * np.pi) + 0.7 * smooth_noise(rng, n, limb.step, 2.0, 1)
            shape += share[k - 2] * np.cos(k * theta + phase)
    if limb.radius[0] > COARSE_BARK_FROM:
        old = np.clip(limb.radius / COARSE_BARK_FROM - 1, 0, 1)[:, None]
        if bark.flutes and limb.parent < 0:
            lobes = int(rng.integers(4, 8))
            drift = 0.4 * smooth_noise(rng, n, limb.step, 1.5, 1)
            shape += (
                bark.flutes * np.exp(-np.maximum(height, 0) / 1.5)[:, None] * np.cos(lobes * theta + drift)
            )
        if bark.furrows:
            ridges = max(6, round(2 * np.pi * limb.radius[0] / FURROW_APART))
            braid = sum(
                smooth_noise(rng, n, limb.step, 0.5, 1) * np.cos(j * theta + rng.uniform(0, 6))
                for j in (1, 2, 3)
            )
            deep = np.minimum(bark.furrows, FURROW_MOST / limb.radius)[:, None] * old
            shape -= deep * np.abs(np.cos(0.5 * ridges * theta + 1.3 * braid)) ** 5
        if bark.plates:
            rows, cells = int(n * limb.step / 0.12) + 2, max(4, int(2 * np.pi * limb.radius[0] / 0.08))
            thick = rng.uniform(0, bark.plates, (rows, cells))
            row = (np.arange(n) * limb.step / 0.12).astype(int)
            cell = ((theta / (2 * np.pi) * cells)[None, :] + 0.5 * (row % 2)[:, None]).astype(int) % cells
            shape += old * thick[row[:, None], cell] / limb.radius[:, None]
    return shape * (limb.radius * np.sqrt(np.pi / ring_area(shape)))[:, None]


def _own_collar(limb, limbs, bark, rng):
    """Swelling of the base of a limb, fading past the parent's bark."""
    if limb.parent < 0 or not bark.collar:
        return np.ones(len(limb.radius))
    start = bark_distance(
        limbs[limb.parent].radius[min(limb.at, len(limbs[limb.parent].radius) - 1)], limb.angle
    )
    past = np.maximum(limb.along - start, 0)
    flare = 1 + bark.collar * rng.uniform(0.6, 1.2) * np.exp(-past / (1.1 * limb.radius[0]))
    most = limbs[limb.parent].radius[limb.at] * 0.99 / limb.radius
    return np.maximum(np.minimum(flare, most), 1.0)


def _swelling(limb, child, bark):
    """Swelling of the parent around a union, as of a limb of this size."""
    aspect = child.radius[0] / limb.radius[child.at]
    d = np.arange(len(limb.radius)) - child.at
    d = d * limb.step
    return 1 + 0.3 * bark.collar * aspect**2 * np.exp(-0.5 * (d / (1.6 * child.radius[0])) ** 2)


def _butt(corners, height, bark, rng):
    """Spread of the foot, with root lobes."""
    theta = np.arange(corners) * 2 * np.pi / corners
    lobes = np.full(corners, 0.4)
    for _ in range(int(rng.integers(4, 7))):
        lobes += rng.uniform(0.3, 0.8) * np.maximum(np.cos(theta - rng.uniform(0, 2 * np.pi)), 0) ** 4
    fall = np.exp(-np.maximum(height, -0.1) / rng.uniform(0.2, 0.4))
    return 1 + bark.buttress * fall[:, None] * lobes


def _spots(limbs, count, rng):
    """Places for burls and scars on stems and big limbs: limb to (station, angle)."""
    big = [i for i, m in enumerate(limbs) if m.kind in ("stem", "limb") and m.radius[0] > 0.06]
    out: dict[int, list] = {}
    for _ in range(count if big else 0):
        i = big[0] if rng.random() < 0.5 else int(rng.choice(big))
        at = int(rng.uniform(0.12, 0.7) * len(limbs[i].radius))
        out.setdefault(i, []).append((at, rng.uniform(0, 2 * np.pi)))
    return out


def _bump(limb, corners, at, angle, height, width):
    """A rounded rise on the bark."""
    theta = np.arange(corners) * 2 * np.pi / corners
    across = np.angle(np.exp(1j * (theta - angle))) * limb.radius[at]
    along = (np.arange(len(limb.radius)) - at) * limb.step
    return height * np.exp(-0.5 * (along[:, None] ** 2 + across**2) / width**2)
