"""Which way does a taut rope run over its supports, and with what force does it press on each?

A support is a limb taken as a straight round bar, evenly tapered, that the rope passes over. The shortest path consists of
straight
legs and of arcs on the bars; a bar or cone rolls out flat, so the path over one support is closed form and several are found by
tightening one after the other until nothing moves. Where a rope is held in place along the limb (a union, friction), its arc
stays there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

from treescan.geometry import unit
from treescan.wood.graph import Floats

SWEEPS = 400
"""Tightening ends after so many rounds at the latest."""
SIDES_SETTLE = 10
"""Sweeps after which the rope keeps to the side of each support it lies on, and off those it does not touch."""


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
        """Supports from plain values, broadcast over the rows of `origin` (c, 3); `top` is squared up to the axis."""
        o = np.array(origin, float, ndmin=2)
        a = np.empty_like(o)
        a[:] = axis
        a = unit(a)
        t = np.asarray(top, float)
        t = t - np.sum(t * a, axis=1, keepdims=True) * a
        flat = np.einsum("ci,ci->c", t, t) < 1e-12
        if flat.any():
            t = np.where(flat[:, None], np.cross(a, np.where(np.abs(a[:, :1]) < 0.9, [1.0, 0.0, 0.0], [0.0, 1.0, 0.0])), t)
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
    arrive, leave : (c, 3)      Where the rope meets and leaves each support; both on the straight line where it does not
        touch. [m]
    touches : (c,) bool         False where the taut rope clears the support.
    toward_start, toward_end : (c, 3)   Unit vectors of the legs as they leave the support.
    turn : (c,) float           Turning of the rope on the support. [rad]
    leg : (c + 1,) float        Length of rope from the start to the first support, between supports, and to the end (arcs with
        the leg before). [m]
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
        """Force of the rope on every support (c, 3) from the leg tensions (c + 1,); zero where it does not touch. [N]"""
        t = np.asarray(tension, float)
        force = t[:-1, None] * self.toward_start + t[1:, None] * self.toward_end
        return np.where(self.touches[:, None], force, 0.0)


def taut_rope(start: ArrayLike, end: ArrayLike, supports: Supports, *, hung: bool = False) -> RopeRun:
    """Shortest rope from start to end over the tops of the supports, in their order.

    Parameters
    ----------
    start, end : (3,) float     [m]
    supports : Supports         In rope order from the start; those the taut rope clears are left untouched.
    hung : bool                 The last support bears the rope in any case: where the rope does not lie round it, in its crotch.

    Notes
    -----
    Arrival and departure rulings are those whose tangent plane holds the neighbouring rope point: cos(theta - phi) = r(z) / rho
    with z, rho, phi that point's place about the axis. Between them the path is straight on the rolled-out surface.
    """
    a, b = np.array(start, float), np.array(end, float)
    c = len(supports)
    arrive, leave = np.zeros((c, 3)), np.zeros((c, 3))
    wrap, turn, arc = np.zeros(c), np.zeros(c), np.zeros(c)
    run = _hang if hung and c else _tighten
    run(
        a, b, supports.origin, supports.axis, supports.top, supports.radius, supports.taper, supports.low, supports.high,
        supports.sense, arrive, leave, wrap, turn, arc, SWEEPS,
    )  # fmt: skip
    touches = wrap > 0.0
    points_before = np.vstack([a, leave]) if c else a[None]
    points_after = np.vstack([arrive, b]) if c else b[None]
    leg = np.linalg.norm(points_after - points_before, axis=1)
    leg[:-1] += arc
    back, ahead = _neighbours(a, b, arrive, leave, touches)
    for i in np.flatnonzero(touches & (supports.high <= supports.low) & np.isfinite(wrap)):
        turn[i] = held_turn(wrap[i], supports.axis[i], back[i], ahead[i])
    return RopeRun(a, b, arrive, leave, touches, back, ahead, np.where(touches, turn, 0.0), leg, float(leg.sum()))


@njit(cache=True, error_model="numpy")
def _neighbours(start, end, arrive, leave, touches):  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    """Unit vectors (c, 3) from each support to the one before and to the one after that the rope touches, or to the rope's end."""
    c = len(touches)
    back, ahead = np.zeros((c, 3)), np.zeros((c, 3))
    target = start
    for i in range(c):
        unit_toward(target, arrive[i], back[i])
        if touches[i]:
            target = leave[i]
    target = end
    for i in range(c - 1, -1, -1):
        unit_toward(target, leave[i], ahead[i])
        if touches[i]:
            target = arrive[i]
    return back, ahead


