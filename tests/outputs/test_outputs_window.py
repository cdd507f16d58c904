"""The throw as the thrower sees it: every mark at the angle it was computed at, the shares in words, told apart without colour."""

from __future__ import annotations

import re

import numpy as np
import pytest
from made_up_assessment import made_up

from treescan.assess import Assessment
from treescan.outputs.drawing.svg import Shape, Words
from treescan.outputs.drawing.window_drawing import APART, LEFT, window_picture
from treescan.outputs.report.report import report_html
from treescan.outputs.shapes.first_line import first_line
from treescan.outputs.text.say import say
from treescan.throw.detail.window import Window, throw_window
from treescan.throw.throw_path import Throw


@pytest.fixture(scope="module")
def seen() -> tuple[Assessment, Throw, Window]:
    a = made_up()
    t = first_line(a, next(p for p in a.points if p.usable))
    assert t is not None
    return a, t, throw_window(a.tree.graph, a.tree.beside, a.site, t, a.settings.throw)


def test_marks_stand_at_their_angles(seen: tuple[Assessment, Throw, Window]) -> None:
    """The box of the opening, read back through the degree lines of the drawing, is the computed opening to a tenth of a degree."""
    a, t, window = seen
    drawing, _ = window_picture(a, t)
    ticks = {m.text: (m.x, m.y) for m in drawing.marks if isinstance(m, Words)}
    heights = sorted((int(text[:-1]), y - 4) for text, (x, y) in ticks.items() if re.fullmatch(r"-?\d+°", text) and x < LEFT)
    (low, y_low), (high, y_high) = heights[0], heights[-1]
    degrees_up = (high - low) / (y_low - y_high)
    box = next(m for m in drawing.marks if isinstance(m, Shape) and m.css == "opening").parts[0]
    left, right, bottom, top = np.degrees(window.opening)
    np.testing.assert_allclose(low + (y_low - box[:, 1].max()) * degrees_up, bottom, atol=0.1)
    np.testing.assert_allclose(low + (y_low - box[:, 1].min()) * degrees_up, top, atol=0.1)
    np.testing.assert_allclose((box[:, 0].max() - box[:, 0].min()) * degrees_up, right - left, atol=0.1)


def test_the_caption_gives_the_shares_and_the_marks_differ_in_shape(seen: tuple[Assessment, Throw, Window]) -> None:
    """What becomes of the throws stands in per cent as computed; the classes have different outlines, not only colours."""
    a, t, window = seen
    drawing, caption = window_picture(a, t)
    fall, share = window.falls[0]
    assert re.search(rf"{100 * share:.0f} % {re.escape(say(fall))}", caption)
    corners = {m.css: len(m.parts[0]) for m in drawing.marks if isinstance(m, Shape) and m.css.startswith("bag")}
    assert {f"bag{c}" for c in set(window.over_class.tolist())} == set(corners)


def test_marks_of_one_kind_stay_apart_and_rest_on_the_useful_bags(seen: tuple[Assessment, Throw, Window]) -> None:
    """No mark covers another of its class; some stand for every class."""
    a, t, window = seen
    drawing, _ = window_picture(a, t)
    for isolation in set(window.over_class.tolist()):
        marks = next(m for m in drawing.marks if isinstance(m, Shape) and m.css == f"bag{isolation}").parts
        middle = np.array([part.mean(axis=0) for part in marks])
        gap = np.abs(middle[:, None] - middle[None]).max(axis=2) + 1e9 * np.eye(len(middle))
        assert len(middle) and gap.min() >= APART - 1e-6


def test_everything_lies_inside_the_picture(seen: tuple[Assessment, Throw, Window]) -> None:
    """No wood and no mark runs out of the frame."""
    a, t, _ = seen
    drawing, _ = window_picture(a, t)
    for m in drawing.marks:
        if isinstance(m, Shape):
            xy = np.concatenate(m.parts)
            assert xy.min() >= -5 and (xy <= [drawing.width + 5, drawing.height + 5]).all(), m.css


def test_the_page_shows_the_window_of_the_first_candidate() -> None:
    """It stands with the other drawings of the second question."""
    page = report_html(made_up())
    section = page[page.index('id="q2"') : page.index('id="q3"')]
    assert "as the thrower sees it" in section
