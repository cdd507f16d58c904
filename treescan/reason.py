"""What was found, as data: a code and named values. Words are made from it in `outputs/text`, and nowhere else."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from types import MappingProxyType
from typing import Any, NoReturn

import numpy as np


class Reason:
    """One finding: what was found (`code`) and the figures and names that go with it (`values`).

    Values are SI floats, integers, flags, names, a person's own words, None for "not known", other reasons, or
    tuples of these. Decisions read `code` and `values`; a reason has no sentence that could be read.

    >>> low = Reason("margin_low", low=1.01, asked=1.5)
    >>> low.code, low["asked"], low == Reason("margin_low", low=1.01, asked=1.5)
    ('margin_low', 1.5, True)
    """

    __slots__ = ("code", "values")

    code: str
    values: Mapping[str, Any]

    def __init__(self, code: str, /, **values: Any) -> None:
        object.__setattr__(self, "code", code)
        object.__setattr__(self, "values", MappingProxyType({name: _plain(v) for name, v in values.items()}))

    def __getitem__(self, name: str) -> Any:
        return self.values[name]

    def __setattr__(self, name: str, value: Any) -> NoReturn:
        raise AttributeError(f"a reason does not change: {name}")

    def __reduce__(self) -> Any:
        return _again, (self.code, dict(self.values))

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Reason) and (self.code, dict(self.values)) == (other.code, dict(other.values))

    def __hash__(self) -> int:
        return hash((self.code, tuple(self.values)))

    def __repr__(self) -> str:
        inside = "".join(f", {name}={value!r}" for name, value in self.values.items())
        return f"Reason({self.code!r}{inside})"


def _again(code: str, values: dict[str, Any]) -> Reason:
    return Reason(code, **values)


def has(reasons: Iterable[Reason], *codes: str) -> bool:
    """Whether any of the reasons carries one of the codes.

    >>> has((Reason("margin_low", low=1.0, asked=1.5),), "margin_low", "too_thin")
    True
    """
    return any(r.code in codes for r in reasons)


def as_plain(value: Any) -> Any:
    """A value as JSON can hold it: a reason as its code and values, tuples as lists.

    >>> as_plain(Reason("list_more", n=3))
    {'code': 'list_more', 'values': {'n': 3}}
    """
    if isinstance(value, Reason):
        return {"code": value.code, "values": {name: as_plain(v) for name, v in value.values.items()}}
    if isinstance(value, tuple):
        return [as_plain(v) for v in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value


def from_plain(data: Any) -> Any:
    """What `as_plain` wrote, back.

    >>> from_plain(as_plain(Reason("list_more", n=3)))
    Reason('list_more', n=3)
    """
    if isinstance(data, dict):
        return Reason(data["code"], **{name: from_plain(v) for name, v in data["values"].items()})
    return tuple(from_plain(v) for v in data) if isinstance(data, list) else data


def _plain(value: Any) -> Any:
    """Plain Python numbers and tuples, so that a reason equals its twin read back from a file."""
    if isinstance(value, np.generic):
        return value.item()
    if isinstance(value, (list, tuple)):
        return tuple(_plain(v) for v in value)
    return value
