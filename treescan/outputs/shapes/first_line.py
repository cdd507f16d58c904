"""Which line is thrown first? The candidate's own throw, or the one that the way up to it starts with."""

from __future__ import annotations

from treescan.assess import Assessment
from treescan.planning.tie_in_point import AccessStep, TieInPoint
from treescan.throw.throw_path import Throw


def first_stop(p: TieInPoint) -> AccessStep | None:
    """The first union on the way up; None when the way is unknown."""
    return next((s for s in p.access if s.union is not None), None)


def first_line(a: Assessment, p: TieInPoint) -> Throw | None:
    """The throw from the ground that the plan starts with; None when it starts with a ladder, or no way is known."""
    if p.throw is not None:
        return p.throw
    stop = first_stop(p)
    return None if stop is None else stop.throw
