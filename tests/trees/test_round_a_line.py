"""What a line looks at round itself is all that lies there: against every voxel."""

from __future__ import annotations

import numpy as np
import pytest

from treescan.trees.surroundings.wires import BESIDE, Wire, _Voxels


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
