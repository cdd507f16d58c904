"""What happens to a climber when the limb under the rope breaks and the rope drops from limb to limb?

Model. A climber is a point mass m. The rope is massless, elastic and carries tension only: T = K (path - N) /
N, with the modulus K = E A (force at strain 1), path = the rope's way, N = its unstretched length. Two
systems:

* "stationary": a fixed end at the anchor, rope from there over the support to the climber. One strand carries
  the climber; the support feels both legs. A support lower by d lowers the climber by 2 d where both legs
  hang plumb.
* "moving": both ends at the climber, doubled over the support. Two strands carry; the support feels their
  sum. A support lower by d lowers the climber by d.

Friction at the support (capstan, Euler-Eytelwein): while the climber pulls, the leg beyond the support
carries exp(-mu beta) of his leg. Loading grows from nothing to the first peak without turning back, so this
ratio holds throughout and the two legs act like one strand of length  Lc + La exp(-mu beta)  (Lc, La: rope on
the climber's and the far side).

Energy (first peak, no damping): from rest at z0 to the lowest point,  m g (h + e) - out = k e^2 / 2  with k =
K / length:
    F = W + sqrt(W^2 + 2 k (W h - out)).
h = free drop since the last support that HELD; `out` = what broken supports took: their fracture work, 0 by
default.
A support whose force would pass its limit, or whose limit is unknown (nan), breaks: it stops nothing, and the
next takes the whole drop. What the rope itself had stored when a support broke (F_break^2 / 2 k) is not
credited: a rope that lets go does not lift the climber, but a support which gives way slowly may hand the
energy back. So the energy chain is an upper bound of the integrated one; with `credit_rope=True` both agree
to the last digits (tests).

Integration: m x'' = m g + T(x) u(x) in three dimensions, scipy's solve_ivp (DOP853), with events for a
support that reaches its limit, for feet that reach the ground and for every peak of the rope's tension.
Supports need not lie plumb.

Sources: Wexler 1950, The theory of belaying, Am. Alpine J. 7 (energy of an elastic rope; memory); the same
formula read at fxsolver.com, "Fall Impact Force"; capstan and resultant of two legs: formula_checks.csv rows
F001 ff., F024 ff.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy.integrate import solve_ivp

G = 9.80665


class Catch(NamedTuple):
    """One support the rope came to lie on. Lengths m, forces N, energies J, speeds m/s."""

    support: int  # index in the list of supports
    held: bool
    free_drop: float  # from where the climber last hung at rest to where this rope is taut, unstretched
    drop: float  # from there to the lowest point (held) or to where the support broke
    stretch: float  # of the climber's position beyond taut, at the peak or at the break
    rope_peak: float  # tension in the climber's leg (stationary) or the sum of both strands (moving)
    support_force: float  # resultant of all rope at the support
    speed_taut: float  # when the rope comes taut


class Fall(NamedTuple):
    """The whole fall: its catches in turn and where it ends."""

    catches: list
    held_by: int  # index of the support that held, -1 none
    drop: float  # m, to the lowest point (or to the ground)
    lowest_harness: float  # m
    lowest_feet: float
    ground_speed: float  # m/s at which the feet reach the ground, 0 if they do not


def resultant(t1, t2, wrap):
    """Force of one rope on what it turns round: sqrt(t1^2 + t2^2 - 2 t1 t2 cos(wrap)); wrap = turning
    angle, rad.
    """
    return np.sqrt(t1**2 + t2**2 - 2 * t1 * t2 * np.cos(wrap))


def force_of_contacts(points, tensions):
    """Whole force (3,) of a rope polyline (n, 3) with one tension per piece (n - 1,) on the limb that bends
    it.

    Every inner vertex pushes with T_after u_after - T_before u_before; the sum telescopes to the two
    outermost pieces, so the number of contacts on the limb is without influence.
    """
    step = np.diff(np.asarray(points, float), axis=0)
    pull = np.asarray(tensions, float)[:, None] * step / np.linalg.norm(step, axis=1)[:, None]
    return (pull[1:] - pull[:-1]).sum(axis=0)


def arrest_force(weight, stiffness, free_drop, taken_out=0.0):
    """Peak of an undamped elastic arrest, N: W + sqrt(W^2 + 2 k (W h - out)); never less than W."""
    return weight + np.sqrt(np.maximum(weight**2 + 2 * stiffness * (weight * free_drop - taken_out), 0.0))


def _unstretched(path_climber, path_far, weight, modulus, system, keep):
    """Rope's unstretched length when the climber hangs at rest: (climber's side, far side)."""
    if system == "moving":
        strain = weight / 2 / modulus
        return path_climber / (1 + strain), path_far / (1 + strain)
    return path_climber / (1 + weight / modulus), path_far / (1 + weight * keep / modulus)


def chain_by_energy(
    mass,
    climber_z,
    support_z,
    break_force,
    modulus,
    *,
    anchor_z=0.0,
    system="stationary",
    mu=0.0,
    wrap=np.pi,
    fracture_work=None,
    ground_z=0.0,
    feet=1.0,
    credit_rope=False,
):
    """Fall down a plumb row of supports; support_z[0] is the one that broke, the rest are tried in turn.

    Parameters
    ----------
    mass, climber_z : kg; height of the harness at rest, m.
    support_z, break_force, fracture_work : (n,) m, N, J. A break force of nan is unknown: it does not hold.
    modulus : K = E A, N.   anchor_z : height of the fixed end, m (stationary).   mu, wrap : friction, rad.
    feet : m from harness to feet.

    Returns
    -------
    Fall
    """
    z = np.asarray(support_z, float)
    limit = np.asarray(break_force, float)
    work = np.zeros(len(z)) if fracture_work is None else np.asarray(fracture_work, float)
    w = mass * G
    keep = np.exp(-mu * wrap)
    far = z - climber_z if system == "moving" else np.abs(z - anchor_z)
    n1, n2 = _unstretched(z[0] - climber_z, far[0], w, modulus, system, keep)
    total = n1 + n2
    catches, out = [], 0.0
    lowest_allowed = ground_z + feet
    for i in range(1, len(z)):
        if system == "moving":
            below = total / 2
            stiffness = 4 * modulus / total
        else:
            n_far = far[i]  # taut, without stretch
            below = total - n_far
            stiffness = modulus / (below + n_far * keep)
        taut_z = z[i] - below
        h = climber_z - taut_z
        if below <= 0 or taut_z <= lowest_allowed:
            speed = np.sqrt(max(2 * (G * (climber_z - lowest_allowed) - out / mass), 0.0))
            return Fall(catches, -1, climber_z - lowest_allowed, lowest_allowed, ground_z, speed)
        peak = arrest_force(w, stiffness, h, out)
        both = peak if system == "moving" else resultant(peak, peak * keep, wrap)
        share = both / peak
        holds = bool(both <= limit[i])  # nan: False
        at = peak if holds else min(peak, limit[i] / share) if np.isfinite(limit[i]) else 0.0
        e = at / stiffness
        speed = np.sqrt(max(2 * (G * h - out / mass), 0.0))
        if taut_z - e <= lowest_allowed:
            e = taut_z - lowest_allowed
            v2 = 2 * (G * (h + e) - out / mass) - stiffness * e**2 / mass
            c = Catch(i, False, h, h + e, e, stiffness * e, share * stiffness * e, speed)
            return Fall([*catches, c], -1, h + e, lowest_allowed, ground_z, np.sqrt(max(v2, 0.0)))
        catches.append(Catch(i, holds, h, h + e, e, at, share * at, speed))
        if holds:
            low = taut_z - e
            return Fall(catches, i, h + e, low, low - feet, 0.0)
        out += work[i] + (stiffness * e**2 / 2 if credit_rope else 0.0)
    speed = np.sqrt(max(2 * (G * (climber_z - lowest_allowed) - out / mass), 0.0))
    return Fall(catches, -1, climber_z - lowest_allowed, lowest_allowed, ground_z, speed)


def chain_by_integration(
    mass,
    climber,
    supports,
    break_force,
    modulus,
    *,
    anchor=(0.0, 0.0, 0.0),
    system="stationary",
    mu=0.0,
    fracture_work=None,
    ground_z=0.0,
    feet=1.0,
    duration=None,
    rope_length=None,
    rtol=1e-9,
):
    """The same fall by solving m x'' = m g + T u in time; supports (n, 3) and climber (3,) anywhere in space.

    The far leg carries exp(-mu beta) of the climber's, beta from the geometry of the moment (loading branch
    of the capstan; with mu > 0 only the first peak on each support is exact). A support that breaks lets the
    tension vanish at once, what the rope had stored is lost to the climber, and the rope lies on the next at
    once (massless). duration: s on each support, default until the first lowest point (plumb) or one and a
    half swings. rope_length : unstretched, m; default from the climber's rest on the first support.
    """
    p = np.asarray(supports, float)
    a = np.asarray(anchor, float)
    x0 = np.asarray(climber, float)
    limit = np.asarray(break_force, float)
    work = np.zeros(len(p)) if fracture_work is None else np.asarray(fracture_work, float)
    w = mass * G

    def wrap_at(i, x):
        if system == "moving":
            return np.pi
        u = (x - p[i]) / np.linalg.norm(x - p[i])
        v = (a - p[i]) / max(np.linalg.norm(a - p[i]), 1e-12)
        return np.pi - np.arccos(np.clip(u @ v, -1, 1))

    def tension(i, x):
        """(force on the climber along his leg, force on the support)."""
        lc = np.linalg.norm(x - p[i])
        if system == "moving":
            t = 2 * modulus * max(2 * lc - total, 0.0) / total
            return t, t
        la = np.linalg.norm(a - p[i])
        beta = wrap_at(i, x)
        keep = np.exp(-mu * beta)
        excess = max(lc + la - total, 0.0)
        t = modulus * excess / (total - la + la * keep)
        return t, resultant(t, t * keep, beta)

    lc0 = np.linalg.norm(x0 - p[0])
    la0 = lc0 if system == "moving" else np.linalg.norm(a - p[0])
    total = sum(_unstretched(lc0, la0, w, modulus, system, np.exp(-mu * wrap_at(0, x0))))
    total = total if rope_length is None else rope_length

    def rhs(i):
        def f(_, y):
            d = p[i] - y[:3]
            t, _s = tension(i, y[:3])
            return np.r_[y[3:], t / mass * d / np.linalg.norm(d) + (0, 0, -G)]

        return f

    y = np.r_[x0, 0.0, 0.0, 0.0]
    catches = []
    for i in range(1, len(p)):
        la = 0.0 if system == "moving" else np.linalg.norm(a - p[i])
        below = total / 2 if system == "moving" else total - la
        plumb = np.linalg.norm(y[:2] - p[i, :2]) < 1e-9
        if below <= 0:
            continue
        known = not np.isnan(limit[i])

        def breaks(_, s, i=i, known=known):
            return tension(i, s[:3])[1] - (limit[i] if known else 1e-9)

        def lands(_, s):
            return s[2] - feet - ground_z

        def turns(_, s):
            return s[5]

        def taut(_, s, i=i, below=below):
            return np.linalg.norm(s[:3] - p[i]) - below

        breaks.terminal = lands.terminal = True
        breaks.direction, lands.direction, taut.direction = 1, -1, 1
        turns.direction, turns.terminal = 1, bool(plumb and duration is None)
        swing = 2 * np.pi * np.sqrt(below / G)
        t_end = (
            duration
            if duration is not None
            else np.sqrt(2 * max(x0[2] - p[i, 2] + below, 0.1) / G) + 1.5 * swing
        )
        if tension(i, y[:3])[1] >= (
            limit[i] if known else 1e-9
        ):  # already past its limit as the rope arrives
            broke, lowest = True, y[2]
            run, peak, both = None, *tension(i, y[:3])
        else:
            run = solve_ivp(
                rhs(i),
                (0, t_end),
                y,
                method="DOP853",
                rtol=rtol,
                atol=1e-10,
                max_step=0.02,
                events=(breaks, lands, turns, taut),
            )
            y = run.y[:, -1]
            broke = len(run.t_events[0]) > 0
            forces = np.array([tension(i, s) for s in run.y[:3].T])
            peak, both = forces.max(axis=0)
            lowest = run.y[2].min()
        v_taut = 0.0
        if run is not None and len(run.y_events[3]):
            v_taut = float(np.linalg.norm(run.y_events[3][0][3:]))
        if run is not None and len(run.t_events[1]):
            if peak > 0:
                catches.append(Catch(i, False, np.nan, x0[2] - lowest, np.nan, peak, both, v_taut))
            return Fall(catches, -1, x0[2] - lowest, lowest, ground_z, float(np.linalg.norm(y[3:])))
        free = x0[2] - (p[i, 2] - below)
        stretch = np.linalg.norm(y[:3] - p[i]) - below
        catches.append(Catch(i, not broke, free, x0[2] - lowest, stretch, peak, both, v_taut))
        if not broke:
            return Fall(catches, i, x0[2] - lowest, lowest, lowest - feet, 0.0)
        speed = np.linalg.norm(y[3:])
        if speed > 0:
            y[3:] *= np.sqrt(max(speed**2 - 2 * work[i] / mass, 0.0)) / speed
    h = y[2] - feet - ground_z
    return Fall(
        catches,
        -1,
        x0[2] - feet - ground_z,
        ground_z + feet,
        ground_z,
        float(np.sqrt(max(y[3:] @ y[3:] + 2 * G * h, 0.0))),
    )


def limb_that_cannot_hold():
    """The hand-made case: does a limb too thin to hold make the anchor redundant? It must not.

    A stationary basal rope over a union at 12 m, the climber of 100 kg at 9 m, K = 30 kN. A thin limb lies
    under it at 11 m, a stout one at 10 m which bears 9 kN (both legs). The thin limb is 49.8 mm, or a year
    later 52 mm; the rope lies 0.15 m out; at 20 MPa it bears pi d^3 / 32 x 20 MPa / 0.15 m = 1.6 or 1.8 kN:
    less than the 1.96 kN of a climber who only hangs. Stout limb, drop since 12 m (4 m + stretch): about 10.3
    kN, breaks. Drop since 11 m (the error): about 8.1 kN, holds. So the case is a ground fall, whatever the
    thin limb's diameter.

    Returns
    -------
    dict with the arguments of `chain_by_energy` and the thin limb's break force by diameter (mm).
    """
    bears = {d: np.pi * (d / 1000) ** 3 / 32 * 20e6 / 0.15 for d in (49.8, 52.0)}
    return {
        "mass": 100.0,
        "climber_z": 9.0,
        "modulus": 30e3,
        "support_z": [12.0, 11.0, 10.0],
        "break_force": {d: [0.0, f, 9000.0] for d, f in bears.items()},
        "held_by": -1,
    }
