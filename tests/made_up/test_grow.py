"""Made-up trees: what the accuracy tests and the sample scans take for true must be true."""

from __future__ import annotations

import numpy as np
import pytest
from made_up.grow import grow, grown
from made_up.grown_tree import GrownTree, broken
from made_up.habits import HABITS


def unions_of(tree: GrownTree) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Parent diameter at each fork of living wood, sum of squares above it, and count of children (past the flare and the collar)."""
    start: dict[int, list[int]] = {}
    for i in range(1, len(tree)):
        start.setdefault(int(tree.parent[i]), []).append(i)
    d, area, count = [], [], []
    for node, kids in start.items():
        if len(kids) < 2 or any(tree.dead[k] for k in kids) or tree.radius[node] < 0.006:
            continue
        if tree.xyz[node, 2] - tree.xyz[0, 2] < 2.5:
            continue
        above = 0.0
        for k in kids:
            own = tree.axis[k] == tree.axis[node]
            out, length = k, 0.0
            # leave the collar behind: ten radii along the limb's own axis, as far as it carries no lateral of its own
            while not own and length < 10 * tree.radius[k] and len(start.get(out, [])) == 1 and tree.axis[start[out][0]] == tree.axis[k]:
                length += float(np.linalg.norm(tree.xyz[start[out][0]] - tree.xyz[out]))
                out = start[out][0]
            above += float(tree.segment_radius[out] ** 2)
        d.append(2 * tree.radius[node])
        area.append(above / tree.radius[node] ** 2)
        count.append(len(kids))
    return np.array(d), np.array(area), np.array(count)


@pytest.mark.parametrize("habit", ["broadleaf", "codominant", "leaning", "weeping", "conifer"])
def test_unions_keep_the_area_of_the_wood(habit: str) -> None:
    """The limbs above a union have together the cross-section of the wood below it, within Leonardo's rule and its scatter."""
    ratios = np.concatenate([unions_of(grown(seed, habit))[1] for seed in (1, 2, 3)])

    assert len(ratios) > 300
    assert 0.85 < np.median(ratios) < 1.1
    assert np.percentile(ratios, 5) > 0.6 and np.percentile(ratios, 95) < 1.35


@pytest.mark.parametrize("habit", list(HABITS))
def test_wood_only_gets_thinner_upwards(habit: str) -> None:
    """No piece is thicker than the one that carries it."""
    tree = grown(1, habit)

    assert np.all(tree.segment_radius[1:] <= tree.radius[tree.parent[1:]] + 1e-12)
    assert np.all(tree.radius > 0)


@pytest.mark.parametrize("habit", list(HABITS))
def test_a_tree_is_as_asked(habit: str) -> None:
    """Height is exact, the diameter at breast height within 12 % of the one asked, twigs end near 5 mm, nothing grows below ground."""
    tree = grow(5, habit, height=14.0, dbh=0.5)
    at = np.argmin(np.abs(tree.xyz[:, 2] - 1.3) + 10 * (tree.axis > 1))

    assert abs(tree.xyz[:, 2].max() - 14.0) < 1e-9
    assert abs(2 * tree.radius[at] - 0.5) < 0.06
    assert 0.002 < 2 * np.min(tree.radius) < 0.005
    assert tree.xyz[1:, 2].min() > 0.0


@pytest.mark.parametrize("habit", list(HABITS))
def test_nodes_stand_a_few_centimetres_apart(habit: str) -> None:
    """Nodes are near each other compared with what a scan resolves, and every parent comes before its child."""
    tree = grown(1, habit)
    length = np.linalg.norm(tree.xyz[1:] - tree.xyz[tree.parent[1:]], axis=1)

    assert np.median(length) < 0.1 and length.max() < 0.25
    assert np.all(tree.parent[1:] < np.arange(1, len(tree)))


def test_same_seed_same_tree_other_seed_other_tree() -> None:
    """A tree is drawn from its seed alone."""
    one, same, other = grow(7, height=10.0, dbh=0.3), grow(7, height=10.0, dbh=0.3), grow(8, height=10.0, dbh=0.3)

    assert np.array_equal(one.xyz, same.xyz) and np.array_equal(one.radius, same.radius)
    assert len(one) != len(other) or not np.array_equal(one.xyz, other.xyz)


def test_habits_differ_as_their_names_say() -> None:
    """A conifer has whorls and one stem, a codominant tree two like stems, a leaning one leans, a weeping one hangs, a pollard has one head."""
    conifer, two, leaning, weeping, pollard, broad = (grown(2, h) for h in ("conifer", "codominant", "leaning", "weeping", "pollard", "broadleaf"))

    def at_one_node(tree: GrownTree) -> int:
        first = np.nonzero((tree.order == 1) & (tree.axis != tree.axis[tree.parent]) & ~tree.dead)[0]
        return int(np.unique(tree.parent[first], return_counts=True)[1].max())

    assert at_one_node(conifer) >= 4 > at_one_node(broad)
    leaders = [two.radius[two.axis == a].max() for a in np.unique(two.axis[two.order == 0]) if a > 1]
    assert len(leaders) == 2 and min(leaders) / max(leaders) > 0.6
    up = leaning.xyz[np.argmin(np.abs(leaning.xyz[:, 2] - 2) + 10 * (leaning.axis > 1))] - leaning.xyz[0]
    assert 12 < np.degrees(np.arctan2(np.hypot(*up[:2]), up[2])) < 28

    def falling(tree: GrownTree) -> float:
        twig = np.nonzero(tree.segment_radius[1:] < 0.006)[0] + 1
        d = tree.xyz[twig] - tree.xyz[tree.parent[twig]]
        return float(np.mean(d[:, 2] < 0))

    assert falling(weeping) > 0.6
    assert falling(broad) < 0.4
    heads = np.unique(pollard.parent[(pollard.order == 0) & (pollard.axis != pollard.axis[pollard.parent]) & (pollard.axis > 1)], return_counts=True)[
        1
    ]
    assert heads.max() >= 7


def test_a_snapped_limb_leaves_a_dead_stub() -> None:
    """Breaking a limb keeps its foot, marks it dead and takes away all it carried."""
    tree = grown(3, "conifer")
    limb = int(tree.axis[np.nonzero((tree.order == 1) & ~tree.dead)[0][500]])

    cut = broken(tree, np.array([limb]), 0.4)

    left = cut.axis == limb
    assert cut.dead[left].all() and 0 < left.sum() < (tree.axis == limb).sum()
    assert np.linalg.norm(cut.xyz[left] - cut.xyz[cut.parent[np.argmax(left)]], axis=1).max() <= 0.4 + 1e-9
    gone = np.setdiff1d(tree.axis, cut.axis)
    assert len(gone) > 0 and np.all(cut.parent[1:] < np.arange(1, len(cut)))


def test_the_graph_holds_the_wood_down_to_the_diameter_asked() -> None:
    """`graph` keeps whole limbs from the ground up: parents exact, radii exact, nothing thinner than asked."""
    tree = grown(1)
    graph = tree.graph(0.03)

    assert 2 * graph.segment_radius[1:].min() >= 0.03
    assert len(graph) == tree.kept(0.03).sum()
    assert np.array_equal(graph.xyz, tree.xyz[tree.kept(0.03)])
    assert len(graph.unions) > 20
