"""One candidate as a card: why and why not, then the climber's questions in order, every figure in words with its unit."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from treescan.assess import Assessment
from treescan.cautions import CAUTIONS
from treescan.loads.limb_check import AnchorCheck
from treescan.outputs.data.contact_rows import contact_rows, contact_words
from treescan.outputs.shapes.first_line import first_line, first_stop
from treescan.outputs.text import wording as w
from treescan.outputs.text.say import say, say_all
from treescan.planning.tie_in_point import TieInPoint
from treescan.throw.settings import METHOD_WORDS
from treescan.throw.throw_path import CLASS_WORDS, Throw

QUESTIONS = (
    "What did we see?",
    "Can I get a line in?",
    "Will it hold?",
    "What if it fails?",
    "Can I reach the work?",
    "In what order?",
)


@dataclass(frozen=True)
class Answer:
    """One question answered: rows of (label, figure in words), then steps in order."""

    question: str
    rows: tuple[tuple[str, str], ...]
    steps: tuple[str, ...] = ()


@dataclass(frozen=True)
class Card:
    """What the page shows of one candidate."""

    key: str
    number: int
    point: TieInPoint
    title: str
    height: str
    answers: tuple[Answer, ...]
    scores: tuple[tuple[str, str], ...]
    cautions: tuple[str, ...]


def card(a: Assessment, p: TieInPoint, number: int) -> Card:
    """The card of candidate `number` (its row in `Assessment.points`)."""
    answers = (_seen(a, p), _line(a, p), _hold(a, p), _fail(p), _reach(a, p), _order(a, p))
    scores = tuple((name.replace("_", " "), f"{v:.2f}" if w.finite(v) else w.NOT_SEEN) for name, v in p.scores.items())
    return Card(
        key=f"c{number}",
        number=number,
        point=p,
        title=f"{p.label}, {p.system}, {p.hardware}",
        height=w.metres(float(a.tree.graph.unions.height[p.union])),
        answers=answers,
        scores=scores,
        cautions=tuple(CAUTIONS[k] for k in p.cautions if k in CAUTIONS),
    )


def _seen(a: Assessment, p: TieInPoint) -> Answer:
    graph, c = a.tree.graph, p.check.check
    u, k = graph.unions, p.union
    rows = [
        ("Stem or limb below the union", w.diameter(float(u.parent_diameter[k]), float(u.parent_diameter_sd[k]))),
        (
            "Limbs above the union",
            "; ".join(w.diameter(float(d), float(s)) for d, s in zip(u.arm_diameter[u.arms(k)], u.arm_diameter_sd[u.arms(k)], strict=True)),
        ),
        ("Smallest over parent", w.plain(u.aspect_ratio(k), 2)),
        ("Notes on the union", ", ".join(u.flags[k]) or "none"),
    ]
    if len(c.nodes):
        path, length = np.asarray(c.nodes), graph.length[c.nodes]
        share = float((length * graph.seen[path]).sum() / max(length.sum(), 1e-9))
        rows.append(("Load path seen by the scan", w.percent(share) + ("; the rest was bridged: inspect it" if share < 0.9995 else "")))
        arc = graph.arc[path]
        if np.isfinite(arc).any():
            rows.append(("Least arc of bark seen on it", w.degrees(float(np.nanmin(arc)))))
    return Answer(QUESTIONS[0], tuple(rows))


def stand_words(a: Assessment, p: TieInPoint) -> str:
    """Where to stand, from the stem, in words."""
    t = first_line(a, p)
    if t is None:
        return "no standing place gives a throw"
    d = t.stand - a.tree.graph.xyz[0]
    return f"{w.metres(float(np.hypot(d[0], d[1])))} {w.compass(math.atan2(d[0], d[1]))} of the stem"


def _line(a: Assessment, p: TieInPoint) -> Answer:
    t = first_line(a, p)
    if t is None:
        blocked = a.throws.blocked_by[p.union] if p.union < len(a.throws.blocked_by) else ""
        return Answer(
            QUESTIONS[1],
            (
                ("Throw", "none found from the ground: " + _without_throw(p)),
                *((("What stands in the way", blocked),) if blocked else ()),
            ),
        )
    rows = [
        *_another_union(a, p, t),
        ("Stand", stand_words(a, p)),
        (
            "Aim",
            f"towards {w.degrees(t.azimuth % (2 * math.pi))} ({w.compass(t.azimuth)}), {w.degrees(t.elevation)} above level, "
            f"{w.speed(t.speed)} ({METHOD_WORDS.get(t.method, t.method)})",
        ),
        ("Chance of one throw", f"{w.percent(t.chance)}, {w.throws(t.expected_throws)}"),
        ("Line", CLASS_WORDS.get(t.isolation_class, "")),
        ("Also caught", some_names(t.captured_unions) or "nothing else"),
        (
            "Rope comes to rest",
            f"{w.metres(t.rest_distance, 2)} out from the union" + ("; it slides in by itself" if t.slides else "; it stays there"),
        ),
        ("Lightest weight that comes down", w.bag(t.min_weight)),
    ]
    return Answer(QUESTIONS[1], tuple(rows), t.steps)


def _without_throw(p: TieInPoint) -> str:
    """How the way up starts when nothing is thrown from the ground."""
    stop = first_stop(p)
    return f"the way up starts at {stop.label}, {w.metres(stop.height)} up, by ladder or lanyards" if stop else "climb or advance to it"


def _another_union(a: Assessment, p: TieInPoint, t: Throw) -> list[tuple[str, str]]:
    """Says so where the first line goes over another union than the candidate."""
    if t.union == p.union:
        return []
    u = a.tree.graph.unions
    return [("First line over", f"{u.label[t.union]}, {w.metres(float(u.height[t.union]))} up; {p.label} itself has no throw from the ground")]


def section_words(a: Assessment, p: TieInPoint) -> str:
    """The weakest section in words: thickness, height, way it would go."""
    graph, node = a.tree.graph, p.check.check.governing
    if not 0 <= node < len(graph):
        return w.NOT_SEEN
    thick = w.diameter(2 * float(graph.segment_radius[node]), 2 * float(graph.radius_sd[node]))
    above = float(graph.xyz[node, 2] - graph.xyz[0, 2])
    return f"{thick} thick, {w.metres(above)} up, {p.check.check.mode}"


def work_words(a: Assessment, row: int) -> str:
    """A work point with its height and distance from the stem; "straight below" for none."""
    if not 0 <= row < len(a.work):
        return "straight below"
    d = a.work.xyz[row] - a.tree.graph.xyz[0]
    return f"at work point {a.work.label[row]}, {w.metres(float(d[2]))} up and {w.metres(float(np.hypot(d[0], d[1])))} from the stem"


def force_words(size: float, multiple: float) -> str:
    """The governing force [N], and how many times the climber's weight the union bears when the climber hangs still there."""
    return f"{w.force(size)}; under a climber hanging still {w.plain(multiple, 2)} times the weight" if w.finite(size) else w.NOT_SEEN


