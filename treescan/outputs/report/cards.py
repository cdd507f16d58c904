"""One candidate as a card: why and why not, then the climber's questions in order, every figure in words with its unit."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from treescan.assess import Assessment
from treescan.cautions import CAUTIONS
from treescan.loads.statics.likely_breaks import STEM
from treescan.outputs.report.phrases import (
    candidate_name,
    line_kind,
    margin_of,
    missed_work,
    rope_to_bring,
    section_of,
    stand_of,
    way_start,
    work_place,
)
from treescan.outputs.rows.contact_rows import contact_rows, contact_words
from treescan.outputs.shapes.first_line import first_line
from treescan.outputs.shapes.place_names import place_of
from treescan.outputs.shapes.seen_share import seen_share
from treescan.outputs.text import wording as w
from treescan.outputs.text.say import figure, listed, say, say_all, text, word
from treescan.planning.tie_in_point import TieInPoint
from treescan.reason import Reason
from treescan.throw.throw_path import Throw

QUESTIONS = ("ask_seen", "ask_line", "ask_hold", "ask_fail", "ask_reach", "ask_order")
"""Codes of the climber's questions, in order."""
ALL_SEEN = 0.9995
"""A path seen to more than this share prints as 100 %."""


class Row(NamedTuple):
    """One line of an answer: its code, its label and the figure or sentence beside it."""

    code: str
    label: str
    text: str


@dataclass(frozen=True)
class Answer:
    """One question (a code of `QUESTIONS`) answered: rows, then steps in order."""

    question: str
    rows: tuple[Row, ...]
    steps: tuple[str, ...] = ()

    def only(self, *codes: str) -> tuple[Row, ...]:
        """The rows of these codes."""
        return tuple(r for r in self.rows if r.code in codes)

    def without(self, *codes: str) -> tuple[Row, ...]:
        """All other rows."""
        return tuple(r for r in self.rows if r.code not in codes)


@dataclass(frozen=True)
class Card:
    """What the page shows of one candidate."""

    key: str
    number: int
    point: TieInPoint
    title: str
    place: str
    answers: tuple[Answer, ...]
    scores: tuple[tuple[str, str], ...]
    cautions: tuple[str, ...]


def card(a: Assessment, p: TieInPoint, number: int) -> Card:
    """The card of candidate `number` (its row in `Assessment.points`)."""
    return Card(
        key=f"c{number}",
        number=number,
        point=p,
        title=candidate_name(p),
        place=say(place_of(a.tree.graph, p)),
        answers=(
            seen_answer(a, p),
            line_answer(a, p),
            hold_answer(a, p),
            fail_answer(p),
            reach_answer(a, p),
            order_answer(a, p),
        ),
        scores=tuple((word(name), figure(v, "x2")) for name, v in p.scores.items()),
        cautions=(*(CAUTIONS[k] for k in p.cautions if k in CAUTIONS), *say_all(a.species_warnings)),
    )


def row(code: str, shown: str, **values: Any) -> Row:
    """A row whose label is the text of `code`."""
    return Row(code, text(code, **values), shown)


def seen_answer(a: Assessment, p: TieInPoint) -> Answer:
    """What the scan saw of the union and of the wood that carries it."""
    graph, nodes = a.tree.graph, np.asarray(p.check.check.nodes)
    u, k = graph.unions, p.union
    below = Reason("thickness", d=float(u.parent_diameter[k]), sd=float(u.parent_diameter_sd[k]))
    arms = zip(u.arm_diameter[u.arms(k)], u.arm_diameter_sd[u.arms(k)], strict=True)
    rows = [
        row("card_below", say(below)),
        row(
            "card_above",
            text("list_all", items=tuple(Reason("thickness", d=float(d), sd=float(s)) for d, s in arms)),
        ),
        row("card_aspect", figure(u.aspect_ratio(k), "x2")),
        row("card_union_notes", listed((word(f) for f in u.flags[k]), "list_none")),
    ]
    share = seen_share(graph, nodes)
    if w.finite(share):
        rows.append(row("card_path_seen", text("card_path_share", share=share, gap=share < ALL_SEEN)))
        arc = graph.arc[nodes]
        if np.isfinite(arc).any():
            rows.append(row("card_bark_arc", figure(float(np.nanmin(arc)), "deg")))
    return Answer("ask_seen", tuple(rows))


