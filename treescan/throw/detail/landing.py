"""Where does the bag of one throw come down: in or beyond a drawn area, far off, downhill?"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from treescan.arrays import Floats
from treescan.geometry import inside
from treescan.reason import Reason
from treescan.trees.beside import Area, Terrain

ALONG = 0.1
"""The way over the ground is looked at in steps of this length. [m]"""

LOWER = 1.0
"""A landing place so much below the thrower's feet is told. [m]"""


@dataclass(frozen=True)
class Grounds:
    """What lies on the ground round the tree: the areas that were drawn, and the terrain the scan saw."""

    areas: tuple[Area, ...]
    terrain: Terrain


def bag_comes_down(grounds: Grounds, foot: Floats, feet: Floats, place: Floats) -> Reason | None:
    """Where the bag comes down, where that is in or beyond a drawn area, beyond the scanned ground, or farther from the
    stem than the thrower stands; None elsewhere.

    Parameters
    ----------
    foot : (3,) float       Of the stem. [m, local]
    feet : (3,) float       Of the thrower. [m, local]
    place : (2,) float      Plan place where the bag comes down. [m, local]
    """
    out = place - foot[:2]
    away, stand = float(np.hypot(*out)), float(np.hypot(*(feet[:2] - foot[:2])))
    way = np.linspace(feet[:2], place, max(2, int(np.ceil(np.hypot(*(place - feet[:2])) / ALONG)) + 1))
    within = _named(a for a in grounds.areas if inside(a.ring, way[-1:]).any())
    across = _named(a for a in grounds.areas if inside(a.ring, way[:-1]).any())
    across = tuple(a for a in across if a not in within)
    ground = float(grounds.terrain.height_at(place))
    unseen = not np.isfinite(ground)
    if not (within or across or unseen or away > stand):
        return None
    below = float(feet[2]) - ground
    return Reason(
        "throw_bag_comes_down",
        away=away,
        bearing=float(np.arctan2(out[0], out[1]) % (2 * np.pi)),
        within=within,
        across=across,
        farther_than=stand if away > stand else None,
        below=below if below > LOWER else None,
        unseen=unseen,
        closed=bool(within or across),
    )


def _named(areas: Iterable[Area]) -> tuple[Reason, ...]:
    """Areas by kind and name, each once."""
    return tuple(dict.fromkeys(Reason("area_drawn", kind=a.kind, name=a.name or None) for a in areas))
