"""How does a large object show itself? On one line, with what it holds counted."""

from __future__ import annotations

from dataclasses import fields, is_dataclass

import numpy as np

LONGEST = 180
"""Letters shown."""


class ShortRepr:
    """Base of dataclasses made with `repr=False`: the name, and each field as a figure, a word, a count or a shape.

    >>> from dataclasses import dataclass
    >>> @dataclass(frozen=True, repr=False)
    ... class Crown(ShortRepr):
    ...     name: str
    ...     limbs: tuple[int, ...]
    ...     xyz: np.ndarray
    >>> Crown("oak", (1, 2, 3), np.zeros((4, 3)))
    Crown(name='oak', limbs: 3, xyz: 4 x 3)
    """

    def __repr__(self) -> str:
        assert is_dataclass(self)
        said = [_shown(f.name, getattr(self, f.name)) for f in fields(self)]
        line = f"{type(self).__name__}({', '.join(said)})"
        return line if len(line) <= LONGEST else f"{line[: LONGEST - 4]}...)"


def _shown(name: str, value: object) -> str:
    if isinstance(value, np.ndarray):
        return f"{name}: {' x '.join(map(str, value.shape)) or value}"
    if value is None or isinstance(value, (bool, int, float)):
        return f"{name}={value}"
    if isinstance(value, str):
        return f"{name}={value[:30]!r}"
    if isinstance(value, (tuple, list, dict, set, frozenset)):
        return f"{name}: {len(value)}"
    return name
