"""The six questions answered for the whole tree: the headline sentence and the rows under it."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

import numpy as np
from pyproj import CRS

from treescan.assess import Assessment
from treescan.loads.statics.likely_breaks import STEM
from treescan.outputs.report.phrases import margin_of, missed_work, section_of, stand_of, way_start
from treescan.outputs.shapes.first_line import first_line
from treescan.outputs.shapes.seen_share import seen_share
from treescan.outputs.text import wording as w
from treescan.outputs.text.say import figure, say, text, word
from treescan.planning.tie_in_point import TieInPoint
from treescan.wood.graph import BREAST_HEIGHT, StemFigures

MEASURED_LOWER = 0.01
"""A stem measured so much below breast height has its own row [m]."""
MAX_REFUSALS = 12
"""Reasons for not ranking that are listed, the most frequent first."""


@dataclass(frozen=True)
class Overview:
    """Headline sentence of each of the six questions, lists of lines under them, and the coordinate system in words."""

    headlines: tuple[str, ...]
    seen: tuple[tuple[str, str], ...]
    lines_in: tuple[tuple[str, str], ...]
    unserved: str
    frame: str
    refusals: tuple[tuple[str, int], ...]


def overview(a: Assessment) -> Overview:
    """All headlines; those after the first speak of the first candidate to inspect."""
    first = next((p for p in a.points if p.usable), None)
    if first is None:
        rest = (text("over_no_candidate" if a.tree.fitness.assessable else "over_not_assessable"),) * 5
    else:
        rest = (_line(a, first), _hold(a, first), _fail(first), _reach(first), _order(first))
    return Overview((_seen_headline(a), *rest), _seen(a), _lines_in(a), _unserved(a), _frame(a.tree.frame.crs), _refusals(a))


def _seen_headline(a: Assessment) -> str:
    s, g = a.tree.stem, a.tree.graph
    return text(
        "over_tree",
        height=s.height,
        dbh=s.dbh,
        sd=s.dbh_sd,
        dbh_seen=w.finite(s.dbh),
        unions=len(g.unions),
        seen=seen_share(g),
    )


def _seen(a: Assessment) -> tuple[tuple[str, str], ...]:
    s, g = a.tree.stem, a.tree.graph
    return (
        (text("over_height"), figure(s.height, "m")),
        (text("over_dbh"), text("thickness", d=s.dbh, sd=s.dbh_sd)),
        *_each_stem(s),
        (text("over_lean"), figure(s.lean if w.finite(s.dbh) else None, "deg")),
        (text("over_volume"), figure(s.wood_volume, "m3")),
        (text("over_traced"), text("over_traced_of", limbs=len(g.limbs), unions=len(g.unions))),
        (text("over_seen"), text("over_seen_share", share=seen_share(g))),
        (text("over_species"), say(a.species)),
        (text("over_scan"), w.file_name(a.tree.source)),
    )


def _each_stem(s: StemFigures) -> tuple[tuple[str, str], ...]:
    """Every stem of a clump or low fork, and the height where a swollen stem was measured; nothing for one plain stem."""
    if len(s.stems) < 2 and all(t.height > BREAST_HEIGHT - MEASURED_LOWER for t in s.stems):
        return ()
    return tuple(
        (text("over_stem", number=k, height=t.height), text("thickness", d=t.dbh, sd=t.dbh_sd))
        for k, t in enumerate(s.stems, 1)
    )


def _frame(crs: str | None) -> str:
    """A map by its name and short key: a definition written out in full fills half a page."""
    if not crs:
        return text("over_frame_local")
    return text("over_frame_named", name=CRS.from_user_input(crs).name, crs=crs if ":" in crs[:6] else None)


def _line(a: Assessment, p: TieInPoint) -> str:
    t = first_line(a, p)
    if t is None:
        return text("over_line_none", label=p.label, start=way_start(p))
    throw = {
        "label": p.label,
        "stand": stand_of(a, p),
        "method": t.method,
        "chance": t.chance,
        "throws": t.expected_throws,
    }
    if t.union == p.union:
        return text("over_line", **throw)
    return text("over_line_other", over=a.tree.graph.unions.label[t.union], **throw)


def _hold(a: Assessment, p: TieInPoint) -> str:
    c = p.check.check
    return text(
        "over_hold",
        label=p.label,
        force=float(np.linalg.norm(p.check.force)),
        margin=margin_of(c.margin),
        section=section_of(a, p),
        chance=c.chance_told,
        hidden=c.hidden_is_larger,
    )


def _fail(p: TieInPoint) -> str:
    """What follows when this limb or union goes, then what follows when the stem goes."""
    stem = next((b for b in p.check.breaks if b.kind == STEM), None)
    own = next((b for b in p.check.breaks if b.kind != STEM), None)
    said = []
    if own is not None or stem is None:
        c = next((c for c in (p.check if own is None else own).catches if not c.ground), None)
        said.append(
            text("over_fail_ground", label=p.label)
            if c is None
            else text("over_fail_next", label=p.label, next=c.label, drop=c.drop, peak=c.peak)
        )
    if stem is not None:
        c, height = next((c for c in stem.catches if not c.ground), None), stem.reason["height"]
        said.append(
            text("over_fail_stem_ground", height=height)
            if c is None
            else text("over_fail_stem_next", height=height, next=c.label, drop=c.drop, peak=c.peak)
        )
    return " ".join(said)


def _reach(p: TieInPoint) -> str:
    r = p.reach
    return text("over_reach", label=p.label, share=r.share, angle=r.worst_angle, swing=r.swing)


def _order(p: TieInPoint) -> str:
    return text("over_order", n=len(p.access), label=p.label, stock=p.rope.stock)


def _lines_in(a: Assessment) -> tuple[tuple[str, str], ...]:
    """How many unions a line can be set over, by the best class of line, and the places to stand."""
    total = len(a.tree.graph.unions)
    best = {k: min(c for (u, c) in a.throws.best if u == k) for k in {u for (u, _) in a.throws.best}}
    classes = Counter(best.values())
    counts = (
        ("over_isolated", classes.get(1, 0)),
        ("over_isolable", classes.get(2, 0)),
        ("over_several", classes.get(3, 0)),
        ("over_no_line", total - len(best)),
    )
    rows = [(text(code), text("over_of_unions", n=n, all=total)) for code, n in counts]
    rows.append((text("over_places"), figure(len(a.throws.stances), "n")))
    rows += [
        (text("over_places_refused", why=why), figure(count, "n")) for why, count in a.throws.stances.refused
    ]
    return tuple(rows)


def _unserved(a: Assessment) -> str:
    """How much of the work no ranked candidate serves, in one sentence; empty when all is served."""
    served = np.zeros(len(a.work), bool)
    for p in a.points:
        if p.usable:
            served |= p.reach.served
    if served.all():
        return ""
    share = float(a.work.weight[~served].sum() / max(a.work.weight.sum(), 1e-12))
    return text("over_unserved", share=share, missed=missed_work(a, ~served))


def _refusals(a: Assessment) -> tuple[tuple[str, int], ...]:
    """Reasons why candidates were not ranked, the most frequent first."""
    count = Counter(p.reasons[0].code for p in a.points if not p.usable and p.reasons)
    commonest = sorted(count.items(), key=lambda kv: (-kv[1], kv[0]))[:MAX_REFUSALS]
    return tuple((word(code), times) for code, times in commonest)
