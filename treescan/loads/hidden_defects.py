"""What chance of breaking is a climber told? That of sound wood, and on top the share that only hands and tools can find.

Strength is computed for sound wood. Decay, cracks and included bark that no scan shows break anchors too, and nothing computed here lowers
their share: only a load test and an inspection by hand do. So no anchor is ever told as better than 1 in 1,000, or 1 in 3,000 once it was
tested at half as hard again as the hardest ordinary use, measured, and inspected by hand.
"""

from __future__ import annotations

import math

UNTESTED, TESTED, INSPECTED = PROOFS = ("not tested", "tested", "tested and inspected")
"""What was done to an anchor before use; `INSPECTED` also asks for a measured test of `FULL_TEST`."""

HIDDEN = {UNTESTED: 3e-3, TESTED: 1e-3, INSPECTED: 3e-4}
"""Chance of a defect that nobody sees and that breaks it, by proof [hidden_defects]."""

LEAST_TOLD = {UNTESTED: 1e-3, TESTED: 1e-3, INSPECTED: 1.0 / 3000.0}
"""Nothing below is ever told."""


def chance_told(overload: float, proof: str = UNTESTED) -> float:
    """Chance that the anchor breaks, as it is told.

    Parameters
    ----------
    overload : float    That sound wood of this size is overloaded; NaN = not seen.
    proof : str         One of `PROOFS`.

    >>> chance_told(0.0), round(1 / chance_told(0.0, INSPECTED))
    (0.003, 3000)
    """
    if math.isnan(overload):
        return float("nan")
    return min(1.0, max(overload + HIDDEN[proof], LEAST_TOLD[proof]))
