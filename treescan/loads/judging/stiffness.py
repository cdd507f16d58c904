"""How far does the tie-in point give way and turn, how does that load the wood, and how does it swing with
the climber?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from treescan.loads.rope.contacts import Contact
from treescan.loads.sections.bounce import Spring, amplified, tie_in_spring, two_masses
from treescan.loads.sections.deflection import chain, moment_about, settled
from treescan.loads.sections.section_stress import cross
from treescan.loads.settings import INSIDE, LoadSettings
from treescan.loads.statics.load_path import LegLoads, path_down
from treescan.loads.statics.structural_model import StructuralModel
from treescan.units import G
from treescan.wood.graph import Floats, Ints

LENGTHS = 24
"""Rope lengths tried on the way up, evenly from the longest to the shortest."""


@dataclass(frozen=True)
class Bounce:
    """The climber on rope and limb on the way up.

    limb : float            Lowest frequency of limb and climber if the rope did not stretch. [Hz]
    low, high : float       Lower frequency of both with the longest and with the shortest rope. [Hz]
    light, heavy : float    Largest amplification of the rhythm on the way with the least and the most
    damping.
    rigid : float           The same with the least damping, were the tie-in point rigid.
    rope : float            Length of rope at which `light` occurs. [m]
    """

    limb: float
    low: float
    high: float
    light: float
    heavy: float
    rigid: float
    rope: float


@dataclass(frozen=True)
class Swinging:
    """What swings with the climber on the way up.

    points (k, 3), radius (k,), mass (k,), modulus : the limb, as of `tie_in_spring`.
    multiple : float    Force on the union over the climber's pull.
    strands : int       That end at the climber.
    longest : float     Rope, down to the ground. [m]
    settings : LoadSettings
    """

    points: Floats
    radius: Floats
    mass: Floats
    modulus: tuple[float, float]
    multiple: float
    strands: int
    longest: float
    settings: LoadSettings


@dataclass(frozen=True)
class Stiffness:
    """How far the rope's place on the union gives way (sag, [m]) and turns (slope_change, [rad]) at most under
    the loads that may govern; lively : bool, more than the settings call stiff; growth : float, moment at the
    governing section in the bent shape over that in the straight one, at least 1; swinging : Swinging."""

    sag: float
    slope_change: float
    lively: bool
    growth: float
    swinging: Swinging

    @cached_property
    def bounce(self) -> Bounce:
        """The swinging on the way up; worked out when it is first asked for."""
        return _bounce(self.swinging)


def is_lively(sag: float, slope_change: float, settings: LoadSettings) -> bool:
    """Whether the rope's place gives way [m] or turns [rad] by more than is called stiff."""
    return bool(sag > settings.lively or slope_change > np.deg2rad(settings.lively_deg))


def stiffness(
    tree: StructuralModel,
    contacts: Sequence[Contact],
    legs: Sequence[LegLoads],
    node: int,
    rope: tuple[float, int],
) -> Stiffness:
    """Displacement, change of slope and swinging of the rope's place on the union: the most of each under some loads.

    Parameters
    ----------
    legs : LegLoads each        The load that governs and those that may be worse in a draw.
    node : int                  Graph node of the governing section.
    rope : (float, int)         Force on the union over the climber's pull; strands that end at the climber.

    Notes
    -----
    Wood inside bark gives the stiffness, whatever section the strength is told on; a hollow keeps the same
    share of the second moment as of the section modulus, 1 - (1 - t/R)^4. Where the tie-in turns by more than
    `turn_iterated` the shape is found anew from the bent one, the loads going with it.
    """
    g, settings, top = tree.graph, tree.settings, contacts[-1]
    path, points, radius, mass = _limb_to(tree, top)
    modulus = tree.wood.moe, tree.wood.moe * settings.shear_modulus_share
    row, worst = int(np.argmax(path == node)), (0.0, 0.0, 1.0)
    for load in legs:
        pulled = *_at_points(g.parent, path, points, contacts, load), modulus
        worst = tuple(np.maximum(worst, _bent(points, radius, pulled, row, settings)).tolist())
    sag, slope_change, growth = worst
    longest = float(top.point[2] - tree.ground_below(top.point))
    swinging = Swinging(points, radius, mass, modulus, *rope, longest, settings)
    return Stiffness(sag, slope_change, is_lively(sag, slope_change, settings), growth, swinging)


