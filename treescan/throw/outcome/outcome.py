"""What becomes of one throw? Blocked, over which limbs, down or hung up, isolated or not."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from treescan.geometry import gap_segments
from treescan.throw.ballistics.flight import PIECES
from treescan.throw.scene.flight_scene import BESIDE, WIRE, Scene
from treescan.throw.scene.plane import GROUND_STEP, INFINITE, RANGE, Plane, limb_of
from treescan.units import G

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
def strike_on(zs: Floats, step: float, s: float) -> float:
    """How fast a bag on a tabulated flight strikes something at distance s: its speed while it rises, its level speed while it falls. [m/s]

    From the flight's bend: z'' = -g / vx^2 with any drag along the path. A falling bag drops on where it strikes, however fast.
    """
    j = min(max(int(s / step + 0.5), 1), PIECES - 1)
    bend = 2.0 * zs[j] - zs[j - 1] - zs[j + 1]
    rise = (zs[j + 1] - zs[j - 1]) / (2.0 * step) - bend / step * (s / step - j)
    return step * np.sqrt(G / bend * (1.0 + max(rise, 0.0) ** 2)) if bend > 0.0 else INFINITE


ENTRY = 1e-3
"""Share of a straight piece to which the place where it enters a limb is worked out."""


@njit(cache=True, nogil=True)
def _depth(ps: float, pz: float, pn: float, es: float, ez: float, en: float, r0: float, r1: float) -> float:
    """Squared distance of the point p to the tapered capsule's axis, from the origin along e, less its squared radius there: negative inside."""
    e2 = es * es + ez * ez + en * en
    t = min(max((ps * es + pz * ez + pn * en) / e2, 0.0), 1.0) if e2 > 0.0 else 0.0
    gs, gz, gn, r = ps - t * es, pz - t * ez, pn - t * en, r0 + t * (r1 - r0)
    return gs * gs + gz * gz + gn * gn - r * r


@njit(cache=True, nogil=True)
def _entry(
    inside: float, ps: float, pz: float, pn: float, ds: float, dz: float, es: float, ez: float, en: float, r0: float, r1: float
) -> float:
    """Share u of the piece p + u (ds, dz, 0) at which it enters a capsule (as in `_depth`), known to be inside at `inside`.

    Bisection to 1/1000 of the piece: outside up to the entry, inside from there to the nearest point, as the capsule is convex.
    """
    lo, hi, u = 0.0, inside, 0.0
    for _ in range(11):
        if _depth(ps + u * ds, pz + u * dz, pn, es, ez, en, r0, r1) < 0.0:
            hi = u
        else:
            lo = u
        u = 0.5 * (lo + hi)
    return hi


