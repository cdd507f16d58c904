"""Which answers of an earlier plan still stand, because nothing they were worked out from has changed?"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from treescan.loads.limb_check import AnchorCheck, AnchorConfiguration
from treescan.loads.statics.structural_model import StructuralModel
from treescan.short_repr import ShortRepr
from treescan.wood.graph import Floats

Key = tuple[object, ...]
"""All of a configuration, to be compared."""


@dataclass(frozen=True, repr=False)
class Kept(ShortRepr):
    """Answers by what was asked; none where nothing is known."""

    checks: Mapping[Key, AnchorCheck] = field(default_factory=dict)

    @classmethod
    def of(cls, checks: Iterable[AnchorCheck]) -> Kept:
        """Of checks whose model and work are the same again, see `same_answers`."""
        return cls({check.configuration.key: check for check in checks})

    def at(self, configuration: AnchorConfiguration) -> AnchorCheck | None:
        """The answer for one configuration, None where it must be judged."""
        known = self.checks.get(configuration.key)
        return None if known is None else replace(known, configuration=configuration)


def same_answers(now: StructuralModel, before: StructuralModel, work: Floats, work_before: Floats) -> bool:
    """True where two models give every configuration the same answer at the same places of work (w, 3)."""
    return (
        now.graph is before.graph
        and now.beside.terrain is before.beside.terrain
        and now.beside.foliage is before.beside.foliage
        and (now.wood, now.settings, now.seed) == (before.wood, before.settings, before.seed)
        and np.array_equal(work, work_before)
    )

