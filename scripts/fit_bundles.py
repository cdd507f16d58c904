"""Where do the weights that tell a bundle of twigs from a limb come from? Fitted here, on made-up scans with known truth.

    python scripts/fit_bundles.py         prints the constant and the four weights of `treescan.wood.topology.allometry.BUNDLE`

Eight scans, six leaf-off, of trees and tripods that the accuracy benchmark does not use. A measured piece of 4 cm and more is a bundle when
its axis lies more than 3 cm outside true wood or when it reads more than 1.4 times too thick; it is a limb when its axis lies in the wood and
it reads within a fifth; what lies between takes no part. Every piece counts alike: the fitted chance is a chance.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).parent))

from accuracy.compare import nearest_segment
from fit_wood_and_leaf import logistic
from made_up.scenes import simple_scan

from treescan.trees.single_tree import find_tree
from treescan.wood.build import measured_limbs
from treescan.wood.topology.allometry import BUNDLE, area_relation, carried_length, signs_of_bundle, well_measured
from treescan.wood.topology.insertions import insertions

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Example:
    """One made-up scan: `how` goes to `simple_scan`."""

    habit: str
    seed: int
    how: dict[str, Any] = field(default_factory=dict)


SCANS = (
    Example("broadleaf", 601, {"positions": 3}),
    Example("broadleaf", 602, {"positions": 4, "registration": 0.015}),
    Example("weeping", 603, {"positions": 4}),
    Example("leaning", 604, {"positions": 3}),
    Example("veteran", 605, {"positions": 4, "dbh": 0.9, "height": 16.0}),
    Example("conifer", 606, {"positions": 3, "height": 18.0, "dbh": 0.35}),
    Example("codominant", 607, {"positions": 4, "leaf_on": True}),
    Example("broadleaf", 608, {"positions": 4, "leaf_on": True}),
)
POINTS = 300_000
LEAST = 0.04
"""Pieces from this diameter take part [m]."""


def sample(example: Example) -> tuple[Floats, Floats, Floats]:
    """Signs (n, 4), truth (n,) 1 = bundle, and weight (n,) of the pieces of one made-up scan."""
    cloud, truth, _ = simple_scan(example.seed, example.habit, points=POINTS, **example.how)
    axes = measured_limbs(find_tree(cloud, at=truth.xyz[0, :2])).axes
    carried = carried_length(axes, insertions(axes))
    relation = area_relation(axes.r, carried, well_measured(axes))
    if relation is None:
        raise ValueError(f"{example}: too few well measured pieces")
    signs = signs_of_bundle(axes, np.log(axes.r / relation.radius(carried)))
    node, off, share = nearest_segment(truth, axes.v)
    s = truth.segments
    true = s.r_start[node - 1] + share * (s.r_end - s.r_start)[node - 1]
    bundle = (off > true + 0.03) | (axes.r > 1.4 * true)
    limb = (off < 0.5 * true + 0.02) & (np.abs(axes.r / true - 1) < 0.2)
    pick = (2 * axes.r >= LEAST) & (bundle | limb)
    return signs[pick], bundle[pick].astype(float), np.full(pick.sum(), 0.01)


def main() -> None:
    """Fit and print, with how many bundles and limbs the weights take for bundles."""
    parts = [sample(example) for example in SCANS]
    w = logistic(*(np.concatenate(column) for column in zip(*parts, strict=True)))
    shown = tuple(float(f"{v:.3g}") for v in w)
    print(f"BUNDLE = {shown}")
    for name, values in (("fitted", shown), ("shipped", BUNDLE)):
        for example, (signs, truth, _) in zip(SCANS, parts, strict=True):
            called = values[0] + signs @ np.array(values[1:]) > 0
            print(f"{name:8s} {example.habit:12s} {example.seed}  bundles {100 * np.mean(called[truth > 0]):5.1f} %  limbs {100 * np.mean(called[truth < 1]):5.2f} % called bundles")


if __name__ == "__main__":
    main()
