"""Which load, from which place, breaks which section first, and how sure is that?"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from treescan.estimate import Estimate
from treescan.loads.chance.overload_chance import overload_chance
from treescan.loads.chance.reliability import MarginCase, RopeFriction, sampled_reliability, section_draws
from treescan.loads.rope.configuration_loads import TOWARD_BASE, TOWARD_CLIMBER, ConfigurationLoads, eased
from treescan.loads.rope.rope_systems import SYSTEMS
from treescan.loads.sections.section_stress import SectionForces, cross, section_forces, worst_mode
from treescan.loads.settings import LOW, MIDDLE, LoadSettings, friction
from treescan.loads.statics.case_kernel import worst_rows
from treescan.loads.statics.load_path import FIVE_PERCENT, LegLoads, LoadPath, forces, margin_case, used
from treescan.loads.statics.splitting import SPLITS, worst_split
from treescan.loads.statics.structural_model import StructuralModel
from treescan.reason import Reason
from treescan.wood.graph import Floats

HOPELESS = 4.0
"""Wood used more than this many times over at the middle values is drawn as seldom as what catches: no draw
makes it an anchor."""

TORSION = "torsion"
"""Mode of a section that is twisted off."""

SAME_PLANE = np.deg2rad(30.0)
"""Loads that bend a section in planes no further apart are proven by one test (project choice)."""


@dataclass(frozen=True)
class Governed:
    """The worst of all loads of one kind.

    Attributes
    ----------
    row : int                   Of the loads.
    legs : LegLoads             Of that row; beside : of the others that may be worse in a draw.
    path : LoadPath             The sections looked at.
    use : (s,) float            Median stress over strength under it.
    section : int               Row of the load path that governs; node : its graph node.
    mode : str                  As in `LimbCheck`, or `SPLITS`.
    margin : Estimate           Strength over stress.
    cases : tuple of MarginCase     That load first, then the others.
    in_plane : tuple of bool    Of those others: they bend section `section` in the plane of the first.
    standing : bool             Draws in which the tree could not stand are left out.
    own_moment, rope_moment : (3,)  Of section `section` by the own weight and by the rope: what bends it, or what
        twists it where torsion governs. [N m]
    tree : StructuralModel      That it was judged on.
    counted : float             Share of the draws in which stress exceeds strength.
    looked_at : tuple           Loads on sound wood and then on weakened, as `cases`: the chance of overload is looked at in the
        tails of each; () where the draws see it well enough.
    """

    row: int
    legs: LegLoads
    beside: tuple[LegLoads, ...]
    path: LoadPath
    use: Floats
    section: int
    node: int
    mode: str
    margin: Estimate
    cases: tuple[MarginCase, ...]
    in_plane: tuple[bool, ...]
    standing: bool
    own_moment: Floats
    rope_moment: Floats
    tree: StructuralModel
    counted: float
    looked_at: tuple[tuple[MarginCase, ...], ...]

    @cached_property
    def forces(self) -> SectionForces:
        """Of all sections under that row, (1, s)."""
        return forces(self.path, self.legs)

    @cached_property
    def overload(self) -> float:
        """Chance that stress exceeds strength; worked out when it is first asked for, which of wood that is only tried nobody does."""
        if not self.looked_at:
            return self.counted
        key = ("overload", self.standing, tuple(tuple(c.key for c in cases) for cases in self.looked_at))

        def chance(bare: StructuralModel) -> float:
            widened = bare.widened[: len(bare.few)]
            return max(overload_chance(section_draws(cases, bare.few, widened, stands=self.standing)) for cases in self.looked_at)

        return self.tree.once(key, chance)

    @cached_property
    def key(self) -> tuple[object, ...]:
        """All of the loads and of the wood they were judged on, to be compared."""
        cases = tuple(tuple(c.key for c in of) for of in (self.cases, *self.looked_at))
        moments = self.own_moment.tobytes(), self.rope_moment.tobytes()
        margin = self.margin.median, self.margin.p5, self.margin.p95, self.counted
        return (cases, self.in_plane, self.standing, self.node, self.mode, *moments, *margin)


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
    may use a section whose size or whose lever is less sure), those which are worst at either of both at
    the hard end of the pull, and, for a basal line judged without friction, the worst with all of it.
    Looked up where the same loads were judged before on the same wood.
    """
    rigged = (system, hardware) if SYSTEMS[system].basal else ()  # elsewhere nothing of them is read
    key = ("governed", *rigged, hard, path.node.tobytes(), *(loads.hard_key if hard else loads.key))
    return tree.once(key, lambda bare: _governed(bare, loads, path, system, hardware, hard))


