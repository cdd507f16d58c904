"""Which unions are not judged in full, and by which one line are they screened?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from treescan.loads.limb_check import AnchorCheck, AnchorConfiguration
from treescan.planning.candidates.candidates import (
    bearing_diameter,
    candidate_unions,
    one_line_over,
    round_the_stem,
)
from treescan.planning.settings import PlanningSettings
from treescan.short_repr import ShortRepr
from treescan.throw.throw_path import Throw, ThrowTable
from treescan.trees.beside import Beside
from treescan.wood.graph import WoodGraph

SCREENED_AS = "SRS canopy"
"""Rope system a union is screened with: of its ways to be rigged one, so its answer is never better than the best
of all ways."""

Configured = tuple[AnchorConfiguration, Throw | None]


@dataclass(frozen=True, repr=False)
class Screening(ShortRepr):
    """Checks beside those of the candidates.

    limbs : one line over every union left out of the candidates that carries a limb as thick as a candidate or a
    step asks for, with the throw that sets it (None = set by climbing); stems : a choke round the stem where two
    lanyards may pass.
    """

    limbs: tuple[tuple[AnchorCheck, Throw | None], ...] = ()
    stems: tuple[AnchorCheck, ...] = ()


def unions_left_out(graph: WoodGraph, settings: PlanningSettings) -> tuple[int, ...]:
    """Rows of the unions that are no candidates but thick enough to be one or to be a step, at any height."""
    u, judged = graph.unions, set(candidate_unions(graph, settings))
    least = min(settings.min_limb, settings.step_limb)

    def thick(k: int) -> bool:
        lateral = float(u.arm_diameter[u.laterals(k)].max(initial=0.0))
        return max(lateral, bearing_diameter(graph, k, settings)) >= least

    return tuple(k for k in range(len(u)) if k not in judged and thick(k))


def screening_lines(
    graph: WoodGraph, beside: Beside, throws: ThrowTable, settings: PlanningSettings, min_lever: float
) -> tuple[Configured, ...]:
    """The one line by which each union left out is screened: a canopy anchor over its limb as the best throw leaves
    it, set by hand where no throw does, round the stem where its limbs are too thin."""
    hardware = settings.hardware(SCREENED_AS)[0]
    return tuple(
        one_line_over(graph, beside, throws, k, (SCREENED_AS, hardware), settings, min_lever)
        for k in unions_left_out(graph, settings)
    )


def stem_lines(
    graph: WoodGraph, unions: Sequence[int], settings: PlanningSettings, min_lever: float
) -> tuple[AnchorConfiguration, ...]:
    """A choke round the stem at each of these unions, where two lanyards may pass."""
    hardware, none = settings.hardware(SCREENED_AS)[0], np.zeros(0, np.int32)
    foot = graph.xyz[0]
    return tuple(
        AnchorConfiguration(
            k, SCREENED_AS, hardware, int(graph.unions.node[k]), 0.0, none, foot, min_lever=min_lever
        )
        for k in unions
        if not round_the_stem(graph, k, settings)
    )
