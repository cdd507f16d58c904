"""The whole story of one failure: a limb breaks, the rope lands on the next, that holds or breaks, down to
the ground."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from treescan.estimate import Estimate
from treescan.loads.chance.reliability import RopeFriction, sampled_reliability
from treescan.loads.fall.backup import (
    LONGEST,
    Fall,
    Hold,
    Suspension,
    carried,
    common_node,
    fall,
    label_of,
    next_supports,
    to_ground,
)
from treescan.loads.fall.fall_way import DROP_STEPS, GROUND, NOTHING, fall_way, first_met
from treescan.loads.limb_check import UNKNOWN, Catch, known, limb_named
from treescan.loads.pull.shock import feet_speed, sharing_length, stretch
from treescan.loads.rope.contacts import Contact, supports_of
from treescan.loads.rope.rope_run import RopeRun, taut_rope
from treescan.loads.settings import LoadSettings
from treescan.loads.statics.likely_breaks import likely_breaks
from treescan.loads.statics.load_path import LegLoads, LoadPath, load_path, margin_case, unseen, used
from treescan.loads.statics.splitting import worst_split
from treescan.loads.statics.structural_model import StructuralModel
from treescan.reason import Reason
from treescan.units import G
from treescan.wood.graph import Floats

TOLD_SLIDE, TOLD_SWING = 0.05, 0.3
"""Shorter slides and swings are not told [m] (project choice)."""


@dataclass(frozen=True)
class Chain:
    """What follows from one break with the climber at one place.

    Attributes
    ----------
    catches : tuple of Catch    What catches, one after the other, each one assumed to fail in turn; the
        ground last.
    redundant : bool            One of them holds the climber clear of the ground at its low end.
    common_cause : Reason or None   Which wood carries the anchor and its back-up alike.
    reason : Reason or None     Why it is not redundant; None where it is.
    """

    catches: tuple[Catch, ...]
    redundant: bool
    common_cause: Reason | None
    reason: Reason | None


def _goes_to_ground(tree: StructuralModel, broken: int, height: float) -> Reason:
    """A rope fixed to what breaks goes with it: the stem's top, or the limb."""
    if tree.graph.limb[broken] == 0:
        return Reason("stem_goes_to_ground", drop=height)
    return Reason("rope_goes_to_ground", drop=height)


@dataclass(frozen=True)
class _Link:
    """One catch, whether it stops the fall, why it does not count as held, the wood it shares with the
    anchor, and what is gone once it breaks too."""

    catch: Catch
    stops: bool
    against: tuple[Reason, ...]
    shared: Reason | None
    after: Suspension
    gone: np.ndarray


def failure_chain(
    tree: StructuralModel,
    basal: bool,
    contacts: Sequence[Contact],
    climber: Floats,
    base: Floats,
    broken: int,
) -> Chain:
    """What catches, one after the other, when the wood at node `broken` gives way.

    Parameters
    ----------
    basal : bool                Only a rope fixed at the ground stays in the tree.
    contacts : sequence         Rope order from the base; the one next to the climber last.
    climber, base : (3,)        [m]
    broken : int                Node of the section that fails; all it carries goes with it.
    """
    if not basal:
        height = float(climber[2] - tree.ground_below(climber))
        return Chain(
            (to_ground(height, _goes_to_ground(tree, broken, height)),),
            False,
            None,
            Reason("rope_goes_with_break"),
        )
    gone = carried(tree.graph.parent, broken) | tree.gone
    cause = _common_cause(tree, contacts, gone)
    suspension, hold = Suspension(tuple(contacts), climber), Hold(climber)
    rope = _unstretched(taut_rope(base, climber, supports_of(contacts), hung=True), tree.settings)
    links: list[_Link] = []
    for _ in range(LONGEST):
        supports = next_supports(tree, gone, suspension, base)
        found = fall(suspension, supports, base, rope, tree.ground_below, tree.settings, hold)
        if found.suspension is None or found.run is None:
            drop, long_rope = found.drop, found.run is not None
            break
        links.append(_link(tree, contacts[-1], (suspension, hold), found, gone))
        suspension, gone = links[-1].after, links[-1].gone
        taken = hold.taken + tree.settings.fracture_work
        hold = Hold(suspension.climber) if links[-1].stops else Hold(hold.climber, taken)
    else:
        drop, long_rope = float(hold.climber[2] - tree.ground_below(suspension.climber)), False
    end = "long_rope_to_ground" if long_rope else "falls_on_to_ground" if links else "falls_to_ground"
    catches = (*(x.catch for x in links), to_ground(drop, Reason(end, drop=drop)))
    cause = cause or next((x.shared for x in links if x.shared is not None), None)
    reason = None if any(not x.against for x in links) else _why_not_held(links, long_rope)
    return Chain(catches, reason is None, cause, reason)


