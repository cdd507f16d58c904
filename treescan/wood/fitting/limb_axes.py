"""The axis and the thickness of every limb, measured piece by piece from all its points."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numba import njit, prange

from treescan.geometry import unit
from treescan.wood.graph import Floats, Ints
from treescan.wood.sections.cylinder_fit import (
    ARC,
    CENTRE_X,
    CENTRE_Y,
    NOISE,
    ON_BARK,
    RADIUS,
    SD_CENTRE,
    SD_RADIUS,
    USED,
    edge_weights,
    fit_pieces,
)
from treescan.wood.sections.insertion_point import meet
from treescan.wood.sections.pieces import cut_pieces, distance_and_radius, lay_out, place_points
from treescan.wood.sections.smoothing import smooth_axes, smooth_radii
from treescan.wood.sections.under_ivy import bark_under_ivy
from treescan.wood.settings import WoodSettings
from treescan.wood.skeleton.thinned_wood import group_rows

NOISE_SHARE = 0.4
"""Share of the points' scatter that may sit in the radius as a whole (registration, beam edges), found on simulated scans."""
SHAPE_SHARE = 0.008
"""What bark and departures from the round add to the radius's relative sd, found on simulated scans."""
SHELL_DOUBT = 0.2
"""Relative sd of the noise read from the stem, taken for other limbs."""
BUTT = 6.0
"""So many radii up from its foot the stem may flare: its taper is held less tightly there."""
UNKNOWN = 0.3
"""Standard deviation given to a centre no fit could place [m]."""
WINDOW = 0.6
"""A point is looked for no farther than this along its limb from where it lay before [m] (project choice)."""
LEAST_PIECE, LONGEST_PIECE = 0.05, 0.15
"""Shortest and longest piece of a thin limb [m] (project choice)."""
LEAST_HALF = 0.03
"""Directions are read over at least so far to either side [m] (project choice)."""
STEEP = 0.9
"""An axis closer to the vertical than this cosine is crossed with another direction."""
SHORTEST_STEP = 1e-4
"""Vertices lie at least so far apart along a limb [m]."""


@dataclass(frozen=True)
class _Bounds:
    """Radii a fit may have, in radii so far and metres, and radii over which the direction is read (project choice)."""

    times: float
    more: float
    ahead: float


ROUGH, MEASURED_BEFORE = _Bounds(3.0, 0.02, 1.5), _Bounds(1.5, 0.01, 1.0)
"""While axes are only rough, and once they were measured."""
LEAST_GUESS, LEAST_FIT, LEAST_RADIUS = 0.003, 0.002, 0.002
"""No limb is taken for thinner than this: where the fit starts, what it may find, and what is kept of it [m]."""
BEND, TAPER = 0.10, 0.025
"""Usual change of direction [rad] and of taper [m/m] over two diameters of a limb (project choice)."""
BEND_LEAST = 0.008
"""Limbs thinner than this bend and taper like one as thick [m]."""
STEP_LEAST = 1e-3
"""Pieces shorter than this count as long as this [m]."""
STEP_BENDS, BUTT_TAPERS, FREE = 3, 4, 50.0
"""Where a limb divides it may bend so many times as much; a butt may taper so many times as much; sd of a taper that is not held [m/m]."""
GROW, GROW_SHARE = 0.0003, 0.004
"""How much a radius may grow tipwards from vertex to vertex [m], and as a share of it (project choice)."""
UNREAD_SD = 10.0
"""Standard deviation of a radius no fit could read: it weighs nothing [m]."""
USUAL_NOISE = 0.003
"""Scatter of a tripod's points where none could be read [m]."""


@dataclass(frozen=True)
class _Blur:
    """Figures of `without_blur`; its notes give the formula."""

    joins: float = 0.57
    falls: float = 2.6
    most_share: float = 0.3
    least_noise: float = 0.3
    between: float = 0.8


BLUR = _Blur()
"""`joins`, `falls` make the scatter join the Rayleigh value at r = 0; the others are project choices: most of a radius that is taken off, least of
the shell a limb shows, and share of the way between the two readings that is in doubt."""
DIVIDES = 0.35
"""A limb of this share of its parent's radius makes the parent step in thickness (project choice)."""
FIRST_VERTICES = 8
"""Vertices whose median radius stands for a limb's foot."""
ENOUGH_TO_STEP = 4
"""A limb of no more pieces has no step."""
NEAR_RADII, NEAR = 6, 0.3
"""A meeting place farther off than so many radii and metres [m] is not believed (project choice)."""
KEY, KEY_LOW = 1e5, 0.4
"""Places of limb k are sorted by k times this length, longer than any limb [m]; places are held within that share of it."""