def _governed(
    tree: StructuralModel, loads: ConfigurationLoads, path: LoadPath, system: str, hardware: str, hard: bool
) -> Governed:
    settings = tree.settings
    legs = loads.leg_forces(hard=hard)
    row, section, low_row, low_section = _worst(tree, loads, path, legs)
    counted = _friction(system, hardware, loads, row, settings)
    spread = loads.pulls.hard_spread if hard else loads.pulls.spread
    case, use = _case(tree, loads, path, legs[row], (row, section, spread[row]), counted)
    worst = [(row, section), (low_row, low_section)]
    if np.ptp(spread) > 0:  # a pull that is drawn may be the worse one at its hard end
        hard_end = legs * np.exp(FIVE_PERCENT * spread)[:, None, None, None]
        at_the_end = _worst(tree, loads, path, hard_end)
        worst += [at_the_end[:2], at_the_end[2:]]
    others = [(legs, *at) for at in _unlike(path, worst)[1:]]
    if SYSTEMS[system].basal and settings.basal_bound == "frictionless":
        uneven = eased(loads, hardware, settings, hard=hard)
        others.append((uneven, *_worst(tree, loads, path, uneven)[2:]))
    also = [_case(tree, loads, path, of[r], (r, s, spread[r]), counted)[0] for of, r, s in others]
    reported = gate(tree, path) is not None  # such wood may stand by a shell the formulas do not know
    seldom, standing, cases = bool(use.max() > HOPELESS), settings.stands and not reported, (case, *also)
    margin, counted_share = tree.once(
        ("sampled", seldom, standing, tuple(c.key for c in cases)),
        lambda bare: sampled_reliability(
            case, bare.few if seldom else bare.normals, stands=standing, also=also, low_share=bare.low_share
        ),
    )
    told = LegLoads(loads.leg_point[row], legs[row])
    beside = tuple(LegLoads(loads.leg_point[r], of[r]) for of, r, _ in others)
    mode = _mode(tree, path, told, section)
    found = Governed(
        row,
        told,
        beside,
        path,
        use,
        section,
        int(path.node[section]),
        mode,
        margin,
        cases,
        tuple(_in_plane(path, section, told, other) for other in beside),
        standing,
        *_moments(path, section, told, mode),
        tree,
        counted_share,
        (cases,) if margin.known and margin.median > 1.0 else (),
    )
    return _split(tree, path, found, loads.leg_point, legs)


def _split(
    tree: StructuralModel, path: LoadPath, found: Governed, leg_point: Floats, legs: Floats
) -> Governed:
    """The same where a bend of the way splits before anything breaks: strength over stress is less by as much as
    its use is more."""
    use, row = worst_split(tree, path, leg_point, legs)
    more = use / float(found.use[found.section])
    if not more > 1.0:
        return found
    out = replace(weakened(found, more), section=row, node=int(path.node[row]), mode=SPLITS)
    own, rope = _moments(path, row, found.legs, SPLITS)
    return replace(out, margin=found.margin.over(more), own_moment=own, rope_moment=rope)


def weakened(use: Governed, factor: float) -> Governed:
    """The same loads on wood that bears so many times less: cases and chance; the margin stays for the caller to set."""
    cases = tuple(
        replace(c, bending=c.bending / factor, crushing=c.crushing / factor, shear=c.shear / factor)
        for c in use.cases
    )
    seldom = use.margin.known and use.margin.median > factor
    return replace(use, cases=cases, looked_at=(*use.looked_at, cases) if seldom else use.looked_at)


def rope_moment_at(path: LoadPath, section: int, load: LegLoads) -> Floats:
    """Moment of the rope about one section, (3,). [N m]"""
    at = path.above[section]
    return np.asarray(cross(load.point[at] - path.point[section], load.force[at]).sum(axis=(0, 1)), float)