@njit(cache=True, error_model="numpy")
def held_turn(wrap, axis, before, after):  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    """Turning of a rope held at one place of a bar it lies round by the angle `wrap`, its legs leaving along the unit vectors before and after.

    Its direction goes round the bar's axis by the wrap, at a slope p that changes evenly from the one it comes at to the one it leaves at: the
    way on the sphere of directions, the mean of sqrt((wrap sin p)^2 + (p2 - p1)^2) by Simpson's rule; the wrap itself where both legs stand
    square to the bar.
    """
    p1 = np.arccos(min(max(-(before[0] * axis[0] + before[1] * axis[1] + before[2] * axis[2]), -1.0), 1.0))
    p2 = np.arccos(min(max(after[0] * axis[0] + after[1] * axis[1] + after[2] * axis[2], -1.0), 1.0))
    total, change = 0.0, (p2 - p1) * (p2 - p1)
    for k in range(9):
        here = wrap * np.sin(p1 + (p2 - p1) * k / 8)
        total += (1.0 if k % 8 == 0 else 4.0 if k % 2 else 2.0) * np.sqrt(here * here + change)
    return total / 24


@njit(cache=True, error_model="numpy")
def unit_toward(there, here, out):  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    """Unit vector from here to there (3,), zero where they are one (writes out)."""
    x, y, z = there[0] - here[0], there[1] - here[1], there[2] - here[2]
    length = np.sqrt(x * x + y * y + z * z)
    if length > 0.0:
        out[0], out[1], out[2] = x / length, y / length, z / length


@njit(cache=True, error_model="numpy")
def _one(p, q, o, a, e1, r0, g, low, high, sense, arrive, leave):  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    """Closed-form rope from p to q over one support. Writes arrive, leave; returns (wrap, turn, arc, sense)."""
    e2 = np.empty(3)
    e2[0] = a[1] * e1[2] - a[2] * e1[1]
    e2[1] = a[2] * e1[0] - a[0] * e1[2]
    e2[2] = a[0] * e1[1] - a[1] * e1[0]
    xp = yp = zp = xq = yq = zq = 0.0
    for k in range(3):
        dp, dq = p[k] - o[k], q[k] - o[k]
        xp += dp * e1[k]
        yp += dp * e2[k]
        zp += dp * a[k]
        xq += dq * e1[k]
        yq += dq * e2[k]
        zq += dq * a[k]
    s = sense
    if s == 0.0:
        s = 1.0 if np.arctan2(yq, -xq) >= np.arctan2(yp, -xp) else -1.0
    yp *= s
    yq *= s
    phi_p = np.arctan2(yp, xp)
    if phi_p > 0.5 * np.pi:
        phi_p -= 2 * np.pi
    phi_q = np.arctan2(yq, xq)
    if phi_q <= -0.5 * np.pi:
        phi_q += 2 * np.pi
    rho_p, rho_q = np.sqrt(xp * xp + yp * yp), np.sqrt(xq * xq + yq * yq)
    cp = (r0 + g * zp) / rho_p if rho_p > 0 else 1.0
    cq = (r0 + g * zq) / rho_q if rho_q > 0 else 1.0
    t_on = phi_p + np.arccos(min(max(cp, -1.0), 1.0))
    t_off = phi_q - np.arccos(min(max(cq, -1.0), 1.0))
    wrap = t_off - t_on
    if wrap < 0.0:
        return -1.0, 0.0, 0.0, s
    held = high <= low
    if held:
        s_on = s_off = low
    elif abs(g) < 1e-6:
        l1 = np.sqrt(max(rho_p * rho_p - r0 * r0, 0.0))
        l2 = np.sqrt(max(rho_q * rho_q - r0 * r0, 0.0))
        whole = l1 + l2 + r0 * wrap
        s_on = zp + (zq - zp) * l1 / whole
        s_off = zp + (zq - zp) * (l1 + r0 * wrap) / whole
    else:
        # rolled-out cone: apex on the axis at zv; in the tangent plane of a ruling the point lies at an angle from it
        zv = -r0 / g
        sa = abs(g) / np.sqrt(1 + g * g)
        ca = 1.0 / np.sqrt(1 + g * g)
        away = -1.0 if g < 0 else 1.0
        big_p = np.sqrt(rho_p * rho_p + (zp - zv) ** 2)
        big_q = np.sqrt(rho_q * rho_q + (zq - zv) ** 2)
        # unit ruling from the apex: away*ca along the axis, sa along e(theta)
        along_p = away * ca * (zp - zv) + sa * (xp * np.cos(t_on) + yp * np.sin(t_on))
        along_q = away * ca * (zq - zv) + sa * (xq * np.cos(t_off) + yq * np.sin(t_off))
        dp = np.arctan2(np.sqrt(max(big_p * big_p - along_p * along_p, 0.0)), along_p)
        dq = np.arctan2(np.sqrt(max(big_q * big_q - along_q * along_q, 0.0)), along_q)
        side_p = abs(-xp * np.sin(t_on) + yp * np.cos(t_on))
        side_q = abs(-xq * np.sin(t_off) + yq * np.cos(t_off))
        dp = np.arctan2(side_p, along_p)
        dq = np.arctan2(side_q, along_q)
        full = dp + wrap * sa + dq
        top = big_p * big_q * np.sin(full)
        r_on = top / (big_p * np.sin(dp) + big_q * np.sin(full - dp))
        r_off = top / (big_p * np.sin(full - dq) + big_q * np.sin(dq))
        s_on = zv + away * r_on * ca
        s_off = zv + away * r_off * ca
    if not held:
        s_on = min(max(s_on, low), high)
        s_off = min(max(s_off, low), high)
    r_a, r_b = r0 + g * s_on, r0 + g * s_off
    for k in range(3):
        arrive[k] = o[k] + s_on * a[k] + r_a * (np.cos(t_on) * e1[k] + s * np.sin(t_on) * e2[k])
        leave[k] = o[k] + s_off * a[k] + r_b * (np.cos(t_off) * e1[k] + s * np.sin(t_off) * e2[k])
    if abs(g) < 1e-6 or held:
        mean = 0.5 * (r_a + r_b)
        arc = np.sqrt((mean * wrap) ** 2 + (s_off - s_on) ** 2)
        turn = wrap * (mean * wrap / arc) if arc > 0 else wrap
    else:
        slant = np.sqrt(1 + g * g)
        zv = -r0 / g
        u, v = abs(s_on - zv) * slant, abs(s_off - zv) * slant
        half = np.sin(0.5 * wrap * abs(g) / slant)
        arc = np.sqrt((u - v) ** 2 + 4 * u * v * half * half)
        around = 0.5 * (r_a + r_b) * wrap
        turn = wrap * min(around / arc, 1.0) if arc > 0 else wrap
    return wrap, turn, arc, s


