"""The shortest rope over straight round bars, evenly tapered, compiled: one bar in closed form, several by
tightening one after the other.

Letters of the formulas: a bar's origin o, axis a, top e1, radius r0 at the origin and taper g; a rope from p
to q comes on at the ruling t_on, s_on along the axis, and leaves at t_off, s_off.
"""

from __future__ import annotations

import numpy as np
from numba import njit

SWEEPS = 400
"""Tightening ends after so many rounds at the latest."""
SIDES_SETTLE = 10
"""Sweeps after which the rope keeps to the side of each support it lies on, and off those it does not
touch."""



@njit(cache=True, error_model="numpy")
def leg_directions(  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    start, end, arrive, leave, touches,
):
    """Unit vectors (c, 3) from each support to the one before and to the one after that the rope touches, or
    to the rope's end."""
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
    """Turning of a rope held at one place of a bar it lies round by the angle `wrap`, its legs leaving along
    the unit vectors before and after.

    Its direction goes round the bar's axis by the wrap, at a slope p that changes evenly from the one it
    comes at to the one it leaves at: the way on the sphere of directions, the mean of sqrt((wrap sin p)^2 +
    (p2 - p1)^2) by Simpson's rule; the wrap itself where both legs stand square to the bar.
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
def _arc(  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    wrap, s_on, s_off, r_a, r_b, r0, g, held,
):
    """Turning and length of the arc between the rulings a rope comes on at and leaves at: its places along
    the axis s and its radii there."""
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
    return turn, arc


@njit(cache=True, error_model="numpy")
def _one(  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    p, q, o, a, e1, r0, g, low, high, sense, arrive, leave,
):
    """Closed-form rope from p to q over one support. Writes arrive, leave; returns (wrap, turn, arc,
    sense)."""
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
        # rolled-out cone: apex on the axis at zv; in the tangent plane of a ruling the point lies at an angle
        # from it
        zv = -r0 / g
        sa = abs(g) / np.sqrt(1 + g * g)
        ca = 1.0 / np.sqrt(1 + g * g)
        away = -1.0 if g < 0 else 1.0
        big_p = np.sqrt(rho_p * rho_p + (zp - zv) ** 2)
        big_q = np.sqrt(rho_q * rho_q + (zq - zv) ** 2)
        # unit ruling from the apex: away*ca along the axis, sa along e(theta)
        along_p = away * ca * (zp - zv) + sa * (xp * np.cos(t_on) + yp * np.sin(t_on))
        along_q = away * ca * (zq - zv) + sa * (xq * np.cos(t_off) + yq * np.sin(t_off))
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
    turn, arc = _arc(wrap, s_on, s_off, r_a, r_b, r0, g, held)
    return wrap, turn, arc, s


@njit(cache=True, error_model="numpy")
def tighten(  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    start, end, o, a, e1, r0, g, low, high, sense, arrive, leave, wrap, turn, arc, sweeps,
):
    """Tighten the rope over its supports, one after the other, until nothing moves (writes arrive, leave,
    wrap, turn, arc)."""
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
            w, b, length, way = _one(
                p, q, o[i], a[i], e1[i], r0[i], g[i], low[i], high[i], side[i], arrive[i], leave[i]
            )
            if off[i]:
                w = -1.0
            # else two supports may each change because the other did, without end
            elif sweep >= SIDES_SETTLE:
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
def hang(  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    start, end, o, a, e1, r0, g, low, high, sense, arrive, leave, wrap, turn, arc, sweeps,
):
    """As `tighten`, but the last support, a union, keeps the rope: where the rope does not lie round it (a
    limb so steep that both legs pass on the stem's side), the rope turns in the crotch, a point on its top,
    and the supports before it are tightened toward there."""
    tighten(start, end, o, a, e1, r0, g, low, high, sense, arrive, leave, wrap, turn, arc, sweeps)
    k = len(r0) - 1
    if wrap[k] > 0.0:
        return
    crotch = o[k] + r0[k] * e1[k]
    tighten(
        start,
        crotch,
        o[:k],
        a[:k],
        e1[:k],
        r0[:k],
        g[:k],
        low[:k],
        high[:k],
        sense[:k],
        arrive[:k],
        leave[:k],
        wrap[:k],
        turn[:k],
        arc[:k],
        sweeps,
    )
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
