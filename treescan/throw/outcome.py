"""What becomes of one throw? Blocked, over which limbs, down or hung up, isolated or not."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from treescan.throw.flight import PIECES
from treescan.throw.plane import GROUND_STEP, INFINITE, RANGE, Plane, leaf_at, limb_of
from treescan.throw.scene import WIRE, Scene

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]

LANDED, HIT_LIMB, HIT_BESIDE, HIT_WIRE, BAD_PLACE = 0, 1, 2, 3, 4
"""How a flight ends."""

MOST_CAPTURED = 96
"""A line over more limbs than this is not looked at further."""


@njit(cache=True, nogil=True)
def height_on(zs: Floats, step: float, s: float) -> float:
    """Height of a tabulated flight at distance s. [m]"""
    u = s / step
    j = int(u)
    if j >= PIECES:
        return zs[PIECES]
    return zs[j] + (u - j) * (zs[j + 1] - zs[j])


@njit(cache=True, nogil=True)
def gap_segments(
    px: float, py: float, pz: float, dx: float, dy: float, dz: float, qx: float, qy: float, qz: float, ex: float, ey: float, ez: float
) -> tuple[float, float, float]:
    """Squared distance of the segments p + a d and q + b e (a, b in [0, 1]), and the nearest a and b (as `geometry.segment_segment`)."""
    rx, ry, rz = px - qx, py - qy, pz - qz
    a = dx * dx + dy * dy + dz * dz
    e = ex * ex + ey * ey + ez * ez
    f = ex * rx + ey * ry + ez * rz
    c = dx * rx + dy * ry + dz * rz
    b = dx * ex + dy * ey + dz * ez
    den = a * e - b * b
    s = 0.0
    if den > 1e-14 * a * e and den > 0.0:
        s = min(max((b * f - c * e) / den, 0.0), 1.0)
    t = (b * s + f) / e if e > 0.0 else 0.0
    if t < 0.0:
        t = 0.0
        s = min(max(-c / a, 0.0), 1.0) if a > 0.0 else 0.0
    elif t > 1.0:
        t = 1.0
        s = min(max((b - c) / a, 0.0), 1.0) if a > 0.0 else 0.0
    gx, gy, gz = rx + s * dx - t * ex, ry + s * dy - t * ey, rz + s * dz - t * ez
    return gx * gx + gy * gy + gz * gz, s, t


@njit(cache=True, nogil=True)
def first_touch(sc: Scene, pl: Plane, k: int, zs: Floats, step: float, z_hand: float) -> float:
    """Distance s at which the bag first touches shape k of the plane; INFINITE when it never does."""
    h = pl.shape[k]
    i = pl.item[k]
    j0, j1 = max(int(h[0] / step), 0), min(int(h[1] / step), PIECES - 1)
    for j in range(j0, j1 + 1):
        za, zb = zs[j] + z_hand, zs[j + 1] + z_hand
        if min(za, zb) > h[3] or max(za, zb) < h[2]:
            continue
        d2, a, b = gap_segments(j * step, za, 0.0, step, zb - za, 0.0, h[4], h[5], h[6], h[7] - h[4], h[8] - h[5], h[9] - h[6])
        reach = sc.r_start[i] + b * (sc.r_end[i] - sc.r_start[i]) + sc.bag_radius
        if d2 < reach * reach:
            back = np.sqrt(reach * reach - d2) * step / np.sqrt(step * step + (zb - za) ** 2)
            return max((j + a) * step - back, h[0])
    return INFINITE


@njit(cache=True, nogil=True)
def landing_place(pl: Plane, zs: Floats, step: float, z_hand: float) -> float:
    """Distance s at which the flight meets the ground."""
    top = pl.ground.max()
    j = PIECES
    while j > 1 and zs[j - 1] + z_hand < top and zs[j - 1] >= zs[j]:
        j -= 1
    s = max((j - 1) * step, min(0.3, step))
    s_last = min(PIECES * step, RANGE)
    z_before = height_on(zs, step, s) + z_hand - _ground(pl, s)
    if z_before <= 0.0:
        return s
    ds = min(GROUND_STEP, max(step, 0.05))
    while s < s_last:
        s1 = min(s + ds, s_last)
        z = height_on(zs, step, s1) + z_hand - _ground(pl, s1)
        if z <= 0.0:
            return s + (s1 - s) * z_before / (z_before - z)
        s, z_before = s1, z
    return s_last


@njit(cache=True, nogil=True)
def _ground(pl: Plane, s: float) -> float:
    u = s / GROUND_STEP
    k = min(int(u), len(pl.ground) - 2)
    return pl.ground[k] + (u - k) * (pl.ground[k + 1] - pl.ground[k])


@njit(cache=True, nogil=True)
def first_obstacle(sc: Scene, pl: Plane, zs: Floats, step: float, z_hand: float) -> tuple[int, float, int]:
    """What a tabulated flight meets first, the ground left aside.

    Parameters
    ----------
    zs : (PIECES + 1,), step        A row of `Flights`. [m]
    z_hand : float                  Height of the release point. [m]

    Returns
    -------
    end : int           LANDED (nothing met), HIT_LIMB, HIT_BESIDE, HIT_WIRE.
    s_end : float       Where; the end of the table where nothing was met. [m]
    hit : int           Shape of the plane that was hit, -1 none.

    Notes
    -----
    A flight is concave, so over a shape's width it lies above the lower of its two heights at the edges: most shapes need no more.
    """
    end, hit = LANDED, -1
    s_end = min(PIECES * step, RANGE)
    apex = highest_column(zs)
    s_apex, z_apex = apex * step, zs[apex] + z_hand
    for k in range(pl.counts[0]):
        h = pl.shape[k]
        if h[0] >= s_end:
            break
        if h[2] > z_apex:
            continue
        lo = max(h[0], 0.0)
        hi = min(h[1], s_end)
        za = height_on(zs, step, lo) + z_hand
        zb = height_on(zs, step, hi) + z_hand
        if min(za, zb) > h[3]:
            continue
        top = z_apex if lo - step <= s_apex <= hi + step else max(za, zb)
        if top < h[2]:
            continue
        s = first_touch(sc, pl, k, zs, step, z_hand)
        if s < s_end:
            s_end, hit = s, k
            end = HIT_WIRE if sc.limb[pl.item[k]] == WIRE else HIT_LIMB
    for k in range(pl.counts[2]):
        s = pl.column[k, 0]
        if s >= s_end:
            break
        z = height_on(zs, step, s) + z_hand
        if pl.column[k, 1] - sc.bag_radius <= z <= pl.column[k, 2] + sc.bag_radius:
            s_end, hit, end = s, -1, HIT_BESIDE
            break
    return end, s_end, hit


@njit(cache=True, nogil=True)
def highest_column(zs: Floats) -> int:
    """Column of a tabulated flight's highest point (bisection: heights rise, then fall)."""
    lo, hi = 0, PIECES
    while lo < hi:
        mid = (lo + hi) // 2
        if zs[mid + 1] > zs[mid]:
            lo = mid + 1
        else:
            hi = mid
    return lo


