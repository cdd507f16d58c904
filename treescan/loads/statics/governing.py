"""Which load, from which place, breaks which section first, and how sure is that?"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from treescan.estimate import Estimate
from treescan.loads.rope.configuration_loads import TOWARD_BASE, TOWARD_CLIMBER, ConfigurationLoads, eased
from treescan.loads.rope.rope_systems import SYSTEMS
from treescan.loads.settings import LOW, MIDDLE, LoadSettings, friction
from treescan.loads.statics.load_path import FIVE_PERCENT, LegLoads, LoadPath, forces, margin_case, used
from treescan.loads.statics.reliability import MarginCase, RopeFriction, sampled_reliability
from treescan.loads.statics.section_stress import SectionForces, cross, peaks, worst_mode
from treescan.loads.statics.structural_model import StructuralModel
from treescan.reason import Reason
from treescan.wood.graph import Floats

HOPELESS = 4.0
"""Wood used more than this many times over at the middle values is drawn as seldom as what catches: no draw
makes it an anchor."""


@dataclass(frozen=True)
class Governed:
    """The worst of all loads of one kind.

    Attributes
    ----------
    row : int                   Of the loads.
    legs : LegLoads             Of that row.
    forces : SectionForces      (1, s) under it.
    use : (s,) float            Median stress over strength under it.
    section : int               Row of the load path that governs; node : its graph node.
    mode : str                  As in `LimbCheck`.
    margin : Estimate           Strength over stress; overload : chance that stress exceeds strength.
    """

    row: int
    legs: LegLoads
    forces: SectionForces
    use: Floats
    section: int
    node: int
    mode: str
    margin: Estimate
    overload: float


def governed(
    tree: StructuralModel,
    loads: ConfigurationLoads,
    path: LoadPath,
    system: str,
    hardware: str,
    *,
    hard: bool = False,
) -> Governed:
    """The worst load in ordinary use, or (`hard`) in the exceptional cases.

    The load and section that are told are the worst at the middle values. The margin is that of the worst
    load in every draw: beside the told one, that which is worst at the low ends (another place of the climber
    may use a section whose size or whose lever is less sure), and, for a basal line judged without friction,
    the worst with all of it.
    """
    settings = tree.settings
    legs = loads.leg_forces(hard=hard)
    row, section, low_row, low_section = _worst(tree, loads, path, legs)
    counted = _friction(system, hardware, loads, row, settings)
    spread = loads.pulls.hard_spread if hard else loads.pulls.spread
    case, use = _case(tree, loads, path, legs[row], (row, section, spread[row]), counted)
    others = [(legs, low_row, low_section)] if low_row != row else []
    if SYSTEMS[system].basal and settings.basal_bound == "frictionless":
        uneven = eased(loads, hardware, settings, hard=hard)
        others.append((uneven, *_worst(tree, loads, path, uneven)[2:]))
    also = [_case(tree, loads, path, of[r], (r, s, spread[r]), counted)[0] for of, r, s in others]
    reported = gate(tree, path) is not None  # such wood may stand by a shell the formulas do not know
    z = tree.normals if use.max() <= HOPELESS else tree.few
    margin, overload = sampled_reliability(case, z, stands=settings.stands and not reported, also=also)
    told = LegLoads(loads.leg_point[row], legs[row])
    f = forces(path, told)
    stressing = f if path.round else forces(path, told, as_round=True)
    return Governed(
        row,
        told,
        f,
        use,
        section,
        int(path.node[section]),
        _mode(tree, path, stressing, section),
        margin,
        overload,
    )


def _case(
    tree: StructuralModel,
    loads: ConfigurationLoads,
    path: LoadPath,
    legs: Floats,
    governs: tuple[int, int, float],
    counted: RopeFriction,
) -> tuple[MarginCase, Floats]:
    """What is uncertain under one load, and the use of every section; governs: row of the load, row of the
    section, log standard deviation of the pull.

    The rope's place on the contact that governs is uncertain.
    """
    row, section, spread = governs
    load = LegLoads(loads.leg_point[row], legs)
    use = used(path, load)
    contact = int(np.flatnonzero(path.above[section])[-1])
    case = margin_case(tree, path, loads.contacts, load, contact, counted, use)
    return replace(case, mass_sd=float(np.hypot(case.mass_sd, spread))), use


def gate(tree: StructuralModel, path: LoadPath) -> Reason | None:
    """The reported defect that forbids the anchor, if there is one."""
    gates = tree.sections.reported.gate
    return next((gates[int(n)] for n in path.node if int(n) in gates), None) if gates else None


def _worst(
    tree: StructuralModel, loads: ConfigurationLoads, path: LoadPath, legs: Floats
) -> tuple[int, int, int, int]:
    """Load row and section (row of `path`) with the largest utilisation by `legs` (l, c, 2, 3): at the middle
    values, and at the low ends: thinner, weaker at unions, the rope further out."""
    force = legs[:, :, 0] + legs[:, :, 1]
    about = cross(loads.leg_point, legs).sum(axis=2)
    weight = -path.own_force[:, 2]
    out = FIVE_PERCENT * tree.settings.rest_sd * cross(np.array([c.axis for c in loads.contacts]), force)
    radius = np.stack([path.radius, path.radius * np.exp(-FIVE_PERCENT * path.sd)])
    strength = path.bending * path.k[:, [MIDDLE, LOW]].T
    largest, which = peaks(
        path.point,
        path.axis,
        radius,
        strength,
        path.crushing,
        path.shear,
        weight,
        path.own_moment,
        path.above,
        force,
        np.stack([about, about + out]),
        path.stretch,
    )
    middle, low = np.argmax(largest, axis=1).tolist()
    return int(which[0, middle]), middle, int(which[1, low]), low


def _mode(tree: StructuralModel, path: LoadPath, f: SectionForces, row: int) -> str:
    """What governs one section."""
    s, at = tree.sections, path.node[row]
    one = SectionForces(*(x[:, row : row + 1] for x in (f.axial, f.shear, f.bending, f.torsion)))
    fork = bool(s.fork[at] or s.k[at, MIDDLE] < 1.0)
    strength = float(path.bending[row] * s.k[at, MIDDLE])
    return worst_mode(
        one, float(s.radius[at]), strength, float(path.crushing[row]), float(path.shear[row]), fork
    )


def _friction(
    system: str, hardware: str, loads: ConfigurationLoads, row: int, settings: LoadSettings
) -> RopeFriction:
    """Turning between climber and each leg, and the friction range, where friction is counted in the
    check."""
    turns = np.zeros((len(loads.contacts), 2))
    if SYSTEMS[system].basal and settings.basal_bound == "friction":
        gain = np.cumsum(loads.turn[row][::-1])[::-1]
        turns[:, TOWARD_BASE] = gain
        turns[:-1, TOWARD_CLIMBER] = gain[1:]
    mu = np.array(friction(hardware, settings))
    return RopeFriction(turns.ravel(), mu, float(mu[LOW]))