def line_answer(a: Assessment, p: TieInPoint) -> Answer:
    """From where and how the first line is thrown, and what comes of it."""
    t = first_line(a, p)
    if t is None:
        blocked = a.throws.blocked_by[p.union] if p.union < len(a.throws.blocked_by) else None
        none = row("card_throw", text("card_throw_none", start=way_start(p)))
        return Answer("ask_line", (none, *((row("card_blocked", say(blocked)),) if blocked else ())))
    azimuth = t.azimuth % (2 * math.pi)
    rows = [
        *_another_union(a, p, t),
        row("card_stand", say(stand_of(a, p))),
        row(
            "card_aim",
            text("card_aim_at", azimuth=azimuth, elevation=t.elevation, speed=t.speed, method=t.method),
        ),
        row("card_chance", text("card_chance_throws", chance=t.chance, throws=t.expected_throws)),
        row("card_line", word(line_kind(t.isolation_class))),
        row("card_also_under", listed((word(u) for u in t.captured_unions), "card_nothing_else")),
        row("card_rest", text("card_rest_out", out=t.rest_distance, slides=t.slides)),
        row("card_min_bag", figure(t.min_weight, "g")),
    ]
    return Answer("ask_line", tuple(rows), say_all(t.steps))


def _another_union(a: Assessment, p: TieInPoint, t: Throw) -> list[Row]:
    """Says so where the first line goes over another union than the candidate."""
    if t.union == p.union:
        return []
    u = a.tree.graph.unions
    return [
        row(
            "card_over",
            text("card_over_other", union=u.label[t.union], height=float(u.height[t.union]), label=p.label),
        )
    ]


def hold_answer(a: Assessment, p: TieInPoint) -> Answer:
    """Forces, strength over stress, and what to know beside them."""
    k, c = p.check, p.check.check
    rows = [
        row("card_verdict", text("card_verdict_why", verdict=c.verdict, why=say(c.reason))),
        force_row(p),
        *_contact_rows(a, p),
        *((row("card_tied", _tied_to(a, p)),) if p.system == "SRS basal" else ()),
        row("card_case", text("card_case_at", case=k.case, work=work_place(a, k.worst_work_point))),
        row("card_margin", say(margin_of(c.margin))),
        breaks_row(p),
        row("card_section", say(section_of(a, p))),
        row("card_moves", figure(c.deflection, "mm")),
        row("card_own_weight", text("card_own_weight_share", share=c.self_weight_share)),
        *(
            (row("card_friction", text("card_friction_of", multiple=k.friction_multiple)),)
            if w.finite(k.friction_multiple)
            else ()
        ),
        *(row("card_note", say(note)) for note in c.notes),
    ]
    if p.load_test is None:
        return Answer("ask_hold", tuple(rows))
    rows.append(row("card_load_test", text("card_load_test_pull", pull=p.load_test.pull)))
    return Answer("ask_hold", tuple(rows), say_all(p.load_test.steps))


def force_row(p: TieInPoint) -> Row:
    """The governing force, and how many times the weight of a climber who hangs still the union bears."""
    force = float(np.linalg.norm(p.check.force))
    return row("card_force", text("card_force_of", force=force, multiple=p.check.multiple_of_weight))


def breaks_row(p: TieInPoint) -> Row:
    """The chance that it breaks, in ordinary use and in the exceptional case, with what no scan sees counted in."""
    hard, ordinary = p.check.exceptional, p.check.check.chance_told
    if not w.finite(ordinary):
        return row("card_breaks", figure(ordinary, "chance"))
    chances = text(
        "breaking_chance",
        ordinary=ordinary,
        hard=hard.chance_told if hard else None,
        case=hard.case if hard else None,
        hidden=p.check.check.hidden_is_larger,
    )
    return row("card_breaks", chances)


def _contact_rows(a: Assessment, p: TieInPoint) -> list[Row]:
    """What every contact of the rope bears, and how far the rope turns on it; limbs with their height and thickness."""
    rows = []
    for r in contact_rows(a, p):
        support = r.side != "union"
        where = (
            {"side": r.side, "height": r.height, "d": r.diameter}
            if support
            else {"side": None, "height": None, "d": None}
        )
        rows.append(
            row("card_contact", text("card_contact_bears", bears=say(contact_words(r)), **where), on=r.on)
        )
    return rows