def _moments(path: LoadPath, section: int, told: LegLoads, mode: str) -> tuple[Floats, Floats]:
    """Moments (3,) of one section by the own weight and by the rope: along its axis where torsion governs, else across."""
    moments = path.own_moment[section], rope_moment_at(path, section, told)
    bend = tuple(_across(path, section, m) for m in moments)
    if mode != TORSION:
        return bend[0], bend[1]
    return moments[0] - bend[0], moments[1] - bend[1]


def _across(path: LoadPath, section: int, moment: Floats) -> Floats:
    """The part of a moment (3,) that bends a section, without the twist."""
    axis = path.axis[section]
    return np.asarray(moment - (moment @ axis) * axis, float)


def _in_plane(path: LoadPath, section: int, first: LegLoads, second: LegLoads) -> bool:
    """True where two loads bend a section in about the same plane and to the same side."""
    own = path.own_moment[section]
    a, b = (_across(path, section, own + rope_moment_at(path, section, load)) for load in (first, second))
    size = float(np.linalg.norm(a) * np.linalg.norm(b))
    return size > 0 and float(a @ b) >= np.cos(SAME_PLANE) * size


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
    contact = _last_contact(path, section)
    case = margin_case(tree, path, loads.contacts, load, contact, counted, use)
    return replace(case, mass_sd=float(np.hypot(case.mass_sd, spread))), use


def _last_contact(path: LoadPath, section: int) -> int:
    """The contact nearest the anchor of those whose pull the section bears: its place is the uncertain one."""
    return int(np.flatnonzero(path.above[section])[-1])


def _unlike(path: LoadPath, worst: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """Loads (row of the load, row of the section) without those that are judged alike: a case draws every
    section under one load, so two are alike with the same load and the same uncertain contact."""
    alike: dict[tuple[int, int], tuple[int, int]] = {}
    for load, section in worst:
        alike.setdefault((load, _last_contact(path, section)), (load, section))
    return list(alike.values())


def gate(tree: StructuralModel, path: LoadPath) -> Reason | None:
    """The reported defect that forbids the anchor, if there is one."""
    gates = tree.sections.reported.gate
    return next((gates[int(n)] for n in path.node if int(n) in gates), None) if gates else None


def _worst(
    tree: StructuralModel, loads: ConfigurationLoads, path: LoadPath, legs: Floats
) -> tuple[int, int, int, int]:
    """Load row and section (row of `path`) with the largest utilisation by `legs` (l, c, 2, 3): at the middle
    values, and at the low ends: thinner, weaker at unions, the rope further out, the kind of
    section that scatters more."""
    along = np.array([c.axis for c in loads.contacts])
    row, section, low_row, low_section = worst_rows(
        path.point, path.axis, *path.states, path.crushing, path.shear, path.own_force, path.own_moment,
        path.above, loads.leg_point, legs, along, FIVE_PERCENT * tree.settings.rest_sd, path.stretch,
    )  # fmt: skip
    return int(row), int(section), int(low_row), int(low_section)


def _mode(tree: StructuralModel, path: LoadPath, load: LegLoads, row: int) -> str:
    """What governs one section."""
    s, at, here = tree.sections, path.node[row], slice(row, row + 1)
    one = section_forces(
        path.point[here],
        path.axis[here],
        np.repeat(path.above[here], 2, axis=1),
        load.point.reshape(1, -1, 3),
        load.force.reshape(1, -1, 3),
        path.own_force[here],
        path.own_moment[here],
        None if path.round else path.stretch[here],
    )
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
    if not SYSTEMS[system].basal:
        return RopeFriction.none(2 * len(loads.contacts))
    turns = np.zeros((len(loads.contacts), 2))
    if settings.basal_bound == "friction":
        gain = np.cumsum(loads.turn[row][::-1])[::-1]
        turns[:, TOWARD_BASE] = gain
        turns[:-1, TOWARD_CLIMBER] = gain[1:]
    mu = np.array(friction(hardware, settings))
    return RopeFriction(turns.ravel(), mu, float(mu[LOW]))
