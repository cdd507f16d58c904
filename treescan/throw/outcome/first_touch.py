"""Which limb or wire does a flight touch first, and where?"""

from __future__ import annotations

from numba import njit

from treescan.arrays import Floats, Ints, Ints32
from treescan.geometry import gap_segments
from treescan.throw.ballistics.flight import PIECES
from treescan.throw.ballistics.flight_line import INFINITE
from treescan.throw.scene.plane import (
    BOX_HALF,
    BOX_S,
    BOX_Z,
    END_N,
    END_S,
    END_Z,
    R_END,
    R_START,
    S_MAX,
    S_MIN,
    START_N,
    START_S,
    START_Z,
    Z_MAX,
    Z_MIN,
    Cells,
)

ENTRY = 1e-3
"""Share of a straight piece to which the place where it enters a limb is worked out."""

HALVINGS = 11
"""Bisections to that share and a little finer."""


@njit(cache=True, nogil=True)
def _depth(ps: float, pz: float, pn: float, es: float, ez: float, en: float, r0: float, r1: float) -> float:
    """Squared distance of the point p to the tapered capsule's axis, from the origin along e, less its squared radius: negative inside."""
    e2 = es * es + ez * ez + en * en
    t = min(max((ps * es + pz * ez + pn * en) / e2, 0.0), 1.0) if e2 > 0.0 else 0.0
    gs, gz, gn, r = ps - t * es, pz - t * ez, pn - t * en, r0 + t * (r1 - r0)
    return gs * gs + gz * gz + gn * gn - r * r


@njit(cache=True, nogil=True)
def _entry(
    inside: float,
    ps: float,
    pz: float,
    pn: float,
    ds: float,
    dz: float,
    es: float,
    ez: float,
    en: float,
    r0: float,
    r1: float,
) -> float:
    """Share u of the piece p + u (ds, dz, 0) at which it enters a capsule (as in `_depth`), known to be inside at `inside`.

    Bisection: outside up to the entry, inside from there to the nearest point, as the capsule is convex.
    """
    lo, hi, u = 0.0, inside, 0.0
    for _ in range(HALVINGS):
        if _depth(ps + u * ds, pz + u * dz, pn, es, ez, en, r0, r1) < 0.0:
            hi = u
        else:
            lo = u
        u = 0.5 * (lo + hi)
    return hi


@njit(cache=True, nogil=True)
def first_touch(
    shape: Floats,
    first: Ints32,
    entry: Ints32,
    looked: Ints,
    cells: Cells,
    height: Floats,
    step: float,
    hand: float,
) -> tuple[float, int]:
    """Where a flight first touches a shape of the plane [m], and which; (INFINITE, -1) when it never does.

    Parameters
    ----------
    shape, first, entry, looked     Of `Shapes` (plain arrays: taking them out of a tuple for every throw costs more than the work).
    height, step                    A row of `Flights`. [m]
    hand : float                    Height of the release point. [m, local]

    Notes
    -----
    Piece by piece, only the shapes entered in the cells the piece goes through are compared; nothing touched on a piece means
    nothing was touched before the next.
    """
    inv, z_low, z_high, ns, nz = cells.per_metre, cells.low, cells.high, cells.along, cells.up
    last = min(PIECES, int(cells.end / step) + 1)
    zb = height[0] + hand
    for j in range(last):
        za = zb
        zb = height[j + 1] + hand
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
                if (
                    lo > shape[k, Z_MAX]
                    or hi < shape[k, Z_MIN]
                    or s0 > shape[k, S_MAX]
                    or s1 < shape[k, S_MIN]
                ):
                    continue
                if looked[k] == number:
                    continue
                looked[k] = number
                aside = (shape[k, BOX_S] - s0) * dz - (shape[k, BOX_Z] - za) * step
                if aside * aside > shape[k, BOX_HALF] * shape[k, BOX_HALF] * length2:
                    continue
                sk, zk, nk = shape[k, START_S], shape[k, START_Z], shape[k, START_N]
                es, ez, en = shape[k, END_S] - sk, shape[k, END_Z] - zk, shape[k, END_N] - nk
                d2, u, v = gap_segments(s0, za, 0.0, step, dz, 0.0, sk, zk, nk, es, ez, en)
                r0, r1 = shape[k, R_START], shape[k, R_END]
                reach = r0 + v * (r1 - r0)
                if d2 >= reach * reach:
                    continue
                before = best - ENTRY
                if u > before:
                    if (
                        before <= 0.0
                        or _depth(s0 - sk + before * step, za - zk + before * dz, -nk, es, ez, en, r0, r1)
                        >= 0.0
                    ):
                        continue
                    u = before
                best, hit = _entry(u, s0 - sk, za - zk, -nk, step, dz, es, ez, en, r0, r1), k
        if hit >= 0:
            return s0 + step * best, hit
    return INFINITE, -1
