"""How is a figure written? Both unit systems, the reader's first, and "not seen" where the scan cannot tell."""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any

from treescan.reader_settings import ReaderSettings
from treescan.units import FOOT_M, LBF_N, OUNCE_KG, POUND_KG, PSI_PA

INCH_M = FOOT_M / 12
NOT_SEEN = "not seen"
NEARLY_WHOLE = 0.05
"""An expected number this near to a whole one is told as it."""
COMPASS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")
ORDINALS = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth")
_ANYONE = ReaderSettings()
_READER: ContextVar[ReaderSettings] = ContextVar("reader", default=_ANYONE)


@contextmanager
def written_for(reader: ReaderSettings) -> Iterator[None]:
    """Everything written inside follows the reader's settings.

    >>> with written_for(ReaderSettings(units="imperial")):
    ...     metres(8.4)
    '27.6 ft (8.4 m)'
    """
    token = _READER.set(reader)
    try:
        yield
    finally:
        _READER.reset(token)


def reader() -> ReaderSettings:
    """Whom we write for."""
    return _READER.get()


def american() -> bool:
    """Whether we write for a reader in the United States, in words and on paper."""
    return reader().words == "US"


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
    return (isinstance(x, (int, float)) and math.isfinite(x)) or (
        hasattr(x, "dtype") and bool(math.isfinite(x))
    )


def plain(x: float, digits: int = 1, unit: str = "") -> str:
    """A figure with its unit.

    >>> plain(3.14159, 2), plain(0.2, 1, "m/s"), plain(float("nan"))
    ('3.14', '0.2 m/s', 'not seen')
    """
    return f"{x:.{digits}f}{' ' + unit if unit else ''}" if finite(x) else NOT_SEEN


def factor(x: float, digits: int = 2) -> str:
    """A bare figure such as strength over stress, in no more digits than are known: two decimals below 2, one below 10.

    >>> factor(0.734), factor(1.496), factor(6.402), factor(14.152), factor(4.6, 0)
    ('0.73', '1.50', '6.4', '14', '5')
    """
    return plain(x, min(digits, 2 if abs(x) < 2 else 1 if abs(x) < 10 else 0)) if finite(x) else plain(x)


def ordered(metric: str, imperial: str) -> tuple[str, str]:
    """The reader's system first."""
    return (imperial, metric) if reader().units == "imperial" else (metric, imperial)


def both(metric: str, imperial: str) -> str:
    """The reader's system, then the other in brackets."""
    return "{} ({})".format(*ordered(metric, imperial))


def length_pair(x: float, digits: int = 1) -> tuple[str, str]:
    """A length [m] in the reader's system and in the other, for two lines of a table cell.

    >>> length_pair(8.4), length_pair(float("nan"))
    (('8.4 m', '27.6 ft'), ('not seen', ''))
    """
    return (
        ordered(f"{x:.{digits}f} m", f"{x / FOOT_M:.{max(digits - (abs(x) >= 30), 0)}f} ft")
        if finite(x)
        else (NOT_SEEN, "")
    )


def force_pair(x: float) -> tuple[str, str]:
    """A force [N] in the reader's system and in the other.

    >>> force_pair(2100.0)
    ('2.1 kN', '470 lbf')
    """
    return ordered(f"{x / 1000:.1f} kN", f"{rounded(x / LBF_N)} lbf") if finite(x) else (NOT_SEEN, "")


def rounded(x: float) -> str:
    """A figure turned into another unit: to tens from a hundred on, for it is known no better.

    >>> rounded(7778.4), rounded(47.2)
    ('7780', '47')
    """
    return f"{x:.0f}" if abs(x) < 100 else f"{10 * round(x / 10)}"


def metres(x: float, digits: int = 1) -> str:
    """A length in metres and feet.

    >>> metres(8.4), metres(0.15, 2)
    ('8.4 m (27.6 ft)', '0.15 m (0.49 ft)')
    """
    return both(f"{x:.{digits}f} m", f"{x / FOOT_M:.{digits}f} ft") if finite(x) else NOT_SEEN


def feet(x: float, digits: int = 1) -> str:
    """A length [m] in feet.

    >>> feet(8.4)
    '27.6 ft'
    """
    return f"{x / FOOT_M:.{digits}f} ft" if finite(x) else NOT_SEEN


def diameter(x: float, sd: float = math.nan) -> str:
    """A diameter [m] in centimetres and inches, with its standard deviation where it is stated.

    >>> diameter(0.21), diameter(0.21, 0.01)
    ('21 cm (8.3 in)', '21 ± 1.0 cm (8.3 in)')
    """
    if not finite(x):
        return NOT_SEEN
    spread, spread_in = (f" ± {100 * sd:.1f}", f" ± {sd / INCH_M:.1f}") if finite(sd) else ("", "")
    first = reader().units == "imperial"
    return both(
        f"{100 * x:.0f}{'' if first else spread} cm", f"{x / INCH_M:.1f}{spread_in if first else ''} in"
    )


def small(x: float) -> str:
    """A small length [m] in millimetres and inches.

    >>> small(0.0123)
    '12 mm (0.5 in)'
    """
    return both(f"{1000 * x:.0f} mm", f"{x / INCH_M:.1f} in") if finite(x) else NOT_SEEN


def centimetres(x: float, digits: int = 0) -> str:
    """A length [m] in centimetres and inches.

    >>> centimetres(0.21)
    '21 cm (8.3 in)'
    """
    return both(f"{100 * x:.{digits}f} cm", f"{x / INCH_M:.1f} in") if finite(x) else NOT_SEEN


