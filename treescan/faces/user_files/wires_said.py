"""What does the user say of the wires that the scan saw?"""

from __future__ import annotations

import re

from treescan.errors import BadInput

MOST_KILOVOLT = 1_500.0
"""No line has more (project choice): a larger figure is in volts. [kV]"""

_SAID = re.compile(r"(\d+(?:\.\d+)?)\s*(k?)v", re.IGNORECASE)


def volts_said(text: str) -> float:
    """Voltage [V] of the wires the scan saw, from "none" (0: there is none), "230V" or "20kV".

    A figure without a unit is refused: 20 may be meant in volts or kilovolts.
    """
    said = text.strip().lower()
    if said == "none":
        return 0.0
    found = _SAID.fullmatch(said)
    volts = float(found[1]) * (1e3 if found[2] else 1.0) if found else 0.0
    if not 0 < volts <= MOST_KILOVOLT * 1e3:
        raise BadInput(f"--wires {text[:40]!r} is not understood", remedy="say none, or a voltage such as 230V or 20kV")
    return volts