@njit(cache=True, nogil=True)
def crossings_under(sc: Scene, pl: Plane, zs: Floats, step: float, z_hand: float, s_end: float, over: Ints) -> int:
    """Limbs that pierce the curtain between the flight, up to s_end, and the ground: their crossings, near end first, put into `over`.

    Returns their number, or -1 when a wire is among them.
    """
    count = 0
    for c in range(pl.counts[1]):
        s = pl.cross[c, 0]
        if s >= s_end:
            break
        if pl.cross[c, 1] < height_on(zs, step, s) + z_hand:
            if limb_of(sc, pl.cross_item[c]) == WIRE:
                return -1
            if count < MOST_CAPTURED:
                over[count] = c
            count += 1
    return count


@njit(cache=True, nogil=True)
def follow(sc: Scene, pl: Plane, zs: Floats, step: float, z_hand: float, over: Ints) -> tuple[int, float, int, int]:
    """Fly one tabulated flight through the plane: how it ends, where [m], the shape hit, and how many crossings lie under it.

    A limb beyond the landing place cannot be under the flight, so the ground decides only where the bag comes down.
    """
    end, s_end, hit = first_obstacle(sc, pl, zs, step, z_hand)
    count = crossings_under(sc, pl, zs, step, z_hand, s_end, over)
    if count < 0:
        return HIT_WIRE, s_end, hit, 0
    s_ground = landing_place(pl, zs, step, z_hand)
    if s_ground < s_end:
        return LANDED, s_ground, -1, count
    return end, s_end, hit, count


