"""What is beside the wood? Ground, foliage, neighbours, walls, wires, and what the user drew: all that throws
and clearances need."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

from treescan.errors import BadInput
from treescan.geometry import inside
from treescan.short_repr import ShortRepr

Floats = NDArray[np.float64]

KINDS = ("neighbour", "building", "pole", "wire", "ground object", "unknown")
"""Kinds of solid things that are not wood of the asked tree; `Surroundings.kind` indexes this."""


@dataclass(frozen=True, repr=False)
class Terrain(ShortRepr):
    """Ground heights on a square grid; row 0 is the south edge, column 0 the west edge; values stand at cell
    centres.

    Attributes
    ----------
    height : (rows, cols) float     [m, local]  NaN = unseen.
    corner : (2,) float             Local x, y of the outer corner of cell (0, 0). [m]
    cell : float                    [m]
    measured : (rows, cols) bool    False where the height was interpolated.
    """

    height: Floats
    corner: Floats
    cell: float
    measured: NDArray[np.bool_]

    @classmethod
    def flat(
        cls, z: float, centre: ArrayLike = (0.0, 0.0), half_width: float = 60.0, cell: float = 1.0
    ) -> Terrain:
        """Level ground at height z around a centre: the ground of a hand-made tree."""
        n = round(2 * half_width / cell)
        c = np.asarray(centre, float)[:2]
        return cls(np.full((n, n), float(z)), c - half_width, cell, np.zeros((n, n), bool))

    def height_at(self, xy: ArrayLike) -> Floats:
        """Ground height under plan points, bilinear between cell centres; NaN outside the grid or next to an
        unseen cell.

        Parameters
        ----------
        xy : (..., 2) float     [m, local]
        """
        at = (np.asarray(xy, float)[..., :2] - self.corner) / self.cell - 0.5
        return _bilinear(self.height, at.reshape(-1, 2)).reshape(at.shape[:-1])

    def slope_at(self, xy: ArrayLike) -> Floats:
        """Steepness of the ground at plan points. [rad]  NaN where unseen."""
        p, d = np.asarray(xy, float)[..., :2], self.cell
        ex, ey = np.array([d, 0.0]), np.array([0.0, d])
        gx = (self.height_at(p + ex) - self.height_at(p - ex)) / (2 * d)
        gy = (self.height_at(p + ey) - self.height_at(p - ey)) / (2 * d)
        return np.arctan(np.hypot(gx, gy))


@njit(cache=True)
def _bilinear(height: Floats, at: Floats) -> Floats:  # pragma: no cover - compiled
    """Heights between cell centres at places (k, 2) counted in cells from the first centre; NaN more than
    half a cell outside."""
    rows, cols = height.shape
    out = np.full(len(at), np.nan)
    for i in range(len(at)):
        x, y = at[i]
        if not (-0.5 - 1e-9 <= x <= cols - 0.5 + 1e-9 and -0.5 - 1e-9 <= y <= rows - 0.5 + 1e-9):
            continue
        x, y = min(max(x, 0.0), cols - 1.0), min(max(y, 0.0), rows - 1.0)
        c0, r0 = min(int(x), max(cols - 2, 0)), min(int(y), max(rows - 2, 0))
        c1, r1 = min(c0 + 1, cols - 1), min(r0 + 1, rows - 1)
        fx, fy = x - c0, y - r0
        south = (1 - fx) * height[r0, c0] + fx * height[r0, c1]
        north = (1 - fx) * height[r1, c0] + fx * height[r1, c1]
        out[i] = (1 - fy) * south + fy * north
    return out


@dataclass(frozen=True, repr=False)
class Foliage(ShortRepr):
    """Twigs and leaves too fine to be limbs, as a density on voxels.

    Attributes
    ----------
    density : (nx, ny, nz) float32  Projected area of twigs and leaves per volume. [m2/m3 = 1/m]
    corner : (3,) float             Local corner of voxel (0, 0, 0). [m]
    cell : float                    [m]
    """

    density: NDArray[np.float32]
    corner: Floats
    cell: float

    @classmethod
    def none(cls) -> Foliage:
        """A leafless, twigless tree."""
        return cls(np.zeros((1, 1, 1), np.float32), np.zeros(3), 1.0)

    @cached_property
    def bare(self) -> bool:
        """True where the scan shows no leaves at all."""
        return not bool((self.density > 0).any())

    def density_at(self, xyz: ArrayLike) -> Floats:
        """Density at points (..., 3), zero outside the grid. [1/m]"""
        i = np.floor((np.asarray(xyz, float) - self.corner) / self.cell).astype(int)
        inside = np.all((i >= 0) & (i < self.density.shape), axis=-1)
        i = np.where(inside[..., None], i, 0)
        return np.where(inside, self.density[i[..., 0], i[..., 1], i[..., 2]], 0.0).astype(float)


@dataclass(frozen=True, repr=False)
class Surroundings(ShortRepr):
    """Solid things seen by the scan that are not this tree: neighbours, buildings, poles, wires, people.

    Attributes
    ----------
    xyz : (k, 3) float      Centres of occupied voxels. [m, local]
    kind : (k,) uint8       Index into `KINDS`.
    cell : float            Edge of a voxel. [m]
    stems : (s, 3) float    Feet of neighbouring stems. [m, local]
    stem_dbh : (s,) float   Their diameters at breast height. [m]  NaN = not measured.
    """

    xyz: Floats = field(default_factory=lambda: np.zeros((0, 3)))
    kind: NDArray[np.uint8] = field(default_factory=lambda: np.zeros(0, np.uint8))
    cell: float = 0.2
    stems: Floats = field(default_factory=lambda: np.zeros((0, 3)))
    stem_dbh: Floats = field(default_factory=lambda: np.zeros(0))

    def of(self, name: str) -> Floats:
        """Voxel centres of one kind, (j, 3)."""
        return self.xyz[self.kind == KINDS.index(name)]


LEAST_VOLTAGE = 48.0
"""A line of fewer volts is one stated in kilovolts by mistake; a telephone line carries as much (common practice, no
source). [V]"""


@dataclass(frozen=True)
class Conductor:
    """One overhead line the user drew: local polyline (p, 3) [m], voltage [V] (NaN = unknown), and its name
    ("" = none). BadInput for a voltage below `LEAST_VOLTAGE`: 11 is meant in kilovolts."""

    line: Floats
    voltage: float = float("nan")
    name: str = ""

    def __post_init__(self) -> None:
        if self.voltage < LEAST_VOLTAGE:
            raise BadInput(f"a conductor of {self.voltage:g} V", remedy="give volts, for example 11000; NaN = unknown")


@dataclass(frozen=True)
class Area:
    """One area the user drew: its kind ("no_stand_area", "building", "road", "water"), its name ("" = none) and
    its ring (p, 2) [m, local]."""

    kind: str
    name: str
    ring: Floats


@dataclass(frozen=True)
class Site:
    """What the user drew on the site plan, in local metres; polygons are (p, 2) rings.

    anchors : ((name, (3,) place), ...) in neighbouring trees, judged there by other means.
    bases : ((name, (3,) place), ...) what basal lines are to be tied to instead of the foot of the own stem.
    area_names : column ("no_stand", "buildings", "roads", "water") to the names of its rings, "" = none. A hole
    of a polygon is part of its ring, joined to it by a cut there and back (even-odd rule).
    wires : what the wires that the scan saw carry, as the user says it [V]; NaN = not said, 0 = there is none.
    wire_areas : ((ring, the same for the wires in it), ...); a later one counts before an earlier one, all before `wires`.
    """

    no_stand: tuple[Floats, ...] = ()
    buildings: tuple[Floats, ...] = ()
    roads: tuple[Floats, ...] = ()
    water: tuple[Floats, ...] = ()
    conductors: tuple[Conductor, ...] = ()
    anchors: tuple[tuple[str, Floats], ...] = ()
    bases: tuple[tuple[str, Floats], ...] = ()
    area_names: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    wires: float = float("nan")
    wire_areas: tuple[tuple[Floats, float], ...] = ()

    def wire_volts(self, xyz: Floats) -> Floats:
        """What is said of a wire the scan saw at each place (k, 3), (k,): volts, 0 = there is none, NaN = not said."""
        out = np.full(len(xyz), self.wires, float)
        for ring, volts in self.wire_areas:
            out[inside(ring, xyz[:, :2])] = volts
        return out

    def __repr__(self) -> str:
        areas, points = len(self.areas()), len(self.anchors) + len(self.bases)
        return f"Site(areas={areas}, conductors={len(self.conductors)}, points={points})"

    def areas(self) -> tuple[Area, ...]:
        """Every area with its kind and name."""
        kinds = {"no_stand": "no_stand_area", "water": "water", "roads": "road", "buildings": "building"}
        out = []
        for column, kind in kinds.items():
            rings = getattr(self, column)
            names = self.area_names.get(column, ())
            names = names if len(names) == len(rings) else ("",) * len(rings)
            out += [Area(kind, name, ring) for name, ring in zip(names, rings, strict=True)]
        return tuple(out)


@dataclass(frozen=True, repr=False)
class Beside(ShortRepr):
    """All that stands around one tree, as the scan saw it."""

    terrain: Terrain
    foliage: Foliage = field(default_factory=Foliage.none)
    surroundings: Surroundings = field(default_factory=Surroundings)


def as_said(beside: Beside, site: Site) -> Beside:
    """What stands around the tree after what the user says of its wires: where there is none, what the scan saw is
    something unknown."""
    around = beside.surroundings
    wire = np.flatnonzero(around.kind == KINDS.index("wire"))
    none = wire[site.wire_volts(around.xyz[wire]) == 0.0]
    if len(none) == 0:
        return beside
    kind = around.kind.copy()
    kind[none] = KINDS.index("unknown")
    return replace(beside, surroundings=replace(around, kind=kind))
