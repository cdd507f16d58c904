"""What stands on each page of the job sheet."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from treescan.assess import Assessment
from treescan.cautions import CAUTIONS
from treescan.outputs.drawing.elevation import elevation
from treescan.outputs.drawing.pdf_drawing import Picture
from treescan.outputs.drawing.plan_drawing import plan
from treescan.outputs.drawing.window_drawing import window_picture
from treescan.outputs.job_sheet.sheet_climb import approach_words, rescue_lines
from treescan.outputs.job_sheet.sheet_parts import (
    BAND,
    HEAD,
    SMALL,
    Blank,
    boxes,
    figures,
    framed,
    gap,
    grid,
    numbered,
    side_by_side,
    strip,
    strong,
    words,
)
from treescan.outputs.report.cards import Answer, breaks_words, card, section_words, stand_words, work_words
from treescan.outputs.report.glance import glance
from treescan.outputs.report.overview import overview
from treescan.outputs.shapes.first_line import first_line
from treescan.outputs.text import wording as w
from treescan.outputs.text.say import say_all
from treescan.planning.tie_in_point import TieInPoint

Blocks = list[Any]
WIDTH = 515.0
"""Of the text block. [points]"""
HALF = WIDTH / 2 - 8
PICTURES = 172.0
"""Height of map and window side by side. [points]"""


def crew_pages(a: Assessment, usable: Sequence[TieInPoint]) -> list[Blocks]:
    """Two pages: the first candidate with its drawing, then the next two, kit, people and all cautions."""
    return [_first_page(a, usable[0]), _second_page(a, usable)]


def _first_page(a: Assessment, p: TieInPoint) -> Blocks:
    c = card(a, p, 0)
    drawing, caption = elevation(a, p)
    left = [Picture(drawing, HALF, 285), words(caption, SMALL)]
    right = [
        words("Will it hold?", BAND),
        figures(_hold_rows(a, p), HALF),
        words("What if it fails?", BAND),
        figures(_fail_rows(p), HALF),
        words("Can I reach the work?", BAND),
        figures([r for r in c.answers[4].rows if r[0] not in NOT_ON_THE_SHEET], HALF),
    ]
    line = c.answers[1]
    return [
        words(f"First to inspect: {p.label}, {c.height} up, {p.system} with {p.hardware}", HEAD),
        strip([(g.question, g.figure, g.words) for g in glance(a, p)[1:]], WIDTH),
        words(f"{p.verdict.capitalize()}. {' '.join(say_all(p.reasons[:2]))} Forces are for a climber of {w.mass(a.settings.loads.climber_mass)} with gear."),
        gap(),
        side_by_side(left, right, WIDTH),
        words("Can I get a line in?", BAND),
        side_by_side([figures(line.rows, HALF)], _steps(line), WIDTH) if line.steps else figures(line.rows, WIDTH, 0.17),
        words("Before committing, by the climber (tick by hand)", BAND),
        side_by_side([boxes(CHECKS[:4])], [boxes(CHECKS[4:])], WIDTH),
    ]


NOT_ON_THE_SHEET = ("Straight rope meets wood", "Mostly in the way", "Within rope angle", "Conductor")
"""Answers on reach that stand in the report only; conductors have their own page."""
ON_THE_SHEET = ("Climbing rope", "Rope to bring", "Throwline", "Kit", "Getting the rope down")
CHECKS = (
    "tree, base, stem and union inspected; no decay, crack, included bark, fungus, movement",
    "line hangs over the union planned, or over the limbs listed",
    "load-tested in the configuration and direction of use, watching limb, stem and ground",
    "second attachment and rescue line agreed",
    "union inspected by hand on arrival, before the weight is committed",
    "swing from the outermost work point looked at from the rope",
    "wires, nests, weather, people below: looked for today",
    "accepted   /   refused, go to the next candidate (ring one)",
)


def _hold_rows(a: Assessment, p: TieInPoint) -> list[tuple[str, str]]:
    k = p.check
    return [
        (
            "Force on the union",
            f"{w.force(float(np.linalg.norm(k.force)))}, under a climber hanging still {w.plain(k.multiple_of_weight, 2)} times the weight; {k.case}, "
            f"{work_words(a, k.worst_work_point)}",
        ),
        (
            "Strength over stress, low",
            f"{w.margin(k.check.margin.median, k.check.margin.p5)}, {k.check.verdict}, if the wood is sound",
        ),
        ("Breaks", breaks_words(k)),
        ("Weakest section", section_words(a, p)),
    ]


def _fail_rows(p: TieInPoint) -> list[tuple[str, str]]:
    """What catches, in figures only; how it comes about stands in the report."""
    rows = []
    for i, c in enumerate(p.check.catches[:3], start=1):
        caught = f"drop {w.metres(c.drop)}, peak {w.force(c.peak)}, margin {w.margin(c.margin.median, c.margin.p5)}"
        fall = f"nothing else is shown to catch{f': {w.metres(c.drop)}' if w.finite(c.drop) else ''}"
        rows.append((f"{i}. {'the ground' if c.ground else c.label}", fall if c.ground else caught))
    rows.append(("Held above the ground by a later limb", "yes, on the stated sums" if p.check.redundant else "no"))
    return rows + ([("One failure takes both", p.check.common_cause)] if p.check.common_cause else [])


def _steps(line: Answer) -> Blocks:
    return [numbered(line.steps)] if line.steps else [words("No steps: no throw from the ground was found.")]


def _second_page(a: Assessment, usable: Sequence[TieInPoint]) -> Blocks:
    first = usable[0]
    drawing, caption = plan(a, first)
    order = card(a, first, 0).answers[5]
    kit = [r for r in order.rows if r[0] in ON_THE_SHEET]
    how = [words("In what order?", BAND), numbered(order.steps)]
    more = approach_words(a) if a.climb is None else []
    throw = first_line(a, first)
    if throw is None:
        left = [words("Where to stand", BAND), Picture(drawing, 0.44 * WIDTH - 10, 235), words(caption, SMALL)]
        right = [*how, words("Rope and kit", BAND), figures(kit, 0.56 * WIDTH, 0.2), *more]
        parts: Blocks = [side_by_side(left, right, WIDTH, 0.44)]
    else:
        seen, meaning = window_picture(a, throw, brief=True)
        left = [words("Where to stand", BAND), Picture(drawing, HALF, PICTURES), words(caption, SMALL)]
        right = [words("What the thrower sees", BAND), Picture(seen, HALF, PICTURES), words(meaning, SMALL)]
        kit_beside = [words("Rope and kit", BAND), figures(kit, 0.64 * WIDTH, 0.16)]
        parts = [side_by_side(left, right, WIDTH), gap(), side_by_side(how, kit_beside, WIDTH, 0.36), *more]
    if len(usable) > 1:
        parts += [words("If the first is refused: the next to inspect", BAND), _next_table(a, usable[1:3])]
    people = [Blank(f"{role}:", HALF) for role in ("Competent person, accepted by", "Climber", "Ground worker", "Rescuer, equipped and named")]
    site = [
        Blank(f"{what}:", HALF)
        for what in (
            "Date and weather",
            "Meeting point / grid reference",
            "Hospital, emergency number",
            "Operates the base anchor",
        )
    ]
    cautions = [strong(f"{i}.", text, SMALL) for i, text in enumerate(CAUTIONS.values(), start=1)]
    middle = 8
    parts += [words("People and signatures", BAND), side_by_side(people, site, WIDTH), gap(), words("Cautions", BAND)]
    return [*parts, side_by_side(cautions[:middle], cautions[middle:], WIDTH)]


def _next_table(a: Assessment, points: Sequence[TieInPoint]) -> Any:
    rows = []
    for p in points:
        caught = next((c for c in p.check.catches if not c.ground), None)
        rows.append(
            (
                f"{p.rank}. {p.label}",
                w.metres(float(a.tree.graph.unions.height[p.union])),
                f"{p.system}, {p.hardware}",
                w.force(float(np.linalg.norm(p.check.force))),
                w.margin(p.check.check.margin.median, p.check.check.margin.p5),
                stand_words(a, p) + (f", {w.percent(p.throw.chance)} a throw" if p.throw else ", for the first line on the way up" if first_line(a, p) else ""),
                f"{caught.label}, drop {w.metres(caught.drop)}" if caught else "the ground",
                w.metres(p.rope.stock, 0) + (f", throwline {w.metres(p.rope.throwline, 0)}" if p.rope.throwline > 0 else ""),
            )
        )
    head = ("Candidate", "Height", "System", "Force", "Margin, low", "Stand", "If it fails", "Rope")
    return grid(head, rows, [48, 56, 66, 62, 58, 100, 70, 55])


def rescue_page(a: Assessment, usable: Sequence[TieInPoint]) -> Blocks:
    """How a casualty comes down: other candidates for a rescue line, drawn from the same ranking; people and route blank."""
    first = usable[0]
    others = [p for p in usable if p.union != first.union][:4]
    rows = [
        (
            f"{p.rank}. {p.label}",
            w.metres(float(a.tree.graph.unions.height[p.union])),
            p.system,
            w.plain(float(np.hypot(*(a.tree.graph.unions.place[p.union] - a.tree.graph.unions.place[first.union])[:2])), 1, "m aside"),
            w.margin(p.check.check.margin.median, p.check.check.margin.p5),
            "shares wood with the first: " + p.check.common_cause if p.check.common_cause else "see the load path in the report",
        )
        for p in others
    ]
    height = float(a.tree.graph.unions.height[first.union])
    blocks: Blocks = [
        words("Rescue", HEAD),
        framed([words(CAUTIONS["rescue"])], WIDTH),
        words("Main line", BAND),
        figures(
            [
                ("Climber hangs from", f"{first.label}, {w.metres(height)} up, {first.system}, {first.hardware}"),
                ("Rope that lowers a casualty on a bight from there", f"at least twice the height: {w.metres(2 * height)}"),
                ("Load with two people", _two_people(a)),
            ],
            WIDTH,
        ),
        words("Candidates for a rescue line of its own", BAND),
    ]
    lines = rescue_lines(a.climb, first) if a.climb is not None else []
    if lines:
        blocks += lines
    elif rows:
        blocks.append(
            grid(
                ("Candidate", "Height", "System", "From the first", "Margin, low, one person", "Note"),
                rows,
                [60, 75, 70, 70, 100, 140],
            )
        )
    else:
        blocks.append(words("No second union is ranked: a rescue line needs another tree, a platform or another plan."))
    blanks = (
        "Rescuer (name, equipped, on site)",
        "Second rescuer",
        "Access line left in at",
        "Route to the casualty",
        "Landing, clear and level",
        "Way to call help, tested",
        "Address / grid reference for the ambulance",
        "Hospital",
        "Agreed signal to start a rescue",
    )
    blocks += [words("To be filled in before anyone leaves the ground", BAND), *[Blank(f"{b}:", WIDTH) for b in blanks]]
    blocks += [gap(8), words("Lowering path, sketched by the climber", BAND), framed([gap(170)], WIDTH)]
    return blocks


def _two_people(a: Assessment) -> str:
    """Whether the loads that the first candidate was judged by hold two people."""
    if "rescue" in getattr(a.settings.loads, "cases", ()):
        return "among the loads it was judged by (rescue case); a further shock is not"
    return "not the load of the table before: have it judged for two before relying on this union"


def form_pages(a: Assessment, usable: Sequence[TieInPoint]) -> list[Blocks]:
    """Inspection form with the scan's figures filled in and every finding blank; risk assessment draft."""
    over = overview(a)
    findings = (
        "Roots and soil: cuts, heave, cracks, fungi",
        "Base: cavity, fungi, bark loss, movement",
        "Stem: cracks, cavity, lean that is new, lightning",
        "Unions: included bark, cracks, water, decay",
        "Crown: dead limbs, hangers, leaf loss, ivy",
        "Earlier failures, earlier cuts, cables",
        "Insects, nests, bats, protected status",
    )
    inspection: Blocks = [
        words("Inspection", HEAD),
        words("The upper part comes from the scan. The lower part can only be filled in by a competent person at the tree."),
        words("From the scan", BAND),
        side_by_side([figures(over.seen[:5], HALF)], [figures(over.seen[5:], HALF)], WIDTH),
        words("Said by the scan about itself", BAND),
        *[words("- " + n, SMALL) for n in list(dict.fromkeys(say_all((*a.tree.fitness.reasons, *a.tree.notes, *a.warnings))))[:10]],
        words("Seen at the tree, by the competent person", BAND),
        *[Blank(f + ":", WIDTH, 2) for f in findings],
        words("Unions to be inspected by hand", BAND),
        grid(
            ("Candidate", "Height", "Limb below", "Noted by the scan", "Found (sound, cracked, decayed, other)"),
            [
                (
                    f"{p.rank}. {p.label}",
                    w.metres(float(a.tree.graph.unions.height[p.union])),
                    w.diameter(float(a.tree.graph.unions.parent_diameter[p.union])),
                    ", ".join(a.tree.graph.unions.flags[p.union]) or "nothing",
                    "",
                )
                for p in _one_per_union(usable)[:5]
            ],
            [60, 80, 90, 110, 175],
            14,
            True,
        ),
        gap(),
        side_by_side([Blank("Competent person:", HALF)], [Blank("Date, signature:", HALF)], WIDTH),
    ]
    hazards = (
        ("Anchor gives out", "candidates ranked on the low figure; inspection and load test; what catches next is listed"),
        ("Wood unsound inside", "cannot be seen by a scan: inspection form, sounding, other means"),
        (
            "Swing into stem or limb",
            f"up to {w.metres(usable[0].reach.swing)} from {usable[0].label}; lanyard, redirect, second line",
        ),
        (
            "Line or bag hits people, wires, glass",
            "standing places kept out of drawn areas; callout, helmets, nobody under the arc",
        ),
        ("Electricity", CAUTIONS["electricity"]),
        ("Falling wood", "drop zone, base leg out of it, hangers looked for"),
        ("Casualty in the tree", "rescue page filled in, rescuer named and equipped"),
        ("Weather", CAUTIONS["weather"]),
        ("Wildlife, heritage", CAUTIONS["wildlife"]),
        ("Other", ""),
    )
    risk: Blocks = [
        words("Risk assessment: a draft to be finished by a competent person", HEAD),
        words(CAUTIONS["safer_access"] + " " + CAUTIONS["unsure"]),
        gap(),
        grid(
            ("Hazard", "What the plan holds about it", "Likely? Severe?", "Done about it, by whom"),
            [(h, t, "", "") for h, t in hazards],
            [105, 190, 75, 145],
            22,
            True,
        ),
        gap(8),
        *[
            Blank(f"{b}:", WIDTH)
            for b in (
                "Site and work",
                "Go / no-go, stop criteria",
                "Prepared by",
                "Agreed by the climber",
                "Agreed by the ground crew",
            )
        ],
    ]
    return [inspection, risk]


