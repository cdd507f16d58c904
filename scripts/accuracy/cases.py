"""The simulated scans of the accuracy benchmark: habits, stations, noise, leaves."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from made_up.meshes import Bark
from made_up.scenes import simple_scan

from treescan.cloud.point_cloud import PointCloud
from treescan.trees.beside import Beside, Terrain
from treescan.trees.single_tree import Tree
from treescan.wood.graph import WoodGraph


@dataclass(frozen=True)
class Case:
    """One simulated scan: `seed` grows the tree, `group` is the table row it counts in, `how` goes to `simple_scan`."""

    name: str
    seed: int
    group: str
    habit: str
    how: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Scanned:
    """A scan with its truth: `wood` is True for points that hit the asked tree's wood."""

    case: Case
    cloud: PointCloud
    truth: WoodGraph
    wood: np.ndarray

    def cut_by_truth(self) -> Tree:
        """The tree as a perfect separation would hand it over."""
        foot = self.truth.xyz[0]
        empty = PointCloud(np.zeros((0, 3)))
        return Tree(self.cloud.where(self.wood), empty, foot.copy(), Beside(Terrain.flat(float(foot[2]), foot)))


LEAF_OFF: tuple[tuple[str, str, dict[str, Any]], ...] = (
    ("broad 3", "broadleaf", {"positions": 3}),
    ("broad 4 rough", "broadleaf", {"positions": 4, "bark": Bark(ellipse=0.08, rough=0.03, lobes=0.15), "dbh": 0.7, "height": 19.0}),
    ("broad 6", "broadleaf", {"positions": 6, "registration": 0.006, "points": 1_500_000}),
    ("conifer 3", "conifer", {"positions": 3, "height": 18.0, "dbh": 0.35}),
    ("conifer 4", "conifer", {"positions": 4, "registration": 0.0, "height": 14.0, "dbh": 0.28}),
    ("two stems 3", "codominant", {"positions": 3, "dbh": 0.5}),
    ("two stems 4 slope", "codominant", {"positions": 4, "slope": 0.35}),
    ("leaning 4", "leaning", {"positions": 4, "registration": 0.008}),
    ("weeping 4", "weeping", {"positions": 4, "height": 12.0, "dbh": 0.5}),
    ("pollard 3", "pollard", {"positions": 3, "height": 9.0, "dbh": 0.5}),
    ("broad 4 wind", "broadleaf", {"positions": 4, "wind": 0.01}),
    ("broad 4 reg 15", "broadleaf", {"positions": 4, "registration": 0.015}),
    ("leaning 3 sparse", "leaning", {"positions": 3, "points": 300_000}),
    ("broad 6 slope", "broadleaf", {"positions": 6, "slope": 0.5, "dbh": 0.6, "height": 17.0}),
    ("crossed 4", "broadleaf", {"positions": 4, "neighbour": True}),
)
LEAF_ON: tuple[tuple[str, str, dict[str, Any]], ...] = (
    ("broad 4 leaf", "broadleaf", {"positions": 4, "leaf_on": True}),
    ("two stems 4 leaf", "codominant", {"positions": 4, "leaf_on": True}),
    ("conifer 4 leaf", "conifer", {"positions": 4, "leaf_on": True, "height": 16.0, "dbh": 0.32}),
    ("leaning 6 leaf", "leaning", {"positions": 6, "leaf_on": True}),
    ("pollard 4 leaf", "pollard", {"positions": 4, "leaf_on": True, "height": 9.0}),
)
ONE_SIDE: tuple[tuple[str, str, dict[str, Any]], ...] = (
    ("broad 1", "broadleaf", {"positions": 1}),
    ("conifer 1", "conifer", {"positions": 1, "height": 14.0, "dbh": 0.3}),
    ("two stems 2", "codominant", {"positions": 2}),
    ("leaning 2", "leaning", {"positions": 2}),
)
WALKED: tuple[tuple[str, str, dict[str, Any]], ...] = (
    ("broad walked", "broadleaf", {"mode": "walk", "positions": 2}),
    ("two stems walked", "codominant", {"mode": "walk", "positions": 2}),
    ("conifer walked", "conifer", {"mode": "walk", "positions": 2, "height": 14.0, "dbh": 0.35}),
)
DRONE: tuple[tuple[str, str, dict[str, Any]], ...] = (
    ("broad drone", "broadleaf", {"mode": "drone", "positions": 3, "points": 400_000}),
    ("two stems drone", "codominant", {"mode": "drone", "positions": 3, "points": 400_000}),
    ("leaning drone", "leaning", {"mode": "drone", "positions": 3, "points": 400_000}),
)
GROUPS = {"leaf-off": LEAF_OFF, "leaf-on": LEAF_ON, "one or two positions": ONE_SIDE, "walked": WALKED, "drone": DRONE}


def cases(seed: int, groups: tuple[str, ...] = tuple(GROUPS)) -> list[Case]:
    """Every second tree is drawn from `seed`, the others are always the same, so that runs can be compared and cannot be tuned to."""
    out = []
    for group in groups:
        for i, (name, habit, how) in enumerate(GROUPS[group]):
            fixed = 1000 + 17 * i + 100 * list(GROUPS).index(group)
            out.append(Case(name, fixed if i % 2 == 0 else seed * 1009 + fixed, group, habit, how))
    return out


def scan(case: Case) -> Scanned:
    """Grow and scan one case."""
    cloud, truth, got = simple_scan(case.seed, case.habit, **case.how)
    return Scanned(case, cloud, truth, got.of("wood", "dead wood"))
