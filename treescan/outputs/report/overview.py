"""The six questions answered for the whole tree: the headline sentence and the rows under it."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

import numpy as np

from treescan.assess import Assessment
from treescan.outputs.report.cards import missed_work, section_words, stand_words
from treescan.outputs.shapes.first_line import first_line, first_stop
from treescan.outputs.text import wording as w
from treescan.outputs.text.say import word
from treescan.planning.tie_in_point import TieInPoint


@dataclass(frozen=True)
class Overview:
    """Headline sentence of each of the six questions, and lists of lines under them."""

    headlines: tuple[str, ...]
    seen: tuple[tuple[str, str], ...]
    lines_in: tuple[tuple[str, str], ...]
    unserved: str
    refusals: tuple[tuple[str, int], ...]


def overview(a: Assessment) -> Overview:
    """All headlines; those after the first speak of the first candidate to inspect."""
    first = next((p for p in a.points if p.usable), None)
    if first is None:
        rest = ("No candidate could be ranked from this scan.",) * 5 if a.tree.fitness.assessable else ("Not assessable from this scan.",) * 5
    else:
        rest = (_line(a, first), _hold(a, first), _fail(first), _reach(a, first), _order(first))
    return Overview((_seen_headline(a), *rest), _seen(a), _lines_in(a), _unserved(a), _refusals(a))


def seen_share(a: Assessment) -> float:
    """Share of the limb length that the scan saw rather than bridged."""
    length = a.tree.graph.length
    return float((length * a.tree.graph.seen).sum() / max(length.sum(), 1e-9))


def _seen_headline(a: Assessment) -> str:
    s, g = a.tree.stem, a.tree.graph
    stem = f"with a stem of {w.diameter(s.dbh, s.dbh_sd)} at breast height" if w.finite(s.dbh) else "whose stem was not seen at breast height"
    return (
        f"A tree {w.metres(s.height)} tall {stem}; "
        f"{len(g.unions)} unions traced, {w.percent(seen_share(a))} of the drawn limb length was seen."
    )


def _seen(a: Assessment) -> tuple[tuple[str, str], ...]:
    s, g = a.tree.stem, a.tree.graph
    rows = [
        ("Height", w.metres(s.height)),
        ("Stem diameter at breast height", w.diameter(s.dbh, s.dbh_sd)),
        ("Lean of the lower stem", w.degrees(s.lean if w.finite(s.dbh) else float("nan"))),
        ("Wood volume of the traced limbs", w.volume(s.wood_volume)),
        ("Limbs and unions traced", f"{len(g.limbs)} limbs, {len(g.unions)} unions"),
        ("Limb length seen", w.percent(seen_share(a)) + "; the rest is bridged and drawn grey"),
        ("Species as used", a.species),
        ("Scan", w.file_name(a.tree.source)),
        ("Coordinates", a.tree.frame.crs or "local frame, no map reference in the file"),
    ]
    return tuple(rows)


def _line(a: Assessment, p: TieInPoint) -> str:
    t, stop = first_line(a, p), first_stop(p)
    if t is None:
        start = f"the way up starts at {stop.label}, {w.metres(stop.height)} up, by ladder or lanyards" if stop else "climb or advance to it"
        return f"No throw from the ground was found for {p.label}: {start}."
    how = "a launcher" if t.method == "launcher" else "a hand throw"
    throw = f"{how} from {stand_words(a, p)}, {w.percent(t.chance)} a throw ({w.throws(t.expected_throws)})"
    if t.union == p.union:
        return f"For {p.label}: {throw}."
    return f"Not straight to {p.label}: the first line goes over {a.tree.graph.unions.label[t.union]}, {throw}; from there advance upward."


def _hold(a: Assessment, p: TieInPoint) -> str:
    k, c = p.check, p.check.check
    low = w.margin(c.margin.median, c.margin.p5)
    return (
        f"{p.label} carries {w.force(float(np.linalg.norm(k.force)))}; strength over stress is {low} at the weakest section "
        f"({section_words(a, p)}), if the wood is sound" + (f"; it breaks in {w.draws(c.overload_chance)}." if w.finite(c.overload_chance) else ".")
    )


def _fail(p: TieInPoint) -> str:
    caught = [c for c in p.check.catches if not c.ground]
    if not caught:
        return f"If {p.label} gives out nothing below is shown to catch: the fall goes to the ground. Use a second attachment."
    c = caught[0]
    return f"If {p.label} gives out the rope is caught next at {c.label}, after a drop of {w.metres(c.drop)} with a peak of {w.force(c.peak)}."


def _reach(a: Assessment, p: TieInPoint) -> str:
    r = p.reach
    return (
        f"From {p.label} {w.percent(r.share)} of the work is served; the rope leaves plumb by up to {w.degrees(r.worst_angle)}, "
        f"and a slip swings up to {w.metres(r.swing)}."
    )


def _order(p: TieInPoint) -> str:
    return (
        f"{len(p.access)} step{'s' if len(p.access) != 1 else ''} from the ground to {p.label}; bring "
        f"{w.metres(p.rope.stock, 0)} of climbing rope and inspect the union by hand before committing to it."
    )


def _lines_in(a: Assessment) -> tuple[tuple[str, str], ...]:
    unions = a.tree.graph.unions
    best = {k: min(c for (u, c) in a.throws.best if u == k) for k in {u for (u, _) in a.throws.best}}
    classes = Counter(best.values())
    none = [k for k in range(len(unions)) if k not in best]
    rows = [
        ("Clean, only the wanted limb between the legs", f"{classes.get(1, 0)} of {len(unions)} unions"),
        ("Isolable by working the weight back", f"{classes.get(2, 0)} of {len(unions)} unions"),
        ("Over several limbs only: basal anchor", f"{classes.get(3, 0)} of {len(unions)} unions"),
        ("No line from the ground found", f"{len(none)} of {len(unions)} unions"),
        ("Standing places judged", str(len(a.throws.stances))),
    ]
    rows += [(f"Places left out: {reason}", str(count)) for reason, count in a.throws.stances.refused]
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
    return f"{w.percent(share)} of the work is served by no ranked candidate: {missed_work(a, ~served)}."


def _refusals(a: Assessment) -> tuple[tuple[str, int], ...]:
    """Reasons why candidates were not ranked, the most frequent first."""
    count = Counter(p.reasons[0].code for p in a.points if not p.usable and p.reasons)
    return tuple((word(code), times) for code, times in sorted(count.items(), key=lambda kv: (-kv[1], kv[0]))[:12])
