"""The second page of the job sheet: how a casualty comes down, what is looked for at the tree, and every caution in full."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from treescan.assess import Assessment
from treescan.outputs.drawing.pdf_drawing import Picture
from treescan.outputs.drawing.rescue_drawing import rescue_drawing, rescue_of, rescuers_point
from treescan.outputs.job_sheet.front_page import block_height
from treescan.outputs.job_sheet.sheet_parts import (
    NOTE,
    TITLE,
    Field,
    cautions_in_two,
    gap,
    rich,
    rule,
    side_by_side,
    words,
)
from treescan.outputs.shapes.place_names import place_of
from treescan.outputs.text.say import say, text
from treescan.planning.tie_in_point import TieInPoint

Blocks = list[Any]
PICTURE = 0.55
"""Of the width, for the drawing."""
LINES = (34.0, 31.0, 28.0, 25.0, 22.0, 19.0, 17.0)
"""Height of a line to write on, the largest that leaves the page whole. [points]"""
BLANKS = ("blank_rescuer", "blank_access", "blank_call", "blank_address", "blank_hospital", "blank_signal")
LOOKED_FOR = ("look_roots", "look_stem", "look_unions", "look_crown", "look_wildlife", "look_site")
"""What is looked for at the tree before anybody leaves the ground."""


def back_page(a: Assessment, usable: Sequence[TieInPoint], width: float, height: float) -> Blocks:
    """The blocks of the page, filled up by the drawing. [points]"""
    p = usable[0]
    right = width * (1 - PICTURE)
    head, how = [words(text("back_rescue"), TITLE), gap(3)], _rescue(a, p)
    wide = width * PICTURE - 8.0
    page: Blocks = []
    for line in LINES:
        foot = [gap(2), rule(), *_form(width, line), gap(3), rule(), cautions_in_two(width, NOTE)]
        column = [*how, gap(2), *(Field(text(code), "", right, line) for code in BLANKS)]
        room = height - block_height([*head, *foot], width) - 8.0
        drawing, caption = rescue_drawing(a, p, (560.0, 560.0 * room / wide))
        below = words(caption, NOTE)
        left = [Picture(drawing, wide, room - block_height([below], wide) - 4.0), below]
        page = [*head, side_by_side(left, column, width, PICTURE, 8.0), *foot]
        if max(block_height(left, wide), block_height(column, right)) <= room:
            break
    return page


def _rescue(a: Assessment, p: TieInPoint) -> Blocks:
    """Main line, the rescuer's line and route, lowering."""
    height = float(a.tree.graph.unions.height[p.union])
    place = text("place_with_code", place=place_of(a.tree.graph, p), label=p.label)
    found, other = rescue_of(a, p), rescuers_point(a, p)
    two = text("rescue_two_judged" if "rescue" in a.settings.loads.cases else "rescue_two_not_judged")
    parts = [rich(text("back_hangs"), text("back_main", place=place, bight=2 * height, two=two))]
    if found is None or other is None:
        parts.append(rich(text("back_route"), text("back_no_line")))
    else:
        there = text("place_with_code", place=place_of(a.tree.graph, other), label=other.label)
        low = found.two_person_margin if found.two_person_margin == found.two_person_margin else None
        route = text("back_line", place=there, system=other.system, share=found.share, low=low)
        last = next((s for s in other.access if s.union is not None), None)
        way = text("back_way", how=say(last.words)) if last is not None else ""
        parts.append(rich(text("back_route"), f"{route} {way}".strip()))
    if found is not None and found.corridors:
        free = sum(c.free for c in found.corridors)
        parts.append(rich(text("back_lower"), text("back_clear", free=free, all=len(found.corridors))))
    return parts


def _form(width: float, line: float) -> Blocks:
    """What is looked for, each with room for what was found."""
    half = width / 2
    fields = [Field(text(code), "", half - 8.0, line) for code in LOOKED_FOR]
    middle = len(fields) // 2
    return [rich(text("back_look"), ""), side_by_side(fields[:middle], fields[middle:], width, 0.5, 8.0)]