@njit(cache=True, nogil=True)
def first_touch(
    shape: Floats,
    item: Ints,
    first: Ints,
    entry: Ints,
    frame: Floats,
    size: NDArray[np.int64],
    looked: NDArray[np.int64],
    r_start: Floats,
    r_end: Floats,
    bag: float,
    zs: Floats,
    step: float,
    z_hand: float,
) -> tuple[float, int]:
    """Where a tabulated flight first touches a shape of the plane, and which; (INFINITE, -1) when it never does.

    Parameters
    ----------
    shape, item, first, entry, frame, size, looked      Of `Plane` (plain arrays: passing the whole plane along costs more than the work).
    r_start, r_end, bag                         Of `Scene`.

    Notes
    -----
    Piece by piece, only the shapes entered in the cells the piece goes through are compared; nothing touched on a piece means
    nothing was touched before the next.
    """
    inv, z_low, z_high, ns, nz = 1.0 / frame[0], frame[1], frame[3], size[0], size[1]
    last = min(PIECES, int(frame[2] / step) + 1)
    zb = zs[0] + z_hand
    for j in range(last):
        za = zb
        zb = zs[j + 1] + z_hand
        lo, hi = min(za, zb), max(za, zb)
        if hi < z_low or lo > z_high:
            if zb < za and hi < z_low:
                break
            continue
        s0, s1, dz = j * step, (j + 1) * step, zb - za
        length2 = step * step + dz * dz
        b0, b1 = int(max(lo - z_low, 0.0) * inv), min(int((hi - z_low) * inv), nz - 1)
        best, hit = 2.0, -1
        number = looked[-1] + 1
        looked[-1] = number
        for a in range(int(s0 * inv), min(int(s1 * inv), ns - 1) + 1):
            for e in range(first[a * nz + b0], first[a * nz + b1 + 1]):
                k = entry[e]
                if lo > shape[k, 3] or hi < shape[k, 2] or s0 > shape[k, 1] or s1 < shape[k, 0]:
                    continue
                if looked[k] == number:
                    continue
                looked[k] = number
                aside = (shape[k, 10] - s0) * dz - (shape[k, 11] - za) * step
                if aside * aside > shape[k, 12] * shape[k, 12] * length2:
                    continue
                sk, zk, nk = shape[k, 4], shape[k, 5], shape[k, 6]
                es, ez, en = shape[k, 7] - sk, shape[k, 8] - zk, shape[k, 9] - nk
                d2, u, v = gap_segments(s0, za, 0.0, step, dz, 0.0, sk, zk, nk, es, ez, en)
                i = item[k]
                r0, r1 = r_start[i] + bag, r_end[i] + bag
                reach = r0 + v * (r1 - r0)
                if d2 >= reach * reach:
                    continue
                before = best - ENTRY
                if u > before:
                    if before <= 0.0 or _depth(s0 - sk + before * step, za - zk + before * dz, -nk, es, ez, en, r0, r1) >= 0.0:
                        continue
                    u = before
                best, hit = _entry(u, s0 - sk, za - zk, -nk, step, dz, es, ez, en, r0, r1), k
        if hit >= 0:
            return s0 + step * best, hit
    return INFINITE, -1


@njit(cache=True, nogil=True)
def landing_place(ground: Floats, top: float, zs: Floats, step: float, z_hand: float) -> float:
    """Distance s at which the flight meets the ground; `top` is the highest of `ground` (of `Plane`)."""
    j = PIECES
    while j > 1 and zs[j - 1] + z_hand < top and zs[j - 1] >= zs[j]:
        j -= 1
    s = max((j - 1) * step, min(0.3, step))
    s_last = min(PIECES * step, RANGE)
    z_before = height_on(zs, step, s) + z_hand - ground_on(ground, s)
    if z_before <= 0.0:
        return s
    ds = min(GROUND_STEP, max(step, 0.05))
    while s < s_last:
        s1 = min(s + ds, s_last)
        z = height_on(zs, step, s1) + z_hand - ground_on(ground, s1)
        if z <= 0.0:
            return s + (s1 - s) * z_before / (z_before - z)
        s, z_before = s1, z
    return s_last


