"""What looked like a limb and is not: strips of another limb's bark, leaf clumps, stubs shorter than the bark is rough."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numba import njit

from treescan.wood.fitting.limb_axes import LimbAxes, limb_medians, places_along
from treescan.wood.graph import Floats, Ints
from treescan.wood.sections.pieces import ON_HOST, ON_HOST_MORE, best_host, distance_and_radius
from treescan.wood.settings import WoodSettings

SLIM = 0.025
"""Thinner limbs may have fewer fits and more points beside the bark [m]: they are twigs to begin with."""
MOST_HOSTS, MOST_HOPS = 40, 20
"""Limbs tried as host of one, and steps from host to host that are followed: guards against very long searches."""
EARLY = 0.7
"""While radii are rough, limbs thinner than this share of the smallest diameter go (project choice)."""
STOUT = 40
"""A limb longer than so many of its radii is a straight run of points that speaks for itself (project choice)."""
STUB = 2.5
"""A limb must be at least so many of its radii long (project choice)."""
ON_BARK, FITTED = 0.3, 0.3
"""Least share of the points on the bark of a slim or long limb, and of the fitted pieces of a stout one (project choice)."""
SHORT, SHORT_DOUBT, LONG, LONG_DOUBT = 12, 0.08, 25, 0.2
"""A limb shorter than so many of its radii is believed up to this relative sd (project choice)."""
THICKER = 1.25
"""A limb so many times thicker than what it hangs on is none (project choice)."""
TIP_SHARE = 0.35
"""Share on the bark from which a piece ends a limb (project choice)."""
UNSEEN, UNSEEN_SHARE = 0.3, 0.6
"""The unseen way to the parent may be so long [m], or this share of what was seen (project choice)."""
GONE, GONE_RADII = 0.3, 4
"""A limb so far off its parent's bark [m], and so many of its own radii, has left it (project choice)."""
CARRIES = 0.3
"""A good limb longer than this keeps the limb it hangs on [m] (project choice)."""


def merge_ghosts(xyz: Floats, limb: Ints, axes: LimbAxes) -> tuple[LimbAxes, Ints]:
    """Give limbs that lie on the bark of another limb back to it.

    A stem of which the scan saw separate strips comes out as several limbs side by side. A limb goes to the parent, a grandparent or
    a thicker limb off the same parent when more than half of its points lie on that one's bark (within a tenth of its radius) or
    inside, over most of its length.

    Returns
    -------
    axes, limb      With the ghosts gone (empty) and their points and side limbs handed over.
    """
    count = len(axes)
    limb = limb.copy()
    order = np.argsort(limb, kind="stable")
    bounds = np.searchsorted(limb[order], np.arange(count + 1))
    thick = np.nan_to_num(limb_medians(axes.r, axes.start))
    kids: dict[int, list[int]] = {}
    for k in range(1, count):
        kids.setdefault(int(axes.parent[k]), []).append(k)
    for mine in kids.values():
        mine.sort(key=lambda j: -thick[j])
    others = [_others(k, axes.parent, kids, thick) if k else [] for k in range(count)]
    pair_start = np.concatenate([[0], np.cumsum([len(o) for o in others])]).astype(np.int64)
    hosts = np.array([m for o in others for m in o], np.int32)
    host, share = best_host(xyz, order, bounds, pair_start, hosts, axes.start, axes.v, axes.s, axes.r)
    goes_to = np.where(share > 0.5, host, -1).astype(np.int32)
    empty = np.diff(bounds) == 0
    goes_to[empty] = axes.parent[empty]
    goes_to[0] = -1
    return _hand_over(axes, limb, goes_to)


