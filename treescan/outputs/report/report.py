"""report.html: one file that opens without a network, ordered by the climber's questions."""

from __future__ import annotations

import json
from dataclasses import replace
from importlib.resources import files
from itertools import combinations
from typing import Any

from jinja2 import Environment, StrictUndefined
from markupsafe import Markup, escape

from treescan import settings as settings_module
from treescan.assess import Assessment
from treescan.cautions import CAUTIONS
from treescan.outputs.data.redirect_rows import REDIRECT_HEAD, REDIRECT_NOTE, redirect_rows
from treescan.outputs.data.removal_rows import REMOVAL_HEAD, REMOVAL_NOTE, removal_rows, spar_rows
from treescan.outputs.drawing.charts import load_path, margin_chart, share_bars
from treescan.outputs.drawing.elevation import elevation, from_the_stand
from treescan.outputs.drawing.plan_drawing import plan
from treescan.outputs.drawing.svg import Drawing
from treescan.outputs.drawing.window_drawing import window_picture
from treescan.outputs.report.cards import QUESTIONS, Card, card
from treescan.outputs.report.glance import glance
from treescan.outputs.report.overview import overview
from treescan.outputs.report.viewer_data import viewer_data
from treescan.outputs.shapes.first_line import first_line
from treescan.outputs.shapes.use_of_capacity import LEGEND
from treescan.outputs.strict_json import tame
from treescan.outputs.text import wording
from treescan.outputs.text.say import say, say_all
from treescan.outputs.text.sentences import said, spelled, spelled_page
from treescan.planning.ranking.reasons import compare
from treescan.planning.settings import PlanningSettings
from treescan.planning.tie_in_point import TieInPoint
from treescan.reason import Reason
from treescan.sources import SOURCES

COMPARED = 24
"""Cards of which any two are held against each other in words; pairs grow with the square."""
PICTURED, CHARTED, CARDS = 3, 12, 60
"""Candidates with drawings, rows in the charts, and cards in full."""
SHORT_CAUTIONS = ("planning_aid", "silence", "unsure")


def report_html(a: Assessment) -> str:
    """The whole page as text, the same bytes for the same assessment.

    A tree that is not assessable is shown as seen, without any candidate: figures for one would be read as advice.
    """
    if not a.tree.fitness.assessable:
        a = replace(a, points=())
    folder = files("treescan.outputs.report") / "page"
    text = {name: (folder / name).read_text(encoding="utf-8") for name in ("report.html", "report.css", "three.min.js", "viewer.js", "report.js")}
    env = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True, finalize=_printed)
    env.globals.update(w=wording, exactly=lambda text: Markup(escape(text)))
    with wording.written_for(a.settings.reader):
        page = env.from_string(text["report.html"]).render(
            css=Markup(text["report.css"]),
            scripts=Markup(text["three.min.js"] + "\n" + text["viewer.js"] + "\n" + text["report.js"]),
            **_context(a),
        )
        return spelled_page(page)


def _printed(value: Any) -> Any:
    """What stands between braces in the page: sentences get their second unit system, markup stays as it is."""
    if isinstance(value, Reason):
        return say(value)
    return said(value) if isinstance(value, str) and not isinstance(value, Markup) else value


def _context(a: Assessment) -> dict[str, Any]:
    usable = [p for p in a.points if p.usable]
    shown = usable[:CARDS]
    cards = [card(a, p, i) for i, p in enumerate(a.points) if p.usable][:CARDS]
    others = [card(a, p, i) for i, p in enumerate(a.points) if not p.usable][: max(0, CARDS - len(cards))]
    first = usable[0] if usable else None
    return {
        "a": a,
        "title": wording.file_name(a.tree.source),
        "questions": QUESTIONS,
        "over": overview(a),
        "glance": glance(a, first) if first else (),
        "first": first,
        "usable": usable,
        "others": [p for p in a.points if not p.usable],
        "rows": [_row(a, p, i, i in {c.number for c in (*cards, *others)}) for i, p in enumerate(a.points)],
        "cards": cards,
        "other_cards": others,
        "pictures": {c.key: _pictures(a, c.point) for c in cards[:PICTURED]},
        "tree_picture": _picture(*elevation(a, None)) if first is None else None,
        **_charts(shown[:CHARTED]),
        "removal": removal_rows(a.climb) if a.climb else [],
        "removal_head": REMOVAL_HEAD,
        "removal_note": REMOVAL_NOTE,
        "spar": spar_rows(a.climb) if a.climb else [],
        "redirects": redirect_rows(a.climb) if a.climb else [],
        "redirect_head": REDIRECT_HEAD,
        "redirect_note": REDIRECT_NOTE,
        "angles": [wording.degrees(limit) for limit, _ in first.reach.share_at] if first else [],
        "legend": LEGEND,
        "notes": list(dict.fromkeys(say_all((*(a.tree.fitness.reasons if a.tree.fitness.assessable else ()), *a.tree.notes, *a.warnings)))),
        "unions": _unions(a) if not a.points else [],
        "cautions": CAUTIONS,
        "short_cautions": [CAUTIONS[k] for k in SHORT_CAUTIONS],
        "settings": list(settings_module.lines(a.settings)),
        "sources": SOURCES,
        "data": _embedded(viewer_data(a)),
        "compare": _embedded([_comparison(c) for c in (*cards, *others)]),
        "against": _embedded(_against([*cards, *others][:COMPARED], getattr(a.settings, "planning", PlanningSettings()))),
    }


