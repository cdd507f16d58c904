"""How often does a thrown weight pass through a window above a limb, if the thrower scatters alike in every
direction?

Model. A point mass m with quadratic drag, F = rho Cd A |u| u / 2, u = velocity less wind, and (optional) the
line it picks up from rest, l kg/m:   d/dt((m + l s) v) = (m + l s) g + F,  s = way flown. Straight up and
without drag this is h = (m / l) ((1 + 3 l v0^2 / (2 g m))^(1/3) - 1)   (throwline.md section 3).

The thrower aims along a unit vector a (azimuth, elevation). The weight leaves along a direction turned from a
by two independent normal angles: `up` in the vertical plane, `side` square to both. Isotropic: both sd sigma.
The azimuth's sd is then sigma / cos(elevation): a side error of 1.5 degrees at 80 degrees of elevation turns
the flight by 8.6 degrees. (A thrower with 1.5 degrees of azimuth at every elevation would miss by cos(80) =
0.17 of that: far too good.) Speed: normal, sd = share x speed. Wind: a steady speed from a direction, and a
gust factor's normal scatter from throw to throw.

Chance = hits / n, n = 200,000 by default; its standard error sqrt(p (1 - p) / n) <= 0.0011.

The window stands over the limb, square to the plane of aim: |across| <= half_width, bottom < z < top, met on
the way down or up as asked. Sources: ballistics textbook; drag and line figures throwline.md section 3;
scatter figures there, section 4, are settings without published source.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy.optimize import brentq

G = 9.80665
RHO = 1.2


class Weight(NamedTuple):
    """Thrown weight: kg, m, drag coefficient, line kg/m."""

    mass: float = 0.34
    radius: float = 0.03
    cd: float = 0.6
    line: float = 0.0


def directions(azimuth, elevation, up, side):
    """Unit vectors (n, 3) turned from the aim by `up` (towards the zenith) and `side` (to the left), rad
    arrays.

    The turn is along the great circle in the direction (side, up), by sqrt(up^2 + side^2).
    """
    ca, sa, ce, se = np.cos(azimuth), np.sin(azimuth), np.cos(elevation), np.sin(elevation)
    a = np.array([ca * ce, sa * ce, se])
    e_up = np.array([-ca * se, -sa * se, ce])
    e_side = np.array([-sa, ca, 0.0])
    angle = np.hypot(up, side)
    with np.errstate(invalid="ignore", divide="ignore"):
        part = np.where(angle > 0, np.sin(angle) / np.where(angle > 0, angle, 1), 1.0)
    return np.cos(angle)[:, None] * a + part[:, None] * (up[:, None] * e_up + side[:, None] * e_side)


def fly(
    start, velocity, weight=None, *, wind=(0.0, 0.0, 0.0), plane_x=None, floor=-60.0, duration=8.0, dt=0.01
):
    """Flights by fourth-order Runge-Kutta, all at once.

    Returns the crossings of the vertical plane x = plane_x: (y, z, rising (bool), t, speed), nan where never
    (within duration and above start + floor, m), or with plane_x None the apex heights (n,) above the start.
    """
    w = Weight() if weight is None else weight
    v = np.atleast_2d(np.asarray(velocity, float)).copy()
    n = len(v)
    x = np.broadcast_to(np.asarray(start, float), (n, 3)).copy()
    wind = np.broadcast_to(np.asarray(wind, float), (n, 3))
    drag = 0.5 * RHO * w.cd * np.pi * w.radius**2
    s = np.zeros(n)

    def acc(v, s):
        u = v - wind  # the wind of those still flying
        m = w.mass + w.line * s
        a = -(drag / m)[:, None] * np.linalg.norm(u, axis=1)[:, None] * u
        a[:, 2] -= G
        if w.line:
            a -= (w.line * np.linalg.norm(v, axis=1) / m)[:, None] * v
        return a

    found = np.full((n, 5), np.nan)
    who = np.arange(n)
    z0 = float(np.asarray(start, float)[2])
    apex = np.full(n, z0)
    for i in range(int(duration / dt)):
        k1 = acc(v, s)
        v2 = v + dt / 2 * k1
        k2 = acc(v2, s + dt / 2 * np.linalg.norm(v, axis=1))
        v3 = v + dt / 2 * k2
        k3 = acc(v3, s + dt / 2 * np.linalg.norm(v2, axis=1))
        v4 = v + dt * k3
        k4 = acc(v4, s + dt * np.linalg.norm(v3, axis=1))
        step = dt / 6 * (v + 2 * v2 + 2 * v3 + v4)
        new_x, new_v = x + step, v + dt / 6 * (k1 + 2 * k2 + 2 * k3 + k4)
        if plane_x is not None:
            over = (x[:, 0] < plane_x) & (new_x[:, 0] >= plane_x)
            if over.any():
                f = ((plane_x - x[over, 0]) / (new_x[over, 0] - x[over, 0]))[:, None]
                at = x[over] + f * (new_x[over] - x[over])
                at[:, 2] += G / 2 * dt**2 * (f * (1 - f))[:, 0]  # the arc stands above its chord
                speed = v[over] + f * (new_v[over] - v[over])
                found[who[over]] = np.c_[
                    at[:, 1:], speed[:, 2] > 0, i * dt + f[:, 0] * dt, np.linalg.norm(speed, axis=1)
                ]
            stay = ~over & ((new_x[:, 2] > z0 + floor) | (new_v[:, 2] > 0))
        else:
            apex[who] = np.maximum(apex[who], new_x[:, 2])
            stay = new_v[:, 2] > 0
        s = (s + np.linalg.norm(step, axis=1))[stay]
        x, v, who, wind = new_x[stay], new_v[stay], who[stay], wind[stay]
        if not len(who):
            break
    return found.T if plane_x is not None else apex - z0


def aim_speed(distance, height, elevation, weight=None, *, wind=(0.0, 0.0, 0.0), most=80.0):
    """Speed (m/s) at which a throw from (0, 0, 0) at `elevation` passes (distance, height)."""

    def miss(v):
        d = v * np.array([[np.cos(elevation), 0.0, np.sin(elevation)]])
        z = fly((0, 0, 0), d, weight, wind=wind, plane_x=distance, duration=20.0)[1][0]
        return -1e3 if np.isnan(z) else z - height

    return brentq(miss, 1.0, most, xtol=1e-6)


def chance(
    distance,
    bottom,
    top,
    half_width,
    elevation,
    speed,
    sigma,
    speed_share,
    *,
    azimuth=0.0,
    side_sigma=None,
    weight=None,
    wind_speed=0.0,
    wind_towards=0.0,
    gust=0.0,
    n=200_000,
    seed=1,
    descending_only=False,
    az_is_sigma=False,
):
    """Share of n throws through the window.

    Parameters
    ----------
    distance, bottom, top, half_width : m from the hand; window x = distance, bottom < z < top, |y| <
    half_width. elevation, speed, azimuth : the aim, rad, m/s; azimuth 0 points at the window's middle. sigma,
    side_sigma : sd of the turn up and to the side, rad (side: None = the same).   speed_share : sd / speed.
    wind_speed, wind_towards, gust : m/s, rad (0 = along the throw), sd of the wind's share from throw to
    throw. az_is_sigma : the wrong reading, azimuth sd = side_sigma at every steepness; to show what it costs.

    Returns
    -------
    (chance, standard error)
    """
    rng = np.random.default_rng(seed)
    side_sd = sigma if side_sigma is None else side_sigma
    v = speed * (1 + speed_share * rng.standard_normal(n))
    up = sigma * rng.standard_normal(n)
    side = side_sd * rng.standard_normal(n)
    if az_is_sigma:
        el, az = elevation + up, azimuth + side
        d = np.c_[np.cos(az) * np.cos(el), np.sin(az) * np.cos(el), np.sin(el)]
    else:
        d = directions(azimuth, elevation, up, side)
    blow = wind_speed * (1 + gust * rng.standard_normal(n))
    wind = blow[:, None] * np.array([np.cos(wind_towards), np.sin(wind_towards), 0.0])
    y, z, rising, _t, _v = fly(
        (0, 0, 0), v[:, None] * d, weight, wind=wind, plane_x=distance, floor=-2.0, duration=10.0, dt=0.02
    )
    hit = (z > bottom) & (z < top) & (np.abs(y) < half_width)
    if descending_only:
        hit &= rising == 0
    p = float(np.mean(hit))
    return p, float(np.sqrt(max(p * (1 - p), 1e-12) / n))


def chance_over(distance, axis, clear, half_width, elevation, speed, sigma, speed_share, *, side_sigma, weight=None, n=200_000, seed=1):
    """As `chance` without wind over a level limb: its axis `axis` high at `distance`, passed by every point of the flight by `clear` (limb's and bag's radius).

    Each flight is followed beyond the limb by a parabola through three of its points; the straight-line edge of a window,
    with one slope for all, lies up to 2 cm too low where the slowest flights sink steeply.
    """
    rng = np.random.default_rng(seed)
    v = speed * (1 + speed_share * rng.standard_normal(n))
    up, side = sigma * rng.standard_normal(n), side_sigma * rng.standard_normal(n)
    d = v[:, None] * directions(0.0, elevation, up, side)
    step = 0.75 * clear
    y, z = zip(*(fly((0, 0, 0), d, weight, plane_x=distance + k * step, floor=-2.0, duration=10.0, dt=0.02)[:2] for k in range(3)), strict=True)
    bend = (z[0] - 2 * z[1] + z[2]) / (2 * step**2)
    slope = (z[1] - z[0]) / step - bend * step
    x = np.linspace(0.0, 1.5 * clear, 31)[:, None]
    near = np.hypot(x, z[0] + slope * x + bend * x**2 - axis).min(axis=0)
    p = float(np.mean((near > clear) & (z[0] > axis) & (np.abs(y[0]) < half_width)))
    return p, float(np.sqrt(max(p * (1 - p), 1e-12) / n))


def side_spread(distance, height, elevation, sigma, weight=None):
    """First-order sd (m) across at the window: the plane turns by sigma / cos(elevation), so distance x
    that.
    """
    del height, weight
    return distance * sigma / np.cos(elevation)


def table(
    heights=(10.0, 16.0, 30.0),
    degrees=(30.0, 60.0, 80.0),
    *,
    sigma=np.deg2rad(2.0),
    share=0.04,
    clear=1.2,
    half_width=0.6,
    n=200_000,
    weight=None,
):
    """Rows (height, elevation, distance, speed, chance, chance of the thrower with azimuth sd = sigma).

    The stand is where the aim passes the window's middle 15 % of the way past the drag-free apex: distance =
    1.15 x 2 h / tan. The window reaches from the limb (height) to `clear` above.
    """
    rows = []
    for h in heights:
        for deg in degrees:
            el = np.deg2rad(deg)
            x = 1.15 * 2 * h / np.tan(el)
            try:
                v = aim_speed(x, h + clear / 2, el, weight)
            except ValueError:
                rows.append((h, deg, x, np.nan, np.nan, np.nan))
                continue
            kw = {"n": n, "weight": weight}
            p, _ = chance(x, h, h + clear, half_width, el, v, sigma, share, **kw)
            q, _ = chance(x, h, h + clear, half_width, el, v, sigma, share, az_is_sigma=True, **kw)
            rows.append((h, deg, x, v, p, q))
    return rows
