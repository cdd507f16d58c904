"""report.html: one file that opens without a network, ordered by the climber's questions."""

from __future__ import annotations

import base64
import hashlib
import json
import math
from collections.abc import Callable
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
from treescan.outputs.drawing.charts import margin_chart, share_bars
from treescan.outputs.drawing.elevation import elevation, from_the_stand
from treescan.outputs.drawing.plan_drawing import plan
from treescan.outputs.drawing.stage_drawing import stage_pictures
from treescan.outputs.drawing.svg import Drawing
from treescan.outputs.drawing.window_drawing import window_picture
from treescan.outputs.report.cards import QUESTIONS, Card, card
from treescan.outputs.report.climb_sections import climb_sections
from treescan.outputs.report.glance import glance
from treescan.outputs.report.overview import overview
from treescan.outputs.report.phrases import candidate_name, line_kind, scope_of
from treescan.outputs.report.threats import first_of_each, threats
from treescan.outputs.report.viewer_data import viewer_data
from treescan.outputs.report.why_not import never_judged, why_not
from treescan.outputs.rows.redirect_rows import redirect_head, redirect_note, redirect_rows
from treescan.outputs.rows.removal_rows import removal_head, removal_note, removal_rows, spar_rows
from treescan.outputs.shapes.first_line import first_line
from treescan.outputs.shapes.place_names import place_names, place_of
from treescan.outputs.shapes.use_of_capacity import LEGEND
from treescan.outputs.strict_json import tame
from treescan.outputs.text import wording
from treescan.outputs.text.say import figure, listed, say, say_all, text, word
from treescan.planning.ranking.reasons import compare
from treescan.planning.settings import PlanningSettings
from treescan.planning.tie_in_point import VERDICTS, TieInPoint
from treescan.reason import Reason
from treescan.sources import SOURCES

SCRIPT_FILES = ("three.min.js", "stage.js", "viewer.js", "report.js")
PAGE_FILES = ("report.html", "report.css", *SCRIPT_FILES)
COMPARED = 24
"""Cards of which any two are held against each other in words; pairs grow with the square."""
PICTURED, CHARTED, CARDS = 3, 5, 24
"""Candidates with drawings, rows in the charts, and cards in full."""
SHOWN, FALLS = 2, 2
"""Rows of a long list that the page shows; how many more there are, and where, is said below."""
OTHER_WAYS = ("approach_instead", "approach_also")
"""Codes of approaches that are not the recommended one: the page counts them; what speaks against the recommended one is never cut."""
PLATES = (("plan", "page_seen_plan"), ("window", "page_seen_window"), ("side", "page_seen_side"))
"""Drawings beside the one on the first screen, with their headings."""
GROUND_LAST = 1e9
"""Sorts a fall to the ground after every catch. [m]"""
SIDE_BOX = (560.0, 540.0)
"""Of the drawing from the side. [drawing units]"""
FIRST_BOXES = ((560.0, 660.0), (560.0, 480.0))
"""Of the drawing on the first screen, on a desk and on a phone. [drawing units]"""
COLUMNS = (
    ("page_col_rank", "number", ""),
    ("page_col_union", "text", ""),
    ("page_col_system", "text", ""),
    ("page_height", "number", "num"),
    ("page_col_margin", "number", "num"),
    ("page_col_force", "number", "num"),
    ("page_col_throw", "number", "num"),
    ("page_col_work", "number", "num"),
    ("page_col_catch", "number", ""),
)
"""Columns of the ranking: code, how it sorts, class."""
UNIONS_HEAD = ("page_col_union", "page_height", "page_below", "page_above", "page_notes")
BANDS_HEAD = ("page_height", "page_fit_for", "page_spacing", "page_bark_seen")
SETTINGS_HEAD = ("page_col_setting", "page_col_value", "page_col_unit", "page_col_meaning", "page_col_source")
SOURCES_HEAD = ("page_col_key", "page_col_source", "page_col_standing")
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
    first = usable[0] if usable else None
    return {
        "a": a,
        "title": wording.file_name(a.tree.source),
        "over": overview(a),
        "usable": usable,
        "others": [p for p in a.points if not p.usable],
        "columns": COLUMNS,
        "rows": [_row(a, p, i, i in with_card) for i, p in enumerate(a.points)],
        "cards": cards,
        "other_cards": others,
        "pictures": {c.key: _pictures(a, c.point) for c in cards[:PICTURED]},
        **_first_screen(a, first),
        **_first_in_short(cards, bool(first and from_the_stand(a, first))),
        "shown_rows": SHOWN,
        "approach": tuple(r for r in a.approach.reasons if r.code not in OTHER_WAYS),
        **_site(a, first),
        **_charts(a, usable[:CHARTED]),
        **_climb_tables(a),
        **_background(a),
        "data": _embedded(viewer_data(a)),
        "compare": _embedded([_comparison(c) for c in (*cards, *others)]),
        "ask": _embedded(_asked(a)),
        "against": _embedded(_against([*cards, *others][:COMPARED], a.settings.planning)),
        "phrases": _embedded(_phrases()),
    }