def moment(x: float) -> str:
    """A bending moment [N m].

    >>> moment(11700.0)
    '11.7 kN m (8630 lbf ft)'
    """
    return both(f"{x / 1000:.1f} kN m", f"{rounded(x / LBF_N / FOOT_M)} lbf ft") if finite(x) else NOT_SEEN


def stress(x: float, digits: int = 0) -> str:
    """A stress or strength [Pa].

    >>> stress(48e6), stress(0.7e6, 2)
    ('48 MPa (6960 psi)', '0.70 MPa (100 psi)')
    """
    return both(f"{x / 1e6:.{digits}f} MPa", f"{rounded(x / PSI_PA)} psi") if finite(x) else NOT_SEEN


def count(x: float) -> str:
    """A whole number, thousands set apart.

    >>> count(1234), count(3.0)
    ('1,234', '3')
    """
    return f"{round(x):,}" if finite(x) else NOT_SEEN


def speed(x: float) -> str:
    """A speed [m/s], with feet a second.

    >>> speed(14.4)
    '14.4 m/s (47 ft/s)'
    """
    return both(f"{x:.1f} m/s", f"{x / FOOT_M:.0f} ft/s") if finite(x) else NOT_SEEN


def volume(x: float) -> str:
    """A volume [m3], with cubic feet.

    >>> volume(2.1)
    '2.10 m³ (74 ft³)'
    """
    return both(f"{x:.2f} m³", f"{x / FOOT_M**3:.0f} ft³") if finite(x) else NOT_SEEN


def force(x: float) -> str:
    """A force [N] in kilonewtons and pounds-force.

    >>> force(2100.0)
    '2.1 kN (470 lbf)'
    """
    return both(f"{x / 1000:.1f} kN", f"{rounded(x / LBF_N)} lbf") if finite(x) else NOT_SEEN


def mass(x: float, digits: int = 0) -> str:
    """A mass in kilograms and pounds.

    >>> mass(100.0)
    '100 kg (220 lb)'
    """
    return both(f"{x:.{digits}f} kg", f"{x / POUND_KG:.{digits}f} lb") if finite(x) else NOT_SEEN


def bag(x: float) -> str:
    """The mass [kg] of a throw weight in grams and ounces.

    >>> bag(0.34), bag(0.01)
    ('340 g (12 oz)', '10 g (0.4 oz)')
    """
    if not finite(x):
        return NOT_SEEN
    ounces = x / OUNCE_KG
    return both(f"{1000 * x:.0f} g", f"{ounces:.{0 if ounces >= 1 else 1}f} oz")


def length_range(low: float, high: float) -> tuple[str, str]:
    """From one length to another [m] in the reader's system and in the other.

    >>> length_range(2.0, 4.0)
    ('2 to 4 m', '7 to 13 ft')
    """
    return ordered(f"{low:.0f} to {high:.0f} m", f"{low / FOOT_M:.0f} to {high / FOOT_M:.0f} ft")


def degrees(x: float, digits: int = 0) -> str:
    """An angle [rad] in degrees.

    >>> degrees(math.pi / 4)
    '45°'
    """
    return f"{math.degrees(x):.{digits}f}°" if finite(x) else NOT_SEEN


def percent(x: float) -> str:
    """A share in per cent; small chances are not rounded to nothing.

    >>> percent(0.314), percent(0.004), percent(0.0002), percent(0.9991), percent(1.0)
    ('31 %', '0.4 %', 'under 0.1 %', 'over 99 %', '100 %')
    """
    if not finite(x):
        return NOT_SEEN
    if 0.995 <= x < 1:
        return "over 99 %"
    if 0 < x < 0.0005:
        return "under 0.1 %"
    return f"{100 * x:.1f} %" if 0 < x < 0.0095 else f"{100 * x:.0f} %"


def chance(x: float) -> str:
    """A chance that something breaks: a small one is never told as none, nor a large one as certain.

    >>> chance(0.003), chance(1 / 3000), chance(0.0), chance(0.0478), chance(0.9996), chance(1.0)
    ('0.3 %', '0.03 %', 'under 0.1 %', '4.8 %', 'over 99 %', 'over 99 %')
    """
    if not finite(x):
        return NOT_SEEN
    if x < 0.0003:
        return "under 0.1 %"
    if x < 0.00095:
        return f"{100 * x:.2f} %"
    if x >= 0.99:
        return "over 99 %"
    return f"{100 * x:.1f} %" if x < 0.095 else f"{100 * x:.0f} %"


def throws(x: float) -> tuple[int, int]:
    """Between which whole numbers an expected number of throws is told; one number twice where it is whole to a tenth.

    >>> throws(1 / 0.74), throws(3.04), throws(1.0)
    ((1, 2), (3, 3), (1, 1))
    """
    near = max(1, round(x))
    return (near, near) if abs(x - near) <= NEARLY_WHOLE else (max(1, math.floor(x)), math.ceil(x))


def compass(azimuth: float) -> str:
    """Compass word of an azimuth [rad, clockwise from north].

    >>> compass(0.0), compass(math.radians(200))
    ('north', 'south')
    """
    return COMPASS[round(math.degrees(azimuth) / 45.0) % 8]


def ordinal(x: float) -> str:
    """A place in an order, from 1.

    >>> ordinal(2), ordinal(11), ordinal(22), ordinal(113)
    ('second', '11th', '22nd', '113th')
    """
    n = round(x)
    if 1 <= n <= len(ORDINALS):
        return ORDINALS[n - 1]
    ending = "th" if n % 100 in (11, 12, 13) else {1: "st", 2: "nd", 3: "rd"}.get(n % 10, "th")
    return f"{n}{ending}"
