"""What stands in the vertical plane of one throw? Limbs near it, limbs that pierce it, ground and solid things under it.

Plane coordinates: s along the azimuth from the release point, z up, n across. A flight lies in n = 0 and s only grows.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from treescan.arrays import Floats, Ints, Ints32

GROUND_STEP = 0.5
"""Step of the ground profile. [m]"""

RANGE = 60.0
"""A flight is followed this far. [m]"""

MIN_S = 0.05
"""Nothing nearer than this can be met: the standing place is clear of wood. [m]"""

CELL = 0.2
"""Least side of the cells in which the shapes of a plane are looked up. [m]"""

CELL_GROWTH = 1.5
"""Cells grow by this until they and their entries fit."""

MAX_CELLS = 40_000
"""Cells of a plane at most; where they or their entries would not fit, cells are made larger."""

ENTRIES_PER_SHAPE = 8
"""Room for entries beyond one a cell."""

MAX_COLUMNS = 600
"""Solid columns, and crossings of runs of them, for which there is room."""

LAST_COLUMN = 590
"""Columns looked at along a plane; fewer than there is room for."""

S_MIN, S_MAX, Z_MIN, Z_MAX = 0, 1, 2, 3
START_S, START_Z, START_N, END_S, END_Z, END_N = 4, 5, 6, 7, 8, 9
BOX_S, BOX_Z, BOX_HALF = 10, 11, 12
R_START, R_END = 13, 14
"""Columns of `Shapes.shape`: its box; its axis from start to end; middle and half the diagonal of the box; its radius at both ends with
half the bag's width added. [m]"""

CROSS_S, CROSS_Z, CROSS_TOP, CROSS_HALF, CROSS_SHARE = 0, 1, 2, 3, 4
"""Columns of `Plane.cross`: where the axis pierces the plane; height of the limb's top there; half its width along s [m]; share along
the segment."""

COLUMN_S, COLUMN_LOW, COLUMN_HIGH = 0, 1, 2
"""Columns of `Plane.column`: where; lowest and highest solid. [m]"""

SHAPES, CROSSINGS, COLUMNS, TARGETS, WIRES = 0, 1, 2, 3, 4
"""Entries of `Plane.counts`."""

ALONG, UP = 0, 1
"""Entries of `Shapes.size`: cells along s, cells upward."""

CELL_SIDE, CELLS_LOW, CELLS_END, CELLS_HIGH = 0, 1, 2, 3
"""Entries of `Shapes.frame`: side of a cell, lowest z, end of the cells along s, top of the cells. [m]"""

GROUND_TOP, COLUMNS_TOP = 0, 1
"""Entries of `Plane.levels`: highest ground, top of the columns. [m]"""

NEAR_SIDE, FAR_SIDE = 0, 1
"""Columns of `Plane.shaft`: the thrower's side of a limb, and beyond it."""

UNKNOWN, CLOSED, OPEN = -1, 0, 1
"""Entries of `Plane.shaft`: not looked at; the way down is not clear; it is."""


class Shapes(NamedTuple):
    """The limbs and wires near a plane, and the cells in which they are looked up.

    shape : (p, 15)         Box, axis and radius; columns S_MIN ... R_END.
    item : (p,) int32       Row in the scene.
    first : (k + 1,) int32  Entries of cell k (s-major, upward) are entry[first[k] : first[k + 1]].
    entry : (e,) int32      Shapes whose box meets the cell.
    size : (2,) int64       Cells ALONG s and UP.
    frame : (4,)            CELL_SIDE, CELLS_LOW, CELLS_END, CELLS_HIGH.
    looked : (p + 1,) int64 Running number (the last entry) of the piece each shape was last compared with.
    """

    shape: Floats
    item: Ints32
    first: Ints32
    entry: Ints32
    size: Ints
    frame: Floats
    looked: Ints


class Cells(NamedTuple):
    """The cells of `Shapes` as bare figures for the compiled loops: 1 / side [1/m], lowest z, end along s, top [m]; cells along s, upward."""

    per_metre: float
    low: float
    end: float
    high: float
    along: int
    up: int


class Plane(NamedTuple):
    """One vertical plane, filled by `fill_plane`.

    cross : (q, 5)          Crossings by rising s; columns CROSS_S ... CROSS_SHARE.
    cross_item : (q,) int32 Row in the scene, -1 for a thing beside the tree.
    cross_limb, cross_node (q,) int32   Limb (WIRE, BESIDE) and graph node, -1 for what is not this tree.
    cross_union : (q,) int32    Union that a line over this crossing serves, if the bag passes it; -1 = none.
    target : (t,) int32     Crossings with a union, by rising s.
    shaft : (q, 2) int8     Is the way down beside the limb clear, NEAR_SIDE and FAR_SIDE: UNKNOWN, CLOSED or OPEN.
    ground : (g,)           Ground heights every GROUND_STEP.
    column : (c, 3)         COLUMN_S, COLUMN_LOW, COLUMN_HIGH.
    counts : (5,) int32     How many SHAPES, CROSSINGS, COLUMNS, TARGETS, WIRES.
    levels : (2,)           GROUND_TOP, COLUMNS_TOP.
    scratch, scratch_item   Room for sorting.
    """

    shapes: Shapes
    cross: Floats
    cross_item: Ints32
    cross_limb: Ints32
    cross_node: Ints32
    cross_union: Ints32
    target: Ints32
    shaft: NDArray[np.int8]
    ground: Floats
    column: Floats
    counts: Ints32
    levels: Floats
    scratch: Floats
    scratch_item: Ints32


@njit(cache=True, nogil=True)
def empty_plane(capacity: int) -> Plane:
    """Room for a plane that meets at most `capacity` segments."""
    n = capacity + 1
    crossings = n + MAX_COLUMNS
    shapes = Shapes(
        np.empty((n, 15)),
        np.empty(n, np.int32),
        np.zeros(MAX_CELLS + 1, np.int32),
        np.empty(MAX_CELLS + ENTRIES_PER_SHAPE * n, np.int32),
        np.zeros(2, np.int64),
        np.zeros(4),
        np.zeros(n + 1, np.int64),
    )
    return Plane(
        shapes,
        np.empty((crossings, 5)),
        np.empty(crossings, np.int32),
        np.empty(crossings, np.int32),
        np.empty(crossings, np.int32),
        np.empty(crossings, np.int32),
        np.empty(crossings, np.int32),
        np.empty((crossings, 2), np.int8),
        np.empty(int(RANGE / GROUND_STEP) + 2),
        np.empty((MAX_COLUMNS, 3)),
        np.zeros(5, np.int32),
        np.zeros(2),
        np.empty((crossings, 5)),
        np.empty(crossings, np.int32),
    )


@njit(cache=True, nogil=True)
def cells_of(shapes: Shapes) -> Cells:
    """The cells of a filled plane as bare figures."""
    frame, size = shapes.frame, shapes.size
    return Cells(
        1.0 / frame[CELL_SIDE], frame[CELLS_LOW], frame[CELLS_END], frame[CELLS_HIGH], size[ALONG], size[UP]
    )
