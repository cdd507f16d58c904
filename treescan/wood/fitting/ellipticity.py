"""How far from round is a limb's section, and which way is it long? Said only where the scan leaves no doubt; round everywhere else."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numba import njit, prange
from scipy.spatial import cKDTree

from treescan.geometry import unit
from treescan.wood.fitting.co_registration import piece_of
from treescan.wood.fitting.limb_axes import LimbAxes, along
from treescan.wood.graph import Floats, Ints
from treescan.wood.sections.cylinder_fit import MAD_TO_SD, TUKEY, edge_weights
from treescan.wood.sections.pieces import lay_out
from treescan.wood.skeleton.thinned_wood import group_rows

SEEN_ROUND = np.radians(270.0)
"""Less bark than this cannot tell an oval from a round one beside its true axis (project choice) [rad]."""
THINNEST = 0.02
"""Thinner limbs are taken as round: their ovals are as small as the scan's own faults (found on simulated scans) [m]."""
PER_PIECE, FEW = 400, 24
"""Most points of a piece that take part, and least."""
USUAL = 0.08
"""Amplitude over radius of the second harmonic believed beforehand, half of it for the third: a weak prior that keeps gaps in the bark sane."""
SHIFT = 0.001
"""How far a scan position may still lie off the others on one limb, in every direction [m] (sd, found on simulated scans)."""
LEAN = 0.1
"""How far a piece's axis may lean against the limb's [rad]: a prior."""
SMEAR, SMEAR_UNTOLD, SMEAR_MOVING = 0.15, 0.3, 0.35
"""Share of the scatter that may sit in the amplitude and goes on along the limb: positions known and brought together; not told apart; of a moving
scanner's shell (found on simulated scans)."""
VARIES = 0.012
"""How much the amplitude over radius changes from piece to piece by bark and knots (sd, found on simulated scans)."""
REACH = 2.0
"""Pieces so many diameters to either side are averaged."""
LASTING = 2.0
"""An oval goes on for so many diameters, or it is a bulge (project choice)."""
BEYOND = 3.0
"""An oval's amplitude is so many standard deviations, or the section is round (project choice)."""
LEAST, MOST = 1.02, 1.5
"""Ratios below the first stress the wood like a round to one per cent; beyond the second it is no ellipse any more and counts as this one."""
UNKNOWNS = 9
"""Centre, lean, radius, second and third harmonic."""
RADIUS, COS_2, SIN_2, COS_3, SIN_3 = 4, 5, 6, 7, 8
"""Their places, behind the centre's two and the lean's two."""
AMPLITUDE_A, AMPLITUDE_B, OWN_VARIANCE, SHARED_VARIANCE, SCATTER = range(5)
"""Columns of a fitted oval: a and b over the radius, their variance from the points and from what positions share, and the scatter [m]."""
OVAL_FIELDS = 5
"""How many columns a fitted oval has."""
LEAST_HALF = 0.05
"""Directions are read over at least so far to either side [m] (project choice)."""
STEEP = 0.9
"""An axis closer to the vertical than this cosine is crossed with another direction."""
CORE = 0.2
"""Points within this share of the radius have no direction from the axis (project choice)."""
LEAST_SCALE, MOST_SCALE, MOST_SCALE_SHARE = 0.0005, 0.004, 0.06
"""Bounds of the scatter that weighs points [m], the upper one also as a share of the radius (project choice)."""
ROUNDS = 6
"""Steps of a fit (project choice)."""
LONGEST_STEP = 0.3
"""Share of the radius that a step moves by at most (project choice)."""
TRIMMED = 1.2
"""Tukey's weights make the variance look smaller by about this factor (project choice)."""
MEAN_ROUNDS, OUT_VARIANCE = 4, 9.0
"""Rounds of the average along a limb; a piece so many times its variance off (three standard deviations) keeps half its weight (project choice)."""
PIECES = 4
"""An average takes at least so many pieces (project choice)."""
BELIEVED = 6.0
"""Pieces' worth of belief in the variance the fits tell beforehand (project choice)."""
DECIMALS = 4
"""Decimals of a ratio and a direction: far below what is measured."""
NEAREST, FAR = 6, 2.1
"""Pieces nearest to a node that are tried, no farther than so many of the thickest radius: a diameter and a little."""