@njit(cache=True, nogil=True)
def ground_on(ground: Floats, s: float) -> float:
    """Ground height at distance s, from the profile of a plane. [m]"""
    u = s / GROUND_STEP
    k = min(int(u), len(ground) - 2)
    return ground[k] + (u - k) * (ground[k + 1] - ground[k])


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
    """
    s_end, hit = first_touch(
        pl.shape, pl.item, pl.first, pl.entry, pl.frame, pl.size, pl.looked, sc.r_start, sc.r_end, sc.bag_radius, zs, step, z_hand
    )
    end = LANDED
    if hit >= 0:
        end = HIT_WIRE if sc.limb[pl.item[hit]] == WIRE else HIT_LIMB
    s_end = min(s_end, PIECES * step, RANGE)
    k = first_column(pl.column, pl.counts[2], pl.frame[5], sc.bag_radius, zs, step, z_hand, s_end)
    if k >= 0:
        return HIT_BESIDE if is_tall(pl.column, k, pl.ground, sc.lift) else LANDED, pl.column[k, 0], -1
    return end, s_end, hit


@njit(cache=True, nogil=True)
def is_tall(column: Floats, k: int, ground: Floats, lift: float) -> bool:
    """Does solid column k reach higher than a person does? A bag on a lower thing is as good as on the ground."""
    return column[k, 2] > ground_on(ground, column[k, 0]) + lift


@njit(cache=True, nogil=True)
def first_column(column: Floats, count: int, highest: float, bag: float, zs: Floats, step: float, z_hand: float, s_end: float) -> int:
    """The first of `count` solid columns before s_end that a flight meets; -1 when it meets none.

    Above the highest column (top at `highest`) it need not look: a flight rises, then falls.
    """
    if count == 0:
        return -1
    top = highest + bag - z_hand
    apex = highest_column(zs)
    up, down = INFINITE, -INFINITE
    if zs[apex] > top:
        lo, hi = 0, apex
        while lo < hi:
            mid = (lo + hi) // 2
            if zs[mid] > top:
                hi = mid
            else:
                lo = mid + 1
        up = lo * step
        lo, hi = apex, PIECES
        while lo < hi:
            mid = (lo + hi + 1) // 2
            if zs[mid] > top:
                lo = mid
            else:
                hi = mid - 1
        down = lo * step
    for k in range(count):
        s = column[k, 0]
        if s >= s_end:
            break
        if up <= s <= down:
            continue
        z = height_on(zs, step, s) + z_hand
        if column[k, 1] - bag <= z <= column[k, 2] + bag:
            return k
    return -1


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
def crossings_under(
    cross: Floats, cross_item: Ints, count: int, limb: Ints, zs: Floats, step: float, z_hand: float, s_end: float, over: Ints
) -> int:
    """Limbs that pierce the curtain between the flight, up to s_end, and the ground: their crossings, near end first, put into `over`.

    Returns their number, or -1 when a wire is among them.
    """
    found = 0
    for c in range(count):
        s = cross[c, 0]
        if s >= s_end:
            break
        if cross[c, 1] < height_on(zs, step, s) + z_hand:
            if cross_item[c] >= 0 and limb[cross_item[c]] == WIRE:
                return -1
            if found < MOST_CAPTURED:
                over[found] = c
            found += 1
    return found


@njit(cache=True, nogil=True)
def follow(sc: Scene, pl: Plane, zs: Floats, step: float, z_hand: float, over: Ints) -> tuple[int, float, int, int]:
    """Fly one tabulated flight through the plane: how it ends, where [m], the shape hit, and how many crossings lie under it.

    A limb beyond the landing place cannot be under the flight, so the ground decides only where the bag comes down.
    """
    end, s_end, hit = first_obstacle(sc, pl, zs, step, z_hand)
    count = crossings_under(pl.cross, pl.cross_item, pl.counts[1], sc.limb, zs, step, z_hand, s_end, over)
    if count < 0:
        return HIT_WIRE, s_end, hit, 0
    s_ground = landing_place(pl.ground, pl.frame[4], zs, step, z_hand)
    if s_ground < s_end:
        return LANDED, s_ground, -1, count
    return end, s_end, hit, count


@njit(cache=True, nogil=True)
def way_down(
    shape: Floats,
    item: Ints,
    first: Ints,
    entry: Ints,
    frame: Floats,
    size: NDArray[np.int64],
    column: Floats,
    columns: int,
    ground: Floats,
    limb: Ints,
    r_start: Floats,
    r_end: Floats,
    bag: float,
    side_cell: float,
    lift: float,
    s: float,
    z_top: float,
    skip_limb: int,
) -> bool:
    """Can the bag fall from z_top to the ground at distance s without touching another limb than `skip_limb`?"""
    if s <= 0.0:
        return False
    z_low = ground_on(ground, s)
    if s < frame[2] and z_top >= frame[1]:
        inv, nz = 1.0 / frame[0], size[1]
        row = int(s * inv) * nz
        b0, b1 = int(max(z_low - frame[1], 0.0) * inv), min(int((z_top - frame[1]) * inv), nz - 1)
        for e in range(first[row + min(b0, nz)], first[row + b1 + 1]):
            k = entry[e]
            i = item[k]
            if shape[k, 0] > s or shape[k, 1] < s or shape[k, 2] > z_top or shape[k, 3] < z_low or limb[i] == skip_limb:
                continue
            sk, zk, nk = shape[k, 4], shape[k, 5], shape[k, 6]
            d2, _, v = gap_segments(s, z_low, 0.0, 0.0, z_top - z_low, 0.0, sk, zk, nk, shape[k, 7] - sk, shape[k, 8] - zk, shape[k, 9] - nk)
            reach = r_start[i] + v * (r_end[i] - r_start[i]) + bag
            if d2 < reach * reach:
                return False
    for k in range(columns):  # noqa: SIM110 (numba has no all over a generator)
        if abs(column[k, 0] - s) <= 0.5 * side_cell + bag and column[k, 1] < z_top and column[k, 2] > z_low + lift:
            return False
    return True


@njit(cache=True, nogil=True)
def way_down_clear(sc: Scene, pl: Plane, s: float, z_top: float, skip_limb: int) -> bool:
    """`way_down` in a plane of a scene."""
    return way_down(
        pl.shape, pl.item, pl.first, pl.entry, pl.frame, pl.size, pl.column, pl.counts[2], pl.ground, sc.limb, sc.r_start, sc.r_end,
        sc.bag_radius, sc.side_cell, sc.lift, s, z_top, skip_limb,
    )  # fmt: skip


@njit(cache=True, nogil=True)
def shaft_clear(sc: Scene, pl: Plane, c: int, side: int) -> bool:
    """Is the strip beside crossing c clear for a falling bag? side 0: thrower's side, 1: far side. Looked up once a plane."""
    if pl.shaft[c, side] < 0:
        away = pl.cross[c, 3] + sc.bag_radius + sc.clearance
        s = pl.cross[c, 0] + (away if side == 1 else -away)
        pl.shaft[c, side] = 1 if way_down_clear(sc, pl, s, pl.cross[c, 1], limb_of(sc, pl.cross_item[c])) else 0
    return pl.shaft[c, side] == 1


