"""How do results become JSON that any program reads? Finite numbers or null, no numpy, the same bytes every time."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np

DIGITS = 6
"""Significant digits kept of every computed number; coordinates are rounded to 0.1 mm instead."""


def number(x: Any, digits: int = DIGITS) -> float | None:
    """A finite number with `digits` significant digits, or None.

    >>> number(0.123456789), number(float("inf")), number(0.0)
    (0.123457, None, 0.0)
    """
    x = float(x)
    if not math.isfinite(x):
        return None
    return float(f"{x:.{digits}g}")


def place(xyz: Any) -> list[float | None]:
    """Coordinates to 0.1 mm.

    >>> place([1.00004, 2.0, float("nan")])
    [1.0, 2.0, None]
    """
    return [round(float(v), 4) + 0.0 if math.isfinite(v) else None for v in np.asarray(xyz, float)]


def vector(v: Any) -> list[float | None]:
    """A direction to six decimals."""
    return [round(float(x), 6) + 0.0 if math.isfinite(x) else None for x in np.asarray(v, float)]


def tame(value: Any) -> Any:
    """Anything of ours as plain JSON values: dataclasses as objects, arrays and tuples as lists, NaN and infinities as null."""
    kind = type(value)
    if kind is float:
        return value if math.isfinite(value) else None
    if kind is str or kind is int or kind is bool or value is None:
        return value
    if kind is list or kind is tuple:
        return [tame(v) for v in value]
    if kind is dict:
        return {str(k): tame(v) for k, v in value.items()}
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: tame(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, Mapping):
        return {str(k): tame(v) for k, v in value.items()}
    if isinstance(value, np.ndarray):
        return tame(value.tolist())
    if isinstance(value, (list, tuple, set, frozenset)):
        return [tame(v) for v in value]
    if isinstance(value, (bool, np.bool_)):
        return bool(value)
    if isinstance(value, (int, np.integer)):
        return int(value)
    if isinstance(value, (float, np.floating)):
        return float(value) if math.isfinite(value) else None
    return value if value is None or isinstance(value, str) else str(value)


def dumps(value: Any) -> str:
    """Strict JSON text with a closing newline: one line for every entry of an object, and one for every object or list in a list there.

    >>> print(dumps({"a": 1, "b": [{"c": [1, 2]}, {"c": []}]}), end="")
    {
    "a": 1,
    "b": [
     {"c": [1, 2]},
     {"c": []}
    ]
    }
    """
    whole = tame(value)
    if not isinstance(whole, dict):
        return _line(whole) + "\n"
    return "{\n" + ",\n".join(f"{_line(k)}: {_block(v)}" for k, v in whole.items()) + "\n}\n"


def _block(value: Any) -> str:
    """A value as it stands in the outermost object."""
    if isinstance(value, list) and any(isinstance(v, (dict, list)) for v in value):
        return "[\n " + ",\n ".join(map(_line, value)) + "\n]"
    return _line(value)


def _line(value: Any) -> str:
    return json.dumps(value, allow_nan=False, ensure_ascii=False)