def _unstretched(run: RopeRun, settings: LoadSettings) -> float:
    """Length of a rope that hangs with the climber's weight on it, were it not stretched. [m]

    The weight stretches the climber's leg, and what lies behind as far as the most friction lets it: never less.
    """
    sharing = sharing_length(float(run.leg[-1]), run.leg[-2::-1], run.turn[::-1], max(settings.mu_bark))
    return float(run.length - stretch(settings.climber_mass * G, sharing, settings.rope_modulus))


def _why_not_held(links: Sequence[_Link], long_rope: bool) -> Reason:
    """Why nothing holds the climber."""
    if not links:
        return Reason("catch_leaves_rope" if long_rope else "nothing_catches")
    return Reason("catch_fails", catch=links[0].catch.label, against=links[0].against, more=len(links) > 1)


def _link(
    tree: StructuralModel,
    anchor: Contact,
    before: tuple[Suspension, Hold],
    found: Fall,
    gone: np.ndarray,
) -> _Link:
    """What catches first, and what breaks next if it fails as well."""
    assert found.suspension is not None and found.run is not None
    caught = found.suspension.contacts
    margin, path, utilised = _margin(tree, caught, found.run, found.peak)
    met, speed = _met(tree, before, found, gone)
    broken = _foot(tree, caught[-1])
    if path is not None and utilised is not None:
        broken = int(path.node[likely_breaks(tree, path, utilised)[0][1]])
    stops = _stops(margin, tree.settings)
    told = _Told(margin, stops, met, speed, _second_break(tree, gone, caught[-1].node, broken))
    return _Link(
        _catch(tree, found, told),
        stops,
        _against(found, margin, met, tree.settings),
        _shared(tree, anchor, caught[-1]),
        found.suspension,
        gone | carried(tree.graph.parent, broken),
    )


@dataclass(frozen=True)
class _Told:
    """What is told of a catch beside its rope: strength over stress, whether it stops the fall, what is met
    first (as in `first_met`) and how fast [m/s], and the limb that would break a second time."""

    margin: Estimate
    stops: bool
    met: int
    speed: float
    again: Reason | None


def _stops(margin: Estimate, settings: LoadSettings) -> bool:
    """Whether what catches next may count its drop from here: by the low end, for a limb that holds as often
    as not stops nobody; never where the strength was not seen."""
    return bool(margin.known and margin.p5 >= settings.fails_p5)


def _second_break(tree: StructuralModel, gone: np.ndarray, node: int, broken: int) -> Reason | None:
    """The limb that bears the rope, or breaks next, where a part of it has already broken off."""
    for limb in dict.fromkeys((int(tree.graph.limb[broken]), int(tree.graph.limb[node]))):
        line = tree.graph.limbs.nodes[limb]
        if (gone[line] & ~tree.gone[line]).any():
            return limb_named(limb)
    return None


def _against(found: Fall, margin: Estimate, met: int, settings: LoadSettings) -> tuple[Reason, ...]:
    """Why a catch does not count as held; empty where it does."""
    why = []
    if not margin.known:
        why.append(Reason("catch_not_seen"))
    elif margin.p5 < settings.holds_p5:
        why.append(Reason("catch_weak", low=margin.p5, asked=settings.holds_p5))
    if found.fallen_past:
        why.append(Reason("catch_only_if_passed"))
    if found.feet <= 0:
        why.append(Reason("feet_may_strike"))
    elif found.feet < settings.ground_clearance:
        why.append(Reason("feet_low", feet=found.feet, asked=settings.ground_clearance))
    if met == GROUND and found.feet > 0:
        why.append(Reason("swings_into_ground"))
    return tuple(why)