@dataclass(frozen=True)
class _Doubt:
    """What raises the standard deviation of a fit, all project choices found on simulated scans: see `_trust`."""

    least_share: float = 0.25
    share_power: float = 1.5
    small_arc: float = 1.4
    few_points: float = 12
    few: float = 1.5
    centre: float = 0.001
    centre_share: float = 0.02
    radius: float = 0.0004
    radius_share: float = 0.006
    bad_share: float = 0.3
    bad_points: float = 5
    bad_centre: float = 0.05
    inside_parent: float = 0.4
    in_flare: float = 1.3
    flare_radius: float = 2.5


DOUBT = _Doubt()
"""Arc [rad]; centre, radius, bad_centre [m]; inside_parent and in_flare in the limb's own radii off the parent's bark; the rest are factors and counts."""


MEASURED = ("v", "r", "r_sd", "raw_r", "raw_sd", "arc", "noise", "share", "points")
"""Columns of `LimbAxes` that hold what was measured at a vertex."""


@dataclass(frozen=True)
class LimbAxes:
    """Polylines of all limbs, one vertex a piece; rows of limb k are start[k] : start[k + 1].

    Attributes
    ----------
    start : (l + 1,) int        First vertex of every limb.
    v : (m, 3) float            Smoothed axis. [m]
    s : (m,) float              Place along the limb. [m]
    r, r_sd : (m,) float        Smoothed radius and its sd. [m]
    raw_r, raw_sd : (m,)        Radius of the piece alone and its sd (inf = no fit). [m]
    arc : (m,) float            Bark seen round the piece. [rad]
    noise : (m,) float          Scatter of the points about the fit. [m]
    share : (m,) float          Share of the piece's points that lie on the bark.
    points : (m,) int           Points of the piece; 0 in a gap.
    parent : (l,) int32         Limb it leaves; -1 for the stem.
    leaves : (l, 3) float       About where it leaves the parent. [m]
    """

    start: Ints
    v: Floats
    s: Floats
    r: Floats
    r_sd: Floats
    raw_r: Floats
    raw_sd: Floats
    arc: Floats
    noise: Floats
    share: Floats
    points: Ints
    parent: Ints
    leaves: Floats

    def __len__(self) -> int:
        return len(self.parent)

    @property
    def of_vertex(self) -> Ints:
        """Limb of every vertex."""
        return np.repeat(np.arange(len(self), dtype=np.int32), np.diff(self.start))

    def rows(self, k: int) -> slice:
        """Vertices of limb k."""
        return slice(int(self.start[k]), int(self.start[k + 1]))

    def columns(self, rows: Any) -> dict[str, Any]:
        """What was measured at some vertices, by name (`MEASURED`); their places along limbs change with the limbs and are left out."""
        return {name: getattr(self, name)[rows] for name in MEASURED}

    def length(self, k: int) -> float:
        """From the first to the last vertex. [m]"""
        a, b = self.start[k], self.start[k + 1]
        return float(self.s[b - 1] - self.s[a]) if b > a else 0.0


@njit(cache=True, parallel=True)
def along(start, v, s, limb, place, half):  # type: ignore[no-untyped-def]
    """Axis point and direction at places along limbs; straight on beyond the ends; direction over +-half. (p, 3), (p, 3)"""
    point, axis = np.empty((len(limb), 3)), np.empty((len(limb), 3))
    for i in prange(len(limb)):
        a, b = start[limb[i]], start[limb[i] + 1]
        if b - a < 2:
            point[i] = v[a]
            axis[i] = (0.0, 0.0, 1.0)
            continue
        ends = np.empty((3, 3))
        for q in range(3):
            at = place[i] + (q - 1) * half[i]
            j = a + np.searchsorted(s[a:b], at) - 1
            j = min(max(j, a), b - 2)
            f = (at - s[j]) / (s[j + 1] - s[j])
            ends[q] = v[j] + f * (v[j + 1] - v[j])
        point[i] = ends[1]
        d = ends[2] - ends[0]
        axis[i] = d / max(np.sqrt(d[0] ** 2 + d[1] ** 2 + d[2] ** 2), 1e-12)
    return point, axis


