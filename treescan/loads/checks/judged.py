"""What do the loads of one configuration do to the wood? Everything the verdict, the notes and the failure
chain are read from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from treescan.loads.checks.rope_slip import RopeSlip
from treescan.loads.limb_check import AnchorConfiguration, Exceptional
from treescan.loads.rope.configuration_loads import ConfigurationLoads
from treescan.loads.rope.contacts import Contact, at_node, middle, union_contact, via_contact
from treescan.loads.rope.rope_systems import SYSTEMS
from treescan.loads.settings import INSIDE, LoadSettings
from treescan.loads.statics.deflection import chain
from treescan.loads.statics.governing import Governed, gate, governed
from treescan.loads.statics.load_path import LegLoads, LoadPath, load_path, path_down
from treescan.loads.statics.section_stress import cross
from treescan.loads.statics.structural_model import StructuralModel
from treescan.reason import Reason
from treescan.units import G


@dataclass(frozen=True)
class Stiffness:
    """How far the rope's place on the union gives way (sag, [m]) and turns (slope_change, [rad]) under the
    governing load; lively : bool, more than the settings call stiff."""

    sag: float
    slope_change: float
    lively: bool


@dataclass(frozen=True)
class Judged:
    """One configuration under its loads.

    Attributes
    ----------
    contacts : tuple of Contact     Rope order from the base up; the union's is row `union`.
    loads : ConfigurationLoads; path : LoadPath     Of these contacts.
    use : Governed                  The worst of ordinary use.
    shock : Governed or None        The worst of the exceptional cases; None where none was asked for.
    exceptional : Exceptional or None   The same as it is told.
    stiffness : Stiffness
    slip : RopeSlip or None         Where the rope came to rest, if it did not stay where it was laid.
    gate : Reason or None           The reported defect that forbids the anchor.
    """

    tree: StructuralModel
    configuration: AnchorConfiguration
    contacts: tuple[Contact, ...]
    union: int
    loads: ConfigurationLoads
    path: LoadPath
    use: Governed
    shock: Governed | None
    exceptional: Exceptional | None
    stiffness: Stiffness
    slip: RopeSlip | None
    gate: Reason | None

    @property
    def hardest(self) -> Governed:
        """What breaks it is the hardest case."""
        return self.shock or self.use

    @property
    def misread(self) -> bool:
        """True where the wood stands but could not, as measured, and no report explains it."""
        return self.gate is None and could_not_stand(self.tree, self.use)


def contacts_of(tree: StructuralModel, configuration: AnchorConfiguration) -> tuple[Contact, ...]:
    """Contacts in rope order: supports from the base up, the union, limbs under the climber's leg; the one
    next to the climber last."""
    g = tree.graph
    found: list[Contact] = [union_contact(g, configuration)]
    base = np.asarray(configuration.base, float)
    if SYSTEMS[configuration.system].basal:
        for node in configuration.via:
            found.append(via_contact(g, int(node), found[-1].point, base))
    beyond = [at_node(g, int(n), middle(g, int(n))) for n in configuration.beyond]
    return (*found[::-1], *beyond)


def judged(
    tree: StructuralModel,
    configuration: AnchorConfiguration,
    loads: ConfigurationLoads,
    slip: RopeSlip | None,
) -> Judged:
    """The configuration under all its loads."""
    path, union = load_path(tree, loads.contacts), len(loads.contacts) - 1 - len(configuration.beyond)
    use = governed(tree, loads, path, configuration.system, configuration.hardware)
    tried = bool((loads.pulls.hard > 0).any())
    shock = (
        governed(tree, loads, path, configuration.system, configuration.hardware, hard=True)
        if tried
        else None
    )
    return Judged(
        tree=tree,
        configuration=configuration,
        contacts=loads.contacts,
        union=union,
        loads=loads,
        path=path,
        use=use,
        shock=shock,
        exceptional=None if shock is None else _exceptional(tree, loads, shock, union),
        stiffness=_stiffness(tree, loads.contacts, use.legs),
        slip=slip,
        gate=gate(tree, path),
    )


def could_not_stand(tree: StructuralModel, use: Governed) -> bool:
    """True where the wood stands but could not, as measured: it was misread."""
    s = tree.sections
    return bool(not use.margin.known or s.own_use[use.node] * s.reported.keep[use.node] > 1.0)


def is_lively(sag: float, slope_change: float, settings: LoadSettings) -> bool:
    """Whether the rope's place gives way [m] or turns [rad] by more than is called stiff."""
    return bool(sag > settings.lively or slope_change > np.deg2rad(settings.lively_deg))


def _exceptional(
    tree: StructuralModel, loads: ConfigurationLoads, shock: Governed, union: int
) -> Exceptional:
    """The hardest abrupt stop or swing, as it is told; union : row of its contact."""
    force = shock.legs.force[union].sum(axis=0)
    return Exceptional(
        case=loads.pulls.hard_case[shock.row],
        worst_work_point=int(loads.pulls.work[shock.row]),
        force=force,
        multiple_of_weight=float(np.linalg.norm(force) / (tree.settings.climber_mass * G)),
        margin=shock.margin,
        overload_chance=shock.overload,
        governing=shock.node,
        mode=shock.mode,
    )


def _stiffness(tree: StructuralModel, contacts: Sequence[Contact], legs: LegLoads) -> Stiffness:
    """Displacement and change of slope of the rope's place on the union, governing load.

    Wood inside bark gives the stiffness, whatever section the strength is told on; a hollow keeps the same
    share of the second moment as of the section modulus, 1 - (1 - t/R)^4.
    """
    g, s, top = tree.graph, tree.sections, contacts[-1]
    path = path_down(g.parent, top.node)[::-1]
    points = np.vstack([g.xyz[path[:-1]], top.point[None]])
    radius = s.radius[path] * (1.0 if tree.settings.section == INSIDE else 1.0 - tree.wood.bark_share)
    radius[~np.isfinite(radius)] = np.nanmax(radius)
    radius *= s.reported.keep[path] ** 0.25  # the full round of the same second moment
    force, moment = np.zeros((len(path), 3)), np.zeros((len(path), 3))
    for i, c in enumerate(contacts):
        j = len(path) - 1
        if i < len(contacts) - 1:  # where the other limb leaves this way to the ground
            j = max(int(np.isin(path, path_down(g.parent, c.node)).sum()) - 2, 0)
        force[j] += legs.force[i].sum(axis=0)
        moment[j] += cross(legs.point[i] - points[j], legs.force[i]).sum(axis=0)
    u, turn = chain(
        points, radius, force, moment, tree.wood.moe, tree.wood.moe * tree.settings.shear_modulus_share
    )
    sag, slope_change = float(np.linalg.norm(u)), float(np.linalg.norm(turn))
    return Stiffness(sag, slope_change, is_lively(sag, slope_change, tree.settings))
