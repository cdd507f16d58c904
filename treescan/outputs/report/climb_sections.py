"""The climb as a whole, in the order a crew asks: a heading and its sentences each."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from treescan.outputs.text.say import say, say_all, text, word
from treescan.planning.climb.climb_plan import ClimbPlan
from treescan.planning.climb.left_out import LeftOut
from treescan.planning.climb.rescue import RescuePlan
from treescan.planning.climb.what_would_change import Change
from treescan.reason import Reason


@dataclass(frozen=True)
class ClimbSection:
    """key : what it is about, as code; heading, sentences : as shown."""

    key: str
    heading: str
    sentences: tuple[str, ...]


def climb_sections(c: ClimbPlan, left: LeftOut) -> tuple[ClimbSection, ...]:
    """Every section that has something in it."""
    shares = text(
        "section_shares",
        ways=tuple(text("section_share", way=word(how), share=share) for how, share in c.shares.items()),
    )
    found = {
        "site": say_all(c.warnings),
        "set": (*say_all(c.anchors.reasons), shares, *say_all(c.left_over)),
        "two_lines": say_all(c.two_line_reasons()),
        "neighbours": _joined(c.neighbours.reasons()),
        "redirects": (*_joined(r.reasons for _, r in c.redirects), *say_all(c.redirect_reasons())),
        "rescue": _joined(r.reasons for r in rescue_on_set(c)),
        "retrieval": say_all(r.words for r in c.retrieval),
        "left_out": (*say_all(left.reasons), *map(_change, left.changes)),
        "kit": say_all(c.kit),
        "removal": _joined(s.reasons() for s in c.stages),
        "spar": tuple(
            text("section_spar", height=s.height, diameter=s.diameter, sd=s.diameter_sd) for s in c.spar
        ),
    }
    return tuple(
        ClimbSection(key, text(f"section_{key}_head"), sentences)
        for key, sentences in found.items()
        if sentences
    )


def _change(c: Change) -> str:
    """A refused union and what would change the answer."""
    lower = say(c.changes[1]) if len(c.changes) > 1 else None
    return text("change_told", union=c.label, height=c.height, change=say(c.changes[0]), lower=lower)


def rescue_on_set(c: ClimbPlan) -> tuple[RescuePlan, ...]:
    """Rescue plans of the first-ranked tie-in point and of those in the set."""
    names = {p.name for p in c.anchors.points}
    return tuple(r for i, r in enumerate(c.rescue) if i == 0 or r.work_anchor in names)


def _joined(groups: Iterable[Iterable[Reason]]) -> tuple[str, ...]:
    """One text a group."""
    return tuple(" ".join(say_all(group)) for group in groups)