def _first_in_short(cards: list[Card], from_stand: bool) -> dict[str, Any]:
    """Of the first candidate: drawings that the first screen lacks, and the first of what follows if it goes."""
    if not cards:
        return {"first_plates": (), "fail_rows": (), "fail_more": 0}
    rows = cards[0].answers[3].rows
    ends = [r for r in rows[FALLS:] if r.code in ("card_stopped", "card_common")]
    shown = (*rows[:FALLS], *ends)
    plates = PLATES if from_stand else PLATES[:-1]
    return {"first_plates": plates, "fail_rows": shown, "fail_more": len(rows) - len(shown)}


def _first_screen(a: Assessment, first: TieInPoint | None) -> dict[str, Any]:
    """What the page shows before anything is unfolded: the tree, the first candidate on it, the verdict, what threatens, what to
    bring."""
    margin = None if first is None else first.check.check.margin
    standing = first.verdict if first else VERDICTS[-1] if not a.tree.fitness.assessable else VERDICTS[-2]
    return {
        "first": first,
        "heading": _heading(a),
        "facts": _facts(a),
        "standing": standing.replace(" ", "-"),
        "first_place": _first_place(a, first) if first else "",
        "low": float(margin.p5) if margin is not None and margin.known else None,
        "tree_pictures": tuple(Markup(str(_first_picture(a, first, box))) for box in FIRST_BOXES),
        "first_threats": first_of_each(threats(a, first)),
        "bring": "; ".join(say_all(first.rope.kit)) if first else "",
        "bring_short": glance(a, first)[-1] if first else None,
        "glance": glance(a, first)[1:5] if first else (),
        "angles": tuple(figure(limit, "deg") for limit, _ in first.reach.share_at) if first else (),
    }


def _first_picture(a: Assessment, first: TieInPoint | None, box: tuple[float, float]) -> Drawing:
    """The tree from the stand, else from the side, with the first candidate on it where there is one."""
    seen = None if first is None else from_the_stand(a, first, box)
    return (seen or elevation(a, first, None, box))[0]


def _first_place(a: Assessment, first: TieInPoint) -> str:
    """The first candidate by its place in words, with its code."""
    return text("front_first", place=text("place_with_code", place=place_of(a.tree.graph, first), label=first.label))


def _heading(a: Assessment) -> str:
    """The tree by its number and place, else by the scan's file."""
    job = a.settings.job
    return text("page_heading", tree=job.tree or None, site=job.site or None) if job.tree or job.site else wording.file_name(a.tree.source)


def _facts(a: Assessment) -> tuple[tuple[str, str], ...]:
    """Species, height, stem, day of the scan; who asked and who planned where that was said."""
    stem, job = a.tree.stem, a.settings.job
    always = (
        (text("field_species"), a.asked.species or text("page_not_said")),
        (text("field_height"), figure(stem.height, "m")),
        (text("field_dbh"), text("thickness", d=stem.dbh, sd=stem.dbh_sd)),
        (text("field_scan_date"), job.scan_date or text("page_not_said")),
    )
    said = ((text("field_client"), job.client), (text("field_planner"), job.planner))
    return (*always, *(pair for pair in said if pair[1]))


def _site(a: Assessment, first: TieInPoint | None) -> dict[str, Any]:
    """Everything that threatens, the scope, and what kind of tree, season and the time since the scan warn of."""
    warned = " ".join(say_all((a.species, *a.species_warnings)))
    return {
        "threats": threats(a, first),
        "site_rows": (
            (text("field_scope"), a.settings.job.scope or scope_of(a)),
            (text("over_species"), warned),
            (text("page_season"), text("page_season_words")),
            (text("page_health"), text("page_health_words")),
            (text("page_two_dates"), text("page_two_dates_words", date=a.settings.job.scan_date or None)),
        ),
    }


