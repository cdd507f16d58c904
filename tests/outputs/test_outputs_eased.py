"""Who asks less of the wood than the product asks by itself reads it first, on every page."""

from __future__ import annotations

from dataclasses import replace

import pytest
from outputs.made_up_assessment import made_up

from treescan.assess import Settings
from treescan.outputs.report.threats import eased, threats
from treescan.outputs.text.say import say
from treescan.settings import merged


@pytest.mark.parametrize(
    ("room", "changes", "told"),
    [
        ("loads", {"fails_p5": 0.5}, "loads.fails_p5"),
        ("loads", {"holds_chance": 0.5}, "loads.holds_chance"),
        ("loads", {"cases": ["at rest"]}, "abrupt stop"),
        ("planning", {"margin_gate": 0.2}, "planning.margin_gate"),
    ],
)
def test_eased_settings_are_told_first(room, changes, told):
    """Named as they are written, before wires and dead wood."""
    a = made_up()
    asked = replace(a.asked, settings=merged(Settings(), {room: changes}))
    first = threats(replace(a, asked=asked), a.points[0])[0]
    assert first.kind == "eased" and first.alarm
    assert told in say(first.found)


def test_as_they_come_nothing_is_told():
    """And a setting that asks more is no ease."""
    a = made_up()
    assert eased(replace(a, asked=replace(a.asked, settings=Settings()))) == ()
    harder = merged(Settings(), {"loads": {"holds_p5": 3.0}})
    assert eased(replace(a, asked=replace(a.asked, settings=harder))) == ()