def trim_starts(limb: Ints, place: Floats, axes: LimbAxes) -> tuple[LimbAxes, Ints]:
    """Give the first part of a limb back to its parent, up to where it leaves the parent's bark, with the side limbs on that part.

    A limb that has come clear of the bark and touches it again farther out has left already.

    Parameters
    ----------
    limb, place : (n,)      Limb of every point and its place along it. [m]
    """
    away, _, bark = distance_and_radius(axes.v, axes.parent[axes.of_vertex], axes.start, axes.v, axes.s, axes.r)
    off = away - (ON_HOST * bark + ON_HOST_MORE)
    on_bark, clear = off < 0, off > np.maximum(GONE, GONE_RADII * axes.r)
    first = np.zeros(len(axes), np.int64)
    for k in range(1, len(axes)):
        run = on_bark[axes.rows(k)]
        gone = np.flatnonzero(clear[axes.rows(k)])
        last = np.flatnonzero(run[: gone[0]] if len(gone) else run)
        first[k] = int(last[-1]) + 1 if len(last) and last[-1] < len(run) - 3 else 0
    parent = axes.parent.copy()
    for c in range(1, len(axes)):
        k = int(axes.parent[c])
        while k > 0 and first[k] > 0:
            near = int(np.argmin(np.sum((axes.v[axes.rows(k)] - axes.leaves[c]) ** 2, axis=1)))
            if near >= first[k]:
                break
            k = int(axes.parent[k])
        parent[c] = k
    end = len(axes.s) - 1  # a limb without vertices may be the last
    begin = axes.s[np.minimum(axes.start[:-1] + first, end)]
    before = np.minimum(np.maximum(axes.start[:-1] + first - 1, axes.start[:-1]), end)
    cut = np.where(first > 0, 0.5 * (begin + axes.s[before]), -np.inf)
    held = np.maximum(limb, 0)
    new_limb = np.where((limb >= 0) & (place < cut[held]), axes.parent[held], limb).astype(np.int32)
    keep = np.arange(len(axes.s)) - axes.start[axes.of_vertex] >= first[axes.of_vertex]
    return _keep_vertices(replace(axes, parent=parent), keep), new_limb


def _keep_vertices(axes: LimbAxes, keep: np.ndarray) -> LimbAxes:
    start = np.concatenate([[0], np.cumsum(np.bincount(axes.of_vertex[keep], minlength=len(axes)))]).astype(np.int64)
    fields = axes.columns(keep)
    return replace(axes, start=start, s=places_along(start, fields["v"]), **fields)


def _others(k: int, parent: Ints, kids: dict[int, list[int]], thick: Floats) -> list[int]:
    """Limbs on whose bark limb k could lie: its parents, and thicker limbs beside it (`kids` come thickest first), at most 40."""
    out: list[int] = []
    m = int(parent[k])
    for _ in range(3):
        if m < 0 or len(out) >= MOST_HOSTS:
            break
        out.append(m)
        for j in kids.get(m, []):
            if thick[j] <= thick[k] or len(out) >= MOST_HOSTS:
                break
            if j != k:
                out.append(j)
        m = int(parent[m])
    return out


def _hand_over(axes: LimbAxes, limb: Ints, goes_to: Ints) -> tuple[LimbAxes, Ints]:
    final = np.arange(len(axes), dtype=np.int32)
    for k in range(len(axes)):
        m, hops = k, 0
        while goes_to[m] >= 0 and hops < MOST_HOPS:
            m, hops = int(goes_to[m]), hops + 1
        final[k] = m if hops < MOST_HOPS else k
    new_limb = np.where(limb >= 0, final[np.maximum(limb, 0)], -1).astype(np.int32)
    parent = axes.parent.copy()
    for k in range(1, len(axes)):
        p = int(final[parent[k]])
        while p == k or (final[k] == k and _is_above(p, k, parent)):
            p = int(final[axes.parent[p]])
        parent[k] = p
    return drop_limbs(replace(axes, parent=parent), final != np.arange(len(axes)), keep_numbers=False), _renumber(new_limb, final)


def _is_above(p: int, k: int, parent: Ints) -> bool:
    """True when limb p hangs on limb k."""
    seen = 0
    while p >= 0 and seen < 1000:
        if p == k:
            return True
        p, seen = int(parent[p]), seen + 1
    return False


def _renumber(limb: Ints, final: Ints) -> Ints:
    keep = final == np.arange(len(final))
    new = np.cumsum(keep) - 1
    return np.where(limb >= 0, new[np.maximum(limb, 0)], -1).astype(np.int32)


def drop_limbs(axes: LimbAxes, drop: np.ndarray, keep_numbers: bool = False) -> LimbAxes:
    """The axes without some limbs; what hung on a dropped limb hangs on that one's parent (or goes too, when it was dropped as well)."""
    drop = drop.copy()
    drop[0] = False
    parent = axes.parent.copy()
    for k in range(1, len(axes)):
        while parent[k] >= 0 and drop[parent[k]]:
            parent[k] = parent[parent[k]]
    keep = np.flatnonzero(~drop)
    new = np.cumsum(~drop) - 1
    rows = np.concatenate([np.arange(axes.start[k], axes.start[k + 1]) for k in keep]).astype(np.int64)
    start = np.concatenate([[0], np.cumsum([axes.start[k + 1] - axes.start[k] for k in keep])]).astype(np.int64)
    fields = axes.columns(rows) | {"s": axes.s[rows]}
    return replace(
        axes, start=start, parent=np.where(parent[keep] >= 0, new[np.maximum(parent[keep], 0)], -1).astype(np.int32), leaves=axes.leaves[keep], **fields
    )


