"""How is a figure written? Metres with feet, kilonewtons with pounds-force, "not seen" where the scan cannot tell."""

from __future__ import annotations

import math
from typing import Any

from treescan.units import FOOT_M, LBF_N, POUND_KG

NOT_SEEN = "not seen"
COMPASS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")


def file_name(source: str) -> str:
    """The scan's file name without its folder: results name no one's disk.

    >>> file_name("/home/someone/scans/oak.laz"), file_name("oak.laz")
    ('oak.laz', 'oak.laz')
    """
    return source.replace("\\", "/").rsplit("/", 1)[-1]


def finite(x: Any) -> bool:
    """True for a number that can be printed.

    >>> finite(2), finite(float("nan")), finite(None)
    (True, False, False)
    """
    return (isinstance(x, (int, float)) and math.isfinite(x)) or (hasattr(x, "dtype") and bool(math.isfinite(x)))


def plain(x: float, digits: int = 1, unit: str = "") -> str:
    """A figure with its unit.

    >>> plain(3.14159, 2), plain(0.2, 1, "m/s"), plain(float("nan"))
    ('3.14', '0.2 m/s', 'not seen')
    """
    return f"{x:.{digits}f}{' ' + unit if unit else ''}" if finite(x) else NOT_SEEN


def metres(x: float, digits: int = 1) -> str:
    """A length in metres and feet.

    >>> metres(8.4)
    '8.4 m (27.6 ft)'
    """
    return f"{x:.{digits}f} m ({x / FOOT_M:.{digits}f} ft)" if finite(x) else NOT_SEEN


def feet(x: float, digits: int = 1) -> str:
    """A length [m] in feet.

    >>> feet(8.4)
    '27.6 ft'
    """
    return f"{x / FOOT_M:.{digits}f} ft" if finite(x) else NOT_SEEN


def pounds(x: float) -> str:
    """A force [N] in pounds-force.

    >>> pounds(2100.0)
    '472 lbf'
    """
    return f"{x / LBF_N:.0f} lbf" if finite(x) else NOT_SEEN


def diameter(x: float, sd: float = math.nan) -> str:
    """A diameter [m] in centimetres and inches, with its standard deviation where it is stated.

    >>> diameter(0.21), diameter(0.21, 0.01)
    ('21 cm (8.3 in)', '21 ± 1.0 cm (8.3 in)')
    """
    if not finite(x):
        return NOT_SEEN
    spread = f" ± {100 * sd:.1f}" if finite(sd) else ""
    return f"{100 * x:.0f}{spread} cm ({x / 0.0254:.1f} in)"


def small(x: float) -> str:
    """A small length [m] in millimetres and inches.

    >>> small(0.0123)
    '12 mm (0.5 in)'
    """
    return f"{1000 * x:.0f} mm ({x / 0.0254:.1f} in)" if finite(x) else NOT_SEEN


def force(x: float) -> str:
    """A force [N] in kilonewtons and pounds-force.

    >>> force(2100.0)
    '2.1 kN (472 lbf)'
    """
    return f"{x / 1000:.1f} kN ({x / LBF_N:.0f} lbf)" if finite(x) else NOT_SEEN


def mass(x: float, digits: int = 0) -> str:
    """A mass in kilograms and pounds.

    >>> mass(100.0)
    '100 kg (220 lb)'
    """
    return f"{x:.{digits}f} kg ({x / POUND_KG:.{digits}f} lb)" if finite(x) else NOT_SEEN


def degrees(x: float, digits: int = 0) -> str:
    """An angle [rad] in degrees.

    >>> degrees(math.pi / 4)
    '45°'
    """
    return f"{math.degrees(x):.{digits}f}°" if finite(x) else NOT_SEEN


def percent(x: float) -> str:
    """A share in per cent; small chances are not rounded to nothing.

    >>> percent(0.314), percent(0.004), percent(0.9991), percent(1.0)
    ('31 %', '0.4 %', 'over 99 %', '100 %')
    """
    if not finite(x):
        return NOT_SEEN
    if 0.995 <= x < 1:
        return "over 99 %"
    return f"{100 * x:.1f} %" if 0 < x < 0.0095 else f"{100 * x:.0f} %"


def throws(x: float) -> str:
    """Expected number of throws.

    >>> throws(3.2), throws(math.inf)
    ('about 3 throws', 'no chance found')
    """
    if not finite(x):
        return "no chance found"
    count = max(1, round(x))
    return f"about {count} throw{'' if count == 1 else 's'}"


def compass(azimuth: float) -> str:
    """Compass word of an azimuth [rad, clockwise from north].

    >>> compass(0.0), compass(math.radians(200))
    ('north', 'south')
    """
    return COMPASS[round(math.degrees(azimuth) / 45.0) % 8]


def margin(median: float, p5: float) -> str:
    """Strength over stress: the low figure first, for decisions are made on it.

    >>> margin(9.1, 5.2)
    '5.2 (median 9.1)'
    """
    return f"{p5:.1f} (median {median:.1f})" if finite(median) and finite(p5) else NOT_SEEN
