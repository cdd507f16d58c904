"""What does a load do to every section on its way to the ground?

Axial force, shear, bending and torsion, and the stresses they make.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit

from treescan.wood.graph import Floats, WoodGraph


def cross(a: Floats, b: Floats) -> Floats:
    """Vector product along the last axis, without the general one's overhead."""
    x, y, z = a[..., 0], a[..., 1], a[..., 2]
    u, v, w = b[..., 0], b[..., 1], b[..., 2]
    first = y * w - z * v
    out = np.empty((*first.shape, 3))
    out[..., 0], out[..., 1], out[..., 2] = first, z * u - x * w, x * v - y * u
    return out


@njit(cache=True, error_model="numpy", nogil=True)
def governing_use(along, torsion, shear):  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    """Use of a section from those by bending with axial force, by torsion and by shear alone.

    At the outer fibre bending meets torsion: (along)^2 + (torsion)^2 = 1 at the strength, an ellipse; at the
    neutral axis torsion meets shear, added up. The worse of the two governs [torsion_ellipse].
    """
    return max(np.sqrt(along * along + torsion * torsion), torsion + shear)


@dataclass(frozen=True)
class SectionForces:
    """Forces on the lower side of every section, each (l, s): load cases by sections. Axial tension is
    positive. [N], [N m]"""

    axial: Floats
    shear: Floats
    bending: Floats
    torsion: Floats


def section_forces(
    point: Floats,
    axis: Floats,
    above: np.ndarray,
    load_point: Floats,
    load: Floats,
    own_force: Floats | None = None,
    own_moment: Floats | None = None,
    stretch: Floats | None = None,
) -> SectionForces:
    """Statically determinate forces in sections of a tree from point loads above them.

    Parameters
    ----------
    point, axis : (s, 3)        Sections and their outward axes. [m]
    above : (s, q) bool         Whether load q acts on what the section carries.
    load_point, load : (l, q, 3)    Point loads of every load case. [m], [N]
    own_force, own_moment : (s, 3)  Of the tree's own weight about the section. [N], [N m]
    stretch : (s, 3, 3)         From `oval_stretch`: moments come out as those that stress a round of the same
        area alike.

    Notes
    -----
    F = sum of the loads above, M = sum (p - x) x F; N = F.t, V = |F - N t|, T = M.t, bending = |M - T t|.
    """
    none = np.zeros((len(point), 3))
    return SectionForces(
        *_section_forces(
            point,
            axis,
            above,
            np.asarray(load_point, float),
            np.asarray(load, float),
            none if own_force is None else own_force,
            none if own_moment is None else own_moment,
            np.zeros((0, 3, 3)) if stretch is None else stretch,
        )
    )


@njit(cache=True, nogil=True)
def mapped(a, x, y, z):  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    """The vector (x, y, z) under a map (3, 3)."""
    return (
        a[0, 0] * x + a[0, 1] * y + a[0, 2] * z,
        a[1, 0] * x + a[1, 1] * y + a[1, 2] * z,
        a[2, 0] * x + a[2, 1] * y + a[2, 2] * z,
    )


@njit(cache=True, error_model="numpy", nogil=True)
def _section_forces(  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    point,
    axis,
    above,
    load_point,
    load,
    own_force,
    own_moment,
    stretch,
):
    """See `section_forces`; stretch (0, 3, 3) where all sections are round. Returns axial, shear, bending,
    torsion (l, s)."""
    cases, sections = len(load), len(point)
    axial, shear = np.empty((cases, sections)), np.empty((cases, sections))
    bending, torsion = np.empty((cases, sections)), np.empty((cases, sections))
    for i in range(cases):
        for s in range(sections):
            fx, fy, fz = 0.0, 0.0, 0.0
            mx, my, mz = own_moment[s]
            for q in range(load.shape[1]):
                if above[s, q]:
                    ax, ay, az = load[i, q]
                    fx, fy, fz = fx + ax, fy + ay, fz + az
                    x, y, z = (
                        load_point[i, q, 0] - point[s, 0],
                        load_point[i, q, 1] - point[s, 1],
                        load_point[i, q, 2] - point[s, 2],
                    )
                    mx, my, mz = mx + (y * az - z * ay), my + (z * ax - x * az), mz + (x * ay - y * ax)
            fx, fy, fz = fx + own_force[s, 0], fy + own_force[s, 1], fz + own_force[s, 2]
            if len(stretch) > 0:
                mx, my, mz = mapped(stretch[s], mx, my, mz)
            tx, ty, tz = axis[s]
            n, t = fx * tx + fy * ty + fz * tz, mx * tx + my * ty + mz * tz
            axial[i, s], torsion[i, s] = n, abs(t)
            shear[i, s] = np.sqrt((fx - n * tx) ** 2 + (fy - n * ty) ** 2 + (fz - n * tz) ** 2)
            bending[i, s] = np.sqrt((mx - t * tx) ** 2 + (my - t * ty) ** 2 + (mz - t * tz) ** 2)
    return axial, shear, bending, torsion


