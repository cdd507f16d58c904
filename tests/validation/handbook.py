"""Formulas of handbooks that the product has no use for by themselves, for held against what it computes. SI, radians."""

from __future__ import annotations

import numpy as np


def resultant(t1: float, t2: float, between: float) -> float:
    """Force of two rope legs on their support, `between` the angle between them (parallelogram of forces)."""
    return float(np.sqrt(t1 * t1 + t2 * t2 + 2 * t1 * t2 * np.cos(between)))


def strung_tension(load: float, below_level: float) -> float:
    """Tension of a rope strung between two trees with a load at mid-span: P / (2 sin a) (statics)."""
    return float(load / (2 * np.sin(below_level)))


def modulus_from_stretch(force: float, strain: float) -> float:
    """Least rope modulus K of a rope that stretches no more than `strain` under `force` (EN 1891, elongation)."""
    return force / strain


def modulus_from_impact(impact: float, weight: float, factor: float) -> float:
    """Largest K of a rope that stays below `impact` at a fall factor: ((F - W)^2 - W^2) / (2 W f) (EN 1891, solved for K)."""
    return ((impact - weight) ** 2 - weight**2) / (2 * weight * factor)


def fall_factor(fall: float, rope: float) -> float:
    """Free fall over the rope that stops it (Cryer)."""
    return fall / rope


def section_modulus(diameter: float) -> float:
    """Pi d^3 / 32 of a full round (mechanics of materials)."""
    return np.pi * diameter**3 / 32


def ellipse_modulus(width: float, height: float) -> float:
    """Pi b h^2 / 32 of an ellipse bent in the plane of its height (mechanics of materials)."""
    return np.pi * width * height**2 / 32


def included_bark_ratio(diameter_inch: float) -> float:
    """Load of codominant maples with included bark over those without: (537 D - 1285) / (613 D - 1388), D taken as inches, which the abstract
    does not state (Smiley 2003, J. Arboric. 29(2):104)."""
    return (537 * diameter_inch - 1285) / (613 * diameter_inch - 1388)
