"""Where do the weights of wood against leaf come from? Fitted here, on made-up scans that know what every point is.

    python scripts/fit_wood_and_leaf.py         prints the constant and the three weights of `treescan.trees.material.wood_and_leaf.WEIGHT`

Scans in leaf: broadleaf, conifer, weeping, codominant, two trees of each, four tripods, 300,000 points. A voxel is wood when most of
its points hit wood of 2 cm and more, leaf when most of them hit leaves or twigs under 1 cm; what lies between takes no part. Wood and
leaf count alike in sum for every scan, whatever their numbers. The logit is fitted by Newton's method with a slight pull to zero; the
scans are the same in every run, so the weights can be had again to the last digit that is shipped.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).parent))

from made_up.grow import grow
from made_up.scenes import simple_scan

from treescan.trees.material.wood_and_leaf import WEIGHT, signs_of_wood, way_beyond
from treescan.trees.segmented_tree import segment_tree

Floats = NDArray[np.float64]
SCANS = tuple((habit, seed) for habit in ("broadleaf", "conifer", "weeping", "codominant") for seed in (501, 502))
POINTS = 300_000
THICK, FINE = 0.02, 0.01
"""Wood from this diameter is wood, below the second it counts as leaf [m]."""
PULL = 1e-3
"""Weight of the pull to zero."""


def sample(habit: str, seed: int) -> tuple[Floats, Floats, Floats]:
    """Signs (n, 3), truth (n,) 0 or 1 and weight (n,) of the voxels of one made-up scan in leaf."""
    height, dbh = (16.0, 0.32) if habit == "conifer" else (13.0, 0.4)
    cloud, _, got = simple_scan(seed, habit, positions=4, points=POINTS, leaf_on=True, height=height, dbh=dbh)
    thickness = 2 * grow(seed, habit, height=height, dbh=dbh).segment_radius
    found = segment_tree(cloud, at=(0.0, 0.0))
    fine, member = found.fine, found.member
    of = fine.voxels.of_point
    part, node = got.of("wood", "dead wood")[fine.points], got.node[fine.points]
    thick = np.where(part & (node >= 0), thickness[np.maximum(node, 0)], 0.0)
    count = len(fine.voxels.centre)
    total = np.bincount(of, minlength=count)
    wood = np.bincount(of, weights=thick >= THICK, minlength=count) / total
    leaf = np.bincount(of, weights=thick < FINE, minlength=count) / total
    pick = member & (fine.paths.previous >= 0) & ((wood > 0.5) | (leaf > 0.5))
    signs = signs_of_wood(fine.shape, way_beyond(fine.voxels.centre, fine.graph, fine.paths, member))[pick]
    truth = (wood > 0.5)[pick].astype(float)
    weight = np.where(truth > 0, 0.5 / max(truth.sum(), 1), 0.5 / max((1 - truth).sum(), 1))
    return signs, truth, weight


def logistic(signs: Floats, truth: Floats, weight: Floats) -> Floats:
    """Constant and weights that make the truth most likely."""
    x = np.column_stack([np.ones(len(signs)), signs])
    w = np.zeros(x.shape[1])
    for _ in range(50):
        p = 1.0 / (1.0 + np.exp(-x @ w))
        slope = x.T @ (weight * (truth - p)) - PULL * w * (np.arange(len(w)) > 0)
        bend = (x * (weight * p * (1 - p))[:, None]).T @ x + PULL * np.diag(np.arange(len(w)) > 0)
        step = np.linalg.solve(bend, slope)
        w = w + step
        if np.abs(step).max() < 1e-9:
            break
    return w


def main() -> None:
    """Fit and print, with how well the weights tell wood from leaf voxel by voxel."""
    parts = [sample(*scan) for scan in SCANS]
    signs, truth, weight = (np.concatenate(column) for column in zip(*parts, strict=True))
    w = logistic(signs, truth, weight)
    shown = tuple(float(f"{v:.3g}") for v in w)
    print(f"WEIGHT = {shown}")
    for name, values in (("fitted", shown), ("shipped", WEIGHT)):
        for (habit, seed), (s, t, _) in zip(SCANS, parts, strict=True):
            right = (values[0] + s @ np.array(values[1:]) > np.log(0.4 / 0.6)) == (t > 0)
            print(f"{name:8s} {habit:12s} {seed}  wood {100 * np.mean(right[t > 0]):5.1f} %  leaf {100 * np.mean(right[t < 1]):5.1f} % right before smoothing")


if __name__ == "__main__":
    main()
