"""At an asked place only what the tree and its surroundings take is worked on, and the tree is the one of the whole scan."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from trees.scenes import bark, cell_keys, ground, labelled

from treescan.cloud.canonical import canonical
from treescan.cloud.point_cloud import Frame, PointCloud
from treescan.errors import BadInput
from treescan.trees import round_the_place
from treescan.trees.round_the_place import LEAST_CROWN, find_tree_at
from treescan.trees.settings import TreeSettings
from treescan.trees.single_tree import Tree, find_tree

SETTINGS = TreeSettings(neighbour_reach=8.0)
APART = 12.0


@pytest.fixture(scope="module")
def row() -> PointCloud:
    """Seven trees in a row, 12 m apart, the middle one at (0, 0), at map coordinates."""
    trees = [bark(20 + k, (APART * (k - 3), 0.0, 0.0), count=20_000, dbh=0.4) for k in range(7)]
    wide = ground(half=7.0) * [6.5, 1.0, 1.0]
    return replace(labelled(*trees, wide), frame=Frame(np.array([512_000.0, 5_400_000.0, 100.0])))


def cells(tree: Tree, of: PointCloud) -> set[tuple[int, int, int]]:
    return cell_keys(of.frame.to_map(np.vstack([tree.wood.xyz, tree.leaf.xyz])) - [512_000.0, 5_400_000.0, 100.0])


def test_the_tree_is_that_of_the_whole_scan(row):
    """Within 2 % of its cells, from less than half of the points, all of it as far inside as its surroundings are kept."""
    part, tree = find_tree_at(row, np.zeros(2), SETTINGS)
    whole = canonical(row)
    other = find_tree(whole, (row.frame.origin - whole.frame.origin)[:2], SETTINGS)
    a, b = cells(tree, part), cells(other, whole)

    assert len(part) < 0.5 * len(row)
    assert len(a & b) > 0.98 * len(a | b)
    own = np.vstack([tree.wood.xyz, tree.leaf.xyz])[:, 0]
    assert own.min() - part.xyz[:, 0].min() > SETTINGS.neighbour_reach
    assert part.xyz[:, 0].max() - own.max() > SETTINGS.neighbour_reach


def test_a_crown_wider_than_guessed_is_looked_at_again(row, monkeypatch):
    """A first guess of half a metre ends with as much round the tree as is to be kept."""
    monkeypatch.setattr(round_the_place, "LEAST_CROWN", 0.5)
    monkeypatch.setattr(round_the_place, "CROWN_OF_HEIGHT", 0.0)
    seen = []
    monkeypatch.setattr(round_the_place, "find_tree", lambda c, *rest: seen.append(len(c)) or find_tree(c, *rest))
    part, tree = find_tree_at(row, np.zeros(2), SETTINGS)
    own = np.vstack([tree.wood.xyz, tree.leaf.xyz])[:, 0]

    assert len(seen) == 2 and seen[0] < seen[1] == len(part) < len(row)
    assert own.min() - part.xyz[:, 0].min() > SETTINGS.neighbour_reach


def test_a_small_scan_is_worked_on_whole(row):
    """One tree with its ground: the same, to the bit, as without a place."""
    near = row.where(np.abs(row.xyz[:, :2]).max(axis=1) < LEAST_CROWN + 2.0)
    part, tree = find_tree_at(near, np.zeros(2), SETTINGS)
    whole = canonical(near)

    assert (part.xyz == whole.xyz).all()
    assert (tree.wood.xyz == find_tree(whole, None, SETTINGS).wood.xyz).all()


def test_a_place_without_a_tree_is_told_from_the_whole_scan(row):
    """The nearest tree is named, although it stands beyond the part that was looked at first."""
    with pytest.raises(BadInput, match=r"no stem within .* m of the asked place.*nearest tree stands at 5\d{5}\.\d, 5\d{6}\.\d"):
        find_tree_at(row, np.array([0.5 * APART, 0.0]), SETTINGS)
