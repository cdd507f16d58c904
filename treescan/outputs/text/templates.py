"""How does a template with named values become a sentence? One small language for every tongue, figures by the reader's units.

A template is plain text with
- `{name}`            a name or a person's own words, letter for letter; another reason, as its own text
- `{name:spec}`       a figure (`SPECS` below has all), a list of names `{union:names}`, an identifier's word `{mode:word}`, `{mode:Word}`
- `{name:spec?}`      the same, "not seen" where it is not known; `{d±sd:cm}` a diameter with its standard deviation, where there is one
- `{n|throw|throws}`  the first word where the figure rounds to one, else the second
- `[ ... ]`           left out where a value inside is not known (None, NaN, empty); `{?flag}` and `{!flag}` print nothing and only
                      ask for a flag that is set, or not set
- `<fork|crotch>`     UK and US word
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from functools import cache
from typing import Any

from treescan.outputs.text import wording as w
from treescan.reason import Reason

MAX_NAMES = 5
"""Names of a list that are printed; further ones are counted."""

_PART = re.compile(r"(\[|\]|\{[^{}]*\}|<[^<>|]*\|[^<>|]*>)")


def _digits(function: Callable[[float, int], str], default: int) -> Callable[[float, str], str]:
    return lambda x, digits: function(x, int(digits) if digits else default)


SPECS: dict[str, Callable[[Any, str], str]] = {
    "m": _digits(w.metres, 1),
    "m_first": _digits(lambda x, digits: w.length_pair(x, digits)[0], 1),
    "m_second": _digits(lambda x, digits: w.length_pair(x, digits)[1], 1),
    "kN_first": lambda x, _: w.force_pair(x)[0],
    "kN_second": lambda x, _: w.force_pair(x)[1],
    "cm": _digits(w.centimetres, 0),
    "mm": lambda x, _: w.small(x),
    "m/s": lambda x, _: w.speed(x),
    "m3": lambda x, _: w.volume(x),
    "kN": lambda x, _: w.force(x),
    "kNm": lambda x, _: w.moment(x),
    "MPa": _digits(w.stress, 0),
    "kg": _digits(w.mass, 0),
    "g": lambda x, _: w.bag(x),
    "deg": _digits(w.degrees, 0),
    "%": lambda x, _: w.percent(x),
    "chance": lambda x, _: w.chance(x),
    "x": _digits(w.factor, 2),
    "n": lambda x, _: w.count(x),
    "s": _digits(lambda x, digits: w.plain(x, digits, "s"), 0),
    "min": _digits(lambda x, digits: w.plain(x / 60, digits, "min"), 0),
    "kV": _digits(lambda x, digits: w.plain(x, 0, "V") if x < 1000 else w.plain(x / 1000, digits, "kV"), 0),
    "compass": lambda x, _: w.compass(x),
    "ordinal": lambda x, _: w.ordinal(x),
}
"""Figures, all from SI: `{height:m}`, `{height:m2}` two decimals; cm and mm are lengths, deg an angle [rad], % a share, chance one
that is never told as none or all, x a bare figure, n a count, throws an expected number of throws; `_first` and `_second` in the reader's system and in the other alone."""
_SPEC = re.compile(r"(?P<name>m3(?!\d)|[a-zA-Z%/_]+)(?P<digits>\d?)")


