"""A wire that the scan saw is drawn on the plan as one dashed line with the word, also where it was not seen."""

from dataclasses import replace

import numpy as np
import pytest
from made_up_assessment import made_up

from treescan.assess import Assessment
from treescan.outputs.drawing.pdf_drawing import LOOKS
from treescan.outputs.drawing.plan_drawing import plan
from treescan.outputs.drawing.svg import Shape, Words
from treescan.trees.beside import KINDS, Site, Surroundings


def with_wire(volts: float = np.nan) -> Assessment:
    """A wire 6 m north of the stem, of which the 4 m right before the tree are not in the scan, and a wall in the south."""
    a = made_up()
    foot = a.tree.graph.xyz[0]
    x = np.concatenate([np.arange(-7, -2, 0.2), np.arange(2, 7, 0.2)])
    wire = foot + np.column_stack([x, np.full(len(x), 6.0), np.full(len(x), 8.0)])
    wall = foot + np.column_stack([x, np.full(len(x), -6.0), np.full(len(x), 3.0)])
    kind = np.repeat([KINDS.index("wire"), KINDS.index("building")], len(x)).astype(np.uint8)
    beside = replace(a.tree.beside, surroundings=Surroundings(np.concatenate([wire, wall]), kind, 0.2))
    return replace(a, tree=replace(a.tree, beside=beside), site=Site(wires=volts))


def drawn(a: Assessment) -> tuple[list[Shape], list[np.ndarray], list[str]]:
    """Wires, squares of other things and words of the plan."""
    marks = plan(a, None)[0].marks
    wires = [m for m in marks if isinstance(m, Shape) and m.css == "wire-seen"]
    squares = [np.asarray(s) for m in marks if isinstance(m, Shape) and m.css == "around" for s in m.parts]
    return wires, squares, [m.text for m in marks if isinstance(m, Words) and "wire seen" in m.text]


def test_a_seen_wire_is_one_line_across_its_gap() -> None:
    """One line north of the stem (up on the plan) past it on both sides; the squares are the wall's alone."""
    picture = plan(with_wire(), None)[0]
    (wire,), squares, words = drawn(with_wire())
    (points,) = wire.parts

    assert np.asarray(points).shape == (2, 2) and (np.asarray(points)[:, 1] < picture.height / 2).all()
    assert points[:, 0].min() < picture.width / 2 < points[:, 0].max()
    assert squares and all(s[:, 1].min() > picture.height / 2 for s in squares)
    assert words == ["wire seen in part: treat as live"]
    assert LOOKS["wire-seen"].dash


@pytest.mark.parametrize(("volts", "lines"), [(230.0, 1), (0.0, 0)])
def test_what_was_said_of_it_counts(volts: float, lines: int) -> None:
    """With its voltage said it is told; where there is none it is drawn as an unknown thing."""
    wires, squares, words = drawn(with_wire(volts))

    assert len(wires) == len(words) == lines
    assert any(s[:, 1].max() < plan(with_wire(), None)[0].height / 2 for s in squares) == (lines == 0)
    assert all("230 V" in w for w in words)
