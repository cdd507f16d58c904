"""How much surer is the wood once it has passed a load test in the set-up and direction of use?

A test that was held cuts off the strengths that would not have held it. Its pull is known to `TEST_ERROR`; a pull of seconds is held by wood
that would give way under the same pull in time, so of what was held only `SHORT_TEST` counts. Places of the climber that bend the wood in
another plane than the test did learn nothing from it: their chance stays and is added.

References
----------
Updating by a load borne: proven_service; strength by duration of load: load_duration, in treescan/sources.py.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from treescan.estimate import quantile
from treescan.loads.chance.overload_chance import SectionDraws, overload_chance
from treescan.loads.chance.reliability import (
    LEAST_STANDING,
    MarginCase,
    both_margins,
    section_draws,
)
from treescan.loads.limb_check import PassedTest
from treescan.loads.statics.governing import Governed
from treescan.loads.statics.structural_model import StructuralModel
from treescan.units import G
from treescan.wood.graph import Floats

SIZES = (1.0, 1.5)
"""Tests that are told: the pull over the hardest of ordinary use."""

SHORT_TEST = 0.85
"""Share of the strength in a test of seconds that is left over a climb (0.76 to 0.93)."""

TEST_ERROR = 0.15
"""Relative standard deviation of a test's pull where it was not measured (project choice)."""


def passed_tests(tree: StructuralModel, use: Governed, pull: float) -> tuple[PassedTest, ...]:
    """What tests of `SIZES` times the hardest ordinary pull would show, if they are passed.

    Parameters
    ----------
    use : Governed      The worst of ordinary use.
    pull : float        At the climber's end of the rope in that load. [N]
    """
    untested = _Untested.of(tree, use)
    return tuple(_passed(tree, use, untested, pull, size) for size in SIZES)


@dataclass(frozen=True)
class _Untested:
    """The draws before any test, the same for tests of every size.

    margin, own : (n,) float        Of the worst of the cases that the test proves, as of `both_margins`.
    draws : SectionDraws            Of their sections.
    low, chance : float             Low side and chance of overload of the cases that it does not prove; inf and 0 without any.
    """

    margin: Floats
    own: Floats
    draws: SectionDraws
    low: float
    chance: float

    @classmethod
    def of(cls, tree: StructuralModel, use: Governed) -> _Untested:
        main, *others = use.cases
        same = [main, *(c for c, tested in zip(others, use.in_plane, strict=True) if tested)]
        apart = [c for c, tested in zip(others, use.in_plane, strict=True) if not tested]
        low, chance = float("inf"), 0.0
        if apart:
            low = _quantile(tree, *_worst(tree, apart), np.ones(len(tree.normals), bool), use.standing)
            chance = overload_chance(_sections(tree, apart, use.standing))
        return cls(*_worst(tree, same), _sections(tree, same, use.standing), low, chance)


def _passed(tree: StructuralModel, use: Governed, untested: _Untested, pull: float, size: float) -> PassedTest:
    low, chance = _after(tree, use, untested, size)
    own, rope = use.own_moment, use.rope_moment
    moment, asked = (float(np.linalg.norm(own + t * rope)) for t in (size, 1.0))
    return PassedTest(
        size=size,
        pull=size * pull,
        people=size * pull / (tree.settings.climber_mass * G),
        moment=moment,
        moment_share=moment / asked if asked > 0 else float("nan"),
        low=low,
        overload_chance=chance,
    )


def _after(tree: StructuralModel, use: Governed, untested: _Untested, size: float) -> tuple[float, float]:
    """Low side of the margin and chance of overload after the test."""
    main = use.cases[0]
    test = replace(
        main, force=size * main.force, moment=size * main.moment, shift=size * main.shift, mass_sd=TEST_ERROR
    )
    held = both_margins(test, tree.pulled[:, : test.dimensions])[0] > SHORT_TEST
    low = min(_quantile(tree, untested.margin, untested.own, held, use.standing), untested.low)
    return max(low, use.margin.p5), min(_chance(tree, untested, test), use.overload)


def _worst(tree: StructuralModel, cases: list[MarginCase]) -> tuple[Floats, Floats]:
    """The worst of some cases in every draw, as of `both_margins`."""
    drawn = [both_margins(c, tree.normals[:, : c.dimensions]) for c in cases]
    return np.min([m for m, _ in drawn], axis=0), np.min([own for _, own in drawn], axis=0)


def _quantile(tree: StructuralModel, margin: Floats, own: Floats, kept: np.ndarray, standing: bool) -> float:
    """Low side of a margin over the draws that are kept and stand; 0 where hardly any are."""
    if standing:
        kept = kept & (own > 1.0)
    return quantile(margin[kept], tree.low_share) if kept.mean() >= LEAST_STANDING else 0.0


def _sections(tree: StructuralModel, cases: list[MarginCase], standing: bool) -> SectionDraws:
    return section_draws(cases, tree.few, tree.widened[: len(tree.few)], stands=standing)


def _chance(tree: StructuralModel, untested: _Untested, test: MarginCase) -> float:
    """Chance of overload after a test that was held."""
    widened, draws = tree.widened[: len(tree.few)], untested.draws
    under_test = section_draws([test], tree.few_pulled, widened, stands=False).margin
    shown = np.zeros_like(draws.margin)
    shown[: len(under_test)] = SHORT_TEST * draws.margin[: len(under_test)] / under_test
    chance = overload_chance(draws, passed=shown) + untested.chance
    return chance if np.isfinite(chance) else 1.0