@njit(cache=True, nogil=True)
def min_weight(line: float, tail: float, friction: float, turning: float) -> float:
    """Lightest bag that starts to run down by itself: line x tail x exp(friction x turning). [kg]"""
    return line * max(tail, 0.0) * np.exp(friction * turning)


@njit(cache=True, nogil=True)
def hanging_turn(extent: float, height: float) -> float:
    """By how much a slack line turns over everything it lies on while the bag runs down, err on the high side. [rad]

    Parameters
    ----------
    extent : float      Distance along the plane from the nearest to the farthest thing the line lies on, 0 for one limb. [m]
    height : float      Of the highest of them above the hand. [m]

    Notes
    -----
    Both legs hang plumb: half a round. Between its supports the line sags under its own weight onto what lies a little lower. At z above the
    hand its tension is at least that of a tail of length z, l g z, so over a length L it bends by at most L / z, and what it bends back it turns
    more at the supports. z is taken as half the height, and the sum as half a round at most.
    """
    return np.pi + min(2.0 * extent / height if height > 0.0 else 0.0, np.pi)


ALONE, WORKABLE, AS_IT_FELL = 1, 2, 3
"""What can be made of a line over a wanted limb: nothing else under it; others can be worked off; it must stay as it fell."""


@njit(cache=True, nogil=True)
def highest_limbs(cross: Floats, cross_item: Ints, limb: Ints, over: Ints, count: int) -> tuple[float, int, float]:
    """Highest top under the line besides the stem's, the limb it belongs to, and the highest top of any other limb. [m]"""
    first, whose, second = -INFINITE, -999, -INFINITE
    for m in range(count):
        j = cross_item[over[m]]
        own = limb[j] if j >= 0 else BESIDE
        if own == 0:
            continue
        top = cross[over[m], 2]
        if top > first:
            if own != whose:
                second = first
            first, whose = top, own
        elif own != whose:
            second = max(second, top)
    return first, whose, second


