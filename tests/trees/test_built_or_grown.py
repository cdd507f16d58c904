"""What is built and what is grown: posts with arms, straight limbs, lines that end in a crown, stems of one stool."""

from __future__ import annotations

import numpy as np
import pytest

from treescan.arrays import Floats
from treescan.trees.segmentation.multi_stem import join_stems
from treescan.trees.segmentation.stems import Stem
from treescan.trees.surroundings.posts import is_post
from treescan.trees.surroundings.solids import find_solids

CELL = 0.08


def line(start: tuple, end: tuple, step: float = CELL, sag: float = 0.0) -> Floats:
    """Voxel centres along a line that sags."""
    a, b = np.array(start, float), np.array(end, float)
    f = np.linspace(0, 1, max(2, int(np.linalg.norm(b - a) / step)))[:, None]
    out = a + f * (b - a)
    out[:, 2] -= 4 * sag * (f * (1 - f))[:, 0]
    return out


def tube(start: tuple, end: tuple, radius: float) -> Floats:
    """Voxel centres on a limb's bark."""
    middle = line(start, end)
    way = np.array(end, float) - np.array(start, float)
    way /= np.linalg.norm(way)
    side = np.cross(way, [0.0, 0.0, 1.0] if abs(way[2]) < 0.9 else [1.0, 0.0, 0.0])
    side /= np.linalg.norm(side)
    turn = np.arange(0, 2 * np.pi, min(1.5, CELL / radius))
    ring = radius * (np.cos(turn)[:, None] * side + np.sin(turn)[:, None] * np.cross(way, side))
    return (middle[:, None] + ring[None]).reshape(-1, 3)


def crown(middle: tuple, seed: int = 0, limbs: int = 26) -> Floats:
    """A stem with limbs to all sides."""
    rng = np.random.default_rng(seed)
    x, y, _ = middle
    parts = [tube((x, y, 0), (x, y, 9), 0.18)]
    for z in rng.uniform(2.5, 8.5, limbs):
        turn, rise = rng.uniform(0, 2 * np.pi), rng.uniform(0.2, 0.9)
        way = np.array([np.cos(turn), np.sin(turn), rise])
        start = np.array([x, y, z])
        bend = start + 1.0 * way
        end = bend + 1.4 * (way + rng.normal(0, 0.3, 3))
        parts += [tube(tuple(start), tuple(bend), 0.05), tube(tuple(bend), tuple(end), 0.03)]
    return np.vstack(parts)


def jittered(*parts: Floats) -> Floats:
    """All parts a little off, as means of points are."""
    xyz = np.vstack(parts)
    return xyz + np.random.default_rng(3).normal(0, 0.004, xyz.shape)


def found(*parts: Floats):
    """Built things among the parts, the ground at 0."""
    xyz = jittered(*parts)
    return find_solids(xyz, xyz[:, 2], CELL, 0.02), xyz


def test_a_straight_bare_limb_of_a_tree_is_no_wire_and_is_told():
    """Six metres, straight, bare, level: one end in the crown it leaves, the other in the air."""
    limb = line((0.18, 0, 6.0), (6.6, 0.0, 6.3))
    solids, _ = found(crown((0, 0, 0)), limb)
    assert not solids.wire.any()
    assert len(solids.line_like) == 1


def test_two_limbs_in_line_are_no_wire():
    """Two metres bare, the rest of the line only where other limbs cross it."""
    crossing = [tube((x, -0.6, 5.8), (x, 0.6, 6.2), 0.03) for x in np.arange(3.6, 8.0, 0.45)]
    solids, _ = found(crown((0, 0, 0)), line((0.8, 0, 6.0), (3.0, 0, 6.0)), *crossing)
    assert not solids.wire.any()