def _one_per_union(usable: Sequence[TieInPoint]) -> list[TieInPoint]:
    """The best-ranked way to configuration each union."""
    first: dict[int, TieInPoint] = {}
    for p in usable:
        first.setdefault(p.union, p)
    return list(first.values())


def hopeless_page(a: Assessment) -> Blocks:
    """One page where nothing is ranked: why, what a rescan needs, the tree as seen."""
    assessable = a.tree.fitness.assessable
    head = "No candidate could be ranked" if assessable else "Not assessable from this scan"
    why = [f"{words_} ({count} candidate(s))" for words_, count in overview(a).refusals] if assessable else list(a.tree.fitness.reasons)
    drawing, caption = elevation(a, None)
    cautions = [strong(f"{i}.", text, SMALL) for i, text in enumerate(CAUTIONS.values(), start=1)]
    return [
        words(head, HEAD),
        words("Do not plan a climb from this sheet."),
        words("Why, and what would settle it", BAND),
        numbered(why or ["No union of this tree could be judged."]),
        gap(),
        side_by_side([Picture(drawing, HALF, 300), words(caption, SMALL)], [words("As seen", BAND), figures(overview(a).seen, HALF)], WIDTH),
        words("Cautions", BAND),
        side_by_side(cautions[:8], cautions[8:], WIDTH),
    ]