def oval_stretch(axis: Floats, oval: Floats, height: Floats | None = None) -> Floats:
    """Map of the moments on oval sections to those on rounds of the same area with the same stress, (s, 3,
    3).

    Parameters
    ----------
    axis : (s, 3) float     Outward axes.
    oval : (s,) float       Height over width of the section; 1 = round.
    height : (s, 3) float   Along the height, not 0 and not along the axis; what of it lies along the axis is
        left out. Default: the height lies in the plumb plane of the limb.

    Notes
    -----
    With H / W = q and H W = d^2: Z = pi W H^2 / 32 = Z_round sqrt(q) in the plane of the height, Z_round /
    sqrt(q) across it; the two stresses peak together at sqrt(s1^2 + s2^2), exactly, on an ellipse. Torsion 16
    T / (pi a b^2), b the lesser axis: sqrt(max(q, 1 / q)) times that of the round. So the direction of the
    load, of the height, and of the limb may be any.
    """
    if height is None:
        across = cross(axis, np.broadcast_to([0.0, 0.0, 1.0], axis.shape))
        # a plumb stem: height along y, width along x
        plumb = np.linalg.norm(across, axis=1, keepdims=True) <= 1e-9
        across = np.where(plumb, [1.0, 0.0, 0.0], across)
    else:
        across = cross(axis, height)
    across = across / np.linalg.norm(across, axis=1, keepdims=True)
    other = cross(axis, across)
    q = np.asarray(oval, float)[:, None, None]

    def dyad(v: Floats) -> Floats:
        return v[:, :, None] * v[:, None, :]

    return dyad(across) / np.sqrt(q) + dyad(other) * np.sqrt(q) + dyad(axis) * np.sqrt(np.maximum(q, 1.0 / q))


def utilisation(
    forces: SectionForces, radius: Floats, bending: Floats, crushing: Floats, shear: Floats
) -> tuple[Floats, Floats]:
    """Stress over strength of round sections, as (outer fibre: bending with axial force and torsion, neutral
    axis: shear with torsion).

    Parameters
    ----------
    forces : SectionForces
    radius, bending, crushing, shear : broadcast against (l, s)     [m], strengths after every reduction [Pa]

    Notes
    -----
    Bending with axial force b = N / (A f) + M / (Z f_m), f the crushing strength under compression and f_m
    under tension; torsion t = 16 T / (pi d^3 f_v), shear v = 4 V / (3 A f_v). Outer fibre sqrt(b^2 + t^2),
    neutral axis v + t, as `governing_use`.
    """
    area, z = np.pi * radius**2, np.pi * radius**3 / 4
    along = np.where(forces.axial < 0, crushing, bending)
    straight = np.abs(forces.axial) / (area * along) + forces.bending / (z * bending)
    twist = forces.torsion / (2 * z * shear)
    return np.hypot(straight, twist), 4 * forces.shear / (3 * area * shear) + twist


def worst_mode(
    forces: SectionForces, radius: float, bending: float, crushing: float, shear: float, fork: bool
) -> str:
    """Name of what governs one section (forces of shape (1, 1))."""
    area, z = np.pi * radius**2, np.pi * radius**3 / 4
    n, v, m, t = forces.axial.item(), forces.shear.item(), forces.bending.item(), forces.torsion.item()
    parts = {
        "compression": max(-n, 0.0) / (area * crushing),
        "bending": m / (z * bending) + max(n, 0.0) / (area * bending),
        "shear": 4 * v / (3 * area * shear),
        "torsion": t / (2 * z * shear),
    }
    along, across = parts["compression"] + parts["bending"], parts["shear"] + parts["torsion"]
    if across > np.hypot(along, parts["torsion"]) or parts["torsion"] > along:
        return max(("shear", "torsion"), key=lambda name: parts[name])
    if fork:
        return "union tear-out"
    return max(("bending", "compression"), key=lambda name: parts[name])


