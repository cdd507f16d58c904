"""How low do the feet come in a swing, how fast, and with what force in the rope?

A climber hangs on a rope from a tie-in point and slips sideways from rest at the rope angle th0 from the
plumb. The body is a rigid rod hung at the harness: 0.6 m above it to the head, 1.0 m below to the feet. The
rope is an elastic spring, T = K (r - n) / n, tension only; stationary: n is all the rope that can stretch
under this force (to the hitch; basal: up to the anchor, the far part counting exp(-mu beta)); moving: two
strands, k doubles.

Equations: rope force at the harness, weight at the body's middle, rotation about it (planar, three degrees of
freedom), solved by scipy's solve_ivp. No damping. Closed forms for a point mass on an inextensible rope:
    v = sqrt(2 g L (1 - cos th0)),  T = W (3 - 2 cos th0)     (formula_checks.csv F039-F046).
On an elastic one let go from the rope's rest under W cos th0 the lowest point lies, to first order in W / K,
at the length n (1 + T / K) with T from the same formula (`low_point_by_formula`, right within 3 cm for 5 to
12 m of rope); a rope let go with no tension rings: 0.2 to 0.8 m lower. A body that hangs plumb at the start
turns late and whips: rope peaks up to a quarter above W (3 - 2 cos th0), feet a third or more faster than the
harness. The feet swing further out than the harness where the body keeps in line with the rope: v (L + 1) /
L.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy.integrate import solve_ivp

G = 9.80665


class Swing(NamedTuple):
    """First half swing. Heights m relative to the tie-in point's own height given, N, m/s."""

    lowest_harness: float
    lowest_feet: float
    fastest_harness: float
    fastest_feet: float
    rope_peak: float
    feet_speed_at: object  # callable: height -> fastest speed of the feet at or below it (0: not reached)
    path: np.ndarray  # (t, harness x, z, feet x, z)


def swing(
    mass,
    tie_in_z,
    length,
    angle,
    modulus,
    *,
    rope_behind=0.0,
    strands=1,
    feet=1.0,
    head=0.6,
    start="hanging",
    inertia=None,
    body="rod",
):
    """Let go from rest and follow the first swing to the other side.

    Parameters
    ----------
    mass, tie_in_z, length, angle : kg, m, m (tie-in to harness, as it hangs), rad from the plumb.
    modulus : N.
    rope_behind : more rope that stretches (far leg times exp(-mu beta)), m.
    strands : 2 for a moving rope.
    start : "hanging", the rope carries W cos(angle) (he lets go of what held him sideways); "slack", just
        taut without force; "braced", W / cos(angle) (feet against the wood, pushing level).
    body : "rod" (turns by itself, starts plumb) or "point" (all mass at the harness, feet straight below).

    Returns
    -------
    Swing
    """
    w = mass * G
    t0 = {"hanging": w * np.cos(angle), "slack": 0.0, "braced": w / np.cos(angle)}[start]
    # strands in parallel, each (length + behind) of rope
    whole = length + rope_behind
    rest = whole / (1 + t0 / strands / modulus)
    k = strands * modulus / rest
    tall = head + feet
    lean = (feet - head) / 2 if body == "rod" else 0.0  # middle below the harness
    moment = mass * tall**2 / 12 if inertia is None else inertia

    def at(y):
        x, z, phi = y[:3]
        u = np.array([np.sin(phi), np.cos(phi)])  # from middle to head
        harness = np.array([x, z]) + lean * u
        return harness, harness - feet * u, u

    def tension(harness):
        r = np.hypot(*harness)
        return k * max(r + rope_behind - rest, 0.0), r

    def rhs(_, y):
        harness, _f, u = at(y)
        t, r = tension(harness)
        f = -t * harness / r
        turn = 0.0
        if body == "rod":
            arm = lean * u
            # phi turns clockwise (x to the right, z up): torque = arm_z f_x - arm_x f_z
            turn = (arm[1] * f[0] - arm[0] * f[1]) / moment
        return [*y[3:6], f[0] / mass, f[1] / mass - G, turn]

    start_h = np.array([length * np.sin(angle), -length * np.cos(angle)])
    y0 = [start_h[0], start_h[1] - lean, 0.0, 0.0, 0.0, 0.0]

    def other_side(_, y):
        return y[3]

    other_side.terminal, other_side.direction = True, 1
    period = 2 * np.pi * np.sqrt((length + feet) / G)
    run = solve_ivp(
        rhs, (0, 0.75 * period), y0, method="DOP853", rtol=1e-9, atol=1e-10, max_step=0.01, events=other_side
    )
    rows = run.y.T
    harness = np.array([at(y)[0] for y in rows])
    low = np.array([at(y)[1] for y in rows])
    u = np.array([at(y)[2] for y in rows])
    turn = np.c_[u[:, 1], -u[:, 0]] * rows[:, 5:6]  # d u / d t
    vh = rows[:, 3:5] + lean * turn
    vf = vh - feet * turn
    sh, sf = np.hypot(*vh.T), np.hypot(*vf.T)
    pull = np.array([tension(h)[0] for h in harness])

    def feet_speed_at(height):
        under = low[:, 1] + tie_in_z <= height
        return float(sf[under].max()) if under.any() else 0.0

    return Swing(
        float(harness[:, 1].min() + tie_in_z),
        float(low[:, 1].min() + tie_in_z),
        float(sh.max()),
        float(sf.max()),
        float(pull.max()),
        feet_speed_at,
        np.c_[run.t, harness[:, 0], harness[:, 1] + tie_in_z, low[:, 0], low[:, 1] + tie_in_z],
    )


def low_point_by_formula(mass, tie_in_z, length, angle, modulus, *, rope_behind=0.0, strands=1, feet=1.0):
    """Lowest feet (m) of a point mass let go while hanging; further stretch from T = W (3 - 2 cos)."""
    w = mass * G
    rest = (length + rope_behind) / (1 + w * np.cos(angle) / strands / modulus)
    further = (w * (3 - 2 * np.cos(angle)) - w * np.cos(angle)) * rest / (strands * modulus)
    return tie_in_z - length - further - feet
