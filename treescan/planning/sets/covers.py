"""Which fewest columns cover all rows? Integer programmes, solved to the optimum by HiGHS."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import combinations
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import Bounds, LinearConstraint, OptimizeResult, milp
from scipy.sparse import csr_array, hstack, vstack

from treescan.errors import RunFailed


def fewest_cover(serves: ArrayLike, worth: ArrayLike) -> NDArray[np.int64]:
    """Fewest columns that together serve every row any column serves; among equal counts the largest total
    worth.

    Parameters
    ----------
    serves : (w, n) bool        Row served by column.
    worth : (n,) float          In [0, 1].

    Returns
    -------
    (k,) int    Chosen columns, ascending. The integer programme is solved to the optimum by HiGHS.
    """
    a, s = np.asarray(serves, bool), np.asarray(worth, float)
    rows = hardest_rows(a[a.any(axis=1)])
    n = a.shape[1]
    if len(rows) == 0:
        return np.zeros(0, np.int64)
    cost = 1.0 - s * 0.5 / n
    found = milp(
        cost,
        constraints=LinearConstraint(csr_array(rows.astype(float)), 1.0, np.inf),
        integrality=np.ones(n),
        bounds=Bounds(0, 1),
    )
    return _chosen(found, n)


def hardest_rows(serves: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """The rows that decide a cover: each once, and none that is served whenever another is (a superset of
    its columns)."""
    rows = np.unique(serves, axis=0)
    if len(rows) < 2:
        return rows
    inside = (
        rows.astype(np.int32) @ rows.T.astype(np.int32) == rows.sum(axis=1)[:, None]
    )  # row i lies within row j
    np.fill_diagonal(inside, False)
    return rows[~inside.any(axis=0)]


def widest_cover(serves: ArrayLike, weight: ArrayLike, most: int) -> NDArray[np.int64]:
    """At most `most` columns that together serve the largest weight of rows, (k,) int."""
    a, w = np.asarray(serves, bool), np.asarray(weight, float)
    rows, n = a.shape
    cost = np.concatenate([np.full(n, 1e-6 * w.sum() / max(n, 1)), -w])
    linked = hstack([csr_array(a.astype(float)), csr_array(-np.eye(rows))])
    count = np.concatenate([np.ones(n), np.zeros(rows)])[None]
    limits = [LinearConstraint(linked, 0.0, np.inf), LinearConstraint(count, 0, most)]
    found = milp(cost, constraints=limits, integrality=np.ones(n + rows), bounds=Bounds(0, 1))
    return _chosen(found, n)


def fewest_double_cover(
    serves: ArrayLike,
    apart: ArrayLike,
    worth: ArrayLike,
    refused: Mapping[tuple[int, int], NDArray[np.bool_]] = MappingProxyType({}),
) -> NDArray[np.int64]:
    """Fewest columns so that every row has two independent ones, where any independent pair serves it, (k,)
    int.

    Parameters
    ----------
    apart : (n, n) bool     Which pairs of columns are independent.
    refused : pair of columns, the smaller first -> (w,) bool     Rows the two do not serve together.
    """
    a, s = np.asarray(serves, bool), np.asarray(worth, float)
    n = a.shape[1]
    pairs = [
        (i, j) for i, j in combinations(range(n), 2) if np.asarray(apart)[i, j] and (a[:, i] & a[:, j]).any()
    ]
    if not pairs:
        return np.zeros(0, np.int64)
    first, second = np.array(pairs).T
    both = a[:, first] & a[:, second]
    for at, pair in enumerate(pairs):
        if pair in refused:
            both[:, at] &= ~np.asarray(refused[pair], bool)
    if not both.any():
        return np.zeros(0, np.int64)
    both = hardest_rows(both[both.any(axis=1)])
    m = len(pairs)
    use = csr_array(np.eye(m))
    at_first = hstack([csr_array((np.ones(m), (np.arange(m), first)), shape=(m, n)), -use])
    at_second = hstack([csr_array((np.ones(m), (np.arange(m), second)), shape=(m, n)), -use])
    cover = hstack([csr_array((len(both), n)), csr_array(both.astype(float))])
    limits = [
        LinearConstraint(vstack([at_first, at_second]), 0.0, np.inf),
        LinearConstraint(cover, 1.0, np.inf),
    ]
    cost = np.concatenate([1.0 - s * 0.5 / n, np.zeros(m)])
    found = milp(cost, constraints=limits, integrality=np.ones(n + m), bounds=Bounds(0, 1))
    return _chosen(found, n)


def _chosen(found: OptimizeResult, columns: int) -> NDArray[np.int64]:
    """The columns a solved programme takes; RunFailed where it found none."""
    if found.x is None:
        raise RunFailed(f"the integer programme found no set: {found.message}")
    return np.flatnonzero(np.asarray(found.x)[:columns] > 0.5)
