"""Will these anchors hold, and what catches if not?

Every configuration against every place of the climber: forces, stresses down to the ground, the margin with
its low end, the failure chain.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from treescan.estimate import Estimate
from treescan.loads.checks.judged import Judged, contacts_of, judged
from treescan.loads.checks.notes import notes
from treescan.loads.checks.rope_slip import rope_slip
from treescan.loads.checks.verdict import misread, sources, verdict
from treescan.loads.fall.failure_chain import failure_chain, spoiled
from treescan.loads.fall.falling_wood import falling_wood
from treescan.loads.limb_check import (
    UNKNOWN,
    UNSEEN,
    AnchorCheck,
    AnchorConfiguration,
    Break,
    LimbCheck,
    limb_named,
)
from treescan.loads.rope.configuration_loads import ConfigurationLoads, configuration_loads, friction_multiple
from treescan.loads.rope.contacts import Contact
from treescan.loads.rope.rope_systems import SYSTEMS
from treescan.loads.settings import MIDDLE
from treescan.loads.statics.governing import governed
from treescan.loads.statics.likely_breaks import likely_breaks
from treescan.loads.statics.load_path import unseen
from treescan.loads.statics.structural_model import StructuralModel
from treescan.progress import Progress, quiet
from treescan.reason import Reason
from treescan.units import G
from treescan.wood.graph import Floats

LIFTED = 0.1
"""A union that bears less than this share of the climber's weight under the governing load has the rope
lifted off it (project choice)."""

BREAKS = {"limb": "limb_breaks", "union tear-out": "union_tears_out", "stem": "stem_breaks"}
"""Code of a likely break by its kind."""


def checked(
    tree: StructuralModel,
    configurations: Sequence[AnchorConfiguration],
    work_xyz: Floats,
    progress: Progress = quiet,
) -> tuple[AnchorCheck, ...]:
    """Check every configuration against all work points; the worst climber position and load case governs.

    Parameters
    ----------
    tree : StructuralModel      From `whole_tree`.
    configurations : sequence of AnchorConfiguration
    work_xyz : (w, 3) float     Work points; those beyond the allowed rope angle or above the anchor are left
        out. [m, local]
    progress : callable

    Returns
    -------
    tuple of AnchorCheck, one per configuration and in its order.
    """
    work = np.asarray(work_xyz, float).reshape(-1, 3)
    out = []
    for i, configuration in enumerate(configurations):
        progress("loads", i / len(configurations))
        out.append(check_anchor(tree, configuration, work))
    progress("loads", 1.0)
    return tuple(out)


def check_anchor(tree: StructuralModel, configuration: AnchorConfiguration, work: Floats) -> AnchorCheck:
    """One configuration, as `checked`.

    Where further limbs lie under the climber's leg, the climber hangs from the outermost of them. Should the
    taut rope lift off the union then, the configuration is also judged as if they were not there, and the
    worse of both is told.
    """
    found = _loaded(tree, configuration, work)
    if isinstance(found, _NotSeen):
        return _not_seen(configuration, found, 0, None)
    outer = _outer(found)
    if not _lifted_off(found):
        return _answer(found, configuration, outer, work)
    alone = _loaded(tree, replace(configuration, beyond=configuration.beyond[:0]), work)
    if isinstance(alone, _NotSeen):
        return _not_seen(configuration, alone, len(configuration.beyond), outer)
    worse = alone if not alone.use.margin.known or alone.use.margin.p5 < found.use.margin.p5 else found
    return _answer(worse, configuration, outer, work)


@dataclass(frozen=True)
class _NotSeen:
    """Why the scan cannot tell, and how many contacts the rope has."""

    contacts: int
    why: Reason


def _loaded(tree: StructuralModel, configuration: AnchorConfiguration, work: Floats) -> Judged | _NotSeen:
    """The configuration under its loads, its rope where a pull from the side leaves it."""
    contacts = contacts_of(tree, configuration)
    why = unseen(tree, contacts)
    if why is not None:
        return _NotSeen(len(contacts), why)
    loads = _loads(tree, configuration, contacts, work)
    slip = rope_slip(tree, configuration, loads) if not len(configuration.beyond) else None
    if slip is not None:  # it stays out there, whatever the climber does next
        contacts = (*contacts[:-1], slip.contact)
        why = unseen(tree, contacts)
        if why is not None:
            return _NotSeen(len(contacts), Reason("not_seen_where_rope_slips", why=why))
        loads = _loads(tree, configuration, contacts, work)
    found = judged(tree, configuration, loads, slip)
    # a report explains a weak section; without one a limb that stands but could not was misread
    if found.misread:
        return _NotSeen(len(contacts), misread(tree, found.use.node))
    return found


def _loads(
    tree: StructuralModel, configuration: AnchorConfiguration, contacts: tuple[Contact, ...], work: Floats
) -> ConfigurationLoads:
    base, ground = np.asarray(configuration.base, float), tree.ground_below(contacts[-1].point)
    return configuration_loads(
        configuration.system, configuration.hardware, contacts, base, ground, work, tree.settings
    )


def _lifted_off(found: Judged) -> bool:
    """True where the rope over limbs beyond hardly bears on the union any more."""
    on_union = float(np.linalg.norm(found.use.legs.force[found.union].sum(axis=0)))
    most = LIFTED * found.tree.settings.climber_mass * G
    return bool(len(found.configuration.beyond) and found.use.margin.known and not on_union > most)


def _answer(
    found: Judged, configuration: AnchorConfiguration, outer: Estimate | None, work: Floats
) -> AnchorCheck:
    """The whole answer; limbs of `configuration.beyond` that `found` was judged without bear nothing."""
    tree, loads, row = found.tree, found.loads, found.use.row
    order = [*range(found.union, -1, -1), *range(found.union + 1, len(found.contacts))]
    lifted = np.zeros(len(configuration.beyond) - len(found.configuration.beyond))
    on_wood = found.use.legs.force.sum(axis=1)[order]
    turns = np.full(1, np.nan) if SYSTEMS[configuration.system].choked else loads.turn[row][order]
    breaks = _breaks(found)
    return AnchorCheck(
        configuration=configuration,
        force=on_wood[0],
        multiple_of_weight=float(np.linalg.norm(on_wood[0]) / loads.pulls.tension[row]),
        case=loads.pulls.case[row],
        worst_work_point=int(loads.pulls.work[row]),
        contact_forces=np.vstack([on_wood, np.zeros((len(lifted), 3))]),
        friction_multiple=friction_multiple(
            loads, configuration.hardware, configuration.system, row, found.union, tree.settings
        ),
        check=_limb_check(found),
        catches=breaks[0].catches,
        redundant=all(b.redundant for b in breaks),
        common_cause=next((b.common_cause for b in breaks if b.common_cause is not None), None),
        exceptional=found.exceptional,
        cases=tuple(c for c in tree.settings.cases if c not in tree.settings.exceptional),
        breaks=breaks,
        rope_slip=0.0 if found.slip is None else found.slip.way,
        outer=outer,
        contact_turns=np.concatenate([turns, lifted]),
    )


def _outer(found: Judged) -> Estimate | None:
    """The margin of the weakest wood that carries a limb under the climber's leg and not the union."""
    path, configuration = found.path, found.configuration
    rows = path.above[:, found.union + 1 :].any(axis=1) & ~path.above[:, found.union]
    return (
        governed(found.tree, found.loads, path.of(rows), configuration.system, configuration.hardware).margin
        if rows.any()
        else None
    )


