"""What threatens here? Wires, roads and targets with their distances, dead wood, the fall, what was not seen: first things first."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from treescan.assess import Assessment
from treescan.geometry import inside
from treescan.outputs.rows.removal_rows import OF_BLOCK, OF_LIFE
from treescan.outputs.shapes.first_line import first_line
from treescan.outputs.shapes.place_names import place_names
from treescan.outputs.shapes.seen_share import seen_share
from treescan.planning.ranking.overrides import Override, stated_dead
from treescan.planning.tie_in_point import Floats, TieInPoint
from treescan.planning.work.piece_room import plan_distance
from treescan.reason import Reason
from treescan.settings import lines
from treescan.trees.beside import Area
from treescan.wood.graph import DEAD_SUSPECT

ALARMING = {"wires_claimed", "work_near_conductor"}
WIRES = {*ALARMING, "wires_said", "poles_without_wires"}
"""Codes of warnings about wires, and those that are told first."""
HEADS = {"eased": "head_eased", "cuts": "head_cuts", "wire": "head_wire", "area": "head_area", "dead": "head_dead", "fall": "head_fall", "unseen": "head_unseen"}
"""Code of the heading of each kind."""
LESS_IF_LOWER = (
    "loads.holds_p5", "loads.fails_p5", "loads.exceptional_p5", "loads.exceptional_median",
    "planning.margin_gate", "planning.margin_doubt",
)  # fmt: skip
LESS_IF_HIGHER = ("loads.holds_chance", "loads.tested_chance")
CASES_TRIED = "loads.cases"
"""Settings that ask less of the wood when they are lowered, raised or shortened."""
MOST_NAMED = 3
"""Suspects of dead wood that are named; more are counted."""
ALL_SEEN = 0.995
"""A load path seen to more than this share is called seen."""
NEAR_THE_THROW = 2.0
"""A flight that passes stated dead wood nearer than this is told (project choice). [m]"""
STATED = {"threat_stated_dead", "threat_said_dead"}
"""Codes of what a person stated of dead wood: all of it is told, everywhere."""
AGAINST = {**OF_LIFE, **OF_BLOCK}
"""Alarms against what climber and block are planned to hang on."""
FAR = 30.0
"""Areas farther from the crown than this are not told. [m]"""


@dataclass(frozen=True)
class Threat:
    """One of them: its kind as code ("eased", "cuts", "wire", "area", "dead", "fall", "unseen"), what was found, whether it is told first, and the
    same in a few words."""

    kind: str
    found: Reason
    alarm: bool
    short: Reason

    @property
    def head(self) -> str:
        """Code of its heading."""
        return HEADS[self.kind]


def threats(a: Assessment, p: TieInPoint | None) -> tuple[Threat, ...]:
    """Of the site, and of the climb on one candidate, the alarming ones first in each kind."""
    fall = () if p is None else (_fall(a, p),)
    found = (*eased(a), *cuts(a), *wires(a, p), *areas(a), *dead(a, p), *fall, *_unseen(a, p))
    return tuple(sorted(found, key=lambda t: not t.alarm))


def eased(a: Assessment) -> tuple[Threat, ...]:
    """What asks less of the wood than the product asks by itself, by the names of the settings, and load cases that
    were left out; () where nothing does."""
    now, usual = ({line.name: line.value for line in lines(s)} for s in (a.settings, type(a.settings)()))
    lower = [n for n in LESS_IF_LOWER if now[n] < usual[n]] + [n for n in LESS_IF_HIGHER if now[n] > usual[n]]
    left_out = [c for c in usual[CASES_TRIED] if c not in now[CASES_TRIED]]
    if not lower and not left_out:
        return ()
    told = Reason("threat_eased", settings=", ".join(lower) or None, cases=", ".join(left_out) or None)
    return (Threat("eased", told, True, Reason("threat_eased_short")),)


def cuts(a: Assessment) -> tuple[Threat, ...]:
    """How many cuts are planned, and at which of them something speaks against what climber or block hang on; () without a
    removal."""
    stages = a.climb.stages if a.climb is not None else ()
    if not stages:
        return ()
    bad = tuple(str(s.number) for s in stages if any(x.code in AGAINST for x in s.alarms))
    told = Reason("threat_cuts", n=len(stages), bad=len(bad), cuts=", ".join(bad), alarms=sum(len(s.alarms) for s in stages))
    return (Threat("cuts", told, bool(bad), Reason("threat_cuts_short", n=len(stages), bad=len(bad), cuts=", ".join(bad))),)


def wires(a: Assessment, p: TieInPoint | None) -> tuple[Threat, ...]:
    """Nearest approach to every conductor, and what the site lacks; one line says so where none is known."""
    nearest: dict[str, tuple[float, Threat]] = {}
    for c in () if p is None else p.clearances:
        told = Threat(
            "wire",
            Reason("threat_wire", to=c.to, distance=float(c.distance), what=c.what, limit=float(c.limit), breach=bool(c.breach)),
            bool(c.breach),
            Reason("threat_wire_short", distance=float(c.distance)),
        )
        key = repr(c.to)
        if key not in nearest or c.distance < nearest[key][0]:
            nearest[key] = (float(c.distance), told)
    warned = tuple(
        Threat("wire", w, w.code in ALARMING, _brief(w))
        for w in (a.climb.warnings if a.climb is not None else ())
        if w.code in WIRES
    )
    found = (*(t for _, t in nearest.values()), *warned)
    return tuple(sorted(found, key=_how_near)) or (Threat("wire", Reason("threat_no_wire"), False, Reason("threat_wire_missing_short")),)


def _how_near(t: Threat) -> float:
    """Distance that is told [m]; infinite where none is."""
    return float(t.short.values.get("distance", float("inf")))


def _brief(warning: Reason) -> Reason:
    """A warning about wires in a few words."""
    if warning.code == "work_near_conductor":
        return Reason("threat_work_wire_short", distance=warning["distance"])
    if warning.code == "wires_claimed":
        return Reason("threat_wire_claimed_short", distance=warning["away"])
    return Reason("threat_wire_missing_short")


def areas(a: Assessment) -> tuple[Threat, ...]:
    """Roads, buildings, water and closed ground drawn on the site plan, the nearest first: from the stem, and whether the crown is
    over them."""
    found = []
    for area in a.site.areas():
        away, over = _away(a, area)
        if away <= FAR:
            told = Reason("threat_area", what=area.kind, name=area.name or None, distance=away, over=over)
            brief = Reason("threat_area_short", what=area.kind, distance=away, over=over)
            found.append((away, Threat("area", told, over, brief)))
    return tuple(t for _, t in sorted(found, key=lambda f: f[0]))


def _away(a: Assessment, area: Area) -> tuple[float, bool]:
    """Distance of an area from the stem's foot [m], and whether limbs stand over it."""
    xy = a.tree.graph.xyz[:, :2]
    return plan_distance(area.ring, xy[0]), bool(inside(area.ring, xy).any())