def frame_across(axis: Floats) -> tuple[Floats, Floats]:
    """Two unit vectors across every axis, square to each other. (p, 3), (p, 3)"""
    side = unit(np.cross(axis, np.where(np.abs(axis[:, 2:3]) < STEEP, [[0.0, 0.0, 1.0]], [[1.0, 0.0, 0.0]])))
    return side, np.cross(axis, side)


def first_axes(lines: list[Floats], radii: list[Floats], parent: Ints, leaves: Floats) -> LimbAxes:
    """Axes before anything was fitted: rough centre lines and radii, one array a limb."""
    start = np.concatenate([[0], np.cumsum([len(x) for x in lines])]).astype(np.int64)
    v = np.concatenate(lines)
    s = np.concatenate([_places(x) for x in lines])
    r = np.concatenate(radii)
    nan = np.full(len(v), np.nan)
    return LimbAxes(start, v, s, r, nan, r, nan, nan, nan, nan, np.zeros(len(v), np.int64), parent, leaves)


def _places(line: Floats) -> Floats:
    step = np.maximum(np.linalg.norm(np.diff(line, axis=0), axis=1), SHORTEST_STEP)
    return np.concatenate([[0.0], np.cumsum(step)])


def place_again(xyz: Floats, limb: Ints, axes: LimbAxes) -> Floats:
    """Place of every point along its limb, looked for along the whole of it. [m]"""
    start, rows = group_rows(limb, len(axes))
    return place_points(xyz, rows, start, axes.start, axes.v, axes.s, np.full(len(xyz), np.nan), WINDOW)


def refit(
    xyz: Floats, limb: Ints, hint: Floats, axes: LimbAxes, *, settings: WoodSettings, first: bool, few: int = 24, position: Ints | None = None, shell: float = 0.0
) -> tuple[LimbAxes, Floats]:
    """Measure every limb once more round its present axis.

    Parameters
    ----------
    xyz : (n, 3) float      All wood points. [m]
    limb : (n,) int32       Limb of every point, -1 for none.
    hint : (n,) float       Place along the limb in the last round, NaN = not known. [m]
    settings : WoodSettings For the least noise believed and its correction.
    first : bool            The axes are only rough yet: radii are free within wide bounds, axes are smoothed more.
    few : int               Points a piece should have.
    position : (n,) int     Scan position of every point, None = not known.
    shell : float           The scan's own noise where it is thick enough to blur limbs, else 0. [m]

    Returns
    -------
    axes, place : LimbAxes, (n,) float
    """
    count = len(axes)
    start, rows = group_rows(limb, count)
    place = place_points(xyz, rows, start, axes.start, axes.v, axes.s, hint, WINDOW)
    head, of, low, high = cut_pieces(place, rows, start, axes.start, axes.s, axes.r, LEAST_PIECE, few, LONGEST_PIECE)
    mid = 0.5 * (low + high)
    n = np.diff(head)
    half = np.maximum(0.5 * (high - low), LEAST_HALF)
    guess = value_at(axes, axes.r, of, mid)
    bounds = ROUGH if first else MEASURED_BEFORE
    origin, axis = along(axes.start, axes.v, axes.s, of, mid, np.maximum(half, bounds.ahead * guess))
    side, up = frame_across(axis)
    x, y, t = lay_out(xyz, rows, head, origin, axis, side, up)
    r_high = bounds.times * guess + bounds.more
    weight = np.ones(len(x)) if position is None or first else edge_weights(x, y, position[rows], head, int(position.max()) + 1)
    fit = fit_pieces(
        x, y, t, weight, head, np.full(len(mid), LEAST_FIT), r_high, np.maximum(guess, LEAST_GUESS), settings.min_noise
    )
    if shell == 0:
        fit = bark_under_ivy(fit, x, y, t, weight, head, guess, settings.min_noise)
    centre = origin + fit[:, CENTRE_X, None] * side + fit[:, CENTRE_Y, None] * up
    raw_r, noise, blur_sd = fit[:, RADIUS], fit[:, NOISE], np.zeros(len(mid))
    if settings.noise_off:
        raw_r, blur_sd = without_blur(raw_r, noise, shell)
    sd_c, sd_r = _trust(axes, of, centre, raw_r, fit, guess, first)
    sd_r = np.hypot(sd_r, blur_sd)
    centre = np.where(np.isfinite(fit[:, SD_CENTRE, None]), centre, origin)
    vstart = np.searchsorted(of, np.arange(count + 1))
    step = high - low
    over = np.sqrt(np.maximum(step, STEP_LEAST) / (4 * np.maximum(guess, BEND_LEAST)))
    bend = BEND * over
    step_at = np.zeros(len(mid), bool) if first else _steps(axes, of, vstart, mid)
    v = smooth_axes(vstart, mid, centre, np.minimum(sd_c, UNKNOWN), np.where(step_at, STEP_BENDS * bend, bend))
    taper = TAPER * over
    at_butt = (of == 0) & (mid - mid[0] < BUTT * guess)
    taper = np.where(step_at, FREE, np.where(at_butt, BUTT_TAPERS * taper, taper))
    grow = GROW + GROW_SHARE * guess
    known = np.where(np.isfinite(sd_r), sd_r, UNREAD_SD)
    r, r_sd = smooth_radii(vstart, mid, np.where(np.isfinite(sd_r), raw_r, guess), known, taper, grow)
    r = np.maximum(r, LEAST_RADIUS)
    r_sd = np.sqrt(r_sd**2 + (NOISE_SHARE * _typical(noise, vstart, of)) ** 2 + (SHAPE_SHARE * r) ** 2)
    s = places_along(vstart, v)
    new = replace(
        axes, start=vstart.astype(np.int64), v=v, s=s, r=r, r_sd=r_sd, raw_r=raw_r, raw_sd=sd_r,
        arc=fit[:, ARC], noise=noise, share=fit[:, ON_BARK], points=n,
    )  # fmt: skip
    return new, place


