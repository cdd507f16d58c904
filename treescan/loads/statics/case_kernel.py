"""Which load is worst on a way to the ground, and what is asked of its weakest sections? Compiled, one call a question."""

from __future__ import annotations

import numpy as np
from numba import njit

from treescan.loads.chance.reliability import correlation_factor
from treescan.loads.sections.section_stress import mapped, peaks


@njit(cache=True, error_model="numpy", nogil=True)
def worst_rows(  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    point, axis, radius, strength, crushing, shear, own_force, own_moment, above, leg_point, legs, along, out, stretch,
):
    """Load and section with the largest use at the middle values, then at the low ends.

    Parameters
    ----------
    radius, strength : (2, s)       As of `LoadPath.states`.
    leg_point, legs : (l, c, 2, 3)  [m], [N]
    along : (c, 3)                  Axes of the limbs at the contacts.
    out : float                     How far the rope may lie further out than told. [m]
    The rest as in `peaks`.
    """
    loads, contacts = legs.shape[0], legs.shape[1]
    force, about = np.empty((loads, contacts, 3)), np.empty((2, loads, contacts, 3))
    for i in range(loads):
        for c in range(contacts):
            fx, fy, fz = legs[i, c, 0, 0] + legs[i, c, 1, 0], legs[i, c, 0, 1] + legs[i, c, 1, 1], legs[i, c, 0, 2] + legs[i, c, 1, 2]
            force[i, c, 0], force[i, c, 1], force[i, c, 2] = fx, fy, fz
            mx, my, mz = 0.0, 0.0, 0.0
            for leg in range(2):
                x, y, z = leg_point[i, c, leg, 0], leg_point[i, c, leg, 1], leg_point[i, c, leg, 2]
                u, v, w = legs[i, c, leg, 0], legs[i, c, leg, 1], legs[i, c, leg, 2]
                mx, my, mz = mx + (y * w - z * v), my + (z * u - x * w), mz + (x * v - y * u)
            about[0, i, c, 0], about[0, i, c, 1], about[0, i, c, 2] = mx, my, mz
            x, y, z = along[c, 0], along[c, 1], along[c, 2]
            about[1, i, c, 0] = mx + out * (y * fz - z * fy)
            about[1, i, c, 1] = my + out * (z * fx - x * fz)
            about[1, i, c, 2] = mz + out * (x * fy - y * fx)
    largest, which = peaks(
        point, axis, radius, strength, crushing, shear, -own_force[:, 2], own_moment, above, force, about, stretch
    )
    middle, low = np.argmax(largest[0]), np.argmax(largest[1])
    return which[0, middle], middle, which[1, low], low


@njit(cache=True, error_model="numpy", nogil=True)
def uses(  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    point, axis, radius, strength, crushing, shear, own_force, own_moment, above, leg_point, legs, stretch,
):
    """Stress over strength of every section under one load, legs (c, 2, 3), (s,)."""
    contacts = legs.shape[0]
    force, about = np.empty((1, contacts, 3)), np.empty((1, 1, contacts, 3))
    for c in range(contacts):
        mx, my, mz = 0.0, 0.0, 0.0
        for k in range(3):
            force[0, c, k] = legs[c, 0, k] + legs[c, 1, k]
        for leg in range(2):
            x, y, z = leg_point[c, leg, 0], leg_point[c, leg, 1], leg_point[c, leg, 2]
            u, v, w = legs[c, leg, 0], legs[c, leg, 1], legs[c, leg, 2]
            mx, my, mz = mx + (y * w - z * v), my + (z * u - x * w), mz + (x * v - y * u)
        about[0, 0, c, 0], about[0, 0, c, 1], about[0, 0, c, 2] = mx, my, mz
    largest, _ = peaks(
        point,
        axis,
        radius[:1],
        strength[:1],
        crushing,
        shear,
        -own_force[:, 2],
        own_moment,
        above,
        force,
        about,
        stretch,
    )
    return largest[0]


@njit(cache=True, error_model="numpy", nogil=True)
def weakest(used, doubt, count):  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    """Rows of the `count` sections used most, their doubt counted, in order; the most used one is always among them."""
    most = min(count, len(used))
    order = np.argsort(-used * doubt, kind="mergesort")
    rows = np.sort(order[:most])
    top = np.argmax(used)
    if not np.any(rows == top):
        rows[0] = top
        rows = np.sort(rows)
    return rows