@pytest.mark.parametrize("y", [0.25, 3.5])
def test_a_wire_past_a_crown_or_through_it_is_a_wire(y):
    wire = line((-11, y, 6.6), (11, y, 6.6), sag=0.5)
    solids, xyz = found(crown((0, 0, 0)), wire)
    on = np.abs(xyz[:, 1] - y) < 0.02
    assert np.count_nonzero(solids.wire[on & (np.abs(xyz[:, 0]) > 4)]) > 0.9 * np.count_nonzero(on & (np.abs(xyz[:, 0]) > 4))


def test_a_short_wire_between_two_poles_is_a_wire():
    poles = [tube((x, 4.0, 0), (x, 4.0, 7), 0.1) for x in (-4.0, 4.0)]
    solids, xyz = found(crown((0, 0, 0)), *poles, line((-4, 4, 6.8), (4, 4, 6.8), sag=0.15))
    assert np.count_nonzero(solids.wire & (np.abs(xyz[:, 1] - 4) < 0.1) & (np.abs(xyz[:, 0]) < 3.5)) > 60


def test_a_pole_with_cross_arm_and_conductors_is_a_post():
    pole = jittered(tube((0, 0, 0), (0, 0, 8), 0.12), tube((-1.1, 0, 7.7), (1.1, 0, 7.7), 0.04), line((-1, 0, 7.8), (-1, 9, 7.8), sag=0.1),
                    line((1, 0, 7.8), (1, 9, 7.8), sag=0.1))  # fmt: skip
    assert is_post(pole, pole[:, 2])


@pytest.mark.parametrize("seed", range(4))
def test_a_tree_is_no_post(seed):
    """Nor one that carries its crown in the upper third only, nor a pollard."""
    tree = jittered(crown((0, 0, 0), seed))
    high = tree[(tree[:, 2] > 6.0) | (np.hypot(tree[:, 0], tree[:, 1]) < 0.25)]
    pollard = tree[(tree[:, 2] > 7.2) | (np.hypot(tree[:, 0], tree[:, 1]) < 0.25)]
    for xyz in (tree, high, pollard):
        assert not is_post(xyz, xyz[:, 2])


def stem(x: float, y: float, lean: tuple[float, float], dbh: float = 0.3) -> Stem:
    """A stem at the ground."""
    return Stem(np.array([x, y, 0.0]), np.array(lean), dbh, 6.0, 10)


def test_stems_that_lean_apart_from_one_stool_are_one_tree():
    """Three feet 0.7 m from each other with bare ground between; upright neighbours as close, and stems that lean together, are trees of their own."""
    rng = np.random.default_rng(0)
    xyz = rng.uniform(-3, 3, (200, 3))
    turn = np.array([0.1, 2.2, 4.3])
    way = np.column_stack([np.cos(turn), np.sin(turn)])
    clump = tuple(stem(*(0.4 * w), tuple(0.15 * w)) for w in way)
    upright = tuple(stem(*(0.4 * w), (0.0, 0.0)) for w in way)
    leaning = tuple(stem(*(0.4 * w), (0.2, 0.0)) for w in way)
    assert [len(t) for t in join_stems(clump, xyz, xyz[:, 2], 0.01)] == [3]
    for apart in (upright, leaning):
        assert [len(t) for t in join_stems(apart, xyz, xyz[:, 2], 0.01)] == [1, 1, 1]


@pytest.mark.parametrize(("lean", "trees"), [(0.15, [3]), (0.08, [1, 1, 1])])
def test_the_farther_stems_lean_apart_the_wider_their_stool_may_be(lean, trees):
    """Feet 1.1 m from each other: stems of one stool when they lean apart by a quarter of their height, not by a seventh."""
    turn = np.array([0.1, 2.2, 4.3])
    way = np.column_stack([np.cos(turn), np.sin(turn)])
    xyz = np.random.default_rng(0).uniform(-3, 3, (200, 3))
    stems = tuple(stem(*(0.64 * w), tuple(lean * w)) for w in way)
    assert [len(t) for t in join_stems(stems, xyz, xyz[:, 2], 0.01)] == trees
