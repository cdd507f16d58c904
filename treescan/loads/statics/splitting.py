"""Does a curved limb split lengthwise before it breaks?"""

from __future__ import annotations

import numpy as np

from treescan.loads.material.tension_across import clear_tension_across, strength_across
from treescan.loads.sections.curved_limb import tension_across
from treescan.loads.sections.section_stress import cross
from treescan.loads.statics.load_path import LoadPath
from treescan.loads.statics.structural_model import StructuralModel
from treescan.wood.graph import Floats

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
    at = np.searchsorted(path.node, tree.bends.node)
    on = np.flatnonzero((at < len(path.node)) & (path.node[np.minimum(at, len(path.node) - 1)] == tree.bends.node))
    if len(on) == 0:
        return 0.0, -1
    clear = clear_tension_across(tree.wood.species)
    most, where = 0.0, -1
    for b in on:
        row = int(at[b])
        above = path.above[row]
        arm = leg_point[:, above] - path.point[row]
        moment = path.own_moment[row] + cross(arm, legs[:, above]).sum(axis=(1, 2))
        straightening = np.asarray(-moment @ tree.bends.axis[b], float)
        stress = tension_across(straightening, tree.bends.radius[b], path.radius[row]).max()
        use = float(stress / strength_across(clear, path.radius[row]) / tree.sections.reported.keep[path.node[row]])
        if use > most:
            most, where = use, row
    return most, where
