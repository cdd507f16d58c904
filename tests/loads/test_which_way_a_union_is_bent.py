"""Forks opened, closed and bent sideways, hand-made."""

import numpy as np
import pytest
from loads.stick_trees import PLAIN, checked, configuration, tree
from strategies import alone

from treescan.loads.rope.contacts import at_node
from treescan.loads.sections.union_direction import bent_which_way
from treescan.loads.settings import LoadSettings
from treescan.loads.statics.load_path import LegLoads, load_path, used
from treescan.loads.statics.structural_model import whole_tree

EQUAL = [(6.0, 0, 60, 4.0, 0.24, 0.20)]
"""A limb as thick as the stem goes on above it, in the plane of x and z."""


def at_the_fork(pull, limbs=EQUAL, **more):
    """Bending share of the strength at the first counted section of the limb under one force (3,), and the structural model."""
    g = tree(limbs, height=12, stem=0.26, top=0.20, **more)
    state = whole_tree(g, alone(g), PLAIN, LoadSettings(self_weight=False))
    line = next(n for i, n in enumerate(g.limbs.nodes) if i)
    first = next(int(i) for i in line if state.sections.counted[i])
    contact = at_node(g, int(line[-1]), g.xyz[line[-1]])
    path = load_path(state, [contact])
    half = np.asarray(pull, float)[None, None] / 2
    use = used(path, LegLoads(np.stack([[contact.point, contact.point]]), np.repeat(half, 2, axis=1)))
    return use[np.searchsorted(path.node, first)], state, first, contact.point


def square_to(state, first):
    """Unit vector square to the limb in the plane of the fork, outward and down."""
    t = state.sections.axis[first]
    return np.array([t[2], 0.0, -t[0]])


def test_a_fork_bears_sideways_what_small_specimens_bore():
    """309 N sideways over 368 N up and down (tree lab web note 2026): the same force uses 368 / 309 as much. Closing gets no credit."""
    _, state, first, _ = at_the_fork([0.0, 0, 0])
    out = 800 * square_to(state, first)
    opened, closed, beside = (at_the_fork(f)[0] for f in (out, -out, [0.0, 800.0, 0.0]))
    assert closed == pytest.approx(opened, rel=1e-9)
    assert beside / opened == pytest.approx(368 / 309, rel=1e-3)


def test_between_the_planes_it_goes_over_along_an_ellipse():
    """A force 30 degrees from the plane of the fork: sqrt(cos^2 + (sin / 0.84)^2) of one in it."""
    _, state, first, _ = at_the_fork([0.0, 0, 0])
    out = 800 * square_to(state, first)
    turned = np.cos(np.pi / 6) * out + np.sin(np.pi / 6) * np.array([0.0, 800.0, 0.0])
    assert at_the_fork(turned)[0] / at_the_fork(out)[0] == pytest.approx(np.hypot(np.cos(np.pi / 6), 0.5 / 0.84), rel=1e-3)


def test_an_ordinary_union_is_as_strong_sideways():
    """Up to an aspect ratio of a half nothing is taken off for direction."""
    thin = [(6.0, 0, 60, 4.0, 0.09, 0.06)]
    _, state, first, _ = at_the_fork([0.0, 0, 0], thin)
    assert at_the_fork([0.0, 80.0, 0.0], thin)[0] == pytest.approx(at_the_fork(80 * square_to(state, first), thin)[0], rel=1e-9)


@pytest.mark.parametrize(("pull", "way"), [([1.0, 0, -0.3], "opens"), ([-1.0, 0, 0.3], "closes"), ([0.05, 1.0, 0], "bends sideways")])
def test_the_way_is_named(pull, way):
    """By lever x force at the union: away from the stem's top opens, toward it closes."""
    _, state, first, tip = at_the_fork([0.0, 0, 0])
    moment = np.cross(tip - state.sections.point[first], pull)
    assert bent_which_way(moment, state.sections.axis[first], state.sections.fork_normal[first]) == way


def test_arms_side_by_side_count_as_bent_sideways_all_round():
    """Two stems 2 degrees apart have no plane anybody could name: the weaker figure holds for every direction."""
    close = [(6.0, 0, 88, 4.0, 0.24, 0.20)]
    apart, along = (at_the_fork(f, close)[0] for f in ([0.0, 800.0, 0.0], [800.0, 0.0, 0.0]))
    assert apart == pytest.approx(along, rel=0.01)
    _, state, first, _ = at_the_fork([0.0, 0, 0], close)
    assert bent_which_way(np.array([0.0, 1.0, 0.0]), state.sections.axis[first], state.sections.fork_normal[first]) == "bends"


def test_a_climber_reads_which_way_the_fork_is_bent():
    """Told where a nearly equal fork governs, and nowhere else."""
    equal = tree(EQUAL, height=12, stem=0.26, top=0.20)
    (check,) = checked(equal, [configuration(equal, "U01", "SRS canopy")])
    told = [n for n in check.check.notes if n.code == "union_bent"]
    governs = equal.parent[check.check.governing] == equal.unions.node[0]
    assert len(told) == int(governs)
    thin = tree([(6.0, 0, 60, 4.0, 0.09, 0.06)], height=12, stem=0.26, top=0.20)
    (other,) = checked(thin, [configuration(thin, "U01", "SRS canopy")])
    assert not [n for n in other.check.notes if n.code == "union_bent"]
