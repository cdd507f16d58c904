"""The simulated scans of the accuracy benchmark: habits, stations, noise, leaves."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from made_up.grow import grow
from made_up.meshes import Bark
from made_up.scenes import simple_scan

from accuracy.possible import limbs_through_limbs
from treescan.cloud.point_cloud import PointCloud
from treescan.trees.beside import Beside, Terrain
from treescan.trees.single_tree import Tree
from treescan.wood.graph import WoodGraph


@dataclass(frozen=True)
class Case:
    """One simulated scan: `seed` grows the tree, `group` is its column of the table, `how` goes to `simple_scan`, `fresh` = drawn anew."""

    name: str
    seed: int
    group: str
    habit: str
    how: dict[str, Any] = field(default_factory=dict)
    fresh: bool = False


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


Rows = tuple[tuple[str, str, dict[str, Any]], ...]
POINTS = 300_000
"""Points off the ground where a case does not say."""

LEAF_OFF: Rows = (
    ("broad 3", "broadleaf", {"positions": 3}),
    ("broad 4 rough", "broadleaf", {"positions": 4, "bark": Bark(ellipse=0.08, rough=0.03, lobes=0.15), "dbh": 0.7, "height": 19.0, "points": 700_000}),
    ("broad 6", "broadleaf", {"positions": 6, "registration": 0.006, "points": 1_500_000}),
    ("conifer 3", "conifer", {"positions": 3, "height": 18.0, "dbh": 0.35}),
    ("conifer 4", "conifer", {"positions": 4, "registration": 0.0, "height": 14.0, "dbh": 0.28}),
    ("two stems 3", "codominant", {"positions": 3, "dbh": 0.5}),
    ("two stems 4 slope", "codominant", {"positions": 4, "slope": 0.35}),
    ("three stems 4", "three-stemmed", {"positions": 4}),
    ("leaning 4", "leaning", {"positions": 4, "registration": 0.008}),
    ("leaning 3 sparse", "leaning", {"positions": 3, "points": 300_000}),
    ("weeping 4", "weeping", {"positions": 4, "height": 12.0, "dbh": 0.5}),
    ("weeping 5", "weeping", {"positions": 5, "height": 14.0, "dbh": 0.45, "registration": 0.005}),
    ("pollard 3", "pollard", {"positions": 3, "height": 9.0, "dbh": 0.5}),
    ("broad 4 wind", "broadleaf", {"positions": 4, "wind": 0.01}),
    ("veteran 4", "veteran", {"positions": 4, "dbh": 0.9, "height": 16.0}),
    ("broad 4 reg 15", "broadleaf", {"positions": 4, "registration": 0.015}),
    ("crossed 4", "broadleaf", {"positions": 4, "neighbour": True, "points": 700_000}),
    ("broad 6 slope", "broadleaf", {"positions": 6, "slope": 0.5, "dbh": 0.6, "height": 17.0, "points": 2_000_000}),
)
LEAF_ON: Rows = (
    ("broad 4 leaf", "broadleaf", {"positions": 4, "leaf_on": True}),
    ("two stems 4 leaf", "codominant", {"positions": 4, "leaf_on": True}),
    ("conifer 4 leaf", "conifer", {"positions": 4, "leaf_on": True, "height": 16.0, "dbh": 0.32}),
    ("leaning 6 leaf", "leaning", {"positions": 6, "leaf_on": True, "points": 700_000}),
    ("pollard 4 leaf", "pollard", {"positions": 4, "leaf_on": True, "height": 9.0}),
    ("broad 5 ivy", "broadleaf", {"positions": 5, "leaf_on": True, "ivy_up_to": 4.0}),
)
ONE_SIDE: Rows = (
    ("broad 1", "broadleaf", {"positions": 1}),
    ("conifer 1", "conifer", {"positions": 1, "height": 14.0, "dbh": 0.3}),
    ("two stems 2", "codominant", {"positions": 2}),
    ("leaning 2", "leaning", {"positions": 2}),
)
WALKED: Rows = (
    ("broad walked", "broadleaf", {"mode": "walk", "positions": 2}),
    ("two stems walked", "codominant", {"mode": "walk", "positions": 2}),
    ("conifer walked", "conifer", {"mode": "walk", "positions": 2, "height": 14.0, "dbh": 0.35}),
)
DRONE_ROWS: Rows = (
    ("broad drone", "broadleaf", {"mode": "drone", "positions": 3}),
    ("two stems drone", "codominant", {"mode": "drone", "positions": 3}),
    ("leaning drone", "leaning", {"mode": "drone", "positions": 3}),
)
GROUPS = {"leaf-off": LEAF_OFF, "leaf-on": LEAF_ON, "one or two positions": ONE_SIDE, "walked": WALKED, "drone": DRONE_ROWS}


def cases(seed: int, groups: tuple[str, ...] = tuple(GROUPS)) -> list[Case]:
    """Every second tree is drawn from `seed`, the others are always the same, so that runs can be compared and cannot be tuned to."""
    out = []
    for group in groups:
        start = sum(len(GROUPS[g]) for g in list(GROUPS)[: list(GROUPS).index(group)])
        for i, (name, habit, how) in enumerate(GROUPS[group]):
            fixed = 1000 + 17 * i + 100 * list(GROUPS).index(group)
            fresh = (i + start) % 2 == 1
            out.append(Case(name, seed * 1009 + fixed if fresh else fixed, group, habit, how, fresh))
    return out


def possible(case: Case, most: int = 50) -> Case:
    """The case with the first seed, counted up from its own by a fixed step, whose tree has no limb that passes through another."""
    size = {name: case.how[name] for name in ("height", "dbh") if name in case.how}
    for again in range(most):
        seed = case.seed + again * 7_777_777
        if limbs_through_limbs(grow(seed, case.habit, **size).graph(case.how.get("thinnest", 0.01))) == 0:
            return replace(case, seed=seed)
    raise ValueError(f"{case.name}: no tree without limbs through limbs in {most} draws from {case.seed}")


def scan(case: Case) -> Scanned:
    """Grow and scan one case; a tree that could not stand is drawn again."""
    case = possible(case)
    cloud, truth, got = simple_scan(case.seed, case.habit, **{"points": POINTS, **case.how})
    return Scanned(case, cloud, truth, got.of("wood", "dead wood"))
