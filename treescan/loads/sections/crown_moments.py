"""How does wind from any side, or snow, bend every section of the tree?

Every piece of limb that was seen is a cylinder of its own diameter. Air that moves along the unit vector u
pushes it with

    F = q 2 r L |t x u| u

q the pressure (drag coefficient and all else in it), t along the limb. The sum over all that stands above a
section is its area A and the
first moment of that area S, so the moment about the section's point p is (S - A p) x u for each unit of q.
Twigs the scan did not resolve, and pieces it did not see, catch
nothing: a badly scanned crown lowers what was borne. The same with u downward is snow that lies on the limbs.

References
----------
Drag of bare wood on the sum of projected cylinders: crown_drag in treescan/sources.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import ArrayLike

from treescan.short_repr import ShortRepr
from treescan.wood.graph import Floats, WoodGraph

AZIMUTHS = 12
"""Directions over half a turn; wind from the other side meets the same area."""

UNSURE = 0.5
"""Pieces whose radius is known no better than this share of itself catch nothing (project choice)."""

DOWN = np.array([0.0, 0.0, -1.0])


@dataclass(frozen=True, repr=False)
class CrownMoments(ShortRepr):
    """Area above every section and its first moment.

    Attributes
    ----------
    level : (n, AZIMUTHS, 4) float     A [m2] and S [m3] as met by wind along the azimuths of `directions`.
    plan : (n, 4) float                The same from above.
    """

    level: Floats
    plan: Floats

    def wind(self, node: ArrayLike, point: Floats, azimuth: ArrayLike) -> Floats:
        """Moment about some sections for each pascal of wind, (s, a, 3). [N m / Pa]

        Parameters
        ----------
        node : (s,) int             Sections.
        point : (s, 3) float        Where they are taken. [m]
        azimuth : (a,) float        Toward which the wind blows, clockwise from north. [rad]
        """
        at = np.mod(np.asarray(azimuth, float), np.pi) * AZIMUTHS / np.pi
        low = np.floor(at).astype(int) % AZIMUTHS
        share = (at - np.floor(at))[None, :, None]
        rows = self.level[np.asarray(node, int)]
        area = (1 - share) * rows[:, low] + share * rows[:, (low + 1) % AZIMUTHS]
        arm = area[..., 1:] - area[..., :1] * point[:, None]
        return np.asarray(np.cross(arm, along(azimuth)[None]), float)

    def lying(self, node: ArrayLike, point: Floats) -> Floats:
        """Moment about some sections for each pascal that lies on the limbs' plan area, (s, 3). [N m / Pa]"""
        rows = self.plan[np.asarray(node, int)]
        return np.asarray(np.cross(rows[:, 1:] - rows[:, :1] * point, DOWN), float)


def along(azimuth: ArrayLike) -> Floats:
    """Level unit vectors of azimuths clockwise from north, (a, 3)."""
    a = np.asarray(azimuth, float)
    return np.stack([np.sin(a), np.cos(a), np.zeros_like(a)], axis=-1)


def directions() -> Floats:
    """The azimuths of `CrownMoments.level` as unit vectors, (AZIMUTHS, 3)."""
    return along(np.arange(AZIMUTHS) * np.pi / AZIMUTHS)


def crown_moments(graph: WoodGraph) -> CrownMoments:
    """Area and first moment above every section of a tree, from all sides and from above."""
    s = graph.segments
    with np.errstate(invalid="ignore", divide="ignore"):
        sure = graph.radius_sd / graph.radius <= UNSURE
    width = np.zeros(len(graph))
    width[1:] = np.nan_to_num(s.r_start + s.r_end) * graph.length[1:]
    width[~(graph.seen & np.isfinite(graph.segment_radius) & (sure | ~np.isfinite(graph.radius_sd)))] = 0.0
    width[0] = 0.0
    centre = graph.xyz.copy()
    centre[1:] = 0.5 * (s.start + s.end)
    across = np.stack([*directions(), DOWN])
    cosine = np.nan_to_num(graph.direction) @ across.T
    area = width[:, None] * np.sqrt(np.maximum(1.0 - cosine**2, 0.0))
    out = np.ascontiguousarray(np.concatenate([area[..., None], area[..., None] * centre[:, None]], axis=2))
    _sum_upward(graph.parent, out.reshape(len(graph), -1))
    return CrownMoments(out[:, :AZIMUTHS], out[:, AZIMUTHS])


@njit(cache=True)
def _sum_upward(parent, values):  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    """Sum of values (n, c) over all above each node, itself included, in place."""
    for i in range(len(parent) - 1, 0, -1):
        for c in range(values.shape[1]):
            values[parent[i], c] += values[i, c]