class Tongue:
    """One language: every sentence and every word by its code, with another language behind it for what it lacks."""

    def __init__(
        self, texts: Mapping[str, str], words: Mapping[str, str], behind: Tongue | None = None
    ) -> None:
        self.texts, self.words, self.behind = texts, words, behind

    def template(self, code: str) -> str:
        """The template of a code; KeyError where no language has it."""
        if code in self.texts or self.behind is None:
            return self.texts[code]
        return self.behind.template(code)

    def word(self, key: str) -> str:
        """The word for an identifier such as "MRS" or "two_people", UK or US; without an entry it stands for itself."""
        if key not in self.words and self.behind is not None:
            return self.behind.word(key)
        word = self.words.get(key)
        return key if word is None else self._parts(_parsed(word), {})[0]

    def render(self, code: str, values: Mapping[str, Any]) -> str:
        """The sentence of a code with its values."""
        text, known = self._parts(_parsed(self.template(code)), values)
        if not known:
            raise ValueError(f"{code}: a value that its text cannot do without is not known: {dict(values)}")
        return text

    def _parts(self, parts: tuple[Any, ...], values: Mapping[str, Any]) -> tuple[str, bool]:
        out, known = [], True
        for part in parts:
            if isinstance(part, tuple) and part[0] == "optional":
                text, there = self._parts(part[1], values)
                out.append(text if there else "")
            elif isinstance(part, tuple) and part[0] == "words":
                out.append(part[1 + (w.reader().words == "US")])
            elif isinstance(part, tuple):
                text, there = self._value(part, values)
                out.append(text)
                known = known and there
            else:
                out.append(part)
        return "".join(out), known

    def _value(self, part: tuple[Any, ...], values: Mapping[str, Any]) -> tuple[str, bool]:
        kind, (name, _, doubt) = part[0], part[1].partition("±")
        value = values[name]
        if kind == "flag":
            return "", bool(value) == part[2]
        if kind == "plural":
            if value is None:
                return "", False
            return part[2 if round(abs(value)) == 1 else 3], True
        spec = part[2].removesuffix("?")
        if (
            value is None
            or (isinstance(value, (tuple, str)) and not value)
            or (isinstance(value, float) and math.isnan(value))
            or (part[2] == "throws" and not math.isfinite(value))
        ):
            return self.word(w.NOT_SEEN), spec != part[2]
        if doubt:
            sd = values[doubt]
            return w.diameter(value, math.nan if sd is None else sd), True
        return self.figure(value, spec), True

    def bare(self, value: Any, spec: str) -> str:
        """One figure alone; "not seen" where it is not known."""
        return self._value(("value", "x", f"{spec}?"), {"x": value})[0]

    def figure(self, value: Any, spec: str) -> str:
        """One value as its spec asks."""
        if spec in {"names", "or"}:
            names = [self.figure(v, "") for v in (value if isinstance(value, tuple) else (value,))]
            return self._list(names, "or" if spec == "or" else "and")
        if isinstance(value, Reason):
            return self.render(value.code, value.values)
        if spec == "throws":
            few, many = w.throws(value)
            return self.render("throws_told", {"few": few if few < many else None, "many": many})
        if isinstance(value, tuple):
            return self._list([self.figure(v, spec) for v in value], "and", limit=len(value))
        if spec in {"word", "Word"}:
            word = self.word(str(value))
            return word[:1].upper() + word[1:] if spec == "Word" else word
        if spec:
            found = _SPEC.fullmatch(spec)
            if not found or found["name"] not in SPECS:
                raise ValueError(f"no such figure: {spec}")
            return self.word(SPECS[found["name"]](value, found["digits"]))
        return value if isinstance(value, str) else w.plain(value, 0 if isinstance(value, int) else 2)

    def _list(self, names: list[str], joint: str, limit: int = MAX_NAMES) -> str:
        if len(names) > limit + 1:
            names = [*names[:limit], self.render("list_more", {"n": len(names) - limit})]
        return (
            f" {self.word(joint)} ".join([", ".join(names[:-1]), names[-1]]) if len(names) > 1 else names[0]
        )


@cache
def _parsed(template: str) -> tuple[Any, ...]:
    """The parts of a template: text, ("value", name, spec), ("plural", name, one, many), ("flag", name, asked), ("words", UK, US),
    ("optional", parts)."""
    stack: list[list[Any]] = [[]]
    for piece in _PART.split(template):
        if piece == "[":
            stack.append([])
        elif piece == "]":
            inner = tuple(stack.pop())
            stack[-1].append(("optional", inner))
        elif piece.startswith("{"):
            stack[-1].append(_slot(piece[1:-1]))
        elif piece.startswith("<") and "|" in piece:
            stack[-1].append(("words", *piece[1:-1].split("|")))
        elif piece:
            stack[-1].append(piece)
    if len(stack) != 1:
        raise ValueError(f"a bracket is left open: {template}")
    return tuple(stack[0])


def _slot(inside: str) -> tuple[Any, ...]:
    if inside[:1] in {"?", "!"}:
        return "flag", inside[1:], inside[0] == "?"
    if "|" in inside:
        name, one, many = inside.split("|")
        return "plural", name, one, many
    name, _, spec = inside.partition(":")
    return "value", name, spec


def names_in(template: str) -> set[str]:
    """Every value a template asks for."""

    def walk(parts: tuple[Any, ...]) -> set[str]:
        out: set[str] = set()
        for part in parts:
            if isinstance(part, tuple) and part[0] == "optional":
                out |= walk(part[1])
            elif isinstance(part, tuple) and part[0] != "words":
                out.update(part[1].split("±"))
        return out

    return walk(_parsed(template))