def _tied_to(a: Assessment, p: TieInPoint) -> str:
    """What a basal line is tied to, and how far from the stem."""
    configuration, foot = p.check.configuration, a.tree.graph.xyz[0]
    if not configuration.tied_to:
        return text("card_tied_own")
    return text(
        "card_tied_other",
        name=configuration.tied_to,
        distance=float(np.hypot(*(configuration.base - foot)[:2])),
    )


def fail_answer(p: TieInPoint) -> Answer:
    """What breaks, what then catches, and whether the fall stops above the ground."""
    k = p.check
    rows = [row("card_break", say(k.breaks[0].reason))] if k.breaks else []
    for i, c in enumerate(k.catches, start=1):
        rows.append(
            row("card_ground", say(c.reason), i=i)
            if c.ground
            else row("card_catch", say(c.reason), i=i, label=c.label)
        )
    for b in k.breaks[1:]:
        then = text("card_break_then", why=say(b.reason), then=say(b.catches[0].reason))
        if b.likely:
            rows.append(row("card_other_break", then))
        else:
            rows.append(row("card_apart_stem" if b.kind == STEM else "card_apart_own", then))
    return Answer("ask_fail", (*rows, *stopped_rows(p)))


def stopped_rows(p: TieInPoint) -> tuple[Row, ...]:
    """Whether a later limb stops the fall, and what takes both lines at once."""
    k = p.check
    stopped = row("card_stopped", text("card_stopped_yes" if k.redundant else "card_stopped_no"))
    return (stopped, *((row("card_common", say(k.common_cause)),) if k.common_cause else ()))


def reach_answer(a: Assessment, p: TieInPoint) -> Answer:
    """How much of the work the rope reaches, at which angles, and where a slip swings."""
    r = p.reach
    fouled = int((np.asarray(r.fouled) >= 0).sum())
    shares = tuple(Reason("share_within", limit=limit, share=share) for limit, share in r.share_at)
    swing = text(
        "card_swing_of", swing=r.swing, speed=r.swing_speed, force=r.swing_force, hits=say(r.swing_hits)
    )
    rows = [
        row("card_served", figure(r.share, "%")),
        row("card_angles", text("list_all", items=shares)),
        row("card_widest", figure(r.worst_angle, "deg")),
        row("card_swing", swing),
        row("card_missed", say(missed_work(a, ~np.asarray(r.served, bool)))),
        row(
            "card_fouled",
            text("card_fouled_of", n=fouled, all=len(r.fouled)) if fouled else text("card_fouled_none"),
        ),
        *(row("card_in_the_way", say(f)) for f in p.fouling),
        *(row("card_wire", say(c.words)) for c in p.clearances),
    ]
    return Answer("ask_reach", tuple(rows))


def order_answer(a: Assessment, p: TieInPoint) -> Answer:
    """Rope and kit, then the way up step by step."""
    rope = p.rope
    parts = tuple(Reason("rope_part", what=what, length=length) for what, length in rope.parts)
    rows = (
        row("card_rope", text("rope_parts", length=rope.length, parts=parts)),
        row("card_bring", say(rope_to_bring(p))),
        row("card_throwline", _throwline(a, p)),
        row("card_kit", "; ".join(say_all(rope.kit))),
        *(row("card_care", say(care)) for care in p.care),
        *((row("card_down", say(p.retrieval.words)),) if p.retrieval is not None else ()),
    )
    steps = tuple(
        text("card_step", label=s.label, height=s.height if s.union is not None else None, how=say(s.words))
        for s in p.access
    )
    return Answer("ask_order", rows, steps)


def _throwline(a: Assessment, p: TieInPoint) -> str:
    """Length of throwline: of the candidate's own throw, else of the first line on the way up."""
    if p.rope.throwline > 0:
        return figure(p.rope.throwline, "m")
    t = first_line(a, p)
    if t is None:
        return text("card_throwline_none")
    taut = float(np.linalg.norm(np.diff(t.settled, axis=0), axis=1).sum())
    return text("card_throwline_taut", length=taut, union=a.tree.graph.unions.label[t.union])
