"""What is the margin in every draw? Strength over stress of the weakest section, compiled."""

from __future__ import annotations

import numpy as np
from numba import njit

from treescan.loads.sections.section_stress import governing_use

MASS, WOOD, UNION, PLACE, FRICTION = range(5)
"""Rows of the standard normals ahead of those of limbs and diameters: mass, strength of the tree's wood,
union factor, rope place, friction. Then, twice for every limb, its own part of the strength: in the load's
bending plane, and what another plane need not share with it."""

FIXED = 5
"""How many those are."""

AXIAL, SHEAR, TORSION, BENDING = 0, 1, 3, 4
"""Rows of a section's force and moment in its own axes; shear and bending have two each."""


@njit(cache=True, error_model="numpy", nogil=True)
def _local(axis, vector, out):  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    """Parts of a vector along the axis and along two directions square to it and to each other (writes out
    (3,))."""
    flat = np.argmin(np.abs(axis))
    a, b = axis[(flat + 1) % 3], axis[(flat + 2) % 3]
    size = np.sqrt(a * a + b * b)
    u, v, w = vector[flat], vector[(flat + 1) % 3], vector[(flat + 2) % 3]
    out[0] = axis[flat] * u + a * v + b * w
    out[1] = (a * w - b * v) / size
    out[2] = size * u - axis[flat] * (a * v + b * w) / size


@njit(cache=True, error_model="numpy", nogil=True)
def _exponential(x):  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    """exp(x) in place, to 1e-14 of it: the series at a small part of x, squared back, which the machine does
    for several values at once."""
    most = 0.0
    for d in range(len(x)):
        most = max(most, abs(x[d]))
    if most > 4.0:
        for d in range(len(x)):
            x[d] = np.exp(x[d])
        return
    halvings = 0
    while most > 0.0625:
        most, halvings = 0.5 * most, halvings + 1
    part = 0.5**halvings
    for d in range(len(x)):
        u = part * x[d]
        x[d] = u * (
            1
            + u
            * (
                1 / 2
                + u * (1 / 6 + u * (1 / 24 + u * (1 / 120 + u * (1 / 720 + u * (1 / 5040 + u / 40320)))))
            )
        )
    for _ in range(halvings):  # of exp - 1, so that no figure is lost near 1
        for d in range(len(x)):
            x[d] = x[d] * (2.0 + x[d])
    for d in range(len(x)):
        x[d] += 1.0


