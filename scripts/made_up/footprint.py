"""A beam is not a line: where its footprint straddles an edge, surfaces mix into one range."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_dilation

from made_up.instruments import Instrument
from made_up.meshes import PARTS
from made_up.targets import Targets

Floats = NDArray[np.float64]
SUB_WEIGHT = np.array([0.28] + [0.12] * 6)
"""Power in the middle of the beam and in six places round it, at 0.62 of the footprint's radius (a Gaussian beam in seven pieces)."""


def edges(t: NDArray, part: NDArray, cosine: NDArray, cast: NDArray, shape: tuple[int, int], step: float) -> NDArray[np.bool_]:
    """Beams whose neighbours on the grid see something else: only there can a footprint straddle an edge."""
    sees = np.where(np.isfinite(t), part, 254).astype(np.uint8)
    near = np.where(np.isfinite(t), t, 0)
    slack = 0.015 + 3 * step * near * np.sqrt(np.maximum(1 - cosine**2, 0)) / np.maximum(cosine, 0.05)
    slack[np.isin(sees, [PARTS.index("ground"), PARTS.index("wall"), 254])] = np.inf
    t_, sees_, slack_ = (np.full(shape, v, a.dtype) for v, a in ((0, near), (255, sees), (np.inf, slack)))
    for full, values in ((t_, near), (sees_, sees), (slack_, slack)):
        full.reshape(-1)[cast] = values
    edge = np.zeros(shape, bool)
    for dr, dc in ((0, 1), (1, 0), (1, 1), (1, -1)):
        a = (slice(0, shape[0] - dr), slice(max(0, -dc), shape[1] - max(0, dc)))
        b = (slice(dr, None), slice(max(0, dc), shape[1] + min(0, dc)))
        differ = (np.abs(t_[a] - t_[b]) > np.minimum(slack_[a], slack_[b])) | (sees_[a] != sees_[b])
        differ &= (sees_[a] != 255) & (sees_[b] != 255)
        edge[a] |= differ
        edge[b] |= differ
    return edge.reshape(-1)[cast]


def widened(edge: NDArray, t: NDArray, cast: NDArray, shape: tuple[int, int], step: float, ins: Instrument) -> NDArray[np.bool_]:
    """Edges spread over as many beams as the footprint covers where beams lie closer than that."""
    if not edge.any():
        return edge
    hit = t[edge & np.isfinite(t)]
    near = float(np.percentile(hit, 20)) if len(hit) else 10.0
    reach = int(np.ceil(0.62 * (ins.exit / near + ins.divergence) / 2 / step))
    if reach <= 1:
        return edge
    grid = np.zeros(shape, bool)
    grid.reshape(-1)[cast] = edge
    return binary_dilation(grid, np.ones((3, 3), bool), reach - 1).reshape(-1)[cast]


def mixed(
    targets: Targets,
    beam: NDArray,
    origin: Floats,
    direction: Floats,
    t0: NDArray,
    part0: NDArray,
    node0: NDArray,
    ins: Instrument,
    rng: np.random.Generator,
) -> list[tuple]:
    """Returns of beams at edges: seven rays share the footprint, hits near each other along the beam merge into their weighted mean."""
    o, d = origin[beam], direction[beam]
    e = np.cross(d, np.where(np.abs(d[:, 2:]) < 0.9, [[0.0, 0.0, 1.0]], [[1.0, 0.0, 0.0]]))
    e /= np.linalg.norm(e, axis=1, keepdims=True)
    f = np.cross(d, e)
    turn = rng.uniform(0, np.pi / 3, len(beam))
    n = len(beam)
    t, part, node = np.empty((n, 7), np.float32), np.empty((n, 7), np.uint8), np.empty((n, 7), np.int32)
    t[:, 0], part[:, 0], node[:, 0] = t0[beam], part0[beam], node0[beam]
    for k in range(6):
        a = turn + k * np.pi / 3
        across = 0.62 * (np.cos(a)[:, None] * e + np.sin(a)[:, None] * f)
        t[:, k + 1], part[:, k + 1], node[:, k + 1], _ = targets.hit(o + across * ins.exit / 2, d + across * ins.divergence / 2, False)
    hit = np.isfinite(t) & (t < ins.reach)
    weight = np.where(hit, SUB_WEIGHT, 0.0)
    order = np.argsort(np.where(hit, t, np.inf), axis=1)
    t, part, node, weight = (np.take_along_axis(x, order, 1) for x in (t, part, node, weight))
    t = np.where(weight > 0, t, 1e9)
    group = np.concatenate([np.zeros((n, 1), int), np.cumsum(np.diff(t, axis=1) > ins.resolve, axis=1)], axis=1)
    out = []
    given = np.zeros(n, int)
    for g in range(int(group.max()) + 1):
        mine = (group == g) & (weight > 0)
        w = np.where(mine, weight, 0.0)
        share = w.sum(axis=1)
        ok = (share >= ins.least) & (given < ins.returns)
        if not ok.any():
            continue
        given += ok
        w, share, mine = w[ok], share[ok], mine[ok]
        mean = (w * np.where(mine, t[ok], 0)).sum(axis=1) / share
        spread = np.where(mine, t[ok], -np.inf).max(axis=1) - np.where(mine, t[ok], np.inf).min(axis=1)
        nearest = np.argmin(np.where(mine, np.abs(t[ok] - mean[:, None]) - w * 1e-3, np.inf), axis=1)[:, None]
        out.append(
            returns(
                beam[ok],
                mean,
                np.take_along_axis(part[ok], nearest, 1)[:, 0],
                np.take_along_axis(node[ok], nearest, 1)[:, 0],
                share,
                given[ok],
                spread,
            )
        )
    return out


def returns(beam: NDArray, range_: NDArray, part: NDArray, node: NDArray, weight: NDArray, number: NDArray, spread: NDArray) -> tuple:
    return beam, range_.astype(np.float64), part, node, weight.astype(np.float64), number, spread
