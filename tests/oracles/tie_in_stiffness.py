"""How stiff is the limb where the rope lies, how does limb with climber swing, and how much does his rhythm
add?

Beam finite elements of my own (two nodes, Euler-Bernoulli, 12 degrees of freedom, round sections taken at the
element's middle) along a chain of points from a clamped foot; mass consistent with the same shape functions.
Stiffness in a direction d at node i: k = 1 / (d . C d), C the flexibility block of the node's translations.
Effective mass of a mode: k / omega^2.

Frequencies. The climber hangs on his rope, so along the rope there are two masses in a row: limb (m_l on k_l)
and climber (m on the rope's k_r). `two_masses` gives both frequencies; a rope without stretch (k_r = inf)
leaves one: sqrt(k_l / (m_l + m)); a limb without mass the climber's bounce on both springs in series,
sqrt(k_l k_r / (k_l + k_r) / m). Across the rope the climber hardly moves with the limb: m_l alone.

Amplification of a harmonic force of frequency f on one degree of freedom, damping ratio z, r = f / f_n (Den
Hartog 1956, Mechanical Vibrations, ch. 2; memory):
    movement  D = 1 / sqrt((1 - r^2)^2 + (2 z r)^2),    force on the foot (limb)  D sqrt(1 + (2 z r)^2).
A climber's peak / W = 1 + a D, where a is the harmonic's own share; measured 1.1 to 1.5 already contains D of
the trees measured (Kane & Arwade 2022, Arboric. Urban For. 48(6):309).

Large turning: `elastica` solves the clamped limb with a plumb load at its tip exactly (scipy solve_bvp,
E I th'' = P cos th). To first order a limb that rises by `up` has (2 / 3) turn tan(up) more moment at its
foot than the beam in its unbent place says: 7 % at 0.1 rad and 45 degrees, 20 % at 0.3 rad (tests); a level
one has a little less. Published check values: Mattiasson 1981, Int. J. Numer. Meth. Eng. 17:145 (memory).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy.integrate import solve_bvp
from scipy.linalg import eigh

G = 9.80665


class Chain(NamedTuple):
    """Assembled limb: nodes (n, 3), stiffness and mass (6 n, 6 n), free degrees of freedom."""

    points: np.ndarray
    stiffness: np.ndarray
    mass: np.ndarray
    free: np.ndarray


def _element(length, radius, e_mod, g_mod, density):
    area, inertia = np.pi * radius**2, np.pi * radius**4 / 4
    polar = 2 * inertia
    k = np.zeros((12, 12))
    m = np.zeros((12, 12))
    ax, tor = e_mod * area / length, g_mod * polar / length
    for i, v in ((0, ax), (3, tor)):
        k[np.ix_([i, i + 6], [i, i + 6])] = v * np.array([[1, -1], [-1, 1]])
    own, spin = density * area * length, density * polar * length
    for i, v in ((0, own), (3, spin)):
        m[np.ix_([i, i + 6], [i, i + 6])] = v / 6 * np.array([[2, 1], [1, 2]])
    ei = e_mod * inertia
    bend = (
        ei
        / length**3
        * np.array(
            [
                [12, 6 * length, -12, 6 * length],
                [6 * length, 4 * length**2, -6 * length, 2 * length**2],
                [-12, -6 * length, 12, -6 * length],
                [6 * length, 2 * length**2, -6 * length, 4 * length**2],
            ]
        )
    )
    sway = (
        own
        / 420
        * np.array(
            [
                [156, 22 * length, 54, -13 * length],
                [22 * length, 4 * length**2, 13 * length, -3 * length**2],
                [54, 13 * length, 156, -22 * length],
                [-13 * length, -3 * length**2, -22 * length, 4 * length**2],
            ]
        )
    )
    for idx, sign in (((1, 5, 7, 11), 1.0), ((2, 4, 8, 10), -1.0)):
        s = np.array([1, sign, 1, sign])
        k[np.ix_(idx, idx)] += bend * np.outer(s, s)
        m[np.ix_(idx, idx)] += sway * np.outer(s, s)
    return k, m


def chain(points, diameters, e_mod, *, density=900.0, shear_ratio=1 / 16, point_masses=()):
    """Limb as a chain of beams, clamped at points[0].

    Parameters
    ----------
    points (n, 3), diameters (n,) : m.   e_mod : green modulus of elasticity, Pa.   density : green, kg/m3.
    shear_ratio : G / E.   point_masses : (node, kg) of side limbs, leaves, gear.
    """
    p = np.asarray(points, float)
    d = np.asarray(diameters, float)
    n = len(p)
    k, m = np.zeros((6 * n, 6 * n)), np.zeros((6 * n, 6 * n))
    for i in range(n - 1):
        axis = p[i + 1] - p[i]
        length = np.linalg.norm(axis)
        x = axis / length
        y = np.cross((0, 0, 1) if abs(x[2]) < 0.9 else (1, 0, 0), x)
        y /= np.linalg.norm(y)
        turn = np.kron(np.eye(4), np.array([x, y, np.cross(x, y)]))
        ke, me = _element(length, (d[i] + d[i + 1]) / 4, e_mod, e_mod * shear_ratio, density)
        at = np.r_[6 * i : 6 * i + 12]
        k[np.ix_(at, at)] += turn.T @ ke @ turn
        m[np.ix_(at, at)] += turn.T @ me @ turn
    for node, kg in point_masses:
        m[range(6 * node, 6 * node + 3), range(6 * node, 6 * node + 3)] += kg
    return Chain(p, k, m, np.arange(6, 6 * n))


def stiffness_at(limb, node, direction=(0, 0, -1)):
    """Force per movement (N/m) at a node along a direction, and the turning (rad) of that node per newton."""
    d = np.asarray(direction, float) / np.linalg.norm(direction)
    load = np.zeros(len(limb.stiffness))
    load[6 * node : 6 * node + 3] = d
    u = np.zeros_like(load)
    u[limb.free] = np.linalg.solve(limb.stiffness[np.ix_(limb.free, limb.free)], load[limb.free])
    return 1 / (u[6 * node : 6 * node + 3] @ d), float(np.linalg.norm(u[6 * node + 3 : 6 * node + 6]))


def limb_modes(limb, node, *, rider=0.0, count=3):
    """Lowest natural frequencies (Hz) of the limb with `rider` kg fixed to a node."""
    m = limb.mass.copy()
    at = range(6 * node, 6 * node + 3)
    m[at, at] += rider
    f = limb.free
    values = eigh(
        limb.stiffness[np.ix_(f, f)], m[np.ix_(f, f)], eigvals_only=True, subset_by_index=[0, count - 1]
    )
    return np.sqrt(np.maximum(values, 0)) / 2 / np.pi


def effective_mass(limb, node, direction=(0, 0, -1)):
    """Mass (kg) which on the spring k of `stiffness_at` has the kinetic energy of the limb in the shape of
    that load.
    """
    d = np.asarray(direction, float) / np.linalg.norm(direction)
    load = np.zeros(len(limb.stiffness))
    load[6 * node : 6 * node + 3] = d
    f = limb.free
    u = np.linalg.solve(limb.stiffness[np.ix_(f, f)], load[f])
    at = u[6 * node - 6 : 6 * node - 3] @ d
    return float(u @ limb.mass[np.ix_(f, f)] @ u / at**2)


def two_masses(k_limb, m_limb, k_rope, m_climber):
    """Both natural frequencies (Hz) of limb and climber in a row."""
    if np.isinf(k_rope):
        return np.array([np.sqrt(k_limb / (m_limb + m_climber)) / 2 / np.pi, np.inf])
    k = np.array([[k_limb + k_rope, -k_rope], [-k_rope, k_rope]])
    return np.sqrt(eigh(k, np.diag([m_limb, m_climber]), eigvals_only=True)) / 2 / np.pi


def amplification(cadence, natural, damping):
    """(movement, force on the support) per static, at one frequency (Hz)."""
    r = np.asarray(cadence, float) / natural
    d = 1 / np.sqrt((1 - r**2) ** 2 + (2 * damping * r) ** 2)
    return d, d * np.sqrt(1 + (2 * damping * r) ** 2)


def amplification_by_motion(cadence, natural, damping, cycles=60):
    """The same movement, from integrating x'' + 2 z w x' + w^2 x = w^2 sin(2 pi f t) until it is steady."""
    from scipy.integrate import solve_ivp

    w, q = 2 * np.pi * natural, 2 * np.pi * cadence
    end = cycles / min(cadence, natural)
    run = solve_ivp(
        lambda t, y: [y[1], w * w * (np.sin(q * t) - y[0]) - 2 * damping * w * y[1]],
        (0, end),
        [0, 0],
        rtol=1e-8,
        atol=1e-10,
        max_step=0.02 / max(cadence, natural),
    )
    return float(np.abs(run.y[0, run.t > 0.8 * end]).max())


