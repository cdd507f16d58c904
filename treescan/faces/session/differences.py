"""What differs between two plans of one tree, and by which finding? Codes and values; the words are the report's."""

from __future__ import annotations

from collections.abc import Iterator

from treescan.assess import Assessment
from treescan.planning.tie_in_point import TieInPoint
from treescan.reason import Reason

LEAST_SHARE = 0.005
"""A share of the work that moves by less is not told (it rounds to the same figure)."""
LEAST_MARGIN = 0.005
"""Nor a margin that moves by less."""
MOST = 12
"""Anchors told one by one; further ones are counted."""


def differences(before: Assessment, after: Assessment) -> tuple[Reason, ...]:
    """What another plan changes: the first to inspect, anchors lost and won with the finding that did it, margins,
    reach, the set, the approach and the throws. One reason where nothing does."""
    old = {p.name: p for p in before.points}
    new = {p.name: p for p in after.points}
    found = [
        *_first(before, after),
        *_counts(before, after),
        *_only_in(old, new, "differs_lost", "differs_lost_more"),
        *_only_in(new, old, "differs_won", "differs_won_more"),
        *_of_the_first(after, old),
        *_of_the_set(before, after),
        *_approach(before, after),
    ]
    return tuple(found) or (Reason("differs_nothing"),)


def _leader(a: Assessment) -> TieInPoint | None:
    return next((p for p in a.points if p.rank == 1), None)


def _first(before: Assessment, after: Assessment) -> Iterator[Reason]:
    was, now = _leader(before), _leader(after)
    if (was and was.name) == (now and now.name):
        return
    yield Reason(
        "differs_first",
        now=now.named if now else None,
        none=now is None,
        was=was.named if was else None,
        nothing=was is None,
    )


def _counts(before: Assessment, after: Assessment) -> Iterator[Reason]:
    was, now = (sum(p.usable for p in a.points) for a in (before, after))
    if was != now:
        yield Reason("differs_counts", was=was, now=now)


def _why(p: TieInPoint, other: TieInPoint | None) -> Reason | None:
    """The finding that stands against it here and not there."""
    known = {g.code for g in other.gates} if other is not None else set()
    return next((g for g in p.gates if g.code not in known), p.gates[0] if p.gates else None)


def _only_in(
    here: dict[str, TieInPoint], there: dict[str, TieInPoint], code: str, more: str
) -> Iterator[Reason]:
    """Ranked in one of the two plans, not in the other, with what stands or stood against it in that other."""
    found = sorted((p for p in here.values() if p.usable and not _usable(there, p)), key=lambda p: p.rank)
    for p in found[:MOST]:
        other = there.get(p.name)
        why = None if other is None else _why(other, p)
        yield Reason(code, anchor=p.named, rank=p.rank, why=why, unjudged=other is None)
    if len(found) > MOST:
        yield Reason(more, n=len(found) - MOST)


def _usable(points: dict[str, TieInPoint], p: TieInPoint) -> bool:
    other = points.get(p.name)
    return other is not None and other.usable


def _of_the_first(after: Assessment, old: dict[str, TieInPoint]) -> Iterator[Reason]:
    """What moved of the one that is first now: low margin, force, share of the work, chance of the throw."""
    now = _leader(after)
    was = None if now is None else old.get(now.name)
    if now is None or was is None:
        return
    low, before = now.check.check.margin.p5, was.check.check.margin.p5
    if abs(low - before) >= LEAST_MARGIN:
        yield Reason("differs_margin", anchor=now.named, was=before, now=low)
    if abs(now.reach.share - was.reach.share) >= LEAST_SHARE:
        yield Reason("differs_share", anchor=now.named, was=was.reach.share, now=now.reach.share)
    chances = [p.throw.chance if p.throw is not None else None for p in (was, now)]
    if chances[0] != chances[1]:
        yield Reason(
            "differs_throw",
            anchor=now.named,
            was=chances[0],
            now=chances[1],
            lost=chances[1] is None,
            found=chances[0] is None,
        )


def _of_the_set(before: Assessment, after: Assessment) -> Iterator[Reason]:
    """The set of anchors that serves the work, and how much of it."""
    names = [tuple(p.name for p in a.climb.anchors.points) for a in (before, after)]
    shares = [float(a.climb.anchors.share) for a in (before, after)]
    if names[0] != names[1] or abs(shares[0] - shares[1]) >= LEAST_SHARE:
        yield Reason("differs_set", now=names[1], none=not names[1], was_share=shares[0], now_share=shares[1])


def _approach(before: Assessment, after: Assessment) -> Iterator[Reason]:
    was, now = (next(iter(a.approach.reasons), None) for a in (before, after))
    if was != now and now is not None:
        yield Reason("differs_approach", now=now)