def breaks_words(k: AnchorCheck) -> str:
    """In how many draws of the uncertain figures stress exceeds strength, in ordinary use and in the exceptional case."""
    said = f"in {w.draws(k.check.overload_chance)} in ordinary use" if w.finite(k.check.overload_chance) else w.NOT_SEEN
    hard = k.exceptional
    if hard is not None and w.finite(hard.overload_chance):
        said += f"; in {w.draws(hard.overload_chance)} under the exceptional load ({hard.case})"
    return said


def _hold(a: Assessment, p: TieInPoint) -> Answer:
    k, c = p.check, p.check.check
    size = float(np.linalg.norm(k.force))
    rows = (
        ("Verdict of the sums", f"{c.verdict}. {c.reason}"),
        ("Force on the union", force_words(size, k.multiple_of_weight)),
        *_contact_rows(a, p),
        *((("Tied to", _tied_words(a, p)),) if p.system == "SRS basal" else ()),
        ("Governing case", f"{k.case}, {work_words(a, k.worst_work_point)}"),
        ("Margin, low figure", w.margin(c.margin.median, c.margin.p5)),
        ("Breaks", breaks_words(k)),
        ("Weakest section", section_words(a, p)),
        ("Bends under load by", w.small(c.deflection)),
        ("Of the weakest section, the wood's own weight uses", w.percent(c.self_weight_share)),
        ("With rope friction helping", _with_friction(k.friction_multiple)),
        *(("To know", note) for note in c.notes),
        *((("Load test", f"{w.force(p.load_test.pull)} on the rope, step by step below"),) if p.load_test is not None else ()),
    )
    return Answer(QUESTIONS[2], rows, p.load_test.words if p.load_test is not None else ())


def _contact_rows(a: Assessment, p: TieInPoint) -> list[tuple[str, str]]:
    """What every contact of the rope bears, and how far the rope turns on it; limbs with their height and thickness."""
    rows = []
    for r in contact_rows(a, p):
        where = f", {r.side}, {w.metres(r.height)} up, {w.diameter(r.diameter)} thick" if r.side != "union" else ""
        rows.append((f"Rope on {r.on}", contact_words(r) + where))
    return rows


def _tied_words(a: Assessment, p: TieInPoint) -> str:
    """What a basal line is tied to, and how far from the stem."""
    configuration, foot = p.check.configuration, a.tree.graph.xyz[0]
    if not configuration.tied_to:
        return "the foot of this stem; it was not judged"
    return f"{configuration.tied_to}, {w.metres(float(np.hypot(*(configuration.base - foot)[:2])))} from this stem; it was not judged"


