"""What in the scan is built, not grown? Walls and roofs by their planes, wires by their long bare sagging
lines."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from treescan.arrays import Flags, Floats
from treescan.trees.material.local_shape import shape_of
from treescan.trees.material.neighbour_graph import nearest
from treescan.trees.surroundings.walls import find_faces, under_roofs
from treescan.trees.surroundings.wires import LinePlaces, Wire, find_wires

LEAST_VOXELS = 50
"""Fewer voxels show nothing built."""
FACE_NEIGHBOURS, LINE_NEIGHBOURS = 16, 7
"""Neighbours, own voxel included, by which a plane and a line are told."""
BY_WIRE = 0.06
"""Voxels this close to a wire, or half the spacing of the scan, belong to it. [m]"""


@dataclass(frozen=True)
class Solids:
    """Built things among coarse voxels: building (m,) bool, wire (m,) bool, the wires as lines, roof (r, 3)
    places on roofs, and lines that end in wood of a tree and are taken for limbs."""

    building: Flags
    wire: Flags
    wires: tuple[Wire, ...]
    roof: Floats
    line_like: tuple[Wire, ...] = ()

    @property
    def free(self) -> Flags:
        """Voxels that may have grown, (m,)."""
        return ~self.building & ~self.wire

    def with_what_roofs_cover(self, xyz: Floats) -> Solids:
        """The same, and whatever of the voxels (m, 3) stands under a roof or beside it counted to the
        building."""
        return Solids(self.building | under_roofs(xyz, self.roof), self.wire, self.wires, self.roof, self.line_like)


def find_solids(xyz: Floats, above: Floats, cell: float, spacing: float) -> Solids:
    """Walls, roofs and wires among coarse voxels.

    Parameters
    ----------
    xyz : (m, 3), above : (m,)  Voxel centres (means of their points) and heights above the ground. [m]
    cell : float                Voxel edge. [m]
    spacing : float             Usual distance between points of the scan. [m]
    """
    none = np.zeros(len(xyz), bool)
    if len(xyz) < LEAST_VOXELS:
        return Solids(none, none.copy(), (), np.zeros((0, 3)))
    near, far = nearest(xyz, FACE_NEIGHBOURS)
    value, normal, _ = shape_of(xyz, near)
    building, roof = find_faces(xyz, near, value, normal, cell, spacing)
    closest = np.ascontiguousarray(near[:, :LINE_NEIGHBOURS])
    value, _, along = shape_of(xyz, closest)
    places = LinePlaces(xyz, above, closest, far[:, LINE_NEIGHBOURS - 1], value, along)
    wires, line_like = find_wires(places, cell, building)
    wire = none.copy()
    for w in wires:
        wire |= w.distance(xyz) < max(BY_WIRE, 0.5 * spacing)
    return Solids(building, wire & ~building, wires, roof, line_like)
