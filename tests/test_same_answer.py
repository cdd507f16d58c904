"""The same scan gives the same answer: reordered, shifted, parted, as text and in feet (issue table by scripts/same_answer.py)."""

from __future__ import annotations

from pathlib import Path

import pytest
from same_answer import VARIANTS, begun_with, compared, same_bits, variant

SLOPE = Path(__file__).parents[1] / "sample_clouds" / "marl_steps_slope.laz"
QUICK = tuple(name for name in VARIANTS if name != "split in two files")


@pytest.mark.parametrize("name", QUICK)
def test_the_work_begins_with_the_same_bits(name, tmp_path):
    """Points, columns and order are the same to the bit before the first of them is looked at."""
    files, unit, _ = variant(name, SLOPE, tmp_path)

    assert same_bits(begun_with([SLOPE], None), begun_with(files, unit))


@pytest.mark.slow
def test_slope_gives_the_same_answer_in_every_variant():
    """Every union within 2 cm, 95 % of the rigs within 2 % in margin and its low end, no verdict but near ties differs."""
    assert all(how.good for how in compared(SLOPE, VARIANTS, "beech"))