def _with_friction(multiple: float) -> str:
    return f"{multiple:.2f} times weight; for information, preload can undo it" if w.finite(multiple) else w.NOT_SEEN


def _fail(p: TieInPoint) -> Answer:
    k = p.check
    rows = [("Likeliest break", k.breaks[0].words)] if k.breaks else []
    for i, c in enumerate(k.catches, start=1):
        if c.ground:
            rows.append((f"{i}. the ground", c.words))
        else:
            rows.append(
                (
                    f"{i}. {c.label}",
                    f"{c.words} Drop {w.metres(c.drop)}, peak {w.force(c.peak)}, margin {w.margin(c.margin.median, c.margin.p5)}",
                )
            )
    for b in k.breaks[1:]:
        first = b.catches[0]
        rows.append(("It may also give way here", f"{b.words} {first.words}"))
    rows.append(("Held above the ground by a later limb", "yes, on the stated sums" if k.redundant else "no"))
    if k.common_cause:
        rows.append(("One failure takes both", k.common_cause))
    return Answer(QUESTIONS[3], tuple(rows))


def _reach(a: Assessment, p: TieInPoint) -> Answer:
    r = p.reach
    rows = [
        ("Work served", w.percent(r.share)),
        ("Within rope angle", "; ".join(f"{w.degrees(limit)}: {w.percent(share)}" for limit, share in r.share_at)),
        ("Widest rope angle", w.degrees(r.worst_angle)),
        (
            "Swing if you slip",
            f"up to {w.metres(r.swing)} sideways at {w.speed(r.swing_speed)}, rope force {w.force(r.swing_force)}; "
            f"first in the way: {say(r.swing_hits)}",
        ),
        ("Not served", missed_work(a, ~np.asarray(r.served, bool))),
    ]
    fouled = int((np.asarray(r.fouled) >= 0).sum())
    rows.append(("Straight rope meets wood", f"for {fouled} of {len(r.fouled)} work points" if fouled else "nowhere"))
    rows += [("Mostly in the way", "; ".join(say_all(p.fouling)))] if p.fouling else []
    rows += [("Conductor", say(c.words)) for c in p.clearances]
    return Answer(QUESTIONS[4], tuple(rows))


def some_names(names: Sequence[str], most: int = 6) -> str:
    """The first names, and how many more there are.

    >>> some_names(("U1", "U2")), some_names(("U1",) * 9)
    ('U1, U2', 'U1, U1, U1, U1, U1, U1 and 3 more')
    """
    return ", ".join(names[:most]) + (f" and {len(names) - most} more" if len(names) > most else "")


def missed_work(a: Assessment, missed: NDArray[np.bool_], most: int = 8) -> str:
    """Work points by name where they are few, else how many and between which heights."""
    rows = np.flatnonzero(missed)
    if not len(rows):
        return "nothing"
    if len(rows) <= most:
        return ", ".join(a.work.label[i] for i in rows)
    up = a.work.xyz[rows, 2] - a.tree.graph.xyz[0, 2]
    return f"{len(rows)} of {len(a.work)} work points, {w.metres(float(up.min()))} to {w.metres(float(up.max()))} up"


def _throwline(a: Assessment, p: TieInPoint) -> str:
    """Metres of throwline: of the candidate's own throw, else of the first line on the way up."""
    if p.rope.throwline > 0:
        return w.metres(p.rope.throwline)
    t = first_line(a, p)
    if t is None:
        return "none for this way up"
    taut = float(np.linalg.norm(np.diff(t.settled, axis=0), axis=1).sum())
    return f"at least {w.metres(taut)}, taut over {a.tree.graph.unions.label[t.union]} to the ground"


def _order(a: Assessment, p: TieInPoint) -> Answer:
    rope = p.rope
    rows = (
        ("Climbing rope", f"{w.metres(rope.length)}: " + ", ".join(f"{what} {w.metres(m)}" for what, m in rope.parts)),
        ("Rope to bring", f"{w.metres(rope.stock, 0)}" + ("" if rope.reaches_ground else "; it does not reach the ground")),
        ("Throwline", _throwline(a, p)),
        ("Kit", "; ".join(say_all(rope.kit))),
        *(("At the union", text) for text in say_all(p.care)),
        *((("Getting the rope down", say(p.retrieval.words)),) if p.retrieval is not None else ()),
    )
    steps = tuple(f"{s.label}, {w.metres(s.height)}: {say(s.words)}" if s.union is not None else f"{s.label}: {say(s.words)}" for s in p.access)
    return Answer(QUESTIONS[5], rows, steps)
