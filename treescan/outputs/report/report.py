"""report.html: one file that opens without a network, ordered by the climber's questions."""

from __future__ import annotations

import base64
import hashlib
import json
from dataclasses import replace
from importlib.resources import files
from itertools import combinations
from typing import Any

from jinja2 import Environment, StrictUndefined
from markupsafe import Markup

from treescan import settings as settings_module
from treescan.assess import Assessment
from treescan.cautions import CAUTIONS
from treescan.loads.rope.rope_systems import HARDWARE, SYSTEMS
from treescan.outputs.drawing.charts import load_path, margin_chart, share_bars
from treescan.outputs.drawing.elevation import elevation, from_the_stand
from treescan.outputs.drawing.plan_drawing import plan
from treescan.outputs.drawing.stage_drawing import stage_pictures
from treescan.outputs.drawing.svg import Drawing
from treescan.outputs.drawing.window_drawing import window_picture
from treescan.outputs.report.cards import QUESTIONS, Card, card
from treescan.outputs.report.climb_sections import climb_sections
from treescan.outputs.report.glance import glance
from treescan.outputs.report.overview import overview
from treescan.outputs.report.phrases import candidate_name, line_kind
from treescan.outputs.report.viewer_data import viewer_data
from treescan.outputs.rows.redirect_rows import redirect_head, redirect_note, redirect_rows
from treescan.outputs.rows.removal_rows import removal_head, removal_note, removal_rows, spar_rows
from treescan.outputs.shapes.first_line import first_line
from treescan.outputs.shapes.use_of_capacity import LEGEND
from treescan.outputs.strict_json import tame
from treescan.outputs.text import wording
from treescan.outputs.text.say import figure, listed, say, say_all, text, word
from treescan.planning.ranking.reasons import compare
from treescan.planning.settings import PlanningSettings
from treescan.planning.tie_in_point import VERDICTS, TieInPoint
from treescan.reason import Reason
from treescan.sources import SOURCES

SCRIPT_FILES = ("three.min.js", "viewer.js", "report.js")
PAGE_FILES = ("report.html", "report.css", *SCRIPT_FILES)
COMPARED = 24
"""Cards of which any two are held against each other in words; pairs grow with the square."""
PICTURED, CHARTED, CARDS = 3, 12, 60
"""Candidates with drawings, rows in the charts, and cards in full."""
GROUND_LAST = 1e9
"""Sorts a fall to the ground after every catch. [m]"""
SHORT_CAUTIONS = ("planning_aid", "silence", "unsure")


def report_html(a: Assessment) -> str:
    """The whole page as text, the same bytes for the same assessment.

    A tree that is not assessable is shown as seen, without any candidate: figures for one would be read as advice.
    """
    if not a.tree.fitness.assessable:
        a = replace(a, points=())
    folder = files("treescan.outputs.report") / "page"
    page = {name: (folder / name).read_text(encoding="utf-8") for name in PAGE_FILES}
    env = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    env.globals.update(
        w=wording, text=text, say=say, word=word, figure=figure, listed=listed, line_kind=line_kind
    )
    env.globals.update(candidate_name=candidate_name)
    scripts = "\n".join(page[name] for name in SCRIPT_FILES)
    with wording.written_for(a.settings.reader):
        return env.from_string(page["report.html"]).render(
            css=Markup(page["report.css"]),
            scripts=Markup(scripts),
            policy=_policy(f"\n{scripts}\n"),
            language=a.settings.reader.language,
            **_context(a),
        )


def _policy(script: str) -> str:
    """What the browser may do with the page: run this one script, draw with its own styles, fetch nothing.

    Content Security Policy Level 3 (W3C): a script is named by the hash of its text.
    """
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    rules = (
        "default-src 'none'",
        f"script-src 'sha256-{digest}'",
        "style-src 'unsafe-inline'",
        "img-src data: blob:",
        "base-uri 'none'",
        "form-action 'none'",
    )
    return "; ".join(rules)


def _context(a: Assessment) -> dict[str, Any]:
    usable = [p for p in a.points if p.usable]
    cards = [card(a, p, i) for i, p in enumerate(a.points) if p.usable][:CARDS]
    others = [card(a, p, i) for i, p in enumerate(a.points) if not p.usable][: max(0, CARDS - len(cards))]
    with_card = {c.number for c in (*cards, *others)}
    return {
        "a": a,
        "title": wording.file_name(a.tree.source),
        "over": overview(a),
        "usable": usable,
        "others": [p for p in a.points if not p.usable],
        "rows": [_row(a, p, i, i in with_card) for i, p in enumerate(a.points)],
        "cards": cards,
        "other_cards": others,
        "pictures": {c.key: _pictures(a, c.point) for c in cards[:PICTURED]},
        **_first_shown(a, usable[0] if usable else None),
        **_charts(usable[:CHARTED]),
        **_climb_tables(a),
        **_background(a),
        "data": _embedded(viewer_data(a)),
        "compare": _embedded([_comparison(c) for c in (*cards, *others)]),
        "against": _embedded(_against([*cards, *others][:COMPARED], a.settings.planning)),
        "phrases": _embedded(_phrases()),
    }


def _first_shown(a: Assessment, first: TieInPoint | None) -> dict[str, Any]:
    """What the page shows of the first candidate, or of the tree where there is none."""
    return {
        "first": first,
        "glance": glance(a, first) if first else (),
        "tree_picture": None if first else _picture(*elevation(a, None)),
        "angles": tuple(figure(limit, "deg") for limit, _ in first.reach.share_at) if first else (),
    }


