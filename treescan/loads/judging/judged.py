"""What do the loads of one configuration do to the wood? Everything the verdict, the notes and the failure
chain are read from."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from treescan.loads.judging.rope_slip import RopeSlip
from treescan.loads.judging.stiffness import Stiffness, stiffness
from treescan.loads.limb_check import AnchorConfiguration, Exceptional, PassedTest
from treescan.loads.rope.configuration_loads import ConfigurationLoads
from treescan.loads.rope.contacts import Contact, at_node, middle, union_contact, via_contact
from treescan.loads.rope.rope_systems import SYSTEMS
from treescan.loads.statics.governing import Governed, gate, governed, weakened
from treescan.loads.statics.load_path import LoadPath, load_path
from treescan.loads.statics.load_test_evidence import passed_tests
from treescan.loads.statics.structural_model import StructuralModel
from treescan.reason import Reason
from treescan.units import G


@dataclass(frozen=True)
class Judged:
    """One configuration under its loads.

    Attributes
    ----------
    tree : StructuralModel          As it was asked about.
    contacts : tuple of Contact     Rope order from the base up; the union's is row `union`.
    loads : ConfigurationLoads; path : LoadPath     Of these contacts.
    use : Governed                  The worst of ordinary use.
    stiffness : Stiffness
    slip : RopeSlip or None         Where a pull from the side drags the rope, if it does not stay where it was laid.
    gate : Reason or None           The reported defect that forbids the anchor.
    later : Later                   What is worked out when it is first asked for: wood that fails in ordinary use is often tried
        again another way, and nobody asks then what a stop would do to it.
    """

    tree: StructuralModel
    configuration: AnchorConfiguration
    contacts: tuple[Contact, ...]
    union: int
    loads: ConfigurationLoads
    path: LoadPath
    use: Governed
    stiffness: Stiffness
    slip: RopeSlip | None
    gate: Reason | None
    later: Later

    @property
    def shock(self) -> Governed | None:
        """The worst of the exceptional cases; None where none was asked for."""
        return self.later.shock

    @property
    def exceptional(self) -> Exceptional | None:
        """The same as it is told."""
        return self.later.exceptional

    @property
    def tested(self) -> tuple[PassedTest, ...]:
        """What passed load tests would show; () where they cannot help."""
        return self.later.tested

    @property
    def hardest(self) -> Governed:
        """What breaks it is the hardest case."""
        return self.shock or self.use

    @property
    def misread(self) -> bool:
        """True where the wood stands but could not, as measured, and no report explains it."""
        return self.gate is None and could_not_stand(self.tree, self.use)


@dataclass(frozen=True)
class Later:
    """See `Judged.later`."""

    tree: StructuralModel
    configuration: AnchorConfiguration
    union: int
    loads: ConfigurationLoads
    path: LoadPath
    use: Governed
    gate: Reason | None

    @cached_property
    def shock(self) -> Governed | None:
        """As in `Judged`."""
        if not (self.loads.pulls.hard > 0).any():
            return None
        rigged = self.configuration.system, self.configuration.hardware
        return governed(self.tree, self.loads, self.path, *rigged, hard=True)

    @cached_property
    def exceptional(self) -> Exceptional | None:
        """As in `Judged`."""
        return None if self.shock is None else _exceptional(self.tree, self.loads, self.shock, self.union)

    @cached_property
    def tested(self) -> tuple[PassedTest, ...]:
        """As in `Judged`."""
        use, pull = self.use, float(self.loads.pulls.tension[self.use.row])
        can_help = self.gate is None and use.margin.known and use.margin.p5 >= self.tree.settings.fails_p5
        return self.tree.once(("tested", pull, *use.key), lambda bare: passed_tests(bare, use, pull)) if can_help else ()

    @cached_property
    def told(self) -> dict[tuple[object, ...], Any]:
        """What else was worked out of it, by what was asked: what follows from each break."""
        return {}


def contacts_of(tree: StructuralModel, configuration: AnchorConfiguration) -> tuple[Contact, ...]:
    """Contacts in rope order: supports from the base up, the union, limbs under the climber's leg; the one
    next to the climber last. Looked up where the same was asked of the same graph before."""
    kept, key = tree.graph.kept, ("contacts", *configuration.key)
    found: tuple[Contact, ...] | None = kept.get(key)
    if found is None:
        found = kept[key] = _contacts_of(tree, configuration)
    return found


def _contacts_of(tree: StructuralModel, configuration: AnchorConfiguration) -> tuple[Contact, ...]:
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
    multiple = float(
        np.linalg.norm(use.legs.force[union].sum(axis=0)) / max(loads.pulls.tension[use.row], 1.0)
    )
    strands = SYSTEMS[configuration.system].legs_at_climber
    give = stiffness(tree, loads.contacts, (use.legs, *use.beside), use.node, (multiple, strands))
    if give.growth > 1.0:  # the bent limb has more moment than the straight one
        use = replace(weakened(use, give.growth), margin=use.margin.over(give.growth))
    forbids = gate(tree, path)
    return Judged(
        tree=tree,
        configuration=configuration,
        contacts=loads.contacts,
        union=union,
        loads=loads,
        path=path,
        use=use,
        stiffness=give,
        slip=slip,
        gate=forbids,
        later=Later(tree, configuration, union, loads, path, use, forbids),
    )


def could_not_stand(tree: StructuralModel, use: Governed) -> bool:
    """True where the wood stands but could not, as measured: it was misread."""
    s = tree.sections
    return bool(not use.margin.known or s.own_use[use.node] * s.reported.keep[use.node] > 1.0)


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
        asked=(tree.settings.exceptional_p5, tree.settings.exceptional_median),
    )
