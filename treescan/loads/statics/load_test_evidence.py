"""How much surer is the wood once it has passed a load test in the set-up and direction of use?

A test that was held cuts off the strengths that would not have held it. Its pull is known to `TEST_ERROR`; a pull of seconds is held by wood
that would give way under the same pull in time, so of what was held only `SHORT_TEST` counts. Places of the climber that bend the wood in
another plane than the test did learn nothing from it: their chance stays and is added.

References
----------
Updating by a load borne: proven_service; strength by duration of load: load_duration, in treescan/sources.py.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from treescan.loads.chance.margin_kernel import MASS
from treescan.loads.chance.overload_chance import overload_chance
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
    return tuple(_passed(tree, use, pull, size) for size in SIZES)


def _passed(tree: StructuralModel, use: Governed, pull: float, size: float) -> PassedTest:
    low, chance = _after(tree, use, size)
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


def _after(tree: StructuralModel, use: Governed, size: float) -> tuple[float, float]:
    """Low side of the margin and chance of overload after the test."""
    main, *others = use.cases
    same = [main, *(c for c, tested in zip(others, use.in_plane, strict=True) if tested)]
    apart = [c for c, tested in zip(others, use.in_plane, strict=True) if not tested]
    test = replace(
        main, force=size * main.force, moment=size * main.moment, shift=size * main.shift, mass_sd=TEST_ERROR
    )
    return (
        max(_low(tree, same, apart, test, use.standing), use.margin.p5),
        min(_chance(tree, same, apart, test, use.standing), use.overload),
    )


def _another_pull(z: Floats) -> Floats:
    """The draws with the error of the test's pull in the place of the climber's mass, one independent of the other."""
    out = z.copy(order="F")
    out[:, MASS] = np.roll(z[:, MASS], 1)
    return out


def _low(
    tree: StructuralModel, same: list[MarginCase], apart: list[MarginCase], test: MarginCase, standing: bool
) -> float:
    z = tree.normals
    held = both_margins(test, _another_pull(z[:, : test.dimensions]))[0] > SHORT_TEST
    low = _quantile(tree, same, held, standing)
    return min(low, _quantile(tree, apart, np.ones(len(z), bool), standing)) if apart else low


def _quantile(tree: StructuralModel, cases: list[MarginCase], kept: np.ndarray, standing: bool) -> float:
    """Low side of the worst of some cases over the draws that are kept and stand; 0 where hardly any are."""
    drawn = [both_margins(c, tree.normals[:, : c.dimensions]) for c in cases]
    least = np.min([m for m, _ in drawn], axis=0)
    if standing:
        kept = kept & (np.min([own for _, own in drawn], axis=0) > 1.0)
    return float(np.quantile(least[kept], tree.low_share)) if kept.mean() >= LEAST_STANDING else 0.0


def _chance(
    tree: StructuralModel, same: list[MarginCase], apart: list[MarginCase], test: MarginCase, standing: bool
) -> float:
    widened = tree.widened[: len(tree.few)]
    draws = section_draws(same, tree.few, widened, stands=standing)
    under_test = section_draws([test], _another_pull(tree.few), widened, stands=False).margin
    shown = np.zeros_like(draws.margin)
    shown[: len(under_test)] = SHORT_TEST * draws.margin[: len(under_test)] / under_test
    chance = overload_chance(draws, passed=shown)
    if apart:
        chance += overload_chance(section_draws(apart, tree.few, widened, stands=standing))
    return chance if np.isfinite(chance) else 1.0
