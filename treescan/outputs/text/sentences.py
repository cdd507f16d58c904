"""How do sentences of the rooms below reach the reader? With the second unit system added, and in the words of the reader's country."""

from __future__ import annotations

import re
from html import unescape

from treescan.cautions import CAUTIONS
from treescan.outputs.text import wording
from treescan.units import FOOT_M, LBF_N, POUND_KG

_UNITS: dict[str, tuple[float, str, int]] = {
    "m": (FOOT_M, "ft", 0),
    "kN": (LBF_N / 1000, "lbf", -1),
    "kg": (POUND_KG, "lb", 0),
    "cm": (100 * FOOT_M / 12, "in", 0),
    "mm": (1000 * FOOT_M / 12, "in", 1),
    "m/s": (FOOT_M, "ft/s", -1),
}
"""Metric unit to (metric units in one of the other, name of the other, decimals more than the metric figure has)."""
_LIFE = {"m", "kN", "kg"}
_DIGIT = re.compile(r"\d")
_FIGURE = re.compile(
    r"(?<![\w.,±-])(?<!ft \()(?<!in \()(?<!lbf \()(?<!lb \()(?<!ft/s \()(?P<low>\d+(?:\.\d+)?)(?:(?P<join> to | and |-|–)(?P<high>\d+(?:\.\d+)?))? ?(?P<unit>m/s|mm|cm|kN|kg|m)\b(?![/²³])(?! \([\d.]+(?:(?: to | and |-|–)[\d.]+)? (?:ft|lbf|lb|in)\b)(?! / [\d.])"
)
MOST_NAMES = 5
_NAME = r"(?:(?:the )?limb (?:from )?)?U?\d+"
_LIST = re.compile(rf"{_NAME}(?:, {_NAME}){{{MOST_NAMES + 2},}}(?: and {_NAME})?")
"""A list of more unions or limbs than anyone reads."""

_COUNT = re.compile(r"\b(\d+)((?: [a-z-]+){1,3})\(s\)(?:( serve| lie| go| are)(?![a-z]))?")
_ONE = {" serve": " serves", " lie": " lies", " go": " goes", " are": " is"}
"""A count with a plural left open, as in "3 work point(s)"."""

_US = {
    "metre": "meter",
    "centimetre": "centimeter",
    "millimetre": "millimeter",
    "kilometre": "kilometer",
    "colour": "color",
    "coloured": "colored",
    "grey": "gray",
    "centre": "center",
    "kerb": "curb",
    "karabiner": "carabiner",
    "harness": "saddle",
    "strop": "flip line",
    "practised": "practiced",
    "mould": "mold",
    "risk assessment": "job hazard analysis",
    "mobile platform": "aerial lift",
    "dismantle": "takedown",
    "epicormic shoot": "water sprout",
    "fork": "crotch",
}
"""UK word to US word, in the singular; plurals and capitals follow by themselves."""
_WORD = re.compile(r"\b(" + "|".join(sorted(_US, key=len, reverse=True)) + r")((?:e?s)?)\b", re.IGNORECASE)
_TEXT = re.compile(r"(<(script|style)\b.*?</\2>)|(?<=>)([^<]+)(?=<)", re.DOTALL)


def said(text: str) -> str:
    """A sentence with its metric figures in both systems where life depends on them, the reader's first.

    >>> said("Drop 0.9 m, peak 3.4 kN, bends 20 mm.")
    'Drop 0.9 m (3.0 ft), peak 3.4 kN (764 lbf), bends 20 mm.'
    >>> said("over U1, U2, U3, U4, U5, U6, U7, U8 and U9 as well")
    'over U1, U2, U3, U4, U5 and 4 more as well'
    >>> said("1 tie-in point(s) serve it, 2 anchor(s) go")
    '1 tie-in point serves it, 2 anchors go'
    >>> said("1 stop(s), 3 work point(s)")
    '1 stop, 3 work points'
    >>> said("3 to 5 m up"), said("8.4 m (27.6 ft) up"), said("0.2 m/s")
    ('3 to 5 m (10 to 16 ft) up', '8.4 m (27.6 ft) up', '0.2 m/s')
    """
    if not _DIGIT.search(text):
        return text
    imperial = wording.reader().units == "imperial"

    def write(found: re.Match[str]) -> str:
        unit = found["unit"]
        if unit not in _LIFE and not imperial:
            return found[0]
        size, name, more = _UNITS[unit]
        figures = [found["low"], *([found["high"]] if found["high"] else [])]
        digits = max(max(len(f.partition(".")[2]) for f in figures) + more, 0)
        other = (found["join"] or "").join(f"{float(f) / size:.{digits}f}" for f in figures)
        if text.count("(", 0, found.start()) > text.count(")", 0, found.start()):
            return "{} / {}".format(*wording.ordered(found[0], f"{other} {name}"))
        return wording.both(found[0], f"{other} {name}")

    return _FIGURE.sub(write, _COUNT.sub(_counted, _LIST.sub(_few, text)))


def _few(found: re.Match[str]) -> str:
    """The first names of a long list, and how many more there are."""
    names = re.split(r", | and ", found[0])
    return f"{', '.join(names[:MOST_NAMES])} and {len(names) - MOST_NAMES} more"


def _counted(found: re.Match[str]) -> str:
    one = float(found[1]) == 1
    verb = found[3] or ""
    return found[1] + found[2] + ("" if one else "s") + (_ONE.get(verb, verb) if one else verb)


def spelled(text: str) -> str:
    """A text in the reader's words; a text that holds a caution is left exactly as it is.

    >>> from treescan.outputs.text.wording import written_for, ReaderSettings
    >>> with written_for(ReaderSettings(words="US")):
    ...     spelled("Grey limbs, 3 metres"), spelled("harnesses")
    ('Gray limbs, 3 meters', 'saddles')
    """
    if wording.reader().words != "US" or any(c in text for c in CAUTIONS.values()):
        return text
    return _WORD.sub(_us, text)


def _us(found: re.Match[str]) -> str:
    word = _US[found[1].lower()]
    if found[2]:
        word += "es" if word.endswith("ch") else "s"
    return word[0].upper() + word[1:] if found[1][0].isupper() else word


def spelled_page(page: str) -> str:
    """A whole HTML page in the reader's words: only what stands between tags, never scripts, styles or cautions."""
    if wording.reader().words != "US":
        return page

    def write(found: re.Match[str]) -> str:
        if found[1]:
            return found[1]
        return (
            found[0] if any(c in unescape(found[3]) for c in CAUTIONS.values()) else _WORD.sub(_us, found[3])
        )

    head, body, rest = page.partition("<body>")
    return head + body + _TEXT.sub(write, rest)
