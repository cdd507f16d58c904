"""A removal cut by cut, and the stem by height, in the columns that page and sheet share."""

from __future__ import annotations

from treescan.outputs.text import wording as w
from treescan.outputs.text.say import say, say_all
from treescan.planning.climb.climb_plan import ClimbPlan

REMOVAL_HEAD = ("Cut", "At", "Wood there", "Piece", "Hang from", "Unions lost", "Alarms")
REMOVAL_NOTE = "Masses are green wood with twigs, 5th to 95th percentile. Never hang on, or above the cut on, a piece being removed."


def removal_rows(c: ClimbPlan) -> list[tuple[str, ...]]:
    """One row a cut, in the columns of `REMOVAL_HEAD`."""
    return [
        (
            f"{s.number}. {say(s.cut.piece)}",
            w.metres(s.height),
            w.diameter(s.diameter, s.diameter_sd),
            f"{w.metres(s.length)}, {w.mass(s.mass.median)}, {s.mass.p5:.0f} to {s.mass.p95:.0f} kg",
            ", ".join(s.hang[:3]) or "lanyard and choked line",
            ", ".join(dict.fromkeys(name.split()[0] for name in s.lost)) or "none",
            " ".join(say_all(s.alarms)),
        )
        for s in c.stages
    ]


def spar_rows(c: ClimbPlan) -> list[tuple[str, str]]:
    """Height on the stem and its diameter there."""
    return [(w.metres(s.height, 0), w.diameter(s.diameter, s.diameter_sd)) for s in c.spar]
