"""How dense is the cloud? Spacing of neighbouring points at sampled places, and points per square metre in
plan."""

from __future__ import annotations

import numpy as np
from numba import njit, prange
from numpy.typing import NDArray

from treescan.cloud.thin import VoxelSums

PLACES = 60
"""Coarse cells looked at, drawn with the chance of a point to lie in them."""

EACH = 8
"""Points looked at in each."""

MOST_POINTS = 3_000_000
"""Points compared with in all: bounds the work in very dense clouds."""


def point_spacing(xyz: NDArray[np.float64], cells: VoxelSums, rng: np.random.Generator) -> float:
    """Median distance from a point to its nearest neighbour. [m]  NaN for a single point.

    Exact for the points drawn: each is compared with every point of its own coarse cell and the 26 around it;
    where the nearest found is farther than a cell the true one may be nearer by less than that difference.

    Parameters
    ----------
    xyz : (n, 3) float      Local metres.
    cells : VoxelSums          Coarse counts of these points.
    """
    if len(xyz) < 2 or not cells.used:
        return float("nan")
    share = cells.counts / cells.counts.sum()
    drawn = np.unique(rng.choice(cells.used, min(PLACES, cells.used), p=share))
    rng.shuffle(drawn)
    around = [_around(cells, int(c)) for c in drawn]
    load = np.cumsum([cells.counts[a].sum() for a in around])
    drawn, around = (
        drawn[: max(1, int(np.searchsorted(load, MOST_POINTS)))],
        around[: max(1, int(np.searchsorted(load, MOST_POINTS)))],
    )
    keep = np.zeros(cells.used + 1, np.bool_)
    keep[np.concatenate(around)] = True
    rows = cells.row_of(xyz)
    near = np.flatnonzero(keep[rows])
    order = near[np.argsort(rows[near], kind="stable")]
    sorted_rows, points = rows[order], xyz[order]
    distances = []
    for cell, others in zip(drawn, around, strict=True):
        own = _of(points, sorted_rows, cell)
        if len(own):
            some = own[rng.choice(len(own), min(EACH, len(own)), replace=False)]
            distances.append(_nearest(some, np.concatenate([_of(points, sorted_rows, r) for r in others])))
    found = np.concatenate(distances) if distances else np.array([np.inf])
    found = found[np.isfinite(found)]
    return float(np.median(found)) if len(found) else float("nan")


def plan_density(cells: VoxelSums) -> float:
    """Points per square metre of plan that holds any. [1/m2]"""
    flat = cells.ijk[:, :2].astype(np.int64)
    filled = len(np.unique(flat[:, 0] * (1 << 32) + flat[:, 1]))
    return float(cells.counts.sum() / max(filled * cells.cell**2, 1e-9))


def _around(cells: VoxelSums, row: int) -> NDArray[np.int64]:
    """Rows of a cell and its filled neighbours."""
    near = np.abs(cells.ijk.astype(np.int64) - cells.ijk[row]).max(axis=1) <= 1
    return np.flatnonzero(near)


def _of(points: NDArray[np.float64], rows: NDArray[np.int32], row: int) -> NDArray[np.float64]:
    """Points of one cell out of those sorted by cell."""
    return points[np.searchsorted(rows, row, "left") : np.searchsorted(rows, row, "right")]


@njit(cache=True, parallel=True, nogil=True)
def _nearest(some, others):  # type: ignore[no-untyped-def]
    """Distance from each point to the nearest other one, itself and exact repeats left aside."""
    out = np.empty(len(some))
    for a in prange(len(some)):
        best = np.inf
        for b in range(len(others)):
            d = (
                (some[a, 0] - others[b, 0]) ** 2
                + (some[a, 1] - others[b, 1]) ** 2
                + (some[a, 2] - others[b, 2]) ** 2
            )
            if 0.0 < d < best:
                best = d
        out[a] = np.sqrt(best)
    return out