@njit(cache=True, error_model="numpy", nogil=True)
def peaks(  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    point, axis, radius, bending, crushing, shear, own_weight, own_moment, above, force, about_origin, stretch
):
    """Largest utilisation of every section over all load cases, and the case it came from, each for several
    states of the wood and the rope.

    Parameters
    ----------
    point, axis : (s, 3); crushing, shear, own_weight : (s,); own_moment : (s, 3)
    radius, bending : (e, s)        Of the sections in every state.
    above : (s, c) bool             Contacts carried by each section.
    force : (l, c, 3)               At every contact.
    about_origin : (e, l, c, 3)     Its moment about the origin in every state.
    stretch : (s, 3, 3)             From `oval_stretch`; (0, 3, 3) where all sections are round.

    Returns
    -------
    largest : (e, s) float, which : (e, s) int
    """
    s_count, l_count, c_count, e_count = len(point), len(force), above.shape[1], len(radius)
    largest, which = np.full((e_count, s_count), -1.0), np.zeros((e_count, s_count), np.int64)
    for s in range(s_count):
        tx, ty, tz = axis[s]
        px, py, pz = point[s]
        for case in range(l_count):
            fx, fy, fz = 0.0, 0.0, -own_weight[s]
            wx, wy, wz = own_moment[s]  # without the forces' moments about the origin
            for c in range(c_count):
                if above[s, c]:
                    ax, ay, az = force[case, c, 0], force[case, c, 1], force[case, c, 2]
                    fx, fy, fz = fx + ax, fy + ay, fz + az
                    wx, wy, wz = wx - (py * az - pz * ay), wy - (pz * ax - px * az), wz - (px * ay - py * ax)
            n = fx * tx + fy * ty + fz * tz
            v = np.sqrt(max(fx * fx + fy * fy + fz * fz - n * n, 0.0))
            for e in range(e_count):
                mx, my, mz = wx, wy, wz
                for c in range(c_count):
                    if above[s, c]:
                        mx += about_origin[e, case, c, 0]
                        my += about_origin[e, case, c, 1]
                        mz += about_origin[e, case, c, 2]
                if len(stretch) > 0:
                    mx, my, mz = mapped(stretch[s], mx, my, mz)
                t = mx * tx + my * ty + mz * tz
                m = np.sqrt(max(mx * mx + my * my + mz * mz - t * t, 0.0))
                r, strength = radius[e, s], bending[e, s]
                area, z = np.pi * r * r, np.pi * r * r * r / 4
                along = abs(n) / (area * (crushing[s] if n < 0 else strength)) + m / (z * strength)
                twist = abs(t) / (2 * z * shear[s])
                u = governing_use(along, twist, 4 * v / (3 * area * shear[s]))
                if u > largest[e, s]:
                    largest[e, s], which[e, s] = u, case
    return largest, which


def path_stresses(graph: WoodGraph, node: int, place: Floats, forces: Floats) -> Floats:
    """Largest stress each of some point loads makes alone on any section from where it acts down to the
    ground, (l,). [Pa]

    Parameters
    ----------
    node : int              Segment that bears the loads.
    place : (3,) float      Where they act. [m]
    forces : (l, 3) float   [N]

    Notes
    -----
    Round sections, own weight left out: N / A + M / Z.
    """
    path = graph.path_to_base(node)[:-1]
    lower = graph.xyz[graph.parent[path]]
    load = np.asarray(forces, float).reshape(-1, 1, 3)
    found = section_forces(
        lower, graph.direction[path], np.ones((len(path), 1), bool), np.broadcast_to(place, load.shape), load
    )
    same = np.ones(1)  # strength of 1 Pa: the use is the stress
    along, _ = utilisation(found, graph.segment_radius[path], same, same, np.full(1, np.inf))
    return np.asarray(along.max(axis=1), float)


def path_stress(graph: WoodGraph, node: int, place: Floats, force: Floats) -> float:
    """Largest stress of one point load (3,), as `path_stresses`. [Pa]"""
    return float(path_stresses(graph, node, place, force)[0])


def redirect_force(turn: float) -> float:
    """Force on a frictionless redirect over the rope's tension, 2 sin(turn / 2); turn = bend of the rope from
    straight. [rad]

    With theta the angle between the two legs this is 2 cos(theta / 2): 2 at 0, 1.41 at 90, 1 at 120 degrees
    (parallelogram of forces).
    """
    return float(2 * np.sin(turn / 2))
