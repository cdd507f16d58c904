"""How much of its clear-wood strength does each kind of section keep, and how much do such sections differ from each other?

Bending stress at failure on the circle of the mean diameter over bark, as a share of the green modulus of rupture (MOR):

| kind of section | median | wood / common / limb (log sd) | from |
|---|---|---|---|
| stem, up to 0.6 m | 0.70 | 0.16 / 0.15 / 0.31 | whole maples pulled over: 10 stems, mean 0.80, scatter 0.38-0.44 |
| stem above 0.6 m | 0.60 | same | stress at failure falls with the diameter |
| limb, and ordinary union (aspect ratio up to 0.5) | 0.50 | 0.16 / 0.25 / 0.35 (0.28 with a measured oval) | 26 pear branches, silver and Norway maple |
| codominant union (aspect ratio from 0.7) | 0.42 | 0.16 / 0.25 / 0.40 (0.47 for equal stems) | 12 forks of whole maples, 29 MPa |

Between aspect ratios of 0.5 and 0.7 all figures go over in a straight line. *Wood* is how one tree's wood differs from the table, *common* what
all limbs of the tree share beyond it (species, site, which circle the tests meant), *limb* how limbs of one tree differ. Tests on 10 to 26
pieces cannot carry a normal distribution's tail, so all three are spread by one Student factor a draw (10 degrees of freedom), and the low
side is the 75 % tolerance bound (`LOW_SIDE`).

A union whose upper surface the scan did not see may hide included bark: its factor is then drawn between 0.70 and 1, 0.85 in the middle.
The mixture argued for (three of ten such unions keep 0.76) lies above that in the lowest 8 % and in the
upper 70 %. Bark thicker than that of the tested branches takes its part off.

The low alternative, 0.40 with a scatter of 45 % for every section and a union factor on top, stands in `LoadSettings.strength_model`.

References
----------
Kane 2007 (AUF 33:283), Kane & Clouston 2008 (AUF 34:101, Table 4), Lilly & Sydnor 1995, Gilman 2003, Dahle et al. 2022: keys in
`treescan/sources.py`; the split of the scatter is argued in loads/METHODS.md.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

STEM_SHARE, THICK_STEM_SHARE, THICK_STEM = 0.70, 0.60, 0.60
"""Median share of a stem, of one thicker than `THICK_STEM` [m]."""
LIMB_SHARE, CODOMINANT_SHARE = 0.50, 0.42
ORDINARY_ASPECT, CODOMINANT_ASPECT = 0.50, 0.70
COMMON_STEM, COMMON_LIMB = 0.15, 0.25
OWN_STEM, OWN_LIMB, OWN_LIMB_OVAL, OWN_CODOMINANT = 0.31, 0.35, 0.28, 0.40
PLANE_STEM, PLANE_LIMB, PLANE_CODOMINANT = 0.9, 0.8, 0.5
"""Correlation of a section's own strength in two planes square to each other."""
STUDENT = 10
"""Degrees of freedom of the spread: the tests had 10 to 26 pieces."""
LOW_SIDE = 2.10
"""Standard deviations of the low side: 75 % tolerance bound of a 5 % value from 10 pieces; 2.05 from 12, 1.89 from 26."""
UNSEEN_UNION = (0.70, 0.85, 1.0)
"""Low, middle, high factor of a codominant union whose upper surface was not seen."""
UNSEEN_OWN = 0.25
"""Added to the limb's own log standard deviation there."""
NEAR_EQUAL, OWN_EQUAL = 0.85, 0.473
"""From this aspect ratio the own scatter of a codominant union grows to `OWN_EQUAL` at equal stems: there the low side is
0.26 of what an ordinary limb keeps in the middle, what thin branches kept at equal stems [gilman_2003]."""
TESTED_BARK = 0.917
"""Wood over outer diameter of the branches tested: bark of 4.2 % a side (derived from Kane 2007, Table 3)."""


@dataclass(frozen=True)
class SectionStrength:
    """What every section keeps; all (n,) float.

    Attributes
    ----------
    share : median bending stress at failure over MOR, on the mean circle over bark.
    common, own : log standard deviations: of all limbs of the tree together beyond the wood's, and of each limb by itself.
    plane : correlation of its own strength in the plane square to the one asked about.
    """

    share: Floats
    common: Floats
    own: Floats
    plane: Floats