def _limb_to(tree: StructuralModel, top: Contact) -> tuple[Ints, Floats, Floats, Floats]:
    """Nodes (k,), points (k, 3) and radii (k,) of the limb from the ground to a contact, and the wood that moves with each (k,) [kg];
    looked up where it was laid out before."""
    g, s, settings, share = tree.graph, tree.sections, tree.settings, tree.wood.bark_share
    key = ("limb to", top.node, *top.point.tolist(), settings.section, share)
    found: tuple[Ints, Floats, Floats, Floats] | None = s.kept.get(key)
    if found is None:
        path = path_down(g.parent, top.node)[::-1]
        points = np.vstack([g.xyz[path[:-1]], top.point[None]])
        radius = s.radius[path] * (1.0 if settings.section == INSIDE else 1.0 - share)
        radius[~np.isfinite(radius)] = np.nanmax(radius)
        radius *= s.reported.keep[path] ** 0.25  # the full round of the same second moment
        carried = s.weight[path] / G
        mass = np.maximum(carried - np.append(carried[1:], 0.0), 0.0)
        found = s.kept[key] = path, points, radius, mass
    return found


def _bent(
    points: Floats,
    radius: Floats,
    pulled: tuple[Floats, Floats, tuple[float, float]],
    row: int,
    settings: LoadSettings,
) -> tuple[float, float, float]:
    """Way of the rope's place [m], its turn [rad] and growth of the moment at segment `row`; pulled : forces and
    moments at the points, moduli of the wood."""
    force, moment, modulus = pulled
    u, turn = chain(points, radius, force, moment, *modulus)
    sag, slope_change = float(np.linalg.norm(u)), float(np.linalg.norm(turn))
    if slope_change <= settings.turn_iterated:
        return sag, slope_change, 1.0
    bent, slope_change = settled(points, radius, force, moment, *modulus)
    sag = float(np.linalg.norm(bent[-1] - points[-1]))
    if slope_change > settings.turn_refused:  # told as a straight beam, and refused
        return sag, slope_change, 1.0
    return sag, slope_change, _growth(points, bent, force, moment, row)


def _at_points(
    parent: np.ndarray, path: np.ndarray, points: Floats, contacts: Sequence[Contact], legs: LegLoads
) -> tuple[Floats, Floats]:
    """Forces and moments of the rope's legs at the points of one way up, (k, 3) each. [N], [N m]"""
    force, moment = np.zeros((len(path), 3)), np.zeros((len(path), 3))
    for i, c in enumerate(contacts):
        j = len(path) - 1
        if i < len(contacts) - 1:  # where the other limb leaves this way to the ground
            j = max(int(np.isin(path, path_down(parent, c.node)).sum()) - 2, 0)
        force[j] += legs.force[i].sum(axis=0)
        moment[j] += cross(legs.point[i] - points[j], legs.force[i]).sum(axis=0)
    return force, moment


def _growth(points: Floats, bent: Floats, force: Floats, moment: Floats, row: int) -> float:
    """Moment at the foot of segment `row` in the bent shape over that in the straight one, at least 1."""
    at = max(row - 1, 0)
    before, after = (
        float(np.linalg.norm(moment_about(p[at], p[at + 1 :], force[at + 1 :], moment[at + 1 :])))
        for p in (points, bent)
    )
    return max(after / before, 1.0) if before > 0 else 1.0


def _bounce(of: Swinging) -> Bounce:
    """The climber's swinging on the way up from the ground to just below the tie-in point."""
    settings, shortest = of.settings, of.settings.shortest_rope
    spring = tie_in_spring(of.points, of.radius, of.mass, *of.modulus, np.array([0.0, 0.0, -1.0]))
    limb = spring.geared(max(of.multiple, 0.1))
    length = np.linspace(max(of.longest, shortest), shortest, LENGTHS)
    rope, climber = of.strands * settings.rope_modulus / length, settings.climber_mass
    low, _ = two_masses(limb, rope, climber)
    cadence = np.linspace(settings.cadence[0], settings.cadence[-1], LENGTHS)
    light, heavy = (
        amplified(limb, rope, climber, cadence, z) for z in (settings.damping[0], settings.damping[-1])
    )
    still = Spring(1e9, limb.mass)
    rigid = amplified(still, rope, climber, cadence, settings.damping[0])
    return Bounce(
        float(np.sqrt(limb.stiffness / (limb.mass + climber)) / (2 * np.pi)),
        float(low[0]),
        float(low[-1]),
        float(light.max()),
        float(heavy.max()),
        float(rigid.max()),
        float(length[light.max(axis=1).argmax()]),
    )
