"""One anchor pulled by a line in a known direction: one of two lines to a climber, or one end of a rope
strung between two trees."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from treescan.errors import BadInput
from treescan.estimate import Estimate
from treescan.loads.judging.judged import contacts_of, could_not_stand
from treescan.loads.judging.verdict import misread
from treescan.loads.limb_check import UNKNOWN, AnchorConfiguration
from treescan.loads.pull.abrupt_stop import Behind
from treescan.loads.pull.load_cases import pulls
from treescan.loads.pull.shock import pendulum_force, pendulum_speed
from treescan.loads.rope.configuration_loads import ConfigurationLoads, configuration_loads
from treescan.loads.rope.contacts import Contact
from treescan.loads.rope.strung_rope import TwoLines
from treescan.loads.settings import LoadSettings
from treescan.loads.statics.governing import gate, governed
from treescan.loads.statics.load_path import LoadPath, load_path, unseen
from treescan.loads.statics.structural_model import StructuralModel
from treescan.reason import Reason
from treescan.units import G
from treescan.wood.graph import Floats


@dataclass(frozen=True)
class LineCheck:
    """Margin of one anchor under one line; NaN with the reason where the scan cannot tell or a reported
    defect forbids it.

    force : (3,) float on the wood the line leaves from [N]; margin : Estimate; governing : int node; mode :
        str; reason : Reason
    or None, why there is no margin; gate : Reason or None, the reported defect, where that is why.
    """

    force: Floats
    margin: Estimate
    governing: int
    mode: str
    reason: Reason | None
    gate: Reason | None


@dataclass(frozen=True)
class TwoLineCheck:
    """Both anchors of two lines that carry one load in one tree.

    first, second : LineCheck   Of the wood that carries one line alone.
    common : LineCheck          Of the wood below, which carries both at once; its force is that of both.
    meet : int                  Highest node that carries both.
    """

    first: LineCheck
    second: LineCheck
    common: LineCheck
    meet: int


@dataclass(frozen=True)
class LineLost:
    """What follows when the other line fails: this one swings down with the whole weight.

    check : LineCheck under the swing's peak; drop : height of the swing's fall [m]; sideways : to the
        anchor's plumb [m]; speed : there
    [m/s]; peak : in the rope [N]; low : (3,) where the load hangs then [m].
    """

    check: LineCheck
    drop: float
    sideways: float
    speed: float
    peak: float
    low: Floats


def hardest(settings: LoadSettings, *, at_work: bool) -> tuple[str, float]:
    """The hardest ordinary load case and its pull over the climber's weight, its hard end where it is drawn:
    where a rope hangs plumb, or at a place of work on two lines.

    A place of work on two lines is not walked at an angle nor climbed to; what is put there at once or as a
    second person counts.
    """
    anchor = np.array([0.0, 0.0, 20.0])
    work = anchor - [[0.0, 0.0, 10.0]] if at_work else np.zeros((0, 3))
    found = pulls(anchor, anchor, 0.0, work, Behind(), 1, settings)
    most = found.most
    row = int(np.argmax(most * (found.work >= 0))) if at_work else int(np.argmax(most))
    if at_work and not (found.work[row] >= 0 and most[row] > 0):
        return "at rest", 1.0
    return found.case[row], float(most[row]) / (settings.climber_mass * G)


def check_line(
    tree: StructuralModel, configuration: AnchorConfiguration, toward: Floats, tension: float
) -> LineCheck:
    """Strength over stress of an anchor whose line is pulled with `tension` [N] toward a point (3,) [m] below
    it, own weight included."""
    contacts = contacts_of(tree, configuration)
    why = unseen(tree, contacts)
    if why is not None:
        return _not_seen(why)
    return _judged(
        tree,
        _pulled(tree, configuration, contacts, toward, tension),
        load_path(tree, contacts),
        configuration.system,
        configuration.hardware,
    )


def check_two_lines(
    tree: StructuralModel, configurations: Sequence[AnchorConfiguration], lines: TwoLines, *, factor: float
) -> TwoLineCheck:
    """Both anchors of two lines that carry one load, in one tree.

    Parameters
    ----------
    configurations : two of them, in the order of `lines`.
    lines : TwoLines            From `strung_rope.hanging_between`, under the weight at rest, both tight.
    factor : float              Of the load case over the weight at rest, from `hardest`.

    Notes
    -----
    What carries one line alone is judged as in `check_line`, what carries both under both at once (there
    without the uneven pull that friction can leave in a basal line). Two stems of a clump part at the ground: nothing carries
    both, and the weaker one's check stands for the common wood.
    """
    contacts = [contacts_of(tree, r) for r in configurations]
    both = (*contacts[0], *contacts[1])
    path = load_path(tree, both)
    split = len(contacts[0])
    shared = np.asarray(path.above[:, :split].any(axis=1) & path.above[:, split:].any(axis=1))
    meet = int(path.node[shared].max()) if shared.any() else 0
    why = [unseen(tree, c) for c in contacts]
    pull = [
        _pulled(tree, r, c, lines.place, factor * float(t))
        for r, c, t in zip(configurations, contacts, lines.tension, strict=True)
    ]
    own = [load_path(tree, c) for c in contacts]
    apart = [p.of(~np.isin(p.node, path.node[shared])) for p in own]
    first, second = (
        _not_seen(w) if w is not None else _judged(tree, x, a if len(a.node) else p, r.system, r.hardware)
        for w, x, a, p, r in zip(why, pull, apart, own, configurations, strict=True)
    )
    hidden = next((w for w in why if w is not None), None)
    if hidden is not None:
        return TwoLineCheck(first, second, _not_seen(hidden), meet)
    common = (
        _judged(tree, _together(*pull), path.of(shared), "SRS canopy", configurations[0].hardware)
        if shared.any()
        else min(first, second, key=_low_side)
    )
    return TwoLineCheck(first, second, replace(common, force=first.force + second.force), meet)


def check_together(
    tree: StructuralModel,
    configurations: Sequence[AnchorConfiguration],
    toward: Sequence[Floats],
    tensions: Sequence[float],
) -> LineCheck:
    """The wood that carries two lines of different loads at once, each pulled with its own tension [N] toward its own point
    (3,) [m]; what carries one alone is left out. Friction does not ease either. Where nothing carries both (stems that part at
    the ground), the weaker of the two."""
    contacts = [contacts_of(tree, r) for r in configurations]
    why = next((w for w in (unseen(tree, c) for c in contacts) if w is not None), None)
    if why is not None:
        return _not_seen(why)
    path, split = load_path(tree, (*contacts[0], *contacts[1])), len(contacts[0])
    shared = np.asarray(path.above[:, :split].any(axis=1) & path.above[:, split:].any(axis=1))
    pull = [
        _pulled(tree, r, c, at, float(t))
        for r, c, at, t in zip(configurations, contacts, toward, tensions, strict=True)
    ]
    if not shared.any():
        alone = (
            _judged(tree, x, load_path(tree, c), r.system, r.hardware)
            for x, c, r in zip(pull, contacts, configurations, strict=True)
        )
        return min(alone, key=_low_side)
    return _judged(tree, _together(*pull), path.of(shared), "SRS canopy", configurations[0].hardware)


def _low_side(check: LineCheck) -> float:
    """The worst first; what is not known is the worst."""
    return check.margin.p5 if check.margin.known else -1.0


def one_line_lost(tree: StructuralModel, configuration: AnchorConfiguration, lines: TwoLines) -> LineLost:
    """The other line fails: this one swings down with the whole weight, on the leg it has, up to 3 - 2 cos of
    the angle it starts at, times what a body that whips adds.

    Rope between the place and a climber who hangs further down makes the swing longer and its peak less: not
    counted.
    """
    anchor = contacts_of(tree, configuration)[-1].point
    leg = anchor - lines.place
    length = float(np.linalg.norm(leg))
    start = float(np.arccos(np.clip(leg[2] / length, -1.0, 1.0)))  # from plumb
    peak = float(tree.settings.swing_body * tree.settings.climber_mass * G * pendulum_force(start))
    low = anchor - np.array([0.0, 0.0, length])
    return LineLost(
        check_line(tree, configuration, low, peak),
        float(lines.place[2] - low[2]),
        float(np.hypot(leg[0], leg[1])),
        float(pendulum_speed(length, start)),
        peak,
        low,
    )


def _pulled(
    tree: StructuralModel,
    configuration: AnchorConfiguration,
    contacts: Sequence[Contact],
    toward: Floats,
    tension: float,
) -> ConfigurationLoads:
    """The one load of a line that is pulled toward a point below its anchor."""
    still = replace(tree.settings, cases=("at rest",), rope_angle_limit_deg=90.0, preload=0.0)
    base, place = np.asarray(configuration.base, float), np.asarray(toward, float)
    loads = configuration_loads(
        configuration.system,
        configuration.hardware,
        contacts,
        base,
        tree.ground_below(contacts[-1].point),
        place,
        still,
    )
    row = np.flatnonzero(loads.pulls.work == 0)
    if len(row) == 0:
        raise BadInput("the line must be pulled downward", remedy="take a point below the anchor")
    p = loads.pulls
    pull = replace(
        p,
        place=p.place[row],
        work=p.work[row],
        tension=np.array([float(tension)]),
        case=("line",),
        hard=np.zeros(1),
        hard_case=("",),
    )
    return ConfigurationLoads(
        loads.contacts,
        pull,
        loads.turn[row],
        loads.touches[row],
        loads.leg_point[row],
        loads.leg_toward[row],
        loads.share[row],
        loads.hard_share[row],
    )


def _together(a: ConfigurationLoads, b: ConfigurationLoads) -> ConfigurationLoads:
    """Both lines at once, as one load over the contacts of both."""
    ta, tb = float(a.pulls.tension[0]), float(b.pulls.tension[0])
    whole = max(ta + tb, 1e-9)
    share = np.concatenate([a.share * (ta / whole), b.share * (tb / whole)], axis=1)
    turn, touches = np.concatenate([a.turn, b.turn], axis=1), np.concatenate([a.touches, b.touches], axis=1)
    point, toward = (
        np.concatenate([a.leg_point, b.leg_point], axis=1),
        np.concatenate([a.leg_toward, b.leg_toward], axis=1),
    )
    return ConfigurationLoads(
        (*a.contacts, *b.contacts),
        replace(a.pulls, tension=np.array([whole])),
        turn,
        touches,
        point,
        toward,
        share,
        share,
    )


def _judged(
    tree: StructuralModel, loads: ConfigurationLoads, path: LoadPath, system: str, hardware: str
) -> LineCheck:
    """The margin of the weakest section of a load path under one load, or why there is none."""
    use = governed(tree, loads, path, system, hardware)
    force, reported = use.legs.force[-1].sum(axis=0), gate(tree, path)
    if reported is not None:
        return LineCheck(force, UNKNOWN, use.node, use.mode, reported, reported)
    if could_not_stand(tree, use):
        return LineCheck(force, UNKNOWN, use.node, use.mode, misread(tree, use.node), None)
    return LineCheck(force, use.margin, use.node, use.mode, None, None)


def _not_seen(why: Reason) -> LineCheck:
    return LineCheck(np.full(3, np.nan), UNKNOWN, -1, "", why, None)
