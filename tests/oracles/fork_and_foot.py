"""Which way is a fork bent and what does that take off, and how hard does a gust bend the foot of a stem? From published figures, by another hand.

Written from these alone, before the program's own was read:

Fork. Two arms a and b (unit vectors) span the plane of the fork, n = a x b / |a x b|. A load F at lever d from
the fork bends the arm a by M = d x F. Its share along n lies in the plane: with b x a as the axis it opens (turns a
away from b), against it it closes. The share square to n and to a bends sideways; what is along a twists.
Small specimens bore 368 N up and down, 309 N sideways (tree lab web note 2026, read; n 43, not significant), so
sideways keeps 309 / 368. No figure for closing was found: it counts as opening. Two strengths square to each
other go over along an ellipse. The figure is one of forks: none of it where the arm is at most half as thick
as the parent ("the good union"), all of it from 0.70, straight between (proven_loads.md, section 9 row 6).
Equal stems kept 0.26 of what ordinary branches keep (Gilman 2003), ordinary 0.50 of MOR, codominant 0.42 in the middle.

Foot of the stem. Bare wood in wind, every piece by itself: rho / 2 C U^2 2 r L |sin|, along the wind, at its height
(proven_loads.md, section 6). C = 1.0, log sd 0.45 (section 9, row 9), one for all years; a year's strongest gust: Gumbel, COV 0.15, about a
mean of the station's with a log sd of 0.12; what was stood is the strongest of the years counted.
"""

from __future__ import annotations

import numpy as np

SIDEWAYS = 309.0 / 368.0
EQUAL_STEMS, ORDINARY, CODOMINANT = 0.26, 0.50, 0.42
AIR = 1.226
DRAG, DRAG_SD, MEAN_SD, YEAR_COV = 1.0, 0.45, 0.12, 0.15


def on_a_fork(arm, other, lever, force):
    """Moment on the arm in the plane of the fork (above 0 opens), and sideways. Unit vectors, lever and force (3,)."""
    a, b, m = np.asarray(arm, float), np.asarray(other, float), np.cross(lever, force)
    out = np.cross(b, a)
    out /= np.linalg.norm(out)
    return float(m @ out), float(abs(m @ np.cross(out, a)))


def counts_for(opens, sideways, aspect):
    """The moment in the plane that uses the fork as much."""
    share = np.clip((aspect - 0.5) / 0.2, 0.0, 1.0)
    return float(np.hypot(opens, sideways / (1.0 - (1.0 - SIDEWAYS) * share)))


def wind_on_the_foot(ends, radii, foot, speed, *, drag=DRAG, pieces=400, ways=720):
    """Moment of the wind about level axes through the foot, the least over all directions it may come from. [N m]

    ends : (m, 2, 3) both ends of straight, evenly tapered pieces of wood; radii : (m, 2).
    """
    t = (np.arange(pieces) + 0.5) / pieces
    way = np.linspace(0, 2 * np.pi, ways, endpoint=False)
    wind = np.column_stack([np.cos(way), np.sin(way), np.zeros(ways)])
    total = np.zeros(ways)
    for (a, b), (ra, rb) in zip(np.asarray(ends, float), np.asarray(radii, float), strict=True):
        length = np.linalg.norm(b - a)
        high = a[2] + t * (b[2] - a[2]) - foot[2]
        across = np.linalg.norm(np.cross(wind, (b - a) / length), axis=1)
        total += 0.5 * AIR * drag * speed**2 * across * np.sum(2 * (ra + t * (rb - ra)) * high) * length / pieces
    return float(total.min())


def stood(years, *, draws=400_000, seed=20261130, at=5.0):
    """Low end (percentile) of what was stood over what the mean year's gust does at the middle drag, C U^2 / (1.0 mean^2)."""
    rng = np.random.default_rng(seed)
    beta = YEAR_COV * np.sqrt(6.0) / np.pi
    year = 1.0 - np.euler_gamma * beta + rng.gumbel(0.0, beta, (draws, years))
    mean = np.exp(MEAN_SD * rng.standard_normal(draws))
    drag = np.exp(DRAG_SD * rng.standard_normal(draws))
    return float(np.percentile(drag * (mean * year.max(axis=1)) ** 2, at))