def without_blur(radius: Floats, noise: Floats, shell: float) -> tuple[Floats, Floats]:
    """Radii with the thickening by the points' scatter taken off, and what is left in doubt by that. (p,), (p,) [m]

    Parameters
    ----------
    radius, noise : (p,) float  Mean distance of a piece's points from the axis and their scatter about it. [m]
    shell : float               The scan's noise read from the stem; 0 where it is small. [m]

    Notes
    -----
    Points with noise s in both directions across a limb lie at a mean square distance of r^2 + 2 s^2 from its axis (the Rice
    distribution's second moment), so r^2 = mean^2 + scatter^2 - 2 s^2. Where s is small against r this is r = mean - scatter^2 / 2 r,
    which is used with the piece's own scatter when no thick shell was found. Under a thick shell s is what the piece's own scatter says,
    but no more than the shell: scatter^2 = s^2 (1 - 0.57 exp(-r^2 / 2.6 s^2)), which joins the Rayleigh value at r = 0 to the thick limb's.
    Limbs no thicker than the shell cannot tell their own noise: the whole shell is taken off, so that they err thin; from there to twice
    as thick the one goes over into the other. An error of `SHELL_DOUBT` in s moves r by 2 s^2 `SHELL_DOUBT` / r.
    """
    if shell <= 0:
        off = np.minimum(noise**2 / (2 * np.maximum(radius, 1e-3)), BLUR.most_share * radius)
        return np.maximum(radius - off, LEAST_RADIUS), np.zeros(len(radius))
    least = np.sqrt(np.maximum(radius**2 + noise**2 - 2 * shell**2, LEAST_RADIUS**2))
    s2 = np.full(len(radius), shell**2)
    for _ in range(3):
        square = np.maximum(radius**2 + noise**2 - 2 * s2, LEAST_RADIUS**2)
        s2 = np.clip(noise**2 / (1 - BLUR.joins * np.exp(-square / (BLUR.falls * s2))), (BLUR.least_noise * shell) ** 2, shell**2)
    own = np.minimum(np.sqrt(square), radius)
    told = np.clip(own / shell - 1.0, 0.0, 1.0)
    least = np.minimum(least, own)
    out = told * own + (1 - told) * least
    return out, np.hypot(2 * s2 * SHELL_DOUBT / np.maximum(out, 0.5 * shell), BLUR.between * (1 - told) * (own - least))


def _typical(noise: Floats, vstart: Ints, of: Ints) -> Floats:
    """Median scatter of each limb's pieces, for every vertex. [m]"""
    seen = np.where(noise > 0, noise, np.nan)
    whole = float(np.nanmedian(seen)) if np.isfinite(seen).any() else USUAL_NOISE
    limb = limb_medians(seen, np.asarray(vstart, np.int64))
    return np.where(np.isfinite(limb), limb, whole)[of]


@njit(cache=True)
def limb_medians(value, start):  # type: ignore[no-untyped-def]
    """Median of a per-vertex value over each limb, what is not finite left out; NaN where nothing is left. (l,)"""
    out = np.full(len(start) - 1, np.nan)
    for k in range(len(start) - 1):
        mine = value[start[k] : start[k + 1]]
        mine = mine[np.isfinite(mine)]
        if len(mine):
            out[k] = np.median(mine)
    return out


