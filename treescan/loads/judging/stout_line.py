"""Which of the limbs that a basal line crosses hold it, and how far does it come down when the twigs among them give way?

A line over a twig is held by it only until somebody hangs on the rope. The twig breaks or bends and lets the line down to the next stout
limb: that is the line that is judged, and the rope that comes free is a drop unless it was taken up before.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from treescan.loads.judging.judged import contacts_of
from treescan.loads.limb_check import AnchorConfiguration
from treescan.loads.rope.rope_systems import SYSTEMS
from treescan.loads.statics.structural_model import StructuralModel
from treescan.wood.graph import Floats, Ints


@dataclass(frozen=True)
class StoutLine:
    """A configuration without the twigs its line crosses.

    configuration : AnchorConfiguration     With the stout limbs alone.
    via, beyond : (k,) int      Their places in the `via` and `beyond` of the configuration asked about.
    twigs : int                 Left out.
    drop : float                Of the climber when the twigs give way, the rope hanging plumb. [m]
    """

    configuration: AnchorConfiguration
    via: Ints
    beyond: Ints
    twigs: int
    drop: float


def stout_line(tree: StructuralModel, configuration: AnchorConfiguration) -> StoutLine:
    """The line over the limbs of `catch_diameter` and more; a limb whose diameter nobody measured stays on it, for it is not known to give
    way. The limb at the union stays as well: a thin one is for the margin to refuse."""
    via, beyond = _stout(tree, configuration.via), _stout(tree, configuration.beyond)
    twigs = len(configuration.via) + len(configuration.beyond) - len(via) - len(beyond)
    if twigs == 0 or not SYSTEMS[configuration.system].basal:
        return StoutLine(configuration, np.arange(len(configuration.via)), np.arange(len(configuration.beyond)), 0, 0.0)
    kept = replace(configuration, via=configuration.via[via], beyond=configuration.beyond[beyond])
    before, after = _way(tree, configuration), _way(tree, kept)
    free = _length(before) - _length(after)
    return StoutLine(kept, via, beyond, twigs, max(float(free + before[-1, 2] - after[-1, 2]), 0.0))


def _stout(tree: StructuralModel, nodes: Ints) -> Ints:
    """Places of the limbs that do not give way."""
    thick = 2.0 * tree.graph.segment_radius[np.asarray(nodes, int)]
    return np.flatnonzero(~(thick < tree.settings.catch_diameter))


def _way(tree: StructuralModel, configuration: AnchorConfiguration) -> Floats:
    """From the base over all contacts, (c + 1, 3). [m]"""
    return np.array([configuration.base, *(c.point for c in contacts_of(tree, configuration))], float)


def _length(way: Floats) -> float:
    return float(np.linalg.norm(np.diff(way, axis=0), axis=1).sum())
