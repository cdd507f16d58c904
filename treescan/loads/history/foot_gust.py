"""How does the climber's moment at the stem's foot compare with that of a gust the tree has stood?

Roots and ground are not judged. What can be said is which share of a gust's moment, which they held, the climber asks of
them: that of a year's strongest gust, where a station tells it, by the wood that was seen and from the side that bends
the foot least; leaves, twigs and sway would make it more. Where no gust is known, nothing is told.

References
----------
crown_drag in treescan/sources.py; `sections.crown_moments` has the equation.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from treescan.loads.history.winds import AIR, DRAG, DRAG_SPREAD, yearly_gust
from treescan.loads.sections.crown_moments import AZIMUTHS
from treescan.loads.statics.structural_model import StructuralModel

FIVE_PERCENT = 1.6448536269514722


@dataclass(frozen=True)
class FootGust:
    """A gust's moment at the stem's foot.

    speed : float [m/s]; moment, low : float, in the middle and at the low end of the drag. [N m]
    """

    speed: float
    moment: float
    low: float


def foot_gust(tree: StructuralModel, node: int) -> FootGust | None:
    """The moment of the mean year's strongest gust about the section `node` at the stem's foot; None where no station
    tells it, no year of it counts, or nothing of the tree was seen."""
    site = tree.settings.history
    if site.station_gust == 0 or site.counted_years == 0:
        return None
    azimuth = np.pi * np.arange(AZIMUTHS) / AZIMUTHS
    each = tree.crown.wind([node], tree.sections.point[[node]], azimuth)[0]
    speed = yearly_gust(site)
    moment = 0.5 * AIR * DRAG * speed**2 * float(np.linalg.norm(each, axis=1).min())
    low = moment * float(np.exp(-FIVE_PERCENT * DRAG_SPREAD))
    return FootGust(speed, moment, low) if low > 0 else None
