"""How a room declares its settings: frozen dataclasses whose every field says its unit, reason and standing.

A room writes ``climber_mass: float = setting(100.0, "kg", "climber with gear", "project_choice")``; the command line lists them
(`plan --show-settings`) and reads a TOML file over them. Values are checked on the way in, so no room meets a nonsense number.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, fields, is_dataclass, replace
from typing import Any, TypeVar

from treescan.errors import BadInput

T = TypeVar("T")
LARGEST = 2.0**62
"""No setting is larger; NaN and infinities fall out with it."""
LONGEST, MOST_ITEMS = 60, 6
"""Letters and items of a value that are quoted."""


def setting(
    default: Any, unit: str, meaning: str, source: str, *, low: float | None = None, high: float | None = None, choices: tuple[str, ...] = ()
) -> Any:
    """A dataclass field with its unit, meaning, source key (`treescan.sources`) and allowed range."""
    meta = {"unit": unit, "meaning": meaning, "source": source, "low": low, "high": high, "choices": choices}
    return field(default=default, metadata=meta)


@dataclass(frozen=True)
class SettingLine:
    """One printable line of the settings table."""

    name: str
    value: Any
    unit: str
    meaning: str
    source: str


def lines(settings: Any, prefix: str = "") -> Iterator[SettingLine]:
    """Every leaf setting below a settings dataclass, with dotted names."""
    for f in fields(settings):
        value, name = getattr(settings, f.name), f"{prefix}{f.name}"
        if is_dataclass(value):
            yield from lines(value, name + ".")
        else:
            m = f.metadata
            yield SettingLine(name, value, m.get("unit", ""), m.get("meaning", ""), m.get("source", ""))


def merged(settings: T, changes: Mapping[str, Any], *, file: str | None = None, prefix: str = "") -> T:
    """The same settings with the values of a nested mapping put over them.

    Raises BadInput for an unknown name, a wrong type or a value outside its range, naming the setting.
    """
    known = {f.name: f for f in fields(settings)}  # type: ignore[arg-type]
    new: dict[str, Any] = {}
    for key, value in changes.items():
        name = f"{prefix}{key[:LONGEST]}"
        if key not in known:
            raise BadInput(f"setting '{name}' is not known", file=file, remedy="treescan plan --show-settings lists every name")
        old = getattr(settings, key)
        if is_dataclass(old) and not isinstance(old, type):
            if not isinstance(value, Mapping):
                raise BadInput(f"setting '{name}' is a group of settings, not one value", file=file, remedy=f"write it as a table [{name}]")
            new[key] = merged(old, value, file=file, prefix=name + ".")
        else:
            new[key] = _checked(name, old, value, known[key].metadata, file)
    return replace(settings, **new)  # type: ignore[type-var]


def _typed(old: Any, value: Any) -> tuple[bool, Any]:
    """Whether a value is of the default's type, every item of a list too, and the value brought to it."""
    if isinstance(old, tuple):
        if not isinstance(value, (list, tuple)):
            return False, value
        parts = [_typed(old[0], v) if old else (True, v) for v in value]
        return all(right for right, _ in parts), tuple(v for _, v in parts)
    if isinstance(old, bool) or isinstance(value, bool):
        return isinstance(old, bool) and isinstance(value, bool), value
    if isinstance(old, int):
        return isinstance(value, int) and abs(value) < LARGEST, value
    if isinstance(old, float):
        right = isinstance(value, (int, float)) and abs(value) < LARGEST
        return right, float(value) if right else value
    return isinstance(value, str), value


def _short(value: Any) -> str:
    """A value as it is quoted in a message."""
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(_short(v) for v in value[:MOST_ITEMS]) + ("...]" if len(value) > MOST_ITEMS else "]")
    if isinstance(value, Mapping):
        return "a group"
    quoted = f"'{value}'" if isinstance(value, str) else str(value)
    return quoted[:LONGEST] + ("..." if len(quoted) > LONGEST else "")


def _checked(name: str, old: Any, value: Any, meta: Mapping[str, Any], file: str | None) -> Any:
    """One value, brought to the type of the default and held against its range."""
    right, value = _typed(old, value)
    if not right:
        raise BadInput(
            f"setting '{name}' is {_short(value)}, expected something like {_short(old)}", file=file
        )
    low, high, choices = meta.get("low"), meta.get("high"), meta.get("choices")
    numbers = value if isinstance(value, tuple) else (value,)
    for number in numbers:
        if (low is not None and not number >= low) or (high is not None and not number <= high):
            raise BadInput(f"setting '{name}' is {number!r}, allowed is {low} to {high} {meta.get('unit', '')}", file=file)
    if choices and any(v not in choices for v in numbers):
        raise BadInput(f"setting '{name}' is {value!r}, allowed are {', '.join(choices)}", file=file)
    return value