class _Same(NamedTuple):
    """When a piece is on a node's own limb (project choice)."""

    aside: float = 0.25
    """Share of the radius between the axes, at most."""
    thickness: float = 0.2
    """Share of the radius that the radii differ by, at most."""
    direction: float = 0.9
    """Cosine between the axes, at least."""


SAME = _Same()


@dataclass(frozen=True)
class Ovals:
    """Pieces of limbs whose bark was seen nearly all round, one row each.

    Attributes
    ----------
    place, axis : (p, 3) float      Middle of the piece and the limb's direction there. [m]
    radius : (p,) float             Of the round of the same area. [m]
    ratio : (p,) float              Longest over shortest width; 1 = not told from round.
    along : (p, 3) float            Unit vector along the longest width.
    """

    place: Floats
    axis: Floats
    radius: Floats
    ratio: Floats
    along: Floats


def measure_ovals(xyz: Floats, limb: Ints, place: Floats, axes: LimbAxes, position: Ints | None = None, shell: float = 0.0) -> Ovals:
    """Ovals of all limbs round their final axes.

    Parameters
    ----------
    xyz : (n, 3) float      Wood points, scan positions brought together. [m]
    limb, place : (n,)      Limb of every point (-1 for none) and its place along it. [m]
    axes : LimbAxes         Axes those limbs were measured round last.
    position : (n,) int     Scan position of every point, None = not known.
    shell : float           A moving scanner's noise, else 0. [m]

    Notes
    -----
    A piece's radius is taken as r(theta) = r (1 + a cos 2 theta + b sin 2 theta) round a centre of its own: an error of the centre is the
    first harmonic, and goes with it, as do a lean and a third harmonic. An ellipse of ratio q has the amplitude (q - 1) / (q + 1) up to its
    third power; the round of the same area is thicker than the mean radius by a quarter of the amplitude's square (0.04 % for an oval of
    8 %), so the circle's radius stays. Points at the edge of a position's view count less, and every position may lie a little off
    the others, which alone makes a false oval that goes on along the whole limb.
    Along the limb the pieces are averaged, those that stand out with less weight. What is left counts where it is `BEYOND` its own standard
    deviation (scatter of the pieces, and what all share) and goes on for `LASTING` diameters.
    """
    start, rows = group_rows(piece_of(limb, place, axes), len(axes.s))
    wanted = (axes.arc >= SEEN_ROUND) & (axes.r >= THINNEST) & np.isfinite(axes.raw_sd) & (axes.share > 0.5) & (np.diff(start) >= FEW)
    _, axis = along(axes.start, axes.v, axes.s, axes.of_vertex, axes.s, np.maximum(axes.r, LEAST_HALF))
    side = _carried(axes.start, axis)
    up = np.cross(axis, side)
    at = np.flatnonzero(wanted)
    head, rows = _sampled(start, rows, at)
    x, y, t = lay_out(xyz, rows, head, axes.v[at], axis[at], side[at], up[at])
    count = 1 if position is None else int(position.max()) + 1
    seen_from = np.zeros(len(rows), np.int32) if position is None else position[rows]
    weight = np.ones(len(rows)) if position is None else edge_weights(x, y, seen_from, head, count)
    fit = np.full((len(wanted), OVAL_FIELDS), np.nan)
    fit[at] = _fit_ovals(x, y, t, weight, seen_from, count, head, axes.r[at], axes.noise[at])
    smear = SMEAR_UNTOLD if position is None else SMEAR
    own = np.hypot(smear * np.nan_to_num(fit[:, SCATTER]), SMEAR_MOVING * shell) / axes.r
    mean, sd, span = _averaged(axes.start, axes.s, axes.r, fit, own)
    amplitude = np.minimum(np.hypot(mean[:, AMPLITUDE_A], mean[:, AMPLITUDE_B]), (MOST - 1) / (MOST + 1))
    ratio = (1 + amplitude) / (1 - amplitude)
    told = np.isfinite(fit[:, AMPLITUDE_A]) & (amplitude > BEYOND * sd) & (ratio >= LEAST) & (span >= 0.5 * LASTING)
    told &= _goes_on(told, np.isfinite(fit[:, AMPLITUDE_A]), axes.start, axes.s, axes.r)
    turn = 0.5 * np.arctan2(mean[:, 1], mean[:, 0])
    long = np.cos(turn)[:, None] * side + np.sin(turn)[:, None] * up
    out = np.flatnonzero(np.isfinite(fit[:, AMPLITUDE_A]))
    return Ovals(axes.v[out], axis[out], axes.r[out], np.where(told, ratio, 1.0)[out], long[out])


