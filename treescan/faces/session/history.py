"""Which changes stand, which were undone, and which states have a name?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from treescan.errors import BadInput
from treescan.faces.session.changes import Change
from treescan.faces.session.inputs import Inputs, inputs_after

MOST_LINES = 5000
MOST_NAMES = 200
LONGEST_NAME = 60

Line = tuple[int, Change]
"""A change with its number; numbers grow and are never given twice."""


@dataclass(frozen=True)
class History:
    """The changes over a base plan; every method gives another history.

    base : Inputs           What was asked for before the first change.
    lines : tuple of Line   All changes, those undone at the end included.
    at : int                How many of them stand.
    named : name to the lines that stood when the name was given.
    last : int              The highest number given so far.
    """

    base: Inputs = field(default_factory=Inputs)
    lines: tuple[Line, ...] = ()
    at: int = 0
    named: Mapping[str, tuple[Line, ...]] = field(default_factory=dict)
    last: int = 0

    @property
    def standing(self) -> tuple[Line, ...]:
        """The changes that stand."""
        return self.lines[: self.at]

    @property
    def inputs(self) -> Inputs:
        """What is asked for now."""
        return inputs_after(self.base, self.standing)

    def with_change(self, change: Change) -> History:
        """One change more; what was undone before is gone."""
        if self.at >= MOST_LINES:
            raise BadInput(f"the history holds {MOST_LINES} changes", remedy="open the tree anew")
        number = self.last + 1
        out = replace(self, lines=(*self.standing, (number, change)), at=self.at + 1, last=number)
        inputs_after(out.base, out.standing)
        return out

    def moved(self, to: int) -> History:
        """The first `to` changes stand: undo and redo over any distance."""
        if not 0 <= to <= len(self.lines):
            raise BadInput("there is nothing to undo or redo there")
        return replace(self, at=to)

    def with_name(self, name: str) -> History:
        """The state as it stands, kept under a name; an earlier one of that name goes."""
        name = name.strip()
        if not name or len(name) > LONGEST_NAME or not all(c.isprintable() for c in name):
            raise BadInput(f"a name has 1 to {LONGEST_NAME} letters")
        if len(self.named) >= MOST_NAMES and name not in self.named:
            raise BadInput(f"{MOST_NAMES} states have names", remedy="give one of those names again")
        return replace(self, named=dict(self.named) | {name: self.standing})

    def of_name(self, name: str) -> Inputs:
        """What was asked for in a named state; "" = now, and the base by `BASE`."""
        if name == "":
            return self.inputs
        if name == BASE:
            return self.base
        if name not in self.named:
            raise BadInput(f"no state is called '{name[:LONGEST_NAME]}'")
        return inputs_after(self.base, self.named[name])


BASE = "\N{BULLET}base"
"""The state before the first change; no name of a person's begins so."""