def spoiled(
    tree: StructuralModel, contacts: Sequence[Contact], base: Floats, broken: int, work: Floats
) -> Reason | None:
    """At which of the highest, farthest-out and lowest places (w, 3) a climber is not held when a basal
    rope's support breaks, and why; None where at none. [m] Where the feet are not clear of the ground to
    begin with, no back-up is asked for."""
    ground = tree.beside.terrain.height_at(work[:, :2])
    ground = np.where(np.isfinite(ground), ground, tree.graph.xyz[0, 2])
    work = work[work[:, 2] - ground >= tree.settings.harness_to_feet + tree.settings.ground_clearance]
    if len(work) == 0:
        return None
    out = np.hypot(*(work[:, :2] - contacts[-1].point[:2]).T)
    foot = tree.graph.xyz[0, 2]
    for row, place in (
        (int(np.argmin(work[:, 2])), Reason("work_lowest", height=work[:, 2].min() - foot)),
        (int(np.argmax(out)), Reason("work_farthest", out=out.max())),
        (int(np.argmax(work[:, 2])), Reason("work_highest", height=work[:, 2].max() - foot)),
    ):
        found = failure_chain(tree, True, contacts, work[row], base, broken)
        if found.reason is not None:
            return Reason("fails_from_work", place=place, why=found.reason)
    return None


def _margin(
    tree: StructuralModel, contacts: Sequence[Contact], run: RopeRun, peak: float
) -> tuple[Estimate, LoadPath | None, Floats | None]:
    """Margin of the weakest wood under the rope that stops the fall, every leg at the peak force."""
    if unseen(tree, contacts):
        return UNKNOWN, None, None
    path = load_path(tree, contacts)
    share = peak * run.touches[:, None, None]
    pull = np.asarray(share * np.stack([run.toward_start, run.toward_end], axis=1), float)
    loads = LegLoads(np.stack([run.arrive, run.leave], axis=1), pull)
    utilised = used(path, loads)
    case = margin_case(
        tree, path, contacts, loads, len(contacts) - 1, RopeFriction.none(2 * len(contacts)), utilised
    )
    margin, _ = sampled_reliability(
        case, tree.few, stands=tree.settings.stands, low_share=tree.low_share
    )
    split, _ = worst_split(tree, path, loads.point[None], loads.force[None])
    margin = margin.over(max(split / float(utilised.max()), 1.0))
    gated = any(int(n) in tree.sections.reported.gate for n in path.node)
    return (Estimate(0.0, 0.0, 0.0) if gated else margin), path, utilised


def _met(
    tree: StructuralModel, before: tuple[Suspension, Hold], found: Fall, gone: np.ndarray
) -> tuple[int, float]:
    """What the climber's body meets first on the way to the new hold and beyond it, as in `first_met`, and
    how fast. [m/s]

    Tried on the rope as it lies, on the rope stretched by the whole stop, and from the hanging place down
    that stretch. Where a limb did not stop the
    climber they may not have swung to plumb under it yet: the place farther out counts.
    """
    assert found.suspension is not None and found.run is not None
    (suspension, hold), pivot = before, found.run.leave[-1]
    here, there = suspension.climber, np.array([*hold.climber[:2], suspension.climber[2]])
    start = max(here, there, key=lambda p: float(np.linalg.norm(p[:2] - pivot[:2])))
    fallen = max(float(hold.climber[2] - start[2]), 0.0)
    end, legs = found.suspension.climber, tree.settings.harness_to_feet
    length = float(pivot[2] - end[2])
    for place, rope in ((start, length), (start, length + found.stretch), (end, length + found.stretch)):
        way, speed = fall_way(place, pivot, rope, fallen + float(start[2] - place[2]))
        ground = tree.beside.terrain.height_at(way[:, :2])
        ground = np.where(np.isfinite(ground), ground, tree.graph.xyz[0, 2])
        met, step = first_met(tree.graph, gone, way, way[:, 2] - legs, ground, tree.settings.catch_diameter)
        if met != NOTHING:
            fast = speed[step] if step <= DROP_STEPS else feet_speed(speed[step], rope, legs)
            return met, float(fast)
    return NOTHING, 0.0