def ovals_at(ovals: Ovals, xyz: Floats, radius: Floats, parent: Ints, seen: np.ndarray) -> tuple[Floats, Floats]:
    """Ratio (n,) and direction (n, 3) of the oval at every node of a graph, 1 and 0 where round.

    Parameters
    ----------
    xyz, radius, parent, seen : (n, ...)    As in `WoodGraph`. A node takes the oval of the nearest measured piece of its own limb, no further
        than a diameter away; the direction is laid square to the segment down to the parent.
    """
    ratio, long = np.ones(len(xyz)), np.zeros((len(xyz), 3))
    if not (ovals.ratio > 1).any():
        return ratio, long
    direction = unit(xyz - xyz[np.maximum(parent, 0)])
    direction[0] = direction[1] if len(xyz) > 1 else (0.0, 0.0, 1.0)
    far = FAR * float(ovals.radius.max())
    gap, near = cKDTree(ovals.place).query(xyz, k=min(NEAREST, len(ovals.place)), distance_upper_bound=far)
    gap, near = gap.reshape(len(xyz), -1), near.reshape(len(xyz), -1)
    free = seen.copy()
    for q in range(gap.shape[1]):  # the nearest that is the same limb
        rows = np.flatnonzero(free & np.isfinite(gap[:, q]))
        piece = near[rows, q]
        off = xyz[rows] - ovals.place[piece]
        ahead = np.sum(off * ovals.axis[piece], axis=1)
        aside = np.sqrt(np.maximum(gap[rows, q] ** 2 - ahead**2, 0.0))
        r = ovals.radius[piece]
        same = (aside < SAME.aside * r) & (np.abs(ahead) <= 2 * r) & (np.abs(radius[rows] - r) < SAME.thickness * r)
        same &= np.abs(np.sum(direction[rows] * ovals.axis[piece], axis=1)) > SAME.direction
        rows, piece = rows[same], piece[same]
        free[rows] = False
        ratio[rows], long[rows] = ovals.ratio[piece], ovals.along[piece]
    ratio = np.round(ratio, DECIMALS)
    long = unit(long - np.sum(long * direction, axis=1, keepdims=True) * direction)
    return ratio, np.where(ratio[:, None] > 1, np.round(long, DECIMALS), 0.0)


@njit(cache=True)
def _carried(start, axis):  # type: ignore[no-untyped-def]
    """Unit vectors square to the axis, carried along every limb without twist, (m, 3)."""
    side = np.empty_like(axis)
    for k in range(len(start) - 1):
        for i in range(start[k], start[k + 1]):
            t = axis[i]
            v = np.array([-t[1], t[0], 0.0]) if abs(t[2]) < STEEP else np.array([0.0, -t[2], t[1]])
            if i > start[k]:
                v[:] = side[i - 1]
            v -= np.dot(v, t) * t
            side[i] = v / max(np.sqrt(np.dot(v, v)), 1e-9)
    return side