@njit(cache=True, error_model="numpy", nogil=True)
def sections_asked(  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    rows, point, axis, own_moment, above, stretch, limb, plane, fork, foot, leg_point, legs, along, moving, reach, common, bent_back,
):
    """Of some sections under one load: Cholesky factor of the diameters' correlation (s, s), correlation of a limb's own strength
    with that under its own weight (s,), force and moment of every leg (s, q, 3), change of moment per metre of the rope out along
    the limb of contact `moving` (s, 3), moment of the own weight (s, 3).

    Parameters
    ----------
    rows : (s,) int                 Of the load path; limb, plane, fork (n,) of its sections.
    foot : (3,)                     Of the tree. [m]
    leg_point, legs : (c, 2, 3)     [m], [N]
    along : (3,)                    Axis of the limb at contact `moving`.
    reach, common                   As of `correlation_factor`.
    bent_back : float               `reliability.BENT_BACK`.

    Notes
    -----
    A limb's own strength is `plane` alike in two planes square to each other; between, 1 - (1 - plane) sin^2. Bent the other way
    a section has shown less: there it is at most 0 at a fork (opened, not closed) and `bent_back` elsewhere.
    """
    n, contacts = len(rows), len(legs)
    force, moment = np.zeros((n, 2 * contacts, 3)), np.zeros((n, 2 * contacts, 3))
    shift, own, far = np.zeros((n, 3)), np.empty((n, 3)), np.empty(n)
    of_limb, shared = np.empty(n, limb.dtype), np.empty(n)
    oval = len(stretch) > 0
    for i in range(n):
        s = rows[i]
        of_limb[i] = limb[s]
        px, py, pz = point[s, 0], point[s, 1], point[s, 2]
        far[i] = np.sqrt((px - foot[0]) ** 2 + (py - foot[1]) ** 2 + (pz - foot[2]) ** 2)
        mx, my, mz = own_moment[s, 0], own_moment[s, 1], own_moment[s, 2]
        if oval:
            mx, my, mz = mapped(stretch[s], mx, my, mz)
        own[i, 0], own[i, 1], own[i, 2] = mx, my, mz
        ax, ay, az = 0.0, 0.0, 0.0
        for c in range(contacts):
            if not above[s, c]:
                continue
            for leg in range(2):
                q = 2 * c + leg
                fx, fy, fz = legs[c, leg, 0], legs[c, leg, 1], legs[c, leg, 2]
                x, y, z = leg_point[c, leg, 0] - px, leg_point[c, leg, 1] - py, leg_point[c, leg, 2] - pz
                u, v, w = y * fz - z * fy, z * fx - x * fz, x * fy - y * fx
                if oval:
                    u, v, w = mapped(stretch[s], u, v, w)
                force[i, q, 0], force[i, q, 1], force[i, q, 2] = fx, fy, fz
                moment[i, q, 0], moment[i, q, 1], moment[i, q, 2] = u, v, w
                ax, ay, az = ax + u, ay + v, az + w
        if above[s, moving]:
            fx, fy, fz = legs[moving, 0, 0] + legs[moving, 1, 0], legs[moving, 0, 1] + legs[moving, 1, 1], legs[moving, 0, 2] + legs[moving, 1, 2]
            u, v, w = along[1] * fz - along[2] * fy, along[2] * fx - along[0] * fz, along[0] * fy - along[1] * fx
            if oval:
                u, v, w = mapped(stretch[s], u, v, w)
            shift[i, 0], shift[i, 1], shift[i, 2] = u, v, w
        ax, ay, az = ax + mx, ay + my, az + mz
        size = np.sqrt(ax * ax + ay * ay + az * az) * np.sqrt(mx * mx + my * my + mz * mz)
        cosine = (ax * mx + ay * my + az * mz) / size if size > 0 else 1.0
        bounded = min(max(cosine, -1.0), 1.0)
        turned = 1.0 - (1.0 - plane[s]) * (1.0 - bounded * bounded)
        if cosine < 0:
            turned = min(turned, 0.0 if fork[s] else min(bent_back, plane[s]))
        shared[i] = turned
    return correlation_factor(of_limb, far, reach, common), shared, force, moment, shift, own
