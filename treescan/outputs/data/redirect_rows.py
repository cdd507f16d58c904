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
        way, m = r.way, r.margins
        unknown = "not checked" if m.unseen is None else "not seen"
        own = unknown if not w.finite(m.redirect) else f"low {m.redirect:.1f}"
        main = f", low {m.main:.1f}" if w.finite(m.main) else ""
        main += "" if m.exact else " (first estimate, own weight left out)"
        out.append(
            (
                label,
                way.label,
                f"{len(way.work)} work point{'' if len(way.work) == 1 else 's'}",
                f"up to {w.degrees(way.angle_after)}, was {w.degrees(way.angle_before)}",
                f"{way.force:.2f} times; {own}",
                f"{way.main_ratio:.2f} times, pulled {w.degrees(way.way_angle)} off plumb{main}{'; too weak: do not use' if m.spoils else ''}",
                f"swing of {w.metres(way.swing)}",
            )
        )
    return out