def _charts(shown: list[TieInPoint]) -> dict[str, Markup]:
    """The charts over all candidates."""
    chances = [(_name(p), [p.throw.chance] if p.throw else []) for p in shown]
    shares = [(_name(p), [s for _, s in p.reach.share_at] or [p.reach.share]) for p in shown]
    return {
        "margins": Markup(str(margin_chart([(_name(p), p.check.check.margin) for p in shown]))),
        "chances": Markup(str(share_bars(chances, 1, "Chance of one throw"))) if any(c for _, c in chances) else Markup(),
        "coverage": Markup(str(share_bars(shares, 3, "Share of the work within the rope angle"))),
    }


def _name(p: TieInPoint) -> str:
    return f"{p.rank}  {p.label} {p.system}"


def _picture(drawing: Drawing, caption: str) -> tuple[Markup, str]:
    return Markup(str(drawing)), caption


def _pictures(a: Assessment, p: TieInPoint) -> dict[str, tuple[Markup, str]]:
    """Elevation from the side and from the standing place, plan and load path of one candidate."""
    out = {"side": _picture(*elevation(a, p)), "plan": _picture(*plan(a, p))}
    stand = from_the_stand(a, p)
    if stand is not None:
        out["stand"] = _picture(*stand)
    t = first_line(a, p)
    if t is not None:
        out["window"] = _picture(*window_picture(a, t))
    path = load_path(a.tree.graph, p.check.check)
    if path is not None:
        words = "Use of capacity from the rope (left) down to the ground (right), median. The cross marks the weakest section."
        out["path"] = _picture(path, words)
    return out


def _unions(a: Assessment) -> list[tuple[str, ...]]:
    """The unions as seen, for a tree without judged candidates."""
    u, w = a.tree.graph.unions, wording
    rows: list[tuple[str, ...]] = []
    for k, label in enumerate(u.label):
        thick = w.diameter(float(u.parent_diameter[k]), float(u.parent_diameter_sd[k]))
        above = "; ".join(w.diameter(float(d)) for d in u.arm_diameter[u.arms(k)])
        rows.append((label, w.metres(float(u.height[k])), thick, above, ", ".join(u.flags[k]) or "none"))
    return rows


def _row(a: Assessment, p: TieInPoint, i: int, has_card: bool) -> dict[str, Any]:
    """One line of the table, with plain numbers to sort by."""
    k, c = p.check, p.check.check
    catch = k.catches[0] if k.catches else None
    height = float(a.tree.graph.unions.height[p.union])
    size = float(sum(v * v for v in k.force) ** 0.5)
    return {
        "i": i,
        "p": p,
        "has_card": has_card,
        "height": height,
        "force": size,
        "margin": c.margin,
        "chance": p.throw.chance if p.throw else float("nan"),
        "isolation": p.throw.isolation_class if p.throw else None,
        "share": p.reach.share,
        "catch": "ground" if catch is None or catch.ground else catch.label,
        "drop": 1e9 if catch is None or catch.ground else catch.drop,
        "stability": p.rank_stability,
    }


def _comparison(c: Card) -> dict[str, Any]:
    """What the side-by-side table needs of one card."""
    p = c.point
    head = [["", "Standing", p.verdict], ["", "Height", c.height], ["", "Why or why not", spelled(said(" ".join(say_all(p.reasons))))]]
    rows = [[answer.question, label, spelled(said(text))] for answer in c.answers for label, text in answer.rows]
    return {"id": c.number, "title": (f"{p.rank}. " if p.usable else "") + c.title, "rows": head + rows}


def _against(cards: list[Card], settings: PlanningSettings) -> dict[str, str]:
    """Any two of the cards held against each other in two sentences, by "number number"."""
    return {f"{x.number} {y.number}": " ".join(say_all(compare(x.point, y.point, settings))) for x, y in combinations(cards, 2)}


def _embedded(value: Any) -> Markup:
    """JSON that may stand inside a script element."""
    try:
        text = json.dumps(value, allow_nan=False, separators=(",", ":"))
    except (TypeError, ValueError):  # not plain yet
        text = json.dumps(tame(value), allow_nan=False, separators=(",", ":"))
    return Markup(text.replace("<", "\\u003c").replace("&", "\\u0026"))
