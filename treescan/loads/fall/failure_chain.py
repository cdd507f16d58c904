"""The whole story of one failure: a limb breaks, the rope lands on the next, that holds or breaks, down to the ground."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from treescan.estimate import Estimate
from treescan.loads.fall.backup import LONGEST, UNKNOWN, Fall, Hang, carried, common_node, fall, label_of, next_supports, to_ground
from treescan.loads.fall.fall_way import fall_way, first_met
from treescan.loads.limb_check import Catch
from treescan.loads.rope.contacts import Contact, supports_of
from treescan.loads.rope.rope_run import RopeRun, taut_rope
from treescan.loads.settings import LoadSettings
from treescan.loads.statics.load_path import LegLoads, LoadPath, StructuralModel, likely_breaks, load_path, margin_case, unseen, used
from treescan.loads.statics.reliability import drawn
from treescan.wood.graph import Floats


@dataclass(frozen=True)
class Chain:
    """What follows from one break with the climber at one place.

    Attributes
    ----------
    catches : tuple of Catch    What catches, one after the other, each one assumed to fail in turn; the ground last.
    redundant : bool            One of them holds the climber clear of the ground at its low end.
    common_cause : str          "" or which wood carries the anchor and its back-up alike.
    reason : str                Why it is not redundant, in words; "" where it is.
    """

    catches: tuple[Catch, ...]
    redundant: bool
    common_cause: str
    reason: str


def failure_chain(tree: StructuralModel, basal: bool, contacts: Sequence[Contact], climber: Floats, base: Floats, broken: int) -> Chain:
    """What catches, one after the other, when the wood at node `broken` gives way.

    Parameters
    ----------
    basal : bool                Only a rope fixed at the ground stays in the tree.
    contacts : sequence         Rope order from the base; the one next to the climber last.
    climber, base : (3,)        [m]
    broken : int                Node of the section that fails; all it carries goes with it.
    """
    g, settings, s = tree.graph, tree.settings, tree.sections
    if not basal:
        height = float(climber[2] - tree.ground_below(climber))
        told = to_ground(height, f"The rope goes with the limb and nothing holds its other end: {height:.1f} m to the ground.")
        return Chain((told,), False, "", "the rope goes with what breaks")
    gone = carried(g.parent, broken)
    cause = _common_cause(tree, contacts, gone)
    hang = Hang(tuple(contacts), climber)
    rope = taut_rope(base, climber, supports_of(contacts), hung=True).length
    catches: list[Catch] = []
    against: list[str] = []
    for _ in range(LONGEST):
        supports = next_supports(g, gone, hang, base, settings, s.counted, s.point)
        found = fall(hang, supports, base, rope, tree.ground_below, settings)
        if found.hang is None or found.run is None:
            drop, late = found.drop, found.run is not None
            break
        caught = found.hang.contacts
        margin, path, utilised = _margin(tree, caught, found.run, found.peak)
        met, speed = _met(tree, hang, found, gone)
        catches.append(_catch(tree, found, margin, met, speed))
        against.append(_against(found, margin, met, settings))
        cause = cause or _shared(tree, contacts[-1], caught[-1])
        broken = _foot(tree, caught[-1])
        if path is not None and utilised is not None:
            broken = int(path.node[likely_breaks(tree, path, utilised)[0][1]])
        gone = gone | carried(g.parent, broken)
        hang = found.hang
    else:
        drop, late = float(hang.climber[2] - tree.ground_below(hang.climber)), False
    reason = "what catches leaves so much rope that the climber comes to the ground" if late else "nothing catches the rope"
    if catches:
        reason = f"{catches[0].label} catches, but {against[0]}"
    if len(catches) > 1:
        reason += ", and nothing that catches after it does better"
    redundant = not all(against)
    end = "What catches next leaves too much rope" if late else f"Nothing {'else ' if catches else ''}catches"
    catches.append(to_ground(drop, f"{end}: {drop:.1f} m to the ground."))
    return Chain(tuple(catches), redundant, cause, "" if redundant else reason)


def _against(found: Fall, margin: Estimate, met: str, settings: LoadSettings) -> str:
    """Why a catch does not count as held, or nothing."""
    why = []
    if not margin.known:
        why.append("its strength was not seen")
    elif margin.p5 < settings.holds_p5:
        why.append(f"the low end of its strength is {margin.p5:.2f} times the stress of that stop ({settings.holds_p5:g} is asked)")
    if found.feet <= 0:
        why.append("the feet may strike the ground first")
    elif found.feet < settings.ground_clearance:
        why.append(f"the feet come within {found.feet:.1f} m of the ground ({settings.ground_clearance:g} m is asked)")
    if met == "the ground":
        why.append("the climber swings into the ground")
    return " and ".join(why)


def spoiled(tree: StructuralModel, contacts: Sequence[Contact], base: Floats, broken: int, work: Floats) -> str:
    """Which of the highest, farthest-out and lowest places (w, 3) a climber is not held at when a basal rope's support breaks, and why; or
    nothing. [m] Where the feet are not clear of the ground to begin with, no back-up is asked for."""
    ground = tree.beside.terrain.height_at(work[:, :2])
    ground = np.where(np.isfinite(ground), ground, tree.graph.xyz[0, 2])
    work = work[work[:, 2] - ground >= tree.settings.harness_to_feet + tree.settings.ground_clearance]
    if len(work) == 0:
        return ""
    out = np.hypot(*(work[:, :2] - contacts[-1].point[:2]).T)
    foot = tree.graph.xyz[0, 2]
    for row, name in (
        (int(np.argmin(work[:, 2])), f"the lowest work point, {work[:, 2].min() - foot:.1f} m up"),
        (int(np.argmax(out)), f"the work point farthest out, {out.max():.1f} m"),
        (int(np.argmax(work[:, 2])), f"the highest work point, {work[:, 2].max() - foot:.1f} m up"),
    ):
        found = failure_chain(tree, True, contacts, work[row], base, broken)
        if not found.redundant:
            return f"with the climber at {name}, {found.reason}"
    return ""


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
    zero = np.zeros(2 * len(contacts))
    case = margin_case(tree, path, contacts, loads, len(contacts) - 1, zero, np.zeros(3), 0.0, utilised)
    margin, _ = drawn(case, tree.few, stands=tree.settings.stands)
    gated = any(int(n) in tree.sections.reported.gate for n in path.node)
    return (Estimate(0.0, 0.0, 0.0) if gated else margin), path, utilised


def _met(tree: StructuralModel, before: Hang, found: Fall, gone: np.ndarray) -> tuple[str, float]:
    """What the climber meets first on the way to the new hold and beyond it, or nothing, and how fast. [m/s]"""
    assert found.hang is not None and found.run is not None
    pivot = found.run.leave[-1]
    way, speed = fall_way(before.climber, pivot, float(pivot[2] - found.hang.climber[2]))
    ground = tree.beside.terrain.height_at(way[:, :2])
    ground = np.where(np.isfinite(ground), ground, tree.graph.xyz[0, 2])
    met, step = first_met(tree.graph, gone, way, way[:, 2] - tree.settings.harness_to_feet, ground, tree.settings.catch_diameter)
    return met, float(speed[step])


def _catch(tree: StructuralModel, found: Fall, margin: Estimate, met: str, speed: float) -> Catch:
    """One link of the chain in words."""
    assert found.hang is not None and found.run is not None
    g, contact = tree.graph, found.hang.contacts[-1]
    row, label = label_of(g, contact.node)
    force = float(np.linalg.norm(found.run.contact_forces(np.full(len(found.run.leg), found.peak))[-1]))
    height = contact.point[2] - g.xyz[0, 2]
    words = (
        f"The rope drops onto {label} (limb {g.limb[contact.node]}, {2000 * contact.radius:.0f} mm, {height:.1f} m up)"
        f"{f', slides {found.slide:.1f} m into its union' if found.slide > 0.05 else ''}; the climber drops {max(found.drop, 0.0):.1f} m"
        f"{f' and swings {found.sideways:.1f} m to plumb and as far beyond' if found.sideways > 0.3 else ''}"
        f"{f', first into {met} at {speed:.0f} m/s' if met else ''}; "
        f"peak {found.peak / 1000:.1f} kN in the rope, {force / 1000:.1f} kN on the limb; "
        f"{f'low end of its strength over stress {margin.p5:.2f}' if margin.known else 'its strength was not seen'}; "
        f"the rope stretches up to {found.stretch:.1f} m, {_lowest(found.feet, tree.settings.ground_clearance)}."
    )
    return Catch(-1 if row is None else row, label, found.slide, max(found.drop, 0.0), found.peak, margin, words)


def _lowest(feet: float, clearance: float) -> str:
    """The lowest point of a fall in words."""
    if feet <= 0:
        return "the feet may strike the ground first"
    return f"the feet come to {feet:.1f} m above the ground{'' if feet >= clearance else ', too low to count as held'}"


def _common_cause(tree: StructuralModel, contacts: Sequence[Contact], gone: np.ndarray) -> str:
    """The break that takes the anchor and supports of the same rope together."""
    g = tree.graph
    top = contacts[-1]
    also = [label_of(g, c.node)[1] for c in contacts[:-1] if gone[c.node]]
    if not (gone[top.node] and also):
        return ""
    return f"{label_of(g, top.node)[1]} and its back-up {', '.join(dict.fromkeys(also))} go with the same break"


def _shared(tree: StructuralModel, top: Contact, catcher: Contact) -> str:
    """The wood on which both the anchor and what catches stand: a limb, or the stem above the lowest limb thick enough to catch a rope (of two
    leaders one is the stem); the stem below carries every support of the tree."""
    g = tree.graph
    node = common_node(g.parent, top.node, catcher.node)
    if not tree.leaves_limbs[node]:
        return ""
    on = f"limb {g.limb[node]}" if g.limb[node] else f"the stem above its lowest limb ({_lowest_limb(tree):.1f} m up)"
    return f"{label_of(g, top.node)[1]} and its back-up {label_of(g, catcher.node)[1]} both stand on {on}"


def _lowest_limb(tree: StructuralModel) -> float:
    """Height above the stem's foot at which the lowest limb thick enough to catch a rope leaves the stem. [m]"""
    g, stem = tree.graph, tree.graph.limbs.nodes[0]
    above = stem[tree.leaves_limbs[stem]]
    return float(g.xyz[g.parent[above[0]], 2] - g.xyz[0, 2])


def _foot(tree: StructuralModel, contact: Contact) -> int:
    """First counted node of the contact's limb: where an unseen catcher is taken to break."""
    line = tree.graph.limbs.nodes[tree.graph.limb[contact.node]]
    return next((int(i) for i in line if tree.sections.counted[i]), contact.node)
