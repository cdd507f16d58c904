"""Along which lines do the wires run that the scan saw, across what it did not see of them?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from treescan.arrays import Floats, Ints

TOGETHER = 1.0
"""Places of a wire nearer than this are one piece of it (project choice). [m]"""

LONG = 2.0
"""A piece this long has a direction of its own; shorter ones only join it (project choice). [m]"""

BESIDE = 0.3
"""Pieces that all lie so near one line, seen from above, are pieces of one wire (project choice). [m]"""


@dataclass(frozen=True)
class WireLine:
    """One wire as the scan saw it.

    ends : (2, 3) float     Outermost places of its pieces. [m, local]
    gap : bool              Part of the way between them was not seen.
    places : (j,) int       Rows of the places it was seen at.
    """

    ends: Floats
    gap: bool
    places: Ints


def wire_lines(places: Floats) -> tuple[WireLine, ...]:
    """Wires from the places where the scan saw one, (k, 3) [m, local], the longest first.

    Pieces in one line count as one wire, however far apart: whoever looks for the wire must look there. Places too few to
    show a direction, in line with nothing, are in none.
    """
    left = sorted(_pieces(places), key=lambda rows: (-_length(places[rows]), int(rows[0])))
    out = []
    while left and _length(places[left[0]]) >= LONG:
        rows, *others = left
        joined, left = [rows], []
        width = max(BESIDE, _off(places[rows]))
        for other in others:
            together = np.concatenate([*joined, other])
            if _off(places[together]) <= width:
                joined.append(other)
            else:
                left.append(other)
        rows = np.sort(np.concatenate(joined))
        along = _along(places[rows])
        ends = places[rows[[int(np.argmin(along)), int(np.argmax(along))]]]
        out.append(WireLine(ends, bool(np.diff(np.sort(along)).max() > TOGETHER), rows))
    return tuple(sorted(out, key=lambda wire: -_length(wire.ends)))


def _pieces(places: Floats) -> list[Ints]:
    """Rows of places that hang together."""
    if len(places) == 0:
        return []
    pairs = cKDTree(places).query_pairs(TOGETHER, output_type="ndarray")
    n = len(places)
    count, which = connected_components(
        coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(n, n)), directed=False
    )
    return [np.flatnonzero(which == k) for k in range(count)]


def _axis(places: Floats) -> tuple[Floats, Floats]:
    """Offsets of places from their middle, seen from above, (k, 2), and the direction in which they spread most."""
    off = places[:, :2] - places[:, :2].mean(axis=0)
    return off, np.linalg.eigh(off.T @ off)[1][:, -1]


def _along(places: Floats) -> Floats:
    """Where places lie along the line through them, from their middle. [m]"""
    off, axis = _axis(places)
    return np.asarray(off @ axis)


def _length(places: Floats) -> float:
    """From the first to the last along their line, seen from above. [m]"""
    return float(np.ptp(_along(places)))


def _off(places: Floats) -> float:
    """How far the farthest place lies beside the line through all of them. [m]"""
    off, axis = _axis(places)
    return float(np.abs(off @ np.array([-axis[1], axis[0]])).max())
