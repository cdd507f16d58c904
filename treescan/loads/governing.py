"""Which load, from which place, breaks which section first, and how sure is that?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from treescan.estimate import Estimate
from treescan.loads.load_path import LegLoads, LoadPath, Tree, forces, margin_case, used
from treescan.loads.rig_loads import RigLoads
from treescan.loads.rope_systems import SYSTEMS
from treescan.loads.section_stress import SectionForces, cross, peaks, worst_mode
from treescan.loads.settings import LoadSettings, friction
from treescan.loads.uncertainty import drawn
from treescan.wood.graph import Floats


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


def governed(tree: Tree, loads: RigLoads, path: LoadPath, system: str, hardware: str, *, hard: bool = False) -> Governed:
    """The worst load in ordinary use, or (`hard`) in the exceptional cases."""
    row, section = _worst(tree, loads, path, hard=hard)
    legs = LegLoads(loads.leg_point[row], loads.leg_forces(hard=hard)[row])
    turns, mu = _friction_turns(system, hardware, loads, row, tree.settings)
    return under(tree, loads, path, legs, turns, mu, row, section)


def under(
    tree: Tree, loads: RigLoads, path: LoadPath, legs: LegLoads, turns: Floats, mu: Floats, row: int, section: int
) -> Governed:
    """Forces, mode and margin under one load; the rope's place on the governing contact is uncertain."""
    f = forces(tree, path, legs)
    stressing = f if path.round else forces(tree, path, legs, as_round=True)
    use = used(tree, path, stressing)
    contact = int(np.flatnonzero(path.above[section])[-1])
    case = margin_case(tree, path, loads.contacts, legs, contact, turns, mu, float(mu[0]), use)
    reported = bool(gate(tree, path))  # such wood may stand by a shell the formulas do not know
    margin, overload = drawn(case, tree.normals, stands=tree.settings.stands and not reported)
    return Governed(row, legs, f, use, section, int(path.node[section]), _mode(tree, path, stressing, section), margin, overload)


def gate(tree: Tree, path: LoadPath) -> str:
    """Why a reported defect forbids the anchor, or nothing."""
    gates = tree.sections.reported.gate
    return next((gates[int(n)] for n in path.node if int(n) in gates), "")


def _worst(tree: Tree, loads: RigLoads, path: LoadPath, *, hard: bool) -> tuple[int, int]:
    """Load row and section (row of `path`) with the largest utilisation."""
    s, node = tree.sections, path.node
    legs = loads.leg_forces(hard=hard)
    about = cross(loads.leg_point, legs).sum(axis=2)
    largest, which = peaks(
        s.point[node], s.axis[node], s.radius[node], path.bending * s.k[node, 1], path.crushing, path.shear, s.weight[node],
        s.own_moment[node], path.above, legs.sum(axis=2), about, path.stretch,
    )  # fmt: skip
    section = int(np.argmax(largest))
    return int(which[section]), section


def _mode(tree: Tree, path: LoadPath, f: SectionForces, row: int) -> str:
    """What governs one section."""
    s, at = tree.sections, path.node[row]
    one = SectionForces(*(x[:, row : row + 1] for x in (f.axial, f.shear, f.bending, f.torsion)))
    fork = bool(s.fork[at] or s.k[at, 1] < 1.0)
    strength = float(path.bending[row] * s.k[at, 1])
    return worst_mode(one, float(s.radius[at]), strength, float(path.crushing[row]), float(path.shear[row]), fork)


def _friction_turns(system: str, hardware: str, loads: RigLoads, row: int, settings: LoadSettings) -> tuple[Floats, Floats]:
    """Turning between climber and each leg, and the friction range, where friction is counted in the check."""
    turns = np.zeros((len(loads.contacts), 2))
    if SYSTEMS[system].basal and settings.basal_bound == "friction":
        gain = np.cumsum(loads.turn[row][::-1])[::-1]
        turns[:, 0] = gain
        turns[:-1, 1] = gain[1:]
    return turns.ravel(), np.array(friction(hardware, settings))