def _climb_tables(a: Assessment) -> dict[str, Any]:
    """Redirects and the cuts of a removal as tables."""
    c = a.climb
    return {
        "climb_sections": climb_sections(c, a.left_out) if c else (),
        "removal": removal_rows(c, a.asked.removal) if c else [],
        "cuts": _cuts(a),
        "removal_head": removal_head(),
        "removal_note": removal_note(),
        "spar": spar_rows(c) if c else [],
        "redirects": redirect_rows(c) if c else [],
        "redirect_head": redirect_head(),
        "redirect_note": redirect_note(),
    }


def _cuts(a: Assessment) -> list[dict[str, Any]]:
    """Every cut with its drawing, its alarms first and then what else was found."""
    out = []
    for stage, (drawing, caption) in zip(a.climb.stages if a.climb else (), stage_pictures(a), strict=True):
        told = say_all(stage.reasons())
        alarms = len(stage.alarms)
        out.append(
            {
                "picture": Markup(str(drawing)),
                "caption": caption,
                "title": text("removal_cell_cut", number=stage.number, piece=stage.cut.piece),
                "alarms": told[:alarms],
                "rest": told[alarms:],
            }
        )
    return out


def _background(a: Assessment) -> dict[str, Any]:
    """Questions, legend, notes, cautions, settings and sources."""
    fitness = a.tree.fitness
    notes = (*(fitness.reasons if fitness.assessable else ()), *a.tree.notes, *a.warnings)
    return {
        "questions": [text(code) for code in QUESTIONS],
        "legend": LEGEND,
        "notes": list(dict.fromkeys(say_all(notes))),
        "unions": _unions(a) if not a.points else [],
        "cautions": CAUTIONS,
        "short_cautions": [CAUTIONS[k] for k in SHORT_CAUTIONS],
        "settings": list(settings_module.lines(a.settings)),
        "sources": SOURCES,
    }


SCRIPT_TEXTS = (
    "page_whole_card",
    "page_held_against",
)
"""Texts of the page's script without values; those with values keep theirs as `{name}`, filled in by the script."""


def _phrases() -> dict[str, Any]:
    """What the page's own script says, by code."""
    return {
        **{code: text(code) for code in SCRIPT_TEXTS},
        "page_not_ranked_name": text("page_not_ranked_name", name="{name}"),
        "page_if_it_fails": text("page_if_it_fails", what="{what}"),
        "page_other_ways": text("page_other_ways", label="{label}"),
        "page_count_shown": text("page_count_shown", shown="{shown}", all="{all}"),
        "words": {key: word(key) for key in (*VERDICTS, *SYSTEMS, *HARDWARE)},
    }


def _charts(shown: list[TieInPoint]) -> dict[str, Markup]:
    """The charts over all candidates."""
    chances = [(_name(p), [p.throw.chance] if p.throw else []) for p in shown]
    shares = [(_name(p), [s for _, s in p.reach.share_at] or [p.reach.share]) for p in shown]
    return {
        "margins": Markup(str(margin_chart([(_name(p), p.check.check.margin) for p in shown]))),
        "chances": Markup(str(share_bars(chances, 1, text("chart_chances"))))
        if any(c for _, c in chances)
        else Markup(),
        "coverage": Markup(str(share_bars(shares, 3, text("chart_coverage")))),
    }


def _name(p: TieInPoint) -> str:
    return text("chart_candidate", rank=p.rank, label=p.label, system=p.system)


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
        out["path"] = _picture(path, text("page_path_note"))
    return out


def _unions(a: Assessment) -> list[tuple[str, ...]]:
    """The unions as seen, for a tree without judged candidates."""
    u = a.tree.graph.unions
    rows: list[tuple[str, ...]] = []
    for k, label in enumerate(u.label):
        below = text("thickness", d=float(u.parent_diameter[k]), sd=float(u.parent_diameter_sd[k]))
        above = tuple(Reason("thickness", d=float(d), sd=None) for d in u.arm_diameter[u.arms(k)])
        notes = listed((word(f) for f in u.flags[k]), "list_none")
        rows.append((label, figure(float(u.height[k]), "m"), below, text("list_all", items=above), notes))
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
        "catch": text("page_ground") if catch is None or catch.ground else catch.label,
        "drop": GROUND_LAST if catch is None or catch.ground else catch.drop,
        "stability": p.rank_stability,
    }


def _comparison(c: Card) -> dict[str, Any]:
    """What the side-by-side table needs of one card: rows of question (code, words), label (code, words) and text."""
    p = c.point
    head = [
        ["", "", "page_standing", text("page_standing"), word(p.verdict)],
        ["", "", "page_height", text("page_height"), c.height],
        ["", "", "page_why_column", text("page_why_column"), " ".join(say_all(p.reasons))],
    ]
    rows = [
        [answer.question, text(answer.question), r.code, r.label, r.text]
        for answer in c.answers
        for r in answer.rows
    ]
    title = text("candidate_ranked", rank=p.rank, label=c.title) if p.usable else c.title
    return {"id": c.number, "title": title, "rows": head + rows}


def _against(cards: list[Card], settings: PlanningSettings) -> dict[str, str]:
    """Any two of the cards held against each other in two sentences, by "number number"."""
    pairs = combinations(cards, 2)
    return {
        f"{x.number} {y.number}": " ".join(say_all(compare(x.point, y.point, settings))) for x, y in pairs
    }


def _embedded(value: Any) -> Markup:
    """JSON that may stand inside a script element."""
    try:
        text = json.dumps(value, allow_nan=False, separators=(",", ":"))
    except (TypeError, ValueError):  # not plain yet
        text = json.dumps(tame(value), allow_nan=False, separators=(",", ":"))
    return Markup(text.replace("<", "\\u003c").replace("&", "\\u0026"))
