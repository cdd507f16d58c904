"""A scene filled evenly with twigs and leaves."""

from __future__ import annotations

import dataclasses

import numpy as np

from treescan.throw.scene.flight_scene import build_scene
from treescan.throw.settings import ThrowSettings
from treescan.trees.beside import Beside, Foliage, Site, Terrain
from treescan.wood.topology.assemble import assemble


def filled(density: float, snag_factor: float):
    """One bare stem in 40 x 40 x 20 m of even foliage [1/m]."""
    graph = assemble(np.array([[0, 0, 0], [0, 0, 3.0]]), np.array([0.1, 0.1]), np.array([-1, 0]))
    leaf = Foliage(np.full((40, 40, 20), density, np.float32), np.array([-20.0, -20.0, 0.0]), 1.0)
    return build_scene(graph, Beside(Terrain.flat(0.0), leaf), Site(), dataclasses.replace(ThrowSettings(), snag_factor=snag_factor))
