"""Why is this place not ranked, and what would help? Asked of any union, answered from its own findings and no other's."""

from __future__ import annotations

from typing import NamedTuple

from treescan.assess import Assessment
from treescan.outputs.shapes.place_names import place_names
from treescan.outputs.text.say import say, say_all, text
from treescan.planning.candidates.rescan_advice import RESCANS
from treescan.planning.climb.what_would_change import WEAK
from treescan.planning.tie_in_point import UNSEEN, TieInPoint
from treescan.reason import Reason

HELPS = {
    **dict.fromkeys(sorted(UNSEEN), "help_rescan"),
    "dead_suspect": "help_dead",
    "outer_limb_dead": "help_dead",
    "too_thin": "help_thin",
    "limb_droops": "help_droops",
    "does_not_hold": "help_strength",
    "margin_low": "help_strength",
    "anchor_near_conductor": "help_wire",
    "not_reachable": "help_reach",
    "no_rescue_line": "help_rescue_line",
    "serves_no_work": "help_work",
}
"""What would help against a finding, by its code; a person's own finding is lifted by that person."""


class Told(NamedTuple):
    """The answer: the place in words, what stands against it, what would help."""

    place: str
    why: tuple[str, ...]
    helps: tuple[str, ...]


def why_not(a: Assessment, p: TieInPoint) -> Told:
    """Of a judged candidate; for a ranked one what to look at first."""
    names = place_names(a.tree.graph)
    place = text("place_with_code", place=names[p.union], label=p.label)
    if p.usable:
        return Told(place, say_all(p.doubts), ())
    against = [g for g in p.gates if g.code not in RESCANS]
    computed = _computed(a, p.union)
    helps = [*computed, *(say(g) for g in p.gates if g.code in RESCANS)]
    helps += [text(HELPS.get(g.code, "help_person")) for g in against if not (computed and g.code in WEAK)]
    return Told(place, say_all(against), tuple(dict.fromkeys((*helps, *_instead(a, p)))))


def _computed(a: Assessment, union: int) -> tuple[str, ...]:
    """What the sums say would change the answer, the nearest first; () where none was looked for."""
    found = next((c for c in a.left_out.changes if c.union == union), None)
    return () if found is None else say_all(found.changes)


def _instead(a: Assessment, p: TieInPoint) -> list[str]:
    """Another way to rig the same union, else the nearest ranked one by place in the tree."""
    ranked = [q for q in a.points if q.usable]
    same = next((q for q in ranked if q.union == p.union), None)
    if same is not None:
        return [text("help_same_union", rank=same.rank, system=same.system, hardware=same.hardware)]
    place = a.tree.graph.unions.place
    near = min(ranked, key=lambda q: float(((place[q.union] - place[p.union]) ** 2).sum()), default=None)
    if near is None:
        return []
    named = Reason("place_with_code", place=place_names(a.tree.graph)[near.union], label=near.label)
    return [text("help_nearest", rank=near.rank, place=named)]


def never_judged(a: Assessment) -> list[tuple[int, Told]]:
    """Unions that are no candidates: row and answer; one look by one line where they are thick enough."""
    judged, looked = {p.union for p in a.points}, {s.union: s for s in a.left_out.screened}
    settings, u = a.settings.planning, a.tree.graph.unions
    out = []
    for k, name in enumerate(place_names(a.tree.graph)):
        if k in judged:
            continue
        low = float(u.height[k]) < settings.min_candidate_height
        thin = text(
            "not_judged",
            low=settings.min_candidate_height if low else None,
            asked=None if low else settings.min_candidate_diameter,
        )
        found = looked.get(k)
        why = (thin,) if found is None else (text("one_look"), *say_all(g for g in found.gates if g.code not in RESCANS))
        out.append((k, Told(text("place_with_code", place=name, label=u.label[k]), why, _computed(a, k))))
    return out
