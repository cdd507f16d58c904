"""Where does a limb go on behind a gap the scanner could not see?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from treescan.geometry import unit
from treescan.wood.graph import Floats, Ints
from treescan.wood.voxels import group_rows

REACH = 0.15
"""Half length of the piece that tells a local direction [m]."""
SIDEWAYS = 3.0
"""A gap across the limb's own direction counts this many times its length."""


@dataclass(frozen=True)
class Bridges:
    """Pairs of points to be joined across a gap: rows of the two points and the distance between them [m]."""

    near: Ints
    far: Ints
    length: Floats

    def __len__(self) -> int:
        return len(self.near)


NONE = Bridges(np.zeros(0, np.int32), np.zeros(0, np.int32), np.zeros(0))


def find_bridges(xyz: Floats, part: Ints, main: int, spacing: float, longest: float) -> Bridges:
    """Join the loose pieces of the cloud to the stem's piece, each along its own direction.

    Parameters
    ----------
    xyz : (c, 3) float      Thinned points. [m]
    part : (c,) int32       Connected piece of every point.
    main : int              The piece of the stem.
    spacing, longest : float    [m]

    Notes
    -----
    A candidate joins two points of different pieces. With the gap split into its share along the limb's direction and its share
    across, the cost is hypot(along, 3 max(across - r, 0)), r an allowance for the limb's own thickness; the direction is that of
    the loose piece. Kruskal's spanning tree over the pieces takes the cheapest candidates first.
    """
    size = np.bincount(part)
    count = len(size)
    if count == 1 or longest <= 0:
        return NONE
    worth = _worth(xyz, part, count, size, spacing)
    worth[main] = True
    rows = np.flatnonzero(worth[part])
    if np.all(part[rows] == main):
        return NONE
    rows = _sample(xyz, rows, part, 2.5 * spacing)
    tree = cKDTree(xyz[rows])
    direction, linear = _directions(xyz[rows], part[rows], tree)
    loose = np.flatnonzero(part[rows] != main)
    found_a, found_b = [], []
    for radius in (longest / 4, longest):
        a, b = _pairs(tree, rows, part, loose, radius)
        found_a.append(a)
        found_b.append(b)
    a, b = np.concatenate(found_a), np.concatenate(found_b)
    if len(a) == 0:
        return NONE
    g = xyz[rows[a]] - xyz[rows[b]]
    length = np.linalg.norm(g, axis=1)
    cost = np.minimum(
        _cost(g, length, direction[a], linear[a]),
        np.where(part[rows[b]] != main, _cost(g, length, direction[b], linear[b]), np.inf),
    )
    return _spanning(rows[a], rows[b], part, cost, length, count, 1.6 * longest)


def _cost(g: Floats, length: Floats, direction: Floats, linear: Floats) -> Floats:
    along = np.abs(np.sum(g * direction, axis=1))
    across = np.sqrt(np.maximum(length**2 - along**2, 0.0))
    off = np.maximum(across - 0.03, 0.0)
    return np.hypot(along, SIDEWAYS * off) * (1.0 + 1.5 * (1.0 - linear)) + 0.2 * np.minimum(across, 0.03)


def _worth(xyz: Floats, part: Ints, count: int, size: Ints, spacing: float) -> np.ndarray:
    """Pieces long enough for their breadth to be limbs rather than leaf clumps or stray points."""
    mean = np.stack([np.bincount(part, weights=xyz[:, a], minlength=count) for a in range(3)], axis=1) / size[:, None]
    d = xyz - mean[part]
    cov = np.zeros((count, 3, 3))
    for i in range(3):
        for j in range(i, 3):
            cov[:, i, j] = cov[:, j, i] = np.bincount(part, weights=d[:, i] * d[:, j], minlength=count) / size
    values = np.linalg.eigvalsh(cov)
    length = np.sqrt(12 * np.maximum(values[:, 2], 0.0))
    return (size >= 8) & (length >= max(0.12, 4 * spacing)) & ((values[:, 2] > 6 * values[:, 1]) | (size > 150))


def _sample(xyz: Floats, rows: Ints, part: Ints, cell: float) -> Ints:
    """One point a grid cell and piece."""
    key = np.floor((xyz[rows] - xyz[rows].min(axis=0)) / cell).astype(np.int64)
    flat = (key[:, 0] * (key[:, 1].max() + 1) + key[:, 1]) * (key[:, 2].max() + 1) + key[:, 2]
    _, first = np.unique(flat * np.int64(part.max() + 1) + part[rows], return_index=True)
    return rows[first]


def _directions(xyz: Floats, part: Ints, tree: cKDTree) -> tuple[Floats, Floats]:
    """Main direction of each sample's own piece nearby, and how linear it is (0 to 1)."""
    k = min(24, len(xyz))
    gap, near = tree.query(xyz, k, distance_upper_bound=REACH, workers=-1)
    ok = np.isfinite(gap)
    near = np.where(ok, near, 0)
    ok &= part[near] == part[:, None]
    n = np.maximum(ok.sum(axis=1), 1)
    p = xyz[near] * ok[..., None]
    mean = p.sum(axis=1) / n[:, None]
    d = (xyz[near] - mean[:, None]) * ok[..., None]
    values, vectors = np.linalg.eigh(np.einsum("nki,nkj->nij", d, d) / n[:, None, None])
    linear = np.where(n >= 4, 1 - np.sqrt(np.maximum(values[:, 1], 0) / np.maximum(values[:, 2], 1e-12)), 0.0)
    return unit(vectors[:, :, 2]), linear


def _pairs(tree: cKDTree, rows: Ints, part: Ints, loose: Ints, radius: float) -> tuple[Ints, Ints]:
    """Candidate pairs: for every loose sample its nearest samples of other pieces, within a radius."""
    out_a, out_b = [], []
    xyz = tree.data
    label = part[rows]
    start, member = group_rows(label, int(label.max()) + 1)
    for p in np.unique(label[loose]):
        own = member[start[p] : start[p + 1]]
        near = tree.query_ball_point(xyz[own], radius, workers=-1)
        a = np.repeat(own, [len(v) for v in near])
        b = np.fromiter((j for v in near for j in v), np.int64, len(a))
        other = label[b] != p
        a, b = a[other], b[other]
        if len(a) > 4000:
            d = np.linalg.norm(xyz[a] - xyz[b], axis=1)
            best = np.argpartition(d, 4000)[:4000]
            a, b = a[best], b[best]
        out_a.append(a)
        out_b.append(b)
    return np.concatenate(out_a).astype(np.int64), np.concatenate(out_b).astype(np.int64)


def _spanning(a: Ints, b: Ints, part: Ints, cost: Floats, length: Floats, count: int, dearest: float) -> Bridges:
    """Kruskal's spanning tree over the pieces."""
    link = np.arange(count)

    def root(i: int) -> int:
        while link[i] != i:
            link[i] = link[link[i]]
            i = link[i]
        return i

    keep = []
    for i in np.argsort(cost, kind="stable"):
        if cost[i] > dearest:
            break
        x, y = root(int(part[a[i]])), root(int(part[b[i]]))
        if x != y:
            link[x] = y
            keep.append(i)
    return Bridges(a[keep].astype(np.int32), b[keep].astype(np.int32), length[keep])