def _catch(tree: StructuralModel, found: Fall, told: _Told) -> Catch:
    """One link of the chain, and how it comes about."""
    assert found.suspension is not None and found.run is not None
    g, contact, margin, met = tree.graph, found.suspension.contacts[-1], told.margin, told.met
    row, label = label_of(g, contact.node)
    forces = _force_on_limbs(tree, found)
    reason = Reason(
        "rope_caught",
        catch=label,
        wood=limb_named(g.limb[contact.node]),
        diameter=known(2 * contact.radius),
        height=contact.point[2] - g.xyz[0, 2],
        slide=found.slide if found.slide > TOLD_SLIDE else None,
        drop=max(found.drop, 0.0),
        sideways=found.sideways if found.sideways > TOLD_SWING else None,
        met=None if met == NOTHING else Reason("ground_itself") if met == GROUND else limb_named(met),
        speed=told.speed,
        peak=found.peak,
        force=forces.pop(int(g.limb[contact.node])),
        also=tuple(Reason("force_on_wood", wood=limb_named(k), force=f) for k, f in forces.items()),
        low=margin.p5 if margin.known else None,
        seen=margin.known,
        stops=told.stops,
        again=told.again,
        stretch=found.stretch,
        lowest=_lowest(found.feet, tree.settings.ground_clearance),
    )
    return Catch(
        -1 if row is None else row, label, found.slide, max(found.drop, 0.0), found.peak, margin, reason
    )


def _force_on_limbs(tree: StructuralModel, found: Fall) -> dict[int, float]:
    """Whole force of the rope on every limb it bears on, all contacts added as vectors, by limb. [N]"""
    assert found.suspension is not None and found.run is not None
    each = found.run.contact_forces(np.full(len(found.run.leg), found.peak))
    limb = tree.graph.limb[[c.node for c in found.suspension.contacts]]
    return {int(k): float(np.linalg.norm(each[limb == k].sum(axis=0))) for k in dict.fromkeys(limb.tolist())}


def _lowest(feet: float, clearance: float) -> Reason:
    """The lowest point of a fall."""
    if feet <= 0:
        return Reason("feet_may_strike")
    return Reason("feet_stay_up" if feet >= clearance else "feet_too_low", feet=feet)


def _common_cause(tree: StructuralModel, contacts: Sequence[Contact], gone: np.ndarray) -> Reason | None:
    """The break that takes the anchor and supports of the same rope together."""
    g = tree.graph
    top = contacts[-1]
    also = [label_of(g, c.node)[1] for c in contacts[:-1] if gone[c.node]]
    if not (gone[top.node] and also):
        return None
    return Reason("back_up_breaks_too", anchor=label_of(g, top.node)[1], others=tuple(dict.fromkeys(also)))


def _shared(tree: StructuralModel, top: Contact, catcher: Contact) -> Reason | None:
    """The wood on which both the anchor and what catches stand: a limb, or the stem above the lowest limb
    thick enough to catch a rope (of two leaders one is the stem); the stem below carries every support of the
    tree."""
    g = tree.graph
    node = common_node(g.parent, top.node, catcher.node)
    if not tree.leaves_limbs[node]:
        return None
    wood = limb_named(g.limb[node]) if g.limb[node] else Reason("stem_above_limb", height=_lowest_limb(tree))
    return Reason(
        "back_up_same_wood", anchor=label_of(g, top.node)[1], back_up=label_of(g, catcher.node)[1], wood=wood
    )


def _lowest_limb(tree: StructuralModel) -> float:
    """Height above the stem's foot at which the lowest limb thick enough to catch a rope leaves the stem.
    [m]"""
    g, stem = tree.graph, tree.graph.limbs.nodes[0]
    above = stem[tree.leaves_limbs[stem]]
    return float(g.xyz[g.parent[above[0]], 2] - g.xyz[0, 2])


def _foot(tree: StructuralModel, contact: Contact) -> int:
    """First counted node of the contact's limb: where an unseen catcher is taken to break."""
    line = tree.graph.limbs.nodes[tree.graph.limb[contact.node]]
    return next((int(i) for i in line if tree.sections.counted[i]), contact.node)
