"""What do many throws at one union serve, from one place?"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from treescan.arrays import Flags, Floats, Ints32
from treescan.throw.ballistics.flight_line import Origin
from treescan.throw.outcome.plane_throws import room_for, throws_in_plane
from treescan.throw.scene.fill_plane import fill_plane
from treescan.throw.scene.flight_scene import FlightScene
from treescan.throw.scene.nearby import can_pierce, near_among, near_items
from treescan.throw.scene.plane import TARGETS, WIRES, empty_plane

TOGETHER = 16
"""Neighbouring azimuths for which the limbs that can be met are picked together."""

SLACK = 1e-6
"""Added to both sides of a sector, so that rounding leaves no limb out. [rad]"""


class Throws(NamedTuple):
    """Flights thrown in each of a planes, k a plane: rows of a table, or flights between them.

    azimuth (a,)                Of the planes. [rad]
    height, step                Of `Flights`: the table.
    row (a, k) int32            Rows of the table; (0, 0) where flights lie between rows, by
    elevation, speed (a, k)     their elevation [rad] and speed [m/s] between the even axes of the table, elevation-major:
    nodes (e,), squares (v,)    elevation [rad] and squared speed [m2/s2].
    """

    azimuth: Floats
    height: Floats
    step: Floats
    row: Ints32
    elevation: Floats
    speed: Floats
    nodes: Floats
    squares: Floats


class Outcomes(NamedTuple):
    """What became of the throws, each (a, k).

    weight          Chance to come through the twigs where the union is served, else 0.
    isolation       Class, 0 = not served.
    end             How the flight ended (`ends`); throws in planes that no wanted limb pierces are not followed unless there are wires.
    near            Where the union is served: does the bag come down near the thrower?
    worth           What a throw that serves counts where place and aim are chosen.
    """

    weight: Floats
    isolation: NDArray[np.int8]
    end: NDArray[np.int8]
    near: Flags
    worth: Floats


def table_throws(azimuth: Floats, height: Floats, step: Floats, row: Ints32) -> Throws:
    """Throws that are rows (a, k) of a table of `Flights`."""
    none = np.zeros((0, 0))
    return Throws(azimuth, height, step, row, none, none, np.zeros(0), np.zeros(0))


@njit(cache=True, nogil=True)
def between_flights(
    nodes: Floats, squares: Floats, height: Floats, step: Floats, elevation: float, speed: float, out: Floats
) -> float:
    """A flight interpolated between tabulated ones, linear in elevation and squared speed: heights into `out`, returns its step.

    nodes (e,) [rad], squares (v,) [m2/s2]: even axes of the table height (e * v, PIECES + 1), step (e * v,), elevation-major.
    """
    ne, nv = len(nodes), len(squares)
    p = (elevation - nodes[0]) / max(nodes[-1] - nodes[0], 1e-12) * (ne - 1)
    q = (speed * speed - squares[0]) / max(squares[-1] - squares[0], 1e-12) * (nv - 1)
    i, j = min(max(int(p), 0), ne - 2), min(max(int(q), 0), nv - 2)
    fp, fq = p - i, q - j
    f00, f01, f10, f11 = i * nv + j, i * nv + j + 1, (i + 1) * nv + j, (i + 1) * nv + j + 1
    w00, w01, w10, w11 = (1 - fp) * (1 - fq), (1 - fp) * fq, fp * (1 - fq), fp * fq
    for k in range(len(out)):
        out[k] = w00 * height[f00, k] + w01 * height[f01, k] + w10 * height[f10, k] + w11 * height[f11, k]
    return w00 * step[f00] + w01 * step[f01] + w10 * step[f10] + w11 * step[f11]


@njit(cache=True, nogil=True)
def _flights_of(throws: Throws, a: int, height: Floats, step: Floats) -> None:
    """The flights of plane a, put into height (k, PIECES + 1) and step (k,)."""
    for k in range(len(step)):
        if len(throws.nodes) == 0:
            height[k], step[k] = throws.height[throws.row[a, k]], throws.step[throws.row[a, k]]
        else:
            elevation, speed = throws.elevation[a, k], throws.speed[a, k]
            step[k] = between_flights(
                throws.nodes, throws.squares, throws.height, throws.step, elevation, speed, height[k]
            )


@njit(cache=True, nogil=True)
def throw_many(scene: FlightScene, feet: Floats, throws: Throws, union: int) -> Outcomes:
    """Throws at one union from one place, one plane an azimuth.

    Parameters
    ----------
    feet : (3,)     [m, local]
    """
    azimuths = throws.azimuth
    na, nk = len(azimuths), max(throws.row.shape[1], throws.elevation.shape[1])
    near, worth = np.zeros((na, nk), np.bool_), np.ones((na, nk))
    weight, isolation, ends = np.zeros((na, nk)), np.zeros((na, nk), np.int8), np.zeros((na, nk), np.int8)
    x, y, rows = feet[0], feet[1], len(scene.wood.limb)
    plane, items, served = empty_plane(rows), np.empty(rows, np.int32), room_for(nk)
    height, step = np.empty((nk, throws.height.shape[1])), np.empty(nk)
    wide, lo, hi = np.empty(rows, np.int32), azimuths.min(), azimuths.max()
    number = near_items(scene, x, y, 0.5 * (lo + hi), 0.5 * (hi - lo) + 2 * SLACK, wide)
    for b in range(0, na, TOGETHER):
        last = min(b + TOGETHER, na)
        lo, hi = azimuths[b:last].min(), azimuths[b:last].max()
        count = near_among(scene, x, y, 0.5 * (lo + hi), 0.5 * (hi - lo) + SLACK, wide, number, items)
        for a in range(b, last):
            if not scene.has_wire and not can_pierce(scene, x, y, azimuths[a], items, count, union):
                continue
            fill_plane(scene, plane, x, y, azimuths[a], items, count)
            if plane.counts[TARGETS] == 0 and plane.counts[WIRES] == 0:
                continue
            _flights_of(throws, a, height, step)
            origin = Origin(x, y, feet[2] + scene.rules.release, azimuths[a])
            found = throws_in_plane(scene, plane, origin, height, step, union, served)
            weight[a], ends[a], near[a], worth[a] = served.weight, served.end, served.near, served.worth
            for q in range(found):
                isolation[a, served.flight[q]] = served.isolation[q]
    return Outcomes(weight, isolation, ends, near, worth)