@njit(cache=True, error_model="numpy", nogil=True)
def sampled_margins(  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    first, end, z, at, legs, axis, radius, sd, cholesky, bending, crushing, shear, spread, limb_spread, plane,
    limb, limbs, column, k, force, moment, shift, min_shift,
    own_weight, own_moment, mass_sd, rest_sd, plenty,
):
    """See `reliability.both_margins`; z (dimensions, n), `at` (n,) is the union factor's probability, `legs`
    (q, n) what every leg takes of its middle value. The draws run innermost and without a branch, so that the
    machine works on several at once."""
    draws, q = z.shape[1], len(legs)
    used, alone = np.zeros(draws), np.zeros(draws)
    size, moved, grip, still_grip = np.empty(draws), np.empty(draws), np.empty(draws), np.empty(draws)
    # of every leg, of the moved rope, of the own weight: force and moment
    part, zero = np.zeros((q + 2, 2, 3)), np.zeros(3)
    sums = np.empty((6, draws))
    moved[:] = mass_sd * z[MASS]
    _exponential(moved)
    for d in range(draws):
        moved[d] *= max(rest_sd * z[PLACE, d], min_shift)
    for s in range(first, end):
        size[:] = 0.0
        for j in range(s + 1):
            share, row = sd[s] * cholesky[s, j], z[column[j]]
            for d in range(draws):
                size[d] += share * row[d]
        _exponential(size)
        mine = FIXED + limb[s]
        grip[:] = -limb_spread[s] * z[mine] - spread[s] * z[WOOD]  # one over the strength, over its middle
        _exponential(grip)
        if plane[s] < 1.0:  # in the plane of the own weight
            other = np.sqrt(1.0 - plane[s] * plane[s])
            still_grip[:] = -limb_spread[s] * (plane[s] * z[mine] + other * z[mine + limbs]) - spread[s] * z[WOOD]
            _exponential(still_grip)
        else:
            still_grip[:] = grip
        for j in range(q):
            _local(axis[s], force[s, j], part[j, 0])
            _local(axis[s], moment[s, j], part[j, 1])
        _local(axis[s], shift[s], part[q, 1])
        zero[2] = -own_weight[s]
        _local(axis[s], zero, part[q + 1, 0])
        _local(axis[s], own_moment[s], part[q + 1, 1])
        (n0, x0, y0), (t0, p0, r0) = part[q + 1]
        own_across, own_bent = np.sqrt(x0 * x0 + y0 * y0), np.sqrt(p0 * p0 + r0 * r0)
        for c in range(6):
            here, still = sums[c], part[q + 1, c // 3, c % 3]
            go, share, row = part[q, c // 3, c % 3], part[0, c // 3, c % 3], legs[0]
            for d in range(draws):
                here[d] = size[d] * size[d] * still + moved[d] * go + row[d] * share
            for j in range(1, q):
                share, row = part[j, c // 3, c % 3], legs[j]
                for d in range(draws):
                    here[d] += row[d] * share
        low, middle, high = k[s]
        up, down = (high - low) * (middle - low), (high - low) * (high - middle)
        knee = (middle - low) / (high - low) if high > low else np.inf
        thick, bend, crush, slide = radius[s], bending[s], 1.0 / crushing[s], 1.0 / shear[s]
        area = np.pi * thick * thick
        by_bending = abs(n0) / (area * (crushing[s] if n0 < 0 else bend * middle))
        by_bending += own_bent / (0.25 * area * thick * bend * middle)
        by_shear, by_torsion = slide * 4 * own_across / (3 * area), slide * abs(t0) / (0.5 * area * thick)
        count = 1.0 if governing_use(by_bending, by_torsion, by_shear) * plenty > 1.0 else 0.0
        for d in range(draws):
            rise, drop = low + np.sqrt(at[d] * up), high - np.sqrt((1.0 - at[d]) * down)
            along = 1.0 / (bend * (rise if at[d] <= knee else drop))
            inverse = 1.0 / (thick * size[d])
            face = inverse * inverse / np.pi
            edge = 4.0 * face * inverse
            n, t = sums[AXIAL, d], sums[TORSION, d]
            across = np.sqrt(sums[SHEAR, d] * sums[SHEAR, d] + sums[SHEAR + 1, d] * sums[SHEAR + 1, d])
            bent = np.sqrt(sums[BENDING, d] * sums[BENDING, d] + sums[BENDING + 1, d] * sums[BENDING + 1, d])
            most = governing_use(
                face * abs(n) * (crush if n < 0 else along) + edge * bent * along,
                slide * 0.5 * edge * abs(t),
                slide * face * across * (4 / 3),
            )
            used[d] = max(used[d], most * grip[d])
            itself = governing_use(
                face * abs(n0) * (crush if n0 < 0 else along) + edge * own_bent * along,
                slide * 0.5 * edge * abs(t0),
                slide * face * own_across * (4 / 3),
            )
            alone[d] = max(alone[d], count * size[d] * size[d] * itself * still_grip[d])
    for d in range(draws):
        used[d] = 1.0 / max(used[d], 1e-300)
        alone[d] = 1.0 / alone[d]
    return used, alone


@njit(cache=True, error_model="numpy", nogil=True)
def margins_by_section(  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    z, at, legs, axis, radius, sd, cholesky, bending, crushing, shear, spread, limb_spread, plane,
    limb, limbs, column, k, force, moment, shift, min_shift,
    own_weight, own_moment, mass_sd, rest_sd, plenty,
):
    """As `sampled_margins`, of every section by itself, (s, n) each."""
    sections, draws = len(radius), z.shape[1]
    used, alone = np.empty((sections, draws)), np.empty((sections, draws))
    for s in range(sections):
        used[s], alone[s] = sampled_margins(
            s, s + 1, z, at, legs, axis, radius, sd, cholesky, bending, crushing, shear, spread, limb_spread, plane,
            limb, limbs, column, k, force, moment, shift, min_shift,
            own_weight, own_moment, mass_sd, rest_sd, plenty,
        )
    return used, alone