@njit(cache=True)
def _sampled(start, rows, pieces):  # type: ignore[no-untyped-def]
    """First row of each of these pieces and their rows, at most `PER_PIECE` each, evenly."""
    head = np.zeros(len(pieces) + 1, np.int64)
    for k in range(len(pieces)):
        head[k + 1] = head[k] + min(start[pieces[k] + 1] - start[pieces[k]], PER_PIECE)
    out = np.empty(head[-1], rows.dtype)
    for k in range(len(pieces)):
        a, m = start[pieces[k]], head[k + 1] - head[k]
        n = start[pieces[k] + 1] - a
        for i in range(m):
            out[head[k] + i] = rows[a + (i * n) // m]
    return head, out


@njit(cache=True)
def _normal(x, y, t, weight, seen_from, p, scale, a, g, block, cross, right, off):  # type: ignore[no-untyped-def]
    """Weighted normal equations at p = centre, lean, radius, harmonics; for every position's own shift those of the shift and the mixed ones.

    Writes the sizes of the residuals into `off`. Returns how many there are, the sum of the weights and of the weighted squares.
    """
    a[:], g[:], block[:], cross[:], right[:] = 0.0, 0.0, 0.0, 0.0, 0.0
    used, squares, near = 0.0, 0.0, 0
    j = np.empty(UNKNOWNS)
    for i in range(len(x)):
        dx, dy = x[i] - p[0] - p[2] * t[i], y[i] - p[1] - p[3] * t[i]
        d = np.sqrt(dx * dx + dy * dy)
        if d < CORE * p[RADIUS]:
            continue
        c, s = dx / d, dy / d
        c2, s2 = c * c - s * s, 2 * s * c
        c3, s3 = c * c2 - s * s2, s * c2 + c * s2
        e = d - (p[RADIUS] + p[COS_2] * c2 + p[SIN_2] * s2 + p[COS_3] * c3 + p[SIN_3] * s3)
        off[near] = abs(e)
        near += 1
        u = e / (TUKEY * scale)
        if abs(u) >= 1:
            continue
        w = (1 - u * u) ** 2 * weight[i]
        j[:] = c, s, c * t[i], s * t[i], 1.0, c2, s2, c3, s3
        used += w
        squares += w * e * e
        q = seen_from[i]
        right[q, 0] += w * c * e
        right[q, 1] += w * s * e
        block[q, 0, 0] += w * c * c
        block[q, 0, 1] += w * c * s
        block[q, 1, 1] += w * s * s
        for m in range(UNKNOWNS):
            g[m] += w * j[m] * e
            cross[q, 0, m] += w * c * j[m]
            cross[q, 1, m] += w * s * j[m]
            for z in range(m + 1):
                a[m, z] += w * j[m] * j[z]
    for m in range(UNKNOWNS):
        for z in range(m):
            a[z, m] = a[m, z]
    return near, used, squares


@njit(cache=True)
def _fit_one(x, y, t, weight, seen_from, count, radius, noise, out):  # type: ignore[no-untyped-def]
    """One piece; `out` receives a, b, the variance of each from the points and from what positions share, and the scatter [m]; NaN without a fit."""
    a, g, off = np.empty((UNKNOWNS, UNKNOWNS)), np.empty(UNKNOWNS), np.empty(len(x))
    block, cross, right = np.empty((count, 2, 2)), np.empty((count, 2, UNKNOWNS)), np.empty((count, 2))
    p = np.zeros(UNKNOWNS)
    p[RADIUS] = radius
    half, second, third = 0.5 * radius, USUAL * radius, 0.5 * USUAL * radius
    believed = np.array([half, half, LEAN, LEAN, radius, second, second, third, third])
    scale = max(noise, LEAST_SCALE)
    out[:] = np.nan
    used, squares = 0.0, 0.0
    plain = a
    for turn in range(ROUNDS):
        near, used, squares = _normal(x, y, t, weight, seen_from, p, scale, a, g, block, cross, right, off)
        if used < 0.5 * FEW:
            return
        for m in range(UNKNOWNS):
            prior = (scale / believed[m]) ** 2
            a[m, m] += prior
            g[m] -= prior * p[m] if m != RADIUS else 0.0
        plain = a.copy()
        if count > 1:
            free = (scale / SHIFT) ** 2
            for q in range(count):
                b0, b1, b2 = block[q, 0, 0] + free, block[q, 0, 1], block[q, 1, 1] + free
                det = b0 * b2 - b1 * b1
                for m in range(UNKNOWNS):
                    f0, f1 = (b2 * cross[q, 0, m] - b1 * cross[q, 1, m]) / det, (b0 * cross[q, 1, m] - b1 * cross[q, 0, m]) / det
                    g[m] -= f0 * right[q, 0] + f1 * right[q, 1]
                    for z in range(UNKNOWNS):
                        a[m, z] -= f0 * cross[q, 0, z] + f1 * cross[q, 1, z]
        if turn == ROUNDS - 1:
            break
        step = np.linalg.solve(a, g)
        p += step * min(1.0, LONGEST_STEP * radius / max(np.max(np.abs(step)), 1e-12))
        scale = min(max(MAD_TO_SD * np.median(off[:near]), LEAST_SCALE), max(MOST_SCALE_SHARE * radius, MOST_SCALE))
    square = TRIMMED * squares / used
    with_shifts, without = np.linalg.inv(a), np.linalg.inv(plain)
    points = 0.5 * (without[COS_2, COS_2] + without[SIN_2, SIN_2])
    shared = max(0.5 * (with_shifts[COS_2, COS_2] + with_shifts[SIN_2, SIN_2]) - points, 0.0)
    out[AMPLITUDE_A], out[AMPLITUDE_B] = p[COS_2] / p[RADIUS], p[SIN_2] / p[RADIUS]
    out[OWN_VARIANCE], out[SHARED_VARIANCE] = square * points / p[RADIUS] ** 2, square * shared / p[RADIUS] ** 2
    out[SCATTER] = np.sqrt(square)


@njit(cache=True, parallel=True)
def _fit_ovals(x, y, t, weight, seen_from, count, head, radius, noise):  # type: ignore[no-untyped-def]
    """See `_fit_one`, for every piece, (p, 5)."""
    out = np.empty((len(radius), OVAL_FIELDS))
    for k in prange(len(radius)):
        a, b = head[k], head[k + 1]
        _fit_one(x[a:b], y[a:b], t[a:b], weight[a:b], seen_from[a:b], count, radius[k], noise[k], out[k])
    return out


@njit(cache=True)
def _averaged(start, s, r, fit, own):  # type: ignore[no-untyped-def]
    """Mean a, b (m, 2) over the pieces within `REACH`, its standard deviation (m,), and the diameters those pieces span (m,)."""
    mean, sd, span = np.zeros((len(s), 2)), np.full(len(s), np.inf), np.zeros(len(s))
    for k in range(len(start) - 1):
        for i in range(start[k], start[k + 1]):
            if np.isnan(fit[i, AMPLITUDE_A]):
                continue
            far = REACH * 2 * r[i]
            low, high = i, i + 1
            while low > start[k] and s[i] - s[low - 1] < far:
                low -= 1
            while high < start[k + 1] and s[high] - s[i] < far:
                high += 1
            m0, m1 = 0.0, 0.0
            for turn in range(MEAN_ROUNDS):
                n, w_sum, a_sum, b_sum, shared, square, scatter = 0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
                first, last = np.inf, -np.inf
                for j in range(low, high):
                    if np.isnan(fit[j, AMPLITUDE_A]):
                        continue
                    v = fit[j, OWN_VARIANCE] + VARIES**2
                    out = ((fit[j, AMPLITUDE_A] - m0) ** 2 + (fit[j, AMPLITUDE_B] - m1) ** 2) / v
                    trust = 1.0 / (1.0 + out / OUT_VARIANCE) if turn > 0 else 1.0
                    w = trust * (1 - (abs(s[j] - s[i]) / far) ** 3) ** 3 / v
                    n += 1
                    w_sum += w
                    a_sum += w * fit[j, AMPLITUDE_A]
                    b_sum += w * fit[j, AMPLITUDE_B]
                    shared += w * (fit[j, SHARED_VARIANCE] + own[j] ** 2)
                    square += w * w * v
                    scatter += 0.5 * trust * out
                    first, last = min(first, s[j]), max(last, s[j])
                if n < PIECES:
                    break
                m0, m1 = a_sum / w_sum, b_sum / w_sum
            if n < PIECES:
                continue
            spread = (BELIEVED + scatter) / (BELIEVED + n)  # what the pieces themselves say of their variance
            mean[i, AMPLITUDE_A], mean[i, AMPLITUDE_B] = m0, m1
            sd[i] = np.sqrt(spread * square / w_sum**2 + shared / w_sum)
            span[i] = (last - first) / (2 * r[i])
    return mean, sd, span


@njit(cache=True)
def _goes_on(told, fitted, start, s, r):  # type: ignore[no-untyped-def]
    """True where a run of oval pieces, with none measured as round between them, is `LASTING` diameters long, (m,)."""
    out = np.zeros(len(told), np.bool_)
    for k in range(len(start) - 1):
        i = start[k]
        while i < start[k + 1]:
            if not told[i]:
                i += 1
                continue
            last, j = i, i
            while j < start[k + 1] and (told[j] or not fitted[j]):
                if told[j]:
                    last = j
                j += 1
            if s[last] - s[i] >= LASTING * 2 * r[i]:
                out[i : last + 1] = True
            i = j
    return out