def _breaks(found: Judged) -> tuple[Break, ...]:
    """What follows from each likely break, the likeliest first; told from where the pull is hardest,
    redundant only if so at work too."""
    tree, contacts, hardest, pulls = found.tree, found.contacts, found.hardest, found.loads.pulls
    base, basal = np.asarray(found.configuration.base, float), SYSTEMS[found.configuration.system].basal
    climber = pulls.place[hardest.row].copy()
    if pulls.work[hardest.row] < 0:  # just below the support, where the stop is hardest
        climber[2] = contacts[-1].point[2] - tree.settings.shortest_rope
    at_work = pulls.place[pulls.work >= 0]
    out = []
    for kind, row in likely_breaks(tree, found.path, hardest.use):
        node = int(found.path.node[row])
        chain = failure_chain(tree, basal, contacts, climber, base, node)
        why = chain.reason if chain.reason is not None else spoiled(tree, contacts, base, node, at_work)
        piece = falling_wood(tree, node, contacts, climber, chain.catches)
        out.append(
            Break(
                kind,
                node,
                float(hardest.use[row]),
                _break_reason(tree, kind, node, why, piece),
                chain.catches,
                why is None,
                chain.common_cause,
            )
        )
    return tuple(out)


def _break_reason(
    tree: StructuralModel, kind: str, node: int, why: Reason | None, piece: Reason
) -> Reason:
    """What gives way, where, what goes with it, and where that comes down."""
    g, s = tree.graph, tree.sections
    return Reason(
        BREAKS[kind],
        wood=limb_named(g.limb[node]),
        diameter=2 * s.radius[node],
        height=s.point[node, 2] - g.xyz[0, 2],
        mass=s.weight[node] / G,
        piece=piece,
        why=why,
    )