@njit(cache=True, nogil=True)
def way_down_clear(sc: Scene, pl: Plane, s: float, z_top: float, skip_limb: int) -> bool:
    """Can the bag fall from z_top to the ground at distance s without touching another limb than `skip_limb`?"""
    if s <= 0.0:
        return False
    z_low = _ground(pl, s)
    for k in range(pl.counts[0]):
        h = pl.shape[k]
        if h[0] > s:
            break
        if h[1] < s or h[2] > z_top or h[3] < z_low or sc.limb[pl.item[k]] == skip_limb:
            continue
        i = pl.item[k]
        d2, _, b = gap_segments(s, z_low, 0.0, 0.0, z_top - z_low, 0.0, h[4], h[5], h[6], h[7] - h[4], h[8] - h[5], h[9] - h[6])
        reach = sc.r_start[i] + b * (sc.r_end[i] - sc.r_start[i]) + sc.bag_radius
        if d2 < reach * reach:
            return False
    for k in range(pl.counts[2]):
        if abs(pl.column[k, 0] - s) <= 0.5 * sc.side_cell + sc.bag_radius and pl.column[k, 1] < z_top and pl.column[k, 2] > z_low + sc.lift:
            return False
    return True


@njit(cache=True, nogil=True)
def shaft_clear(sc: Scene, pl: Plane, c: int, side: int) -> bool:
    """Is the strip beside crossing c clear for a falling bag? side 0: thrower's side, 1: far side. Looked up once a plane."""
    if pl.shaft[c, side] < 0:
        away = pl.cross[c, 3] + sc.bag_radius + sc.clearance
        s = pl.cross[c, 0] + (away if side == 1 else -away)
        pl.shaft[c, side] = 1 if way_down_clear(sc, pl, s, pl.cross[c, 1], limb_of(sc, pl.cross_item[c])) else 0
    return pl.shaft[c, side] == 1


@njit(cache=True, nogil=True)
def least_weight(line: float, tail: float, friction: float, turning: float) -> float:
    """Lightest bag that starts to run down by itself: line x tail x exp(friction x turning). [kg]"""
    return line * max(tail, 0.0) * np.exp(friction * turning)