def amplified_limb(limb, node, k_rope, m_climber, force, cadence, damping, direction=(0, 0, -1)):
    """Peak movement (m) of the tie-in under a harmonic force (N) of the climber on his rope, two masses,
    modal damping.

    The climber pushes himself up: the force acts on his mass; the rope carries it to the limb.
    """
    k_l, _ = stiffness_at(limb, node, direction)
    m_l = effective_mass(limb, node, direction)
    k = np.array([[k_l + k_rope, -k_rope], [-k_rope, k_rope]])
    values, shapes = eigh(k, np.diag([m_l, m_climber]))
    q = 2 * np.pi * cadence
    z = sum(
        shapes[:, i] * (shapes[1, i] * force) / (values[i] - q**2 + 2j * damping * np.sqrt(values[i]) * q)
        for i in range(2)
    )
    return float(abs(z[0]))


def elastica(length, ei, load, slope=0.0):
    """Exact tip of a clamped uniform limb, `slope` rad above level at its foot, with a plumb load (N, down)
    at its tip.

    Returns (tip x, tip z relative to the foot, turning of the tip in rad, moment at the foot in N m).
    E I th''(s) = load cos th, th(0) = slope, th'(L) = 0 (th above level; the load turns it down).
    """
    s = np.linspace(0, length, 101)

    def rhs(_, y):
        return np.array([y[1], load * np.cos(y[0]) / ei, np.cos(y[0]), np.sin(y[0])])

    def ends(a, b):
        return np.array([a[0] - slope, b[1], a[2], a[3]])

    y = np.array([np.full_like(s, slope), np.zeros_like(s), s * np.cos(slope), s * np.sin(slope)])
    for share in (0.25, 0.5, 0.75, 1.0):  # step the load up

        def part(x, v, share=share):
            return np.array([v[1], share * load * np.cos(v[0]) / ei, np.cos(v[0]), np.sin(v[0])])

        out = solve_bvp(part, ends, s, y, tol=1e-8, max_nodes=20000)
        s, y = out.x, out.y
    if not out.success:
        raise ValueError(out.message)
    return y[2, -1], y[3, -1], float(slope - y[0, -1]), float(-ei * y[1, 0])
