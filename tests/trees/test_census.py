"""Trees of a city: each found once whatever part it lies in, sorted by what its scan is fit for."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scenes import bark, ground

from treescan.cloud.point_cloud import PointCloud
from treescan.trees.census.cells import HALO, SMALLEST, Cell, cells_of
from treescan.trees.census.look_through import FoundTree, look_through
from treescan.trees.census.seams import one_each
from treescan.trees.census.triage import FULL, MAIN, NOTHING, OUTLINE, triage

GOOD = FoundTree((10.0, 10.0, 0.0), 12.0, 0.3, 6.0, 3.0, 4.0, 0.02, 50_000, False, 0.0, float("nan"), float("nan"))


@pytest.mark.parametrize(
    ("change", "fit", "why"),
    [
        ({}, FULL, ()),
        ({"spacing": 0.08}, MAIN, ("triage_coarse",)),
        ({"dbh": float("nan")}, MAIN, ("triage_no_stem",)),
        ({"hidden": True, "arc": 0.0, "by_crown": True}, OUTLINE, ("triage_no_stem",)),
        ({"hidden": True, "cut": True}, OUTLINE, ("triage_no_stem",)),
        ({"arc": 1.5}, MAIN, ("triage_one_side",)),
        ({"cut": True}, MAIN, ("triage_cut",)),
        ({"spacing": 0.5, "by_crown": True, "points": 300}, OUTLINE, ("triage_sparse",)),
        ({"spacing": 0.5, "cut": True, "points": 300}, OUTLINE, ("triage_cut",)),
        ({"spacing": 2.5, "points": 300}, NOTHING, ("triage_few_points",)),
        ({"points": 5}, NOTHING, ("triage_few_points",)),
    ],
)
def test_triage_never_promises_more_than_the_scan_shows(change: dict, fit: str, why: tuple) -> None:
    """Each lack by itself takes the full plan away, says why, and what a rescan needs."""
    found = triage(replace(GOOD, **change))
    assert found.fit == fit and tuple(r.code for r in found.why) == why
    assert bool(found.rescan) == (fit != FULL)


def test_parts_cover_the_filled_ground_once_and_keep_to_their_size() -> None:
    """Every block lies in just one part; a crowded part is split until its window holds few enough points."""
    rng = np.random.default_rng(4)
    filled = np.column_stack([np.floor(rng.uniform(-200, 400, (300, 2)) / 8) * 8 + 4, rng.integers(10, 5000, 300)])
    cells = cells_of(filled, 20_000)
    inside = np.array([[c.depth(f) >= 0 for c in cells] for f in filled])
    assert (inside.sum(axis=1) == 1).all()
    for c in cells:
        held = np.all((filled[:, :2] >= c.low) & (filled[:, :2] < c.high), axis=1)
        assert filled[held, 2].sum() <= 20_000 or c.size == SMALLEST
    assert cells_of(filled[::-1], 20_000) == cells


def test_a_tree_on_a_seam_is_told_once() -> None:
    """Two parts see it at slightly other feet: the deeper one's stays; a neighbour 2 m off is another tree; order does not matter."""
    left, right = Cell(0.0, 0.0, 32.0), Cell(32.0, 0.0, 32.0)
    a = replace(GOOD, foot=(32.1, 10.0, 0.0))
    b, c = replace(a, foot=(31.9, 10.05, 0.0)), replace(a, foot=(34.0, 10.0, 0.0))
    only = replace(a, foot=(31.5, 25.0, 0.0))
    parts = [(left, (b, only)), (right, (a, c))]
    found = one_each(parts)
    assert len(found) == 3 and {t.foot[:2] for t in found} >= {(34.0, 10.0), (31.5, 25.0)}
    assert one_each(parts[::-1]) == found
    assert len(one_each([(left, (a,)), (right, ())])) == 1


def test_both_parts_beside_a_seam_find_the_same_trees() -> None:
    """Three small trees, one of them at the seam: two parts together tell each once, where it stands."""
    feet = [(3.0, 4.0, 0.0), (15.9, 4.0, 0.0), (26.0, 5.0, 0.0)]
    trees = [bark(k + 2, f, count=25_000) for k, f in enumerate(feet)]
    floor = ground(half=40.0, count=60_000)
    xyz = np.vstack([*trees, floor])
    parts = []
    for cell in (Cell(0.0, 0.0, 16.0), Cell(16.0, 0.0, 16.0)):
        inside = np.all((xyz[:, :2] >= cell.low) & (xyz[:, :2] < cell.high), axis=1)
        parts.append((cell, look_through(PointCloud(xyz[inside]), cell).trees))
    found = one_each(parts)
    away = np.array([[np.hypot(t.foot[0] - f[0], t.foot[1] - f[1]) for t in found] for f in feet])
    assert len(found) == 3 and (away.min(axis=1) < 0.3).all()
    assert HALO > 10 and all(t.points > 1000 and not t.cut for t in found)
