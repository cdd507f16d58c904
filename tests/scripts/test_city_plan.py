"""The page that plans a million trees follows from the measured figures."""

from __future__ import annotations

import copy
import json
import re

from city_plan import FIGURES, MILLION, PAGE, page


def test_the_page_is_what_the_figures_give() -> None:
    """Nobody typed a number into it."""
    assert PAGE.read_text() == page(json.loads(FIGURES.read_text()))


def test_core_hours_follow_the_measured_seconds() -> None:
    """A million full plans take a million times the middle scan's seconds; twice the seconds, twice the hours."""
    held = json.loads(FIGURES.read_text())
    twice = copy.deepcopy(held)
    for row in twice["kinds"].values():
        row["processor_s"] *= 2
    one, two = (_core_hours(page(h)) for h in (held, twice))
    middle = sorted(row["processor_s"] for row in held["kinds"].values())[len(held["kinds"]) // 2]
    assert abs(one / (MILLION * middle / 3600) - 1) < 0.006 and abs(two / one - 2) < 0.012


def _core_hours(text: str) -> float:
    row = re.search(r"\| all scanned from tripods, full plan \| [\d,]+ \| ([\d,.]+) \|", text)
    assert row
    return float(row[1].replace(",", ""))