def section_strength(
    diameter: ArrayLike, stem: NDArray[np.bool_], aspect: ArrayLike, oval_measured: NDArray[np.bool_], surface_seen: NDArray[np.bool_]
) -> SectionStrength:
    """The kind of every section in figures.

    Parameters
    ----------
    diameter : (n,) float       Over bark. [m]
    stem : (n,) bool            Sections of the stem, unions of the stem with a codominant leader apart.
    aspect : (n,) float         Aspect ratio of the union the section stands at; NaN away from unions.
    oval_measured : (n,) bool   The scan or a person gave the section's oval.
    surface_seen : (n,) bool    The upper surface of the union was seen, or a person looked at it.

    Returns
    -------
    SectionStrength
    """
    size, at_union = np.asarray(diameter, float), np.nan_to_num(np.asarray(aspect, float), nan=0.0)
    along = towards_codominant(aspect)
    own_codominant = np.interp(at_union, (NEAR_EQUAL, 1.0), (OWN_CODOMINANT, OWN_EQUAL))
    own_limb = np.where(oval_measured, OWN_LIMB_OVAL, OWN_LIMB)

    def between(ordinary: ArrayLike, codominant: ArrayLike, of_stem: ArrayLike) -> Floats:
        limb = (1 - along) * np.asarray(ordinary, float) + along * np.asarray(codominant, float)
        return np.where(stem & (along == 0), of_stem, limb)

    return SectionStrength(
        share=between(LIMB_SHARE, CODOMINANT_SHARE, np.where(size > THICK_STEM, THICK_STEM_SHARE, STEM_SHARE)),
        common=between(COMMON_LIMB, COMMON_LIMB, COMMON_STEM),
        own=between(own_limb, own_codominant, OWN_STEM) + UNSEEN_OWN * along * ~surface_seen,
        plane=between(PLANE_LIMB, PLANE_CODOMINANT, PLANE_STEM),
    )


def towards_codominant(aspect: ArrayLike) -> Floats:
    """How far a union is on the way from an ordinary to a codominant one, 0 to 1, in a straight line; 0 away from unions (NaN).

    >>> towards_codominant([0.5, 0.6, 0.9, float("nan")]).round(2).tolist()
    [0.0, 0.5, 1.0, 0.0]
    """
    at_union = np.nan_to_num(np.asarray(aspect, float), nan=0.0)
    return np.asarray(np.clip((at_union - ORDINARY_ASPECT) / (CODOMINANT_ASPECT - ORDINARY_ASPECT), 0.0, 1.0), float)


def unseen_union_factor(aspect: ArrayLike, surface_seen: NDArray[np.bool_]) -> Floats:
    """Low, middle, high factor for bark that may be included in a union nobody saw from above, (n, 3); 1 elsewhere."""
    along = towards_codominant(aspect) * ~surface_seen
    return 1.0 - along[:, None] * (1.0 - np.array(UNSEEN_UNION))


def bark_factor(bark_share: float) -> float:
    """What bark thicker than that of the tested branches takes off the section modulus.

    Parameters
    ----------
    bark_share : float  Bark on both sides over the diameter.

    >>> round(bark_factor(0.08), 3), round(bark_factor(0.16), 3)
    (1.0, 0.769)
    """
    return min(1.0, ((1.0 - bark_share) / TESTED_BARK) ** 3)


def student_factors(draws: int, rng: np.random.Generator) -> Floats:
    """By how much each draw widens the spread of strength, (draws,): turns normals into Student's t with `STUDENT` degrees of freedom."""
    return np.sqrt(STUDENT / rng.chisquare(STUDENT, draws))


def low_side_chance() -> float:
    """Share of such Student draws that lies below the low side: the quantile at which `LOW_SIDE` standard deviations are reached.

    >>> round(low_side_chance(), 3)
    0.031
    """
    from scipy.special import stdtr

    return float(stdtr(STUDENT, -LOW_SIDE))
