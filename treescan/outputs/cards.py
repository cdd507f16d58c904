"""One candidate as a card: why and why not, then the climber's questions in order, every figure in words with its unit."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from treescan.assess import Assessment
from treescan.cautions import CAUTIONS
from treescan.outputs import wording as w
from treescan.outputs.anchors_file import worst_work_point
from treescan.planning.tie_in_point import TieInPoint
from treescan.throw.throw_path import CLASS_WORDS

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
    answers = (_seen(a, p), _line(a, p), _hold(a, p), _fail(p), _reach(a, p), _order(p))
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
    if p.throw is None:
        return "no standing place gives a throw"
    d = p.throw.stand - a.tree.graph.xyz[0]
    return f"{w.metres(float(np.hypot(d[0], d[1])))} {w.compass(math.atan2(d[0], d[1]))} of the stem"


def _line(a: Assessment, p: TieInPoint) -> Answer:
    t = p.throw
    if t is None:
        blocked = a.throws.blocked_by[p.union] if p.union < len(a.throws.blocked_by) else ""
        return Answer(
            QUESTIONS[1],
            (
                ("Throw", "none found from the ground: climb or advance to it"),
                ("What stands in the way", blocked or "not stated"),
            ),
        )
    rows = [
        ("Stand", stand_words(a, p)),
        (
            "Aim",
            f"towards {w.degrees(t.azimuth % (2 * math.pi))} ({w.compass(t.azimuth)}), {w.degrees(t.elevation)} above level, "
            f"{w.plain(t.speed, 1, 'm/s')} ({t.method})",
        ),
        ("Chance of one throw", f"{w.percent(t.chance)}, {w.throws(t.expected_throws)}"),
        ("Line", CLASS_WORDS.get(t.isolation_class, "")),
        ("Also caught", ", ".join(t.captured_unions) or "nothing else"),
        (
            "Rope comes to rest",
            f"{w.metres(t.rest_distance, 2)} out from the union" + ("; it slides in by itself" if t.slides else "; it stays there"),
        ),
        ("Lightest weight that comes down", w.mass(t.least_weight, 2)),
    ]
    return Answer(QUESTIONS[1], tuple(rows), t.steps)


def section_words(a: Assessment, p: TieInPoint) -> str:
    """The weakest section in words: thickness, height, way it would go."""
    graph, node = a.tree.graph, p.check.check.governing
    if not 0 <= node < len(graph):
        return w.NOT_SEEN
    thick = w.diameter(2 * float(graph.segment_radius[node]), 2 * float(graph.radius_sd[node]))
    above = float(graph.xyz[node, 2] - graph.xyz[0, 2])
    return f"{thick} thick, {w.metres(above)} up, {p.check.check.mode}"


def force_words(size: float, multiple: float) -> str:
    """The governing force [N], and how many times the climber's weight bears on the union at rest."""
    return f"{w.force(size)}; at rest {w.plain(multiple, 2)} times the climber's weight" if w.finite(size) else w.NOT_SEEN


def _hold(a: Assessment, p: TieInPoint) -> Answer:
    k, c = p.check, p.check.check
    size = float(np.linalg.norm(k.force))
    rows = (
        ("Verdict of the sums", f"{c.verdict}. {c.reason}"),
        ("Force on the union", force_words(size, k.multiple_of_weight)),
        ("Governing case", f"{k.case}, work point: {worst_work_point(a, k)}"),
        ("Margin, low figure", w.margin(c.margin.median, c.margin.p5)),
        ("Weakest section", section_words(a, p)),
        ("Bends under load by", w.small(c.deflection)),
        ("Of the weakest section, the wood's own weight uses", w.percent(c.self_weight_share)),
        ("With rope friction helping", _with_friction(k.friction_multiple)),
        *(("To know", note) for note in c.notes),
        *((("Load test", f"{w.force(p.load_test.pull)} on the rope, step by step below"),) if p.load_test is not None else ()),
    )
    return Answer(QUESTIONS[2], rows, p.load_test.words if p.load_test is not None else ())


def _with_friction(multiple: float) -> str:
    return f"{multiple:.2f} times weight; for information, preload can undo it" if w.finite(multiple) else w.NOT_SEEN


def _fail(p: TieInPoint) -> Answer:
    k = p.check
    rows = []
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
    rows.append(("Held above the ground by a later limb", "yes, on the stated sums" if k.redundant else "no"))
    if k.common_cause:
        rows.append(("One failure takes both", k.common_cause))
    return Answer(QUESTIONS[3], tuple(rows))


def _reach(a: Assessment, p: TieInPoint) -> Answer:
    r = p.reach
    missed = [label for label, ok in zip(a.work.label, r.served, strict=True) if not ok]
    rows = [
        ("Work served", w.percent(r.share)),
        ("Within rope angle", "; ".join(f"{w.degrees(limit)}: {w.percent(share)}" for limit, share in r.share_at)),
        ("Widest rope angle", w.degrees(r.worst_angle)),
        (
            "Swing if you slip",
            f"up to {w.metres(r.swing)} sideways at {w.plain(r.swing_speed, 1, 'm/s')}, rope force {w.force(r.swing_force)}; "
            f"first in the way: {r.swing_hits}",
        ),
        ("Not served", _some(missed)),
    ]
    fouled = int((np.asarray(r.fouled) >= 0).sum())
    rows.append(("Straight rope meets wood", f"for {fouled} of {len(r.fouled)} work points" if fouled else "nowhere"))
    rows += [("Conductor", c.words) for c in p.clearances]
    return Answer(QUESTIONS[4], tuple(rows))


def _some(names: list[str], most: int = 12) -> str:
    if not names:
        return "nothing"
    return ", ".join(names[:most]) + (f" and {len(names) - most} more" if len(names) > most else "")


def _order(p: TieInPoint) -> Answer:
    rope = p.rope
    rows = (
        ("Climbing rope", f"{w.metres(rope.length)}: " + ", ".join(f"{what} {w.plain(m, 1, 'm')}" for what, m in rope.parts)),
        ("Rope to bring", f"{w.metres(rope.stock, 0)}" + ("" if rope.reaches_ground else "; it does not reach the ground")),
        ("Throwline", w.metres(rope.throwline)),
        ("Kit", "; ".join(rope.kit)),
        *((("Getting the rope down", p.retrieval.words),) if p.retrieval is not None else ()),
    )
    steps = tuple(f"{s.label}, {w.metres(s.height)}: {s.how}" if s.union is not None else f"{s.label}: {s.how}" for s in p.access)
    return Answer(QUESTIONS[5], rows, steps)
