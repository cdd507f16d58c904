"""How does the line lie once it is pulled taut, and what does it bear on?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from treescan.arrays import Floats, Ints
from treescan.geometry import upper_hull

AROUND = 33
"""Points on the upper half round of a sphere's cut; the outline lies inside the true one by at most r (1 - cos(pi / 64)), 0.12 % of r."""

ALONG = 41
"""Slices along a tapered piece."""


@dataclass(frozen=True)
class TautLine:
    """A line pulled taut over obstacles in its vertical plane.

    Attributes
    ----------
    points : (q, 2) float       (s, z) corners from the near end to the far end. [m]
    support : (q,) int          Obstacle each corner lies on, -1 for the two ends.
    """

    points: Floats
    support: Ints

    @property
    def order(self) -> list[int]:
        """Obstacles the line bears on, near end first, each once."""
        seen: list[int] = []
        for k in self.support:
            if k >= 0 and k not in seen:
                seen.append(int(k))
        return seen

    @property
    def turning(self) -> float:
        """Sum of the turns at all supports. [rad]"""
        d = np.diff(self.points, axis=0)
        a = np.arctan2(d[:, 1], d[:, 0])
        return float(np.sum(a[:-1] - a[1:]))


def slice_outline(start: ArrayLike, end: ArrayLike, r_start: float, r_end: float) -> Floats:
    """Upper outline points of a tapered capsule cut by the plane n = 0, (k, 2) as (s, z); empty when it does not reach the plane.

    Parameters
    ----------
    start, end : (3,) float     (s, z, n) of the axis. [m]
    r_start, r_end : float      [m]

    Notes
    -----
    The capsule is the union of its spheres; each sphere cuts the plane in a circle of radius sqrt(r^2 - n^2).
    """
    a, b = np.asarray(start, float), np.asarray(end, float)
    t0, t1 = 0.0, 1.0
    dn, dr = b[2] - a[2], r_end - r_start
    if abs(dn) > abs(dr):
        ends = ((r_start - a[2]) / (dn - dr), (-r_start - a[2]) / (dn + dr))
        t0, t1 = float(np.clip(min(ends), 0.0, 1.0)), float(np.clip(max(ends), 0.0, 1.0))
    t = t0 + (t1 - t0) * (1 - np.cos(np.linspace(0.0, np.pi, ALONG))) / 2
    centre = a + t[:, None] * (b - a)
    square = (r_start + t * (r_end - r_start)) ** 2 - centre[:, 2] ** 2
    ok = square >= -1e-12
    rho, round_ = np.sqrt(np.maximum(square[ok], 0.0)), np.linspace(0.0, np.pi, AROUND)
    s = centre[ok, 0][:, None] + rho[:, None] * np.cos(round_)
    z = centre[ok, 1][:, None] + rho[:, None] * np.sin(round_)
    return np.column_stack([s.ravel(), z.ravel()])


def taut_line(near_end: ArrayLike, far_end: ArrayLike, outlines: list[Floats]) -> TautLine:
    """The shortest line from the near end to the far end that passes above every outline: their upper hull.

    Parameters
    ----------
    near_end, far_end : (2,) float      (s, z). [m]
    outlines : list of (k, 2) float     Of `slice_outline`.
    """
    a, b = np.asarray(near_end, float), np.asarray(far_end, float)
    points = np.concatenate([a[None], *outlines, b[None]])
    owner = np.concatenate([[-1], *(np.full(len(o), k) for k, o in enumerate(outlines)), [-1]]).astype(int)
    inside = (points[:, 0] >= a[0]) & (points[:, 0] <= b[0])
    inside[[0, -1]] = True
    points, owner = points[inside], owner[inside]
    order = np.lexsort((points[:, 1], points[:, 0]))
    order = order[
        np.append(points[order[1:], 0] > points[order[:-1], 0], True)
        | (order == 0)
        | (order == len(points) - 1)
    ]
    chain = order[upper_hull(points[order])]
    first, last = int(np.flatnonzero(chain == 0)[0]), int(np.flatnonzero(chain == len(points) - 1)[0])
    chain = chain[first : last + 1]
    return TautLine(points[chain], owner[chain])
