"""Redirects side by side: what each brings into reach, what it bears, what the main anchor then bears, and
where one swings if it fails."""

from __future__ import annotations

from treescan.outputs.text.say import text
from treescan.outputs.text.wording import finite
from treescan.planning.climb.climb_plan import ClimbPlan
from treescan.planning.redirects.redirect import Redirect

_HEAD = (
    "redirect_head_main",
    "redirect_head_union",
    "redirect_head_work",
    "redirect_head_angle",
    "redirect_head_force",
    "redirect_head_stress",
    "redirect_head_fails",
)


def redirect_head() -> tuple[str, ...]:
    """Heads of the columns of `redirect_rows`."""
    return tuple(text(code) for code in _HEAD)


def redirect_note() -> str:
    """How to read the table."""
    return text("redirect_note")


def redirect_rows(c: ClimbPlan) -> list[tuple[str, ...]]:
    """One row a redirect, in the columns of `redirect_head`."""
    return [_row(label, r) for label, r in c.redirects]


def _row(main: str, r: Redirect) -> tuple[str, ...]:
    way, m = r.way, r.margins
    stress = text(
        "redirect_cell_stress",
        ratio=way.main_ratio,
        way=way.way_angle,
        low=_known(m.main),
        estimate=not m.exact,
        weak=m.spoils,
    )
    return (
        main,
        way.label,
        text("redirect_cell_work", n=len(way.work)),
        text("redirect_cell_angle", after=way.angle_after, before=way.angle_before),
        _force(r),
        stress,
        text("redirect_cell_fails", swing=way.swing),
    )


def _force(r: Redirect) -> str:
    """What the redirect bears, and whether its wood holds that."""
    if r.margins.unseen is not None:
        return text("redirect_cell_unseen", force=r.way.force)
    if not finite(r.margins.redirect):
        return text("redirect_cell_unchecked", force=r.way.force)
    return text("redirect_cell_force", force=r.way.force, low=r.margins.redirect)


def _known(value: float) -> float | None:
    return value if finite(value) else None
