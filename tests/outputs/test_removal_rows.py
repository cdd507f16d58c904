"""The table of a removal: what is planned stands there with what speaks against it."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from treescan.estimate import Estimate
from treescan.outputs.drawing.svg import Drawing
from treescan.outputs.report.threats import cuts
from treescan.outputs.rows.removal_rows import OF_BLOCK, OF_LIFE, removal_head, removal_rows
from treescan.outputs.text.english.data import TEXTS
from treescan.outputs.text.say import say
from treescan.planning.removal.removal_plan import ORDER
from treescan.planning.work.removal import Cut, Removal
from treescan.reason import Reason

COLUMN = removal_head().index(TEXTS["removal_head_planned"])


def planned(*alarms, life="U07", carries="", block=None):
    """What stands in the column."""
    stage = SimpleNamespace(
        number=1, cut=Cut(1, "top"), mass=Estimate(50, 40, 60), height=9.0, diameter=0.2, diameter_sd=0.01, length=3.0,
        alarms=alarms, block=block, carries=carries, hang=(), offered=(), elsewhere=(), lost_unions=(),
    )  # fmt: skip
    (row,) = removal_rows(SimpleNamespace(stages=(stage,)), Removal((stage.cut,), (life,)), counted=True)
    return row[COLUMN]


@pytest.mark.parametrize(
    ("code", "word"),
    [("support_gone", "GONE"), ("support_on_piece", "ON THE PIECE"), ("support_refused", "REFUSED"), ("support_fails_then", "DOES NOT HOLD")],
)
def test_a_planned_anchor_that_nobody_may_hang_on_says_so(code, word):
    """Its word stands in the cell itself, not only among the alarms."""
    assert f"climber on U07: {word}" in planned(Reason(code, union="U07", anchor="U07", why=Reason("support_contact_gone")))
    assert planned() == "climber on U07"


def test_one_refused_anchor_of_a_union_is_named():
    """Where the other anchors at the union hold, the word stands with the name of the one that does not."""
    assert planned(Reason("support_refused", union="U07 MRS", why=Reason("support_contact_gone"))) == "climber on U07: U07 MRS REFUSED"


def test_a_block_that_is_gone_stays_in_the_plan_with_its_word():
    """It was not judged, so no force is told; but it is planned, and gone."""
    assert planned(Reason("rigging_limb_gone", union="U04"), life="", carries="U04") == "block at U04: LIMB GONE"
    assert planned(Reason("rigging_gone", piece="top"), carries="U04") == "climber on U07; block at U04: GONE"


def test_every_alarm_of_what_is_planned_has_a_word():
    """The first alarms in their order, but those of wires, of what is not planned, and of anchors that go."""
    alarms = set().union(*ORDER)
    others = {"piece_near_conductor", "swing_near_conductor", "cut_no_anchor_left", "cut_anchors_go"}

    assert alarms - others == set(OF_LIFE) | set(OF_BLOCK)


def test_the_first_screen_counts_the_cuts_and_names_those_at_fault():
    """Nine cuts; at the second and the last something speaks against what is planned to carry: told first, every number, however many."""
    wrong = Reason("support_gone", union="U07")
    stages = tuple(
        SimpleNamespace(number=k, alarms=(wrong,) if k % 2 == 0 else (Reason("cut_no_anchor_left"),)) for k in range(1, 19)
    )
    (told,) = cuts(SimpleNamespace(climb=SimpleNamespace(stages=stages)))

    assert told.alarm
    assert "18 cuts are planned, with 18 alarms" in say(told.found)
    assert "2, 4, 6, 8, 10, 12, 14, 16, 18" in say(told.found) and "2, 4, 6, 8, 10, 12, 14, 16, 18" in say(told.short)
    (calm,) = cuts(SimpleNamespace(climb=SimpleNamespace(stages=stages[:1])))
    assert not calm.alarm and "1 cut is planned, with 1 alarm" in say(calm.found)
    assert cuts(SimpleNamespace(climb=None)) == ()


def test_a_label_that_must_stand_is_never_left_out():
    """A wire along the upper edge of a full picture keeps its name."""
    d = Drawing(200.0, 100.0, "a picture")
    d.keep_clear(100.0, 50.0, 200.0)
    d.label(100.0, 4.0, "left out")
    d.label(100.0, 4.0, "wire seen: treat as live", must=True)

    assert [m.text for m in d.marks] == ["wire seen: treat as live"]
    assert 0 < d.marks[0].y < 100
