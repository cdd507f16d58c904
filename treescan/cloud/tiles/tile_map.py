"""Which map do all tiles lie on? One system for the whole run; a tile that says less is fitted in with a doubt or
left out with a reason."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from treescan.arrays import Floats, Ints
from treescan.cloud.projection import transformer
from treescan.cloud.tiles.tile_index import BLOCK, Tile
from treescan.reason import Reason
from treescan.units import FOOT_M, US_SURVEY_FOOT_M

ADJOINS = 100.0
"""A tile without a system belongs to the others where it comes this close to one of them (project choice). [m]"""
FEET_APART = US_SURVEY_FOOT_M / FOOT_M - 1
"""Of the two kinds of foot; far from the zero of a map it counts."""
SAME_PLACE = 1e-4
"""Systems that put a place no farther apart are one. [m]"""


@dataclass(frozen=True)
class PlacedTile:
    """A tile on the map of the run.

    Attributes
    ----------
    tile : Tile
    unit : float            Its stored metres are so many metres of the map: 1, or a foot where it proved to be
                            in feet.
    crs : str or None       Its system, where points must be projected to that of the run; None = the same.
    notes : tuple of Reason What was doubtful.
    """

    tile: Tile
    unit: float
    crs: str | None
    notes: tuple[Reason, ...] = ()

    def to_map(self, xyz: Floats, system: str | None) -> Floats:
        """Stored points (n, 3) as places on the map of the run. [m]"""
        out = (xyz + self.tile.frame.origin) * self.unit
        if self.crs is not None and system is not None:
            out[:, 0], out[:, 1] = transformer(self.crs, system).transform(out[:, 0], out[:, 1])
        return out

    def box_from_map(self, low: Floats, high: Floats, system: str | None) -> tuple[Floats, Floats]:
        """Plan corners (2,) in stored metres that hold a box of the map. [m]"""
        x, y = np.meshgrid(
            [low[0], (low[0] + high[0]) / 2, high[0]], [low[1], (low[1] + high[1]) / 2, high[1]]
        )
        xy = np.column_stack([x.ravel(), y.ravel()])
        room = 0.0
        if self.crs is not None and system is not None:
            xy = np.column_stack(transformer(system, self.crs).transform(xy[:, 0], xy[:, 1]))
            room = 0.5
        own = xy / self.unit - self.tile.frame.origin[:2]
        return own.min(axis=0) - room, own.max(axis=0) + room

    def rows(self, low: Floats, high: Floats) -> Ints:
        """Blocks that a box of stored metres touches."""
        blocks, a, b = self.tile.blocks, np.floor(low / BLOCK), np.floor(high / BLOCK)
        return np.flatnonzero(np.all((blocks[:, :2] >= a) & (blocks[:, :2] <= b), axis=1))


@dataclass(frozen=True)
class TileMap:
    """All tiles on one map.

    Attributes
    ----------
    system : str or None            "EPSG:25832" or WKT of the map, in metres; None = a local frame.
    own : str or None               What the file that gave the map itself names, where it is in feet.
    own_unit : float                Metres per unit of that.
    tiles : tuple of PlacedTile
    left_out : tuple                File of a tile that could not be placed, and why.
    """

    system: str | None
    own: str | None
    own_unit: float
    tiles: tuple[PlacedTile, ...]
    left_out: tuple[tuple[str, Reason], ...] = ()

    def touching(self, low: Floats, high: Floats) -> list[PlacedTile]:
        """Tiles with points in or beside a box of the map (2,), (2,). [m]"""
        return [p for p in self.tiles if len(p.rows(*p.box_from_map(low, high, self.system)))]

    @property
    def filled(self) -> Floats:
        """Middle of every block that holds points, on the map, and its points, (b, 3)."""
        parts = []
        for placed in self.tiles:
            blocks = placed.tile.blocks
            middle = np.column_stack([(blocks[:, :2] + 0.5) * BLOCK, np.zeros(len(blocks))])
            parts.append(np.column_stack([placed.to_map(middle, self.system)[:, :2], blocks[:, 3]]))
        return np.concatenate(parts) if parts else np.zeros((0, 3))


def one_map(tiles: Sequence[Tile]) -> TileMap:
    """Put all tiles on the map that most of their points lie on; the order of the tiles does not matter."""
    tiles = sorted(tiles, key=lambda t: t.file)
    weight: dict[str, int] = {}
    for t in tiles:
        if t.frame.crs:
            weight[t.frame.crs] = weight.get(t.frame.crs, 0) + t.points
    if not weight:
        return TileMap(None, None, 1.0, tuple(PlacedTile(t, 1.0, None) for t in tiles))
    system = min(weight, key=lambda s: (-weight[s], s))
    first = next(t.frame for t in tiles if t.frame.crs == system)
    own = first.file_crs if first.unit_m != 1.0 and not first.in_degrees else None
    known = [PlacedTile(t, 1.0, _other(t, system)) for t in tiles if t.frame.crs]
    held = TileMap(system, own, first.unit_m, tuple(known)).filled[:, :2]
    placed, left = list(known), []
    feet = [t.frame.unit_m for t in tiles if t.frame.crs and t.frame.unit_m not in (1.0,)]
    foot = min(feet, default=FOOT_M)
    for t in (t for t in tiles if not t.frame.crs):
        found = _fitted(t, held, foot)
        if found is None:
            left.append((t.file, Reason("tile_lies_elsewhere")))
        else:
            placed.append(found)
    return TileMap(system, own, first.unit_m, tuple(sorted(placed, key=lambda p: p.tile.file)), tuple(left))


def _other(tile: Tile, system: str) -> str | None:
    """The tile's system where it puts places elsewhere than that of the run."""
    own = tile.frame.crs
    if own is None or own == system:
        return None
    middle = tile.frame.origin[:2] + (tile.blocks[:, :2].mean(axis=0) + 0.5) * BLOCK
    x, y = transformer(own, system).transform(*middle)
    return None if np.hypot(x - middle[0], y - middle[1]) < SAME_PLACE else own


def _fitted(tile: Tile, held: Floats, foot: float) -> PlacedTile | None:
    """A tile without a system, in metres or in the foot of its neighbours, whichever puts it beside them."""
    units = (1.0, foot) if tile.frame.unit_m == 1.0 else (1.0,)
    middle = (tile.blocks[:, :2] + 0.5) * BLOCK + tile.frame.origin[:2]
    for unit in units:
        at = middle * unit
        few = at[:: max(1, len(at) // 200)]
        near = min(float(np.hypot(*(held - place).T).min()) for place in few)
        if near < ADJOINS:
            off = float(np.hypot(*at[0])) * FEET_APART
            why = Reason("tile_without_system") if unit == 1.0 else Reason("tile_taken_for_feet", off=off)
            return PlacedTile(tile, unit, None, (why,))
    return None