@njit(cache=True, nogil=True)
def judge(
    cross: Floats,
    cross_item: Ints,
    limb: Ints,
    node: Ints,
    stem_node: int,
    over: Ints,
    count: int,
    which: int,
    lodged: bool,
    z_hand: float,
    room: float,
    max_worked: int,
    outdone: bool,
) -> tuple[int, bool, bool, bool, float]:
    """What is under the line besides the wanted crossing over[which]?

    Returns
    -------
    verdict : int           ALONE, WORKABLE, AS_IT_FELL; 0 where not even the last serves (a higher limb bears the line, or the bag is stuck).
    back, front : bool      Limbs to work the line off beyond the wanted one (or a stuck bag), and on the thrower's side.
    highest : bool          The wanted limb is the highest of all and the bag is not stuck: the line may stay as it fell.
    extent : float          From the nearest to the farthest thing under the line, besides the stem that is walked round. [m]

    Notes
    -----
    `outdone` says that a limb known to count stands higher, so that the line cannot stay as it fell: it only saves looking further.
    `room` on both sides of the wanted limb belongs to it: what pierces the curtain there can not be worked off. The stem below the
    union (up to `stem_node`) is walked round; the wanted limb's own next crossing is the same limb.
    """
    c = over[which]
    i = cross_item[c]
    s_t, top_t, half_t, own = cross[c, 0], cross[c, 2], cross[c, 3], limb[i]
    near, far, beneath = 0, 0, 0
    highest, first, last = -INFINITE, s_t, s_t
    for m in range(count):
        o = over[m]
        if o == c:
            continue
        j = cross_item[o]
        s, half = cross[o, 0], cross[o, 3]
        if j >= 0:
            if limb[j] == 0 and node[j] <= stem_node:
                continue
            if limb[j] == own and abs(s - s_t) <= 2 * (half + half_t):
                continue
        highest = max(highest, cross[o, 2])
        first, last = min(first, s), max(last, s)
        if s - half > s_t + room:
            far += 1
        elif s + half < s_t - room:
            near += 1
        else:
            beneath += 1
        if (beneath > 0 or far > max_worked or near > max_worked) and (outdone or lodged or highest >= top_t):
            return 0, False, False, False, 0.0
    stays = not lodged and top_t > highest
    if near + far + beneath == 0 and not lodged:
        return ALONE, False, False, stays, 0.0
    if beneath == 0 and far <= max_worked and near <= max_worked:
        return WORKABLE, far > 0 or lodged, near > 0, stays, last - first
    return AS_IT_FELL, False, False, stays, last - first


@njit(cache=True, nogil=True)
def come_down(verdict: int, shafts: bool, stays: bool, extent: float, tail: float, line: float, rough: float, mass: float) -> int:
    """Isolation class once the bag must come down by itself: 1, 2, 3, or 0 where it hangs.

    Parameters
    ----------
    shafts : bool       The ways down needed for working are clear.
    stays, extent       Of `judge`; whether the line may stay over everything, and how far apart that lies. [m]
    tail : float        The wanted limb's top above the hand. [m]
    rough : float       Friction of the line on rough bark: a bag said to come down shall.
    """
    alone = min_weight(line, tail, rough, hanging_turn(0.0, tail)) <= mass
    if verdict == ALONE:
        return 1 if alone else 0
    if verdict == WORKABLE and shafts and alone:
        return 2
    if verdict > 0 and stays and min_weight(line, tail, rough, hanging_turn(extent, tail)) <= mass:
        return 3
    return 0