@njit(cache=True, error_model="numpy")
def _tighten(start, end, o, a, e1, r0, g, low, high, sense, arrive, leave, wrap, turn, arc, sweeps):  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    """Tighten the rope over its supports, one after the other, until nothing moves (writes arrive, leave, wrap, turn, arc)."""
    c = len(r0)
    p, q = np.empty(3), np.empty(3)
    side, off = sense.copy(), np.zeros(c, np.bool_)
    for i in range(c):
        wrap[i] = 1.0
        for k in range(3):
            arrive[i, k] = leave[i, k] = o[i, k] + r0[i] * e1[i, k]
    for sweep in range(sweeps):
        moved = 0.0
        for i in range(c):
            before = i - 1
            while before >= 0 and wrap[before] <= 0.0:
                before -= 1
            after = i + 1
            while after < c and wrap[after] <= 0.0:
                after += 1
            for k in range(3):
                p[k] = leave[before, k] if before >= 0 else start[k]
                q[k] = arrive[after, k] if after < c else end[k]
            x0, y0, z0 = arrive[i, 0], arrive[i, 1], arrive[i, 2]
            x1, y1, z1 = leave[i, 0], leave[i, 1], leave[i, 2]
            w, b, length, way = _one(p, q, o[i], a[i], e1[i], r0[i], g[i], low[i], high[i], side[i], arrive[i], leave[i])
            if off[i]:
                w = -1.0
            elif sweep >= SIDES_SETTLE:  # else two supports may each change because the other did, without end
                side[i], off[i] = way, w <= 0.0
            if (w > 0.0) != (wrap[i] > 0.0):
                moved += 1.0
            wrap[i], turn[i], arc[i] = w, b, length
            if w <= 0.0:
                # not touching: stand on the straight line, so that lengths add up
                share = (i - before) / (after - before)
                for k in range(3):
                    arrive[i, k] = leave[i, k] = p[k] + share * (q[k] - p[k])
            else:
                moved += abs(arrive[i, 0] - x0) + abs(arrive[i, 1] - y0) + abs(arrive[i, 2] - z0)
                moved += abs(leave[i, 0] - x1) + abs(leave[i, 1] - y1) + abs(leave[i, 2] - z1)
        if moved < 1e-13:
            break


@njit(cache=True, error_model="numpy")
def _hang(start, end, o, a, e1, r0, g, low, high, sense, arrive, leave, wrap, turn, arc, sweeps):  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    """As `_tighten`, but the last support, a union, keeps the rope: where the rope does not lie round it (a limb so steep that both legs
    pass on the stem's side), the rope turns in the crotch, a point on its top, and the supports before it are tightened toward there."""
    _tighten(start, end, o, a, e1, r0, g, low, high, sense, arrive, leave, wrap, turn, arc, sweeps)
    k = len(r0) - 1
    if wrap[k] > 0.0:
        return
    crotch = o[k] + r0[k] * e1[k]
    _tighten(
        start, crotch, o[:k], a[:k], e1[:k], r0[:k], g[:k], low[:k], high[:k], sense[:k], arrive[:k], leave[:k], wrap[:k], turn[:k], arc[:k],
        sweeps,
    )  # fmt: skip
    arrive[k], leave[k] = crotch, crotch
    before = k - 1
    while before >= 0 and wrap[before] <= 0.0:
        before -= 1
    u, v = np.zeros(3), np.zeros(3)
    unit_toward(leave[before] if before >= 0 else start, crotch, u)
    unit_toward(end, crotch, v)
    x, y, z = u[1] * v[2] - u[2] * v[1], u[2] * v[0] - u[0] * v[2], u[0] * v[1] - u[1] * v[0]
    turn[k] = np.pi - np.arctan2(np.sqrt(x * x + y * y + z * z), u[0] * v[0] + u[1] * v[1] + u[2] * v[2])
    wrap[k], arc[k] = np.inf, 0.0  # a point: it bears, whatever the turning
