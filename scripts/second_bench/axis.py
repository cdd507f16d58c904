"""How does the axis of a limb run? Steps with a pull (light, weight, chance) and turns where it divides."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit


@dataclass(frozen=True)
class Limb:
    """One limb along its axis.

    Attributes
    ----------
    xyz : (n, 3)      Stations of the axis, evenly apart; the first lies on the parent's axis. [m]
    normal : (n, 3)   Unit vector across the axis that does not spin along it: angle 0 of the bark.
    radius : (n,)     Nominal radius over bark, flares left out. [m]
    parent : int      Index of the limb it grew from, -1 for a stem.
    at : int          Station of the parent where the two axes meet.
    order : int       0 for stems.
    kind : str        stem, limb, stub, sprout, liana, graft.
    angle : float     Between this limb and the parent's direction below. [rad]
    """

    xyz: np.ndarray
    normal: np.ndarray
    radius: np.ndarray
    parent: int
    at: int
    order: int
    kind: str
    angle: float = 0.0

    @property
    def step(self) -> float:
        """Distance of two stations. [m]"""
        return float(np.linalg.norm(self.xyz[1] - self.xyz[0]))

    @property
    def along(self) -> np.ndarray:
        """Arc length of each station. [m]"""
        return np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(self.xyz, axis=0), axis=1))]

    @property
    def tangent(self) -> np.ndarray:
        """Unit direction of the axis at each station."""
        t = np.gradient(self.xyz, axis=0)
        return t / np.linalg.norm(t, axis=1)[:, None]


@njit(cache=True)
def walk(start, direction, normal, step, pull, turn_at, turn_angle, turn_azimuth, turn_steps):
    """Stations and normals of an axis of len(pull) steps; a turn bends it away from its azimuth over some
    steps.
    """
    n = pull.shape[0]
    xyz = np.empty((n + 1, 3))
    normals = np.empty((n + 1, 3))
    d = direction.copy()
    m = normal.copy()
    xyz[0] = start
    normals[0] = m
    for i in range(n):
        b = np.array([d[1] * m[2] - d[2] * m[1], d[2] * m[0] - d[0] * m[2], d[0] * m[1] - d[1] * m[0]])
        for k in range(turn_at.shape[0]):
            if turn_at[k] <= i < turn_at[k] + turn_steps[k]:
                share = turn_angle[k] / turn_steps[k]
                d = d - share * (np.cos(turn_azimuth[k]) * m + np.sin(turn_azimuth[k]) * b)
        d = d + step * pull[i]
        d = d / np.sqrt((d * d).sum())
        m = m - d * (m * d).sum()
        m = m / np.sqrt((m * m).sum())
        xyz[i + 1] = xyz[i] + step * d
        normals[i + 1] = m
    return xyz, normals


def across(direction):
    """Any unit vector across a direction."""
    d = np.asarray(direction, float)
    helper = np.array([1.0, 0.0, 0.0]) if abs(d[0]) < 0.8 else np.array([0.0, 1.0, 0.0])
    m = np.cross(d, helper)
    return m / np.linalg.norm(m)


def along_curve(points, step):
    """Limb-ready stations of a given curve: evenly apart, with normals that do not spin."""
    points = np.asarray(points, float)
    s = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))]
    n = max(2, round(s[-1] / step) + 1)
    t = np.linspace(0.0, s[-1], n)
    xyz = np.stack([np.interp(t, s, points[:, k]) for k in range(3)], axis=1)
    tangent = np.gradient(xyz, axis=0)
    tangent /= np.linalg.norm(tangent, axis=1)[:, None]
    normal = np.empty_like(xyz)
    m = across(tangent[0])
    for i, d in enumerate(tangent):
        m = m - d * (m @ d)
        m = m / np.linalg.norm(m)
        normal[i] = m
    return xyz, normal


def smooth_noise(rng, n, step, length, size):
    """(n, size) random curves of unit spread that forget themselves over `length` [m]."""
    knots = max(4, int(np.ceil(n * step / length)) + 3)
    values = rng.normal(size=(knots, size))
    at = np.arange(n) * step / length + rng.random()
    low = at.astype(int)
    f = (at - low)[:, None]
    f = f * f * (3 - 2 * f)
    low = np.minimum(low, knots - 2)
    return values[low] * (1 - f) + values[low + 1] * f
