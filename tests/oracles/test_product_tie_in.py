"""What is told of a tie-in that moves, against beams, modes and the elastica worked out beside it."""

import numpy as np
import pytest
from loads.stick_trees import checked, configuration, tree

from oracles.tie_in_stiffness import amplified_limb, effective_mass, elastica, stiffness_at
from oracles.tie_in_stiffness import chain as beams
from oracles.tie_in_stiffness import two_masses as modes
from treescan.loads.sections.bounce import Spring, amplified, tie_in_spring, two_masses
from treescan.loads.sections.deflection import moment_about, settled
from treescan.reason import has

E, RHO = 7e9, 900.0


def limb(slope=0.3, length=3.0, diameter=0.12, n=25):
    way = np.linspace(0, length, n)[:, None] * np.array([np.cos(slope), 0, np.sin(slope)])
    mass = np.full(n, RHO * np.pi * diameter**2 / 4 * length / (n - 1))
    mass[[0, -1]] *= 0.5
    return way, np.full(n, diameter), mass


@pytest.mark.parametrize(("slope", "diameter"), [(0.0, 0.06), (0.3, 0.12), (1.0, 0.2)])
def test_stiffness_and_effective_mass_are_those_of_the_beam_elements(slope, diameter):
    """Stiffness to five digits, effective mass within 1 % of the consistent masses."""
    points, d, mass = limb(slope, diameter=diameter)
    found = tie_in_spring(points, d / 2, mass, E, E / 16, np.array([0, 0, -1.0]))
    oracle = beams(points, d, E, density=RHO)
    node = len(points) - 1
    assert found.stiffness == pytest.approx(stiffness_at(oracle, node)[0], rel=1e-5)
    assert found.mass == pytest.approx(effective_mass(oracle, node), rel=0.01)


@pytest.mark.parametrize("rope", [2.0, 8.0, 20.0])
def test_frequencies_and_amplification_are_those_of_the_modes(rope):
    """Two masses in a row, solved by scipy, and the movement of the tie-in under a rhythm of the climber."""
    points, d, _ = limb()
    oracle = beams(points, d, E, density=RHO)
    node = len(points) - 1
    spring = Spring(stiffness_at(oracle, node)[0], effective_mass(oracle, node))
    k = 30e3 / rope
    low, high = two_masses(spring, np.array([k]), 100.0)
    assert (low[0], high[0]) == pytest.approx(tuple(modes(spring.stiffness, spring.mass, k, 100.0)), rel=1e-9)
    cadence = np.array([0.5, 0.8, 1.0, 1.5])
    for damping in (0.05, 0.15):
        told = amplified(spring, np.array([k]), 100.0, cadence, damping)[0]
        want = [amplified_limb(oracle, node, k, 100.0, 1.0, c, damping) * spring.stiffness for c in cadence]
        assert told == pytest.approx(want, rel=1e-6)


@pytest.mark.parametrize("slope", [0.0, 0.4, 0.785])
@pytest.mark.parametrize("load", [300.0, 600.0, 1000.0])
def test_the_bent_shape_is_that_of_the_elastica(slope, load):
    """Turning and foot moment of a clamped limb with a plumb load at its tip, up to 0.3 rad, within 2 %."""
    points, d, _ = limb(slope, 2.5, 0.08, 41)
    ei = E * np.pi * 0.08**4 / 64
    _, _, turn, foot = elastica(2.5, ei, load, slope)
    if turn > 0.32:
        pytest.skip("beyond what is judged")
    force, moment = np.zeros_like(points), np.zeros_like(points)
    force[-1, 2] = -load
    bent, turned = settled(points, d / 2, force, moment, E, E / 16)
    assert turned == pytest.approx(turn, rel=0.02)
    assert np.linalg.norm(moment_about(points[0], bent, force, moment)) == pytest.approx(foot, rel=0.01)


def test_a_thin_rising_limb_is_judged_in_its_bent_shape_and_refused_where_it_turns_too_far():
    """Above 0.1 rad the margin is less than the straight beam's; above 0.3 rad it does not hold, with its own code."""
    def at(diameter, **more):
        g = tree([(8.0, 0, 35, 3.0, diameter, diameter)], height=12, stem=0.5, top=0.4)
        r = configuration(g, "U01", "MRS", distance=1.6)
        return checked(g, [r], exceptional=(), cases=("at rest",), holds_p5=0.6, fails_p5=0.5, **more)[0]

    turned = {d: at(d).check.slope_change for d in (0.05, 0.06, 0.07, 0.08, 0.1, 0.14)}
    some = next(d for d, t in turned.items() if 0.1 < t < 0.3)
    far = next(d for d, t in turned.items() if t > 0.32)
    bent, straight = at(some).check, at(some, turn_iterated=1.0).check
    assert has(bent.notes, "judged_bent") and not has(straight.notes, "judged_bent")
    growth = next(n["growth"] for n in bent.notes if n.code == "judged_bent")
    assert growth > 1.02
    assert bent.margin.p5 == pytest.approx(straight.margin.p5 / growth)
    assert not has(at(0.14).check.notes, "judged_bent")
    refused = at(far).check
    assert (refused.verdict, refused.reason.code) == ("does not hold", "turns_too_far")


def test_the_rhythm_of_an_ascent_is_told_where_the_tie_in_answers_it():
    """With 10 m of rope the climber bounces within the rhythm of an ascent; the figures are told, and not where nothing is asked."""
    g = tree([(12.0, 0, 0, 3.0, 0.12, 0.12)], height=16, stem=0.5, top=0.3)
    r = configuration(g, "U01", "SRS canopy", distance=1.0)
    (told,) = [n for n in checked(g, [r])[0].check.notes if n.code == "ascent_amplified"]
    assert told["low"] < 0.95 < told["high"]
    assert told["light"] > told["heavy"] > 1.3
    assert not has(checked(g, [r], amplified_told=20.0)[0].check.notes, "ascent_amplified")
