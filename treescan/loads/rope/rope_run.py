"""Which way does a taut rope run over its supports, and with what force does it press on each?

A support is a limb taken as a straight round bar, evenly tapered, that the rope passes over. The shortest
path consists of straight
legs and of arcs on the bars; a bar or cone rolls out flat, so the path over one support is closed form and
several are found by tightening one after the other until nothing moves. Where a rope is held in place along
the limb (a union, friction), its arc stays there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from treescan.geometry import unit
from treescan.loads.rope.rope_kernel import SWEEPS, hang, held_turn, leg_directions, tighten
from treescan.wood.graph import Floats


@dataclass(frozen=True)
class Supports:
    """Limbs the rope passes over, from its start to its end.

    Attributes
    ----------
    origin : (c, 3) float   On the limb's axis where the rope is expected. [m]
    axis : (c, 3) float     Unit vector along the limb.
    top : (c, 3) float      Unit vector square to the axis: the side the rope passes over.
    radius : (c,) float     At the origin. [m]
    taper : (c,) float      Change of radius per metre along the axis.
    low, high : (c,) float  Range of the rope along the axis from the origin; equal = held there. [m]
    sense : (c,) float      +1 or -1: which way round; 0 = the shorter way.
    """

    origin: Floats
    axis: Floats
    top: Floats
    radius: Floats
    taper: Floats
    low: Floats
    high: Floats
    sense: Floats

    @classmethod
    def of(
        cls,
        origin: ArrayLike,
        axis: ArrayLike,
        radius: ArrayLike,
        *,
        taper: ArrayLike = 0.0,
        top: ArrayLike = (0.0, 0.0, 1.0),
        low: ArrayLike = 0.0,
        high: ArrayLike = 0.0,
        sense: ArrayLike = 0.0,
    ) -> Supports:
        """Supports from plain values, broadcast over the rows of `origin` (c, 3); `top` is squared up to the
        axis."""
        o = np.array(origin, float, ndmin=2)
        a = np.empty_like(o)
        a[:] = axis
        a = unit(a)
        t = np.asarray(top, float)
        t = t - np.sum(t * a, axis=1, keepdims=True) * a
        flat = np.einsum("ci,ci->c", t, t) < 1e-12
        if flat.any():
            t = np.where(
                flat[:, None],
                np.cross(a, np.where(np.abs(a[:, :1]) < 0.9, [1.0, 0.0, 0.0], [0.0, 1.0, 0.0])),
                t,
            )
        c = len(o)

        def row(x: ArrayLike) -> Floats:
            out = np.empty(c)
            out[:] = x
            return out

        return cls(o, a, unit(t), row(radius), row(taper), row(low), row(high), row(sense))

    def __len__(self) -> int:
        return len(self.radius)


@dataclass(frozen=True)
class RopeRun:
    """The taut rope over its supports.

    Attributes
    ----------
    start, end : (3,) float     Base anchor (or climber) and climber. [m]
    arrive, leave : (c, 3)      Where the rope meets and leaves each support; both on the straight line where
        it does not touch. [m]
    touches : (c,) bool         False where the taut rope clears the support.
    toward_start, toward_end : (c, 3)   Unit vectors of the legs as they leave the support.
    turn : (c,) float           Turning of the rope on the support. [rad]
    leg : (c + 1,) float        Length of rope from the start to the first support, between supports, and to
        the end (arcs with the leg before). [m]
    length : float              Of the whole rope. [m]
    """

    start: Floats
    end: Floats
    arrive: Floats
    leave: Floats
    touches: NDArray[np.bool_]
    toward_start: Floats
    toward_end: Floats
    turn: Floats
    leg: Floats
    length: float

    def contact_forces(self, tension: ArrayLike) -> Floats:
        """Force of the rope on every support (c, 3) from the leg tensions (c + 1,); zero where it does not
        touch. [N]"""
        t = np.asarray(tension, float)
        force = t[:-1, None] * self.toward_start + t[1:, None] * self.toward_end
        return np.where(self.touches[:, None], force, 0.0)


def taut_rope(start: ArrayLike, end: ArrayLike, supports: Supports, *, hung: bool = False) -> RopeRun:
    """Shortest rope from start to end over the tops of the supports, in their order.

    Parameters
    ----------
    start, end : (3,) float     [m]
    supports : Supports         In rope order from the start; those the taut rope clears are left untouched.
    hung : bool                 The last support bears the rope in any case: where the rope does not lie round
        it, in its crotch.

    Notes
    -----
    Arrival and departure rulings are those whose tangent plane holds the neighbouring rope point: cos(theta -
    phi) = r(z) / rho with z, rho, phi that point's place about the axis. Between them the path is straight on
    the rolled-out surface.
    """
    a, b = np.array(start, float), np.array(end, float)
    c = len(supports)
    arrive, leave = np.zeros((c, 3)), np.zeros((c, 3))
    wrap, turn, arc = np.zeros(c), np.zeros(c), np.zeros(c)
    run = hang if hung and c else tighten
    run(
        a,
        b,
        supports.origin,
        supports.axis,
        supports.top,
        supports.radius,
        supports.taper,
        supports.low,
        supports.high,
        supports.sense,
        arrive,
        leave,
        wrap,
        turn,
        arc,
        SWEEPS,
    )
    touches = wrap > 0.0
    points_before = np.vstack([a, leave]) if c else a[None]
    points_after = np.vstack([arrive, b]) if c else b[None]
    leg = np.linalg.norm(points_after - points_before, axis=1)
    leg[:-1] += arc
    back, ahead = leg_directions(a, b, arrive, leave, touches)
    for i in np.flatnonzero(touches & (supports.high <= supports.low) & np.isfinite(wrap)):
        turn[i] = held_turn(wrap[i], supports.axis[i], back[i], ahead[i])
    return RopeRun(
        a, b, arrive, leave, touches, back, ahead, np.where(touches, turn, 0.0), leg, float(leg.sum())
    )