def _limb_check(found: Judged) -> LimbCheck:
    """Stresses along the governing contact's way to the ground, and the margin with its low and high."""
    s, path, use, give = found.tree.sections, found.path, found.use, found.stiffness
    contact = int(np.flatnonzero(path.above[use.section])[-1])
    order = np.flatnonzero(path.above[:, contact])[::-1]
    strength = path.bending * s.k[path.node, MIDDLE]
    called, reason = verdict(found)
    return LimbCheck(
        nodes=path.node[order],
        moment=use.forces.bending[0, order],
        torsion=use.forces.torsion[0, order],
        axial=use.forces.axial[0, order],
        shear=use.forces.shear[0, order],
        stress=(use.use * strength)[order],
        strength=strength[order],
        utilisation=use.use[order],
        margin=use.margin,
        governing=use.node,
        mode=use.mode,
        self_weight_share=float(s.own_use[use.node]),
        deflection=give.sag,
        sources=sources(found),
        verdict=called,
        reason=reason,
        overload_chance=use.overload,
        slope_change=give.slope_change,
        notes=notes(found, order),
        lively=give.lively,
    )


def _not_seen(
    configuration: AnchorConfiguration, found: _NotSeen, lifted: int, outer: Estimate | None
) -> AnchorCheck:
    """The answer where the scan cannot tell: no number at all, but for the contacts the rope is lifted
    off."""
    none, nan = np.zeros(0), float("nan")
    check = LimbCheck(
        nodes=np.zeros(0, np.int32),
        moment=none,
        torsion=none,
        axial=none,
        shear=none,
        stress=none,
        strength=none,
        utilisation=none,
        margin=UNKNOWN,
        governing=-1,
        mode="",
        self_weight_share=nan,
        deflection=nan,
        sources=(),
        verdict=UNSEEN,
        reason=found.why,
        overload_chance=nan,
        slope_change=nan,
        notes=(),
        lively=False,
    )
    forces = np.vstack([np.full((found.contacts, 3), nan), np.zeros((lifted, 3))])
    return AnchorCheck(
        configuration=configuration,
        force=np.full(3, nan),
        multiple_of_weight=nan,
        case="",
        worst_work_point=-1,
        contact_forces=forces,
        friction_multiple=nan,
        check=check,
        catches=(),
        redundant=False,
        common_cause=None,
        exceptional=None,
        cases=(),
        breaks=(),
        rope_slip=0.0,
        outer=outer,
        contact_turns=forces[:, 0],
    )
