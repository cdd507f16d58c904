"""What does a climber feel, and what the anchor, when a descent or a slip with slack stops at once?

A point mass m hangs plumb below a bar on a massless elastic rope (T = K strain, tension only). It falls
through slack h, or comes down with speed v0, or both, and the rope then stops it. Systems:

* "canopy": one leg of length L to the bar, made fast there. Anchor feels the rope's tension.
* "basal": the rope runs over the bar and on to an anchor `far` metres of rope beyond. Anchor (bar) feels both
  legs.
* "moving": two legs of length L, both at the climber. Slack in the leg with the hitch only: rope has to creep
  over the bar.

Friction at the bar (Euler-Eytelwein, mu, wrap beta): the rope creeps only when the tensions differ by more
than exp(mu beta). Energy to the first peak, W = m g:   m v0^2 / 2 + W (h + e) = k e^2 / 2,  F = k e:
    F = W + sqrt(W^2 + 2 k (W h + m v0^2 / 2)),  k = K / (L + far exp(-mu beta))   (2 K / L moving, equal
    legs).
With fall factor f = h / L this is W + sqrt(W^2 + 2 W f K).

`peak_by_motion` integrates m z'' = -m g + sum T with the rope's creep over the bar as a state,
    dN/dt = (T1 - T2 exp(mu beta))+ / c - (T2 - T1 exp(mu beta))+ / c,   N = unstretched length on the
    climber's (hitch) side,
c a small viscous number (the law of dry friction is its limit). That needs no assumption which way the rope
creeps.

Modulus between standard limits (EN 1891 type A): 19.6 kN (<= 5 % for 100 kg) to 41.2 kN (< 6 kN at f = 0.3):
climbing_loads.md section 2, formula_checks.csv F047-F054. Highest measured ratio 10.6: Kane 2020, Urban For.
Urban Green. 49:126625.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy.integrate import solve_ivp

G = 9.80665
MODULUS = (19613.3, 41182.973)  # N
MEASURED_RATIO = 10.6


class Stop(NamedTuple):
    """First peak: N and m."""

    climber: float  # sum of the rope's pulls on the climber
    anchor: float  # resultant on the bar
    stretch: float  # of the climber's place beyond taut
    ratio: float  # climber / weight
    anchor_ratio: float  # anchor / weight
    time: float  # s from taut to the peak


def bar_force(t1, t2, wrap):
    """Resultant of two legs that turn by `wrap` (rad)."""
    return np.sqrt(t1**2 + t2**2 - 2 * t1 * t2 * np.cos(wrap))


def peak_by_energy(mass, slack, length, modulus, *, speed=0.0, system="canopy", far=0.0, mu=0.0, wrap=np.pi):
    """First peak, closed form.

    Parameters
    ----------
    mass, slack, length, modulus : kg, m, m (unstretched, climber to bar), N.
    speed : downward at the start of the fall through the slack, m/s.
    far : rope from bar to anchor, m (basal).

    Returns
    -------
    Stop
    """
    w = mass * G
    keep = np.exp(-mu * wrap)
    reduced = {"canopy": length, "basal": length + far * keep, "moving": length / 2}[system]
    k = modulus / reduced
    f = w + np.sqrt(w**2 + 2 * k * (w * slack + mass * speed**2 / 2))
    anchor = bar_force(f, f * keep, wrap) if system == "basal" else f
    v = np.sqrt(speed**2 + 2 * G * slack)
    omega = np.sqrt(k / mass)
    # x'' = g - omega^2 x from x(0) = 0, x'(0) = v: x' = 0 first at
    t = (np.pi / 2 + np.arctan2(G / omega, v)) / omega
    return Stop(f, anchor, f / k, f / w, anchor / w, t)


def slack_for_ratio(ratio, mass, length, modulus, **rest):
    """Slack (m) at which the climber's peak is `ratio` times his weight: h = (r^2 - 2 r) W / (2 k), k as
    above.
    """
    w = mass * G
    one = peak_by_energy(mass, 0.0, length, modulus, **rest)
    k = one.climber / one.stretch
    return (ratio**2 - 2 * ratio) * w / (2 * k)


def peak_by_motion(
    mass,
    slack,
    length,
    modulus,
    *,
    speed=0.0,
    system="canopy",
    far=0.0,
    mu=0.0,
    wrap=np.pi,
    one_leg=False,
    creep=2.0,
):
    """First peak by integrating the equation of motion; arguments as `peak_by_energy`.

    one_leg : moving rope only: all slack (2 x `slack` of rope) lies in the hitch's leg, the other leg is just
        taut.
    creep : viscous number c of the rope on the bar, N s/m.
    """
    w = mass * G
    grip = np.exp(mu * wrap)

    if system == "canopy":
        total, n0 = length, length
    elif system == "basal":
        total, n0 = length + far, length
    else:
        total = 2 * length
        n0 = length + slack if one_leg else length
    # z: place of the climber below the point where a rope shared evenly is just taut

    def legs(z, n):
        l1 = length + z
        l2 = {"canopy": 0.0, "basal": far, "moving": length + z}[system]
        t1 = modulus * max(l1 / n - 1, 0.0)
        t2 = modulus * max(l2 / (total - n) - 1, 0.0) if system != "canopy" else t1
        return t1, t2

    def on_climber(t1, t2):
        return t1 + t2 if system == "moving" else t1

    def rhs(_, y):
        z, v, n = y
        t1, t2 = legs(z, n)
        dn = 0.0
        if system != "canopy":
            dn = (max(t2 * -1 * grip + t1, 0.0) - max(t2 - t1 * grip, 0.0)) / creep
        return [v, (w - on_climber(t1, t2)) / mass, dn]

    if system == "moving" and one_leg:
        # length counts the rope at rest on both sides; the free leg is taut where z = -slack
        n0, z0 = length + slack, -slack
    else:
        z0 = -slack

    def lowest(_, y):
        return y[1]

    lowest.terminal, lowest.direction = True, -1
    start_v = speed + 1e-9
    run = solve_ivp(
        rhs, (0, 20), [z0, start_v, n0], method="LSODA", rtol=1e-8, atol=1e-10, max_step=0.01, events=lowest
    )
    forces = np.array([legs(z, n) for z, _v, n in run.y.T])
    pulls = np.array([on_climber(*f) for f in forces])
    at = int(pulls.argmax())
    anchor = np.array([t[0] if system == "canopy" else bar_force(t[0], t[1], wrap) for t in forces]).max()
    taut = run.t[np.flatnonzero(pulls > 0)[0]] if (pulls > 0).any() else 0.0
    return Stop(pulls[at], anchor, run.y[0, at], pulls[at] / w, anchor / w, run.t[at] - taut)


def ratio_table(mass=100.0, moduli=(19613.3, 30000.0, 41182.973), factors=(0.0, 0.05, 0.1, 0.3, 0.5, 1.0)):
    """F / W for moduli (rows) and fall factors (columns): the table of climbing_loads.md section 2."""
    return np.array([[peak_by_energy(mass, f * 10.0, 10.0, k).ratio for f in factors] for k in moduli])
