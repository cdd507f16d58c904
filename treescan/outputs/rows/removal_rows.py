"""A removal cut by cut, and the stem by height, in the columns that page and sheet share."""

from __future__ import annotations

from treescan.outputs.text.say import figure, say_all, text
from treescan.planning.climb.climb_plan import ClimbPlan
from treescan.planning.removal.stages import Stage
from treescan.planning.work.removal import Removal
from treescan.reason import has

_HEAD = (
    "removal_head_cut",
    "removal_head_alarms",
    "removal_head_height",
    "removal_head_wood",
    "removal_head_piece",
    "removal_head_planned",
    "removal_head_hang",
    "removal_head_lost",
)
OF_LIFE = {
    "support_gone": "planned_gone",
    "support_on_piece": "planned_on_piece",
    "support_refused": "planned_refused",
    "support_fails_then": "planned_fails",
    "support_never_judged": "planned_unjudged",
    "swing_near_climber": "planned_struck",
    "support_shares_rigging": "planned_shares",
    "support_shares_stem": "planned_shares",
    "support_weakest_below": "planned_shares",
    "support_doubtful": "planned_doubtful",
    "support_doubtful_then": "planned_doubtful",
    "support_in_other_tree": "planned_elsewhere",
    "support_not_straight": "planned_crooked",
}
"""Alarm to the word that stands beside the life support it speaks against."""
OF_BLOCK = {
    "rigging_gone": "planned_gone",
    "rigging_on_piece": "planned_on_piece",
    "rigging_limb_gone": "planned_limb_gone",
    "rigging_on_refused": "planned_weak",
    "block_too_much": "planned_too_much",
    "block_must_run": "planned_must_run",
}
"""Alarm to the word that stands beside the block it speaks against."""
PART = frozenset({"support_refused", "support_fails_then", "support_doubtful_then"})
"""Alarms that may concern one anchor of a union only."""
MAX_HANG = 3
"""Anchors named for a cut, the best ranked first."""


def removal_head() -> tuple[str, ...]:
    """Heads of the columns of `removal_rows`."""
    return tuple(text(code) for code in _HEAD)


def removal_note() -> str:
    """What the masses are, and what never to do."""
    return text("removal_note")


def removal_rows(c: ClimbPlan, removal: Removal | None, *, counted: bool = False) -> list[tuple[str, ...]]:
    """One row a cut, in the columns of `removal_head`; with `counted` alarms are counted and told elsewhere."""
    return [_row(s, removal, counted) for s in c.stages]


def _row(s: Stage, removal: Removal | None, counted: bool) -> tuple[str, ...]:
    m = s.mass
    alarms = text("removal_cell_alarms", n=len(s.alarms)) if s.alarms and counted else " ".join(say_all(s.alarms))
    return (
        text("removal_cell_cut", number=s.number, piece=s.cut.piece),
        alarms,
        figure(s.height, "m"),
        text("removal_cell_wood", diameter=s.diameter, sd=s.diameter_sd),
        text("removal_cell_piece", length=s.length, mass=m.median, low=m.p5, high=m.p95),
        _planned(s, removal),
        ", ".join(_hang(s)) or text("removal_cell_no_hang"),
        ", ".join(s.lost_unions) or text("removal_cell_no_loss"),
    )


def _planned(s: Stage, removal: Removal | None) -> str:
    """What the climber and the block are planned to hang on, and what the block bears."""
    life = None if removal is None else removal.support_at(s.number - 1)
    b = s.block
    elsewhere = has(s.alarms, "support_in_other_tree")
    return text(
        "removal_cell_planned",
        life=text("anchor_quoted", anchor=life) if elsewhere else life,
        against=_words(s, OF_LIFE, life) or None,
        block=s.carries or None,
        block_against=_words(s, OF_BLOCK, s.carries) or None,
        force=None if b is None else b.calm.size,
        hard=None if b is None or b.stopped is None else b.stopped.size,
    ) or text("removal_cell_not_planned")


def _words(s: Stage, of: dict[str, str], planned: str | None) -> str:
    """The alarms against what is planned, a word each, the most urgent first; with the anchor's name where it is but one of several at
    the union."""
    said = []
    for alarm in s.alarms:
        if alarm.code in of:
            named = alarm.values.get("anchor") or alarm.values.get("union")
            said.append((named if alarm.code in PART and named != planned else None, text(of[alarm.code])))
    whole = {word for one, word in said if one is None}
    told = dict.fromkeys((one, word) for one, word in said if one is None or word not in whole)
    return ", ".join(text("planned_word", anchor=one, word=word) for one, word in told)


def _hang(s: Stage) -> tuple[str, ...]:
    """Anchors to hang on, with their low ends then and in the whole tree where they were judged anew."""
    offered = say_all(x.reason for x in s.offered[:MAX_HANG])
    return (*(offered or s.hang[:MAX_HANG]), *(text("removal_cell_elsewhere", anchor=name) for name in s.elsewhere))


def spar_rows(c: ClimbPlan) -> list[tuple[str, str]]:
    """Height on the stem and its diameter there."""
    return [
        (figure(s.height, "m0"), text("removal_cell_wood", diameter=s.diameter, sd=s.diameter_sd))
        for s in c.spar
    ]