@njit(cache=True, nogil=True)
def bears(sc: Scene, pl: Plane, c: int, s_end: float) -> bool:
    """Does crossing c count as over its union: within reach of it, passed with the bag's width to spare, and not drooping so that the line slides off?"""
    i = pl.cross_item[c]
    if sc.near[i] + pl.cross[c, 4] * (sc.far[i] - sc.near[i]) > sc.limit[i] or s_end < pl.cross[c, 0] + pl.cross[c, 3] + sc.bag_radius:
        return False
    return sc.slope[i] >= -np.arctan(sc.friction)


@njit(cache=True, nogil=True)
def classify(sc: Scene, pl: Plane, over: Ints, count: int, which: int, s_end: float, lodged: bool, z_hand: float) -> tuple[int, int]:
    """Isolation class for the target crossing over[which], and the workings it needs; class 0 = the throw does not serve this union.

    Parameters
    ----------
    over, count         Crossings under the line, near end first.
    s_end               Where the flight ended. [m]
    lodged : bool       The bag does not lie on the ground.
    """
    c = over[which]
    if not bears(sc, pl, c, s_end):
        return 0, 0
    u = sc.union[pl.cross_item[c]]
    room = pl.cross[c, 3] + 2 * sc.bag_radius + sc.clearance
    verdict, back, front, stays, extent = judge(
        pl.cross, pl.cross_item, sc.limb, sc.node, sc.stem_node[u], over, count, which, lodged, z_hand, room, sc.max_worked, False
    )
    stays = stays and count - 1 <= sc.max_between
    shafts = verdict == WORKABLE and (not back or shaft_clear(sc, pl, c, 1)) and (not front or shaft_clear(sc, pl, c, 0))
    k = come_down(verdict, shafts, stays, extent, pl.cross[c, 2] - z_hand, sc.line, sc.rough, sc.bag_mass)
    return k, int(back) + int(front) if k == 2 else 0


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
def lands_badly(bad: NDArray[np.bool_], corner: Floats, cell: float, x: float, y: float) -> bool:
    """Would the bag come down on a road, roof, water or other closed area (of `Scene`)?"""
    j, i = int(np.floor((x - corner[0]) / cell)), int(np.floor((y - corner[1]) / cell))
    return 0 <= i < bad.shape[0] and 0 <= j < bad.shape[1] and bad[i, j]


@njit(cache=True, nogil=True)
def unsnagged(
    leaf: NDArray[np.float32],
    corner: Floats,
    cell: float,
    snag: float,
    zs: Floats,
    step: float,
    x: float,
    y: float,
    z_hand: float,
    azimuth: float,
    s_end: float,
) -> float:
    """Chance that twigs and leaves do not catch the bag: exp(-k x integral of density along the flight)."""
    ux, uy = np.sin(azimuth), np.cos(azimuth)
    total, j = 0.0, 0
    na, nb, nc = leaf.shape
    inv = 1.0 / cell
    px, py, pz = (x - corner[0]) * inv, (y - corner[1]) * inv, (z_hand - corner[2]) * inv
    while j < PIECES and j * step < s_end:
        length = np.sqrt(step * step + (zs[j + 1] - zs[j]) ** 2)
        parts = int(length / (0.5 * cell)) + 1
        for m in range(parts):
            u = (m + 0.5) / parts
            s = (j + u) * step
            if s >= s_end:
                break
            fa, fb, fc = px + s * ux * inv, py + s * uy * inv, pz + (zs[j] + u * (zs[j + 1] - zs[j])) * inv
            if 0.0 <= fa < na and 0.0 <= fb < nb and 0.0 <= fc < nc:
                total += leaf[int(fa), int(fb), int(fc)] * length / parts
        j += 1
    return np.exp(-snag * total)