def _steps(axes: LimbAxes, of: Ints, vstart: Ints, mid: Floats) -> np.ndarray:
    """True for the vertex before and the two after a union with a limb so thick that the radius may step there, (m,)."""
    out = np.zeros(len(mid), bool)
    kid = np.flatnonzero((axes.parent >= 0) & (np.diff(axes.start) > 2))
    if len(kid) == 0:
        return out
    own = np.median(axes.r[np.minimum(axes.start[kid, None] + np.arange(FIRST_VERTICES), axes.start[kid + 1, None] - 1)], axis=1)
    _, at, thick = distance_and_radius(axes.leaves[kid], axes.parent[kid], axes.start, axes.v, axes.s, axes.r)
    for row in np.flatnonzero(own > DIVIDES * thick):
        k, m = kid[row], axes.parent[kid[row]]
        a, b = vstart[m], vstart[m + 1]
        if b - a > ENOUGH_TO_STEP and axes.start[m + 1] - axes.start[m] > 2:
            one, two = axes.rows(k), axes.rows(m)
            fitted = np.isfinite(axes.raw_sd[one])
            place, _ = meet(axes.v[one], axes.s[one], axes.r[one], fitted, axes.v[two], axes.s[two], axes.r[two], axes.leaves[k])
            place = place if abs(place - at[row]) < NEAR_RADII * thick[row] + NEAR else at[row]
            j = a + int(np.searchsorted(mid[a:b], place))
            out[max(a, j - 1) : min(b, j + 2)] = True
    return out


def places_along(start: Ints, v: Floats) -> Floats:
    """Place along its limb of every vertex. [m]"""
    step = np.zeros(len(v))
    step[1:] = np.maximum(np.linalg.norm(np.diff(v, axis=0), axis=1), SHORTEST_STEP)
    total = np.cumsum(step)
    begin = start[:-1][np.diff(start) > 0]
    base = np.repeat(total[begin], np.diff(start)[np.diff(start) > 0])
    return total - base


def value_at(axes: LimbAxes, values: Floats, limb: Ints, place: Floats) -> Floats:
    """A per-vertex value at places along limbs; constant beyond the ends."""
    key = axes.of_vertex * KEY + np.clip(axes.s, -KEY_LOW * KEY, KEY_LOW * KEY)
    first, last = axes.s[axes.start[:-1].clip(max=len(axes.s) - 1)], axes.s[(axes.start[1:] - 1).clip(min=0)]
    return np.interp(limb * KEY + np.clip(place, first[limb], last[limb]), key, values)


def _trust(axes: LimbAxes, of: Ints, centre: Floats, r: Floats, fit: Floats, guess: Floats, first: bool) -> tuple[Floats, Floats]:
    """Standard deviation of every piece's centre and radius: the fit's own, what the model leaves out, and what stands against it."""
    share, arc, used = fit[:, ON_BARK], fit[:, ARC], fit[:, USED]
    doubt = 1.0 / np.clip(share, DOUBT.least_share, 1.0) ** DOUBT.share_power
    doubt *= np.where(arc < DOUBT.small_arc, 2.0, 1.0) * np.where(used < DOUBT.few_points, DOUBT.few, 1.0)
    sd_c = np.hypot(fit[:, SD_CENTRE] * doubt, DOUBT.centre + DOUBT.centre_share * r)
    sd_r = np.hypot(fit[:, SD_RADIUS], DOUBT.radius + DOUBT.radius_share * r) * doubt
    bad = (share < DOUBT.bad_share) | (used < DOUBT.bad_points) | ~np.isfinite(fit[:, SD_RADIUS]) | (fit[:, SD_RADIUS] > r)
    sd_r = np.where(bad, np.inf, sd_r)
    sd_c = np.where(np.isfinite(sd_c), np.where(bad, np.maximum(sd_c, DOUBT.bad_centre), sd_c), UNKNOWN)
    if first:
        return sd_c, sd_r
    near, _, thick = distance_and_radius(centre, axes.parent[of], axes.start, axes.v, axes.s, axes.r)
    inside, flare = near < thick + DOUBT.inside_parent * r, near < thick + DOUBT.in_flare * r
    sd_c = np.where(inside, UNKNOWN, np.where(flare, 2 * sd_c, sd_c))
    sd_r = np.where(inside, np.inf, np.where(flare, DOUBT.flare_radius * sd_r, sd_r))
    return sd_c, sd_r
