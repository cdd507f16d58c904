"""From points to the wood graph, on limbs whose every dimension is known."""

import numpy as np
import pytest
from strategies import random_tree
from wood.clouds import FORK, POST, bark_points, make, tree_of

from treescan.errors import BadInput
from treescan.geometry import rotated_z
from treescan.wood.build import build_graph
from treescan.wood.quality.stem_figures import stem_figures


def test_tapered_post_comes_back_with_its_radii():
    """A tapered post: radius within 2 % everywhere, the true value inside the stated 90 % interval for at least 85 % of the nodes."""
    true = make(POST)
    g = build_graph(tree_of(bark_points(true)))
    node = np.flatnonzero((g.xyz[:, 2] > 0.1) & (g.xyz[:, 2] < 3.9))
    want = 0.15 - 0.05 * g.xyz[node, 2] / 4.0

    assert len(g.limbs) == 1
    assert np.max(np.abs(g.radius[node] / want - 1)) < 0.02
    assert np.mean(np.abs(g.radius[node] - want) < 1.645 * g.radius_sd[node]) >= 0.85
    assert np.all(np.hypot(g.xyz[node, 0], g.xyz[node, 1]) < 0.005)


def test_union_stands_where_the_axes_meet():
    """The union of a fork lies within 2 cm of the meeting of the axes, not out at the bark, with both diameters right."""
    g = build_graph(tree_of(bark_points(FORK)))

    assert len(g.unions) == 1
    assert np.linalg.norm(g.unions.place[0] - [0, 0, FORK.unions.place[0][2]]) < 0.02
    side = g.unions.laterals(0)[0]
    want = FORK.unions.laterals(0)[0]
    assert g.unions.arm_diameter[side] == pytest.approx(FORK.unions.arm_diameter[want], rel=0.05)
    assert g.unions.parent_diameter[0] == pytest.approx(FORK.unions.parent_diameter[0], rel=0.05)
    assert g.unions.arm_attachment[side] == pytest.approx(FORK.unions.arm_attachment[want], abs=np.radians(4))


def test_whorl_gives_every_limb_its_union():
    """Four limbs off one place are found as four, none of them on another."""
    whorl = make(POST, *(((0, 0, 0), (1.2 * np.cos(a), 1.2 * np.sin(a), 2.4), 0.03, 0.02, (0, 0.5)) for a in np.arange(4) * np.pi / 2))
    g = build_graph(tree_of(bark_points(whorl)))

    assert sum(len(g.unions.laterals(k)) for k in range(len(g.unions))) == 4
    assert np.all(g.limbs.parent[1:] == 0)
    assert np.all(np.abs(g.unions.place[:, 2] - whorl.unions.place[0, 2]) < 0.03)


def test_gap_is_bridged_along_the_limb_and_flagged():
    """A limb hidden for 30 cm goes on behind the gap; the bridge is flagged, what lies beyond is measured."""
    points = bark_points(FORK)
    d = points - [0.6, 0, 2.75]
    hidden = (np.abs(d[:, 0]) < 0.12) & (np.abs(d[:, 2]) < 0.35)
    g = build_graph(tree_of(points[~hidden]))
    limb = g.limbs.nodes[1]

    assert len(g.limbs) == 2
    assert g.xyz[limb[-1], 0] > 1.1
    assert not g.seen[limb].all() and g.seen[limb].any()
    middle = limb[np.argmin(np.linalg.norm(g.xyz[limb] - [0.6, 0, 2.75], axis=1))]
    assert not g.seen[middle]


def test_seen_from_one_side_says_so():
    """A post seen from one place: radius still within 5 %, arc half the round, read in steps of 15 degrees (two of them half filled)."""
    g = build_graph(tree_of(bark_points(make(POST), seen_from=(10, 0, 1.5))))
    node = np.flatnonzero((g.xyz[:, 2] > 0.3) & (g.xyz[:, 2] < 3.7))

    assert np.max(np.abs(g.radius[node] / (0.15 - 0.05 * g.xyz[node, 2] / 4.0) - 1)) < 0.05
    assert np.nanmax(np.degrees(g.arc[node])) <= 180 + 2 * 15 + 1e-6


@pytest.mark.parametrize("turn", [0.7, 2.9])
def test_turned_and_shifted_tree_gives_the_same_graph(turn):
    """Turning about the vertical and shifting moves the unions along, within 1.5 cm, and leaves diameters alone within 2 %."""
    points = bark_points(FORK)
    shift = np.array([40.0, -25.0, 3.0])
    a = build_graph(tree_of(points))
    b = build_graph(tree_of(rotated_z(points, turn) + shift, tuple(shift)))

    assert len(a.unions) == len(b.unions)
    assert np.max(np.linalg.norm(rotated_z(a.unions.place, turn) + shift - b.unions.place, axis=1)) < 0.015
    assert b.unions.parent_diameter == pytest.approx(a.unions.parent_diameter, rel=0.02)
    assert b.unions.arm_diameter == pytest.approx(a.unions.arm_diameter, rel=0.03)


def test_same_points_give_the_same_graph():
    """Two runs on the same points agree to the last bit."""
    tree = tree_of(bark_points(FORK))
    a, b = build_graph(tree), build_graph(tree)

    assert np.array_equal(a.xyz, b.xyz) and np.array_equal(a.radius, b.radius)