@njit(cache=True, nogil=True)
def classify(sc: Scene, pl: Plane, over: Ints, count: int, which: int, end: int, s_end: float, lodged: bool, z_hand: float) -> tuple[int, int]:
    """Isolation class for the target crossing over[which], and the workings it needs; class 0 = the throw does not serve this union.

    Parameters
    ----------
    over, count         Crossings under the line, near end first.
    end, s_end          How and where the flight ended.
    lodged : bool       The bag does not lie on the ground.
    """
    c = over[which]
    i = pl.cross_item[c]
    u = sc.union[i]
    s_t, _z_t, top_t, half_t, share = pl.cross[c, 0], pl.cross[c, 1], pl.cross[c, 2], pl.cross[c, 3], pl.cross[c, 4]
    along = sc.near[i] + share * (sc.far[i] - sc.near[i])
    if along > sc.limit[i] or s_end < s_t + half_t + sc.bag_radius:
        return 0, 0
    if sc.slope[i] < -np.arctan(sc.friction):
        return 0, 0
    room = half_t + 2 * sc.bag_radius + sc.clearance
    near, far, beneath = 0, 0, 0
    highest, steepest = -INFINITE, np.arctan2(top_t - z_hand, s_t)
    for m in range(count):
        if m == which:
            continue
        o = over[m]
        j = pl.cross_item[o]
        s, half = pl.cross[o, 0], pl.cross[o, 3]
        if j >= 0:
            if sc.limb[j] == 0 and sc.node[j] <= sc.stem_node[u]:
                continue
            if sc.limb[j] == sc.limb[i] and abs(s - s_t) <= 2 * (half + half_t):
                continue
        highest = max(highest, pl.cross[o, 2])
        steepest = max(steepest, np.arctan2(pl.cross[o, 2] - z_hand, s))
        if s - half > s_t + room:
            far += 1
        elif s + half < s_t - room:
            near += 1
        else:
            beneath += 1
    others = near + far + beneath
    if others == 0 and not lodged:
        turning = np.arctan2(top_t - z_hand, s_t) + 0.5 * np.pi
        return (1, 0) if least_weight(sc.line, top_t - z_hand, sc.friction, turning) <= sc.bag_mass else (0, 0)
    if beneath == 0 and far <= sc.most_worked and near <= sc.most_worked:
        back, front = far > 0 or lodged, near > 0
        if (not back or shaft_clear(sc, pl, c, 1)) and (not front or shaft_clear(sc, pl, c, 0)):
            turning = np.pi if front else np.arctan2(top_t - z_hand, s_t) + 0.5 * np.pi
            if least_weight(sc.line, top_t - z_hand, sc.friction, turning) <= sc.bag_mass:
                return 2, int(back) + int(front)
    if not lodged and top_t > highest and least_weight(sc.line, top_t - z_hand, sc.friction, steepest + 0.5 * np.pi) <= sc.bag_mass:
        return 3, 0
    return 0, 0


@njit(cache=True, nogil=True)
def bag_lodges(sc: Scene, pl: Plane, zs: Floats, step: float, z_hand: float, end: int, s_end: float, hit: int) -> bool:
    """After hitting something the bag drops straight down: does it stay up in the tree?"""
    if end == LANDED:
        return False
    if end != HIT_LIMB:
        return True
    z = height_on(zs, step, s_end) + z_hand
    return not way_down_clear(sc, pl, s_end, z, sc.limb[pl.item[hit]])


@njit(cache=True, nogil=True)
def lands_badly(sc: Scene, x: float, y: float) -> bool:
    """Would the bag come down on a road, roof, water or other closed area?"""
    if not sc.has_side:
        return False
    j = int(np.floor((x - sc.side_corner[0]) / sc.side_cell))
    i = int(np.floor((y - sc.side_corner[1]) / sc.side_cell))
    return 0 <= i < sc.bad.shape[0] and 0 <= j < sc.bad.shape[1] and sc.bad[i, j]


@njit(cache=True, nogil=True)
def unsnagged(sc: Scene, zs: Floats, step: float, x: float, y: float, z_hand: float, azimuth: float, s_end: float) -> float:
    """Chance that twigs and leaves do not catch the bag: exp(-k x integral of density along the flight)."""
    if not sc.has_leaf:
        return 1.0
    ux, uy = np.sin(azimuth), np.cos(azimuth)
    total, j = 0.0, 0
    while j < PIECES and j * step < s_end:
        length = np.sqrt(step * step + (zs[j + 1] - zs[j]) ** 2)
        parts = int(length / (0.5 * sc.leaf_cell)) + 1
        for m in range(parts):
            u = j + (m + 0.5) / parts
            s = u * step
            if s >= s_end:
                break
            z = zs[j] + (u - j) * (zs[j + 1] - zs[j]) + z_hand
            total += leaf_at(sc, x + s * ux, y + s * uy, z) * length / parts
        j += 1
    return np.exp(-sc.snag * total)
