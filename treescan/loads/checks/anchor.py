"""Will these anchors hold, and what catches if not?

Every configuration against every place of the climber: forces, stresses down to the ground, the margin with
its low end, the failure chain.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from treescan.loads.checks.kept import Kept
from treescan.loads.checks.notes import history_notes, notes, twig_notes
from treescan.loads.fall.failure_chain import failure_chain, spoiled
from treescan.loads.fall.falling_wood import falling_wood
from treescan.loads.history.credit import counts, why_not
from treescan.loads.history.proof import proof
from treescan.loads.judging.judged import Judged
from treescan.loads.judging.placed import NotSeen, Placed, placed
from treescan.loads.judging.verdict import sources
from treescan.loads.limb_check import (
    DOUBTFUL,
    FAILS,
    HOLDS,
    IF_TESTED,
    UNKNOWN,
    UNSEEN,
    VERDICTS,
    WITHIN,
    AnchorCheck,
    AnchorConfiguration,
    Borne,
    Break,
    LimbCheck,
    limb_named,
)
from treescan.loads.rope.configuration_loads import friction_multiple
from treescan.loads.rope.rope_systems import SYSTEMS
from treescan.loads.settings import MIDDLE
from treescan.loads.statics.likely_breaks import breaks_to_follow
from treescan.loads.statics.structural_model import StructuralModel
from treescan.progress import Progress, quiet
from treescan.reason import Reason
from treescan.units import G
from treescan.wood.graph import Floats

NARROWER = (30.0, 20.0, 10.0)
"""Rope angles from plumb at which a configuration that fails or is doubtful at the angle asked for is judged again.
[deg]"""

Heard = Callable[[AnchorCheck, int, int], None]
"""Told an answer as soon as it is there, how many there are by then, and of how many."""

NONE_KEPT = Kept()
"""Every answer is worked out."""

RESCUE, LOAD_TEST = "rescue", "load test"

BREAKS = {"limb": "limb_breaks", "union tear-out": "union_tears_out", "stem": "stem_breaks"}
"""Code of a likely break by its kind."""


def checked(
    tree: StructuralModel,
    configurations: Sequence[AnchorConfiguration],
    work_xyz: Floats,
    progress: Progress = quiet,
    kept: Kept = NONE_KEPT,
    order: Sequence[int] | None = None,
    heard: Heard | None = None,
) -> tuple[AnchorCheck, ...]:
    """Check every configuration against all work points; the worst climber position and load case governs.

    Parameters
    ----------
    tree : StructuralModel      From `whole_tree`.
    configurations : sequence of AnchorConfiguration
    work_xyz : (w, 3) float     Work points; those beyond the allowed rope angle or above the anchor are left
        out. [m, local]
    progress : callable
    kept : Kept                 Answers that still stand; they are not worked out again.
    order : rows of the configurations in which they are judged; it changes no answer. Default: as they come.
    heard : Heard

    Returns
    -------
    tuple of AnchorCheck, one per configuration and in its order.
    """
    work = np.asarray(work_xyz, float).reshape(-1, 3)
    out: dict[int, AnchorCheck] = {}
    for i in range(len(configurations)) if order is None else order:
        progress("loads", len(out) / len(configurations))
        one = kept.at(configurations[i])
        out[i] = one or check_anchor(tree, configurations[i], work, narrower=True, one_climber=True)
        if heard is not None:
            heard(out[i], len(out), len(configurations))
    progress("loads", 1.0)
    return tuple(out[i] for i in range(len(configurations)))


@dataclass(frozen=True)
class _Told:
    """One way of asking: where the rope was judged, the verdict with its reason, and the rope angle it is for [rad]."""

    where: Placed
    called: str
    reason: Reason
    within: float

    @classmethod
    def of(cls, tree: StructuralModel, configuration: AnchorConfiguration, work: Floats) -> _Told:
        """At the angle the settings ask for."""
        found = placed(tree, configuration, work)
        return cls(found, *found.verdict, float(np.deg2rad(tree.settings.rope_angle_limit_deg)))

    @property
    def refused(self) -> bool:
        """True where nothing is offered."""
        return self.called in (FAILS, UNSEEN)

    @property
    def may_change(self) -> bool:
        """True where the wood was seen, no report forbids it, and it fails under the loads."""
        return self.called == FAILS and isinstance(self.where.found, Judged) and self.where.found.gate is None

    @property
    def may_hold_nearer(self) -> bool:
        """True where nearer to plumb the verdict may be a better one: it fails, or is doubtful, as far as was asked."""
        return self.may_change or self.called == DOUBTFUL

    @property
    def low(self) -> float:
        """Low side of the margin, NaN where it was not seen."""
        return float(self.where.found.use.margin.p5) if isinstance(self.where.found, Judged) else float("nan")


def check_anchor(
    tree: StructuralModel,
    configuration: AnchorConfiguration,
    work: Floats,
    *,
    narrower: bool = False,
    one_climber: bool = False,
) -> AnchorCheck:
    """One configuration, as `checked`; only with `narrower` work nearer to plumb is tried where it fails or is doubtful,
    and only with `one_climber` a climber without a rescuer where it fails."""
    asked, rescued = _Told.of(tree, configuration, work), float("inf")
    told = _nearer_plumb(tree, configuration, work, asked) if narrower and asked.may_hold_nearer else asked
    if one_climber and asked.may_change:
        told, rescued = _for_one(tree, configuration, work, told)
    if isinstance(told.where.found, NotSeen):
        return _not_seen(configuration, told.where, told.within)
    limb = _limb_check(told.where, told.called, told.reason)
    return replace(_answer(told.where.found, configuration, told.where, limb, told.within), rescued=rescued)


def _nearer_plumb(
    tree: StructuralModel, configuration: AnchorConfiguration, work: Floats, asked: _Told
) -> _Told:
    """The widest rope angle out to which a configuration holds that fails or is doubtful at the angle asked for; where
    it holds at none, the widest at which it is doubtful; as it was where it fails straight below too."""
    best = asked
    if placed(tree, configuration, work[:0]).verdict[0] in (FAILS, UNSEEN):
        return best
    for angle in NARROWER:
        if np.deg2rad(angle) >= asked.within:
            continue
        near = replace(tree, settings=replace(tree.settings, rope_angle_limit_deg=float(angle)))
        here = _Told.of(near, configuration, work)
        if here.refused or (here.called == DOUBTFUL and best.called == DOUBTFUL):
            continue
        code = "holds_within" if asked.called == FAILS else "holds_within_else_doubtful"
        said = Reason(code, angle=here.within, asked=asked.within, why=here.reason, beyond=asked.reason)
        best = _Told(here.where, WITHIN if here.called == HOLDS else here.called, said, here.within)
        if here.called != DOUBTFUL:
            break
    return best


def _for_one(
    tree: StructuralModel, configuration: AnchorConfiguration, work: Floats, two: _Told
) -> tuple[_Told, float]:
    """The answer for one climber without a rescuer, and the rope angle out to which it holds both [rad]; as it was where
    one climber gains nothing.

    Climbing is judged by one climber, whose pulls were measured; a rescue of two was not, and is slow, without a drop and
    straight below. Two people hanging still stay in it: that is the load test. It is never better than "holds if tested",
    and where both are told the lower of their low sides is.
    """
    settings = tree.settings
    cases = tuple(c for c in settings.cases if c != RESCUE)
    if not settings.rescue_apart or cases == settings.cases or LOAD_TEST not in cases:
        return two, float("inf")
    one = replace(tree, settings=replace(settings, cases=cases))
    if _Told.of(one, configuration, work[:0]).refused:
        return two, float("inf")
    alone = _Told.of(one, configuration, work)
    if alone.may_change:
        alone = _nearer_plumb(one, configuration, work, alone)
    rescued = 0.0 if two.refused else two.within
    if alone.refused or alone.within <= rescued + 1e-9:
        return two, float("inf")
    if rescued > 0 and VERDICTS.index(two.called) < VERDICTS.index(alone.called):
        return two, float("inf")  # the better word, nearer to plumb
    told = two if rescued > 0 and two.low <= alone.low else alone
    worse = max((alone.called, two.called) if rescued > 0 else (alone.called,), key=VERDICTS.index)
    called = worse if worse == IF_TESTED else DOUBTFUL
    said = Reason(
        "holds_one_climber",
        angle=alone.within,
        two=rescued if rescued > 0 else None,
        why=alone.reason,
        beyond=two.reason,
    )
    return _Told(told.where, called, said, alone.within), rescued


def _answer(
    found: Judged, configuration: AnchorConfiguration, where: Placed, limb: LimbCheck, within: float
) -> AnchorCheck:
    """The whole answer; limbs of `configuration` that `found` was judged without bear nothing."""
    tree, loads, row = found.tree, found.loads, found.use.row
    rows = _told_rows(configuration, found, where)
    bears = rows >= 0
    on_wood, turns = np.zeros((len(rows), 3)), np.zeros(len(rows))
    on_wood[bears] = found.use.legs.force.sum(axis=1)[rows[bears]]
    turns[bears] = loads.turn[row][rows[bears]]
    if SYSTEMS[configuration.system].choked:
        turns[0] = np.nan
    breaks = _breaks(found)
    return AnchorCheck(
        configuration=configuration,
        force=on_wood[0],
        multiple_of_weight=float(np.linalg.norm(on_wood[0]) / loads.pulls.tension[row]),
        case=loads.pulls.case[row],
        worst_work_point=int(loads.pulls.work[row]),
        contact_forces=on_wood,
        friction_multiple=friction_multiple(
            loads, configuration.hardware, configuration.system, row, found.union, tree.settings
        ),
        check=limb,
        catches=breaks[0].catches,
        redundant=all(b.redundant for b in breaks if b.likely),
        common_cause=next((b.common_cause for b in breaks if b.likely and b.common_cause is not None), None),
        exceptional=found.exceptional,
        cases=tuple(c for c in tree.settings.cases if c not in tree.settings.exceptional),
        breaks=breaks,
        rope_slip=0.0 if found.slip is None else found.slip.way,
        outer=where.outer,
        contact_turns=turns,
        within=within,
    )


def _told_rows(configuration: AnchorConfiguration, found: Judged, where: Placed) -> np.ndarray:
    """Contact row of the union, of every `via` and of every `beyond` of the configuration asked about; -1 where
    it gave way or was lifted off."""
    via, beyond = np.full(len(configuration.via), -1), np.full(len(configuration.beyond), -1)
    via[where.line.via] = found.union - 1 - np.arange(len(where.line.via))
    if not where.lifted:
        beyond[where.line.beyond] = found.union + 1 + np.arange(len(where.line.beyond))
    return np.concatenate([[found.union], via, beyond])


def _breaks(found: Judged) -> tuple[Break, ...]:
    """What follows from each break, the likely ones first; told from where the pull is hardest,
    redundant only if so at work too. Worked out once for the same loads."""
    told = found.later.told
    if ("breaks",) not in told:
        told["breaks",] = _worked_out(replace(found, tree=found.later.tree))
    out: tuple[Break, ...] = told["breaks",]
    return out


def _worked_out(found: Judged) -> tuple[Break, ...]:
    tree, contacts, hardest, pulls = found.tree, found.contacts, found.hardest, found.loads.pulls
    base, basal = np.asarray(found.configuration.base, float), SYSTEMS[found.configuration.system].basal
    climber = pulls.place[hardest.row].copy()
    if pulls.work[hardest.row] < 0:  # just below the support, where the stop is hardest
        climber[2] = contacts[-1].point[2] - tree.settings.shortest_rope
    at_work = pulls.place[pulls.work >= 0]
    out = []
    for kind, row, likely in breaks_to_follow(tree, found.path, hardest.use):
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
                likely,
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


def _limb_check(where: Placed, called: str, reason: Reason) -> LimbCheck:
    """Stresses along the governing contact's way to the ground, and the margin with its low and high."""
    found = where.found
    assert isinstance(found, Judged)
    s, path, use, give = found.tree.sections, found.path, found.use, found.stiffness
    contact = int(np.flatnonzero(path.above[use.section])[-1])
    order = np.flatnonzero(path.above[:, contact])[::-1]
    strength = path.bending * s.k[path.node, MIDDLE]
    stood = _stood(found) if counts(found, called) and why_not(found) is None else None
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
        notes=(*notes(found, order), *history_notes(found, called, stood), *twig_notes(where.line)),
        lively=give.lively,
        tested=() if called == FAILS else found.tested,
        borne=stood,
    )


def _stood(found: Judged) -> Borne | None:
    """As `proof`; worked out once for the same loads and history."""
    key = ("borne", found.tree.settings.history, found.stiffness.growth, *found.use.key)
    return found.tree.once(key, lambda _: proof(found))


def _not_seen(configuration: AnchorConfiguration, where: Placed, within: float) -> AnchorCheck:
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
        reason=where.verdict[1],
        overload_chance=nan,
        slope_change=nan,
        notes=(),
        lively=False,
        tested=(),
    )
    forces = np.full((1 + len(configuration.via) + len(configuration.beyond), 3), nan)
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
        outer=where.outer,
        contact_turns=forces[:, 0],
        within=within,
    )
