"""Redirects side by side: what each brings into reach, what it bears, what the main anchor then bears, and where one swings if it fails."""

from __future__ import annotations

from treescan.outputs.text import wording as w
from treescan.planning.climb.climb_plan import ClimbPlan

REDIRECT_HEAD = ("Climber on", "Redirect at", "Brings in reach", "Rope angle there, before", "It bears", "Stress on the main anchor", "If it fails")
REDIRECT_NOTE = (
    "It bears: force on the redirect over the tension in the rope. Stress on the main anchor: over what it was; low: strength over stress, low figure. "
    "A redirect that was not checked, or not seen, is inspected and load-tested, or treated as not holding."
)


def redirect_rows(c: ClimbPlan) -> list[tuple[str, ...]]:
    """One row a redirect, in the columns of `REDIRECT_HEAD`."""
    out: list[tuple[str, ...]] = []
    for label, r in c.redirects:
        unknown = "not seen" if r.reason else "not checked"
        own = unknown if not w.finite(r.margin) else f"low {r.margin:.1f}"
        main = f", low {r.main_margin:.1f}" if w.finite(r.main_margin) else ""
        main += "" if r.exact else " (first estimate, own weight left out)"
        out.append(
            (
                label,
                r.label,
                f"{len(r.work)} work point{'' if len(r.work) == 1 else 's'}",
                f"up to {w.degrees(r.angle_after)}, was {w.degrees(r.angle_before)}",
                f"{r.force:.2f} times; {own}",
                f"{r.main_ratio:.2f} times, pulled {w.degrees(r.way_angle)} off plumb{main}{'; too weak: do not use' if r.spoils else ''}",
                f"swing of {w.metres(r.swing)}",
            )
        )
    return out