def dead(a: Assessment, p: TieInPoint | None) -> tuple[Threat, ...]:
    """What people stated to be dead first, in their words; then limbs that look dead in the scan, by name where they are few.

    That no limb looks dead is said only where nobody spoke of dead wood.
    """
    told = said_dead(a, p)
    return (*told, *_looks_dead(a, alone=not told))


def said_dead(a: Assessment, p: TieInPoint | None) -> tuple[Threat, ...]:
    """Dead wood by the word of a person: who, when and why letter for letter, and what it means for stand, throw and climb."""
    graph = a.tree.graph
    found = [_stated(a, p, o, graph.xyz[part]) for o, part in stated_dead(graph, a.overrides)]
    brought_up = (o for o in a.overrides if o.kind != "dead" and "dead" in o.why.casefold())
    found += [Reason("threat_said_dead", statement=o.reason) for o in brought_up]
    return tuple(Threat("dead", r, True, r) for r in found)


def _stated(a: Assessment, p: TieInPoint | None, o: Override, wood: Floats) -> Reason:
    """One statement with its wood, (k, 3): how far under it the candidate is, and how near the first flight passes."""
    if p is None or not len(wood):
        return Reason("threat_stated_dead", statement=o.reason, below=None, label=None, past=None)
    below = float(wood[:, 2].min() - a.tree.graph.unions.place[p.union, 2])
    throw = first_line(a, p)
    past = None if throw is None else float(cKDTree(wood).query(throw.path)[0].min())
    return Reason(
        "threat_stated_dead",
        statement=o.reason,
        below=below if below > 0 else None,
        label=p.label,
        past=past if past is not None and past < NEAR_THE_THROW else None,
    )


def _looks_dead(a: Assessment, alone: bool) -> tuple[Threat, ...]:
    """Suspects of the scan; where there is none that is said if nothing else is."""
    u = a.tree.graph.unions
    rows = [k for k in range(len(u)) if DEAD_SUSPECT in u.flags[k]]
    if not rows and not alone:
        return ()
    if not rows:
        return (Threat("dead", Reason("threat_no_dead"), False, Reason("threat_no_dead_short")),)
    names = place_names(a.tree.graph)
    shown = tuple(Reason("place_with_code", place=names[k], label=u.label[k]) for k in rows[-MOST_NAMED:][::-1])
    told = Reason("threat_dead", n=len(rows), names=shown)
    return (Threat("dead", told, True, Reason("threat_dead_short", n=len(rows))),)


def _fall(a: Assessment, p: TieInPoint) -> Threat:
    """What follows if the anchor goes."""
    caught = next((c for c in p.check.catches if not c.ground), None)
    if caught is None or not p.check.redundant:
        hit, height = None if caught is None else caught.label, _height(a, p)
        told = Reason("threat_to_ground", catch=hit, height=height)
        return Threat("fall", told, True, Reason("threat_ground_short", height=height))
    told = Reason("threat_caught", catch=caught.label, drop=float(caught.drop))
    return Threat("fall", told, False, Reason("threat_caught_short", catch=caught.label, drop=float(caught.drop)))


def _height(a: Assessment, p: TieInPoint) -> float:
    """Of the union above the ground. [m]"""
    return float(a.tree.graph.unions.height[p.union])


def _unseen(a: Assessment, p: TieInPoint | None) -> tuple[Threat, ...]:
    """How much of the wood the scan did not see, on the load path and in the crown."""
    path = float("nan") if p is None else seen_share(a.tree.graph, np.asarray(p.check.check.nodes))
    tree = seen_share(a.tree.graph)
    seen = {"path": None if not np.isfinite(path) else path, "tree": tree}
    alarm = not (tree if p is None else path) >= ALL_SEEN
    return (Threat("unseen", Reason("threat_unseen", **seen), alarm, Reason("threat_unseen_short", **seen)),)


def first_of_each(found: tuple[Threat, ...]) -> tuple[Threat, ...]:
    """One of each kind, the first told, for the first screen; everything a person stated of dead wood."""
    kinds: set[str] = set()
    out = []
    for t in found:
        if t.kind not in kinds or t.found.code in STATED:
            out.append(t)
        kinds.add(t.kind)
    return tuple(out)
