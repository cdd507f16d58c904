"""Where is the ground? A height grid that holds on slopes, under low crowns and with stray low points, and
says where it only continues.

The way: lowest supported point of each cell; take off the mean slope; open with growing windows so that
crowns, walls and cars fall away; fill; then move the surface onto the points that lie close to it. Cells
without such points are filled smoothly and flagged not measured.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from treescan.arrays import Flags, Floats
from treescan.reason import Reason
from treescan.trees.beside import Terrain
from treescan.trees.settings import TerrainSettings
from treescan.trees.terrain.bare_cells import bare_cells, lie_like_ground, mean_plane, without_strays
from treescan.trees.terrain.beyond_the_scan import continued, level_at_stem, patch_of_ground
from treescan.trees.terrain.height_grid import cell_for, grid_over, lowest_points, lowest_supported
from treescan.trees.terrain.surface import filled, settled

GROUND_CLASS = 2
"""Class of ground points in LAS files (standard classes of the LAS specification)."""
LEAST_GROUND_POINTS = 50
"""Fewer points of the class say nothing."""
TEST_CELL, LEAST_TEST_CELLS = 1.0, 4
"""Cells in which classed ground is tested, and how many must hold some: more than a stem's foot. [m]"""
THICK, MOST_THICK = 1.5, 0.03
"""Ground classed higher than this over its cell's lowest is thick [m]; a larger share of thick points is no
ground."""
UNDER, LEAST_UNDER = 0.5, 0.8
"""Classed ground this close to a cell's lowest point lies under the rest [m]; so much of it must."""


@dataclass(frozen=True)
class Ground:
    """The ground surface and how it came about. found: False when the scan shows no ground."""

    terrain: Terrain
    found: bool
    notes: tuple[Reason, ...] = ()


def find_ground(
    xyz: Floats, classes: NDArray | None = None, settings: TerrainSettings = TerrainSettings()
) -> Ground:
    """Ground surface under a scan.

    Parameters
    ----------
    xyz : (n, 3) float          [m, local]
    classes : (n,) int, optional    Point classes of the file; class 2 is used where it lies like ground, and
                                    ignored where it does not.
    """
    notes: list[Reason] = []
    classed = _ground_class(xyz, classes)
    used = xyz if classed is None else xyz[classed]
    cell = cell_for(used, settings)
    grid = grid_over(xyz, cell)
    low, at = lowest_points(used, grid)
    plane = mean_plane(at, low)
    flat = without_strays(low - (at @ plane[:2] + plane[2]))
    bare = bare_cells(flat, cell, settings, already_ground=classed is not None)
    if not lie_like_ground(np.where(bare, flat, np.nan), cell, classed is not None):
        return _little_ground(xyz, settings)
    if classed is None and classes is not None and np.any(classes == GROUND_CLASS):
        notes.append(Reason("ground_class_not_used"))
    height, measured = settled(used, plane, filled(np.where(bare, flat, np.nan)), grid)
    x, y = grid.centres()
    gx, gy = np.meshgrid(x, y)
    height = height + gx * plane[0] + gy * plane[1] + plane[2]
    terrain = continued(Terrain(height, grid.corner, cell, measured), settings.reach)
    return Ground(terrain, True, tuple(notes))


def _little_ground(xyz: Floats, settings: TerrainSettings) -> Ground:
    """Ground of a cut-out tree: a small patch left round the stem, else level ground at its lowest points."""
    lowest = lowest_supported(xyz)
    level = level_at_stem(xyz, lowest, settings.reach)
    patch = patch_of_ground(xyz, lowest, level)
    if patch is None:
        return Ground(level, False, (Reason("no_ground"),))
    terrain, continued_for = patch
    return Ground(terrain, True, (Reason("small_patch_of_ground", continued=continued_for),))


def _ground_class(xyz: Floats, classes: NDArray | None) -> Flags | None:
    """The points of class 2, if they lie like ground: thin over each metre of plan, under the rest, over more
    than a stem's foot."""
    if classes is None or len(classes) != len(xyz):
        return None
    mask = np.asarray(classes) == GROUND_CLASS
    if mask.sum() < LEAST_GROUND_POINTS or mask.all():
        return None
    p = xyz[mask]
    grid = grid_over(xyz, TEST_CELL)
    low, _ = lowest_points(p, grid, support=1)
    lowest, _ = lowest_points(xyz, grid, support=1)
    seen = np.isfinite(low)
    c = ((p[:, :2] - grid.corner) / TEST_CELL).astype(int)
    thick = (
        p[:, 2] - low[np.minimum(c[:, 1], grid.shape[0] - 1), np.minimum(c[:, 0], grid.shape[1] - 1)] > THICK
    )
    under = np.mean(low[seen] - lowest[seen] < UNDER)
    return (
        mask if seen.sum() >= LEAST_TEST_CELLS and thick.mean() < MOST_THICK and under > LEAST_UNDER else None
    )
