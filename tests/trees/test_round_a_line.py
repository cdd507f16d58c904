"""What a line looks at round itself is all that lies there: against every voxel."""

from __future__ import annotations

import numpy as np
import pytest

from treescan.trees.surroundings.wires import BESIDE, Wire, _one_wire, _Voxels


@pytest.mark.parametrize("seed", range(8))
def test_no_voxel_beside_a_line_is_passed_over(seed):
    """Flat, sagging and steep lines, also beyond the cloud."""
    rng = np.random.default_rng(seed)
    xyz = rng.uniform([-10, -10, 0], [10, 10, 12], (20_000, 3))
    angle, first = rng.uniform(0, np.pi), rng.uniform(-30, 0)
    sag = np.array([rng.uniform(2, 10), rng.normal(0, 0.5), rng.normal(0, 0.03)])
    w = Wire(rng.uniform(-5, 5, 2), np.array([np.cos(angle), np.sin(angle)]), sag, first, first + rng.uniform(1, 60))
    rows = _Voxels.of(xyz, np.zeros(len(xyz), bool)).round_line(w, BESIDE[1])
    every = np.flatnonzero(w.distance(xyz) < BESIDE[1])
    assert np.isin(every, rows).all() and (np.diff(rows) > 0).all()


def test_a_piece_without_a_voxel_on_its_line_is_no_wire():
    """Voxels that stand a quarter of a metre to either side of their common line, none on it."""
    k = np.arange(40)
    xyz = np.column_stack([0.2 * k, np.where(k % 2, 0.25, -0.25), np.full(40, 8.0)])

    assert _one_wire(_Voxels.of(xyz, np.ones(40, bool)), xyz, 0.1) is None