def test_random_tree_keeps_its_figures():
    """A whole tree: dbh within 5 mm, volume within 5 %, parents before children."""
    true = random_tree(4)
    tree = tree_of(bark_points(true))
    g = build_graph(tree)
    a, b = stem_figures(g, tree.beside.terrain), stem_figures(true, tree.beside.terrain)

    assert a.dbh == pytest.approx(b.dbh, abs=0.005)
    assert a.wood_volume == pytest.approx(b.wood_volume, rel=0.05)
    assert np.all(g.parent[1:] < np.arange(1, len(g)))


def test_handful_of_points_is_refused():
    """Too few points are bad input, said in one sentence."""
    with pytest.raises(BadInput, match="wood points"):
        build_graph(tree_of(np.random.default_rng(0).random((10, 3))))


def test_positions_shifted_against_each_other_are_brought_together():
    """Two positions 12 mm apart: the shell's thickness does not end up in the radius."""
    true = make(POST, ((0, 0, 0), (1.2, 0, 3.5), 0.06, 0.04, (0, 0.5)), ((0, 0, 0), (-0.3, 1.1, 3.8), 0.05, 0.03, (0, 0.6)))
    a = bark_points(true, 1, seen_from=(8, 3, 1.5))
    b = bark_points(true, 2, seen_from=(-6, 6, 1.5))
    c = bark_points(true, 3, seen_from=(0, -8, 1.5))
    xyz = np.concatenate([a + np.array([0.006, 0.002, 0.0]), b - np.array([0.006, -0.003, 0.002]), c])
    scan = np.repeat([1, 2, 3], [len(a), len(b), len(c)])
    plain = build_graph(tree_of(xyz))
    told = build_graph(tree_of(xyz, columns={"scan": scan}))

    def error(g):
        node = np.flatnonzero((g.limb == 0) & (g.xyz[:, 2] > 0.2) & (g.xyz[:, 2] < 1.7))
        return float(np.sqrt(np.mean((g.radius[node] - (0.15 - 0.05 * g.xyz[node, 2] / 4.0)) ** 2)))

    assert error(told) < 0.7 * error(plain)
    assert error(told) < 0.002


def test_positions_centimetres_apart_are_brought_together_and_the_limbs_followed_anew():
    """Three flights up to 16 cm off each other show every limb double: two side limbs are found, not seven, and the stem's radius holds within 0.5 %."""
    true = make(POST, ((0, 0, 0), (1.2, 0, 3.5), 0.06, 0.04, (0, 0.5)), ((0, 0, 0), (-0.3, 1.1, 3.8), 0.05, 0.03, (0, 0.6)))
    sides = [bark_points(true, k, seen_from=place) for k, place in enumerate([(8, 3, 6.0), (-6, 6, 6.0), (0, -8, 6.0)])]
    off = np.array([[0.08, 0.0, 0.02], [-0.08, 0.02, 0.0], [0.0, -0.06, -0.02]])
    xyz = np.concatenate([p + o for p, o in zip(sides, off, strict=True)])
    g = build_graph(tree_of(xyz, columns={"scan": np.repeat([1, 2, 3], [len(p) for p in sides])}))
    stem = np.flatnonzero((g.limb == 0) & (g.xyz[:, 2] > 0.3) & (g.xyz[:, 2] < 1.7))

    assert len(g.limbs) == 3
    assert np.median(np.abs(g.radius[stem] / (0.15 - 0.05 * g.xyz[stem, 2] / 4.0) - 1)) < 0.005


def test_limb_that_passes_another_keeps_its_own_parent():
    """A limb of a second stem touches the first stem on its way: what lies beyond the touch stays with the limb it belongs to."""
    true = make(
        ((0, 0, 0), (0, 0, 1.0), 0.25, 0.22, None),
        ((0, 0, 0), (-0.5, 0, 6.0), 0.14, 0.08, (0, 1)),
        ((0, 0, 0), (1.8, 0, 6.0), 0.14, 0.08, (0, 1)),
        ((0, 0, 0), (-2.0, 0.35, 4.6), 0.05, 0.03, (2, 0.4)),
    )
    g = build_graph(tree_of(bark_points(true)))
    place = np.array([-1.5, 0.285, 4.29])
    beyond = int(np.argmin(np.linalg.norm(g.xyz - place, axis=1)))
    way = g.xyz[g.path_to_base(beyond)]

    assert np.linalg.norm(g.xyz[beyond] - place) < 0.1
    assert np.min(np.linalg.norm(way - [0.72, 0.0, 3.0], axis=1)) < 0.15  # down the second stem


def test_diameter_steps_at_the_fork_not_above_it():
    """Two stems that stay fused above their fork: the stem's diameter holds up to the fork, within 2 %."""
    true = make(((0, 0, 0), (0, 0, 1.7), 0.26, 0.25, None), ((0, 0, 0), (0.55, 0, 5.0), 0.19, 0.12, (0, 1)), ((0, 0, 0), (-0.5, 0, 5.0), 0.18, 0.12, (0, 1)))
    g = build_graph(tree_of(bark_points(true)))
    stem = np.flatnonzero((g.limb == 0) & (g.xyz[:, 2] > 0.3) & (g.xyz[:, 2] < 1.5))

    assert np.max(np.abs(g.radius[stem] / (0.26 - 0.01 * g.xyz[stem, 2] / 1.7) - 1)) < 0.02
