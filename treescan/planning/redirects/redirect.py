"""What is one redirect: the way of its rope, the margins at both unions, and what follows?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from treescan.planning.tie_in_point import Floats, Work
from treescan.reason import Reason


@dataclass(frozen=True)
class RedirectWay:
    """The rope over one redirect.

    union, label, place : where; work : labels of the work it newly serves; angle_before, angle_after :
    largest rope angle over that work [rad]; fouled : how many of the straight ropes to that work limbs foul;
    way_angle : rope angle at the main anchor on the way to the redirect [rad]; turn : bend of the rope there
    [rad]; force : on the redirect, over one leg's tension; main_ratio : stress from the main anchor to the
    ground after over before; more_rope : than the straight way takes [m]; swing : fall back to the main
    anchor's plumb if the redirect fails [m].
    """

    union: int
    label: str
    place: Floats
    work: tuple[str, ...]
    angle_before: float
    angle_after: float
    fouled: int
    way_angle: float
    turn: float
    force: float
    main_ratio: float
    more_rope: float
    swing: float


@dataclass(frozen=True)
class RedirectMargins:
    """Whether the wood holds a redirect.

    main, redirect : low side of strength over stress at the main anchor and at the redirect (NaN: not
    checked, or not seen); spoils : either falls below the gate, or a reported defect forbids it; exact : of
    all forces with the tree's own weight (`redirect_loads`), else scaled by the rope's stress alone, which
    may flatter; unseen : why the scan cannot tell, None where it can; barred : the reported defect that
    forbids it, None without one.
    """

    main: float
    redirect: float
    spoils: bool
    exact: bool
    unseen: Reason | None
    barred: Reason | None

    @property
    def holds(self) -> bool:
        """True where all forces were summed, both unions were seen, and neither is refused."""
        known = bool(np.isfinite(self.main) and np.isfinite(self.redirect))
        return self.exact and known and not self.spoils and self.unseen is None and self.barred is None


@dataclass(frozen=True)
class Redirect:
    """One redirect for one tie-in point: the rope's way, the margins, and all that was found, in the order a
    crew asks."""

    way: RedirectWay
    margins: RedirectMargins
    reasons: tuple[Reason, ...]


def judged(way: RedirectWay, margins: RedirectMargins, gate: float) -> Redirect:
    """A redirect from its way and margins; gate : the margin that is asked for."""
    serves = Reason(
        "redirect_serves",
        union=way.label,
        n=len(way.work),
        after=way.angle_after,
        before=way.angle_before,
        fouled=way.fouled or None,
    )
    bears = Reason("redirect_bears", force=way.force, way=way.way_angle, ratio=way.main_ratio)
    rope, fails = Reason("redirect_rope", more=way.more_rope), Reason("redirect_fails", swing=way.swing)
    return Redirect(way, margins, (serves, bears, *margin_reasons(way.label, margins, gate), rope, fails))


def margin_reasons(label: str, margins: RedirectMargins, gate: float) -> tuple[Reason, ...]:
    """Whether both unions hold, how that was found, and what it means."""
    barred = () if margins.barred is None else (Reason("redirect_barred", why=margins.barred),)
    if margins.unseen is not None:
        return (Reason("redirect_unseen", why=margins.unseen, union=label), *barred)
    out = []
    if np.isfinite(margins.main):
        code = "redirect_margins" if margins.exact else "redirect_margins_estimate"
        out.append(
            Reason(
                code, main=margins.main, redirect=margins.redirect if np.isfinite(margins.redirect) else None
            )
        )
    if margins.main < gate:
        out.append(Reason("redirect_spoils_main", low=margins.main, asked=gate))
    if margins.redirect < gate:
        out.append(Reason("redirect_too_weak", low=margins.redirect, asked=gate))
    if not np.isfinite(margins.redirect):
        out.append(Reason("redirect_unchecked", union=label))
    return (*out, *barred)


def in_order(found: Sequence[Redirect], work: Work) -> tuple[Redirect, ...]:
    """Those judged to hold first, then those nobody can judge, then those that spoil; among them the most
    work first."""
    weight = dict(zip(work.label, work.weight, strict=True))

    def place(r: Redirect) -> tuple[bool, bool, float]:
        return r.margins.spoils, not np.isfinite(r.margins.redirect), -sum(weight[w] for w in r.way.work)

    return tuple(sorted(found, key=place))