def drop_with_points(axes: LimbAxes, limb: Ints, drop: np.ndarray) -> tuple[LimbAxes, Ints]:
    """As `drop_limbs`, the points of dropped limbs left without a limb."""
    drop = drop.copy()
    drop[0] = False
    new = np.where(drop, -1, np.cumsum(~drop) - 1)
    return drop_limbs(axes, drop), np.where(limb >= 0, new[np.maximum(limb, 0)], -1).astype(np.int32)


def worthless(axes: LimbAxes, settings: WoodSettings, early: bool = False) -> np.ndarray:
    """True for limbs too short, too thin or too badly fitted to be wood; a limb that carries a good one stays.

    `early`: radii are still rough, only the hopeless go.
    """
    count = len(axes)
    away, _, bark = distance_and_radius(axes.v, axes.parent[axes.of_vertex], axes.start, axes.v, axes.s, axes.r)
    ok = np.isfinite(axes.raw_sd)
    typical = limb_medians(np.where(ok, axes.r, np.nan), axes.start)
    length, largest, host, share = _sizes(axes.v, axes.r, away, bark, axes.share, axes.points, axes.start)
    hopeless = (np.diff(axes.start) < 2) | ~np.isfinite(typical)
    if early:
        bad = (2 * largest < EARLY * settings.smallest_diameter) | (length < 0.5 * settings.shortest_branch) | hopeless
    else:
        doubt = limb_medians(axes.r_sd, axes.start) / np.where(np.isfinite(typical), typical, 1.0)
        stout = (typical > SLIM) & (length < STOUT * typical)  # a long straight run of points speaks for itself
        bad = (
            hopeless
            | (length < np.maximum(settings.shortest_branch, STUB * typical))
            | (2 * largest < settings.smallest_diameter)
            | (share < np.where(stout, 0.5, ON_BARK))
            | (stout & (limb_shares(ok, axes.start) < FITTED))
            | ((length < SHORT * typical) & (doubt > SHORT_DOUBT))  # a stub is believed when well measured
            | ((length < LONG * typical) & (doubt > LONG_DOUBT))
            | (typical > THICKER * host)
        )
    bad[0] = False
    for k in range(count - 1, 0, -1):
        if not bad[k] and axes.parent[k] > 0 and bad[axes.parent[k]] and _near_parent(axes, k):
            bad[axes.parent[k]] = False
    return bad


def limb_shares(yes: np.ndarray, start: Ints) -> Floats:
    """Share of every limb's vertices that are True, (l,)."""
    total = np.concatenate([[0], np.cumsum(yes)])
    return (total[start[1:]] - total[start[:-1]]) / np.maximum(np.diff(start), 1)


def trim_tips(axes: LimbAxes) -> LimbAxes:
    """Limbs without their outermost pieces that no fit stands behind; nothing is cut between two good ones."""
    good = np.isfinite(axes.raw_sd) & (axes.share >= TIP_SHARE)
    row = np.arange(len(good))
    last = np.full(len(axes), -1)
    np.maximum.at(last, axes.of_vertex[good], row[good])
    last = np.where(last < 0, axes.start[1:] - 1, last + 1)  # one piece more: the fits near a tip are the weakest
    return _keep_vertices(axes, row <= last[axes.of_vertex])


def hung_on_nothing(axes: LimbAxes, gap: Floats) -> np.ndarray:
    """True for limbs whose unseen way to their parent is longer than what was seen of them.

    Parameters
    ----------
    gap : (l,) float    From the first vertex that counts to where the axis meets the parent's. [m]
    """
    seen = np.array([axes.length(k) for k in range(len(axes))])
    return gap > np.maximum(UNSEEN, UNSEEN_SHARE * seen)


@njit(cache=True)
def _sizes(v, r, away, bark, share, points, start):  # type: ignore[no-untyped-def]
    """Of every limb: length beyond the parent's bark, largest radius, largest radius of the parent beside it, share of points on the bark."""
    count = len(start) - 1
    length, largest, host, on = np.zeros(count), np.zeros(count), np.zeros(count), np.zeros(count)
    for k in range(count):
        weight = 0.0
        for i in range(start[k], start[k + 1]):
            largest[k], host[k] = max(largest[k], r[i]), max(host[k], bark[i])
            w = max(points[i], 1)
            on[k] += w * share[i]
            weight += w
            if i > start[k] and away[i] > bark[i]:
                length[k] += np.sqrt((v[i, 0] - v[i - 1, 0]) ** 2 + (v[i, 1] - v[i - 1, 1]) ** 2 + (v[i, 2] - v[i - 1, 2]) ** 2)
        on[k] /= max(weight, 1.0)
    return length, largest, host, on


def _near_parent(axes: LimbAxes, k: int) -> bool:
    return axes.length(k) > CARRIES
