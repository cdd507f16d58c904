"""How hard may green wood be pulled apart across the grain?

Small clear pieces [record_1914], the lower of a split on a radial and on a tangential face, the weakest row of the
genus; for a genus without a row the weakest of its kind, for an unknown kind the weakest of all. Large pieces split
at a fraction of that: strength falls with the stressed volume to the power 0.2, and a stress that peaks in the middle
only is borne up to 1.4 times that [volume_effect].
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from treescan.loads.material.wood_table import green_wood

Floats = NDArray[np.float64]

PSI = 6894.757

WEAKEST = {
    "fraxinus": 645, "tilia": 226, "fagus": 633, "betula": 446, "ulmus": 765, "celtis": 661, "gleditsia": 1133,
    "acer": 610, "quercus": 622, "platanus": 540, "nyssa": 472, "thuja": 235, "taxodium": 242, "abies": 213,
    "tsuga": 271, "pinus": 179, "larix": 236,
}  # fmt: skip
"""Weakest row of every genus in the table. [psi]"""

OF_KIND = {"broadleaf": 226, "conifer": 179}
"""Weakest row of a kind. [psi]"""

CLEAR_VOLUME = 6.6e-5
"""Stressed volume of the pieces tested, 2 x 2 x 1 inch about the neck (memory). [m3]"""

VOLUME_POWER = 0.2

PEAKED = 1.4
"""More that a section bears whose stress peaks at its middle, curved beams."""


def clear_tension_across(species: str) -> float:
    """Strength of small clear green wood across the grain. [Pa]

    Parameters
    ----------
    species : str   Botanical name, or a kind as in `Wood.species`; anything else takes the weakest of all.

    >>> round(clear_tension_across("Quercus robur") / 1e6, 2), round(clear_tension_across("unknown") / 1e6, 2)
    (4.29, 1.23)
    """
    genus = species.split(maxsplit=1)[0].lower() if species else ""
    kind = next((r.kind for r in green_wood() if r.botanical == species), genus)
    return PSI * WEAKEST.get(genus, OF_KIND.get(kind, min(OF_KIND.values())))


def strength_across(clear: float, radius: Floats) -> Floats:
    """Median strength across the grain of a curved limb. [Pa]

    Parameters
    ----------
    clear : float           Of small clear pieces. [Pa]
    radius : (...) float    Of the section; two diameters of its length are stressed. [m]

    >>> (strength_across(4.29e6, np.array([0.05, 0.15])) / 1e6).round(2).tolist()
    [3.18, 1.65]
    """
    volume = 4.0 * np.pi * np.asarray(radius, float) ** 3
    return np.asarray(PEAKED * clear * np.minimum(1.0, (CLEAR_VOLUME / volume) ** VOLUME_POWER), float)
