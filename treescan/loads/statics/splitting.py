"""Does a curved limb split lengthwise before it breaks?"""

from __future__ import annotations

import numpy as np
from numba import njit

from treescan.loads.material.tension_across import clear_tension_across, strength_across
from treescan.loads.sections.curved_limb import Bends, tension_across
from treescan.loads.statics.load_path import LoadPath
from treescan.loads.statics.structural_model import StructuralModel
from treescan.wood.graph import Floats, Ints

SPLITS = "splitting lengthwise"
"""Mode of a limb whose bend is pulled straight."""


def worst_split(tree: StructuralModel, path: LoadPath, leg_point: Floats, legs: Floats) -> tuple[float, int]:
    """Largest median stress over strength across the grain in the bends of a load path, and its row; 0 and -1 where none
    is pulled straight.

    Parameters
    ----------
    leg_point, legs : (l, c, 2, 3)  Rope legs on every contact under every load. [m], [N]

    Notes
    -----
    The moment of the rope and the own weight about the section, the part that straightens the bend; a hollow keeps of
    this strength what it keeps in bending.
    """
    row, axis, bend, radius = bends_on(path, tree.bends)
    if len(row) == 0:
        return 0.0, -1
    most = _most_straightened(path.point[row], path.own_moment[row], path.above[row], axis, leg_point, legs)
    strength = strength_across(clear_tension_across(tree.wood.species), radius)
    stress = tension_across(most, bend, radius)
    use = np.nan_to_num(stress / strength / tree.sections.reported.keep[path.node[row]], nan=0.0)
    worst = int(np.argmax(use))
    return (float(use[worst]), int(row[worst])) if use[worst] > 0.0 else (0.0, -1)


def bends_on(path: LoadPath, bends: Bends) -> tuple[Ints, Floats, Floats, Floats]:
    """The strongly curved sections of a load path: rows (b,), axes (b, 3) and radii (b,) of the bends, and radii (b,) of the wood; found
    once for every path."""
    known: tuple[Bends, tuple[Ints, Floats, Floats, Floats]] | None = path.curved.get("bends")
    if known is None or known[0] is not bends:
        at = np.searchsorted(path.node, bends.node)
        on = np.flatnonzero((at < len(path.node)) & (path.node[np.minimum(at, len(path.node) - 1)] == bends.node))
        known = path.curved["bends"] = bends, (at[on], bends.axis[on], bends.radius[on], path.radius[at[on]])
    return known[1]


@njit(cache=True, error_model="numpy", nogil=True)
def _most_straightened(  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    point, own_moment, above, axis, leg_point, legs,
):
    """Largest moment over all loads that straightens each of some bends, (b,); point, own_moment, axis (b, 3), above (b, c),
    the rest as of `worst_split`. [N m]"""
    out = np.empty(len(point))
    for b in range(len(point)):
        px, py, pz = point[b]
        tx, ty, tz = axis[b]
        most = -np.inf
        for i in range(len(legs)):
            x, y, z = own_moment[b]
            for c in range(above.shape[1]):
                if not above[b, c]:
                    continue
                for leg in range(2):
                    fx, fy, fz = legs[i, c, leg]
                    ax, ay, az = leg_point[i, c, leg, 0] - px, leg_point[i, c, leg, 1] - py, leg_point[i, c, leg, 2] - pz
                    x, y, z = x + (ay * fz - az * fy), y + (az * fx - ax * fz), z + (ax * fy - ay * fx)
            most = max(most, -(x * tx + y * ty + z * tz))
        out[b] = most
    return out