def _asked(a: Assessment) -> dict[str, Any]:
    """For a click on any union: the place in words, why it is not ranked and what would help; those never judged too."""
    told = [why_not(a, p) for p in a.points]
    u = a.tree.graph.unions
    return {
        "judged": [{"place": t.place, "why": t.why, "helps": t.helps} for t in told],
        "others": [
            {
                "at": [round(float(v), 2) for v in u.place[k]],
                "label": u.label[k],
                "place": t.place,
                "why": t.why,
                "helps": t.helps,
            }
            for k, t in (never_judged(a) if a.points else ())
        ],
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
    fitness, over = a.tree.fitness, overview(a)
    notes = (*(fitness.reasons if fitness.assessable else ()), *a.tree.notes)
    return {
        "questions": [text(code) for code in QUESTIONS],
        "legend": LEGEND,
        "notes": list(dict.fromkeys(say_all(notes))),
        "seen_rows": [pair for pair in over.seen if pair[0] != text("over_species")],
        "unions": _unions(a) if not a.points else [],
        "unions_head": [text(code) for code in UNIONS_HEAD],
        "bands": [_band(b) for b in reversed(fitness.bands)],
        "bands_head": [text(code) for code in BANDS_HEAD],
        "cautions": CAUTIONS,
        "short_cautions": [CAUTIONS[k] for k in SHORT_CAUTIONS],
        "settings": [_setting(line) for line in settings_module.lines(a.settings)],
        "settings_head": [text(code) for code in SETTINGS_HEAD],
        "sources": [(key, s.title, s.standing) for key, s in SOURCES.items()],
        "sources_head": [text(code) for code in SOURCES_HEAD],
    }


def _band(b: dict[str, Any]) -> tuple[str, ...]:
    """One height band of the scan: from where to where, what it is fit for, spacing and bark seen."""
    arc = math.radians(b["arc_deg"]) if wording.finite(b["arc_deg"]) else None
    first, second = wording.length_range(b["from_m"], b["to_m"])
    span = text("page_band", first=first, second=second)
    return span, word(b["fit_for"]), figure(b["spacing_m"], "mm"), figure(arc, "deg")


def _setting(line: settings_module.SettingLine) -> tuple[str, ...]:
    """One setting as it is listed."""
    value = ", ".join(str(v) for v in line.value) if isinstance(line.value, tuple) else str(line.value)
    return line.name, value, line.unit, line.meaning, line.source


SCRIPT_TEXTS = (
    "page_whole_card",
    "page_held_against",
    "page_why_not_ranked",
    "page_would_help",
    "page_look_first",
    "page_fold",
    "page_unfold",
    "page_no_own_throw",
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


def _charts(a: Assessment, shown: list[TieInPoint]) -> dict[str, tuple[Markup, ...]]:
    """The charts over the first candidates, each for a desk and for a phone; the use of capacity down the load path is in figures.pdf."""
    chances = [(_name(p), [p.throw.chance] if p.throw else []) for p in shown]
    shares = [(_name(p), [s for _, s in p.reach.share_at] or [p.reach.share]) for p in shown]
    margins = [(_name(p), p.check.check.margin) for p in shown]
    return {
        "margins": _sizes(lambda narrow: margin_chart(margins, narrow)),
        "chances": _sizes(lambda narrow: share_bars(chances, 1, text("chart_chances"), narrow)) if any(c for _, c in chances) else (),
        "coverage": _sizes(lambda narrow: share_bars(shares, 3, text("chart_coverage"), narrow)),
    }


def _sizes(make: Callable[[bool], Drawing | None]) -> tuple[Markup, ...]:
    """A drawing for a desk and for a phone; none where there is none."""
    drawn = [d for d in (make(False), make(True)) if d is not None]
    return tuple(Markup(str(d)) for d in drawn)


def _name(p: TieInPoint) -> str:
    return text("chart_candidate", rank=p.rank, label=p.label, system=p.system)


def _picture(drawing: Drawing, caption: str) -> tuple[Markup, str]:
    return Markup(str(drawing)), caption


def _pictures(a: Assessment, p: TieInPoint) -> dict[str, tuple[Markup, str]]:
    """Elevation from the side and from the standing place, plan and load path of one candidate."""
    out = {"side": _picture(*elevation(a, p, None, SIDE_BOX)), "plan": _picture(*plan(a, p))}
    stand = from_the_stand(a, p)
    if stand is not None:
        out["stand"] = _picture(*stand)
    t = first_line(a, p)
    if t is not None:
        out["window"] = _picture(*window_picture(a, t, brief=True))
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
        "place": say(place_names(a.tree.graph)[p.union]),
    }


def _comparison(c: Card) -> dict[str, Any]:
    """What the side-by-side table needs of one card: rows of question (code, words), label (code, words) and text."""
    p = c.point
    head = [
        ["", "", "page_standing", text("page_standing"), word(p.verdict)],
        ["", "", "page_place", text("page_place"), c.place],
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
